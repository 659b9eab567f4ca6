//! The robust line through windowed offsets, and its uncertainty by resampling the windows.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::signal::NORMAL_MEDIAN;

/// Resamples drawn for a confidence interval.
const RESAMPLES: usize = 400;
/// The same windows always give the same interval.
const SEED: u64 = 0x7275_6574;
/// A window further from the line than this many of the windows' own robust spreads is left out
/// of the resampling.
const OUTLIER_SPREADS: f64 = 4.0;

/// An offset measured in one window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    /// Middle of the window, s.
    pub at_s: f64,
    /// The offset there, s.
    pub offset_s: f64,
    /// Its standard uncertainty, s.
    pub sd_s: f64,
    /// Points of different sets may differ by a constant: another channel has another delay.
    pub set: usize,
}

/// `offset(t) = offset_s + slope · (t − at_s)`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Line {
    pub at_s: f64,
    pub offset_s: f64,
    pub slope: f64,
}

impl Line {
    pub fn at(self, t_s: f64) -> f64 {
        self.offset_s + self.slope * (t_s - self.at_s)
    }

    /// The time that the line carries to `t_s`.
    pub fn inverse(self, t_s: f64) -> f64 {
        self.at_s + (t_s - self.at_s - self.offset_s) / (1.0 + self.slope)
    }
}

/// What resampling the windows says of a [`Line`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spread {
    /// 95 % interval of the offset at the line's middle, relative to it, s.
    pub offset_s: [f64; 2],
    /// Standard error of the slope.
    pub slope_se: f64,
    /// The line by weighted least squares through the windows that are no outliers.
    pub line: Line,
}

/// The median of `values` (value, weight), or `None` without weight. Sorts them.
pub(super) fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_unstable_by(|x, y| x.0.total_cmp(&y.0));
    let half = 0.5 * values.iter().map(|v| v.1).sum::<f64>();
    let mut below = 0.0;
    for (i, (value, weight)) in values.iter().enumerate() {
        below += weight;
        if below > half {
            return Some(*value);
        }
        if below == half && half > 0.0 {
            // Half of the weight on each side: the middle between this value and the next.
            let next = values.get(i + 1).map_or(*value, |v| v.0);
            return Some(0.5 * (value + next));
        }
    }
    None
}

/// The median of the slopes through all pairs of points of one set (Theil 1950, Sen 1968), each
/// weighted by the inverse of its standard uncertainty. `None` without a pair.
pub(super) fn theil_sen(points: &[Point]) -> Option<f64> {
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (i, p) in points.iter().enumerate() {
        for q in &points[i + 1..] {
            let dt = q.at_s - p.at_s;
            if p.set == q.set && dt != 0.0 {
                let weight = dt.abs() / p.sd_s.hypot(q.sd_s);
                slopes.push(((q.offset_s - p.offset_s) / dt, weight));
            }
        }
    }
    weighted_median(&mut slopes)
}

/// The line with a given slope: the weighted median of what it leaves, through the weighted
/// middle of the points of set `set`.
pub(super) fn line_with_slope(points: &[Point], set: usize, slope: f64) -> Option<Line> {
    let own = || points.iter().filter(|p| p.set == set);
    let total: f64 = own().map(weight).sum();
    if total <= 0.0 {
        return None;
    }
    let at_s = own().map(|p| weight(p) * p.at_s).sum::<f64>() / total;
    let mut rest: Vec<(f64, f64)> = own()
        .map(|p| (p.offset_s - slope * (p.at_s - at_s), 1.0 / p.sd_s))
        .collect();
    Some(Line {
        at_s,
        offset_s: weighted_median(&mut rest)?,
        slope,
    })
}

