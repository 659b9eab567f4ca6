//! Figures of a sprint: best means of every stream, the peak ratio, and why the peak is short.
//!
//! The response model and its fit stand in [`super::sprint_fit`]. It is fitted over the segment with
//! 5 s before and after, and 20 s more before that to settle the lag, as far as the references report
//! without a gap. Where the clock of the source was matched on power, its offset has already taken
//! up part of the lag: the dead time then says nothing by itself, the time constant still does.
//!
//! "Cannot separate" is said, and the fit's figures withheld, where fewer than ten seconds can be
//! fitted, where the references' best means over 3 s differ by more than 5 %, where the effort does
//! not rise by half above its start, or where the limits of the time constant
//! lie more than 2 s apart (those of a moving mean's length: 4 s).
//!
//! What a sprint lacks is measured against the references carried to the source's site: where an allowance
//! is stated, the loss expected between the sites is taken off them first. Best efforts of each stream
//! stand as recorded.
//!
//! Whether a lag or a flywheel that the reading leaves out makes the difference, all sprints of the ride say
//! together (`together`).
//!
//! Where a first-order lag does not fit, that is said: a moving mean is named with its length in the
//! time constant's place, and where that does not fit either, the time constant stands without limits.

mod figures;
mod rows;
mod together;

use super::spec::{Inputs, Spec};
use std::borrow::Cow;
use std::ops::Range;

use super::sprint_fit::{self, Fit, Losses};
use crate::analysis::mean_max::{best_mean, best_means};
use crate::session::Role;
use crate::stats::finite;
use crate::timeline::Member;

use rows::{MARGIN_S, SETTLE_S, in_rows, whole};

pub use figures::{Cause, Explained, FIGURES, ResponseShape, Sprint, SprintPeak};

/// Sprints among the kinds.
pub(in crate::analysis) const SPEC: Spec<Sprint> = Spec {
    title: "Sprint",
    figures: FIGURES,
    panel: &[],
    compute: of_window,
};

fn of_window(inputs: &Inputs<'_, '_>) -> Option<Sprint> {
    let (window, under_test) = (inputs.window, inputs.under_test);
    let aligned = window.aligned;
    let readings = |member| window.findings.readings(aligned, member);
    let of_role = |role: Role| -> Vec<(&str, Cow<'_, [f64]>)> {
        let members = aligned.powered(role).map(Member::Stream);
        members
            .filter_map(|member| Some((window.name(member), readings(member)?)))
            .collect()
    };
    let (references, context) = (of_role(Role::Reference), of_role(Role::Context));
    let source = readings(Member::Stream(under_test))?;
    let mut sprint = figures(
        Labelled {
            label: window.label(under_test),
            power: &source,
        },
        &labelled(&references),
        &labelled(&context),
        Basis {
            power: &readings(inputs.basis)?,
            expected_loss_percent: window.session.allowance().percent,
            sampled_later_s: inputs.sampled_later_s(),
        },
        window.rows.clone(),
        inputs.step_s(),
    );
    if let Some(together) = together::of(inputs) {
        sprint = sprint.told(together);
    }
    if let Some(caution) = window.session.delay_caution(under_test) {
        sprint.add_note(&caution);
    }
    Some(sprint)
}

fn labelled<'a>(columns: &'a [(&'a str, Cow<'_, [f64]>)]) -> Vec<Labelled<'a>> {
    let columns = columns.iter();
    columns
        .map(|(label, power)| Labelled { label, power })
        .collect()
}

/// Largest relative difference of the references' best 3 s.
const REFERENCES_AGREE: f64 = 0.05;
/// Least part of what is lost that names a single cause.
const MAIN_CAUSE: f64 = 0.7;
/// Largest part of what is lost that may stay unexplained where causes are named.
const UNEXPLAINED: f64 = 0.5;
/// Seconds a fit needs.
const LEAST_SECONDS: usize = 10;
/// Widest limits of the time constant, s; of a moving mean, which is late by half its length, twice
/// that.
const WIDEST_S: f64 = 2.0;

/// A labelled power column over the whole ride.
#[derive(Clone, Copy, Debug)]
pub struct Labelled<'a> {
    /// The stream's label.
    pub label: &'a str,
    /// Its power, W; NaN is missing.
    pub power: &'a [f64],
}

/// What a source is held against: the consensus or a chosen reference.
#[derive(Clone, Copy, Debug)]
pub struct Basis<'a> {
    /// Its power over the whole ride as recorded, W; NaN is missing.
    pub power: &'a [f64],
    /// The loss expected from its site to the source's, %; 0 where none is stated.
    pub expected_loss_percent: f64,
    /// How much later within each row the source was sampled, s.
    pub sampled_later_s: f64,
}

