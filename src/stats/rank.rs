//! Ranks, and whether two series rise together.

use super::{both_present, finite};

/// Rank of each value, from 1; equal ones share the mean of their ranks.
fn ranks(values: &[f64]) -> Vec<f64> {
    let rank = |value: &f64| {
        let below = values.iter().filter(|v| *v < value).count();
        let equal = values.iter().filter(|v| *v == value).count();
        below as f64 + 0.5 * (equal as f64 + 1.0)
    };
    values.iter().map(rank).collect()
}

/// Spearman's rank correlation: Pearson's of the ranks (Spearman 1904, Am J Psychol 15:72). `None`
/// where fewer than three pairs have both values or one of the two does not change.
pub fn rank_correlation(x: &[f64], y: &[f64]) -> Option<f64> {
    let (x, y) = both_present(x, y);
    if x.len() < 3 {
        return None;
    }
    let middle = 0.5 * (x.len() as f64 + 1.0);
    let (x, y) = (ranks(&x), ranks(&y));
    let together = |a: &[f64], b: &[f64]| -> f64 {
        let products = a.iter().zip(b).map(|(a, b)| (a - middle) * (b - middle));
        products.sum()
    };
    finite(together(&x, &y) / (together(&x, &x) * together(&y, &y)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn ranks_correlate_with_ties_shared() {
        assert_eq!(ranks(&[3.0, 1.0, 3.0, 2.0]), [3.5, 1.0, 3.5, 2.0]);
        let order = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(
            rank_correlation(&order, &[1.0, 4.0, 9.0, 16.0, 25.0]),
            Some(1.0)
        );
        // By hand: 1 − 6 Σd²/(n(n² − 1)) = 1 − 6·2/120 with d = 1, −1.
        let swapped = rank_correlation(&order, &[2.0, 1.0, 3.0, 4.0, 5.0]).unwrap();
        assert_close(swapped, 0.9, 1e-12);
        // By hand, the first power again at the end: ranks 1.5, 3, 4, 5, 1.5 against 1 to 5.
        let again = rank_correlation(&[120.0, 180.0, 240.0, 300.0, 120.0], &order).unwrap();
        assert_close(again, 2.0 / 95.0_f64.sqrt(), 1e-12);
        assert_eq!(rank_correlation(&order[..2], &order[..2]), None);
        assert_eq!(rank_correlation(&[1.0; 5], &order), None);
    }
}
