//! What was put in: the figures that a perfect analysis would find, in session time.

use serde::Serialize;

use super::device::TrueClock;

use super::masses::hung;
use super::modes::modes;
use super::rider::Ride;
use super::scenario::{Device, Scenario};
use super::stream::{RehearsedStream, rounded, tagged_window};
use crate::analysis::dropout::Dropout;
use crate::plan::{Leg, Plan};
use crate::session::CONSENSUS;
use crate::session::{Kind, Role, Segment, Site};
use crate::timeline::Span;

/// The truth behind a rehearsal. Written as `truth.toml`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// Name of the plan.
    pub plan: String,
    /// The seed.
    pub seed: u64,
    /// True time (s from the start of the ride) at session time zero.
    pub zero_true_s: f64,
    /// Session seconds a true second: the rate of the first recorder's clock.
    pub session_rate: f64,
    /// How set points are followed; absent where the rider holds them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub control: Option<ControlTruth>,
    /// How slopes arrive; absent where none is simulated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slopes: Option<SlopeTruth>,
    /// One entry a device.
    #[serde(rename = "stream")]
    pub streams: Vec<StreamTruth>,
    /// What a careful tester would tag: one entry a leg of the plan, but for those without power
    /// to judge.
    #[serde(rename = "segment")]
    pub segments: Vec<SegmentTruth>,
    /// Every setting, faults included.
    pub scenario: Scenario,
}

/// How a trainer in control follows a set point that changes by 100 W.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ControlTruth {
    /// Until delivered power begins to follow, s.
    pub dead_time_s: f64,
    /// Until it stays within ±5 W of the new set point, held error left out, s.
    pub in_band_s: f64,
    /// Held beyond the set point, W at the trainer.
    pub hold_error_w: f64,
}

/// How slopes arrive at the wheel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlopeTruth {
    /// Share of the gradient that arrives.
    pub gradient_share: f64,
    /// Delay of a new gradient by area, s.
    pub gradient_delay_s: f64,
    /// Apparent mass of the flywheel, kg.
    pub flywheel_kg: f64,
    /// When the trainer changes its mode, session time, s.
    pub switches_s: Vec<f64>,
}

/// The truth of one device.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamTruth {
    /// Label.
    pub label: String,
    /// Role.
    pub role: Role,
    /// Site.
    pub site: Site,
    /// True clock shift against session time, s.
    pub offset_s: f64,
    /// True clock rate error against session time, ppm.
    pub skew_ppm: f64,
    /// Dropouts, session time: from the first row concerned to the first row after.
    pub dropouts: Vec<Dropout>,
    /// Power that nobody produced, session time.
    pub surges: Vec<SurgeTruth>,
    /// Share of the seconds with pedalling in which its cadence is off by more than 5 rpm, %.
    pub cadence_off_percent: f64,
    /// The scale with which it showed the torque of known masses; absent where none hung.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_at_rest: Option<f64>,
}

/// Power that nobody produced.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SurgeTruth {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Power added before lag, W.
    pub watts: f64,
}

/// The truth of one segment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SegmentTruth {
    /// Kind.
    pub kind: Kind,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Start, true time, s from the start of the ride.
    pub from_true_s: f64,
    /// End, true time, s.
    pub to_true_s: f64,
    /// Set point, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_point_w: Option<f64>,
    /// The plan's note.
    pub note: String,
    /// One entry a device that recorded in the segment.
    #[serde(rename = "device")]
    pub devices: Vec<DeviceTruth>,
    /// One entry a pair of under test and reference, then one against the consensus.
    #[serde(rename = "pair")]
    pub pairs: Vec<PairTruth>,
    /// Gear changes inside the segment, one entry a change and pair.
    #[serde(rename = "shift")]
    pub shifts: Vec<ShiftTruth>,
}

/// One device in one segment, against the power at its own site. Noise, rounding and dropouts are
/// left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeviceTruth {
    /// Label.
    pub label: String,
    /// Seconds behind the means.
    pub n: usize,
    /// Mean true power at the site, W.
    pub site_mean_w: f64,
    /// Mean reading, W.
    pub ideal_mean_w: f64,
    /// Reading − true power, W.
    pub bias_w: f64,
    /// The same, % of the true power; absent where that is zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias_percent: Option<f64>,
}

