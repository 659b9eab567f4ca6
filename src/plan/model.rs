//! Test plans as TOML, and how they unfold into legs.

use std::io::Read as _;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::error::PlanError;
use super::leg::{Gear, Leg, Shape};
use super::share::name_and_share;
use crate::session::{Asks, Kind, files, plain_words};

/// Longest plan read, bytes: some hundred times a usual one.
const MOST_BYTES: u64 = 1 << 20;

/// The plans that the program carries, by name.
const BUILT_IN: &[(&str, &str)] = &[
    (
        "short-check",
        include_str!("../../assets/plans/short-check.toml"),
    ),
    (
        "full-bench",
        include_str!("../../assets/plans/full-bench.toml"),
    ),
    (
        "heat-soak",
        include_str!("../../assets/plans/heat-soak.toml"),
    ),
    (
        "repeatability",
        include_str!("../../assets/plans/repeatability.toml"),
    ),
    ("powers", include_str!("../../assets/plans/powers.toml")),
    (
        "intervals",
        include_str!("../../assets/plans/intervals.toml"),
    ),
    ("slopes", include_str!("../../assets/plans/slopes.toml")),
    (
        "all-round",
        include_str!("../../assets/plans/all-round.toml"),
    ),
];

/// Longest plan, s: a day.
const LONGEST_S: f64 = 86_400.0;

/// A test plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// Name for lists and sheets; the file's stem or the built-in name.
    #[serde(skip)]
    pub name: String,
    /// The share of its powers at which it is to be ridden, %; `None` for all of them.
    #[serde(skip)]
    pub scale_percent: Option<f64>,
    /// Title of the sheet.
    pub title: String,
    /// What the plan is for, one paragraph.
    pub purpose: String,
    /// What a ride after this plan can answer, one sentence each.
    #[serde(default)]
    pub covers: Vec<String>,
    /// Cautions of this plan, beside those that hold for every plan.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Whether the trainer holds every set point at its own site (set-power mode), rather than the
    /// rider at the pedals.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub controlled: bool,
    /// The phases, in order.
    #[serde(rename = "phase")]
    pub phases: Vec<Phase>,
}

/// One phase of a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Phase {
    /// What it is.
    pub kind: Kind,
    /// Length of one repetition, s.
    pub duration_s: f64,
    /// Power to hold, W; in a sprint the power before and after the effort.
    pub set_point_w: Option<f64>,
    /// Power at the start of a steady rise or fall, W.
    pub from_w: Option<f64>,
    /// Power at its end, W.
    pub to_w: Option<f64>,
    /// Powers of equally long steps, W.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub levels_w: Vec<f64>,
    /// Grades of equally long plateaus that the trainer simulates, %; in a sprint, the one it
    /// simulates throughout.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub grades_percent: Vec<f64>,
    /// Highest power of a sprint, W.
    pub peak_w: Option<f64>,
    /// Length of a sprint's effort, s; it stands in the middle of the phase.
    pub effort_s: Option<f64>,
    /// Cadence, rpm; the phase before tells where it is absent, 85 at the start.
    pub cadence_rpm: Option<f64>,
    /// Gear; the phase before tells where it is absent, 50/17 at the start.
    pub gear: Option<Gear>,
    /// Gears of equally long stretches.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gears: Vec<Gear>,
    /// How many times in a row; once where absent.
    pub repeat: Option<u32>,
    /// Rest after each repetition, s.
    pub rest_s: Option<f64>,
    /// Power of that rest, W.
    pub rest_w: Option<f64>,
    /// What to tell the rider.
    #[serde(default)]
    pub note: String,
    /// What it is ridden for, one sentence.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
}

