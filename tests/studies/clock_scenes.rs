//! Rehearsed rides for the clocks, by scene and seed, and how far the estimate is off.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use truing::plan::Plan;
use truing::recording::Sampling;
use truing::rehearse::{Pause, Rehearsal, Scenario, Strap, random_scenario, ride};
use truing::session::MatchedOn;
use truing::timeline::Clock;
use truing::timeline::align::{Alignment, Options, Source, StreamClock, align};

/// What is special about a ride.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scene {
    /// All recorders hear one strap.
    OneStrap,
    /// One strap, one recorder paused for minutes, starts and ends minutes apart.
    OneStrapPaused,
    /// No heart rate; cadence without spikes or much lag.
    CleanCadence,
    /// No heart rate; cadence, on repeated intervals, a repeat or two missing at either end.
    CadenceOnRepeats,
    /// Another strap for each recorder; cadence with spikes.
    OwnStrapsSpikyCadence,
    /// No heart rate; the trainer's cadence late by 1 to 4 s.
    SmoothedCadence,
    /// Power alone.
    PowerOnly,
    /// Power alone, on repeated intervals, a repeat or two missing at either end.
    PowerOnRepeats,
    /// Half an hour at one power, one strap.
    SteadyOneStrap,
    /// As the dice fall: straps, spikes, pauses, dropouts.
    AsItComes,
    /// Ten or twenty minutes, one strap or cadence.
    Short,
}

impl Scene {
    pub const ALL: [Scene; 11] = [
        Scene::OneStrap,
        Scene::OneStrapPaused,
        Scene::CleanCadence,
        Scene::CadenceOnRepeats,
        Scene::OwnStrapsSpikyCadence,
        Scene::SmoothedCadence,
        Scene::PowerOnly,
        Scene::PowerOnRepeats,
        Scene::SteadyOneStrap,
        Scene::AsItComes,
        Scene::Short,
    ];

    /// Shared heart rate or clean cadence on half an hour and more: where accuracy is promised.
    pub fn promised(self) -> bool {
        matches!(
            self,
            Scene::OneStrap
                | Scene::OneStrapPaused
                | Scene::CleanCadence
                | Scene::CadenceOnRepeats
                | Scene::SteadyOneStrap
        )
    }

    pub fn plan(self, draw: &mut ChaCha8Rng) -> Plan {
        let long = ["full-bench", "heat-soak", "intervals"];
        let name = match self {
            Scene::CadenceOnRepeats | Scene::PowerOnRepeats => "intervals",
            Scene::Short => ["short-check", "repeatability"][draw.random_range(0..2)],
            Scene::SteadyOneStrap => return plan_of(STEADY),
            _ => match draw.random_range(0..4) {
                3 => return plan_of(TWO_HOURS),
                other => long[other],
            },
        };
        Plan::built_in(name).expect("a built-in plan")
    }

