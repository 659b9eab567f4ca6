//! Why a source shows sprints otherwise than they were ridden, from all of them together: a lag, a
//! moving mean, or a flywheel that its reading leaves out.
//!
//! A source that reports the power of its brake leaves out what accelerates its flywheel, `μ·v·dv/dt`: it rises
//! late and falls late, and one sprint of it looks like a lag. But a lag keeps the same time constant in
//! every sprint, a flywheel the same apparent mass μ, and the two differ where gear, speed or slope do. So
//! every shape is fitted by least squares to the seconds of all sprints at once, with one dead time d, one gain g
//! and one value of its own:
//!
//! `x(t) = g · S[y − μ·½(v₂² − v₁²)/Δt](t − d)`, S a first-order lag τ or a moving mean N
//! ([`crate::stats::first_order`]).
//!
//! A second weighs `1/(s² + (0.15 s · dx/dt)²)`: on a steep flank everything that is off in time by a tenth
//! of a second, or rises between two samples, is off by dozens of watts, which no shape should be judged by.
//!
//! A shape is said to fit where the widest (flywheel and lag, or flywheel and mean) leaves less by no
//! more than 10 times the variance of a second (and the likeness of neighbours, Bartlett 1946, from memory). One
//! that fits alone is named; where several do, that they cannot be told apart; where none does, both together.
//! Sprints of one gear on one slope tie speed to power: a slow answer of another shape than those tried then
//! passes for a flywheel, and a light flywheel for a lag. There a flywheel is never named, and a lag only
//! where the limits of μ hold 0.
//! The limits of μ are those of the widest fit, taken as linear about its best, speed and power being
//! apart by 0.15 s or so.

use std::ops::Range;

use serde::Serialize;

use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};
use crate::stats::normal_equations::NormalEquations;
use crate::stats::{Interval, NORMAL_95, Sample, t_quantile};

/// Dead times searched, s.
const DELAYS_S: (f64, f64) = (-3.0, 6.0);
/// Time constants and lengths of a mean to start from, s.
const LAGS_S: [f64; 7] = [0.0, 0.5, 1.0, 2.0, 3.0, 4.5, 6.0];
const MEANS_S: [f64; 6] = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0];
/// Longest of either, s.
const LONGEST_S: f64 = 10.0;
/// Variances of a second beyond which a shape does not fit.
const MISFIT: f64 = 10.0;
/// Standard deviation of a second: W, share of the power, s of its change (judgement: two meters that average strokes in
/// their own time).
const SCATTER_W: f64 = 2.0;
const SCATTER_SHARE: f64 = 0.005;
const OFF_S: f64 = 0.15;
/// Share of a mass by which the speed between two seconds leaves it open (one standard deviation, judgement).
const SHAPE_SHARE: f64 = 0.08;
/// Step of numeric derivatives, s.
const STEP_S: f64 = 0.05;
/// Seconds a comparison needs.
const LEAST_SECONDS: usize = 15;

/// One sprint as it is fitted: columns of the same rows.
#[derive(Clone, Debug)]
pub struct Effort {
    /// Power delivered at the source's site, W; present throughout.
    pub delivered_w: Vec<f64>,
    /// Power into each kilogram of a flywheel, W/kg; present throughout.
    pub kinetic_w_kg: Vec<f64>,
    /// What the source reads, W; `NaN` where it is not to be fitted.
    pub read_w: Vec<f64>,
    /// The rows to fit.
    pub rows: Range<usize>,
    /// Speed of the wheel over the hardest seconds, m/s.
    pub speed_m_s: f64,
}

/// What explains the sprints.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// They are shown as ridden.
    Nothing,
    /// A first-order lag.
    Lag,
    /// A moving mean.
    MovingMean,
    /// A flywheel that the reading leaves out.
    Flywheel,
    /// Both a flywheel and a lag or a mean.
    FlywheelAndLag,
    /// More than one of them would do.
    NotDistinguishable,
}

