//! A rate from a count.

use super::{Interval, chi_squared_quantile};

/// Exact 95 % limits of a rate from `count` events over `exposure`, events in a unit of the exposure:
/// ½χ²(0.025; 2n)/T and ½χ²(0.975; 2n + 2)/T (Garwood 1936, Biometrika 28:437, from memory).
pub fn rate_ci95(count: usize, exposure: f64) -> Interval {
    let n = count as f64;
    let low = if count == 0 {
        0.0
    } else {
        0.5 * chi_squared_quantile(0.025, 2.0 * n)
    };
    let high = 0.5 * chi_squared_quantile(0.975, 2.0 * n + 2.0);
    [low / exposure, high / exposure]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn two_in_an_hour_and_a_half() {
        // Computed beforehand with scipy's chi2.ppf: 1.3 (0.16 to 4.8) an hour.
        let [low, high] = rate_ci95(2, 1.5);
        assert_close(low, 0.161473, 1e-5);
        assert_close(high, 4.816459, 1e-5);
        let [low, high] = rate_ci95(0, 2.0);
        assert_close(low, 0.0, 0.0);
        assert_close(high, 3.688879 / 2.0, 1e-5);
    }
}
