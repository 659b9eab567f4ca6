//! No perfect reference: which of three or more streams is the noisy one.

use crate::analysis::figure::Figure;
use crate::stats::Interval;
use crate::stats::serial;
use crate::stats::{Sample, finite, finite_interval};
use serde::Serialize;

/// Error of one stream, told without a perfect reference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ErrorVariance {
    /// Label.
    pub label: String,
    /// Variance of its error, W²; negative where the assumptions fail or the error is too small.
    pub error_variance_w2: Option<f64>,
    /// Its 95 % confidence limits, W².
    pub error_variance_ci95_w2: Option<Interval>,
    /// Its square root, W; null where the variance is negative.
    pub error_sd_w: Option<f64>,
}

/// Which of three or more streams is the noisy one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NoisyOne {
    /// The error of each stream.
    pub streams: Vec<ErrorVariance>,
    /// Label of the noisiest, where it can be told from the next.
    pub noisiest: Option<String>,
    /// What to make of it, in a sentence.
    pub note: String,
}

/// Error variances from the variances of the pairwise differences (symmetric, row-major,
/// `streams` × `streams`, diagonal ignored), by least squares on v(i, j) = s(i) + s(j):
/// s(i) = (Σⱼ v(i, j) − S)/(N − 2) with S = Σ v/(N − 1) over all pairs. For three streams these
/// are Grubbs' estimators, (v(a, b) + v(a, c) − v(b, c))/2 (Grubbs 1948, JASA 43:243; 1973,
/// Technometrics 15:53), also called the three-cornered hat. Negative estimates are returned as
/// they come out. `None` for fewer than three streams.
fn error_variances(streams: usize, pair_variances: &[f64]) -> Option<Vec<f64>> {
    if streams < 3 || pair_variances.len() != streams * streams {
        return None;
    }
    let rows: Vec<f64> = pair_variances
        .chunks(streams)
        .enumerate()
        .map(|(i, row)| row.iter().sum::<f64>() - row.get(i).copied().unwrap_or(0.0))
        .collect();
    let total = rows.iter().sum::<f64>() / (2 * (streams - 1)) as f64;
    Some(
        rows.iter()
            .map(|sum| (sum - total) / (streams - 2) as f64)
            .collect(),
    )
}

/// Error variances of columns over the rows in which all are present; `None` for fewer than three
/// columns or two such rows.
fn of_columns(columns: &[Vec<f64>]) -> Option<Vec<f64>> {
    let streams = columns.len();
    let mut variances = vec![0.0; streams * streams];
    for (i, a) in columns.iter().enumerate() {
        for (j, b) in columns.iter().enumerate().skip(i + 1) {
            let variance = Sample::present(a.iter().zip(b).map(|(a, b)| a - b))?.variance();
            variances[i * streams + j] = variance;
            variances[j * streams + i] = variance;
        }
    }
    error_variances(streams, &variances)
}

/// The error of each stream, with limits by the delete-one-block jackknife, and the noisiest where
/// it can be told from the next. `None` for fewer than three columns or two common rows.
///
/// Assumes that the errors of different streams are independent. A lag, a clock that is off or a
/// shared smoothing breaks this; a negative estimate is the sign of it.
pub fn noisy_one(labels: &[&str], columns: &[&[f64]]) -> Option<NoisyOne> {
    let rows = columns.iter().map(|column| column.len()).min()?;
    // A second counts only where every stream has it.
    let whole = |row: &usize| {
        columns
            .iter()
            .all(|c| c.get(*row).is_some_and(|v| v.is_finite()))
    };
    let common: Vec<usize> = (0..rows).filter(whole).collect();
    let take = |keep: &dyn Fn(usize) -> bool| -> Vec<Vec<f64>> {
        columns
            .iter()
            .map(|column| {
                let kept = common.iter().enumerate().filter(|(at, _)| keep(*at));
                kept.filter_map(|(_, &row)| column.get(row).copied())
                    .collect()
            })
            .collect()
    };
    let estimates = of_columns(&take(&|_| true))?;
    let blocks: Vec<_> = serial::blocks(0..common.len()).collect();
    let without: Vec<Option<Vec<f64>>> = blocks
        .iter()
        .map(|block| of_columns(&take(&|at| !block.contains(&at))))
        .collect();
    let k = blocks.len() as f64;
    let interval = |of: &dyn Fn(&[f64]) -> f64| -> Option<Interval> {
        let centre = of(&estimates);
        let pseudo: Option<Vec<(usize, f64)>> = without
            .iter()
            .enumerate()
            .map(|(index, rest)| Some((index, k * centre - (k - 1.0) * of(rest.as_deref()?))))
            .collect();
        let half =
            serial::mean_uncertainty(&pseudo?, serial::block_rows(common.len()))?.half_width95();
        finite_interval([centre - half, centre + half])
    };
    let nth = |i: usize| move |all: &[f64]| all.get(i).copied().unwrap_or(f64::NAN);
    let mut order: Vec<usize> = (0..estimates.len()).collect();
    order.sort_by(|&a, &b| estimates[b].total_cmp(&estimates[a]));
    let clear = match order.as_slice() {
        [first, second, ..] => {
            let (first, second) = (*first, *second);
            interval(&move |all| nth(first)(all) - nth(second)(all))
                .filter(|[lower, _]| *lower > 0.0)
                .and_then(|_| labels.get(first))
        }
        _ => None,
    };
    let streams: Vec<ErrorVariance> = labels
        .iter()
        .zip(&estimates)
        .enumerate()
        .map(|(i, (label, &variance))| ErrorVariance {
            label: (*label).to_owned(),
            error_variance_w2: finite(variance),
            error_variance_ci95_w2: interval(&nth(i)),
            error_sd_w: (variance >= 0.0).then(|| variance.sqrt()).and_then(finite),
        })
        .collect();
    Some(NoisyOne {
        note: note(&streams, clear.copied()),
        noisiest: clear.map(|label| (*label).to_owned()),
        streams,
    })
}