/// The figures of a sprint over `rows` of columns that cover the whole ride. `context` streams get
/// peaks only.
pub fn figures(
    under_test: Labelled<'_>,
    references: &[Labelled<'_>],
    context: &[Labelled<'_>],
    against: Basis<'_>,
    rows: Range<usize>,
    step_s: f64,
) -> Sprint {
    let sampled_later_s = against.sampled_later_s;
    let kept = 1.0 - against.expected_loss_percent / 100.0;
    let carried: Vec<f64> = against.power.iter().map(|w| kept * w).collect();
    let basis = carried.as_slice();
    let end = rows.end.min(under_test.power.len()).min(basis.len());
    let rows = rows.start.min(end)..end;
    let peaks = std::iter::once(&under_test)
        .chain(references)
        .chain(context)
        .map(|stream| peak(stream, rows.clone(), step_s))
        .collect();
    let best = |column: &[f64], seconds: f64| best_of(column, rows.clone(), seconds, step_s);
    let source_peak = best(under_test.power, 1.0);
    let basis_peak = best(basis, 1.0);
    let fitted = separate(under_test.power, references, basis, rows.clone(), step_s);
    let (fit, note) = match fitted {
        Ok(fit) => (Some(fit), String::new()),
        Err(why) => (
            None,
            format!("cannot separate lag, gain and ceiling: {why}"),
        ),
    };
    let losses = fit.as_ref().zip(source_peak).and_then(|(fit, peak)| {
        sprint_fit::losses(&fit.found, fit.input(basis), fit.rows.clone(), peak, step_s)
    });
    let shares = losses.and_then(|losses| losses.shares_percent());
    let fit = fit.as_ref().map(|fit| fit.found);
    let note = fit.as_ref().map_or(note, of_shape);
    let of = |shape| fit.filter(|fit| fit.shape == shape);
    let averaging = of(ResponseShape::MovingMean);
    let limits = fit
        .filter(|fit| fit.shape != ResponseShape::Neither)
        .and_then(|fit| fit.limits);
    Sprint {
        peaks,
        expected_loss_percent: against.expected_loss_percent,
        peak_ratio: source_peak
            .zip(basis_peak)
            .filter(|(_, basis)| *basis > 0.0)
            .and_then(|(source, basis)| finite(source / basis)),
        delay_s: fit.map(|fit| fit.answer.lag.delay_s + sampled_later_s),
        delay_ci95_s: limits.map(|limits| limits.delay_s.map(|end| end + sampled_later_s)),
        sampled_later_s: fit.map(|_| sampled_later_s),
        time_constant_s: fit
            .filter(|_| averaging.is_none())
            .map(|fit| fit.answer.lag.time_constant_s),
        time_constant_ci95_s: of(ResponseShape::FirstOrderLag).map(|fit| fit.spread_ci95_s),
        response_shape: fit.map(|fit| fit.shape),
        lack_of_fit_f: fit.and_then(|fit| finite(fit.lack_of_fit_f)),
        averaging_s: averaging.map(|fit| fit.answer.average_s),
        averaging_ci95_s: averaging.map(|fit| fit.spread_ci95_s),
        gain: fit.map(|fit| fit.gain),
        ceiling_w: fit.and_then(|fit| fit.ceiling_w),
        ceiling_ci95_w: limits.and_then(|limits| limits.ceiling_w),
        fit_rms_w: fit.map(|fit| fit.rms_w),
        shortfall_w: source_peak
            .zip(basis_peak)
            .and_then(|(source, basis)| finite(basis - source)),
        lag_loss_w: losses.map(|losses| losses.lag),
        gain_loss_w: losses.map(|losses| losses.gain),
        ceiling_loss_w: losses.map(|losses| losses.ceiling),
        unexplained_loss_w: losses.map(|losses| losses.unexplained),
        lag_share_percent: shares.map(|[lag, ..]| lag),
        gain_share_percent: shares.map(|[_, gain, ..]| gain),
        ceiling_share_percent: shares.map(|[_, _, ceiling, _]| ceiling),
        unexplained_share_percent: shares.map(|[.., unexplained]| unexplained),
        explained: losses.and_then(|losses| cause(&losses)),
        cause: None,
        sprints_together: None,
        unaccounted_kg: None,
        unaccounted_ci95_kg: None,
        note,
    }
}

/// What is to be said of the shape that was fitted.
fn of_shape(fit: &Fit) -> String {
    match fit.shape {
        ResponseShape::FirstOrderLag => String::new(),
        ResponseShape::MovingMean => format!(
            "it averages over about {:.0} s: a moving mean fits, a first-order lag does not",
            fit.answer.average_s
        ),
        ResponseShape::Neither => {
            "neither a first-order lag nor a moving mean fits: the time constant is that of \
             the nearest lag, without limits"
                .to_owned()
        }
    }
}

/// The one cause that makes up most of what is lost, else `Mixed`; `None` where the model leaves
/// most of it unexplained.
fn cause(losses: &Losses) -> Option<Explained> {
    let lost = losses.lost();
    [
        (losses.lag, Explained::Lag),
        (losses.gain, Explained::Gain),
        (losses.ceiling, Explained::Ceiling),
    ]
    .into_iter()
    .find(|(loss, _)| *loss >= MAIN_CAUSE * lost)
    .map(|(_, cause)| cause)
    .or_else(|| (losses.unexplained.abs() < UNEXPLAINED * lost).then_some(Explained::Mixed))
}

fn peak(stream: &Labelled<'_>, rows: Range<usize>, step_s: f64) -> SprintPeak {
    let end = rows.end.min(stream.power.len());
    let inside = &stream.power[rows.start.min(end)..end];
    let counts = [1.0, 3.0, 5.0].map(|seconds| in_rows(seconds, step_s));
    let best = best_means(inside, &counts);
    let of = |at: usize| best[at].map(|(mean_w, _)| mean_w);
    SprintPeak {
        label: stream.label.to_owned(),
        best_1s_w: of(0),
        best_3s_w: of(1),
        best_5s_w: of(2),
    }
}

fn best_of(column: &[f64], rows: Range<usize>, seconds: f64, step_s: f64) -> Option<f64> {
    let end = rows.end.min(column.len());
    let inside = column.get(rows.start.min(end)..end)?;
    best_mean(inside, in_rows(seconds, step_s)).map(|(mean, _)| mean)
}

/// A fit with the rows of the basis that it used.
#[derive(Clone, Debug)]
struct Separated {
    found: Fit,
    /// Rows of the ride given to the fit.
    input: Range<usize>,
    /// Rows fitted, counted from the input's first.
    rows: Range<usize>,
}

impl Separated {
    fn input<'a>(&self, basis: &'a [f64]) -> &'a [f64] {
        basis.get(self.input.clone()).unwrap_or(&[])
    }
}