/// What all sprints together say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Together {
    /// How many sprints.
    pub sprints: usize,
    /// What explains them.
    pub cause: Cause,
    /// Mass not accounted for, kg, with its 95 % limits.
    pub mass_kg: (f64, Interval),
    /// Time constant of the lag where it alone is fitted, s.
    pub lag_s: f64,
    /// Mass where a flywheel alone is fitted, kg.
    pub alone_kg: f64,
    /// Time constant beside the flywheel, s.
    pub beside_s: f64,
}

/// What shapes may be made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Spread {
    None,
    Lag,
    Mean,
}

#[derive(Clone, Copy, Debug)]
struct Shape {
    spread: Spread,
    has_flywheel: bool,
}

/// A fitted shape.
#[derive(Clone, Copy, Debug)]
struct Fitted {
    delay_s: f64,
    spread_s: f64,
    gain: f64,
    mass_kg: f64,
    rss: f64,
    n: usize,
}

/// Compares the shapes; `None` where the seconds do not suffice.
pub fn together(efforts: &[Effort], step_s: f64) -> Option<Together> {
    let problem = Problem::new(efforts, step_s);
    let of = |spread, has_flywheel| {
        problem.best(Shape {
            spread,
            has_flywheel,
        })
    };
    let plain = of(Spread::None, false)?;
    let (lag, mean) = (of(Spread::Lag, false)?, of(Spread::Mean, false)?);
    let flywheel = of(Spread::None, true)?;
    let (with_lag, with_mean) = (of(Spread::Lag, true)?, of(Spread::Mean, true)?);
    let (widest, spread) = match with_mean.rss < with_lag.rss {
        true => (with_mean, Spread::Mean),
        false => (with_lag, Spread::Lag),
    };
    let (variance, mass_ci95_kg) = problem.limits(&widest, spread)?;
    let fits = |one: &Fitted| one.rss - widest.rss <= MISFIT * variance;
    let cause = match [&lag, &mean, &flywheel].map(fits) {
        _ if fits(&plain) => Cause::Nothing,
        [true, false, false] => Cause::Lag,
        [false, true, false] => Cause::MovingMean,
        [false, false, true] => Cause::Flywheel,
        [false, false, false] => Cause::FlywheelAndLag,
        // A short mean and a short lag are one to any use.
        [true, true, false] => Cause::Lag,
        _ => Cause::NotDistinguishable,
    };
    let [low, high] = mass_ci95_kg;
    let needs_no_flywheel =
        matches!(cause, Cause::Lag | Cause::MovingMean) && low <= 0.0 && 0.0 <= high;
    let cause = match cause {
        Cause::Nothing => Cause::Nothing,
        _ if needs_no_flywheel || are_ridden_apart(efforts) => cause,
        _ => Cause::NotDistinguishable,
    };
    Some(Together {
        sprints: efforts.len(),
        cause,
        mass_kg: (widest.mass_kg, mass_ci95_kg),
        lag_s: lag.spread_s,
        alone_kg: flywheel.mass_kg,
        beside_s: with_lag.spread_s,
    })
}

/// Ratio of the speeds from which on two sprints were ridden apart, in two gears or on two slopes.
const APART: f64 = 1.3;
/// Share of the highest power from which on a second is among the hardest.
const HARDEST: f64 = 0.8;

impl Effort {
    /// Mean of `speed` (of the same rows) over the hardest seconds; `NaN` without any.
    pub fn hardest(&self, speed: &[f64]) -> f64 {
        let rows = self.rows.clone();
        let power = self.delivered_w.get(rows.clone()).unwrap_or_default();
        let highest = power.iter().copied().fold(0.0, f64::max);
        let speed = speed.get(rows).unwrap_or_default();
        let hard = power
            .iter()
            .zip(speed)
            .filter(|(w, _)| **w >= HARDEST * highest);
        let (n, sum) = hard.fold((0.0, 0.0), |(n, sum), (_, v)| (n + 1.0, sum + v));
        sum / n
    }
}

