//! Readings of a meter with known masses on the level crank: `[stream.weights]` of the session file,
//! and the scale that they give.
//!
//! A mass `M` hung from the pedal axle of a level crank of length `l` loads it with `T = M g l`
//! (static calibration as in Wooles, Robinson & Keen 2005). Least squares `reading = a + k T`; a second
//! pass (the other side) has a zero of its own. The meter's power is divided by `k`. What cannot be
//! meant is reported and not used: the meter then stands with its claim as before.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::stats::Line;

/// Readings with known masses, as the tester noted them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Weights {
    /// Crank length from the axle of the bottom bracket to that of the pedal, mm.
    pub crank_mm: Option<f64>,
    /// Half-width within which it is known, mm; [`CRANK_PLUS_MINUS_MM`] where absent.
    pub crank_plus_minus_mm: Option<f64>,
    /// Acceleration of gravity at the place, m/s²; else from the latitude.
    pub gravity: Option<f64>,
    /// Latitude of the place, degrees.
    pub latitude: Option<f64>,
    /// Its height above the sea, m.
    pub altitude_m: Option<f64>,
    /// The masses in the order in which they hung, kg; a zero after a zero starts another pass.
    pub kg: Vec<f64>,
    /// What the meter showed, N·m, in the same order.
    pub nm: Vec<f64>,
}

/// How well a crank is measured with a ruler, mm (judgement).
pub const CRANK_PLUS_MINUS_MM: f64 = 0.5;

/// Standard gravity, m/s².
pub const STANDARD_GRAVITY: f64 = 9.80665;

/// Half-width of gravity where it is given or follows from the latitude, %: some 3° of latitude.
const GRAVITY_PERCENT: f64 = 0.03;

/// The same where nothing is said of the place: from the equator to the poles.
const GRAVITY_ANYWHERE_PERCENT: f64 = 0.3;

/// Fewest readings of a fit.
const FEWEST: usize = 4;

/// Cranks that are no slip of the pen, mm.
const CRANKS_MM: [f64; 2] = [100.0, 250.0];

/// Gravity on this planet, m/s².
const GRAVITIES: [f64; 2] = [9.76, 9.84];

/// Masses that are no slip of the pen, kg.
const HEAVIEST_KG: f64 = 250.0;

/// Scales that a meter in use has; beyond it is the readings that are wrong.
const SCALES: [f64; 2] = [0.9, 1.1];

/// The scale of a meter by known masses.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownScale {
    /// Slope k of the readings against the torque.
    pub scale: f64,
    /// Its standard error, of the readings' scatter alone.
    pub scale_se: f64,
    /// Degrees of freedom behind it.
    pub dof: f64,
    /// Reading without load, N·m; the mean of the passes.
    pub zero_nm: f64,
    /// Standard deviation of the residuals, N·m.
    pub residual_sd_nm: f64,
    /// Largest difference of readings under the same load on the way up and down, % of the largest
    /// torque; `None` where no load hung on both ways.
    pub hysteresis_percent: Option<f64>,
    /// Crank length, mm.
    pub crank_mm: f64,
    /// Half-width within which it is known, mm.
    pub crank_plus_minus_mm: f64,
    /// Gravity, m/s².
    pub gravity: f64,
    /// Half-width within which it is known, %.
    pub gravity_plus_minus_percent: f64,
    /// Every reading, in the order in which it was taken.
    pub readings: Vec<LoadReading>,
}

/// One reading under a load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadReading {
    /// The mass, kg.
    pub kg: f64,
    /// The torque that it makes, N·m.
    pub torque_nm: f64,
    /// What the meter showed, N·m.
    pub nm: f64,
    /// What the line leaves, N·m.
    pub residual_nm: f64,
    /// Whether the mass came before or at the heaviest of its pass.
    pub rising: bool,
}

/// Why readings are not used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WeightsProblem {
    /// One of the lists is longer.
    Unpaired {
        /// Masses.
        kg: usize,
        /// Readings.
        nm: usize,
    },
    /// Too few readings.
    TooFew(usize),
    /// No reading without a mass.
    NoZero,
    /// Nothing but zeros, or one mass.
    NoLoad,
    /// No crank length.
    NoCrank,
    /// A crank of this length, mm.
    Crank(f64),
    /// A gravity that is not of this planet, m/s².
    Gravity(f64),
    /// A latitude beyond the poles, degrees.
    Latitude(f64),
    /// A mass that is none, kg.
    Mass(f64),
    /// A number that is none.
    NoNumber,
    /// A slope that no meter in use has.
    Scale(f64),
}

