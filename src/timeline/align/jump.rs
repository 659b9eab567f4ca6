//! Where one of two clocks jumps inside a ride, or runs so fast that no single lag holds for long.
//!
//! A small jump (up to the reach of the windows) shows as a step in the windows' offsets. After a
//! greater one the windows match nowhere near the line: the run of windows at either end that says
//! least for the line is correlated alone, at every lag. If it matches better elsewhere, either
//! a steeper line carries both parts, or a clock has jumped between them.

use std::ops::Range;

use super::gain::{Gain, MIN_PAIRS, MOST_RATE, RIVAL_GAIN};
use super::line::{Line, Point, line_with_slope, theil_sen, weighted_median};
use super::signal::{NORMAL_MEDIAN, Signal};
use super::windows::{Curve, windows_over};
use crate::timeline::delay::{Correlation, Correlator, Spectra};

/// Fewest windows on either side of a jump.
const SIDE: usize = 4;
/// Smallest jump told of, s: what correlation of whole seconds makes of a drift stays below.
const LEAST_S: f64 = 0.5;
/// A jump among offsets is this many standard errors.
const JUMP_Z: f64 = 6.0;
/// Scatter of the windows' offsets that is always there, s.
const FLOOR_S: f64 = 0.05;
/// A window says little for the line below this share of what the better ones say.
const LITTLE: f64 = 0.3;
/// How far from the line a window's peak still speaks for it, s.
const NEAR_S: f64 = 1.5;
/// Windows by which the border of a silent part may be missed.
const BORDER: usize = 2;
/// Lags around a line that are looked at, samples.
const AROUND: i64 = 3;
/// A steeper line must say this share of what two levels say together.
const STEEP_SHARE: f64 = 0.8;

/// A jump of one clock against another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Jump {
    /// When, on the first recorder's time, s.
    pub at_s: f64,
    /// By how much the second recorder's time moves ahead of the first's, s.
    pub by_s: f64,
}

/// A jump within the reach of the windows: the split of the offsets into two lines of one slope that
/// leaves least, where their distance is beyond doubt.
pub(super) fn among(points: &[Point]) -> Option<Jump> {
    let n = points.len();
    let splits = SIDE..(n + 1).checked_sub(SIDE)?.max(SIDE);
    let split = splits
        .filter_map(|split| Some((split, Split::at(points, split)?)))
        .min_by(|(_, x), (_, y)| x.cost.total_cmp(&y.cost));
    let (split, found) = split?;
    let sure = found.by_s.abs() > JUMP_Z * found.sd_s / independent_of_line(points, split).sqrt();
    (sure && found.by_s.abs() >= LEAST_S).then_some(Jump {
        at_s: found.at_s,
        by_s: found.by_s,
    })
}

struct Split {
    at_s: f64,
    by_s: f64,
    /// What is left, in all, over its uncertainty.
    cost: f64,
    /// Robust standard deviation of what is left, s.
    sd_s: f64,
}

impl Split {
    fn at(points: &[Point], split: usize) -> Option<Self> {
        let sided: Vec<Point> = (0..)
            .zip(points)
            .map(|(i, p)| Point {
                set: usize::from(i >= split),
                ..*p
            })
            .collect();
        let slope = theil_sen(&sided)?;
        let lines = [
            line_with_slope(&sided, 0, slope)?,
            line_with_slope(&sided, 1, slope)?,
        ];
        let at_s = 0.5 * (points[split - 1].at_s + points[split].at_s);
        let left = |p: &Point| (p.offset_s - lines[p.set].at(p.at_s)).abs();
        let mut sizes: Vec<(f64, f64)> = sided.iter().map(|p| (left(p), 1.0)).collect();
        Some(Self {
            at_s,
            by_s: lines[1].at(at_s) - lines[0].at(at_s),
            cost: sided.iter().map(|p| left(p) / p.sd_s).sum(),
            sd_s: (weighted_median(&mut sizes)? / NORMAL_MEDIAN).max(FLOOR_S),
        })
    }
}

/// `Σ h²` of what a straight line leaves of a step at `split`: the variance of the step's size is
/// that of one offset over it.
fn independent_of_line(points: &[Point], split: usize) -> f64 {
    let n = points.len() as f64;
    let mean_s = points.iter().map(|p| p.at_s).sum::<f64>() / n;
    let mean_h = (points.len() - split) as f64 / n;
    let (mut xx, mut xh, mut hh) = (0.0, 0.0, 0.0);
    for (i, p) in points.iter().enumerate() {
        let (x, h) = (p.at_s - mean_s, f64::from(u8::from(i >= split)) - mean_h);
        xx += x * x;
        xh += x * h;
        hh += h * h;
    }
    if xx > 0.0 { hh - xh * xh / xx } else { 0.0 }
}

