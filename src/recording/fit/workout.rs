//! Workout steps with power targets, and when each was ridden.
//!
//! A step's time is taken from the laps that name it, else from `workout_step` events, else, where
//! every step lasts a given time, counted from the first timer start.

use std::collections::BTreeMap;

use super::fields::Fields;
use crate::recording::{Event, EventKind, Lap, SetPoint};

/// Intermediate steps laid out; a workout longer than that is not ridden.
const MOST_STEPS: usize = 10_000;

/// The workout of one section.
#[derive(Debug, Default)]
pub(super) struct Workout {
    steps: BTreeMap<u16, Step>,
    began: Vec<(f64, u16)>,
    /// The rider's functional threshold power, W, for targets in percent of it.
    pub(super) threshold_w: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Step {
    duration: Duration,
    target: Target,
}

#[derive(Clone, Copy, Debug)]
enum Duration {
    Seconds(f64),
    /// Go back to the step `to` until it was ridden `times` times.
    Repeat {
        to: u16,
        times: u16,
    },
    Other,
}

#[derive(Clone, Copy, Debug)]
enum Target {
    Watts(f64),
    /// A fraction of the threshold power.
    Relative(f64),
    None,
}

impl Workout {
    /// Takes one `workout_step` message.
    pub(super) fn step(&mut self, fields: &Fields) {
        const TIME: u32 = 0;
        const REPEAT_UNTIL_STEPS_DONE: u32 = 6;
        let Some(index) = fields.number(254).or(Some(self.steps.len() as f64)) else {
            return;
        };
        let value = fields.number(2);
        let duration = match (fields.number(1).map(|v| v as u32), value) {
            (Some(TIME), Some(ms)) => Duration::Seconds(ms / 1000.0),
            (Some(REPEAT_UNTIL_STEPS_DONE), Some(to)) => Duration::Repeat {
                to: to as u16,
                times: fields.number(4).unwrap_or(1.0) as u16,
            },
            _ => Duration::Other,
        };
        let step = Step {
            duration,
            target: target(fields),
        };
        self.steps.insert(index as u16, step);
    }

    /// A `workout_step` event: `step` began at `at_s`.
    pub(super) fn step_began(&mut self, at_s: f64, step: u16) {
        self.began.push((at_s, step));
    }

    /// The set points in time order. `laps` and `events` are on the recording's time base, `shift`
    /// leads there from the file's own count; `span` is the samples' first and last time.
    pub(super) fn set_points(
        &mut self,
        laps: &[(Lap, Option<u16>)],
        events: &[Event],
        span: Option<(f64, f64)>,
        shift: f64,
        remarks: &mut Vec<String>,
    ) -> Vec<SetPoint> {
        let Some((first, last)) = span else {
            return Vec::new();
        };
        let aimed = |step: &Step| !matches!(step.target, Target::None);
        if !self.steps.values().any(aimed) {
            return Vec::new();
        }
        let mut ridden = self.ridden_by_laps(laps);
        if ridden.is_empty() {
            ridden = self.ridden_by_events(last, shift);
        }
        if ridden.is_empty() {
            let start = events
                .iter()
                .find(|event| event.kind == EventKind::TimerStart)
                .map_or(first, |event| event.at_s);
            ridden = self.laid_out(start, last);
            if !ridden.is_empty() {
                remarks.push(
                    "the file does not tell when each workout step was ridden: set points are \
                     counted from the timer start, without pauses"
                        .to_owned(),
                );
            }
        }
        let mut without_threshold = 0;
        let mut set_points = Vec::new();
        for (from_s, to_s, index) in ridden {
            let watts = match self.steps.get(&index).map(|step| step.target) {
                Some(Target::Watts(watts)) => watts,
                Some(Target::Relative(share)) => match self.threshold_w {
                    Some(threshold_w) => share * threshold_w,
                    None => {
                        without_threshold += 1;
                        continue;
                    }
                },
                _ => continue,
            };
            let (from_s, to_s) = (from_s.max(first), to_s.min(last));
            if from_s < to_s {
                set_points.push(SetPoint {
                    from_s,
                    to_s,
                    watts,
                });
            }
        }
        if without_threshold > 0 {
            remarks.push(format!(
                "{} in percent of a threshold power that the file does not tell: left out",
                crate::text::plural(without_threshold, "set point")
            ));
        }
        set_points.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        set_points
    }

    fn ridden_by_laps(&self, laps: &[(Lap, Option<u16>)]) -> Vec<(f64, f64, u16)> {
        laps.iter()
            .filter_map(|(lap, step)| Some((lap.from_s, lap.to_s, (*step)?)))
            .collect()
    }

    fn ridden_by_events(&self, last: f64, shift: f64) -> Vec<(f64, f64, u16)> {
        let ends = self
            .began
            .iter()
            .skip(1)
            .map(|(at_s, _)| at_s + shift)
            .chain(std::iter::once(last));
        self.began
            .iter()
            .zip(ends)
            .map(|((at_s, step), end)| (at_s + shift, end, *step))
            .collect()
    }

    /// The steps one after the other from `start`, repeats unrolled, as long as each has a
    /// duration in time.
    fn laid_out(&self, start: f64, last: f64) -> Vec<(f64, f64, u16)> {
        let mut ridden = Vec::new();
        let mut repeated: BTreeMap<u16, u16> = BTreeMap::new();
        let (mut at, mut t) = (self.steps.keys().next().copied().unwrap_or(0), start);
        for _ in 0..MOST_STEPS {
            let Some(step) = self.steps.get(&at) else {
                break;
            };
            match step.duration {
                Duration::Seconds(seconds) => {
                    ridden.push((t, t + seconds, at));
                    t += seconds;
                    at = at.saturating_add(1);
                }
                Duration::Repeat { to, times } => {
                    let done = repeated.entry(at).or_insert(1);
                    if *done < times && to < at {
                        *done += 1;
                        at = to;
                    } else {
                        *done = 1;
                        at = at.saturating_add(1);
                    }
                }
                Duration::Other => break,
            }
            if t >= last {
                break;
            }
        }
        ridden
    }
}

/// The power asked for: the middle of the range. Values of 1000 and above are watts plus 1000,
/// lower ones percent of threshold power (FIT profile, `workout_power`).
fn target(fields: &Fields) -> Target {
    const POWER: f64 = 4.0;
    const WATTS_FROM: f64 = 1000.0;
    if fields.number(3) != Some(POWER) || fields.number(4).is_some_and(|zone| zone > 0.0) {
        return Target::None;
    }
    let (Some(low), Some(high)) = (fields.number(5), fields.number(6)) else {
        return Target::None;
    };
    let middle = (low + high) / 2.0;
    if low >= WATTS_FROM && high >= WATTS_FROM {
        Target::Watts(middle - WATTS_FROM)
    } else if high < WATTS_FROM {
        Target::Relative(middle / 100.0)
    } else {
        Target::None
    }
}