impl fmt::Display for WeightsProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unpaired { kg, nm } => write!(
                f,
                "{kg} masses and {nm} readings; each mass needs its reading"
            ),
            Self::TooFew(n) => write!(
                f,
                "{n} readings; a line and its scatter take {FEWEST} or more, up and down"
            ),
            Self::NoZero => {
                f.write_str("no reading without a mass; note the zero before and after (kg = 0)")
            }
            Self::NoLoad => f.write_str("no two different masses; a line takes a zero and a load"),
            Self::NoCrank => f.write_str("no crank length; give crank_mm"),
            Self::Crank(mm) => {
                write!(f, "a crank of {mm} mm; cranks are 140 to 200 mm long")?;
                match [10.0, 25.4, 0.1].map(|factor| mm * factor) {
                    [centimetres, ..] if usual(centimetres) => {
                        write!(f, " (was {centimetres} meant?)")
                    }
                    [_, inches, _] if usual(inches) => {
                        write!(f, " (inches? that is {inches:.1} mm)")
                    }
                    [.., tenths] if usual(tenths) => write!(f, " (was {tenths} meant?)"),
                    _ => Ok(()),
                }
            }
            Self::Gravity(g) => write!(
                f,
                "a gravity of {g} m/s²; it is {} to {} on this planet",
                GRAVITIES[0], GRAVITIES[1]
            ),
            Self::Latitude(degrees) => {
                write!(
                    f,
                    "a latitude of {degrees}; it lies between −90 and 90 degrees"
                )
            }
            Self::Mass(kg) => write!(
                f,
                "a mass of {kg} kg; masses are 0 to {HEAVIEST_KG} kg (grams? write kilograms)"
            ),
            Self::NoNumber => f.write_str("a number that overflows; write kg and N·m"),
            Self::Scale(scale) => write!(
                f,
                "the readings are {scale:.3} times the torque of the masses, which no meter in use \
                 is off by{}",
                likely(*scale)
            ),
        }
    }
}

/// Whether cranks are so long, mm.
fn usual(mm: f64) -> bool {
    (140.0..=200.0).contains(&mm)
}

/// What a slope is likely to come from: readings in another unit, pounds, sides.
fn likely(scale: f64) -> &'static str {
    const CAUSES: [(f64, &str); 9] = [
        (100.0, ": the readings look like N·cm; write N·m"),
        (1000.0, ": the readings look like N·mm; write N·m"),
        (0.4536, ": the masses look like pounds; write kg"),
        (0.7376, ": the readings look like lbf·ft; write N·m"),
        (8.851, ": the readings look like lbf·in; write N·m"),
        (0.10197, ": the readings look like kgf·m; write N·m"),
        (10.197, ": the readings look like kgf·cm; write N·m"),
        (
            2.0,
            ": a meter of one side that doubles what it reads, or half the masses noted?",
        ),
        (0.5, ": half of it is shown, or each mass noted twice?"),
    ];
    let near = |(factor, _): &&(f64, &str)| (scale / factor - 1.0).abs() <= 0.1;
    // The nearest where two come near.
    let far = |factor: f64| (scale / factor).ln().abs();
    let found = CAUSES
        .iter()
        .filter(near)
        .min_by(|a, b| far(a.0).total_cmp(&far(b.0)));
    found.map_or(": look at masses, crank length and unit", |(_, cause)| {
        cause
    })
}

/// Gravity at a latitude and height: the normal gravity of the ellipsoid of 1984 (Somigliana) and the
/// free-air gradient, m/s².
pub fn gravity_at(latitude_degrees: f64, altitude_m: f64) -> f64 {
    let sine = latitude_degrees.to_radians().sin().powi(2);
    9.780_325_335_9 * (1.0 + 0.001_931_852_652_41 * sine)
        / (1.0 - 0.006_694_379_990_13 * sine).sqrt()
        - 3.086e-6 * altitude_m
}

/// Torque of a mass on a level crank, N·m.
pub fn torque_nm(kg: f64, crank_mm: f64, gravity: f64) -> f64 {
    kg * gravity * crank_mm / 1000.0
}

impl Weights {
    /// Every number in it, for what holds numbers to what can be meant.
    pub(super) fn numbers(&self) -> impl Iterator<Item = f64> {
        let single = [
            self.crank_mm,
            self.crank_plus_minus_mm,
            self.gravity,
            self.latitude,
            self.altitude_m,
        ];
        let lists = self.kg.iter().chain(&self.nm).copied();
        single.into_iter().flatten().chain(lists)
    }