impl Plan {
    /// Names of the plans that the program carries.
    pub fn names() -> impl Iterator<Item = &'static str> {
        BUILT_IN.iter().map(|(name, _)| *name)
    }

    /// The plan called `name` that the program carries.
    ///
    /// # Errors
    /// [`PlanError::NoSuchPlan`].
    pub fn built_in(name: &str) -> Result<Self, PlanError> {
        let (_, text) = BUILT_IN
            .iter()
            .find(|(known, _)| *known == name)
            .ok_or_else(|| PlanError::NoSuchPlan {
                name: name.to_owned(),
                known: Self::names().collect::<Vec<_>>().join(", "),
            })?;
        Self::from_toml(name, text)
    }

    /// The built-in plan called `name`, else the plan in the file of that name; with a share of its
    /// powers behind the name, at that share.
    ///
    /// # Errors
    /// [`PlanError::NoSuchPlan`], [`PlanError::Scale`], or what [`Plan::from_toml`] finds wrong.
    pub fn find(name: &str) -> Result<Self, PlanError> {
        let (name, share) = name_and_share(name);
        let plan = Self::find_whole(name)?;
        share.map_or(Ok(plan.clone()), |percent| plan.scaled(percent))
    }

    fn find_whole(name: &str) -> Result<Self, PlanError> {
        let path = Path::new(name);
        if Self::names().any(|known| known == name) || !path.is_file() {
            return Self::built_in(name);
        }
        Self::in_file(name, path)
    }

    /// The built-in plan called `name`, else the plan in the file of that name inside the session
    /// folder whose session names it; at a share of its powers as with [`Plan::find`].
    ///
    /// # Errors
    /// Those of [`Plan::find`], and where the file lies outside the folder.
    pub fn find_for_session(folder: &Path, name: &str) -> Result<Self, PlanError> {
        let (name, share) = name_and_share(name);
        let plan = Self::find_in(folder, name)?;
        share.map_or(Ok(plan.clone()), |percent| plan.scaled(percent))
    }

    fn find_in(folder: &Path, name: &str) -> Result<Self, PlanError> {
        if Self::names().any(|known| known == name) {
            return Self::built_in(name);
        }
        match files::inside(folder, name) {
            Ok(path) if path.is_file() => Self::in_file(name, &path),
            Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
                let path = folder.join(name);
                Err(PlanError::Io { path, source })
            }
            _ => Self::built_in(name),
        }
    }

    fn in_file(name: &str, path: &Path) -> Result<Self, PlanError> {
        let io = |source| PlanError::Io {
            path: path.to_owned(),
            source,
        };
        let file = std::fs::File::open(path).map_err(io)?;
        let mut text = String::new();
        let mut start = file.take(MOST_BYTES + 1);
        start.read_to_string(&mut text).map_err(io)?;
        if text.len() as u64 > MOST_BYTES {
            let error = std::io::Error::other("it is over 1 MiB: no plan is");
            return Err(io(error));
        }
        Self::from_toml(name, &text)
    }

    /// Reads a plan and checks that it can be ridden. `name` is the file or name for messages.
    ///
    /// # Errors
    /// [`PlanError::Syntax`] (with line and column) or [`PlanError::Phase`].
    pub fn from_toml(name: &str, text: &str) -> Result<Self, PlanError> {
        let syntax = |reason: String| PlanError::Syntax {
            plan: name.to_owned(),
            reason,
        };
        let mut plan: Plan = toml_edit::de::from_str(text)
            .map_err(|error| syntax(plain_words(&error.to_string())))?;
        let stem = std::path::Path::new(name).file_stem();
        plan.name = stem.map_or_else(|| name.to_owned(), |s| s.to_string_lossy().into_owned());
        if plan.phases.is_empty() {
            return Err(syntax("has no [[phase]]; add one".to_owned()));
        }
        plan.check().map_err(|(index, reason)| PlanError::Phase {
            plan: name.to_owned(),
            phase: index + 1,
            kind: plan.phases[index].kind,
            reason,
        })?;
        if plan.duration_s() > LONGEST_S {
            return Err(syntax("is longer than a day; shorten it".to_owned()));
        }
        Ok(plan)
    }

    /// The first phase that cannot be ridden, and why.
    pub(super) fn check(&self) -> Result<(), (usize, String)> {
        let mut phases = self.phases.iter().enumerate();
        phases.try_for_each(|(index, phase)| phase.check().map_err(|reason| (index, reason)))
    }

    /// Length of the whole ride, s.
    pub fn duration_s(&self) -> f64 {
        self.phases.iter().map(Phase::total_s).sum()
    }

    /// The plan unfolded: repetitions and rests one after the other, each with its gear and
    /// cadence.
    pub fn legs(&self) -> Vec<Leg> {
        let mut legs = Vec::new();
        let (mut at_s, mut cadence_rpm) = (0.0, 85.0);
        let mut gear = Gear {
            front: 50,
            rear: 17,
        };
        for phase in &self.phases {
            cadence_rpm = phase.cadence_rpm.unwrap_or(cadence_rpm);
            gear = phase.gear.unwrap_or(gear);
            for _ in 0..phase.repeats() {
                let gears = if phase.gears.is_empty() {
                    vec![gear]
                } else {
                    phase.gears.clone()
                };
                gear = gears.last().copied().unwrap_or(gear);
                let mut push = |kind, length_s: f64, shape, gears, note: &str| {
                    legs.push(Leg {
                        kind,
                        from_s: at_s,
                        to_s: at_s + length_s,
                        shape,
                        cadence_rpm,
                        gears,
                        note: note.to_owned(),
                    });
                    at_s += length_s;
                };
                push(
                    phase.kind,
                    phase.duration_s,
                    phase.shape(),
                    gears,
                    &phase.note,
                );
                if let (Some(rest_s), Some(rest_w)) = (phase.rest_s, phase.rest_w) {
                    push(Kind::Open, rest_s, Shape::Hold(rest_w), vec![gear], "Rest");
                }
            }
        }
        legs
    }
}