/// A device under test against a reference in one window. Noise, rounding and dropouts are left
/// out; lag, surges and everything else stay in, but for the `scale_` and `drift_` figures, which
/// tell of the scale alone, at the mean power of the window.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PairTruth {
    /// Label of the device under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Seconds in which both have power to be trusted.
    pub n: usize,
    /// Mean reading of the reference, W.
    pub reference_mean_w: f64,
    /// Mean difference, W.
    pub bias_w: f64,
    /// Mean difference, % of the reference mean; absent where that is zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias_percent: Option<f64>,
    /// Difference of the scales at the middle of the window, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_bias_percent: Option<f64>,
    /// The same at the start of the window, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_start_percent: Option<f64>,
    /// The same at its end, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_end_percent: Option<f64>,
    /// Least-squares slope of the difference of the scales, percentage points in 10 min.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift_percent_per_10min: Option<f64>,
    /// The same, W/min.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift_w_per_min: Option<f64>,
}

/// What a gear change does to the difference of the scales.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShiftTruth {
    /// When, session time, s.
    pub at_s: f64,
    /// Gear after it.
    pub gear: String,
    /// Label of the device under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Difference of the scales after − before, percentage points.
    pub shift_percent: f64,
}

impl SegmentTruth {
    /// The segment as the tester would tag it.
    pub fn segment(&self) -> Segment {
        Segment {
            kind: self.kind,
            from_s: self.from_s,
            to_s: self.to_s,
            set_point_w: self.set_point_w,
            note: self.note.clone(),
        }
    }
}

/// Everything that the truth follows from.
pub(super) struct View<'a> {
    /// Who rode what.
    pub scenario: &'a Scenario,
    /// What happened.
    pub ride: &'a Ride,
    /// What was recorded.
    pub streams: &'a [RehearsedStream],
    /// The clock that defines session time.
    pub first_clock: TrueClock,
    /// Its reading at session time zero, s.
    pub t0_s: f64,
}