/// Resamples the windows. `set` is the one whose offset is wanted; the slope is common to all.
/// `None` with fewer than three windows in `set`.
pub(super) fn spread(points: &[Point], set: usize, slope: f64) -> Option<Spread> {
    let sets = points.iter().map(|p| p.set + 1).max()?;
    let mut inliers: Vec<Vec<Point>> = vec![Vec::new(); sets];
    for (s, kept) in inliers.iter_mut().enumerate() {
        let Some(line) = line_with_slope(points, s, slope) else {
            continue;
        };
        let scaled = |p: &Point| (p.offset_s - line.at(p.at_s)).abs() / p.sd_s;
        let own: Vec<&Point> = points.iter().filter(|p| p.set == s).collect();
        let mut sizes: Vec<(f64, f64)> = own.iter().map(|p| (scaled(p), 1.0)).collect();
        let spread = weighted_median(&mut sizes).unwrap_or(0.0) / NORMAL_MEDIAN;
        let limit = OUTLIER_SPREADS * spread.max(0.25);
        kept.extend(own.into_iter().filter(|p| scaled(p) <= limit));
    }
    if inliers.get(set).is_none_or(|own| own.len() < 3) {
        return None;
    }
    let middle = line_with_slope(points, set, slope)?.at_s;
    let (offset, whole) = least_squares(&inliers, set, middle)?;
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut offsets = Vec::with_capacity(RESAMPLES);
    let mut slopes = Vec::with_capacity(RESAMPLES);
    let mut drawn: Vec<Vec<Point>> = inliers.clone();
    for _ in 0..RESAMPLES {
        for (own, from) in drawn.iter_mut().zip(&inliers) {
            for point in own.iter_mut() {
                *point = from[rng.random_range(0..from.len())];
            }
        }
        if let Some((o, s)) = least_squares(&drawn, set, middle) {
            offsets.push(o - offset);
            slopes.push(s);
        }
    }
    if offsets.len() < RESAMPLES / 2 {
        return None;
    }
    offsets.sort_unstable_by(f64::total_cmp);
    let quantile = |p: f64| offsets[((offsets.len() - 1) as f64 * p).round() as usize];
    let mean = slopes.iter().sum::<f64>() / slopes.len() as f64;
    let variance =
        slopes.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (slopes.len() - 1) as f64;
    let own = inliers.get(set).into_iter().flatten();
    let dof = degrees_of_freedom(own.map(weight));
    let wider = own_line(dof) * student(dof);
    let slope_wider = own_line(degrees_of_freedom(leverages(&inliers)));
    Some(Spread {
        offset_s: [0.025, 0.975].map(|p| wider * quantile(p)),
        slope_se: slope_wider * variance.sqrt(),
        line: Line {
            at_s: middle,
            offset_s: offset,
            slope: whole,
        },
    })
}

fn weight(p: &Point) -> f64 {
    1.0 / (p.sd_s * p.sd_s)
}

/// What each point weighs in the slope.
fn leverages(sets: &[Vec<Point>]) -> impl Iterator<Item = f64> {
    sets.iter().flat_map(|points| {
        let total: f64 = points.iter().map(weight).sum();
        let middle = points.iter().map(|p| weight(p) * p.at_s).sum::<f64>() / total;
        points
            .iter()
            .map(move |p| weight(p) * (p.at_s - middle).powi(2))
    })
}

/// Degrees of freedom of a line through points of these weights: two fewer than the number of equal
/// weights that weigh as much, `(Σw)²/Σw²`.
fn degrees_of_freedom(weights: impl Iterator<Item = f64>) -> f64 {
    let (sum, squares) = weights.fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
    let equal: f64 = if squares > 0.0 {
        sum * sum / squares
    } else {
        0.0
    };
    (equal - 2.0).max(1.0)
}

/// Resampled points scatter about a line of their own, by `√((n − 2)/n)` too little.
fn own_line(dof: f64) -> f64 {
    ((dof + 2.0) / dof).sqrt()
}

/// The quantiles of few resampled points are about a normal's where Student's are due.
fn student(dof: f64) -> f64 {
    let t = StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |t| t.inverse_cdf(0.975));
    t / 1.959_964
}

