//! Figures of a sprint as plain data, and what each means.

use serde::Serialize;

use crate::analysis::figure::{Figure, OURS, TRADE};
pub use crate::analysis::response::Cause;
use crate::stats::Interval;
use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};

/// Figures of a sprint.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sprint {
    /// Best means of every stream.
    pub peaks: Vec<SprintPeak>,
    /// The loss expected from the references' site to that of the source, %, which is taken off the
    /// references in all that follows; 0 where no allowance is stated.
    pub expected_loss_percent: f64,
    /// Best second under test / best second of the references, carried to the source's site.
    pub peak_ratio: Option<f64>,
    /// Dead time of the best-fitting response, s.
    pub delay_s: Option<f64>,
    /// Its 95 % limits, s; `None` where the shape does not fit.
    pub delay_ci95_s: Option<Interval>,
    /// How much later within its seconds the source was sampled than what it is compared with, s:
    /// already in the dead time, which the samples alone would tell too short by it.
    pub sampled_later_s: Option<f64>,
    /// Time constant of its first-order lag, s; `None` where a moving mean fits in its place.
    pub time_constant_s: Option<f64>,
    /// 95 % limits of the time constant, by its profile, s; `None` where the lag does not fit.
    pub time_constant_ci95_s: Option<Interval>,
    /// Which shape of response fits.
    pub response_shape: Option<ResponseShape>,
    /// By how much a lag followed by a moving mean fits better than the lag alone, an F ratio;
    /// above 10 the first-order lag is said not to fit.
    pub lack_of_fit_f: Option<f64>,
    /// Length of the moving mean, s, where that is what fits.
    pub averaging_s: Option<f64>,
    /// 95 % limits of that length, by its profile, s.
    pub averaging_ci95_s: Option<Interval>,
    /// Its gain.
    pub gain: Option<f64>,
    /// Its ceiling, W, where one was found: the mean of the clipped seconds.
    pub ceiling_w: Option<f64>,
    /// 95 % limits of the ceiling, W; `None` where the shape does not fit or an average hides it.
    pub ceiling_ci95_w: Option<Interval>,
    /// Root mean square residual of the fit, W.
    pub fit_rms_w: Option<f64>,
    /// Best second of the references, carried to the source's site − best second under test, W.
    pub shortfall_w: Option<f64>,
    /// What of the shortfall the lag makes, W; negative where it adds to the peak, as in the next
    /// three. Together the four make the shortfall.
    pub lag_loss_w: Option<f64>,
    /// What the gain makes, W.
    pub gain_loss_w: Option<f64>,
    /// What the ceiling makes, W.
    pub ceiling_loss_w: Option<f64>,
    /// What the model leaves, W.
    pub unexplained_loss_w: Option<f64>,
    /// Share of the shortfall that the lag explains, %; `None`, as the next three, where the losses
    /// have different signs.
    pub lag_share_percent: Option<f64>,
    /// Share that the gain explains, %.
    pub gain_share_percent: Option<f64>,
    /// Share that the ceiling explains, %.
    pub ceiling_share_percent: Option<f64>,
    /// Share that the model leaves, %.
    pub unexplained_share_percent: Option<f64>,
    /// What explains the missing peak.
    pub explained: Option<Explained>,
    /// What explains all sprints of the ride together; `None` where the wheel's speed is not recorded.
    pub cause: Option<Cause>,
    /// How many sprints that rests on.
    pub sprints_together: Option<usize>,
    /// Apparent mass of a flywheel whose acceleration the reading leaves out, kg.
    pub unaccounted_kg: Option<f64>,
    /// Its 95 % limits.
    pub unaccounted_ci95_kg: Option<Interval>,
    /// Why the fit's figures are withheld, and what to beware of in its delays; empty where
    /// nothing is to be said.
    pub note: String,
}

impl Sprint {
    /// How late it shows a change, s: dead time and lag, or half of what it averages over. `None` without
    /// a fit.
    pub fn late_s(&self) -> Option<f64> {
        let half_s = self.averaging_s.map(|s| 0.5 * s);
        Some(self.delay_s? + self.time_constant_s.or(half_s)?)
    }

    /// Adds a remark behind those there are.
    pub(super) fn add_note(&mut self, remark: &str) {
        if !self.note.is_empty() {
            self.note.push_str(". ");
        }
        self.note.push_str(remark);
    }

