//! Does the gradient asked for arrive at the wheel, and when?
//!
//! With y the power of the references carried to the wheel and v the wheel speed, the force is F = y/v,
//! and a trainer that simulates a slope makes
//! `F = κ·m g sin α + c_r·m g cos α + ½C_w·v² + m_a·dv/dt` (Martin et al. 1998, J Appl Biomech 14:276, with
//! κ, the share of the gradient that arrives, and m_a, the apparent mass of the flywheel, added; tan α
//! is the grade). Plateaus of one grade, without their first 15 s (with them the limits of κ cover far
//! too seldom), are averaged over 15 s, and κ, c_r and ½C_w fitted by least squares, with limits
//! that allow for the serial correlation of the means. It takes three grades, one of them at two speeds;
//! else c_r and ½C_w have to be given. The mass m is not in the data: what is measured is κ·m.
//!
//! m_a is told first (`flywheel`), and taken off; then the share (`share`) and the delay of each step
//! (`delay`).

mod delay;
mod flywheel;
mod inputs;
mod plateaus;
mod share;
mod wheel;

use crate::session::Simulation;
use crate::stats::Interval;
use crate::stats::contrast::Contrast;
use crate::timeline::Span;

pub use delay::Step;
pub use flywheel::Flywheel;
pub use inputs::{Inputs, asked_n};
use plateaus::ONE_GRADE_PERCENT;
pub use plateaus::Plateau;
pub use wheel::{MOST_SPREAD, spread as speed_spread};

use share::{Fitted, LEAST_GRADE_PERCENT, Mean, means};

/// Speeds at one grade that differ by this ratio are two.
const TWO_SPEEDS: f64 = 1.15;
/// Where bands of the gradient end, %, from a steep descent on.
const BANDS_PERCENT: [f64; 8] = [-30.0, -6.0, -3.0, -1.0, 1.0, 3.0, 6.0, 30.0];

/// κ·m within a band of the gradient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// From this grade on, %.
    pub from_percent: f64,
    /// Up to this one, %.
    pub to_percent: f64,
    /// κ·m, kg.
    pub mass: Contrast,
}

/// What arrives of the gradient.
#[derive(Clone, Debug, PartialEq)]
pub struct Gradient {
    /// The plateaus.
    pub plateaus: Vec<Plateau>,
    /// κ·m, kg; limits by the scatter alone.
    pub mass: Contrast,
    /// κ·m by band of the gradient, kg, where there are several.
    pub bands: Vec<Band>,
    /// c_r·m g, N.
    pub rolling_n: f64,
    /// ½C_w, N s²/m².
    pub drag_kg_m: f64,
    /// Whether these two are fitted, not given.
    pub is_free: bool,
    /// The flywheel.
    pub flywheel: Option<Flywheel>,
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

impl Missing {
    /// The same in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            Missing::Plateaus => "no two gradients are kept for 40 s",
            Missing::Speeds => {
                "the gradients are too few, or none of them was ridden at two speeds"
            }
        }
    }
}

/// What arrives in the plateaus that begin inside `within`, given what the tester entered in the
/// controlling app. Rolling, drag and the flywheel are those of the whole ride.
///
/// # Errors
/// [`Missing`].
pub fn gradient(
    inputs: &Inputs<'_>,
    given: Option<Simulation>,
    within: Span,
) -> Result<Gradient, Missing> {
    let plateaus = plateaus::find(inputs);
    let is_inside = |from_s: f64| within.contains(from_s);
    let own: Vec<Plateau> = plateaus
        .iter()
        .filter(|p| is_inside(p.from_s))
        .cloned()
        .collect();
    if grades(&own).len() < 2 {
        return Err(Missing::Plateaus);
    }
    let is_free = grades(&plateaus).len() >= 3 && has_two_speeds(&plateaus);
    if !is_free && given.is_none() {
        return Err(Missing::Speeds);
    }
    let fixed = given.filter(|_| !is_free);
    let flywheel = flywheel::of(inputs, &plateaus);
    let means = means(inputs, &plateaus, flywheel.map_or(0.0, |f| f.mass_kg));
    let outside = |p: &Plateau| usize::from(!is_inside(p.from_s));
    let fitted = grouped(&means, &plateaus, fixed, outside).ok_or(Missing::Speeds)?;
    let other = delay::Other {
        rolling_n: fitted.rolling_n,
        drag_kg_m: fitted.drag_kg_m,
        flywheel,
    };
    let steps: Vec<Step> = delay::steps(inputs, &plateaus, &other)
        .into_iter()
        .filter(|step| is_inside(step.at_s))
        .collect();
    Ok(Gradient {
        mass: *fitted.masses.first().ok_or(Missing::Speeds)?,
        bands: bands(&means, &plateaus, fixed, is_inside),
        rolling_n: fitted.rolling_n,
        drag_kg_m: fitted.drag_kg_m,
        is_free,
        flywheel,
        delay: delay::mean(&steps, flywheel),
        steps,
        plateaus: own,
    })
}

