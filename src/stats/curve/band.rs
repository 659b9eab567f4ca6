//! How much wider limits must be that hold along a whole path at once.

use super::mixed::rising_to;
use crate::stats::normal_cdf;

/// Largest critical value looked for: that of a path no real curve has.
const LARGEST: f64 = 12.0;

/// Angle between two directions with this correlation, rad.
pub fn angle(correlation: f64) -> f64 {
    let cosine = correlation.clamp(-1.0, 1.0);
    if cosine.is_nan() { 0.0 } else { cosine.acos() }
}

/// Critical value c with which `value ± c·sd` holds at every place of a path of normals that turns by
/// `angle` rad in all, but for the probability `outside`: `(κ/π) e^{−c²/2} + 2Φ(−c) = outside` (tube
/// formula: Naiman 1986, Ann Stat 14:896; Sun & Loader 1994, Ann Stat 22:1328). Never too small.
pub fn tube_critical(angle: f64, outside: f64) -> f64 {
    let held = |c: f64| {
        let turned = angle / std::f64::consts::PI * (-0.5 * c * c).exp();
        1.0 - turned - 2.0 * normal_cdf(-c)
    };
    rising_to(1.0 - outside, [0.0, LARGEST], held)
}