/// Weighted least squares with one slope and an offset a set: the offset of `set` at `at_s`, and
/// the slope.
fn least_squares(sets: &[Vec<Point>], set: usize, at_s: f64) -> Option<(f64, f64)> {
    let (mut product, mut square) = (0.0, 0.0);
    let mut middle = None;
    for (s, points) in sets.iter().enumerate() {
        let (mut w, mut wt, mut wv) = (0.0, 0.0, 0.0);
        for p in points {
            let weight = weight(p);
            w += weight;
            wt += weight * p.at_s;
            wv += weight * p.offset_s;
        }
        if w <= 0.0 {
            continue;
        }
        let (t, v) = (wt / w, wv / w);
        for p in points {
            let weight = weight(p);
            product += weight * (p.at_s - t) * (p.offset_s - v);
            square += weight * (p.at_s - t) * (p.at_s - t);
        }
        if s == set {
            middle = Some((t, v));
        }
    }
    let (t, v) = middle?;
    let slope = if square > 0.0 { product / square } else { 0.0 };
    Some((v + slope * (at_s - t), slope))
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    fn points(t: &[f64], v: &[f64]) -> Vec<Point> {
        t.iter()
            .zip(v)
            .map(|(&at_s, &offset_s)| Point {
                at_s,
                offset_s,
                sd_s: 1.0,
                set: 0,
            })
            .collect()
    }

    /// Sen 1968 (J. Am. Stat. Assoc. 63:1379): slope 4, median of what it leaves 6. Published; with
    /// equal uncertainties the pairs weigh by their distance in time, and the median stays.
    #[test]
    fn sens_example_of_1968() {
        let found = points(
            &[1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0],
            &[9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0],
        );
        let slope = theil_sen(&found).unwrap();
        assert!((slope - 4.0).abs() < 1e-12, "{slope}");
        let line = line_with_slope(&found, 0, slope).unwrap();
        assert!((line.at(0.0) - 6.0).abs() < 1e-12, "{line:?}");
    }

    #[test]
    fn a_line_with_outliers_keeps_its_slope() {
        let t: Vec<f64> = (0..21).map(f64::from).collect();
        let mut v: Vec<f64> = t.iter().map(|t| 3.0 + 0.25 * t).collect();
        v[4] = 90.0;
        v[13] = -40.0;
        v[20] = 60.0;
        let points = points(&t, &v);
        let slope = theil_sen(&points).unwrap();
        assert!((slope - 0.25).abs() < 1e-12);
        let line = line_with_slope(&points, 0, slope).unwrap();
        assert!((line.at(0.0) - 3.0).abs() < 1e-12);
        assert!((line.at_s - 10.0).abs() < 1e-12);
    }

    #[test]
    fn sets_share_the_slope_but_not_the_offset() {
        let t: Vec<f64> = (0..10).map(f64::from).collect();
        let low: Vec<f64> = t.iter().map(|t| 1.0 + 0.5 * t).collect();
        let high: Vec<f64> = t.iter().map(|t| 9.0 + 0.5 * t).collect();
        let mut all = points(&t, &low);
        all.extend(points(&t, &high).into_iter().map(|p| Point {
            set: 1,
            at_s: p.at_s + 100.0,
            ..p
        }));
        assert!((theil_sen(&all).unwrap() - 0.5).abs() < 1e-12);
        assert!((line_with_slope(&all, 1, 0.5).unwrap().at(100.0) - 9.0).abs() < 1e-12);
        let spread = spread(&all, 0, 0.5).unwrap();
        assert!((spread.line.slope - 0.5).abs() < 1e-12 && spread.slope_se < 1e-12);
    }

    #[test]
    fn the_interval_covers_the_truth_about_as_often_as_it_says() {
        let t: Vec<f64> = (0..30).map(|i| 60.0 * f64::from(i)).collect();
        let (mut covered, mut slopes) = (0_u32, 0.0);
        let runs = 400;
        for seed in 0..runs {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let v: Vec<f64> = t
                .iter()
                .map(|t| {
                    let noise: f64 = StandardNormal.sample(&mut rng);
                    2.0 + 1e-4 * t + 0.1 * noise
                })
                .collect();
            let points: Vec<Point> = points(&t, &v)
                .into_iter()
                .map(|p| Point { sd_s: 0.1, ..p })
                .collect();
            let spread = spread(&points, 0, theil_sen(&points).unwrap()).unwrap();
            slopes += spread.slope_se;
            let error = spread.line.offset_s - (2.0 + 1e-4 * spread.line.at_s);
            covered += u32::from(spread.offset_s[0] <= -error && -error <= spread.offset_s[1]);
        }
        let share = f64::from(covered) / runs as f64;
        assert!((0.92..0.98).contains(&share), "{share}");
        // SD of a least-squares slope: σ / √Σ(t − t̄)².
        let expected = 0.1 / (60.0 * (30.0_f64.powi(3) - 30.0).sqrt() / 12_f64.sqrt());
        assert!((slopes / runs as f64 / expected - 1.0).abs() < 0.12);
    }

    #[test]
    fn too_little_gives_nothing() {
        assert_eq!(theil_sen(&[]), None);
        assert_eq!(theil_sen(&points(&[1.0], &[1.0])), None);
        assert_eq!(spread(&points(&[1.0, 2.0], &[1.0, 2.0]), 0, 1.0), None);
        assert_eq!(weighted_median(&mut []), None);
        assert_eq!(weighted_median(&mut [(1.0, 1.0), (3.0, 1.0)]), Some(2.0));
    }
}
