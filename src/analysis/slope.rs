//! Does the gradient asked for arrive at the wheel, and when?
//!
//! With y the power of the references carried to the wheel and v the wheel speed, the force is F = y/v,
//! and a trainer that simulates a slope makes
//! `F = κ·m g sin α + c_r·m g cos α + ½C_w·v² + m_a·dv/dt` (Martin et al. 1998, J Appl Biomech 14:276, with
//! κ, the share of the gradient that arrives, and m_a, the apparent mass of the flywheel, added; tan α
//! is the grade). Plateaus of one grade, without their first 15 s (with them the limits of κ cover far
//! too seldom), are averaged over 15 s, and κ, c_r and ½C_w fitted by least squares, with limits
//! that allow for the serial correlation of the means. It takes three grades, one of them at two speeds;
//! else c_r and ½C_w have to be given.
//!
//! On plateaus the speed hardly changes, so m_a is read from the first 30 s of each step: the same
//! model, with the grade shifted by a common delay that is searched for, and κ, c_r, ½C_w held.
//!
//! The delay of a step is an area from the instant the grade changes: with G what is left of F once all
//! but the gradient is taken off, `∫(G₂ − G)/(G₂ − G₁) dt`, the levels being those of the fit.

use crate::session::Simulation;
use crate::stats::Interval;
use crate::stats::contrast::{Block, Contrast};
use crate::stats::noise::LinearFit;
use crate::stats::{finite, t_quantile};
use crate::timeline::Grid;

/// Standard gravity, m/s².
const GRAVITY_M_S2: f64 = 9.806_65;
/// Left out at the start of a plateau, s.
const SETTLE_S: f64 = 15.0;
/// Length of a mean, s.
const MEAN_S: f64 = 15.0;
/// Shortest plateau, s.
const PLATEAU_S: f64 = 40.0;
/// Grades nearer than this are one, %.
const ONE_GRADE_PERCENT: f64 = 0.25;
/// Least step whose dead time is reported, %.
const LEAST_STEP_PERCENT: f64 = 1.0;
/// What is integrated after a step, s.
const AREA_S: f64 = 30.0;
/// Slower than this a force is not told, m/s.
const SLOWEST_M_S: f64 = 1.5;
/// Speeds at one grade that differ by this ratio are two.
const TWO_SPEEDS: f64 = 1.15;

/// Columns of a ride, row by row.
#[derive(Clone, Copy, Debug)]
pub struct Inputs<'a> {
    /// Power of the references carried to the wheel, W.
    pub wheel_w: &'a [f64],
    /// Wheel speed, m/s.
    pub speed_m_s: &'a [f64],
    /// Grade asked for, %.
    pub grade_percent: &'a [f64],
    /// The rows.
    pub grid: Grid,
}

/// A stretch of one grade.
#[derive(Clone, Debug, PartialEq)]
pub struct Plateau {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// The grade, %.
    pub grade_percent: f64,
    /// Mean speed once settled, m/s.
    pub speed_m_s: f64,
    /// Mean force at the wheel once settled, N.
    pub force_n: f64,
    rows: std::ops::Range<usize>,
}

/// The delay of one step of grade.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// When the grade changes, session time, s.
    pub at_s: f64,
    /// Grade before, %.
    pub from_percent: f64,
    /// Grade after, %.
    pub to_percent: f64,
    /// Mean delay by area, s.
    pub delay_s: f64,
}

/// What arrives of the gradient.
#[derive(Clone, Debug, PartialEq)]
pub struct Gradient {
    /// The plateaus.
    pub plateaus: Vec<Plateau>,
    /// κ·m, kg, and its 95 % limits.
    pub mass_kg: f64,
    /// 95 % limits, kg.
    pub mass_ci95_kg: Interval,
    /// c_r·m g, N; `None` where it was given.
    pub rolling_n: Option<f64>,
    /// ½C_w, N s²/m²; `None` where it was given.
    pub drag_kg_m: Option<f64>,
    /// The steps.
    pub steps: Vec<Step>,
    /// Mean delay of all steps, s, and its 95 % limits; `None` below two steps.
    pub delay: Option<(f64, Interval)>,
}

/// Why nothing can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// There are no two plateaus of a grade.
    Plateaus,
    /// Fewer than three grades, or none at two speeds, and rolling and drag are not given.
    Speeds,
}

