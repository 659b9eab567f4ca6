//! Normals, each with a weight, a mean and an SD of its own.

use crate::stats::{normal_cdf, normal_quantile};

/// The weighed normals; weights sum to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixed {
    /// Weight, mean, SD.
    parts: Vec<(f64, f64, f64)>,
}

impl Mixed {
    /// Of weight, mean and SD of each part.
    pub(super) fn of(parts: impl Iterator<Item = (f64, f64, f64)>) -> Self {
        Self {
            parts: parts.collect(),
        }
    }

    /// One normal.
    pub fn normal(mean: f64, sd: f64) -> Self {
        Self {
            parts: vec![(1.0, mean, sd)],
        }
    }

    /// With an independent normal error added.
    pub fn blurred(&self, sd: f64) -> Self {
        Self::of(self.parts.iter().map(|(w, m, s)| (*w, *m, s.hypot(sd))))
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.parts
            .iter()
            .map(|(weight, mean, _)| weight * mean)
            .sum()
    }

    /// SD.
    pub fn sd(&self) -> f64 {
        let centre = self.mean();
        let square = |(weight, mean, sd): &(f64, f64, f64)| {
            weight * (sd * sd + (mean - centre) * (mean - centre))
        };
        self.parts.iter().map(square).sum::<f64>().sqrt()
    }

    /// Probability of a value up to `value`.
    fn below(&self, value: f64) -> f64 {
        let part = |(weight, mean, sd): &(f64, f64, f64)| {
            weight * normal_cdf((value - mean) / sd.max(f64::MIN_POSITIVE))
        };
        self.parts.iter().map(part).sum()
    }

    /// The value up to which there is the probability `p`: it lies between those of the parts.
    pub fn quantile(&self, p: f64) -> f64 {
        let z = normal_quantile(p);
        let of_parts = || self.parts.iter().map(|(_, mean, sd)| mean + z * sd);
        let low = of_parts().fold(f64::INFINITY, f64::min);
        let high = of_parts().fold(f64::NEG_INFINITY, f64::max);
        rising_to(p, [low, high], |value| self.below(value))
    }

    /// Limits that leave `tail` on either side.
    pub fn limits(&self, tail: f64) -> [f64; 2] {
        [self.quantile(tail), self.quantile(1.0 - tail)]
    }
}

/// Where a rising function comes to `wanted` between `low` and `high`, by the Illinois variant of
/// false position (Dowell & Jarratt 1971, BIT 11:168, from memory).
pub(super) fn rising_to(wanted: f64, [low, high]: [f64; 2], of: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (low, high);
    let (mut below, mut above) = (of(low) - wanted, of(high) - wanted);
    if below >= 0.0 || above <= 0.0 {
        return if below >= 0.0 { low } else { high };
    }
    let mut last = 0;
    for _ in 0..100 {
        let middle = (low * above - high * below) / (above - below);
        let found = of(middle) - wanted;
        if found.abs() < 1e-13 || high - low < 1e-12 * (1.0 + high.abs()) || found.is_nan() {
            return middle;
        }
        if found < 0.0 {
            (low, below) = (middle, found);
            if last < 0 {
                above *= 0.5;
            }
            last = -1;
        } else {
            (high, above) = (middle, found);
            if last > 0 {
                below *= 0.5;
            }
            last = 1;
        }
    }
    0.5 * (low + high)
}
