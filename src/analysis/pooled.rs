//! Agreement over several segments together: what one second may differ when every block has a bias
//! of its own.
//!
//! Limits of agreement over one block leave out that the next block is biased otherwise; over all
//! seconds put end to end they count the seconds of a long block as if they were independent
//! blocks. With many pairs in each of several blocks, and a true power that moves, the variance of one
//! difference is that within blocks plus that between them (Bland & Altman 2007, J Biopharm Stat
//! 17:571, true value varying): from the one-way analysis of variance of the differences,
//! `s² = MS_within + (MS_between − MS_within)/m`, `m = (N − Σ n_i²/N)/(k − 1)`, and the limits are
//! bias ± 1.96 s, the bias being the mean of all differences. A between-blocks part that comes out
//! negative counts as zero. The same of the logarithms gives the limits as ratios, for a claim in
//! percent over blocks at different powers ([`super::ratio`]).

use super::across::Layout;
use super::agreement::LOA95_MULTIPLIER;
use super::ratio::{as_ratios, logarithms};
use super::window::Window;
use crate::analysis::figure::Figure;
use crate::session::Segment;
use crate::stats::Interval;
use crate::stats::{finite, finite_interval};
use crate::timeline::{Aligned, Member, Span};
use serde::Serialize;

/// Agreement over several segments together, each with a bias of its own.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pooled {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// The segments pooled, by `id`.
    pub segments: Vec<usize>,
    /// Seconds in all.
    pub n: usize,
    /// Mean of all differences, W.
    pub bias_w: Option<f64>,
    /// Standard deviation of the differences within a segment, W.
    pub sd_within_w: Option<f64>,
    /// Standard deviation between the segments' biases, W; 0 where its variance comes out negative.
    pub sd_between_w: Option<f64>,
    /// Standard deviation of one difference, within and between together, W.
    pub sd_diff_w: Option<f64>,
    /// 95 % limits of agreement, W.
    pub loa95_w: Option<Interval>,
    /// Geometric mean of under test / reference.
    pub ratio: Option<f64>,
    /// 95 % limits of agreement, as ratios.
    pub ratio_loa95: Option<Interval>,
}

/// Differences with their variance, within groups and in all.
struct Variances {
    n: usize,
    mean: f64,
    within: f64,
    between: f64,
}

impl Variances {
    /// `None` for fewer than two groups or no group of two.
    fn of(groups: &[Vec<f64>]) -> Option<Self> {
        let layout = Layout::of(groups)?;
        let n: usize = groups.iter().map(Vec::len).sum();
        Some(Self {
            n,
            mean: groups.iter().flatten().sum::<f64>() / n as f64,
            within: layout.within,
            between: layout.between_variance().max(0.0),
        })
    }

    fn total(&self) -> f64 {
        self.within + self.between
    }

    fn limits95(&self) -> Interval {
        let half = LOA95_MULTIPLIER * self.total().sqrt();
        [self.mean - half, self.mean + half]
    }
}

/// The differences that both columns have.
fn differences(x: &[f64], y: &[f64]) -> Vec<f64> {
    let differences = x.iter().zip(y).map(|(x, y)| x - y);
    differences.filter(|d| d.is_finite()).collect()
}