    pub fn arrange(self, plan: &Plan, scenario: &mut Scenario, draw: &mut ChaCha8Rng) {
        let duration_s = plan.duration_s();
        let strap = match self {
            Scene::OneStrap | Scene::OneStrapPaused | Scene::SteadyOneStrap => Some(Strap::Shared),
            Scene::OwnStrapsSpikyCadence => Some(Strap::Own),
            Scene::AsItComes => None,
            Scene::Short if draw.random_bool(0.5) => Some(Strap::Shared),
            _ => Some(Strap::None),
        };
        let half_a_day_s = 43_200.0;
        for (index, device) in scenario.devices.iter_mut().enumerate() {
            if let Some(strap) = strap {
                device.recorder.strap = strap;
            }
            let far = draw.random_bool(0.5);
            let within_s = if far { half_a_day_s } else { 60.0 };
            device.recorder.clock_offset_s =
                (draw.random_range(-within_s..within_s) * 1000.0_f64).round() / 1000.0;
            device.recorder.clock_skew_ppm = draw.random_range(-100.0..100.0);
            match self {
                Scene::OneStrapPaused => {
                    device.recorder.start_s = draw.random_range(0.0..240.0);
                    device.recorder.stop_early_s = draw.random_range(0.0..240.0);
                    if index == 1 {
                        device.recorder.pauses = vec![Pause {
                            at_s: duration_s * draw.random_range(0.3..0.6),
                            duration_s: draw.random_range(60.0..400.0),
                        }];
                    }
                }
                Scene::CadenceOnRepeats | Scene::PowerOnRepeats if index > 0 => {
                    device.recorder.start_s = draw.random_range(240.0..500.0);
                    device.recorder.stop_early_s = draw.random_range(160.0..400.0);
                }
                _ => {}
            }
            match self {
                Scene::OwnStrapsSpikyCadence => {
                    device.cadence_spike_percent = draw.random_range(1.0..15.0);
                }
                Scene::PowerOnly | Scene::PowerOnRepeats => device.cadence = false,
                Scene::SmoothedCadence if index == 0 => {
                    device.cadence_spike_percent = 0.0;
                    device.cadence_lag_s = draw.random_range(1.0..4.0);
                }
                Scene::AsItComes => {}
                _ => device.cadence_spike_percent = 0.0,
            }
        }
    }

    /// The ride of `seed`.
    pub fn ride(self, seed: u64) -> Rehearsal {
        let mut draw = ChaCha8Rng::seed_from_u64(seed ^ 0xC10C_0000);
        let plan = self.plan(&mut draw);
        let mut scenario = random_scenario(&plan, seed);
        self.arrange(&plan, &mut scenario, &mut draw);
        ride(&plan, &scenario, seed).expect("a possible scenario")
    }
}

fn plan_of(text: &str) -> Plan {
    Plan::from_toml("study", text).expect("a plan")
}

const STEADY: &str = r#"
title = "Steady"
purpose = "Nothing to hold on to but the rider."
[[phase]]
kind = "open"
duration_s = 120
from_w = 100
to_w = 190
[[phase]]
kind = "heat-soak"
duration_s = 1740
set_point_w = 190
"#;

const TWO_HOURS: &str = r#"
title = "Two hours"
purpose = "A long ride of blocks and sprints."
[[phase]]
kind = "open"
duration_s = 600
from_w = 100
to_w = 200
[[phase]]
kind = "heat-soak"
duration_s = 2400
set_point_w = 210
[[phase]]
kind = "steady-block"
duration_s = 300
set_point_w = 260
repeat = 4
rest_s = 180
rest_w = 120
[[phase]]
kind = "sprint"
duration_s = 60
set_point_w = 150
peak_w = 800
effort_s = 12
repeat = 3
rest_s = 120
rest_w = 120
[[phase]]
kind = "open"
duration_s = 1740
from_w = 190
to_w = 160
"#;

/// A ride of `half_hours`, for how the rate's error falls with length: every half hour holds a
/// rise, blocks and sprints. Odd seeds have one strap, even ones clean cadence only; clocks are
/// within ±100 ppm.
pub fn ride_of_length(half_hours: usize, seed: u64) -> Rehearsal {
    let mut draw = ChaCha8Rng::seed_from_u64(seed ^ 0xC10C_1000);
    let head = "title = \"Long\"\npurpose = \"Rates against length.\"\n";
    let plan = plan_of(&format!("{head}{}", HALF_AN_HOUR.repeat(half_hours)));
    let mut scenario = random_scenario(&plan, seed);
    let scene = if seed % 2 == 1 {
        Scene::OneStrap
    } else {
        Scene::CleanCadence
    };
    scene.arrange(&plan, &mut scenario, &mut draw);
    ride(&plan, &scenario, seed).expect("a possible scenario")
}