/// What arrives, given what the tester entered in the controlling app.
///
/// # Errors
/// [`Missing`].
pub fn gradient(inputs: &Inputs<'_>, given: Option<Simulation>) -> Result<Gradient, Missing> {
    let plateaus = plateaus(inputs);
    let mut grades: Vec<f64> = plateaus.iter().map(|p| p.grade_percent).collect();
    grades.sort_by(f64::total_cmp);
    grades.dedup_by(|a, b| (*a - *b).abs() < ONE_GRADE_PERCENT);
    if grades.len() < 2 {
        return Err(Missing::Plateaus);
    }
    let is_free = grades.len() >= 3 && has_two_speeds(&plateaus);
    if !is_free && given.is_none() {
        return Err(Missing::Speeds);
    }
    let fixed = given.filter(|_| !is_free);
    let mut fitted = Fitted::of(inputs, &plateaus, fixed).ok_or(Missing::Speeds)?;
    fitted.flywheel_kg = flywheel_kg(inputs, &plateaus, &fitted);
    let steps = steps(inputs, &plateaus, &fitted);
    Ok(Gradient {
        mass_kg: fitted.mass.estimate,
        mass_ci95_kg: fitted.mass.ci95,
        rolling_n: is_free.then_some(fitted.rolling_n),
        drag_kg_m: is_free.then_some(fitted.drag_kg_m),
        delay: mean_delay(&steps),
        steps,
        plateaus,
    })
}

fn has_two_speeds(plateaus: &[Plateau]) -> bool {
    plateaus.iter().any(|one| {
        plateaus.iter().any(|other| {
            (one.grade_percent - other.grade_percent).abs() < ONE_GRADE_PERCENT
                && other.speed_m_s > TWO_SPEEDS * one.speed_m_s
        })
    })
}

/// Stretches of one grade that are long enough, with what was measured on them.
fn plateaus(inputs: &Inputs<'_>) -> Vec<Plateau> {
    let grid = inputs.grid;
    let one = |a: &f64, b: &f64| (a - b).abs() < ONE_GRADE_PERCENT || (a.is_nan() && b.is_nan());
    let mut start = 0;
    let mut found = Vec::new();
    for run in inputs.grade_percent.chunk_by(one) {
        let rows = start..start + run.len();
        start = rows.end;
        let is_long = run.len() as f64 * grid.step_s >= PLATEAU_S;
        if !run[0].is_finite() || !is_long {
            continue;
        }
        let settled = settled(&rows, grid);
        let forces = settled.clone().filter_map(|row| force_n(inputs, row));
        let speeds = settled.filter_map(|row| present(inputs.speed_m_s, row));
        if let (Some(force_n), Some(speed_m_s)) = (mean(forces), mean(speeds)) {
            found.push(Plateau {
                from_s: grid.time_s(rows.start),
                to_s: grid.time_s(rows.end),
                grade_percent: run.iter().sum::<f64>() / run.len() as f64,
                speed_m_s,
                force_n,
                rows,
            });
        }
    }
    found
}

fn settled(rows: &std::ops::Range<usize>, grid: Grid) -> std::ops::Range<usize> {
    let skipped = (SETTLE_S / grid.step_s).round() as usize;
    (rows.start + skipped).min(rows.end)..rows.end
}

fn present(column: &[f64], row: usize) -> Option<f64> {
    column.get(row).copied().filter(|v| v.is_finite())
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    finite(sum / n)
}

fn force_n(inputs: &Inputs<'_>, row: usize) -> Option<f64> {
    let speed = present(inputs.speed_m_s, row).filter(|v| *v >= SLOWEST_M_S)?;
    Some(present(inputs.wheel_w, row)? / speed)
}

/// Acceleration at a row over the seconds on either side of it, m/s².
fn pull_m_s2(inputs: &Inputs<'_>, row: usize) -> Option<f64> {
    let before = present(inputs.speed_m_s, row.checked_sub(1)?)?;
    let after = present(inputs.speed_m_s, row + 1)?;
    Some((after - before) / (2.0 * inputs.grid.step_s))
}

/// Sine and cosine of a grade.
fn slope_of(grade_percent: f64) -> (f64, f64) {
    let angle = (grade_percent / 100.0).atan();
    (angle.sin(), angle.cos())
}

/// The coefficients.
struct Fitted {
    mass: Contrast,
    rolling_n: f64,
    drag_kg_m: f64,
    flywheel_kg: Option<f64>,
}