fn separate(
    under_test: &[f64],
    references: &[Labelled<'_>],
    basis: &[f64],
    rows: Range<usize>,
    step_s: f64,
) -> Result<Separated, &'static str> {
    if rows.is_empty() {
        return Err("the window holds no second");
    }
    if !references_agree(references, rows.clone(), step_s) {
        return Err("the references' peaks differ by more than 5 %");
    }
    let margin = in_rows(MARGIN_S, step_s);
    let until = (rows.end + margin).min(basis.len()).min(under_test.len());
    let from = rows.start.saturating_sub(margin);
    let (input, fitted) = whole(basis, from, until, in_rows(SETTLE_S, step_s), &rows)
        .ok_or("the references lack seconds of the effort")?;
    let (basis_in, tested_in) = (&basis[input.clone()], &under_test[input.clone()]);
    let seconds = tested_in[fitted.clone()].iter().filter(|v| v.is_finite());
    if seconds.count() < LEAST_SECONDS {
        return Err("fewer than 10 s can be fitted");
    }
    let inside = || basis_in[fitted.clone()].iter().copied();
    let high = inside().fold(0.0, f64::max);
    let low = inside().fold(f64::INFINITY, f64::min);
    if high < 1.5 * low.max(0.0) || high <= 0.0 {
        return Err("the effort does not rise by half above its start");
    }
    let found = sprint_fit::fit(basis_in, tested_in, fitted.clone(), step_s)
        .ok_or("no response fits the data")?;
    let [low, high] = found.spread_ci95_s;
    let widest = match found.shape {
        ResponseShape::FirstOrderLag => WIDEST_S,
        ResponseShape::MovingMean => 2.0 * WIDEST_S,
        ResponseShape::Neither => f64::INFINITY,
    };
    if high - low > widest {
        return Err("dead time and lag trade against each other here");
    }
    Ok(Separated {
        found,
        input,
        rows: fitted,
    })
}

