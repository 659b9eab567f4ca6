//! Why a sprint's peak is short: the gain, dead time, first-order lag and ceiling that best turn the
//! reference into the source under test.
//!
//! Model: `y(t) = min(C, g · L_τ[r](t − d))`, with `L_τ` the exact response of a first-order lag
//! ([`crate::stats::first_order`]), fitted by least squares over the seconds both report. For each pair
//! (d, τ) the best gain and ceiling follow in closed form: with the responses sorted, some number
//! of the highest is clipped; the unclipped give the gain, the clipped the ceiling, and the split
//! with the least squares wins. The pair itself is searched on a grid, then by shrinking steps.
//!
//! Not every source answers so: many average. Two more families are fitted in the same way: a moving
//! mean of `N` s in place of the lag ([`crate::stats::first_order::averaged`]), and a lag followed by a
//! moving mean, which holds both as special cases. The ceiling of a source that averages clips what is
//! averaged, since it would be hidden else. The lag model is said not to fit where the third
//! leaves less by F > 10 (one and n − 5 degrees of freedom); then the moving mean is taken where it
//! fits, by the same rule, and else the lag is reported without limits. Rehearsed (study `kinds`, seeds
//! 840001 to 840300), it speaks in 2 of 575 sprints of first-order sources, and of 575 of sources that
//! average over 3 to 6 s it names 559, whose lengths the limits cover in 98 %.
//!
//! The reference is refined to four values a step first ([`refined`]), since the shape between the
//! samples matters to a lag of a second.
//!
//! A ceiling is kept only where at least two seconds are clipped, it lies 2 % or more below the
//! unclipped peak, it lowers the residual sum of squares by F > 10 (one and n − 4 degrees of freedom),
//! and the clipped seconds vary by less than half of what the unclipped response would: a real ceiling
//! is flat. The limits of the time constant are those of its profile: the values at which the residual
//! sum of squares, dead time and gain being fitted anew, stays below `1 + F(0.95; 1, n − p)/(n − p)`
//! times the least (from memory), widened by 0.15 s: the references have a lag of their own, taken to
//! be no more than that, from which the data cannot tell the source's.

use super::sprint_limits::{Fitted, Limits, limits};
use crate::analysis::kinds::sprint::ResponseShape;
use crate::stats::Interval;
use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};
use crate::stats::{Sample, f_quantile};

/// What the peak lacks, W, by cause; negative where a cause adds to it. Together they make the
/// shortfall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Losses {
    /// By the lag.
    pub lag: f64,
    /// By the gain.
    pub gain: f64,
    /// By the ceiling.
    pub ceiling: f64,
    /// By neither.
    pub unexplained: f64,
}

/// A part this small beside the shortfall prints as 0 %, whatever its sign.
const PRINTS_AS_ZERO: f64 = 0.005;

impl Losses {
    fn parts(&self) -> [f64; 4] {
        [self.lag, self.gain, self.ceiling, self.unexplained]
    }

    /// By lag, gain, ceiling and neither, % of the shortfall; `None` where one of them adds to the
    /// peak, since parts of different signs are no shares.
    pub fn shares_percent(&self) -> Option<[f64; 4]> {
        let parts = self.parts();
        let shortfall: f64 = parts.iter().sum();
        let loses = |loss: &f64| *loss >= -PRINTS_AS_ZERO * shortfall;
        let share = |loss: f64| 100.0 * loss / shortfall;
        parts.iter().all(loses).then(|| parts.map(share))
    }

    /// What is lost, without what a cause adds, W.
    pub fn lost(&self) -> f64 {
        self.parts().iter().map(|loss| loss.max(0.0)).sum()
    }
}

