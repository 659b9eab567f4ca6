//! A whole rehearsal in memory: every device's recording and the truth behind it.

use std::path::PathBuf;
use std::sync::Arc;

use rand_chacha::ChaCha8Rng;

use super::RehearseError;
use super::device::{Measured, TrueClock, measure};
use super::masses::hung;
use super::modes::{modes, spans};
use super::noise::{Purpose, generator, normal};
use super::rider::{self, Ride};
use super::scenario::{Device, Scenario, Strap};
use super::stream::{RehearsedStream, rounded};
use super::truth::{PairTruth, SegmentTruth, Truth, View};
use crate::plan::{Leg, Plan};
use crate::recording::{
    Event, EventKind, Format, Lap, ModeSpan, RecordedStream, Recording, Sampling, SetPoint,
    TimeBase,
};
use crate::session::{
    CONSENSUS, Fact, MatchedOn, OpenedSession, Role, Segment, Session, Simulation, Source, Stream,
};
use crate::timeline::{Clock, Span};

/// A ride by several devices at once, in memory, with the truth it was made from.
#[derive(Clone, Debug)]
pub struct Rehearsal {
    /// The plan that was ridden.
    pub plan: Plan,
    /// The plan unfolded, in true time.
    pub legs: Vec<Leg>,
    /// Who rode what, with every fault.
    pub scenario: Scenario,
    /// The seed.
    pub seed: u64,
    /// One entry a device, in the scenario's order.
    pub streams: Vec<RehearsedStream>,
    /// What was put in, in session time.
    pub truth: Truth,
    pub(super) ride: Ride,
}

/// How [`Rehearsal::session`] is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SessionOptions {
    /// Write the true offsets and skews, so that nothing is left to align.
    pub clocks_known: bool,
    /// Write the true segments.
    pub tagged: bool,
}

/// Rides `plan` in `scenario`. The same three arguments give the same result.
///
/// # Errors
/// [`RehearseError::Device`] or [`RehearseError::Scenario`] where the scenario is impossible,
/// [`RehearseError::NothingRecorded`] where a recorder runs for less than two samples.
pub fn ride(plan: &Plan, scenario: &Scenario, seed: u64) -> Result<Rehearsal, RehearseError> {
    scenario.check()?;
    let legs = plan.legs();
    let ride = rider::ride(&legs, scenario, seed);
    let measured = scenario
        .devices
        .iter()
        .enumerate()
        .map(|(index, device)| measure(&ride, scenario, index, device, seed))
        .collect::<Result<Vec<_>, _>>()?;
    let first = scenario.devices.first().zip(measured.first());
    let Some((first_clock, t0_s)) = first.and_then(|(device, measured)| {
        Some((
            TrueClock::of(device, scenario),
            *measured.samples.time_s().first()?,
        ))
    }) else {
        return Err(RehearseError::Scenario {
            reason: "it has no device; add one".to_owned(),
        });
    };
    let mut lap_g = generator(seed, Purpose::Laps);
    let streams: Vec<_> = scenario
        .devices
        .iter()
        .zip(measured)
        .map(|(device, measured)| {
            let clock = TrueClock::of(device, scenario);
            let session = session_clock(clock, first_clock, t0_s);
            let annotations = Annotations::of(
                device,
                clock,
                (&legs, plan.controlled),
                &ride,
                &measured,
                &mut lap_g,
            );
            rehearsed(measured, session, annotations)
        })
        .collect();
    let view = View {
        scenario,
        ride: &ride,
        streams: &streams,
        first_clock,
        t0_s,
    };
    let truth = view.tell(plan, &legs, seed);
    Ok(Rehearsal {
        plan: plan.clone(),
        legs,
        scenario: scenario.clone(),
        seed,
        streams,
        truth,
        ride,
    })
}

/// The clock of a recorder against session time, which is the first recorder's clock from its
/// first sample on.
///
/// With `r = z + k·t` for either recorder, `session = (z₁ − t0) + k₁·t` and `t = (r − z)/k`.
fn session_clock(clock: TrueClock, first: TrueClock, t0_s: f64) -> Clock {
    let rate = first.rate / clock.rate;
    Clock {
        zero_s: t0_s,
        offset_s: (first.zero_s - t0_s) + rate * (t0_s - clock.zero_s),
        skew_ppm: (rate - 1.0) * 1e6,
    }
}