impl Phase {
    fn repeats(&self) -> u32 {
        self.repeat.unwrap_or(1)
    }

    /// Length of all repetitions and rests, s.
    pub(super) fn total_s(&self) -> f64 {
        f64::from(self.repeats()) * (self.duration_s + self.rest_s.unwrap_or(0.0))
    }

    /// The power asked for. Only called on checked phases: what [`Phase::check`] demands is there.
    fn shape(&self) -> Shape {
        let hold_w = self.set_point_w.unwrap_or(0.0);
        match (self.kind.spec().asks, self.from_w, self.to_w) {
            (Asks::Nothing, ..) => Shape::Coast,
            (Asks::Grades, ..) => Shape::Grades(self.grades_percent.clone()),
            (Asks::Effort, ..) => Shape::Sprint {
                rolling_w: hold_w,
                peak_w: self.peak_w.unwrap_or(hold_w),
                effort_s: self.effort_s.unwrap_or(0.0),
                grade_percent: self.grades_percent.first().copied(),
            },
            (_, Some(from), Some(to)) => Shape::Line(from, to),
            _ if !self.levels_w.is_empty() => Shape::Steps(self.levels_w.clone()),
            _ => Shape::Hold(hold_w),
        }
    }

    fn check(&self) -> Result<(), String> {
        in_range("duration_s", Some(self.duration_s), 1.0, LONGEST_S)?;
        for (field, value) in [
            ("set_point_w", self.set_point_w),
            ("from_w", self.from_w),
            ("to_w", self.to_w),
            ("peak_w", self.peak_w),
            ("rest_w", self.rest_w),
        ] {
            in_range(field, value, 0.0, 3000.0)?;
        }
        for level in &self.levels_w {
            in_range("levels_w", Some(*level), 0.0, 3000.0)?;
        }
        for grade in &self.grades_percent {
            in_range("grades_percent", Some(*grade), -5.0, 15.0)?;
        }
        in_range("cadence_rpm", self.cadence_rpm, 20.0, 200.0)?;
        in_range("rest_s", self.rest_s, 1.0, LONGEST_S)?;
        in_range("effort_s", self.effort_s, 1.0, self.duration_s)?;
        in_range("repeat", self.repeat.map(f64::from), 1.0, 1000.0)?;
        if self.rest_s.is_some() != self.rest_w.is_some() {
            return Err("rest_s and rest_w go together; add the other".to_owned());
        }
        self.check_kind()
    }

    fn check_kind(&self) -> Result<(), String> {
        let held = self.set_point_w.is_some();
        let line = self.from_w.is_some() && self.to_w.is_some();
        let (fits, needs) = match self.kind.spec().asks {
            Asks::SetPoint => (held, "set_point_w"),
            Asks::Effort => (
                held && self.peak_w.is_some()
                    && self.effort_s.is_some()
                    && self.grades_percent.len() <= 1,
                "set_point_w, peak_w, effort_s and at most one of grades_percent",
            ),
            Asks::Levels => (
                line || self.levels_w.len() >= 2,
                "from_w and to_w, or two levels_w or more",
            ),
            Asks::Gears => (
                held && self.gears.len() >= 2,
                "set_point_w and two gears or more",
            ),
            Asks::Nothing => (true, ""),
            Asks::Grades => (
                self.grades_percent.len() >= 3,
                "three grades_percent or more",
            ),
            Asks::HoldOrLine => (held || line, "set_point_w, or from_w and to_w"),
        };
        if fits {
            Ok(())
        } else {
            Err(format!("needs {needs}"))
        }
    }
}

