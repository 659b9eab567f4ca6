//! One critical value for several estimates that share an error.

use super::mixed::rising_to;
use crate::stats::normal_cdf;

/// How far out the shared error is followed, in its SDs, and in what steps: the trapezoidal rule on
/// a normal density converges faster than any power of the step.
const REACH: i32 = 80;
const STEP: f64 = 0.1;

/// Largest critical value looked for: beyond it no number of estimates matters.
const LARGEST: f64 = 12.0;

/// An estimate's standard uncertainty: all of it, and without the error that all of them share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combined {
    /// All of it.
    pub all: f64,
    /// What is its own.
    pub own: f64,
}

/// The c with which none of the estimates lies more than c times its standard uncertainty above the
/// truth, with the probability `together`, when they share a normal error with SD `common` and are
/// otherwise taken as independent: `E_δ[Π Φ((c u_j − common·δ)/s_j)] = together`. Estimates that
/// agree more than that (a mean with its parts) make c too large, never too small (Slepian 1962, Bell
/// Syst Tech J 41:463, from memory).
pub fn joint_critical(estimates: &[Combined], common: f64, together: f64) -> f64 {
    let density = |z: f64| STEP * (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    let shared: Vec<(f64, f64)> = (-REACH..=REACH)
        .map(|i| STEP * f64::from(i))
        .map(|z| (density(z), common * z))
        .collect();
    let all_held = |c: f64| {
        let held = |(weight, shared): &(f64, f64)| -> f64 {
            let each = estimates.iter().map(|e| {
                let own = e.own.max(f64::MIN_POSITIVE);
                normal_cdf((c * e.all - shared) / own)
            });
            weight * each.product::<f64>()
        };
        shared.iter().map(held).sum::<f64>()
    };
    rising_to(together, [0.0, LARGEST], all_held)
}