fn rehearsed(measured: Measured, clock: Clock, annotations: Annotations) -> RehearsedStream {
    RehearsedStream {
        samples: measured.samples,
        ideal_w: measured.ideal_w,
        site_w: measured.site_w,
        dropout: measured.dropout,
        cadence_off_percent: measured.cadence_off_percent,
        clock,
        laps: annotations.laps,
        events: annotations.events,
        set_points: annotations.set_points,
        modes: annotations.modes,
    }
}

/// What stands beside the samples in a recording.
struct Annotations {
    laps: Vec<Lap>,
    events: Vec<Event>,
    set_points: Vec<SetPoint>,
    modes: Vec<ModeSpan>,
}

impl Annotations {
    fn of(
        device: &Device,
        clock: TrueClock,
        (legs, controlled): (&[Leg], bool),
        ride: &Ride,
        measured: &Measured,
        lap_g: &mut ChaCha8Rng,
    ) -> Self {
        let times = measured.samples.time_s();
        let (first, last) = match (times.first(), times.last()) {
            (Some(first), Some(last)) => (*first, *last),
            _ => (0.0, 0.0),
        };
        let mut out = Self {
            laps: Vec::new(),
            events: timer_events(device, clock, first, last),
            set_points: Vec::new(),
            modes: Vec::new(),
        };
        if device.grade {
            let true_s: Vec<f64> = times.iter().map(|t| clock.to_true(*t)).collect();
            out.modes = spans(&modes(legs, controlled), times, &true_s);
        }
        if device.recorder.laps {
            out.cut_laps(clock, legs, first, last, lap_g);
        }
        if device.recorder.gear_events {
            let changes = ride.shifts.iter().map(|(at_s, gear)| Event {
                at_s: clock.to_recorder(*at_s).floor().max(first),
                kind: EventKind::GearChange {
                    front_teeth: Some(gear.front),
                    rear_teeth: Some(gear.rear),
                },
            });
            out.events
                .extend(changes.filter(|event| event.at_s <= last));
        }
        out.events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        out
    }

    /// A lap for each leg, cut by hand up to about a second late, in whole seconds.
    fn cut_laps(
        &mut self,
        clock: TrueClock,
        legs: &[Leg],
        first: f64,
        last: f64,
        g: &mut ChaCha8Rng,
    ) {
        let mut from_s = first;
        for (index, leg) in legs.iter().enumerate() {
            let late_s = 0.4 * normal(g).abs();
            let end_s = if index + 1 == legs.len() {
                last
            } else {
                (clock.to_recorder(leg.to_s) + late_s).round().min(last)
            };
            if end_s > from_s {
                self.laps.push(Lap {
                    from_s,
                    to_s: end_s,
                });
                if let Some(watts) = leg.set_point_w() {
                    self.set_points.push(SetPoint {
                        from_s,
                        to_s: end_s,
                        watts,
                    });
                }
                from_s = end_s;
            }
        }
    }
}

fn timer_events(device: &Device, clock: TrueClock, first: f64, last: f64) -> Vec<Event> {
    let event = |at_s: f64, kind| Event { at_s, kind };
    let mut events = vec![event(first, EventKind::TimerStart)];
    for pause in &device.recorder.pauses {
        let from = clock.to_recorder(pause.at_s).floor();
        let to = clock.to_recorder(pause.at_s + pause.duration_s).ceil();
        if from > first && to < last {
            events.push(event(from, EventKind::TimerStop));
            events.push(event(to, EventKind::TimerStart));
        }
    }
    events.push(event(last, EventKind::TimerStop));
    events
}

impl Rehearsal {
    /// Recording of device `index`, as a reader of its file returns it (without path and hash).
    pub fn recording(&self, index: usize) -> Option<Recording> {
        let stream = self.streams.get(index)?;
        let device = self.scenario.devices.get(index)?;
        let recorded = RecordedStream {
            label: device.label.clone(),
            power_field: Some("power".to_owned()),
            sampling: Sampling::Regular,
            samples: stream.samples.clone(),
        };
        Some(Recording {
            format: device.recorder.format,
            laps: stream.laps.clone(),
            events: stream.events.clone(),
            set_points: stream.set_points.clone(),
            modes: stream.modes.clone(),
            ..Recording::in_memory(file_name(device), "", TimeBase::Absolute, vec![recorded])
        })
    }