const HALF_AN_HOUR: &str = r#"
[[phase]]
kind = "open"
duration_s = 600
from_w = 120
to_w = 210
[[phase]]
kind = "steady-block"
duration_s = 180
set_point_w = 240
repeat = 3
rest_s = 120
rest_w = 130
[[phase]]
kind = "sprint"
duration_s = 60
set_point_w = 150
peak_w = 700
effort_s = 10
repeat = 2
rest_s = 90
rest_w = 120
"#;

/// Aligns a rehearsed ride as a session would be.
pub fn aligned(ride: &Rehearsal) -> Alignment {
    align(&sources(ride), Options::default())
}

/// The streams of a ride as the aligner gets them.
pub fn sources(ride: &Rehearsal) -> Vec<Source<'_>> {
    let zero_s = ride.streams[0].samples.time_s()[0];
    ride.streams
        .iter()
        .zip(&ride.scenario.devices)
        .enumerate()
        .map(|(recording, (stream, device))| Source {
            label: &device.label,
            recording,
            role: device.role,
            site: Some(device.site),
            samples: &stream.samples,
            sampling: Sampling::Regular,
            absolute: true,
            clock: Clock {
                zero_s,
                offset_s: 0.0,
                skew_ppm: 0.0,
            },
            given: false,
        })
        .collect()
}

/// How far one stream's clock is off.
#[derive(Clone, Debug)]
pub struct Miss {
    pub label: String,
    pub matched_on: MatchedOn,
    /// Found minus true session time at the middle of the recording, s.
    pub error_s: f64,
    /// Found minus true rate, ppm.
    pub skew_error_ppm: f64,
    /// True rate, ppm.
    pub skew_ppm: f64,
    pub confident: bool,
    /// Whether the printed 95 % interval of the offset holds the truth, at the clock's zero.
    pub covered: Option<bool>,
    /// Its half-width, s.
    pub half_s: f64,
    /// Whether the interval without the allowance holds the truth, at the middle.
    pub random_covered: Option<bool>,
    /// Its half-width, s.
    pub random_half_s: f64,
    /// Whether the 95 % interval of the rate holds the truth.
    pub skew_covered: Option<bool>,
    pub reason: String,
}

/// The misses of all streams but the first, which defines session time.
pub fn misses(ride: &Rehearsal, found: &Alignment) -> Vec<Miss> {
    let zero_s = ride.streams[0].samples.time_s()[0];
    ride.streams
        .iter()
        .zip(&found.streams)
        .skip(1)
        .map(|(stream, found)| {
            let times = stream.samples.time_s();
            let middle_s = 0.5 * (times[0] + times[times.len() - 1]);
            Miss::of(found, stream.clock, zero_s, middle_s)
        })
        .collect()
}

impl Miss {
    /// How far `found` is off `truth`, at `middle_s` on the recorder's time.
    pub fn of(found: &StreamClock, truth: Clock, zero_s: f64, middle_s: f64) -> Self {
        let clock = Clock {
            zero_s,
            offset_s: found.offset_s,
            skew_ppm: found.skew_ppm,
        };
        let error_s = clock.to_session(middle_s) - truth.to_session(middle_s);
        let holds = |interval: Option<[f64; 2]>, value: f64| {
            interval.map(|[low, high]| low <= value && value <= high)
        };
        let half = |interval: Option<[f64; 2]>| {
            interval.map_or(f64::NAN, |[low, high]| 0.5 * (high - low))
        };
        Miss {
            label: found.label.clone(),
            matched_on: found.matched_on,
            error_s,
            skew_error_ppm: found.skew_ppm - truth.skew_ppm,
            skew_ppm: truth.skew_ppm,
            confident: found.confident,
            covered: holds(found.offset_ci95_s, truth.to_session(zero_s)),
            half_s: half(found.offset_ci95_s),
            random_covered: holds(found.mid_ride_ci95_s, -error_s),
            random_half_s: half(found.mid_ride_ci95_s),
            skew_covered: holds(found.skew_ci95_ppm, truth.skew_ppm),
            reason: found.reason.clone(),
        }
    }
}