/// A fitted response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Which shape fits.
    pub shape: ResponseShape,
    /// By how much the wider model fits better than the lag: F of one and n − 5 degrees of freedom.
    pub lack_of_fit_f: f64,
    /// Dead time, time constant and moving mean: of the lag where neither shape fits.
    pub answer: Answer,
    /// Gain.
    pub gain: f64,
    /// Ceiling, W.
    pub ceiling_w: Option<f64>,
    /// Root mean square residual, W.
    pub rms_w: f64,
    /// Seconds fitted.
    pub n: usize,
    /// 95 % limits of the time constant, s, or of the length of a moving mean; the ends of the search
    /// where the data set none.
    pub spread_ci95_s: Interval,
    /// 95 % limits of the other unknowns, where the data settle them.
    pub limits: Option<Limits>,
}

/// Dead times searched, s.
const DELAYS_S: (f64, f64) = (-3.0, 6.0);
/// Longest time constant searched, s.
const LONGEST_S: f64 = 8.0;
/// Longest moving mean searched, s.
const LONGEST_MEAN_S: f64 = 10.0;
/// Largest lag that the references are taken to have, s.
const REFERENCE_LAG_S: f64 = 0.15;
/// Variance of rounding to whole watts, W².
const ROUNDING_W2: f64 = 1.0 / 12.0;
/// F above which a ceiling is believed.
const CEILING_F: f64 = 10.0;
/// Share of itself that a clip moves by for each second that the times move in the search.
const CLIP_REACH: f64 = 0.1;
/// F above which a shape is said not to fit.
const MISFIT_F: f64 = 10.0;

/// Fits the model. `reference` must be present throughout; `under_test` may miss values (NaN) and
/// is fitted on `rows` only, so that rows before them can settle the lag.
///
/// `None` with fewer than eight seconds to fit, or where the reference never rises above zero.
pub fn fit(
    reference: &[f64],
    under_test: &[f64],
    rows: std::ops::Range<usize>,
    step_s: f64,
) -> Option<Fit> {
    let fine = refined(reference, PARTS);
    let problem = Problem {
        fine: &fine,
        under_test,
        rows,
        step_s,
    };
    let lag = problem.best(Family::Lag, &[])?;
    let mean = problem.mean();
    let starts: Vec<Answer> = [Some(lag), mean]
        .into_iter()
        .flatten()
        // One unknown more than the lag, not two: without the clip.
        .map(|candidate| Answer {
            clip_w: f64::INFINITY,
            ..candidate.answer
        })
        .collect();
    let wider = problem.best(Family::Both, &starts).unwrap_or(lag);
    let lack_of_fit_f = lag.lack_against(&wider);
    let mean = mean.filter(|mean| mean.lack_against(&wider) <= MISFIT_F);
    let (shape, chosen) = match mean {
        _ if lack_of_fit_f <= MISFIT_F => (ResponseShape::FirstOrderLag, lag),
        Some(mean) => (ResponseShape::MovingMean, mean),
        None => (ResponseShape::Neither, lag),
    };
    Some(problem.finish(chosen, shape, lack_of_fit_f))
}

struct Problem<'a> {
    fine: &'a [f64],
    under_test: &'a [f64],
    rows: std::ops::Range<usize>,
    step_s: f64,
}

/// The shapes that an answer is sought among.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Family {
    Lag,
    Mean,
    /// A mean of what was clipped before.
    ClippedMean,
    Both,
}

#[derive(Clone, Copy, Debug)]
struct Candidate {
    answer: Answer,
    gain: f64,
    ceiling_w: Option<f64>,
    clipped: usize,
    rss: f64,
    n: usize,
}