fn in_range(field: &str, value: Option<f64>, low: f64, high: f64) -> Result<(), String> {
    match value {
        Some(value) if !(low..=high).contains(&value) => Err(format!(
            "{field} = {value} is out of range; from {low} to {high} will do"
        )),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::rank_correlation;

    fn refused(phase: &str) -> String {
        let text = format!("title = \"t\"\npurpose = \"p\"\n[[phase]]\n{phase}\n");
        Plan::from_toml("mine.toml", &text).unwrap_err().to_string()
    }

    #[test]
    fn what_cannot_be_ridden_is_refused_with_the_place_and_the_way_out() {
        for (phase, words) in [
            (
                "kind = \"steady-block\"\nduration_s = 60",
                &["phase 1", "steady-block", "set_point_w"][..],
            ),
            (
                "kind = \"steady-block\"\nduration_s = 0\nset_point_w = 9",
                &["duration_s", "from 1"],
            ),
            ("kind = \"coast\"\nduration_s = nan", &["duration_s"]),
            (
                "kind = \"ramp\"\nduration_s = 60\nlevels_w = [100]",
                &["levels_w"],
            ),
            ("kind = \"ramp\"\nduration_s = 60\nfrom_w = 100", &["to_w"]),
            (
                "kind = \"open\"\nduration_s = 60\nset_point_w = inf",
                &["set_point_w"],
            ),
            (
                "kind = \"gear-change\"\nduration_s = 60\nset_point_w = 9\ngears = [\"50/17\"]",
                &["gears"],
            ),
            (
                "kind = \"coast\"\nduration_s = 60\ngear = \"50-17\"",
                &["front/rear", "line 6"],
            ),
            ("kind = \"coast\"\nduration_s = 60\nrest_s = 9", &["rest_w"]),
            (
                "kind = \"slope\"\nduration_s = 60\ngrades_percent = [1, 2]",
                &["grades_percent"],
            ),
            (
                "kind = \"slope\"\nduration_s = 60\ngrades_percent = [1, 2, 60]",
                &["grades_percent", "-5"],
            ),
            (
                "kind = \"coast\"\nduration_s = 60\nwatts = 9",
                &["line 6", "watts"],
            ),
            (
                "kind = \"tempo\"\nduration_s = 60",
                &["line 4", "tempo", "steady-block"],
            ),
            (
                "kind = \"coast\"\nduration_s = 80000\nrepeat = 2",
                &["longer than a day"],
            ),
        ] {
            let message = refused(phase);
            assert!(message.contains("mine.toml"), "{message}");
            for word in words {
                assert!(message.contains(word), "{word:?} is not in: {message}");
            }
        }
        let empty = Plan::from_toml("x", "title = \"t\"\npurpose = \"p\"\nphase = []\n");
        assert!(empty.unwrap_err().to_string().contains("[[phase]]"));
    }

    #[test]
    fn the_legs_follow_each_other_without_gap_and_fill_the_plan() {
        for name in Plan::names() {
            let plan = Plan::built_in(name).unwrap();
            let legs = plan.legs();
            assert_eq!(legs[0].from_s, 0.0);
            assert!(legs.windows(2).all(|pair| pair[0].to_s == pair[1].from_s));
            assert_eq!(legs.last().unwrap().to_s, plan.duration_s());
        }
    }

    #[test]
    fn repetitions_are_told_apart_by_rests_and_the_gear_is_carried_on() {
        let plan = Plan::built_in("intervals").unwrap();
        let steady = plan
            .legs()
            .iter()
            .filter(|leg| leg.kind == Kind::SteadyBlock)
            .count();
        assert_eq!(steady, 8);
        let bench = Plan::built_in("full-bench").unwrap().legs();
        let ladder = bench
            .iter()
            .position(|leg| leg.kind == Kind::GearChange)
            .unwrap();
        assert_eq!(bench[ladder].gear(0.0).to_string(), "50/21");
        assert_eq!(bench[ladder].gear(239.9).to_string(), "50/19");
        assert_eq!(bench[ladder + 1].gear(0.0).to_string(), "50/17");
    }

    /// Powers ridden in order are one with warming up: beyond ±0.8 no change with power is named.
    #[test]
    fn the_plan_of_powers_ends_on_its_first_and_tells_power_from_time() {
        let legs = Plan::built_in("powers").unwrap().legs();
        let held: Vec<&Leg> = legs
            .iter()
            .filter(|l| l.kind == Kind::SteadyBlock)
            .collect();
        let powers: Vec<f64> = held.iter().filter_map(|l| l.set_point_w()).collect();
        let times: Vec<f64> = held.iter().map(|l| l.from_s).collect();
        assert_eq!(powers.first(), powers.last());
        let together = rank_correlation(&powers, &times).unwrap();
        assert!(together.abs() < 0.8, "{together}");
        assert!(held.iter().all(|l| l.cadence_rpm == 85.0));
    }
}
