//! The results as plain data. Serialised, they are the JSON of `truing table`; the field names are
//! a promise. `None` (JSON null) means that the figure does not apply or cannot be told; a
//! non-finite number is never stored.

use serde::Serialize;

use super::error_curve::ErrorCurve;
pub use super::verdict::conformity::Outcome;
use super::verdict::reason::Reason;
use crate::session::{Kind, Role, Site};
use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};

pub use crate::stats::Interval;

/// The whole of `truing table --format json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Table {
    /// The session's head.
    pub session: SessionHead,
    /// One entry a stream, in session order.
    pub streams: Vec<StreamHead>,
    /// Stretches of the ride in which the source under test left the references.
    pub excursions: Vec<Excursion>,
    /// One entry a segment, in time order.
    pub segments: Vec<SegmentFigures>,
    /// What the judged segments say together, one entry a source under test.
    pub families: Vec<Family>,
    /// The error against power over all blocks of held power, one entry a source under test: what
    /// they say together.
    pub error_curve: Vec<ErrorCurve>,
    /// Trueness against level over the ride, one entry a source under test and reference.
    pub levels: Vec<LevelLine>,
    /// Bias by band of power, cadence and wheel speed over the ride.
    pub bands: Vec<Band>,
    /// Agreement over all segments on which a claim is tested, one entry a source under test and
    /// reference, where there are two such segments.
    pub pooled: Vec<Pooled>,
}

impl Table {
    /// What all blocks say together of the source under test with this label.
    pub fn error_curve_of(&self, under_test: &str) -> Option<&ErrorCurve> {
        self.error_curve.iter().find(|c| c.under_test == under_test)
    }
}

/// Head of the session.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SessionHead {
    /// The title.
    pub title: String,
    /// Length of the grid, s.
    pub duration_s: f64,
    /// The claim under test.
    pub claim: crate::session::Claim,
    /// The loss expected between the sites; verdicts are on what it leaves of the bias.
    pub allowance: crate::session::Allowance,
    /// What to beware of in the clocks, a sentence each.
    pub clocks: Vec<String>,
}

/// One stream over the ride.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamHead {
    /// Label.
    pub label: String,
    /// Role.
    pub role: Role,
    /// Site.
    pub site: Option<Site>,
    /// Clock shift, s.
    pub offset_s: f64,
    /// Clock rate error, ppm.
    pub skew_ppm: f64,
    /// Samples recorded.
    pub samples: usize,
    /// Median interval between samples, s.
    pub median_interval_s: Option<f64>,
    /// Dropouts over the ride.
    pub dropouts: Vec<Dropout>,
    /// Mean-maximal power from 1 s to the ride's length; it never rises.
    pub mean_max: Vec<MeanMax>,
}

/// A stretch without trustworthy power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Dropout {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// What kind.
    pub kind: DropoutKind,
}

/// Kinds of dropout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DropoutKind {
    /// Samples are missing.
    Gap,
    /// The value repeats while references move.
    Freeze,
    /// Zero while references are well above.
    Zero,
}

/// A stretch in which a stream under test left the references by more than their own spread and
/// its lag explain.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Excursion {
    /// Stream under test.
    pub label: String,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Largest difference, source − mean of the references, W; while nobody pedals, source − what its
    /// lag leaves of what was ridden before.
    pub peak_w: f64,
    /// Always `uncorroborated`: no reference shows it.
    pub kind: ExcursionKind,
}

/// Kinds of excursion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExcursionKind {
    /// No reference shows it.
    Uncorroborated,
}

/// All figures of one segment (or of the window, while it is brushed).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SegmentFigures {
    /// Position among the segments, counted from 1.
    pub id: usize,
    /// Kind.
    pub kind: Kind,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Set point, W.
    pub set_point_w: Option<f64>,
    /// The tester's note.
    pub note: String,
    /// One entry a stream that carries power.
    pub streams: Vec<StreamFigures>,
    /// One entry a pair of under test and reference, then one a source under test against the
    /// consensus (where there are two references or more).
    pub agreement: Vec<Agreement>,
    /// Whether the references agree with each other.
    pub references: Option<References>,
    /// The claim against the evidence; of the first source under test.
    pub verdict: Option<Verdict>,
    /// The same for further sources under test.
    pub further_verdicts: Vec<Verdict>,
    /// Which stream is the noisy one, where there are three or more.
    pub noise: Option<NoisyOne>,
    /// For a steady block.
    pub steady: Option<Steady>,
    /// For a sprint.
    pub sprint: Option<Sprint>,
    /// For a ramp.
    pub ramp: Option<Ramp>,
    /// For gear changes.
    pub gear_change: Option<GearChange>,
    /// For a coast.
    pub coast: Option<Coast>,
    /// For a heat soak.
    pub heat_soak: Option<HeatSoak>,
    /// Cadence of each pair that carries it.
    pub cadence: Vec<CadenceAgreement>,
}