impl Family {
    /// Directions `(dead time, time constant, clip, moving mean)` to search along: dead time trades
    /// against the others, so along those valleys too.
    fn directions(self) -> &'static [[f64; 4]] {
        const LAG: &[[f64; 4]] = &[
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 1.0, 0.0, 0.0],
            [1.0, -1.0, 0.0, 0.0],
            [1.0, 1.0, 0.0, 0.0],
        ];
        const MEAN: &[[f64; 4]] = &[
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 0.0, 0.0, 1.0],
            [0.5, 0.0, 0.0, -1.0],
            [0.5, 0.0, 0.0, 1.0],
        ];
        const CLIPPED_MEAN: &[[f64; 4]] = &[
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 0.0, 0.0, 1.0],
            [0.5, 0.0, 0.0, -1.0],
            [0.0, 0.0, 1.0, 0.0],
            [0.0, 0.0, 1.0, 1.0],
            [0.5, 0.0, -1.0, -1.0],
        ];
        const BOTH: &[[f64; 4]] = &[
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 1.0, 0.0, 0.0],
            [1.0, -1.0, 0.0, 0.0],
            [0.0, 0.0, 0.0, 1.0],
            [0.5, 0.0, 0.0, -1.0],
            [0.0, 0.5, 0.0, -1.0],
            [0.5, 0.5, 0.0, -2.0],
        ];
        match self {
            Self::Lag => LAG,
            Self::Mean => MEAN,
            Self::ClippedMean => CLIPPED_MEAN,
            Self::Both => BOTH,
        }
    }
}