/// The grades of these plateaus, each once.
fn grades(plateaus: &[Plateau]) -> Vec<f64> {
    let mut grades: Vec<f64> = plateaus.iter().map(|p| p.grade_percent).collect();
    grades.sort_by(f64::total_cmp);
    grades.dedup_by(|a, b| (*a - *b).abs() < ONE_GRADE_PERCENT);
    grades
}

fn has_two_speeds(plateaus: &[Plateau]) -> bool {
    plateaus.iter().any(|one| {
        plateaus.iter().any(|other| {
            (one.grade_percent - other.grade_percent).abs() < ONE_GRADE_PERCENT
                && other.speed_m_s > TWO_SPEEDS * one.speed_m_s
        })
    })
}

/// κ·m by group. A group without a gradient joins the first one; the others keep their order.
fn grouped(
    means: &[Mean],
    plateaus: &[Plateau],
    fixed: Option<Simulation>,
    group_of: impl Fn(&Plateau) -> usize,
) -> Option<Fitted> {
    let is_steep = |p: &&Plateau| p.grade_percent.abs() >= LEAST_GRADE_PERCENT;
    let mut steep: Vec<usize> = plateaus.iter().filter(is_steep).map(&group_of).collect();
    steep.sort_unstable();
    steep.dedup();
    let place = |p: &Plateau| steep.binary_search(&group_of(p)).unwrap_or(0);
    let groups: Vec<usize> = plateaus.iter().map(place).collect();
    Fitted::of(means, &groups, fixed)
}

/// κ·m of each band of the gradient that the plateaus inside were ridden in, where there are several.
fn bands(
    means: &[Mean],
    plateaus: &[Plateau],
    fixed: Option<Simulation>,
    is_inside: impl Fn(f64) -> bool,
) -> Vec<Band> {
    let band_of = |p: &Plateau| BANDS_PERCENT.partition_point(|end| *end <= p.grade_percent);
    let steep = plateaus
        .iter()
        .filter(|p| p.grade_percent.abs() >= LEAST_GRADE_PERCENT);
    let mut found: Vec<usize> = steep
        .clone()
        .filter(|p| is_inside(p.from_s))
        .map(band_of)
        .collect();
    found.sort_unstable();
    found.dedup();
    let outside = BANDS_PERCENT.len() + 1;
    let group_of = |p: &Plateau| match is_inside(p.from_s) {
        true => band_of(p),
        false => outside,
    };
    if found.len() < 2 {
        return Vec::new();
    }
    let Some(fitted) = grouped(means, plateaus, fixed, group_of) else {
        return Vec::new();
    };
    let band = |(band, mass): (usize, Contrast)| {
        Some(Band {
            from_percent: *BANDS_PERCENT.get(band.checked_sub(1)?)?,
            to_percent: *BANDS_PERCENT.get(band)?,
            mass,
        })
    };
    found
        .into_iter()
        .zip(fitted.masses)
        .filter_map(band)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::inputs::{GRAVITY_M_S2, slope_of};
    use super::*;
    use crate::stats::vectors::{PLATEAUS, assert_close};
    use crate::timeline::Grid;

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
            power_later_s: 0.0,
            grid: Grid {
                start_s: 0.0,
                step_s: 1.0,
                len: columns.0.len(),
            },
        };
        gradient(&inputs, given, inputs.grid.span())
    }

    #[test]
    fn the_worked_plateaus_give_half_the_gradient() {
        let columns = ride(&PLATEAUS, 90);
        let found = gradient_of(&columns, None).unwrap();
        assert_close(found.mass.estimate / 85.0, 0.500057, 1e-5);
        let weight_n = 85.0 * GRAVITY_M_S2;
        assert_close(found.rolling_n / weight_n, 0.004007, 2e-4);
        assert_close(found.drag_kg_m, 0.191828, 5e-5);
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
        assert_close(found.mass.estimate, 0.9 * 85.0, 0.02);
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