/// One stream's power in a window.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamFigures {
    /// Label.
    pub label: String,
    /// Grid seconds with a value.
    pub n: usize,
    /// Mean power, W.
    pub mean_w: Option<f64>,
    /// Standard deviation (n − 1), W.
    pub sd_w: Option<f64>,
    /// Highest second, W.
    pub max_w: Option<f64>,
    /// Best mean over 5 s, W.
    pub best_5s_w: Option<f64>,
    /// Mean cadence, rpm.
    pub cadence_mean_rpm: Option<f64>,
}

/// Agreement of a source under test with a reference, differences being under test − reference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Agreement {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Grid seconds with both values.
    pub n: usize,
    /// Effective number of independent seconds behind the interval of the bias.
    pub n_effective: Option<f64>,
    /// Mean of the reference over the same seconds, W.
    pub reference_mean_w: Option<f64>,
    /// Mean difference, W.
    pub bias_w: Option<f64>,
    /// Mean difference, % of the reference mean.
    pub bias_percent: Option<f64>,
    /// 95 % confidence limits of the bias, W.
    pub bias_ci95_w: Option<Interval>,
    /// 95 % confidence limits of the bias, % of the reference mean.
    pub bias_ci95_percent: Option<Interval>,
    /// Standard deviation of the differences, W.
    pub sd_diff_w: Option<f64>,
    /// 95 % limits of agreement, W.
    pub loa95_w: Option<Interval>,
    /// 95 % confidence limits of the lower limit of agreement, W.
    pub loa95_lower_ci95_w: Option<Interval>,
    /// 95 % confidence limits of the upper limit of agreement, W.
    pub loa95_upper_ci95_w: Option<Interval>,
    /// Root mean square difference, W.
    pub rmse_w: Option<f64>,
    /// Lin's concordance correlation coefficient.
    pub ccc: Option<f64>,
    /// Its 95 % confidence limits.
    pub ccc_ci95: Option<Interval>,
    /// Pearson's correlation coefficient.
    pub pearson_r: Option<f64>,
    /// Second by second as a ratio; null while a window is brushed, and where no second has 10 W on
    /// both sides.
    pub ratio: Option<Ratio>,
}

/// Ratio of a source under test to a reference, second by second.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ratio {
    /// Grid seconds with 10 W or more on both sides.
    pub n: usize,
    /// Geometric mean of under test / reference.
    pub mean: f64,
    /// 95 % limits of agreement, as ratios.
    pub loa95: Option<Interval>,
    /// 95 % confidence limits of the lower limit.
    pub loa95_lower_ci95: Option<Interval>,
    /// 95 % confidence limits of the upper limit.
    pub loa95_upper_ci95: Option<Interval>,
}

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

/// The references against each other.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct References {
    /// Their labels.
    pub labels: Vec<String>,
    /// The pair that differs most (by E_n, else by the difference).
    pub pair: Option<[String; 2]>,
    /// Difference of its means, first − second, % of their common mean.
    pub difference_percent: Option<f64>,
    /// E_n number of that pair, with the sign of the difference.
    pub en_number: Option<f64>,
    /// |E_n| ≤ 1 for every pair.
    pub agree: Option<bool>,
    /// What to make of it, in a sentence.
    pub note: String,
}

/// The verdict over a segment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// The outcome.
    pub outcome: Outcome,
    /// Grid seconds with both values.
    pub n: usize,
    /// Bias after the allowance, % of the reference mean carried to the site under test.
    pub bias_percent: Option<f64>,
    /// Expanded uncertainty, %.
    pub expanded_uncertainty_percent: Option<f64>,
    /// The limit, %.
    pub limit_percent: Option<f64>,
    /// Probability that the true bias lies inside the limit (JCGM 106); `None` for an open stretch.
    pub conformance_probability: Option<f64>,
    /// Bias after the allowance, W.
    pub bias_w: Option<f64>,
    /// Expanded uncertainty, W.
    pub expanded_uncertainty_w: Option<f64>,
    /// The limit, W.
    pub limit_w: Option<f64>,
    /// Coverage factor k.
    pub coverage_factor: Option<f64>,
    /// Effective degrees of freedom behind it; null for infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    /// The uncertainty budget, one line a contribution.
    pub budget: Vec<BudgetLine>,
    /// Why; in JSON as sentences.
    pub reasons: Vec<Reason>,
}

impl Verdict {
    /// Why, in sentences.
    pub fn sentences(&self) -> Vec<String> {
        self.reasons.iter().map(Reason::to_string).collect()
    }
}

