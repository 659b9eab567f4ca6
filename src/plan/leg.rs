//! One stretch of a plan: the power, cadence and gear it asks for.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::session::Kind;

/// A gear: teeth of the front and the rear sprocket, written `50/17`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gear {
    /// Front teeth.
    pub front: u8,
    /// Rear teeth.
    pub rear: u8,
}

impl Gear {
    /// Wheel revolutions a crank revolution.
    pub fn ratio(self) -> f64 {
        f64::from(self.front) / f64::from(self.rear)
    }
}

impl std::fmt::Display for Gear {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.front, self.rear)
    }
}

impl std::str::FromStr for Gear {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let teeth = |part: &str| part.trim().parse().ok().filter(|n| (8..=80).contains(n));
        text.split_once('/')
            .and_then(|(front, rear)| {
                Some(Gear {
                    front: teeth(front)?,
                    rear: teeth(rear)?,
                })
            })
            .ok_or_else(|| {
                format!("{text:?} is no gear; write front/rear teeth, 8 to 80, as in \"50/17\"")
            })
    }
}

impl Serialize for Gear {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Gear {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// One stretch of the ride: a repetition of a phase, or a rest between two.
#[derive(Clone, Debug, PartialEq)]
pub struct Leg {
    /// What it is.
    pub kind: Kind,
    /// Start, s from the start of the ride.
    pub from_s: f64,
    /// End, s from the start of the ride.
    pub to_s: f64,
    /// What power is asked for.
    pub shape: Shape,
    /// Cadence, rpm.
    pub cadence_rpm: f64,
    /// Gears of equally long stretches; at least one.
    pub gears: Vec<Gear>,
    /// What to tell the rider.
    pub note: String,
}

/// The power asked for within a leg.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A constant power, W.
    Hold(f64),
    /// From one power to another in a straight line, W.
    Line(f64, f64),
    /// Equally long steps, W.
    Steps(Vec<f64>),
    /// An effort in the middle of a rolling power.
    Sprint {
        /// Power before and after, W.
        rolling_w: f64,
        /// Highest power, W.
        peak_w: f64,
        /// Length of the effort, s.
        effort_s: f64,
        /// The grade that the trainer simulates meanwhile, %; `None` where it simulates none.
        grade_percent: Option<f64>,
    },
    /// Nobody pedals.
    Coast,
    /// Equally long plateaus of a grade that the trainer simulates, %: the power follows.
    Grades(Vec<f64>),
}

impl Leg {
    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    /// The constant power asked for, if it is one, W.
    pub fn set_point_w(&self) -> Option<f64> {
        match self.shape {
            Shape::Hold(watts) => Some(watts),
            _ => None,
        }
    }

    /// The power asked for `into_s` after the start of the leg, W; 0 where none is.
    pub fn target_w(&self, into_s: f64) -> f64 {
        let part = (into_s / self.duration_s()).clamp(0.0, 1.0);
        match &self.shape {
            Shape::Hold(watts) => *watts,
            Shape::Line(from, to) => from + part * (to - from),
            Shape::Steps(levels) => levels[part_index(part, levels.len())],
            Shape::Sprint {
                rolling_w,
                peak_w,
                effort_s,
                ..
            } => {
                let start_s = (self.duration_s() - effort_s) / 2.0;
                rolling_w + (peak_w - rolling_w) * effort(into_s - start_s, *effort_s)
            }
            Shape::Coast | Shape::Grades(_) => 0.0,
        }
    }

    /// The grade asked for `into_s` after the start of the leg, %.
    pub fn grade_percent(&self, into_s: f64) -> Option<f64> {
        match &self.shape {
            Shape::Grades(levels) => {
                let part = into_s / self.duration_s();
                levels.get(part_index(part, levels.len())).copied()
            }
            Shape::Sprint { grade_percent, .. } => *grade_percent,
            _ => None,
        }
    }

    /// Whether the trainer simulates a slope.
    pub fn is_simulated(&self) -> bool {
        self.grade_percent(0.0).is_some()
    }

    /// The gear in use `into_s` after the start of the leg.
    pub fn gear(&self, into_s: f64) -> Gear {
        self.gears[part_index(into_s / self.duration_s(), self.gears.len())]
    }
}

/// Which of `count` equally long parts the share `part` of the whole falls into.
fn part_index(part: f64, count: usize) -> usize {
    ((part.clamp(0.0, 1.0) * count as f64) as usize).min(count.saturating_sub(1))
}

/// A sprint's effort as a share of its peak, `t_s` after its start: up within 1.5 s, then tiring
/// to 70 % (shape by common practice, no source).
fn effort(t_s: f64, length_s: f64) -> f64 {
    if t_s <= 0.0 || t_s >= length_s {
        return 0.0;
    }
    let rise_s = 1.5f64.min(length_s / 3.0);
    if t_s < rise_s {
        let x = t_s / rise_s;
        x * x * (3.0 - 2.0 * x)
    } else {
        1.0 - 0.3 * (t_s - rise_s) / (length_s - rise_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_ask_for_what_they_say() {
        let leg = |shape| Leg {
            kind: Kind::Open,
            from_s: 100.0,
            to_s: 160.0,
            shape,
            cadence_rpm: 90.0,
            gears: vec![Gear {
                front: 50,
                rear: 17,
            }],
            note: String::new(),
        };
        assert_eq!(leg(Shape::Line(100.0, 160.0)).target_w(30.0), 130.0);
        assert_eq!(leg(Shape::Steps(vec![1.0, 2.0, 3.0])).target_w(20.0), 2.0);
        assert_eq!(leg(Shape::Steps(vec![1.0, 2.0, 3.0])).target_w(60.0), 3.0);
        let sprint = leg(Shape::Sprint {
            rolling_w: 100.0,
            peak_w: 900.0,
            effort_s: 10.0,
            grade_percent: None,
        });
        assert_eq!(sprint.target_w(24.9), 100.0);
        assert_eq!(sprint.target_w(26.5), 900.0);
        assert_eq!(sprint.target_w(35.1), 100.0);
        assert_eq!(sprint.grade_percent(20.0), None);
        let slope = leg(Shape::Grades(vec![0.0, 4.0, 2.0]));
        assert_eq!(slope.grade_percent(19.9), Some(0.0));
        assert_eq!(slope.grade_percent(20.0), Some(4.0));
        assert_eq!(
            (slope.grade_percent(60.0), slope.target_w(30.0)),
            (Some(2.0), 0.0)
        );
    }
}