    /// The session that a tester would have in front of them.
    pub fn session(&self, options: SessionOptions) -> Session {
        let streams = self
            .scenario
            .devices
            .iter()
            .zip(&self.streams)
            .enumerate()
            .map(|(index, (device, stream))| {
                let mut entry = Stream::new(&device.label, file_name(device));
                entry.role = device.role;
                entry.site = Some(device.site);
                entry.claim_percent = Some(device.claim_percent);
                entry.weights = hung(&self.scenario, index, self.seed).map(|hung| hung.0);
                if options.clocks_known {
                    entry.offset_s = rounded(stream.clock.offset_s, 4);
                    entry.skew_ppm = rounded(stream.clock.skew_ppm, 3);
                    entry.matched_on = Some(MatchedOn::Given);
                }
                entry
            })
            .collect();
        let mut session = Session {
            title: self.plan.title.clone(),
            allowance: Some(self.scenario.allowance),
            simulation: self.entered_in_the_app(),
            streams,
            segments: if options.tagged {
                self.segments()
            } else {
                Vec::new()
            },
            ..Session::default()
        };
        let under_test = self
            .scenario
            .devices
            .iter()
            .find(|d| d.role == Role::UnderTest);
        if let Some(device) = under_test {
            session.claim.percent = device.claim_percent;
        }
        if Plan::built_in(&self.plan.name).is_ok_and(|built_in| built_in == self.plan) {
            session.facts.push(Fact {
                key: "plan".to_owned(),
                value: self.plan.name.clone(),
            });
        }
        session
    }

    /// What the app that simulated slopes was told; `None` where the plan has none.
    fn entered_in_the_app(&self) -> Option<Simulation> {
        let simulation = self.scenario.simulation;
        self.legs
            .iter()
            .any(Leg::is_simulated)
            .then_some(Simulation {
                mass_kg: simulation.mass_kg,
                rolling: simulation.rolling,
                drag_kg_m: simulation.drag,
            })
    }

    /// The session as it would be open after [`write_session`](super::write_session), without
    /// touching the disk.
    pub fn opened(&self, options: SessionOptions) -> OpenedSession {
        let recordings = (0..self.streams.len()).filter_map(|index| self.recording(index));
        OpenedSession {
            folder: PathBuf::new(),
            session: self.session(options),
            sources: recordings
                .map(|recording| Source::new(Arc::new(recording), 0))
                .collect(),
            problems: Vec::new(),
        }
    }

    /// The truth of `under_test` against `reference` (a label, or `consensus`) in a window of
    /// session time; `None` where they share no second or a label is unknown.
    pub fn pair_truth(&self, under_test: &str, reference: &str, window: Span) -> Option<PairTruth> {
        let (device, measured) = (self.scenario.devices.first()?, self.streams.first()?);
        let view = View {
            scenario: &self.scenario,
            ride: &self.ride,
            streams: &self.streams,
            first_clock: TrueClock::of(device, &self.scenario),
            t0_s: *measured.samples.time_s().first()?,
        };
        let index = |label: &str| self.scenario.devices.iter().position(|d| d.label == label);
        let against = if reference == CONSENSUS {
            view.references()
        } else {
            vec![index(reference)?]
        };
        view.pair(index(under_test)?, &against, reference, window)
    }

    /// The segments that a careful tester would tag, in session time.
    pub fn segments(&self) -> Vec<Segment> {
        self.truth
            .segments
            .iter()
            .map(SegmentTruth::segment)
            .collect()
    }

    /// Whether two devices or more hear the same strap.
    pub fn shares_heart_rate(&self) -> bool {
        let hears = |device: &&Device| device.recorder.strap == Strap::Shared;
        self.scenario.devices.iter().filter(hears).count() >= 2
    }
}

/// Where the recording of `device` lies, relative to the session folder.
pub(super) fn file_name(device: &Device) -> String {
    let ending = match device.recorder.format {
        Format::Fit => "fit",
        Format::Delimited | Format::Tcx | Format::Gpx => "csv",
    };
    let stem: String = device
        .label
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .collect();
    format!("recordings/{stem}.{ending}")
}