impl View<'_> {
    /// The whole truth of a ride after `plan`, unfolded into `legs`.
    pub fn tell(&self, plan: &Plan, legs: &[Leg], seed: u64) -> Truth {
        Truth {
            plan: plan.name.clone(),
            seed,
            zero_true_s: rounded(self.to_true(0.0), 6),
            session_rate: self.first_clock.rate,
            control: self.scenario.control.map(|control| ControlTruth {
                dead_time_s: control.dead_time_s,
                in_band_s: rounded(control.in_band_s(100.0), 3),
                hold_error_w: self.scenario.hold_error_w,
            }),
            slopes: self.slopes(plan, legs),
            streams: self.streams(seed),
            segments: legs.iter().filter_map(|leg| self.segment(leg)).collect(),
            scenario: self.scenario.clone(),
        }
    }

    fn to_session(&self, true_s: f64) -> f64 {
        self.first_clock.to_recorder(true_s) - self.t0_s
    }

    fn to_true(&self, session_s: f64) -> f64 {
        self.first_clock.to_true(session_s + self.t0_s)
    }

    fn with_role(&self, role: Role) -> Vec<usize> {
        let devices = self.scenario.devices.iter().enumerate();
        devices
            .filter(|(_, d)| d.role == role)
            .map(|(index, _)| index)
            .collect()
    }

    pub fn references(&self) -> Vec<usize> {
        self.with_role(Role::Reference)
    }

    fn slopes(&self, plan: &Plan, legs: &[Leg]) -> Option<SlopeTruth> {
        let modes = modes(legs, plan.controlled);
        let simulation = self.scenario.simulation;
        let switches = modes.iter().skip(1);
        (!modes.is_empty()).then(|| SlopeTruth {
            gradient_share: simulation.gradient_share,
            gradient_delay_s: simulation.area_delay_s(),
            flywheel_kg: simulation.flywheel_kg,
            switches_s: switches
                .map(|mode| rounded(self.to_session(mode.from_s), 3))
                .collect(),
        })
    }

    fn streams(&self, seed: u64) -> Vec<StreamTruth> {
        let devices = self.scenario.devices.iter().zip(self.streams).enumerate();
        let at_rest = |index| {
            let (_, scale) = hung(self.scenario, index, seed)?;
            Some(rounded(scale, 6))
        };
        devices
            .map(|(index, (device, stream))| StreamTruth {
                label: device.label.clone(),
                role: device.role,
                site: device.site,
                offset_s: rounded(stream.clock.offset_s, 6),
                skew_ppm: rounded(stream.clock.skew_ppm, 6),
                dropouts: dropouts(stream),
                surges: self.surges(device),
                cadence_off_percent: rounded(stream.cadence_off_percent, 3),
                scale_at_rest: at_rest(index),
            })
            .collect()
    }

    fn surges(&self, device: &Device) -> Vec<SurgeTruth> {
        let listed = device.surges.iter().map(|surge| SurgeTruth {
            from_s: rounded(self.to_session(surge.at_s), 3),
            to_s: rounded(self.to_session(surge.at_s + surge.duration_s), 3),
            watts: surge.watts,
        });
        listed.collect()
    }

    fn segment(&self, leg: &Leg) -> Option<SegmentTruth> {
        let (from_true_s, to_true_s) = tagged_window(leg)?;
        let from_s = self.to_session(from_true_s).ceil().max(0.0);
        let to_s = self.to_session(to_true_s).floor();
        if to_s <= from_s {
            return None;
        }
        let window = Span::new(from_s, to_s);
        let pairs = self.pairings();
        Some(SegmentTruth {
            kind: leg.kind,
            from_s,
            to_s,
            from_true_s: rounded(self.to_true(from_s), 6),
            to_true_s: rounded(self.to_true(to_s), 6),
            set_point_w: leg.set_point_w(),
            note: leg.note.clone(),
            devices: (0..self.streams.len())
                .filter_map(|index| self.device(index, window))
                .collect(),
            pairs: pairs
                .iter()
                .filter_map(|(u, against, name)| self.pair(*u, against, name, window))
                .collect(),
            shifts: self.shifts(&pairs, window),
        })
    }

    /// Each device under test with each reference, then with all of them where there are more.
    fn pairings(&self) -> Vec<(usize, Vec<usize>, String)> {
        let references = self.references();
        let mut pairs = Vec::new();
        for under_test in self.with_role(Role::UnderTest) {
            for reference in &references {
                let label = self.scenario.devices[*reference].label.clone();
                pairs.push((under_test, vec![*reference], label));
            }
            if references.len() > 1 {
                pairs.push((under_test, references.clone(), CONSENSUS.to_owned()));
            }
        }
        pairs
    }

    fn device(&self, index: usize, window: Span) -> Option<DeviceTruth> {
        let rows: Vec<usize> = seconds(window)
            .filter_map(|second| self.row(index, second))
            .collect();
        let stream = self.streams.get(index)?;
        let mean = |values: &[f64]| mean_of(rows.iter().map(|row| values[*row]));
        let (site_mean_w, ideal_mean_w) = (mean(&stream.site_w)?, mean(&stream.ideal_w)?);
        let bias_w = ideal_mean_w - site_mean_w;
        Some(DeviceTruth {
            label: self.scenario.devices.get(index)?.label.clone(),
            n: rows.len(),
            site_mean_w: rounded(site_mean_w, 6),
            ideal_mean_w: rounded(ideal_mean_w, 6),
            bias_w: rounded(bias_w, 6),
            bias_percent: percent(bias_w, site_mean_w),
        })
    }

    /// The row of stream `index` that a 1 s grid takes for a second: the nearest within half a
    /// second, unless it lies in a dropout.
    fn row(&self, index: usize, session_s: f64) -> Option<usize> {
        let stream = self.streams.get(index)?;
        let times = stream.samples.time_s();
        let wanted = stream.clock.to_recorder(session_s);
        let after = times.partition_point(|t| *t < wanted);
        let nearest = [after.checked_sub(1), Some(after)]
            .into_iter()
            .flatten()
            .filter_map(|row| Some((row, (times.get(row)? - wanted).abs())))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let (row, distance_s) = nearest?;
        (distance_s <= 0.5 && stream.dropout[row].is_none()).then_some(row)
    }

    pub fn pair(
        &self,
        under_test: usize,
        against: &[usize],
        name: &str,
        window: Span,
    ) -> Option<PairTruth> {
        let both: Vec<(f64, f64)> = seconds(window)
            .filter_map(|second| {
                let source = self.streams[under_test].ideal_w[self.row(under_test, second)?];
                let mut sum = 0.0;
                for reference in against {
                    sum += self.streams[*reference].ideal_w[self.row(*reference, second)?];
                }
                Some((source, sum / against.len() as f64))
            })
            .collect();
        let reference_mean_w = mean_of(both.iter().map(|(_, r)| *r))?;
        let bias_w = mean_of(both.iter().map(|(u, r)| u - r))?;
        let scale = self.scale(under_test, against, window);
        Some(PairTruth {
            under_test: self.scenario.devices.get(under_test)?.label.clone(),
            reference: name.to_owned(),
            n: both.len(),
            reference_mean_w: rounded(reference_mean_w, 6),
            bias_w: rounded(bias_w, 6),
            bias_percent: percent(bias_w, reference_mean_w),
            scale_bias_percent: scale.map(|s| rounded(s.middle, 6)),
            scale_start_percent: scale.map(|s| rounded(s.start, 6)),
            scale_end_percent: scale.map(|s| rounded(s.end, 6)),
            drift_percent_per_10min: scale.map(|s| rounded(s.slope_per_s * 600.0, 6)),
            drift_w_per_min: scale
                .map(|s| rounded(s.slope_per_s * 60.0 * reference_mean_w / 100.0, 6)),
        })
    }

    /// The difference of the scales over a window, at the window's mean power.
    fn scale(&self, under_test: usize, against: &[usize], window: Span) -> Option<Scale> {
        let rows: Vec<usize> = seconds(window)
            .map(|second| self.ride.row(self.to_true(second)))
            .collect();
        let power_w = mean_of(rows.iter().map(|row| self.ride.power_w[*row]))?;
        let points: Option<Vec<(f64, f64)>> = seconds(window)
            .zip(&rows)
            .map(|(second, row)| Some((second, self.scale_at(under_test, against, power_w, *row)?)))
            .collect();
        let points = points?;
        Some(Scale {
            start: points.first()?.1,
            middle: points.get(points.len() / 2)?.1,
            end: points.last()?.1,
            slope_per_s: least_squares_slope(&points)?,
        })
    }

    /// 100·(under test − reference)/reference by the scales alone, at a pedal power and a fine row.
    fn scale_at(
        &self,
        under_test: usize,
        against: &[usize],
        power_w: f64,
        row: usize,
    ) -> Option<f64> {
        let reading = |index: usize| {
            let device = &self.scenario.devices[index];
            let site_w = power_w * self.scenario.drivetrain.transmission(device.site);
            device.static_reading_w(site_w, self.ride.ratio[row], self.ride.warmth_c[row])
        };
        let reference_w = mean_of(against.iter().map(|index| reading(*index)))?;
        (reference_w > 1.0).then(|| 100.0 * (reading(under_test) - reference_w) / reference_w)
    }

    fn shifts(&self, pairs: &[(usize, Vec<usize>, String)], window: Span) -> Vec<ShiftTruth> {
        let mut out = Vec::new();
        for (at_true_s, gear) in self.ride.shifts.iter().filter(|(at_s, _)| *at_s > 0.0) {
            let at_s = self.to_session(*at_true_s);
            if !window.contains(at_s) {
                continue;
            }
            let after = self.ride.row(*at_true_s + 0.01);
            let power_w =
                mean_of(seconds(window).map(|s| self.ride.power_w[self.ride.row(self.to_true(s))]));
            for (under_test, against, name) in pairs {
                let at = |row| self.scale_at(*under_test, against, power_w?, row);
                if let (Some(before), Some(now)) = (at(after.saturating_sub(1)), at(after)) {
                    out.push(ShiftTruth {
                        at_s: rounded(at_s, 3),
                        gear: gear.to_string(),
                        under_test: self.scenario.devices[*under_test].label.clone(),
                        reference: name.clone(),
                        shift_percent: rounded(now - before, 6),
                    });
                }
            }
        }
        out
    }
}

