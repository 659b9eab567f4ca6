//! The apparent mass of the flywheel, m_a.
//!
//! Least squares over every second of the plateaus, power against what makes it:
//! `y = κ·m g v sin α + c_r·m g v cos α + ½C_w v³ + m_a·½(v₂² − v₁²)/Δt`. What of a new grade has not
//! arrived after each second has an unknown of its own, common to all steps, so that neither the delay
//! nor its shape is taken for a flywheel: the speed changes just then. The power into the
//! flywheel is looked for from two seconds before to two seconds after its place, and m_a is the sum
//! of the five: power and speed come from two recorders, one of them may be late or averaged, and a
//! regression on one second alone then reads too little (6 kg where 12 were). Where the five lie tells by
//! how much power is late, δ; power that is late by δ lacks `δ·dS/dt` of what a steady speed takes, S, which
//! goes with the acceleration too (0.6 kg for 0.1 s) and is put back. Each m_a is limited by
//! what it would be without each 40 s in turn (delete-a-group jackknife: Efron & Tibshirani 1993, An
//! Introduction to the Bootstrap, ch. 11, from memory).

use super::inputs::{GRAVITY_M_S2, Inputs, present, slope_of};
use super::plateaus::Plateau;
use crate::stats::MeanUncertainty;
use crate::stats::normal_equations::NormalEquations;

/// Seconds after a step in which the grade may still be arriving.
const ARRIVING_S: usize = 20;
/// How far the power into the flywheel may be off its place, s.
const OFF_S: usize = 2;
/// Length of a group of the jackknife, s, and the fewest groups.
const GROUP_S: f64 = 40.0;
const FEWEST: usize = 5;
/// Terms: gradient, rolling, drag, what is arriving, flywheel.
const FIRST_PULSE: usize = 3;
const FIRST_LAG: usize = FIRST_PULSE + ARRIVING_S;
const DRAG: usize = 2;
const LAGS: usize = 2 * OFF_S + 1;
const TERMS: usize = FIRST_LAG + LAGS;
/// Power and speed are usually not further apart, s (one standard deviation; judgement). Where the places
/// scatter by more they are not trusted.
const USUALLY_LATE_S: f64 = 0.3;
/// How well two clocks are known to agree at best, s (one standard deviation; judgement).
const KNOWN_S: f64 = 0.03;
/// Rounds in which mass and lateness settle.
const ROUNDS: usize = 6;
/// Mean square of the power into a kilogram that tells a flywheel, (W/kg)².
const LEAST_KINETIC: f64 = 0.02;

/// An apparent mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flywheel {
    /// Apparent mass, kg.
    pub mass_kg: f64,
    /// Its standard uncertainty by the scatter, kg.
    pub standard_kg: f64,
    /// Degrees of freedom of that.
    pub dof: f64,
    /// How late a grade arrives on the mean of all steps, s: where to look for each.
    pub(super) late_s: f64,
}

impl Flywheel {
    /// Its uncertainty by the scatter, kg.
    pub fn scatter(&self) -> MeanUncertainty {
        MeanUncertainty {
            standard: self.standard_kg,
            dof: self.dof,
        }
    }
}

/// The flywheel of a ride; `None` where the speed hardly changes or the plateaus are too few.
pub(super) fn of(inputs: &Inputs<'_>, plateaus: &[Plateau]) -> Option<Flywheel> {
    let length = inputs.rows(GROUP_S);
    let starts = plateaus.iter().flat_map(|plateau| {
        let starts = plateau.rows.clone().step_by(length);
        starts.map(|start| start..(start + length).min(plateau.rows.end))
    });
    let groups: Vec<Vec<Second>> = starts
        .map(|rows| rows.filter_map(|row| Second::of(inputs, row)).collect())
        .collect();
    let seconds = groups.iter().flatten();
    let kinetic: f64 = seconds
        .clone()
        .map(|s| s.terms[FIRST_LAG + OFF_S].powi(2))
        .sum();
    if groups.len() < FEWEST || kinetic < LEAST_KINETIC * seconds.count() as f64 {
        return None;
    }
    let mut first = NormalEquations::new(TERMS);
    groups
        .iter()
        .flatten()
        .for_each(|s| first.add(&s.terms, s.watts));
    let steady = first.solve();
    let each: Vec<Sums> = groups
        .iter()
        .map(|group| Sums::of(group, &steady))
        .collect();
    let mut all = Sums::of(&[], &steady);
    each.iter().for_each(|group| all.join(group));
    let without: Vec<Solved> = each
        .iter()
        .map(|group| all.without(group).solved())
        .collect();
    let all = all.solved();
    let places = without.iter().map(|one| one.place_s(0.0));
    let scatter_s = jackknife(&places.collect::<Vec<_>>());
    let trust = USUALLY_LATE_S.powi(2) / (USUALLY_LATE_S.powi(2) + scatter_s.powi(2));
    let masses = without.iter().map(|one| one.mass_kg(trust));
    // What is not trusted of the places may still be so, and clocks are known to some hundredths.
    let unseen_s = ((1.0 - trust) * USUALLY_LATE_S).hypot(KNOWN_S);
    let unseen_kg = unseen_s * all.change.iter().sum::<f64>();
    let standard_kg = jackknife(&masses.collect::<Vec<_>>()).hypot(unseen_kg);
    let mass_kg = all.mass_kg(trust);
    let pending: f64 = steady[FIRST_PULSE..FIRST_LAG].iter().sum();
    (mass_kg.is_finite() && standard_kg.is_finite()).then(|| Flywheel {
        mass_kg,
        standard_kg,
        dof: without.len() as f64 - 1.0,
        late_s: (-pending / steady[0]).clamp(0.0, ARRIVING_S as f64),
    })
}