impl Fitted {
    fn of(inputs: &Inputs<'_>, plateaus: &[Plateau], fixed: Option<Simulation>) -> Option<Self> {
        let length = (MEAN_S / inputs.grid.step_s).round().max(1.0) as usize;
        let blocks: Vec<Block> = plateaus
            .iter()
            .flat_map(|plateau| {
                let rows = settled(&plateau.rows, inputs.grid);
                let count = rows.len() / length;
                let start = rows.start;
                (0..count).map(move |at| (plateau, start + at * length))
            })
            .filter_map(|(plateau, start)| {
                block(
                    inputs,
                    plateau,
                    start..start + length,
                    fixed,
                    start / length,
                )
            })
            .collect();
        let terms = if fixed.is_some() { 1 } else { 3 };
        let unit = |at: usize| {
            let mut contrast = vec![0.0; terms];
            contrast[at] = 1.0;
            contrast
        };
        let fit = LinearFit::new(&blocks, terms, None)?;
        let coefficient = |at: usize| fit.contrast(&unit(at));
        let rest = |at: usize, given: f64| match fixed {
            Some(_) => Some(given),
            None => coefficient(at).map(|c| c.estimate),
        };
        Some(Self {
            mass: coefficient(0)?,
            flywheel_kg: None,
            rolling_n: rest(
                1,
                fixed.map_or(0.0, |s| s.rolling * s.mass_kg * GRAVITY_M_S2),
            )?,
            drag_kg_m: rest(2, fixed.map_or(0.0, |s| s.drag_kg_m))?,
        })
    }

    /// What is left of the force at a row once all but the gradient is taken off, N.
    fn gradient_n(&self, inputs: &Inputs<'_>, row: usize) -> Option<f64> {
        let speed = present(inputs.speed_m_s, row)?;
        let (_, cos) = slope_of(present(inputs.grade_percent, row)?);
        let flywheel = self.flywheel_kg.unwrap_or(0.0);
        let pull = pull_m_s2(inputs, row)?;
        let other = self.rolling_n * cos + self.drag_kg_m * speed * speed + flywheel * pull;
        Some(force_n(inputs, row)? - other)
    }

    fn level_n(&self, grade_percent: f64) -> f64 {
        self.mass.estimate * GRAVITY_M_S2 * slope_of(grade_percent).0
    }
}

/// A mean of 15 s with its row of the design: κ·m, then c_r·m g and ½C_w unless they are given.
fn block(
    inputs: &Inputs<'_>,
    plateau: &Plateau,
    rows: std::ops::Range<usize>,
    fixed: Option<Simulation>,
    place: usize,
) -> Option<Block> {
    let means_of: Vec<[f64; 2]> = rows
        .clone()
        .filter_map(|row| {
            let speed = present(inputs.speed_m_s, row)?;
            Some([force_n(inputs, row)?, speed * speed])
        })
        .collect();
    if 2 * means_of.len() < rows.len() {
        return None;
    }
    let mean = |at: usize| means_of.iter().map(|t| t[at]).sum::<f64>() / means_of.len() as f64;
    let (sin, cos) = slope_of(plateau.grade_percent);
    let mut design = vec![GRAVITY_M_S2 * sin];
    let value = match fixed {
        Some(given) => {
            let rolling_n = given.rolling * given.mass_kg * GRAVITY_M_S2;
            mean(0) - rolling_n * cos - given.drag_kg_m * mean(1)
        }
        None => {
            design.extend([cos, mean(1)]);
            mean(0)
        }
    };
    Some(Block {
        index: place,
        value,
        design,
    })
}

/// Longest delay looked for, s, and its step.
const LONGEST_DELAY_S: f64 = 20.0;
const DELAY_STEP_S: f64 = 0.5;
/// Least sum of squared accelerations that tells a flywheel, (m/s²)².
const LEAST_PULL: f64 = 0.05;