/// Each source under test against each reference and the consensus over those of the segments on
/// which a claim is tested; pairs with fewer than two such segments are left out. `ride` is a window
/// over the whole ride.
pub(super) fn pooled(ride: &Window<'_>, segments: &[Segment]) -> Vec<Pooled> {
    let judged: Vec<(usize, Window<'_>)> = segments
        .iter()
        .enumerate()
        .filter(|(_, segment)| segment.kind.spec().tests_claim)
        .map(|(at, segment)| {
            let span = Span::new(segment.from_s, segment.to_s);
            let part = Window::new(ride.session, ride.aligned, ride.findings, span);
            (at + 1, part)
        })
        .collect();
    let pairs = Aligned::comparisons(ride.aligned);
    pairs
        .iter()
        .filter_map(|pair| {
            let (source, against) = (Member::Stream(pair.under_test), pair.reference);
            let mut found = Found::default();
            for (id, part) in &judged {
                found.add(
                    *id,
                    &part.trusted_power(source)?,
                    &part.trusted_power(against)?,
                );
            }
            found.figures(ride.name(source), ride.name(against))
        })
        .collect()
}

/// Differences of one pair, in W and in logarithms, segment by segment.
#[derive(Default)]
struct Found {
    segments: Vec<usize>,
    watts: Vec<Vec<f64>>,
    logs: Vec<Vec<f64>>,
}

impl Found {
    fn add(&mut self, id: usize, x: &[f64], y: &[f64]) {
        let watts = differences(x, y);
        if !watts.is_empty() {
            self.segments.push(id);
            self.watts.push(watts);
        }
        let logs = differences(&logarithms(x), &logarithms(y));
        if !logs.is_empty() {
            self.logs.push(logs);
        }
    }

    fn figures(self, under_test: &str, reference: &str) -> Option<Pooled> {
        let watts = Variances::of(&self.watts)?;
        let logs = Variances::of(&self.logs);
        Some(Pooled {
            under_test: under_test.to_owned(),
            reference: reference.to_owned(),
            segments: self.segments,
            n: watts.n,
            bias_w: finite(watts.mean),
            sd_within_w: finite(watts.within.sqrt()),
            sd_between_w: finite(watts.between.sqrt()),
            sd_diff_w: finite(watts.total().sqrt()),
            loa95_w: finite_interval(watts.limits95()),
            ratio: logs.as_ref().and_then(|logs| finite(logs.mean.exp())),
            ratio_loa95: logs.and_then(|logs| as_ratios(logs.limits95())),
        })
    }
}

const BA7: &str = "Bland & Altman 2007, J Biopharm Stat 17:571 (true value varying)";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "pooled.under_test",
        label: "source",
        definition: "The source under test.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.reference",
        label: "reference",
        definition: "What it is compared with.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.segments",
        label: "segments pooled",
        definition: "The segments on which a claim is tested, by number.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.n",
        label: "seconds pooled",
        definition: "Seconds of all these segments in which both have a value.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.bias_w",
        label: "pooled bias",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "Mean of all differences.",
        formula: "mean of d",
        source: BA7,
        caveat: "A long segment weighs more.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.sd_within_w",
        label: "SD within segments",
        unit: "W",
        decimals: 1,
        definition: "How the differences of one segment scatter about its own bias.",
        formula: "√(mean square within)",
        source: BA7,
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.sd_between_w",
        label: "SD between segments",
        unit: "W",
        decimals: 1,
        definition: "How the biases of the segments scatter; 0 where the variance comes out negative.",
        formula: "√((mean square between − mean square within)/m), m = (N − Σnᵢ²/N)/(k − 1)",
        source: BA7,
        caveat: "Segments at different powers differ in W by a wrong scale alone: see the ratio.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.sd_diff_w",
        label: "pooled SD of differences",
        unit: "W",
        decimals: 1,
        definition: "Scatter of one second of any of these segments: within and between together.",
        formula: "√(SD within² + SD between²)",
        source: BA7,
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.loa95_w",
        label: "pooled limits of agreement",
        unit: "W",
        decimals: 1,
        definition: "Between these, 95 % of single seconds are expected to differ over blocks like these, each with a bias of its own.",
        formula: "pooled bias ± 1.96 · pooled SD",
        source: BA7,
        caveat: "From few segments the part between them is known poorly.",
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.ratio",
        label: "pooled ratio",
        decimals: 4,
        definition: "What the source under test reads for one watt of the reference over these segments.",
        formula: "exp(mean of ln x − ln y), seconds with 10 W on both sides",
        source: BA7,
        ..Figure::PLAIN
    },
    Figure {
        id: "pooled.ratio_loa95",
        label: "pooled ratio limits",
        decimals: 4,
        definition: "The pooled limits as ratios: the form for a claim in percent over blocks at different powers.",
        formula: "exp(mean ± 1.96 · pooled SD of ln x − ln y)",
        source: BA7,
        caveat: "From few segments the part between them is known poorly.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{CARDIAC, assert_close};

    /// Bland & Altman 2007 (data as printed in 1999): cardiac output by two methods, 12 subjects, 60
    /// pairs. Published: SD 0.99062408, bias 0.6021667, limits −1.3394565 and 2.5437899; mean squares
    /// recomputed beforehand with an analysis of variance of statsmodels.
    #[test]
    fn cardiac_output_with_a_true_value_that_varies() {
        let mut found = Found::default();
        for (at, pairs) in CARDIAC.iter().enumerate() {
            let (x, y): (Vec<f64>, Vec<f64>) = pairs.iter().map(|[rv, ic]| (*rv, *ic)).unzip();
            found.add(at + 1, &x, &y);
        }
        let layout = Layout::of(&found.watts).unwrap();
        assert_close(layout.between, 4.20908606, 1e-7);
        assert_close(layout.within, 0.17071399, 1e-7);
        let found = found.figures("RV", "IC").unwrap();
        assert_eq!((found.segments.len(), found.n), (12, 60));
        assert_close(found.bias_w.unwrap(), 0.60216667, 1e-7);
        assert_close(found.sd_diff_w.unwrap(), 0.99062411, 1e-7);
        let [lower, upper] = found.loa95_w.unwrap();
        assert_close(lower, -1.33945659, 1e-7);
        assert_close(upper, 2.54378992, 1e-7);
        // Litres a minute are all under 10: no ratio.
        assert_eq!(found.ratio, None);
    }

    #[test]
    fn blocks_that_agree_leave_no_part_between_and_one_block_is_no_pool() {
        let mut found = Found::default();
        found.add(1, &[201.0, 203.0], &[200.0, 200.0]);
        assert!(Variances::of(&found.watts).is_none());
        found.add(3, &[103.0, 101.0], &[100.0, 100.0]);
        found.add(4, &[f64::NAN; 2], &[100.0, 100.0]);
        let pooled = found.figures("trainer", "pedals").unwrap();
        assert_eq!(pooled.segments, [1, 3]);
        assert_eq!((pooled.sd_between_w, pooled.bias_w), (Some(0.0), Some(2.0)));
        assert_close(pooled.sd_within_w.unwrap(), 2.0_f64.sqrt(), 1e-12);
        let [lower, upper] = pooled.ratio_loa95.unwrap();
        assert!(lower < pooled.ratio.unwrap() && pooled.ratio.unwrap() < upper);
    }
}