    /// What the fitted response makes of `reference` (as recorded, W, all present), on rows spaced
    /// `step_s` and where the samples show it; NaN where its dead time reaches outside. `None` without a
    /// fit.
    pub fn model(&self, reference: &[f64], step_s: f64) -> Option<Vec<f64>> {
        let kept = 1.0 - self.expected_loss_percent / 100.0;
        let carried: Vec<f64> = reference.iter().map(|w| kept * w).collect();
        let gain = self.gain?;
        let ceiling_w = self.ceiling_w.unwrap_or(f64::INFINITY);
        let answered = answer(&refined(&carried, PARTS), step_s, self.answer(step_s)?);
        // Not `min`, which would take a missing value for the ceiling.
        let clipped = |w: f64| if w > ceiling_w { ceiling_w } else { w };
        Some(answered.into_iter().map(|w| clipped(gain * w)).collect())
    }

    /// The fitted answer as the samples show it. Private: the dead time to tell is `delay_s`.
    fn answer(&self, step_s: f64) -> Option<Answer> {
        let time_constant_s = match self.averaging_s {
            Some(_) => Some(0.0),
            None => self.time_constant_s,
        };
        // A source that averages clips before it does.
        let clip = self.averaging_s.and(self.ceiling_w).zip(self.gain);
        Some(Answer {
            clip_w: clip.map_or(f64::INFINITY, |(ceiling_w, gain)| ceiling_w / gain),
            lag: Lag {
                delay_s: self.delay_s? - self.sampled_later_s.unwrap_or(0.0),
                time_constant_s: time_constant_s?,
            },
            average_s: self.averaging_s.unwrap_or(step_s),
        })
    }
}

/// Best means of one stream in a sprint.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SprintPeak {
    /// Label.
    pub label: String,
    /// Best second, W.
    pub best_1s_w: Option<f64>,
    /// Best mean over 3 s, W.
    pub best_3s_w: Option<f64>,
    /// Best mean over 5 s, W.
    pub best_5s_w: Option<f64>,
}

/// How a source answers a change of power.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResponseShape {
    /// As a first-order lag does.
    FirstOrderLag,
    /// As a moving mean does.
    MovingMean,
    /// As neither does.
    Neither,
}

