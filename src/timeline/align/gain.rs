//! How much likelier a match makes what was recorded, and what is asked of it.

/// Fewest pairs of samples at which a lag is considered.
pub(super) const MIN_PAIRS: u32 = 60;
/// Steepest rate looked for, each way: beyond it no lag holds long enough for a window to match.
pub(super) const MOST_RATE: f64 = 5e-3;
/// Likelihood gain that a match needs beyond the logarithm of the number of lags tried.
const MATCH_GAIN: f64 = 12.0;
/// Likelihood gain over a rival that tells the two apart.
pub(super) const RIVAL_GAIN: f64 = 15.0;

/// Likelihood gain of a match over none: `−½ n ln(1 − r²)` with `n` pairs over the spacing of
/// independent ones.
pub(super) struct Gain {
    /// Spacing of independent pairs, s.
    pub independent_s: f64,
}
impl Gain {
    /// The gain of `r` over `pairs`; none where it is not positive.
    pub fn of(&self, r: f64, pairs: f64) -> f64 {
        let r = r.max(0.0);
        -0.5 * pairs / self.independent_s * (1.0 - r * r).max(1e-4).ln()
    }

    /// What a gain exceeds by itself at the best of so many lags.
    pub fn needed(&self, lags: usize) -> f64 {
        (lags as f64).ln() + MATCH_GAIN
    }
}