/// Whether two of the sprints were ridden apart.
fn are_ridden_apart(efforts: &[Effort]) -> bool {
    let speeds = || {
        efforts
            .iter()
            .map(|effort| effort.speed_m_s)
            .filter(|v| v.is_finite())
    };
    let low = speeds().fold(f64::INFINITY, f64::min);
    speeds().any(|speed| speed >= APART * low)
}

struct Fine<'a> {
    delivered: Vec<f64>,
    kinetic: Vec<f64>,
    /// One over the standard deviation of each second.
    weights: Vec<f64>,
    effort: &'a Effort,
}

/// Whether nothing of a second is missing.
fn is_there(second: &[f64; 3]) -> bool {
    second.iter().all(|v| v.is_finite())
}

/// One over the standard deviation of each second of what is read.
fn weights(read_w: &[f64], step_s: f64) -> Vec<f64> {
    let change = |a: Option<&f64>, b: Option<&f64>| {
        let by = a.zip(b).map_or(0.0, |(a, b)| (a - b).abs() / step_s);
        if by.is_finite() { by } else { 0.0 }
    };
    let of = |(row, watts): (usize, &f64)| {
        let before = row.checked_sub(1).and_then(|before| read_w.get(before));
        let steepest = change(before, Some(watts)).max(change(Some(watts), read_w.get(row + 1)));
        1.0 / SCATTER_W
            .hypot(SCATTER_SHARE * watts)
            .hypot(OFF_S * steepest)
    };
    read_w.iter().enumerate().map(of).collect()
}

struct Problem<'a> {
    efforts: Vec<Fine<'a>>,
    step_s: f64,
}