/// What explains a sprint's missing peak.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Explained {
    /// A lag, or a moving mean, blunts it.
    Lag,
    /// The whole scale is off.
    Gain,
    /// It is clipped.
    Ceiling,
    /// What accelerates a flywheel is left out.
    Flywheel,
    /// More than one of them.
    Mixed,
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.sprint.peaks.label",
        label: "stream",
        definition: "Name of the stream.",
        csv: Some("sprint_labels"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.peaks.best_1s_w",
        label: "best 1 s",
        short: "1 s",
        unit: "W",
        definition: "Highest single second of the sprint.",
        formula: "max P",
        source: TRADE,
        caveat: "Two recorders sample at different moments: the best second of a sharp peak differs by that alone.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.peaks.best_3s_w",
        label: "best 3 s",
        unit: "W",
        definition: "Highest mean over 3 s.",
        formula: "max of the running mean",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.peaks.best_5s_w",
        label: "best 5 s",
        short: "5 s",
        unit: "W",
        definition: "Highest mean over 5 s.",
        formula: "max of the running mean",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.expected_loss_percent",
        label: "expected drivetrain loss",
        unit: "%",
        decimals: 1,
        definition: "The drivetrain's loss that is taken off the references before the sprint is compared: the allowance stated, 0 where none is.",
        source: "stated in session.toml",
        caveat: "Peak ratio, shortfall, losses and gain are all against the references so carried to the source's site; the best efforts listed are as recorded.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.peak_ratio",
        label: "peak ratio",
        decimals: 3,
        definition: "Best second under test over the best second of the references, carried to the source's site.",
        formula: "max x / (max y · (1 − allowance))",
        source: TRADE,
        caveat: "Says that the peak is short, not why: late, blunted, scaled or clipped.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.delay_s",
        label: "dead time",
        unit: "s",
        decimals: 2,
        definition: "How long the best-fitting response waits before it follows the references.",
        formula: "x(t) = min(ceiling, gain · lag(y)(t − dead time))",
        source: "least squares on a first-order model with dead time, and what the moments of the samples add (see sampled later)",
        caveat: "Where power alone fixed the clock, dead time and clock offset cannot be told apart.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.delay_ci95_s",
        label: "dead time, 95 % CI",
        unit: "s",
        decimals: 2,
        definition: "95 % confidence interval of the dead time, time constant (or length of the mean) and gain being unknown too; null where the shape does not fit.",
        formula: "dead time ± (t · √(s² (JᵀJ)⁻¹ (1 + r)/(1 − r)) + 0.15 s), r the lag-1 correlation of the residuals, 0.15 s for the references' own dead time",
        source: "linearised least squares (from memory); coverage measured by simulation",
        caveat: "Holds for the clocks as they are set: an error of the offset goes into the dead time whole.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.sampled_later_s",
        label: "sampled later",
        unit: "s",
        decimals: 2,
        signed: true,
        definition: "How much later within each second of the common grid the samples of the source under test were taken than those of the references; it is in the dead time already.",
        formula: "median over the window of (sample − grid second), of the source − of the references (their mean for the consensus)",
        source: OURS,
        caveat: "Rests on the recorders' time stamps; one that writes whole seconds hides its own.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.time_constant_s",
        label: "time constant",
        short: "const.",
        unit: "s",
        decimals: 2,
        definition: "How sluggish the best-fitting response is: after one time constant it has covered 63 % of a step.",
        formula: "τ of dx/dt = (y − x)/τ",
        source: "first-order system; 10–90 % takes ln 9 · τ = 2.197 τ",
        caveat: "Null where a moving mean fits in its place; without limits where neither fits (see response shape). A flywheel passes for a lag: power that goes into speeding a wheel up comes back as it slows down, and one sprint cannot tell the two apart. A lag keeps its time constant from sprint to sprint, a flywheel does not.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.time_constant_ci95_s",
        label: "time constant, 95 % CI",
        unit: "s",
        decimals: 2,
        definition: "95 % confidence interval of the time constant: the values that fit nearly as well, dead time and gain being fitted anew; null where a first-order lag does not fit, since a model that does not fit has no true value to enclose.",
        formula: "all τ with RSS(τ) ≤ RSS · (1 + F(0.95; 1, n − p)/(n − p)), widened by 0.15 s for the references' own lag",
        source: "profile of the least-squares fit (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.response_shape",
        label: "response shape",
        definition: "How the source under test answers: as a first-order lag, as a moving mean, or as neither.",
        formula: "lag where the lack of fit F ≤ 10; else moving mean where its own F ≤ 10; else neither",
        source: OURS,
        caveat: "A lag so short that a second hides its shape is called a lag. Shapes not among the two, such as two lags in a row, can only come out as neither or as the one they resemble.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.lack_of_fit_f",
        label: "lack of fit",
        decimals: 1,
        definition: "How much better a lag followed by a moving mean fits than the lag alone; above 10 the first-order lag is said not to fit.",
        formula: "F = (RSS(lag) − RSS(lag and mean))/(RSS(lag and mean)/(n − 5))",
        source: "extra sum of squares (from memory); the bound judged by simulation, since the seconds are not independent",
        caveat: "No probability: it tells that another shape fits better, not that the better one is right.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.averaging_s",
        label: "averages over",
        short: "mean of",
        unit: "s",
        decimals: 1,
        definition: "Length of the moving mean that the source under test reports, where that fits and a first-order lag does not.",
        formula: "N of x(t) = gain · mean of y over the N s before t − dead time",
        source: "least squares, as the lag's; a recorder's own second counts as 1 s",
        caveat: "Where the source clips too, the ceiling is taken to act before the averaging.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.averaging_ci95_s",
        label: "averages over, 95 % CI",
        unit: "s",
        decimals: 1,
        definition: "95 % confidence interval of that length, as that of the time constant.",
        formula: "all N with RSS(N) ≤ RSS · (1 + F(0.95; 1, n − p)/(n − p)), widened by 0.15 s for the references' own lag",
        source: "profile of the least-squares fit (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.gain",
        label: "gain",
        decimals: 3,
        definition: "Scale of the best-fitting response.",
        formula: "see dead time",
        source: "least squares on a first-order model with dead time",
        caveat: "In a short sprint gain and lag can stand in for each other. It has no limits: a slow wander and a scale that differs from level to level pass unseen within a minute, and limits from the fit alone covered the true scale in 63 % of 231 rehearsed sprints. The bias of a steady block has limits.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.ceiling_w",
        label: "ceiling",
        unit: "W",
        definition: "The level at which the reading of the source under test stays flat while the response to the references would rise on: the mean of the clipped seconds. Single seconds scatter about it, so the best second can lie a few watts above. Null where none was found.",
        formula: "mean of x over the seconds in which gain · lag(y)(t − dead time) ≥ ceiling",
        source: "least squares on a first-order model with dead time",
        caveat: "A sprint that stays below it cannot show it. In a source that averages it is fitted to what goes into the average, and never read as such.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.ceiling_ci95_w",
        label: "ceiling, 95 % CI",
        unit: "W",
        definition: "95 % confidence interval of the highest power that the source under test reports; never below the best of the clipped seconds. Null without a ceiling, and where the shape does not fit.",
        formula: "from mean − t · s/√m − 0.5 W up to the larger of mean + t · s/√m + 0.5 W and the highest clipped second + 0.5 W, over the m clipped seconds",
        source: "interval of a mean (textbook); coverage measured by simulation",
        caveat: "A source that averages has none: the average hides the flat top, and limits covered 76 % of 62 rehearsed ceilings.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.fit_rms_w",
        label: "residual of the fit",
        unit: "W",
        decimals: 1,
        definition: "Root mean square of what the fitted response leaves.",
        formula: "√(Σ residual²/n)",
        source: "textbook",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.shortfall_w",
        label: "peak shortfall",
        unit: "W",
        signed: true,
        definition: "By how much the best second under test stays below that of the references, carried to the source's site.",
        formula: "max y · (1 − allowance) − max x",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.lag_loss_w",
        label: "lost to lag",
        unit: "W",
        signed: true,
        definition: "What of the shortfall the fitted lag, or moving mean, makes; negative where a cause adds to the peak, as a gain above 1 does. The losses to lag, gain and ceiling and what is unexplained make up the shortfall.",
        formula: "mean, over all orders in which lag, gain and ceiling can be switched on, of what the lag takes off the modelled peak (Shapley 1953, from memory)",
        source: OURS,
        caveat: "A convention: causes that hide each other share what they hide. Null where the peak is not short by 1 %.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.gain_loss_w",
        label: "lost to gain",
        unit: "W",
        signed: true,
        definition: "What the fitted gain makes.",
        formula: "see lost to lag",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.ceiling_loss_w",
        label: "lost to ceiling",
        unit: "W",
        signed: true,
        definition: "What the ceiling makes.",
        formula: "see lost to lag",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.unexplained_loss_w",
        label: "lost unexplained",
        unit: "W",
        signed: true,
        definition: "What the model leaves.",
        formula: "shortfall − the others",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.lag_share_percent",
        label: "shortfall by lag",
        unit: "%",
        definition: "Share of the shortfall that the fitted lag, or moving mean, explains; null where a cause adds to the peak, since parts of different signs are no shares.",
        formula: "100 · lost to lag / shortfall",
        source: OURS,
        caveat: "See lost to lag.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.gain_share_percent",
        label: "shortfall by gain",
        unit: "%",
        definition: "Share that the fitted gain explains.",
        formula: "see shortfall by lag",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.ceiling_share_percent",
        label: "shortfall by ceiling",
        unit: "%",
        definition: "Share that the ceiling explains.",
        formula: "see shortfall by lag",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.unexplained_share_percent",
        label: "shortfall unexplained",
        unit: "%",
        definition: "Share that the model leaves.",
        formula: "100 % − the others",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.explained",
        label: "explained by",
        definition: "What explains the missing peak: lag (or averaging), gain, ceiling, flywheel or mixed; null where nothing is missing or the fit cannot separate them.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.note",
        label: "on the sprint",
        definition: "Why the fit's figures are withheld, or what is to be said of them (a device that averages, a lag that does not fit, a clock matched on power); empty where there is nothing to say.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.cause",
        label: "cause, all sprints together",
        short: "cause",
        definition: "What explains the seconds of all sprints of the ride together: lag, moving-mean, flywheel (its acceleration left out of the reading), flywheel-and-lag, nothing, or not-distinguishable; null where the wheel's speed is not recorded.",
        formula: "the shape that alone leaves no more than the widest by F = 10; a lag keeps its τ in every sprint, a flywheel its mass",
        source: OURS,
        caveat: "One sprint, or several at the same speed, often fit both. Sprints in another gear or on another slope would tell.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.sprints_together",
        label: "sprints together",
        definition: "How many sprints of the ride that rests on.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.unaccounted_kg",
        label: "mass not accounted for",
        short: "unaccounted",
        unit: "kg",
        decimals: 1,
        signed: true,
        definition: "Apparent mass of a flywheel whose acceleration the reading leaves out, by all sprints of the ride together.",
        formula: "μ of x = g · S[y − μ·½(v₂² − v₁²)/Δt](t − d), S a first-order lag or a moving mean, whichever fits better",
        source: "power into acceleration: Lakomy 1986, Ergonomics 29; the comparison is this program's convention",
        caveat: "About zero where a lag is the cause.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.sprint.unaccounted_ci95_kg",
        label: "mass not accounted for, 95 % CI",
        short: "unaccounted, 95 % CI",
        unit: "kg",
        decimals: 1,
        signed: true,
        definition: "95 % confidence interval of that mass.",
        source: "least squares about the best fit (textbook)",
        ..Figure::PLAIN
    },
];