/// One contribution to an uncertainty budget.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetLine {
    /// Where it comes from.
    pub source: String,
    /// How it scatters: `Student t` or `rectangular`.
    pub distribution: String,
    /// Standard uncertainty, % of the reference mean.
    pub standard_uncertainty_percent: Option<f64>,
    /// Standard uncertainty, W.
    pub standard_uncertainty_w: Option<f64>,
    /// Degrees of freedom; null for infinite.
    pub degrees_of_freedom: Option<f64>,
}

/// What the judged segments say together of one source under test.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Family {
    /// Label of the source under test.
    pub under_test: String,
    /// The segments judged, by `id`: all but those to which no verdict applies.
    pub judged: Vec<usize>,
    /// Those that conform, each on its own.
    pub conform: Vec<usize>,
    /// Those that do not conform, each on its own.
    pub do_not_conform: Vec<usize>,
    /// Those beyond the claim at a joint risk of 2.5 % of accusing any block, or their mean, wrongly.
    pub do_not_conform_jointly: Vec<usize>,
    /// What that means, in a sentence without the source's name.
    pub statement: String,
}

/// Figures of a steady block.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Steady {
    /// Mean power under test − set point, W: how the device reports.
    pub set_point_error_w: Option<f64>,
    /// Mean power of the references − set point, W: what was delivered.
    pub delivered_error_w: Option<f64>,
    /// Share of seconds under test within ±5 W of the set point, %.
    pub within_5w_percent: Option<f64>,
    /// The same of the references, %.
    pub delivered_within_5w_percent: Option<f64>,
    /// Slope of the difference to the references, W/min.
    pub drift_w_per_min: Option<f64>,
    /// Its 95 % confidence limits, W/min.
    pub drift_ci95_w_per_min: Option<Interval>,
    /// Excursions that no reference shows.
    pub uncorroborated: Vec<UncorroboratedStretch>,
}

/// An excursion inside a steady block.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct UncorroboratedStretch {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Largest difference, as that of an [`Excursion`], W.
    pub peak_w: f64,
}

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
    /// Why the fit's figures are withheld, and what to beware of in its delays; empty where
    /// nothing is to be said.
    pub note: String,
}

impl Sprint {
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
    /// More than one of them.
    Mixed,
}

/// Figures of a ramp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ramp {
    /// The steps found.
    pub steps: Vec<Step>,
    /// Lag on linear stretches, s.
    pub lag_s: Option<f64>,
}

/// The response to one step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// When the references step, session time, s.
    pub at_s: f64,
    /// Level before, W.
    pub from_w: f64,
    /// Level after, W.
    pub to_w: f64,
    /// Time from the references' 10 % crossing to the source's, s.
    pub dead_time_s: Option<f64>,
    /// 10–90 % transition, s.
    pub rise_10_90_s: Option<f64>,
    /// Time from the references' 10 % crossing until the source stays within the settling band, s; at
    /// least the dead time.
    pub settling_s: Option<f64>,
    /// Overshoot, % of the step.
    pub overshoot_percent: Option<f64>,
    /// Error at the end of the step against the references, W.
    pub final_error_w: Option<f64>,
    /// Half-width of the band that settling is told for, W: 5 W, 5 % of the step or three robust
    /// standard deviations of the plateau after it, of the source or the references, whichever is
    /// largest.
    pub settling_band_w: f64,
    /// 10–90 % transition of the references, s.
    pub reference_rise_10_90_s: Option<f64>,
    /// Time from the same instant for the references to stay within the band, s.
    pub reference_settling_s: Option<f64>,
    /// Overshoot of the references, % of the step.
    pub reference_overshoot_percent: Option<f64>,
}

/// Figures of a gear-change segment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GearChange {
    /// The changes found.
    pub changes: Vec<GearShift>,
}

/// One gear change.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GearShift {
    /// When, session time, s.
    pub at_s: f64,
    /// Bias before, %.
    pub bias_before_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub bias_before_ci95_percent: Option<Interval>,
    /// Bias after, %.
    pub bias_after_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub bias_after_ci95_percent: Option<Interval>,
    /// After − before, percentage points.
    pub shift_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub shift_ci95_percent: Option<Interval>,
    /// Largest departure during the transient, W, with its sign.
    pub peak_deviation_w: Option<f64>,
    /// Time until the difference is back inside its usual band, s.
    pub recovery_s: Option<f64>,
    /// Median wheel speed before, m/s.
    pub speed_before_mps: Option<f64>,
    /// Median wheel speed after, m/s.
    pub speed_after_mps: Option<f64>,
}