    /// The scale that the readings give.
    ///
    /// # Errors
    /// [`WeightsProblem`] where they cannot be meant as they stand.
    pub fn fit(&self) -> Result<KnownScale, WeightsProblem> {
        let crank_mm = self.checked_crank()?;
        let (gravity, gravity_plus_minus_percent) = self.gravity_here()?;
        self.check_readings()?;
        let torque = |kg: &f64| torque_nm(*kg, crank_mm, gravity);
        let torques: Vec<f64> = self.kg.iter().map(torque).collect();
        let passes = passes(&self.kg);
        let about = |values: &[f64]| -> Vec<f64> {
            let centred = passes.iter().flat_map(|rows| {
                let mean = mean(&values[rows.clone()]);
                values[rows.clone()].iter().map(move |value| value - mean)
            });
            centred.collect()
        };
        let line = Line::fit(&about(&torques), &about(&self.nm)).ok_or(WeightsProblem::NoLoad)?;
        let scale = line.slope;
        let n = self.kg.len() as f64;
        // A line knows of two parameters; each further pass has a zero of its own.
        let dof = n - 1.0 - passes.len() as f64;
        let widened = ((n - 2.0) / dof).sqrt();
        let (Some(scale_se), Some(residual_sd)) = (line.slope_se, line.residual_sd) else {
            return Err(WeightsProblem::TooFew(self.kg.len()));
        };
        if dof < 2.0 {
            return Err(WeightsProblem::TooFew(self.kg.len()));
        }
        if ![scale, scale_se, residual_sd]
            .into_iter()
            .all(f64::is_finite)
        {
            return Err(WeightsProblem::NoNumber);
        }
        if !(SCALES[0]..=SCALES[1]).contains(&scale) {
            return Err(WeightsProblem::Scale(scale));
        }
        let zeros: Vec<f64> = passes
            .iter()
            .map(|rows| mean(&self.nm[rows.clone()]) - scale * mean(&torques[rows.clone()]))
            .collect();
        let mut readings = Vec::with_capacity(self.kg.len());
        for (rows, zero) in passes.iter().zip(&zeros) {
            let top = top_of(&self.kg, rows);
            readings.extend(rows.clone().map(|row| LoadReading {
                kg: self.kg[row],
                torque_nm: torques[row],
                nm: self.nm[row],
                residual_nm: self.nm[row] - zero - scale * torques[row],
                rising: row <= top,
            }));
        }
        let largest = torques.iter().copied().fold(0.0, f64::max);
        let hysteresis = passes
            .iter()
            .filter_map(|rows| apart(&readings[rows.clone()]));
        Ok(KnownScale {
            scale,
            scale_se: widened * scale_se,
            dof,
            zero_nm: mean(&zeros),
            residual_sd_nm: widened * residual_sd,
            hysteresis_percent: hysteresis
                .reduce(f64::max)
                .map(|apart| 100.0 * apart / largest),
            crank_mm,
            crank_plus_minus_mm: self
                .crank_plus_minus_mm
                .unwrap_or(CRANK_PLUS_MINUS_MM)
                .abs(),
            gravity,
            gravity_plus_minus_percent,
            readings,
        })
    }

    fn checked_crank(&self) -> Result<f64, WeightsProblem> {
        let crank_mm = self.crank_mm.ok_or(WeightsProblem::NoCrank)?;
        if (CRANKS_MM[0]..=CRANKS_MM[1]).contains(&crank_mm) {
            Ok(crank_mm)
        } else {
            Err(WeightsProblem::Crank(crank_mm))
        }
    }

    /// Gravity and the half-width within which it is known, %.
    fn gravity_here(&self) -> Result<(f64, f64), WeightsProblem> {
        let (gravity, percent) = match (self.gravity, self.latitude) {
            (Some(gravity), _) => (gravity, GRAVITY_PERCENT),
            (None, Some(latitude)) if (-90.0..=90.0).contains(&latitude) => (
                gravity_at(latitude, self.altitude_m.unwrap_or(0.0)),
                GRAVITY_PERCENT,
            ),
            (None, Some(latitude)) => return Err(WeightsProblem::Latitude(latitude)),
            (None, None) => (STANDARD_GRAVITY, GRAVITY_ANYWHERE_PERCENT),
        };
        if (GRAVITIES[0]..=GRAVITIES[1]).contains(&gravity) {
            Ok((gravity, percent))
        } else {
            Err(WeightsProblem::Gravity(gravity))
        }
    }