/// What explains the part of a ride that a line does not.
pub(super) enum Rest {
    /// One of the clocks jumps.
    Jump(Jump),
    /// A steeper line carries both parts, lags by the first recorder's time.
    Steeper(Line),
}

/// Two signals, and the line that was found through most of their windows.
pub(super) struct Lined<'a> {
    pub a: &'a Signal,
    pub b: &'a Signal,
    /// Lags by the first recorder's time.
    pub line: Line,
    /// Samples a window.
    pub width: usize,
    pub gain: &'a Gain,
}

/// A run of windows at the start or the end of the ride that says little for the line.
struct Part {
    windows: Range<usize>,
    /// Its samples.
    from: usize,
    to: usize,
    /// Whether it is the ride's end.
    later: bool,
}

impl Part {
    fn middle(&self) -> f64 {
        0.5 * (self.from + self.to) as f64
    }
}

/// Looks for what explains the windows at either end of the ride that do not match along the line.
/// `curves` are the windows around it.
pub(super) fn unexplained(
    correlator: &mut Correlator,
    scratch: &mut Correlation,
    lined: &Lined,
    spectra_b: Option<&Spectra>,
    curves: &[Option<Curve>],
) -> Option<Rest> {
    let says = lined.says(lined.line, curves);
    let windows = silent_end(&says)?;
    let part = Part {
        from: windows.start * lined.width,
        to: (windows.end * lined.width).min(lined.a.values.len()),
        later: windows.start > 0,
        windows,
    };
    let (lag, gained) = lined.matched_alone(correlator, scratch, spectra_b?, &part)?;
    if !lined.goes_on(&part, lag)? {
        return None;
    }
    let steeper = lined.steeper(&part, lag, &says);
    let level: f64 = says.iter().flatten().sum();
    let gain_of = |line: Line| -> f64 {
        let along = |i: f64| line.at(lined.a.start_s + i).round() as i64;
        let (x, y) = (&lined.a.edges.masked, &lined.b.edges.masked);
        let curves = windows_over(x, y, lined.width, AROUND, &along);
        lined.says(line, &curves).into_iter().flatten().sum()
    };
    if steeper.slope.abs() <= MOST_RATE {
        let gain = gain_of(steeper);
        if gain > level + RIVAL_GAIN && gain > STEEP_SHARE * (level + gained) {
            return Some(Rest::Steeper(steeper));
        }
    }
    Some(Rest::Jump(lined.jump(&part, lag)))
}