fn references_agree(references: &[Labelled<'_>], rows: Range<usize>, step_s: f64) -> bool {
    let bests = references
        .iter()
        .filter_map(|reference| best_of(reference.power, rows.clone(), 3.0, step_s));
    let (low, high) = bests.fold((f64::INFINITY, 0.0_f64), |(low, high), best| {
        (low.min(best), high.max(best))
    });
    high <= 0.0 || low >= (1.0 - REFERENCES_AGREE) * high
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::first_order::{Lag, averaged, refined, response};

    fn effort() -> Vec<f64> {
        let mut out = vec![200.0; 40];
        out.extend((0..12).map(|i| {
            let x = f64::from(i) / 12.0;
            400.0
                + 600.0 * (std::f64::consts::PI * (0.25 + 0.6 * x)).sin()
                + f64::from(i % 3) * 25.0
        }));
        out.extend(vec![120.0; 30]);
        out
    }

    fn blunted() -> Vec<f64> {
        let lag = Lag {
            delay_s: 0.6,
            time_constant_s: 1.8,
        };
        let fine = response(&refined(&effort(), 4), 0.25, lag);
        let out = fine.into_iter().step_by(4);
        out.map(|w| 1.01 * w).collect()
    }

    fn of(under_test: &[f64], basis: &[f64], rows: Range<usize>) -> Sprint {
        let named = |label, power| Labelled { label, power };
        figures(
            named("trainer", under_test),
            &[named("pedals", basis)],
            &[],
            plain(basis),
            rows,
            1.0,
        )
    }

    fn plain(power: &[f64]) -> Basis<'_> {
        Basis {
            power,
            expected_loss_percent: 0.0,
            sampled_later_s: 0.0,
        }
    }

    #[test]
    fn a_blunted_peak_is_blamed_on_the_lag() {
        let found = of(&blunted(), &effort(), 38..56);
        assert!(
            (found.time_constant_s.unwrap() - 1.8).abs() < 0.05,
            "{found:?}"
        );
        assert!((found.delay_s.unwrap() - 0.6).abs() < 0.05);
        assert!((found.gain.unwrap() - 1.01).abs() < 0.01);
        assert_eq!(found.ceiling_w, None);
        assert_eq!(found.explained, Some(Explained::Lag));
        assert!(found.peak_ratio.unwrap() < 0.99);
        assert_eq!(found.peaks.len(), 2);
        assert!(found.note.is_empty());
    }

    #[test]
    fn the_dead_time_has_limits_and_the_moments_of_sampling_in_it() {
        let (under_test, basis) = (blunted(), effort());
        let named = |label, power| Labelled { label, power };
        let found = |later_s| {
            figures(
                named("trainer", &under_test[..]),
                &[named("pedals", &basis[..])],
                &[],
                Basis {
                    sampled_later_s: later_s,
                    ..plain(&basis)
                },
                38..56,
                1.0,
            )
        };
        let (plain, later) = (found(0.0), found(0.25));
        let [low, high] = plain.delay_ci95_s.unwrap();
        assert!(low <= 0.6 && 0.6 <= high && high - low < 0.5, "{plain:?}");
        let moved = later.delay_s.unwrap() - plain.delay_s.unwrap();
        assert!((moved - 0.25).abs() < 1e-9 && later.sampled_later_s == Some(0.25));
        assert!((later.delay_ci95_s.unwrap()[0] - low - 0.25).abs() < 1e-9);
        // The model is drawn as the samples show it.
        let drawn = |sprint: &Sprint| sprint.model(&basis, 1.0).unwrap();
        for (drawn_w, before_w) in drawn(&later).iter().zip(drawn(&plain)) {
            assert!((drawn_w - before_w).abs() < 1e-6 || drawn_w.is_nan());
        }
    }

    #[test]
    fn a_ceiling_has_limits_that_enclose_the_best_second() {
        let clipped: Vec<f64> = blunted()
            .iter()
            .enumerate()
            .map(|(row, w)| {
                if *w > 800.0 {
                    798.0 + (row % 3) as f64
                } else {
                    w.round()
                }
            })
            .collect();
        let found = of(&clipped, &effort(), 38..56);
        let [low, high] = found.ceiling_ci95_w.unwrap();
        let best = found.peaks[0].best_1s_w.unwrap();
        assert!(low < best && best <= high && high - low < 5.0, "{found:?}");
        assert!(found.ceiling_w.unwrap() <= best);
    }

    /// Never a time constant with limits of a device that has none.
    #[test]
    fn a_source_that_averages_is_told_so() {
        let mean: Vec<f64> = averaged(&effort(), 1.0, 5.0)
            .iter()
            .map(|w| w.round())
            .collect();
        let found = of(&mean, &effort(), 38..56);
        assert_eq!(found.response_shape, Some(ResponseShape::MovingMean));
        assert!((found.averaging_s.unwrap() - 5.0).abs() < 0.1, "{found:?}");
        assert_eq!(
            (found.time_constant_s, found.time_constant_ci95_s),
            (None, None)
        );
        assert_eq!(found.explained, Some(Explained::Lag));
        assert!(
            found.note.starts_with("it averages over about 5 s"),
            "{}",
            found.note
        );

        let both: Vec<f64> = averaged(&blunted(), 1.0, 4.0)
            .iter()
            .map(|w| w.round())
            .collect();
        let found = of(&both, &effort(), 38..56);
        assert_eq!(found.response_shape, Some(ResponseShape::Neither));
        assert!(found.time_constant_s.is_some() && found.averaging_s.is_none());
        assert_eq!(found.time_constant_ci95_s, None);
        assert!(found.note.contains("without limits"), "{}", found.note);
    }

    #[test]
    fn a_full_peak_needs_no_cause() {
        let found = of(&effort(), &effort(), 38..56);
        assert_eq!(found.peak_ratio, Some(1.0));
        assert_eq!((found.explained, found.lag_share_percent), (None, None));
    }

    /// A source that reads 4 % less than the pedals, of which 4 % are lost before they arrive, lacks
    /// nothing; every figure and the model drawn say so.
    #[test]
    fn a_stated_loss_is_taken_off_the_references_first() {
        let basis = effort();
        let under_test: Vec<f64> = basis.iter().map(|w| 0.96 * w).collect();
        let named = |label, power| Labelled { label, power };
        let found = figures(
            named("trainer", &under_test[..]),
            &[named("pedals", &basis[..])],
            &[],
            Basis {
                expected_loss_percent: 4.0,
                ..plain(&basis)
            },
            38..56,
            1.0,
        );
        assert!((found.peak_ratio.unwrap() - 1.0).abs() < 1e-9);
        assert!(found.shortfall_w.unwrap().abs() < 1e-9);
        assert!((found.gain.unwrap() - 1.0).abs() < 1e-3, "{found:?}");
        assert_eq!((found.explained, found.lag_loss_w), (None, None));
        let highest = basis.iter().copied().fold(0.0, f64::max);
        assert_eq!(found.peaks[1].best_1s_w, Some(highest));
        let drawn = found.model(&basis, 1.0).unwrap();
        let drawn_w = drawn[38..56].iter().copied().fold(0.0, f64::max);
        assert!((drawn_w - 0.96 * highest).abs() < 3.0, "{drawn_w}");
    }

    #[test]
    fn what_cannot_be_separated_is_said() {
        let disagreeing: Vec<f64> = effort().iter().map(|w| w * 1.1).collect();
        let named = |label, power| Labelled { label, power };
        let (under_test, basis) = (blunted(), effort());
        let references = [
            named("pedals", &basis[..]),
            named("crank", &disagreeing[..]),
        ];
        let found = figures(
            named("trainer", &under_test),
            &references,
            &[],
            plain(&basis),
            38..56,
            1.0,
        );
        assert_eq!(found.time_constant_s, None);
        assert!(found.note.contains("references' peaks"), "{}", found.note);
        assert!(found.peak_ratio.is_some());

        let steady = of(&[200.0; 60], &[200.0; 60], 20..40);
        assert!(steady.note.contains("does not rise"), "{}", steady.note);

        let mut gappy = effort();
        gappy[45] = f64::NAN;
        let found = of(&blunted(), &gappy, 38..56);
        assert!(found.note.contains("lack seconds"), "{}", found.note);

        let silent = of(&[f64::NAN; 82], &effort(), 38..56);
        assert!(silent.note.contains("fewer than 10 s"), "{}", silent.note);
        assert_eq!((silent.peak_ratio, silent.shortfall_w), (None, None));
    }

    #[test]
    fn windows_outside_and_of_one_second() {
        let outside = of(&blunted(), &effort(), 500..520);
        assert!(outside.note.contains("no second"), "{}", outside.note);
        assert_eq!(outside.peaks[0].best_1s_w, None);
        let one = of(&effort(), &effort(), 45..46);
        assert_eq!((one.peak_ratio, one.peaks[0].best_3s_w), (Some(1.0), None));
        let empty = of(&[], &[], 0..0);
        assert_eq!(empty.peak_ratio, None);
    }
}