    fn check_readings(&self) -> Result<(), WeightsProblem> {
        let (kg, nm) = (self.kg.len(), self.nm.len());
        if kg != nm {
            return Err(WeightsProblem::Unpaired { kg, nm });
        }
        if kg < FEWEST {
            return Err(WeightsProblem::TooFew(kg));
        }
        let strange = |kg: &&f64| !(0.0..=HEAVIEST_KG).contains(*kg);
        if let Some(strange) = self.kg.iter().find(strange) {
            return Err(WeightsProblem::Mass(*strange));
        }
        if !self.kg.contains(&0.0) {
            return Err(WeightsProblem::NoZero);
        }
        Ok(())
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// The rows of each pass: a zero after a zero starts another, once something has hung.
fn passes(kg: &[f64]) -> Vec<std::ops::Range<usize>> {
    let mut starts = vec![0];
    for row in 1..kg.len() {
        let begun = starts.last().copied().unwrap_or(0);
        let has_hung = kg[begun..row].iter().any(|kg| *kg > 0.0);
        let hangs_later = kg[row..].iter().any(|kg| *kg > 0.0);
        if kg[row] == 0.0 && kg[row - 1] == 0.0 && has_hung && hangs_later {
            starts.push(row);
        }
    }
    let ends = starts.iter().skip(1).copied().chain([kg.len()]);
    starts
        .iter()
        .copied()
        .zip(ends)
        .map(|(a, b)| a..b)
        .collect()
}

/// The row of the heaviest mass, the first of equals.
fn top_of(kg: &[f64], rows: &std::ops::Range<usize>) -> usize {
    let heavier = |top: usize, row: usize| if kg[row] > kg[top] { row } else { top };
    rows.clone().fold(rows.start, heavier)
}

/// Largest difference of readings under the same mass on the way up and down, N·m.
fn apart(pass: &[LoadReading]) -> Option<f64> {
    let (up, down): (Vec<&LoadReading>, Vec<&LoadReading>) =
        pass.iter().partition(|reading| reading.rising);
    let differences = up.iter().filter_map(|one| {
        let same: Vec<f64> = down
            .iter()
            .filter(|other| other.kg == one.kg)
            .map(|other| (other.nm - one.nm).abs())
            .collect();
        same.into_iter().reduce(f64::max)
    });
    differences.reduce(f64::max)
}

#[cfg(test)]
pub(crate) mod vectors {
    use super::*;

    /// Readings computed beforehand, outside of this program: slope 1.012161 (SE 0.000800), zero 0.173871
    /// (SE 0.0188), residual SD 0.0359, hysteresis 0.189 %.
    pub fn worked() -> Weights {
        Weights {
            crank_mm: Some(172.5),
            gravity: Some(STANDARD_GRAVITY),
            kg: vec![0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 20.0, 15.0, 10.0, 5.0, 0.0],
            nm: vec![
                0.15, 8.71, 17.27, 25.83, 34.39, 42.95, 34.45, 25.91, 17.35, 8.76, 0.17,
            ],
            ..Weights::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::vectors::worked;
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn the_worked_series_gives_its_printed_digits() {
        let torque = torque_nm(10.0, 172.5, STANDARD_GRAVITY);
        assert_eq!(format!("{torque:.5}"), "16.91647");
        let found = worked().fit().unwrap();
        assert_eq!(format!("{:.6}", found.scale), "1.012161");
        assert_eq!(format!("{:.6}", found.scale_se), "0.000800");
        assert_eq!(format!("{:.6}", found.zero_nm), "0.173871");
        assert_eq!(format!("{:.4}", found.residual_sd_nm), "0.0359");
        assert_eq!(format!("{:.3}", found.hysteresis_percent.unwrap()), "0.189");
        assert_eq!(found.dof, 9.0);
        let torques: Vec<f64> = found.readings.iter().map(|r| r.torque_nm).collect();
        let line = Line::fit(&torques, &worked().nm).unwrap();
        assert_eq!(format!("{:.4}", line.intercept_se.unwrap()), "0.0188");
        assert!(found.readings[5].rising && !found.readings[6].rising);
        let left: f64 = found.readings.iter().map(|r| r.residual_nm).sum();
        assert!(left.abs() < 1e-9, "{left}");
    }

    #[test]
    fn gravity_follows_the_place() {
        // Normal gravity of the ellipsoid of 1984: 9.7803253359 at the equator, 9.8321849379 at the poles
        // (published constants); 9.8061977694 at 45°.
        assert_close(gravity_at(0.0, 0.0), 9.780_325_335_9, 1e-10);
        assert_close(gravity_at(90.0, 0.0), 9.832_184_937_9, 1e-7);
        assert_close(gravity_at(-45.0, 0.0), 9.806_197_77, 1e-7);
        assert_close(gravity_at(45.0, 1000.0), 9.806_197_77 - 3.086e-3, 1e-7);
        let at = |latitude| {
            Weights {
                gravity: None,
                latitude,
                ..worked()
            }
            .fit()
        };
        assert_close(at(Some(45.0)).unwrap().gravity, 9.806_197_77, 1e-7);
        let nowhere = at(None).unwrap();
        assert_eq!(nowhere.gravity, STANDARD_GRAVITY);
        assert!(nowhere.gravity_plus_minus_percent > 0.26, "9.780 to 9.832");
        assert_eq!(at(Some(91.0)), Err(WeightsProblem::Latitude(91.0)));
    }

    #[test]
    fn a_second_side_has_a_zero_of_its_own() {
        let one = worked();
        let mut both = one.clone();
        both.kg.extend(&one.kg);
        both.nm.extend(one.nm.iter().map(|nm| nm + 0.8));
        let (one, both) = (one.fit().unwrap(), both.fit().unwrap());
        assert_close(both.scale, one.scale, 1e-12);
        assert_close(both.zero_nm, one.zero_nm + 0.4, 1e-12);
        assert_eq!(both.dof, 19.0);
        assert_close(both.scale_se, one.scale_se * (9.0_f64 / 19.0).sqrt(), 1e-12);
        assert_close(
            both.hysteresis_percent.unwrap(),
            one.hysteresis_percent.unwrap(),
            1e-9,
        );
    }

    #[test]
    fn what_cannot_be_meant_is_reported() {
        let with = |change: fn(&mut Weights)| {
            let mut weights = worked();
            change(&mut weights);
            weights.fit().unwrap_err().to_string()
        };
        for (change, said) in [
            (
                (|w| w.kg.truncate(3)) as fn(&mut Weights),
                "3 masses and 11",
            ),
            (
                |w| {
                    w.kg.truncate(3);
                    w.nm.truncate(3)
                },
                "3 readings",
            ),
            (
                |w| w.kg.iter_mut().for_each(|kg| *kg = kg.max(2.0)),
                "without a mass",
            ),
            (
                |w| w.kg.iter_mut().for_each(|kg| *kg = 0.0),
                "no two different",
            ),
            (|w| w.crank_mm = None, "give crank_mm"),
            (
                |w| w.crank_mm = Some(17.25),
                "17.25 mm; cranks are 140 to 200 mm long (was 172.5 meant?)",
            ),
            (|w| w.crank_mm = Some(6.8), "inches"),
            (|w| w.gravity = Some(1.62), "1.62 m/s²"),
            (|w| w.kg[1] = -5.0, "-5 kg"),
            (|w| w.kg[1] = 5000.0, "grams"),
            (
                |w| w.nm.iter_mut().for_each(|nm| *nm *= 100.0),
                "101.216 times the torque",
            ),
            (
                |w| w.nm.iter_mut().for_each(|nm| *nm *= 100.0),
                "N·cm; write N·m",
            ),
            (
                |w| w.nm.iter_mut().for_each(|nm| *nm *= 2.0),
                "one side that doubles",
            ),
            (
                |w| w.kg.iter_mut().for_each(|kg| *kg *= 2.0),
                "each mass noted twice",
            ),
            (|w| w.kg.iter_mut().for_each(|kg| *kg *= 2.2046), "pounds"),
            (
                |w| w.nm.iter_mut().for_each(|nm| *nm = -*nm),
                "look at masses",
            ),
            (|w| w.nm[3] = 1e308, "overflows"),
        ] {
            let reported = with(change);
            assert!(reported.contains(said), "{reported}");
        }
    }

    #[test]
    fn a_load_that_only_grows_tells_no_hysteresis() {
        let mut up = worked();
        up.kg.truncate(6);
        up.nm.truncate(6);
        assert_eq!(up.fit().unwrap().hysteresis_percent, None);
    }
}