/// Apparent mass of the flywheel from the rows after each step, kg; `None` where the speed hardly
/// changes there.
fn flywheel_kg(inputs: &Inputs<'_>, plateaus: &[Plateau], fitted: &Fitted) -> Option<f64> {
    let rows = (AREA_S / inputs.grid.step_s).round() as usize;
    let rows: Vec<(usize, f64, f64)> = plateaus
        .iter()
        .skip(1)
        .flat_map(|p| p.rows.start..(p.rows.start + rows).min(p.rows.end))
        .filter_map(|row| {
            Some((
                row,
                fitted.gradient_n(inputs, row)?,
                pull_m_s2(inputs, row)?,
            ))
        })
        .collect();
    let pulls: f64 = rows.iter().map(|(_, _, pull)| pull * pull).sum();
    if pulls < LEAST_PULL {
        return None;
    }
    let with_delay = |delay_s: f64| {
        let back = (delay_s / inputs.grid.step_s).round() as usize;
        let left = |row: usize, force: f64| {
            let arrived = inputs.grade_percent.get(row.checked_sub(back)?)?;
            Some(force - fitted.level_n(*arrived)).filter(|v| v.is_finite())
        };
        let present_rows: Vec<(f64, f64)> = rows
            .iter()
            .filter_map(|(row, force, pull)| Some((left(*row, *force)?, *pull)))
            .collect();
        let (spp, spf) = present_rows
            .iter()
            .fold((0.0, 0.0), |(spp, spf), (force, pull)| {
                (spp + pull * pull, spf + pull * force)
            });
        let kg = spf / spp;
        let squares: f64 = present_rows
            .iter()
            .map(|(force, pull)| (force - kg * pull).powi(2))
            .sum();
        (kg, squares / present_rows.len() as f64)
    };
    let count = (LONGEST_DELAY_S / DELAY_STEP_S) as usize;
    let tried = (0..=count).map(|at| with_delay(at as f64 * DELAY_STEP_S));
    let best = tried.filter(|(_, left)| left.is_finite());
    let (kg, _) = best.min_by(|a, b| a.1.total_cmp(&b.1))?;
    finite(kg).filter(|kg| *kg > 0.0)
}

fn steps(inputs: &Inputs<'_>, plateaus: &[Plateau], fitted: &Fitted) -> Vec<Step> {
    let step = |pair: &[Plateau]| {
        let (before, after) = (&pair[0], &pair[1]);
        let change = after.grade_percent - before.grade_percent;
        let joined = after.rows.start.saturating_sub(before.rows.end) <= 1;
        if !joined || change.abs() < LEAST_STEP_PERCENT {
            return None;
        }
        let (from_n, to_n) = (
            fitted.level_n(before.grade_percent),
            fitted.level_n(after.grade_percent),
        );
        let rows = (AREA_S / inputs.grid.step_s).round() as usize;
        // A reading tells of the second before it: that of the change itself is not counted.
        let first = after.rows.start + 1;
        let rows = first..(first + rows).min(after.rows.end);
        let shares: Vec<f64> = rows
            .clone()
            .filter_map(|row| Some((to_n - fitted.gradient_n(inputs, row)?) / (to_n - from_n)))
            .collect();
        if 10 * shares.len() < 9 * rows.len() {
            return None;
        }
        let area = shares.iter().sum::<f64>() / shares.len() as f64;
        finite(area * rows.len() as f64 * inputs.grid.step_s).map(|delay_s| Step {
            at_s: after.from_s,
            from_percent: before.grade_percent,
            to_percent: after.grade_percent,
            delay_s,
        })
    };
    plateaus.windows(2).filter_map(step).collect()
}