/// Standard uncertainty by estimates that lack a group each.
fn jackknife(without: &[f64]) -> f64 {
    let n = without.len() as f64;
    let middle = without.iter().sum::<f64>() / n;
    let squares: f64 = without.iter().map(|one| (one - middle).powi(2)).sum();
    ((n - 1.0) / n * squares).sqrt()
}

/// The equations of some seconds: of their power, and of how what a steady speed takes changes.
#[derive(Clone)]
struct Sums {
    power: NormalEquations,
    change: NormalEquations,
}

impl Sums {
    fn of(seconds: &[Second], steady: &[f64]) -> Self {
        let mut sums = Self {
            power: NormalEquations::new(TERMS),
            change: NormalEquations::new(TERMS),
        };
        for second in seconds {
            sums.power.add(&second.terms, second.watts);
            sums.change.add(&second.terms, second.change_w_s(steady));
        }
        sums
    }

    fn join(&mut self, other: &Self) {
        self.power.join(&other.power);
        self.change.join(&other.change);
    }

    fn without(&self, other: &Self) -> Self {
        Self {
            power: self.power.without(&other.power),
            change: self.change.without(&other.change),
        }
    }

    fn solved(&self) -> Solved {
        let [power, change] = [&self.power, &self.change].map(|sums| {
            let solved = sums.solve();
            std::array::from_fn(|at| solved[FIRST_LAG + at])
        });
        Solved { power, change }
    }
}

/// The parts of the flywheel's mass, and what each gains for each second that power is late.
struct Solved {
    power: [f64; LAGS],
    change: [f64; LAGS],
}

impl Solved {
    fn parts(&self, late_s: f64) -> [f64; LAGS] {
        std::array::from_fn(|at| self.power[at] + late_s * self.change[at])
    }

    /// By how much power is late as the places of the parts say, having been taken for `late_s`, s.
    fn place_s(&self, late_s: f64) -> f64 {
        let parts = self.parts(late_s);
        let places = parts
            .iter()
            .enumerate()
            .map(|(at, part)| (OFF_S as f64 - at as f64) * part);
        let most_s = 0.5 * OFF_S as f64;
        (places.sum::<f64>() / parts.iter().sum::<f64>()).clamp(-most_s, most_s)
    }

    /// The apparent mass, the places being trusted to this share.
    fn mass_kg(&self, trust: f64) -> f64 {
        let late_s = (0..ROUNDS).fold(0.0, |late_s, _| trust * self.place_s(late_s));
        self.parts(late_s).iter().sum()
    }
}

/// One second: what makes power, and the power.
struct Second {
    terms: [f64; TERMS],
    watts: f64,
    pull_m_s2: f64,
    speed_m_s: f64,
}

impl Second {
    fn of(inputs: &Inputs<'_>, row: usize) -> Option<Self> {
        let (second, speed) = (inputs.rows(1.0), inputs.mean_speed(row)?);
        let weight = |row: usize| {
            let (sin, cos) = slope_of(present(inputs.grade_percent, row)?);
            Some((GRAVITY_M_S2 * speed * sin, speed * cos))
        };
        let (climb, roll) = weight(row)?;
        let mut terms = [0.0; TERMS];
        terms[..FIRST_PULSE].copy_from_slice(&[climb, roll, speed.powi(3)]);
        let mut later = climb;
        for after in 0..ARRIVING_S {
            let (before, _) = weight(row.checked_sub((after + 1) * second)?)?;
            terms[FIRST_PULSE + after] = later - before;
            later = before;
        }
        for (at, term) in terms[FIRST_LAG..].iter_mut().enumerate() {
            *term = inputs.kinetic_w_kg((row + at * second).checked_sub(OFF_S * second)?)?;
        }
        Some(Self {
            terms,
            watts: present(inputs.wheel_w, row)?,
            pull_m_s2: inputs.pull_m_s2(row)?,
            speed_m_s: speed,
        })
    }

    /// How the power that a steady speed takes changes, W/s, by the coefficients `steady`: it goes with
    /// the speed, that of the drag with its cube.
    fn change_w_s(&self, steady: &[f64]) -> f64 {
        let share = self.pull_m_s2 / self.speed_m_s;
        let parts = self.terms[..FIRST_LAG].iter().zip(steady).enumerate();
        let of = |(at, (term, coefficient)): (usize, (&f64, &f64))| {
            term * coefficient * if at == DRAG { 3.0 } else { 1.0 }
        };
        share * parts.map(of).sum::<f64>()
    }
}