impl Problem<'_> {
    /// Response and observation of each second that can be fitted.
    fn pairs(&self, model: Answer) -> Vec<(f64, f64)> {
        answer(self.fine, self.step_s, model)
            .into_iter()
            .zip(self.under_test)
            .take(self.rows.end)
            .skip(self.rows.start)
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .map(|(x, &y)| (x, y))
            .collect()
    }

    /// The most seconds any candidate can fit.
    fn wanted(&self) -> usize {
        let rows = self
            .under_test
            .iter()
            .take(self.rows.end)
            .skip(self.rows.start);
        rows.filter(|y| y.is_finite()).count()
    }

    fn evaluate(&self, answer: Answer, with_ceiling: bool) -> Option<Candidate> {
        let mut pairs = self.pairs(answer);
        // A dead time that reaches outside the reference fits fewer seconds, which must not win.
        if pairs.len() < 8 || pairs.len() + 1 < self.wanted() {
            return None;
        }
        pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let n = pairs.len();
        let least = if with_ceiling { n / 2 } else { n };
        let mut best: Option<Candidate> = None;
        let totals = pairs
            .iter()
            .fold((0.0, 0.0), |(s, q), (_, y)| (s + y, q + y * y));
        let (mut xx, mut xy, mut yy, mut y_sum) = (0.0, 0.0, 0.0, 0.0);
        for (k, &(x, y)) in pairs.iter().enumerate() {
            xx += x * x;
            xy += x * y;
            yy += y * y;
            y_sum += y;
            let clipped = n - (k + 1);
            if k + 1 < least || xx <= 0.0 {
                continue;
            }
            let gain = xy / xx;
            let mut rss = yy - gain * xy;
            let mut ceiling_w = None;
            if clipped > 0 {
                let ceiling = (totals.0 - y_sum) / clipped as f64;
                // The split has to be the one that the ceiling makes.
                if gain * x > ceiling || gain * pairs[k + 1].0 < ceiling {
                    continue;
                }
                rss += (totals.1 - yy) - ceiling * (totals.0 - y_sum);
                ceiling_w = Some(ceiling);
            }
            let candidate = Candidate {
                answer,
                gain,
                ceiling_w,
                clipped,
                rss: rss.max(0.0),
                n,
            };
            if gain > 0.0 && best.is_none_or(|best| candidate.rss < best.rss) {
                best = Some(candidate);
            }
        }
        best
    }

    /// The best of a family, with a ceiling where one is real. `starts` are answers to search from,
    /// beside the grid of families with two unknowns.
    fn best(&self, family: Family, starts: &[Answer]) -> Option<Candidate> {
        let without = self.search(family, starts, false)?;
        let with = self.search(family, starts, true);
        let real = with.filter(|with| self.ceiling_is_real(&without, with));
        Some(real.unwrap_or(without))
    }

    /// The best moving mean, of clipped power where that leaves less by F > 10: an average hides the
    /// flat top that a ceiling would show.
    fn mean(&self) -> Option<Candidate> {
        let plain = self.search(Family::Mean, &[], false)?;
        let peak = self.fine.iter().copied().fold(0.0, f64::max);
        let starts: Vec<Answer> = [0.95, 0.9, 0.8, 0.7, 0.6, 0.5]
            .iter()
            .map(|share| Answer {
                clip_w: share * peak,
                ..plain.answer
            })
            .collect();
        let clipped = self
            .search(Family::ClippedMean, &starts, false)
            .filter(|clipped| clipped.answer.clip_w <= 0.98 * peak)
            .filter(|clipped| plain.lack_against(clipped) > CEILING_F)
            .map(|clipped| Candidate {
                ceiling_w: Some(clipped.gain * clipped.answer.clip_w),
                ..clipped
            });
        Some(clipped.unwrap_or(plain))
    }

    fn search(&self, family: Family, starts: &[Answer], with_ceiling: bool) -> Option<Candidate> {
        let mut best: Option<Candidate> = None;
        let consider = |best: &mut Option<Candidate>, answer: Answer| {
            let lag = answer.lag;
            let inside = (0.0..=LONGEST_S).contains(&lag.time_constant_s)
                && (DELAYS_S.0..=DELAYS_S.1).contains(&lag.delay_s)
                && answer.average_s <= LONGEST_MEAN_S;
            if let Some(found) = inside
                .then(|| self.evaluate(answer, with_ceiling))
                .flatten()
                && best.is_none_or(|best| found.mean_square() < best.mean_square())
            {
                *best = Some(found);
                return true;
            }
            false
        };
        for start in self.grid(family).chain(starts.iter().copied()) {
            consider(&mut best, start);
        }
        let mut reach = 0.5;
        while reach > 0.002 {
            let Answer {
                lag,
                clip_w,
                average_s,
            } = best?.answer;
            let moved = |by: f64, [d, tau, clip, mean]: [f64; 4]| Answer {
                lag: Lag {
                    delay_s: lag.delay_s + by * d,
                    time_constant_s: (lag.time_constant_s + by * tau).max(0.0),
                },
                clip_w: clip_w * (1.0 + CLIP_REACH * by * clip),
                average_s: (average_s + by * mean).max(self.step_s),
            };
            let better = family.directions().iter().fold(false, |better, along| {
                let there = consider(&mut best, moved(reach, *along));
                let back = consider(&mut best, moved(-reach, *along));
                better || there || back
            });
            if !better {
                reach *= 0.5;
            }
        }
        best
    }

    /// Answers to start from.
    fn grid(&self, family: Family) -> impl Iterator<Item = Answer> {
        let spreads: &[f64] = match family {
            Family::Lag => &[0.0, 0.3, 0.6, 1.0, 1.5, 2.0, 2.7, 3.5, 4.5, 6.0, 8.0],
            Family::Mean => &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0],
            Family::ClippedMean | Family::Both => &[],
        };
        let delays = ((DELAYS_S.1 - DELAYS_S.0) / 0.5) as usize;
        let step_s = self.step_s;
        (0..=delays).flat_map(move |i| {
            spreads.iter().map(move |&spread| {
                let (time_constant_s, average_s) = match family {
                    Family::Lag => (spread, step_s),
                    _ => (0.0, spread.max(step_s)),
                };
                Answer {
                    lag: Lag {
                        delay_s: DELAYS_S.0 + 0.5 * i as f64,
                        time_constant_s,
                    },
                    clip_w: f64::INFINITY,
                    average_s,
                }
            })
        })
    }

    fn ceiling_is_real(&self, without: &Candidate, with: &Candidate) -> bool {
        let Some(ceiling) = with.ceiling_w else {
            return false;
        };
        let pairs = self.pairs(with.answer);
        let modelled = || pairs.iter().map(|(x, y)| (with.gain * x, *y));
        let peak = modelled().map(|(x, _)| x).fold(0.0, f64::max);
        let clipped = || modelled().filter(|(x, _)| *x >= ceiling);
        let would_vary = Sample::present(clipped().map(|(x, _)| x));
        let varies = Sample::present(clipped().map(|(_, y)| y));
        let flat = varies
            .zip(would_vary)
            .is_some_and(|(y, x)| y.sd() <= 0.5 * x.sd());
        let freedom = with.n.saturating_sub(4) as f64;
        let f = (without.rss - with.rss) / (with.rss / freedom);
        with.clipped >= 2 && ceiling <= 0.98 * peak && f > CEILING_F && flat
    }

    fn finish(&self, found: Candidate, shape: ResponseShape, lack_of_fit_f: f64) -> Fit {
        Fit {
            shape,
            lack_of_fit_f,
            answer: found.answer,
            gain: found.gain,
            ceiling_w: found.ceiling_w,
            rms_w: (found.rss / found.n as f64).sqrt(),
            n: found.n,
            spread_ci95_s: self.profile(&found, shape),
            limits: self.limits(&found, shape),
        }
    }

    fn limits(&self, found: &Candidate, shape: ResponseShape) -> Option<Limits> {
        let rows =
            self.rows.start.min(self.under_test.len())..self.rows.end.min(self.under_test.len());
        let fitted = Fitted {
            answer: found.answer,
            of_mean: shape == ResponseShape::MovingMean,
            gain: found.gain,
            ceiling_w: found.ceiling_w,
            rss: found.least(),
            hidden_s: REFERENCE_LAG_S,
        };
        let modelled = |tried: Answer| {
            let mut all = answer(self.fine, self.step_s, tried);
            all.resize(rows.end, f64::NAN);
            all.split_off(rows.start)
        };
        limits(&fitted, modelled, &self.under_test[rows.clone()])
    }

    /// Limits of the time constant, or of the length of a moving mean, by its profile.
    fn profile(&self, found: &Candidate, shape: ResponseShape) -> Interval {
        const STEP_S: f64 = 0.1;
        let of_mean = shape == ResponseShape::MovingMean;
        let with_ceiling = found.ceiling_w.is_some() && !of_mean;
        let unknown = if found.ceiling_w.is_some() { 4.0 } else { 3.0 };
        let freedom = found.n as f64 - unknown;
        let allowed = found.least() * (1.0 + f_quantile(0.95, 1.0, freedom) / freedom);
        let (spread, ends) = if of_mean {
            (found.answer.average_s, (self.step_s, LONGEST_MEAN_S))
        } else {
            (found.answer.lag.time_constant_s, (0.0, LONGEST_S))
        };
        let inside = |tried: f64| {
            // Along the valley the dead time makes up for the spread: a mean is late by half of it.
            let share = if of_mean { 0.5 } else { 1.0 };
            let middle = found.answer.lag.delay_s + share * (spread - tried);
            (-10..=10).any(|k| {
                let delay_s = middle + 0.1 * f64::from(k);
                let (time_constant_s, average_s) = if of_mean {
                    (found.answer.lag.time_constant_s, tried)
                } else {
                    (tried, found.answer.average_s)
                };
                let lag = Lag {
                    delay_s,
                    time_constant_s,
                };
                let tried = Answer {
                    lag,
                    average_s,
                    ..found.answer
                };
                self.evaluate(tried, with_ceiling)
                    .is_some_and(|other| other.mean_square() * found.n as f64 <= allowed)
            })
        };
        let mut low = spread;
        while low > ends.0 && inside((low - STEP_S).max(ends.0)) {
            low = (low - STEP_S).max(ends.0);
        }
        let mut high = spread;
        while high < ends.1 && inside((high + STEP_S).min(ends.1)) {
            high = (high + STEP_S).min(ends.1);
        }
        // The limit lies somewhere in the next step.
        let wider = STEP_S + REFERENCE_LAG_S;
        [(low - wider).max(ends.0), (high + wider).min(ends.1)]
    }
}