/// The difference of two scales over a window, %.
#[derive(Clone, Copy)]
struct Scale {
    start: f64,
    middle: f64,
    end: f64,
    slope_per_s: f64,
}

/// The whole seconds of session time inside a window.
fn seconds(window: Span) -> impl Iterator<Item = f64> {
    let (from, to) = (window.from_s.ceil() as i64, window.to_s.ceil() as i64);
    (from..to).map(|second| second as f64)
}

fn dropouts(stream: &RehearsedStream) -> Vec<Dropout> {
    let times = stream.samples.time_s();
    let mut out: Vec<Dropout> = Vec::new();
    for (row, kind) in stream.dropout.iter().enumerate() {
        let Some(kind) = *kind else { continue };
        let from_s = rounded(stream.clock.to_session(times[row]), 3);
        let next = times.get(row + 1).copied().unwrap_or(times[row] + 1.0);
        let to_s = rounded(stream.clock.to_session(next), 3);
        match out.last_mut() {
            Some(last) if last.kind == kind && row > 0 && stream.dropout[row - 1] == Some(kind) => {
                last.to_s = to_s;
            }
            _ => out.push(Dropout { from_s, to_s, kind }),
        }
    }
    out
}

fn mean_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0u32);
    for value in values {
        sum += value;
        n += 1;
    }
    (n > 0).then(|| sum / f64::from(n))
}

fn percent(part_w: f64, whole_w: f64) -> Option<f64> {
    (whole_w > 1.0).then(|| rounded(100.0 * part_w / whole_w, 6))
}

fn least_squares_slope(points: &[(f64, f64)]) -> Option<f64> {
    let x_mean = mean_of(points.iter().map(|p| p.0))?;
    let y_mean = mean_of(points.iter().map(|p| p.1))?;
    let sxx: f64 = points.iter().map(|p| (p.0 - x_mean).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - x_mean) * (p.1 - y_mean)).sum();
    (sxx > 0.0).then(|| sxy / sxx)
}