/// Figures of a coast.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Coast {
    /// Mean power reported while nobody pedals, the decay of the source's own lag included, W.
    pub phantom_mean_w: Option<f64>,
    /// Highest such second, W: as a rule the first one, which the lag explains.
    pub phantom_max_w: Option<f64>,
    /// Time from the last pedalling until the source reads at most 1 W and stays there for 3 s, or to
    /// the coast's end, s.
    pub time_to_zero_s: Option<f64>,
    /// How long nobody pedalled, s.
    pub coasted_s: f64,
}

/// Figures of a heat soak.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatSoak {
    /// Slope of the bias, percentage points in 10 min.
    pub drift_percent_per_10min: Option<f64>,
    /// Its 95 % confidence limits.
    pub drift_ci95_percent_per_10min: Option<Interval>,
    /// Bias at the start, %.
    pub start_bias_percent: Option<f64>,
    /// Bias at the end, %.
    pub end_bias_percent: Option<f64>,
    /// Slope of the bias against temperature, percentage points a degree.
    pub per_degree_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub per_degree_ci95_percent: Option<Interval>,
}

/// Cadence of a source under test against a reference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CadenceAgreement {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Mean difference, rpm.
    pub bias_rpm: Option<f64>,
    /// Standard deviation of the differences, rpm.
    pub sd_diff_rpm: Option<f64>,
    /// Share of spikes, %.
    pub spike_percent: Option<f64>,
}

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

/// How the reading of a source under test follows the level of a reference over the ride:
/// reading = intercept + slope · reference, with errors admitted on both sides.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelLine {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Rows behind the line.
    pub n: usize,
    /// Slope.
    pub slope: Option<f64>,
    /// Its 95 % confidence limits.
    pub slope_ci95: Option<Interval>,
    /// Intercept, W.
    pub intercept_w: Option<f64>,
    /// Its 95 % confidence limits, W.
    pub intercept_ci95_w: Option<Interval>,
}

/// Bias of a source under test in one band of a channel, over the ride.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// What is banded: power of the reference, W; cadence, rpm; speed, m/s.
    pub channel: crate::recording::Channel,
    /// Lower end of the band, in the channel's unit.
    pub from: f64,
    /// Upper end, not included.
    pub to: f64,
    /// Seconds spent in it at a level that the reference has kept for 10 s.
    pub n: usize,
    /// Mean difference, W.
    pub bias_w: Option<f64>,
    /// Mean difference, % of the reference mean in the band.
    pub bias_percent: Option<f64>,
    /// 95 % confidence limits of the bias, W.
    pub bias_ci95_w: Option<Interval>,
}

/// One combination of power and another channel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CoverageCell {
    /// Band of the reference's power, W.
    pub power_w: Interval,
    /// Band of the other channel, in its unit.
    pub other: Interval,
    /// Seconds spent there; 0 where the ride never went.
    pub n: usize,
    /// Mean difference over those seconds in which the reference has kept its level for 10 s, W.
    pub bias_w: Option<f64>,
    /// The same, % of the reference mean in the cell.
    pub bias_percent: Option<f64>,
}

/// Which combinations the ride visited.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Coverage {
    /// The channel beside power.
    pub channel: crate::recording::Channel,
    /// Every cell between the lowest and the highest band visited, by power, then by the channel.
    pub cells: Vec<CoverageCell>,
}

/// Precision over several sessions (ISO 5725-2, one-way random effects).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AcrossSessions {
    /// Sessions with a value.
    pub sessions: usize,
    /// Values in all.
    pub n: usize,
    /// Mean of the sessions' means, in the unit of the values.
    pub mean: Option<f64>,
    /// Its 95 % confidence limits, the sessions being the sample.
    pub mean_ci95: Option<Interval>,
    /// Standard deviation within a session.
    pub repeatability_sd: Option<f64>,
    /// Its 95 % confidence limits.
    pub repeatability_ci95: Option<Interval>,
    /// Standard deviation between sessions; 0 where its variance comes out negative.
    pub between_session_sd: Option<f64>,
    /// Its variance as it comes out.
    pub between_session_variance: Option<f64>,
    /// Its 95 % confidence limits, as standard deviations.
    pub between_session_ci95: Option<Interval>,
    /// Standard deviation of a single value from another session.
    pub reproducibility_sd: Option<f64>,
    /// Its 95 % confidence limits.
    pub reproducibility_ci95: Option<Interval>,
    /// What to make of it, in a sentence.
    pub note: String,
}

/// Mean-maximal power of one stream over one duration.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MeanMax {
    /// Duration, s.
    pub duration_s: f64,
    /// Highest mean over that duration or a longer one, W.
    pub mean_w: f64,
    /// Where it begins, session time, s.
    pub from_s: f64,
}