/// The sentence that goes with the estimates.
fn note(streams: &[ErrorVariance], noisiest: Option<&str>) -> String {
    let negative: Vec<&str> = streams
        .iter()
        .filter(|s| s.error_variance_w2.is_some_and(|v| v < 0.0))
        .map(|s| s.label.as_str())
        .collect();
    let found = noisiest.map_or_else(
        || "no stream is clearly noisier than the next".to_owned(),
        |label| format!("{label} is the noisiest"),
    );
    if negative.is_empty() {
        format!("{found}, if the errors of the streams are independent of each other")
    } else {
        format!(
            "{found}, but the estimate for {} is negative: either its error is too small to tell \
             beside the others', or two streams share an error (a lag, a clock that is off, the \
             same smoothing) and these estimates are moot",
            negative.join(" and ")
        )
    }
}

const HAT: &str = "Grubbs 1948, JASA 43:243; 1973, Technometrics 15:53 (three-cornered hat)";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.noise.streams.label",
        label: "stream",
        definition: "Name of the stream.",
        csv: Some("noise_labels"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.noise.streams.error_variance_w2",
        label: "error variance",
        unit: "W²",
        decimals: 2,
        signed: true,
        definition: "Variance of one stream's own error, told from three or more streams without calling any of them true.",
        formula: "(v_AB + v_AC − v_BC)/2, v the variance of a pair's difference; for more streams by least squares",
        source: HAT,
        caveat: "Assumes independent errors. A negative value is shown as it comes out: the error is too small to tell, or two streams share one. Bias is invisible to it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.noise.streams.error_variance_ci95_w2",
        label: "error variance, 95 % CI",
        unit: "W²",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of that variance.",
        formula: "delete-one-block jackknife over 12 blocks or more",
        source: "Künsch 1989, Ann Stat 17:1217",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.noise.streams.error_sd_w",
        label: "error SD",
        unit: "W",
        decimals: 1,
        definition: "Its square root; null where the variance comes out negative.",
        formula: "√(error variance)",
        source: HAT,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.noise.noisiest",
        label: "noisiest",
        definition: "The stream whose error is clearly the largest; null where the limits of its lead over the next include zero.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.noise.note",
        label: "on the noise",
        short: "remark",
        definition: "What to make of it, in a sentence.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{self, assert_close, lcg};

    const VELOCITIES: [&[f64]; 3] = [
        vectors::GRUBBS_FOTOBALK,
        vectors::GRUBBS_COUNTER,
        vectors::GRUBBS_TERMA,
    ];

    #[test]
    fn grubbs_1973_velocities() {
        // Grubbs, Technometrics 1973;15:53 (widely copied transcription, original not seen);
        // recomputed beforehand with numpy.
        let columns: Vec<Vec<f64>> = VELOCITIES.iter().map(|c| c.to_vec()).collect();
        let estimates = of_columns(&columns).unwrap();
        assert_close(estimates[0], 0.0065151515, 1e-7);
        assert_close(estimates[1], 0.0525, 1e-9);
        assert_close(estimates[2], 0.2186363636, 1e-9);
        let pairs = [
            0.0,
            0.0590151515,
            0.2251515152,
            0.0590151515,
            0.0,
            0.2711363636,
        ];
        let pairs: Vec<f64> = pairs
            .into_iter()
            .chain([0.2251515152, 0.2711363636, 0.0])
            .collect();
        let from_pairs = error_variances(3, &pairs).unwrap();
        assert_close(from_pairs[2], estimates[2], 1e-9);
    }

    /// allantools 2024.6, `three_cornered_hat_phase` over Allan variances (tests/oracles/agreement.py).
    #[test]
    fn the_three_cornered_hat_of_allantools() {
        let (ab, bc, ca) = (6.660392113791, 15.96769461728, 12.6412277788);
        let found = error_variances(3, &[0.0, ab, ca, ab, 0.0, bc, ca, bc, 0.0]).unwrap();
        for (found, expected) in found
            .iter()
            .zip([1.666962637659, 4.993429476132, 10.97426514115])
        {
            assert_close(*found, expected, 1e-11);
        }
    }

    #[test]
    fn a_constructed_set_gives_the_recomputed_estimates() {
        // Four blocks of 1000 generator points; estimates recomputed beforehand with numpy.
        let u = lcg(4000);
        let stream = |from: usize, scale: f64, shift: f64| -> Vec<f64> {
            (0..1000)
                .map(|i| 200.0 + 100.0 * u[i] + scale * (u[from + i] - 0.5) + shift)
                .collect()
        };
        let (a, b, c) = (
            stream(1000, 4.0, 0.0),
            stream(2000, 8.0, 3.0),
            stream(3000, 12.0, -2.0),
        );
        let found = noisy_one(&["a", "b", "c"], &[&a, &b, &c]).unwrap();
        let variances: Vec<f64> = found
            .streams
            .iter()
            .map(|s| s.error_variance_w2.unwrap())
            .collect();
        assert_close(variances[0], 1.5407311171, 1e-9);
        assert_close(variances[1], 5.4001054731, 1e-9);
        assert_close(variances[2], 11.1481878217, 1e-9);
        assert_eq!(found.noisiest.as_deref(), Some("c"));
    }

    #[test]
    fn the_limits_cover_the_true_variance() {
        // 200 rides of 300 s with errors of variance 4/3, 16/3 and 12 W² (uniform errors).
        let u = lcg(200 * 1200);
        let mut covered = [0; 3];
        for ride in u.chunks(1200) {
            let stream = |at: usize, scale: f64| -> Vec<f64> {
                let error = |i: usize| scale * (ride[300 * at + i] - 0.5);
                (0..300)
                    .map(|i| 200.0 + 100.0 * ride[i] + error(i))
                    .collect()
            };
            let (a, b, c) = (stream(1, 4.0), stream(2, 8.0), stream(3, 12.0));
            let found = noisy_one(&["a", "b", "c"], &[&a, &b, &c]).unwrap();
            for (i, truth) in [16.0 / 12.0, 64.0 / 12.0, 12.0].into_iter().enumerate() {
                let [lower, upper] = found.streams[i].error_variance_ci95_w2.unwrap();
                covered[i] += usize::from(lower < truth && truth < upper);
            }
        }
        assert!(covered.iter().all(|c| *c >= 184), "{covered:?}");
    }

    #[test]
    fn a_shared_error_makes_a_negative_estimate_that_is_shown_and_explained() {
        let u = lcg(1800);
        let shared = |i: usize| 30.0 * (u[i] - 0.5);
        let a: Vec<f64> = (0..600).map(|i| 200.0 + shared(i)).collect();
        let b: Vec<f64> = (0..600)
            .map(|i| 200.0 - shared(i) + 4.0 * (u[600 + i] - 0.5))
            .collect();
        let c: Vec<f64> = (0..600)
            .map(|i| 200.0 + 4.0 * (u[1200 + i] - 0.5))
            .collect();
        let found = noisy_one(&["a", "b", "c"], &[&a, &b, &c]).unwrap();
        let quiet = &found.streams[2];
        assert!(quiet.error_variance_w2.unwrap() < 0.0);
        assert_eq!(quiet.error_sd_w, None);
        assert!(
            found.note.contains("negative") && found.note.contains('c'),
            "{}",
            found.note
        );
    }

    #[test]
    fn two_streams_or_no_common_second_cannot_tell() {
        let a = [1.0, 2.0, 3.0];
        assert_eq!(noisy_one(&["a", "b"], &[&a, &a]), None);
        let none = [f64::NAN; 3];
        assert_eq!(noisy_one(&["a", "b", "c"], &[&a, &a, &none]), None);
    }
}