impl Lined<'_> {
    /// The line's lag at an entry of the first series.
    fn near(&self, i: f64) -> f64 {
        self.line.at(self.a.start_s + i)
    }

    /// What each window says for a line: its gain near it.
    fn says(&self, line: Line, curves: &[Option<Curve>]) -> Vec<Option<f64>> {
        let near = |i: f64| line.at(self.a.start_s + i);
        let gain = |curve: &Curve| {
            let (r, pairs) = curve.best_near(&near, NEAR_S);
            self.gain.of(r, f64::from(pairs))
        };
        curves
            .iter()
            .map(|curve| curve.as_ref().map(gain))
            .collect()
    }

    /// The lag at which the part alone matches far better than along the line, and its gain there.
    fn matched_alone(
        &self,
        correlator: &mut Correlator,
        scratch: &mut Correlation,
        spectra_b: &Spectra,
        part: &Part,
    ) -> Option<(f64, f64)> {
        let edges = &self.a.edges.masked;
        let mut inside = vec![f64::NAN; edges.len()];
        for i in (part.from..part.to).filter(|i| edges.present[*i] > 0.0) {
            inside[i] = edges.value[i];
        }
        let mut spectra = Spectra::default();
        if !correlator.spectra(&inside, &mut spectra) {
            return None;
        }
        let lags = Correlator::all_lags(&spectra, spectra_b);
        correlator.correlate(&spectra, spectra_b, lags, MIN_PAIRS, scratch);
        let gain = |r: f64, pairs: u32| self.gain.of(r, f64::from(pairs));
        let peak = *scratch.peaks(1, 0, gain).first()?;
        let near = self.near(part.middle());
        let entry = near.round() as i64 - scratch.first_lag;
        let on_line = (entry - AROUND..=entry + AROUND).filter_map(|entry| {
            let entry = usize::try_from(entry).ok()?;
            Some(gain(*scratch.r.get(entry)?, *scratch.pairs.get(entry)?))
        });
        let needed = self.gain.needed(scratch.r.len()) + RIVAL_GAIN + on_line.fold(0.0, f64::max);
        let gained = gain(peak.r, peak.pairs);
        (gained >= needed && (peak.lag - near).abs() >= NEAR_S).then_some((peak.lag, gained))
    }

    /// Whether the part, at `lag`, leaves alone what the rest of the ride matches: time goes on. A part
    /// for which the other side has nothing would find a likeness there, as repeated intervals are
    /// like each other. `None` where either holds nothing.
    fn goes_on(&self, part: &Part, lag: f64) -> Option<bool> {
        let present = |i: &usize| self.a.edges.masked.present[*i] > 0.0;
        let slack = (BORDER * self.width) as f64;
        let on_line = |i: usize| i as f64 + self.near(i as f64);
        let (mut within, rest) = (part.from..part.to, part.to..self.a.values.len());
        Some(if part.later {
            let last = (0..part.from).rev().find(present)?;
            within.find(present)? as f64 + lag + slack >= on_line(last)
        } else {
            let first = { rest }.find(present)?;
            within.rev().find(present)? as f64 + lag <= on_line(first) + slack
        })
    }

    /// The line through the middle of what the line explains and that of the part.
    fn steeper(&self, part: &Part, lag: f64, says: &[Option<f64>]) -> Line {
        let (mut weight, mut moment) = (f64::MIN_POSITIVE, 0.0);
        for (window, says) in says.iter().enumerate() {
            if let (false, Some(says)) = (part.windows.contains(&window), says) {
                weight += says;
                moment += says * (window as f64 + 0.5) * self.width as f64;
            }
        }
        let centre = moment / weight;
        Line {
            at_s: self.a.start_s + centre,
            offset_s: self.near(centre),
            slope: (lag - self.near(centre)) / (part.middle() - centre),
        }
    }

    fn jump(&self, part: &Part, lag: f64) -> Jump {
        let border = if part.later { part.from } else { part.to };
        let by_s = lag - self.near(part.middle());
        let (mut lags, mut by) = ([self.near(border as f64), lag], by_s);
        if !part.later {
            lags.reverse();
            by = -by_s;
        }
        let [x, y] = [self.a, self.b].map(|signal| signal.edges.masked.value.as_slice());
        let reach = BORDER * self.width;
        let around = border.saturating_sub(reach)..(border + reach).min(x.len());
        let at = change((x, y), lags.map(|lag| lag.round() as i64), around);
        Jump {
            at_s: self.a.start_s + at as f64,
            by_s: by,
        }
    }
}

/// The run of windows at the start or the end that says least for the line, if it is silent enough:
/// the greatest sum of what it falls short of [`LITTLE`].
fn silent_end(says: &[Option<f64>]) -> Option<Range<usize>> {
    let mut gains: Vec<f64> = says.iter().flatten().copied().collect();
    if gains.len() < 2 * SIDE {
        return None;
    }
    let upper = gains.len() * 3 / 4;
    let little = LITTLE * *gains.select_nth_unstable_by(upper, f64::total_cmp).1;
    // After a great jump the other side has nothing along the line.
    let short = |i: usize| little - says[i].unwrap_or(0.0);
    let best = |order: &mut dyn Iterator<Item = usize>| {
        let (mut sum, mut most, mut count, mut best) = (0.0, 0.0, 0, 0);
        for i in order {
            sum += short(i);
            count += 1;
            if sum > most {
                (most, best) = (sum, count);
            }
        }
        (most, best)
    };
    let n = says.len();
    let (first, last) = (best(&mut (0..n)), best(&mut (0..n).rev()));
    let (most, part) = if first.0 > last.0 {
        (first.0, 0..first.1)
    } else {
        (last.0, n - last.1..n)
    };
    (most > (SIDE - 1) as f64 * little && part.len() < n).then_some(part)
}

/// The entry of `a` within `around` from which on the second lag explains `b` better than the first.
fn change((a, b): (&[f64], &[f64]), lags: [i64; 2], around: Range<usize>) -> usize {
    let unlike = |i: usize, lag: i64| {
        let j = usize::try_from(i as i64 + lag).ok();
        j.and_then(|j| b.get(j)).map_or(0.0, |b| (a[i] - b).powi(2))
    };
    let (mut sum, mut least, mut best) = (0.0, 0.0, around.start);
    for i in around {
        sum += unlike(i, lags[0]) - unlike(i, lags[1]);
        if sum < least {
            (least, best) = (sum, i + 1);
        }
    }
    best
}