impl Candidate {
    /// Least squares left, W²: whole watts leave a residual of their own, also where the fit is
    /// perfect.
    fn least(&self) -> f64 {
        self.rss.max(self.n as f64 * ROUNDING_W2)
    }

    /// F of what `wider` explains beyond this one.
    fn lack_against(&self, wider: &Self) -> f64 {
        let freedom = wider.n.saturating_sub(5).max(1) as f64;
        ((self.least() - wider.least()) / (wider.least() / freedom)).max(0.0)
    }

    fn mean_square(&self) -> f64 {
        self.rss / self.n as f64
    }
}

/// Splits the missing peak, `reference peak − source peak`, among lag, gain and ceiling by Shapley's
/// value (Shapley 1953, from memory): the mean, over all orders in which the three can be switched
/// on, of what each takes off the modelled peak. The dead time takes nothing off a peak.
///
/// `None` where the peak is not short by 1 % or more.
pub fn losses(
    fit: &Fit,
    reference: &[f64],
    rows: std::ops::Range<usize>,
    source_peak_w: f64,
    step_s: f64,
) -> Option<Losses> {
    let peak = |column: &[f64]| {
        let inside = column.iter().take(rows.end).skip(rows.start);
        inside.copied().filter(|v| v.is_finite()).reduce(f64::max)
    };
    let whole = peak(reference)?;
    let shortfall = whole - source_peak_w;
    if shortfall < 0.01 * whole {
        return None;
    }
    let fine = refined(reference, PARTS);
    let unclipped = Answer {
        clip_w: f64::INFINITY,
        ..fit.answer
    };
    let lagged = peak(&answer(&fine, step_s, unclipped))?;
    let clipped = peak(&answer(&fine, step_s, fit.answer))?;
    let modelled = |lag: bool, gain: bool, ceiling: bool| {
        let answered = match (lag, ceiling) {
            (false, _) => whole,
            (true, false) => lagged,
            (true, true) => clipped,
        };
        let level = answered * if gain { fit.gain } else { 1.0 };
        match fit.ceiling_w {
            Some(limit) if ceiling => level.min(limit),
            _ => level,
        }
    };
    let worth = |player: usize| {
        let mut sum = 0.0;
        for others in 0..4_usize {
            let on = |i: usize| {
                let index = (i + 3 - player) % 3;
                index > 0 && others & (1 << (index - 1)) != 0
            };
            let with = |i: usize| i == player || on(i);
            let drop = modelled(on(0), on(1), on(2)) - modelled(with(0), with(1), with(2));
            // Coalitions of size 0, 1, 2 carry weights 1/3, 1/6, 1/3.
            sum += drop
                * if others.count_ones() == 1 {
                    1.0 / 6.0
                } else {
                    1.0 / 3.0
                };
        }
        sum
    };
    let (lag, gain, ceiling) = (worth(0), worth(1), worth(2));
    Some(Losses {
        lag,
        gain,
        ceiling,
        unexplained: shortfall - lag - gain - ceiling,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::first_order::{averaged, response};

    /// 200 W, a sprint to 1000 W over 12 s, and back; with the jitter of pedal strokes.
    pub(crate) fn effort() -> Vec<f64> {
        let mut out = vec![200.0; 20];
        out.extend((0..12).map(|i| {
            let x = f64::from(i) / 12.0;
            400.0
                + 600.0 * (std::f64::consts::PI * (0.25 + 0.6 * x)).sin()
                + f64::from(i % 3) * 25.0
        }));
        out.extend(vec![120.0; 18]);
        out
    }

    fn source(lag: Lag, gain: f64, ceiling: f64) -> Vec<f64> {
        response(&refined(&effort(), 4), 0.25, lag)
            .into_iter()
            .step_by(4)
            .map(|x| {
                if gain * x > ceiling {
                    ceiling
                } else {
                    gain * x
                }
            })
            .collect()
    }

    #[test]
    fn known_faults_are_recovered() {
        let cases = [
            (0.0, 0.0, 1.0, f64::INFINITY),
            (1.3, 0.0, 0.97, f64::INFINITY),
            (0.4, 1.5, 1.0, f64::INFINITY),
            (0.7, 0.8, 1.02, 850.0),
            (0.0, 3.0, 0.95, f64::INFINITY),
        ];
        for (delay_s, time_constant_s, gain, ceiling) in cases {
            let lag = Lag {
                delay_s,
                time_constant_s,
            };
            let under_test = source(lag, gain, ceiling);
            let found = fit(&effort(), &under_test, 12..45, 1.0).unwrap();
            let near = |a: f64, b: f64| (a - b).abs() < 0.03;
            assert!(
                near(found.answer.lag.delay_s, delay_s),
                "{lag:?}: {found:?}"
            );
            assert!(
                near(found.answer.lag.time_constant_s, time_constant_s),
                "{found:?}"
            );
            assert_eq!(found.shape, ResponseShape::FirstOrderLag, "{found:?}");
            assert!(near(found.gain, gain), "{lag:?}: {found:?}");
            assert_eq!(found.ceiling_w.is_some(), ceiling.is_finite(), "{found:?}");
            if let Some(limit) = found.ceiling_w {
                assert!((limit / ceiling - 1.0).abs() < 0.005, "{found:?}");
            }
        }
    }

    /// Whole watts, as recorders write them, and the noise that pedalling has.
    fn written(column: Vec<f64>) -> Vec<f64> {
        let noise = |row: usize| ((row * 7919) % 13) as f64 / 3.0 - 2.0;
        let each = column.into_iter().enumerate();
        each.map(|(row, w)| (w + noise(row)).round()).collect()
    }

    #[test]
    fn a_moving_mean_is_named_and_measured() {
        for (delay_s, average_s, gain, clip_w) in [
            (0.0, 5.0, 1.0, f64::INFINITY),
            (0.8, 3.0, 0.96, f64::INFINITY),
            (0.3, 4.4, 1.03, f64::INFINITY),
            (0.3, 4.4, 1.03, 750.0),
        ] {
            let model = Answer {
                lag: Lag {
                    delay_s,
                    time_constant_s: 0.0,
                },
                clip_w,
                average_s,
            };
            let under_test: Vec<f64> = answer(&refined(&effort(), PARTS), 1.0, model)
                .iter()
                .map(|w| gain * w)
                .collect();
            let found = fit(&effort(), &written(under_test), 12..45, 1.0).unwrap();
            assert_eq!(found.shape, ResponseShape::MovingMean, "{found:?}");
            assert!(found.lack_of_fit_f > 5.0 * MISFIT_F, "{found:?}");
            assert!(
                (found.answer.average_s - average_s).abs() < 0.1,
                "{found:?}"
            );
            assert!(
                (found.answer.lag.delay_s - delay_s).abs() < 0.1,
                "{found:?}"
            );
            let ceiling_w = found.ceiling_w.unwrap_or(f64::INFINITY);
            assert_eq!(ceiling_w.is_finite(), clip_w.is_finite(), "{found:?}");
            assert!(clip_w.is_infinite() || (ceiling_w / (gain * clip_w) - 1.0).abs() < 0.01);
            let [low, high] = found.spread_ci95_s;
            assert!(low <= average_s && average_s <= high, "{found:?}");
        }
    }

    #[test]
    fn a_lag_and_a_mean_in_a_row_are_neither() {
        let lag = Lag {
            delay_s: 0.2,
            time_constant_s: 1.5,
        };
        let both = averaged(&source(lag, 1.0, f64::INFINITY), 1.0, 4.0);
        let found = fit(&effort(), &written(both), 12..45, 1.0).unwrap();
        assert_eq!(found.shape, ResponseShape::Neither, "{found:?}");
        assert!(found.lack_of_fit_f > MISFIT_F);
    }

    #[test]
    fn shares_add_up_and_name_the_cause() {
        let slow = Lag {
            delay_s: 0.5,
            time_constant_s: 2.0,
        };
        let none = Lag {
            delay_s: 0.0,
            time_constant_s: 0.0,
        };
        for (lag, gain, ceiling, expected) in [
            (slow, 1.0, f64::INFINITY, 0),
            (none, 0.9, f64::INFINITY, 1),
            (none, 1.0, 800.0, 2),
        ] {
            let under_test = source(lag, gain, ceiling);
            let top = under_test.iter().copied().fold(0.0, f64::max);
            let found = fit(&effort(), &under_test, 12..45, 1.0).unwrap();
            let losses = losses(&found, &effort(), 12..45, top, 1.0).unwrap();
            let whole = effort().into_iter().fold(0.0, f64::max);
            let sum: f64 = losses.parts().iter().sum();
            assert!((sum - (whole - top)).abs() < 1e-9);
            let shares = losses.shares_percent().unwrap();
            assert!(shares[expected] > 90.0, "{shares:?}");
            assert!((shares.iter().sum::<f64>() - 100.0).abs() < 1e-9);
        }
    }

    /// A lag that takes off 181 W and a gain that adds 53 W once read "by lag 181 %, by gain −53 %".
    #[test]
    fn losses_of_different_signs_are_no_shares() {
        let lag = Lag {
            delay_s: 0.0,
            time_constant_s: 4.0,
        };
        let under_test = source(lag, 1.03, f64::INFINITY);
        let top = under_test.iter().copied().fold(0.0, f64::max);
        let found = fit(&effort(), &under_test, 12..45, 1.0).unwrap();
        let losses = losses(&found, &effort(), 12..45, top, 1.0).unwrap();
        assert!(losses.lag > 0.0 && losses.gain < 0.0, "{losses:?}");
        assert_eq!(losses.shares_percent(), None);
    }

    /// Shapley's value by hand: lag takes 1000 to 900, gain 0.9, ceiling 850. Worths of the
    /// coalitions: L 100, G 100, C 150, LG 190, LC 150, GC 150, LGC 190.
    #[test]
    fn the_split_is_the_mean_over_all_orders() {
        let reference = [0.0, 0.0, 1000.0, 1000.0, 0.0, 0.0];
        let lag = Lag {
            delay_s: 0.0,
            time_constant_s: 1.0,
        };
        let lagged = response(&refined(&reference, 4), 0.25, lag)
            .into_iter()
            .step_by(4)
            .fold(0.0, f64::max);
        let fit = Fit {
            shape: ResponseShape::FirstOrderLag,
            lack_of_fit_f: 0.0,
            answer: Answer {
                lag,
                clip_w: f64::INFINITY,
                average_s: 1.0,
            },
            gain: 0.9,
            ceiling_w: Some(850.0),
            rms_w: 0.0,
            n: 6,
            spread_ci95_s: [0.9, 1.1],
            limits: None,
        };
        let v = |l: bool, g: bool, c: bool| {
            let level: f64 = if l { lagged } else { 1000.0 } * if g { 0.9 } else { 1.0 };
            1000.0 - if c { level.min(850.0) } else { level }
        };
        let expected_lag = (v(true, false, false)
            + 0.5 * (v(true, true, false) - v(false, true, false))
            + 0.5 * (v(true, false, true) - v(false, false, true))
            + (v(true, true, true) - v(false, true, true)))
            / 3.0;
        let source_peak = 1000.0 - v(true, true, true);
        let found = losses(&fit, &reference, 0..6, source_peak, 1.0).unwrap();
        assert!((found.lag - expected_lag).abs() < 1e-9);
        assert!(found.unexplained.abs() < 1e-9);
    }

    #[test]
    fn too_short_flat_or_silent_data_give_no_fit() {
        assert_eq!(fit(&[100.0; 5], &[100.0; 5], 0..5, 1.0), None);
        assert_eq!(fit(&[0.0; 30], &[0.0; 30], 0..30, 1.0), None);
        assert_eq!(fit(&[100.0; 30], &[f64::NAN; 30], 0..30, 1.0), None);
        let flat = fit(&[100.0; 30], &[95.0; 30], 0..30, 1.0).unwrap();
        let [low, high] = flat.spread_ci95_s;
        assert!(high - low > 1.0);
    }
}