/// Mean delay with its 95 % limits, larger steps weighing more: the noise of an area goes with one over
/// the step.
fn mean_delay(steps: &[Step]) -> Option<(f64, Interval)> {
    if steps.len() < 2 {
        return None;
    }
    let weight = |s: &Step| (s.to_percent - s.from_percent).powi(2);
    let total: f64 = steps.iter().map(weight).sum();
    let mean = steps.iter().map(|s| weight(s) * s.delay_s).sum::<f64>() / total;
    let n = steps.len() as f64;
    let squares = steps.iter().map(|s| weight(s) * (s.delay_s - mean).powi(2));
    let standard = (squares.sum::<f64>() / (n - 1.0) / total).sqrt();
    let half = t_quantile(0.975, n - 1.0) * standard;
    Some((mean, [mean - half, mean + half]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    /// Rows of constant grade and speed, one plateau after another.
    fn ride(plateaus: &[(f64, f64, f64)], seconds: usize) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let mut columns = (Vec::new(), Vec::new(), Vec::new());
        for (grade, speed, crank_w) in plateaus {
            columns.0.extend(vec![0.978 * crank_w; seconds]);
            columns.1.extend(vec![*speed; seconds]);
            columns.2.extend(vec![*grade; seconds]);
        }
        columns
    }

    fn gradient_of(
        columns: &(Vec<f64>, Vec<f64>, Vec<f64>),
        given: Option<Simulation>,
    ) -> Result<Gradient, Missing> {
        let inputs = Inputs {
            wheel_w: &columns.0,
            speed_m_s: &columns.1,
            grade_percent: &columns.2,
            grid: Grid {
                start_s: 0.0,
                step_s: 1.0,
                len: columns.0.len(),
            },
        };
        gradient(&inputs, given)
    }

    #[test]
    fn the_worked_plateaus_give_half_the_gradient() {
        // Made up beforehand: m 85 kg, κ ½, c_r 0.004, ½C_w 0.192, crank power carried by 0.978.
        let plateaus = [
            (0.0, 8.0, 127.8),
            (0.0, 5.0, 41.6),
            (2.0, 7.0, 150.8),
            (4.0, 6.0, 165.0),
            (6.0, 5.0, 169.2),
            (8.0, 4.2, 171.6),
            (4.0, 8.0, 264.0),
        ];
        let columns = ride(&plateaus, 90);
        let found = gradient_of(&columns, None).unwrap();
        assert_close(found.mass_kg / 85.0, 0.500057, 1e-5);
        let weight_n = 85.0 * GRAVITY_M_S2;
        assert_close(found.rolling_n.unwrap() / weight_n, 0.004007, 2e-4);
        assert_close(found.drag_kg_m.unwrap(), 0.191828, 5e-5);
    }

    #[test]
    fn the_published_treadmill_relation() {
        // ΔP/m = g v (sin α₂ − sin α₁) (Maier et al. 2014, J Sci Cycling 3(2):28): 3.583931 W/kg from
        // 1° to 7° at 3.5 m/s; here the relation that a plateau's force rests on.
        let at = |degrees: f64| {
            let grade = 100.0 * degrees.to_radians().tan();
            GRAVITY_M_S2 * 3.5 * slope_of(grade).0
        };
        assert_close(at(7.0) - at(1.0), 3.583931, 1e-6);
    }

    #[test]
    fn a_gradient_that_comes_six_seconds_late_is_told_so() {
        let given = Simulation {
            mass_kg: 85.0,
            rolling: 0.004,
            drag_kg_m: 0.192,
        };
        let grades = [0.0, 4.0, 1.0, 6.0, 2.0];
        let (mut power, mut speed, mut grade) = (Vec::new(), Vec::new(), Vec::new());
        for (at, asked) in grades.iter().enumerate() {
            // A reading tells of the second before it: 6 s late, that at the sixth is still the old one.
            for t in 0..80 {
                let arrived = if t <= 6 && at > 0 {
                    grades[at - 1]
                } else {
                    *asked
                };
                let v = 6.0 + 0.01 * f64::from(t % 5);
                let (sin, cos) = slope_of(arrived);
                let force = 0.9 * 85.0 * GRAVITY_M_S2 * sin
                    + 0.004 * 85.0 * GRAVITY_M_S2 * cos
                    + 0.192 * v * v
                    + 2.0 * f64::from((t * 7919) % 13 - 6) / 6.0;
                power.push(force * v);
                speed.push(v);
                grade.push(*asked);
            }
        }
        let found =
            gradient_of(&(power.clone(), speed.clone(), grade.clone()), Some(given)).unwrap();
        assert_close(found.mass_kg, 0.9 * 85.0, 0.02);
        let (delay_s, [low, high]) = found.delay.unwrap();
        assert!((delay_s - 6.0).abs() < 0.5, "{delay_s}");
        assert!(low < 6.0 && 6.0 < high, "{low} {high}");
        assert_eq!(found.steps.len(), 4);
        // One speed at every grade does not tell rolling from drag: they have to be given.
        assert_eq!(
            gradient_of(&(power, speed, grade), None),
            Err(Missing::Speeds)
        );
    }

    #[test]
    fn no_grades_tell_nothing() {
        let flat = ride(&[(0.0, 8.0, 130.0)], 300);
        assert_eq!(gradient_of(&flat, None), Err(Missing::Plateaus));
        let empty = (Vec::new(), Vec::new(), Vec::new());
        assert_eq!(gradient_of(&empty, None), Err(Missing::Plateaus));
    }
}