impl<'a> Problem<'a> {
    fn new(efforts: &'a [Effort], step_s: f64) -> Self {
        let fine = |effort: &'a Effort| Fine {
            delivered: refined(&effort.delivered_w, PARTS),
            kinetic: refined(&effort.kinetic_w_kg, PARTS),
            weights: weights(&effort.read_w, step_s),
            effort,
        };
        Self {
            efforts: efforts.iter().map(fine).collect(),
            step_s,
        }
    }

    /// Response, that of the flywheel, and what is read, of every second, each times its weight.
    fn seconds(&self, spread: Spread, delay_s: f64, spread_s: f64) -> Vec<[f64; 3]> {
        let (time_constant_s, average_s) = match spread {
            Spread::Mean => (0.0, spread_s.max(self.step_s)),
            _ => (spread_s, self.step_s),
        };
        let model = Answer {
            lag: Lag {
                delay_s,
                time_constant_s,
            },
            clip_w: f64::INFINITY,
            average_s,
        };
        let of = |fine: &Fine<'_>| {
            let made = answer(&fine.delivered, self.step_s, model);
            let kinetic = answer(&fine.kinetic, self.step_s, model);
            let rows = fine.effort.rows.clone();
            let read = fine.effort.read_w.iter().zip(&fine.weights);
            let rows = made
                .into_iter()
                .zip(kinetic)
                .zip(read)
                .skip(rows.start)
                .take(rows.len());
            let rows = rows.map(|((made, kinetic), (read, w))| [w * made, w * kinetic, w * read]);
            rows.collect::<Vec<_>>()
        };
        self.efforts.iter().flat_map(of).collect()
    }

    /// The most seconds any shape can fit.
    fn wanted(&self) -> usize {
        let of = |fine: &Fine<'_>| {
            let read = fine
                .effort
                .read_w
                .get(fine.effort.rows.clone())
                .unwrap_or_default();
            read.iter().filter(|w| w.is_finite()).count()
        };
        self.efforts.iter().map(of).sum()
    }

    fn evaluate(&self, shape: Shape, delay_s: f64, spread_s: f64) -> Option<Fitted> {
        let mut seconds = self.seconds(shape.spread, delay_s, spread_s);
        seconds.retain(is_there);
        let n = seconds.len();
        // A dead time that reaches outside the reference fits fewer seconds, which must not win.
        if n < LEAST_SECONDS || n + self.efforts.len() < self.wanted() {
            return None;
        }
        let terms = if shape.has_flywheel { 2 } else { 1 };
        let mut sums = NormalEquations::new(terms);
        for [made, kinetic, read] in &seconds {
            sums.add(&[*made, -kinetic][..terms], *read);
        }
        let found = sums.solve();
        let gain = found[0];
        let of_flywheel = found.get(1).copied().unwrap_or(0.0);
        let left = seconds
            .iter()
            .map(|[made, kinetic, read]| (read - gain * made + of_flywheel * kinetic).powi(2));
        (gain > 0.0).then(|| Fitted {
            delay_s,
            spread_s,
            gain,
            mass_kg: of_flywheel / gain,
            rss: left.sum(),
            n,
        })
    }

    /// The best of a shape: from a grid, then by shrinking steps along the valley in which the dead time makes
    /// up for the spread.
    fn best(&self, shape: Shape) -> Option<Fitted> {
        let spreads: &[f64] = match shape.spread {
            Spread::None => &[0.0],
            Spread::Lag => &LAGS_S,
            Spread::Mean => &MEANS_S,
        };
        let mean_square = |fitted: &Fitted| fitted.rss / fitted.n as f64;
        let mut best: Option<Fitted> = None;
        let consider = |best: &mut Option<Fitted>, delay_s: f64, spread_s: f64| {
            let inside = (DELAYS_S.0..=DELAYS_S.1).contains(&delay_s)
                && (0.0..=LONGEST_S).contains(&spread_s);
            let found = inside
                .then(|| self.evaluate(shape, delay_s, spread_s))
                .flatten();
            match (found, best.as_ref()) {
                (Some(new), old) if old.is_none_or(|old| mean_square(&new) < mean_square(old)) => {
                    *best = Some(new);
                    true
                }
                _ => false,
            }
        };
        let delays = ((DELAYS_S.1 - DELAYS_S.0) / 0.5) as usize;
        for at in 0..=delays {
            for spread_s in spreads {
                consider(&mut best, DELAYS_S.0 + 0.5 * at as f64, *spread_s);
            }
        }
        let valley = if shape.spread == Spread::Mean {
            0.5
        } else {
            1.0
        };
        let directions: &[[f64; 2]] = match shape.spread {
            Spread::None => &[[1.0, 0.0]],
            _ => &[[1.0, 0.0], [0.0, 1.0], [valley, -1.0], [valley, 1.0]],
        };
        let mut reach = 0.4;
        while reach > 0.004 {
            let Fitted {
                delay_s, spread_s, ..
            } = best?;
            let better = directions.iter().fold(false, |better, [delay, spread]| {
                let moved = |by: f64| (delay_s + by * delay, (spread_s + by * spread).max(0.0));
                let (there, back) = (moved(reach), moved(-reach));
                let there = consider(&mut best, there.0, there.1);
                let back = consider(&mut best, back.0, back.1);
                better || there || back
            });
            if !better {
                reach *= 0.5;
            }
        }
        best
    }

    /// Variance of a second with its neighbours' likeness, at least what was supposed, and the 95 % limits of
    /// the mass.
    fn limits(&self, fitted: &Fitted, spread: Spread) -> Option<(f64, Interval)> {
        let Fitted {
            delay_s, spread_s, ..
        } = *fitted;
        let here = self.seconds(spread, delay_s, spread_s);
        let later = self.seconds(spread, delay_s + STEP_S, spread_s);
        let wider = self.seconds(spread, delay_s, spread_s + STEP_S);
        let modelled = |row: &[f64; 3]| fitted.gain * (row[0] - fitted.mass_kg * row[1]);
        let rows = here.iter().zip(&later).zip(&wider);
        let rows: Vec<_> = rows
            .filter(|((row, later), wider)| [*row, *later, *wider].into_iter().all(is_there))
            .collect();
        let residuals = rows.iter().map(|((row, _), _)| row[2] - modelled(row));
        let lag1 = Sample::present(residuals).and_then(|sample| sample.lag1());
        let lag1 = lag1.unwrap_or(0.0).clamp(0.0, 0.9);
        let likeness = (1.0 + lag1) / (1.0 - lag1);
        let freedom = rows.len().checked_sub(4).filter(|n| *n > 0)? as f64;
        let variance = (fitted.rss / freedom).max(1.0) * likeness;
        let mut sums = NormalEquations::new(5);
        // Of the mass last: its part at right angles to all others is what tells it.
        for ((row, later), wider) in rows {
            let slopes = [
                (modelled(later) - modelled(row)) / STEP_S,
                (modelled(wider) - modelled(row)) / STEP_S,
                row[0] - fitted.mass_kg * row[1],
                -fitted.gain * fitted.mass_kg * (later[1] - row[1]) / STEP_S,
                -fitted.gain * row[1],
            ];
            sums.add(&slopes, 0.0);
        }
        // Speed and power come from two recorders: their clocks may be apart by so much.
        sums.add(&[0.0, 0.0, 0.0, variance.sqrt() / OFF_S, 0.0], 0.0);
        let scatter = t_quantile(0.975, freedom) * (variance * sums.last_variance()?).sqrt();
        let half = scatter.hypot(NORMAL_95 * SHAPE_SHARE * fitted.mass_kg);
        Some((variance, [fitted.mass_kg - half, fitted.mass_kg + half]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    #[test]
    fn the_worked_sprint_gives_its_mass() {
        // Made up beforehand: 20 kg left out, crank power carried by 0.978; central differences, one-sided
        // at the ends.
        let v = [
            8.0, 8.5, 9.2, 10.1, 11.0, 11.8, 12.4, 12.8, 13.0, 13.0, 12.9,
        ];
        let y = [
            420.0, 610.0, 780.0, 900.0, 940.0, 910.0, 830.0, 720.0, 600.0, 480.0, 400.0,
        ];
        let x = [
            330.8, 494.6, 615.6, 698.4, 732.3, 724.8, 687.7, 627.4, 560.8, 482.4, 417.0,
        ];
        let mut sums = NormalEquations::new(1);
        for row in 0..v.len() {
            let (before, after) = (row.saturating_sub(1), (row + 1).min(v.len() - 1));
            let pull = (v[after] - v[before]) / (after - before) as f64;
            sums.add(&[v[row] * pull], 0.978 * y[row] - x[row]);
        }
        assert_close(sums.solve()[0], 20.0003, 5e-5);
    }

    /// A sprint of `peak_w` in which the speed rises from `slow` by half with `rises_s`, W and m/s.
    fn sprint(peak_w: f64, slow: f64, rises_s: f64) -> (Vec<f64>, Vec<f64>) {
        let (mut watts, mut speed) = (140.0, slow);
        let mut columns = (Vec::new(), Vec::new());
        for t in 0..80 {
            let on = (35..46).contains(&t);
            let (wanted_w, wanted) = if on {
                (peak_w, 1.5 * slow)
            } else {
                (140.0, slow)
            };
            watts += 0.6 * (wanted_w - watts);
            speed += (wanted - speed) / rises_s;
            columns.0.push(watts);
            columns.1.push(speed);
        }
        columns
    }

    /// What a source makes of a sprint, with some scatter.
    fn effort((delivered_w, speed): (Vec<f64>, Vec<f64>), kg: f64, lag: Lag) -> Effort {
        let kinetic = |row: usize| {
            let before = speed[row.saturating_sub(1)];
            0.5 * (speed[row] * speed[row] - before * before)
        };
        let kinetic_w_kg: Vec<f64> = (0..speed.len()).map(kinetic).collect();
        let seen = delivered_w
            .iter()
            .zip(&kinetic_w_kg)
            .map(|(w, k)| w - kg * k);
        let seen: Vec<f64> = seen.collect();
        let model = Answer {
            lag,
            clip_w: f64::INFINITY,
            average_s: 1.0,
        };
        let scatter = lcg(seen.len());
        let read = answer(&refined(&seen, PARTS), 1.0, model)
            .into_iter()
            .zip(scatter);
        let mut effort = Effort {
            read_w: read.map(|(w, u)| (w + 3.0 * (u - 0.5)).round()).collect(),
            delivered_w,
            kinetic_w_kg,
            rows: 20..75,
            speed_m_s: f64::NAN,
        };
        effort.speed_m_s = effort.hardest(&speed);
        effort
    }

    const AT_ONCE: Lag = Lag {
        delay_s: 0.0,
        time_constant_s: 0.0,
    };

    #[test]
    fn two_speeds_tell_a_flywheel_from_a_lag() {
        let ridden = || [sprint(800.0, 9.0, 3.0), sprint(700.0, 4.5, 3.0)];
        let told =
            |kg: f64, lag: Lag| together(&ridden().map(|s| effort(s, kg, lag)), 1.0).unwrap();
        let flywheel = told(30.0, AT_ONCE);
        assert_eq!(flywheel.cause, Cause::Flywheel, "{flywheel:?}");
        let (kg, [low, high]) = flywheel.mass_kg;
        assert!(
            (kg - 30.0).abs() < 1.5 && low < 30.0 && 30.0 < high,
            "{flywheel:?}"
        );
        let slow = Lag {
            delay_s: 0.4,
            time_constant_s: 2.5,
        };
        let lag = told(0.0, slow);
        assert_eq!((lag.cause, lag.sprints), (Cause::Lag, 2), "{lag:?}");
        let (_, [low, high]) = lag.mass_kg;
        assert!(low < 0.0 && 0.0 < high, "{lag:?}");
        let both = told(30.0, slow);
        assert_eq!(both.cause, Cause::FlywheelAndLag, "{both:?}");
        assert_eq!(told(0.0, AT_ONCE).cause, Cause::Nothing);
    }

    /// Where the power into the flywheel is nothing but what a lag would hold back, nobody can tell.
    #[test]
    fn one_sprint_whose_speed_follows_its_power_tells_nothing() {
        let (delivered_w, _) = sprint(700.0, 8.0, 3.0);
        let lag = Lag {
            delay_s: 0.0,
            time_constant_s: 1.5,
        };
        let mut one = effort((delivered_w.clone(), vec![8.0; 80]), 0.0, lag);
        let lagged = |model: Lag| {
            let model = Answer {
                lag: model,
                clip_w: f64::INFINITY,
                average_s: 1.0,
            };
            answer(&refined(&delivered_w, PARTS), 1.0, model)
        };
        let held_back = delivered_w
            .iter()
            .zip(lagged(lag))
            .map(|(w, l)| (w - l) / 20.0);
        one.kinetic_w_kg = held_back.collect();
        let told = together(&[one], 1.0).unwrap();
        assert_eq!(told.cause, Cause::NotDistinguishable, "{told:?}");
        assert!(
            (told.alone_kg - 20.0).abs() < 2.0 && (told.lag_s - 1.5).abs() < 0.2,
            "{told:?}"
        );
    }

    #[test]
    fn one_gear_names_no_flywheel() {
        let twice = |kg: f64, lag: Lag| {
            let ridden = || [sprint(800.0, 9.0, 3.0), sprint(760.0, 9.0, 3.0)];
            together(&ridden().map(|s| effort(s, kg, lag)), 1.0).unwrap()
        };
        assert_eq!(twice(30.0, AT_ONCE).cause, Cause::NotDistinguishable);
        let slow = Lag {
            delay_s: 0.4,
            time_constant_s: 2.5,
        };
        // What needs no flywheel is a lag in one gear as well.
        assert_eq!(twice(0.0, slow).cause, Cause::Lag);
    }

    #[test]
    fn too_few_seconds_tell_nothing() {
        assert_eq!(together(&[], 1.0), None);
        let mut silent = effort(sprint(700.0, 8.0, 3.0), 0.0, AT_ONCE);
        silent.read_w.fill(f64::NAN);
        assert_eq!(together(&[silent], 1.0), None);
    }
}
