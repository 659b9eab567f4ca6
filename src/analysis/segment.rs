//! All figures of one window, and the table of a session: where the modules come together.

use super::kinds::ByKind;
use super::kinds::cadence;
use super::kinds::spec::Inputs;
use super::loss::Loss;
use super::mean_max::best_mean;
use super::ratio::ratio;
use super::ride::{self, RideFindings};
use super::verdict::judge::{self, Evidence};
use super::verdict::reason::Reason;
use super::verdict::references::Between;
use super::window::{Compared, Window};
use crate::analysis::figures::{SegmentFigures, StreamFigures};
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::references::References;
use crate::recording::Channel;
use crate::session::{Kind, Role, Segment, Session};
use crate::stats::Summary;
use crate::timeline::{Aligned, Member, Span};

/// The figures that are cheap enough to follow a brush: means and best efforts, agreement,
/// references, verdict. What takes a fit or a resampling is left out.
///
/// `findings` are those of the whole ride ([`ride::findings`]), searched once after each change of
/// clocks or roles; without them ([`RideFindings::default`]) frozen and false zero seconds count.
pub fn live(
    session: &Session,
    aligned: &Aligned,
    findings: &RideFindings,
    span: Span,
    kind: Kind,
) -> SegmentFigures {
    let window = Window::new(session, aligned, findings, span);
    let comparisons = window.comparisons();
    let references = window.references();
    let mut verdicts = verdicts(&window, kind, &comparisons, references.as_ref());
    let verdict = (!verdicts.is_empty()).then(|| verdicts.remove(0));
    SegmentFigures {
        streams: streams(&window),
        agreement: comparisons
            .iter()
            .map(|(under_test, member, comparison)| {
                comparison.figures(window.label(*under_test), window.name(*member))
            })
            .collect(),
        references,
        verdict,
        further_verdicts: verdicts,
        ..SegmentFigures::bare(0, kind, span.from_s, span.to_s)
    }
}

/// Two streams against each other over `span`, as the references are: without the seconds that are
/// no readings. `None` where they have fewer than two in common.
pub fn between(
    session: &Session,
    aligned: &Aligned,
    findings: &RideFindings,
    span: Span,
    [first, second]: [usize; 2],
) -> Option<Between> {
    Window::new(session, aligned, findings, span).between(first, second)
}

/// All figures of `segment`, which is the one numbered `id` (from 1). For many segments of one
/// ride, search the ride once and use [`figures_with`].
pub fn figures(
    session: &Session,
    aligned: &Aligned,
    segment: &Segment,
    id: usize,
) -> SegmentFigures {
    figures_with(session, aligned, &ride::findings(aligned), segment, id)
}

/// All figures of `segment`, given what the whole ride shows.
pub fn figures_with(
    session: &Session,
    aligned: &Aligned,
    findings: &RideFindings,
    segment: &Segment,
    id: usize,
) -> SegmentFigures {
    let span = Span::new(segment.from_s, segment.to_s);
    let window = Window::new(session, aligned, findings, span);
    let mut figures = SegmentFigures {
        id,
        set_point_w: segment.set_point_w,
        note: segment.note.clone(),
        noise: window.noise(),
        ..live(session, aligned, findings, span, segment.kind)
    };
    for (agreement, pair) in figures.agreement.iter_mut().zip(aligned.comparisons()) {
        let source = window.trusted_power(Member::Stream(pair.under_test));
        let against = window.trusted_power(pair.reference);
        agreement.ratio = source.zip(against).and_then(|(x, y)| ratio(&x, &y));
    }
    let comparisons = window.comparisons();
    let basis = aligned
        .powered(Role::UnderTest)
        .next()
        .and_then(|under_test| window.basis(under_test, &comparisons))
        .map(|(_, member, _)| *member);
    figures.cadence = cadence::of_window(&window);
    let inputs = basis.and_then(|basis| Inputs::of(&window, basis, segment.set_point_w, span));
    if let Some(inputs) = inputs {
        figures.of_kind = ByKind::of(segment.kind, &inputs);
    }
    figures
}

/// Every stream that carries power, as recorded.
fn streams(window: &Window<'_>) -> Vec<StreamFigures> {
    let best_5s_rows = (5.0 / window.aligned.grid.step_s).round() as usize;
    (0..window.aligned.tracks.len())
        .filter_map(|index| {
            let power = window.column(index, Channel::Power)?;
            let summary = Summary::of(power);
            let cadence = window.column(index, Channel::Cadence).map(Summary::of);
            Some(StreamFigures {
                label: window.label(index).to_owned(),
                n: summary.n,
                mean_w: summary.mean(),
                sd_w: summary.sd(),
                max_w: summary.max(),
                best_5s_w: best_mean(power, best_5s_rows).map(|(mean, _)| mean),
                cadence_mean_rpm: cadence.filter(|c| c.n >= 2).and_then(|c| c.mean()),
            })
        })
        .collect()
}

/// One verdict a source under test, in session order.
fn verdicts(
    window: &Window<'_>,
    kind: Kind,
    comparisons: &[Compared],
    references: Option<&References>,
) -> Vec<Verdict> {
    window
        .aligned
        .powered(Role::UnderTest)
        .map(|under_test| {
            let basis = window.basis(under_test, comparisons);
            let member = basis.map(|(_, member, _)| *member);
            let weights = member.map_or_else(Vec::new, |member| window.weights(member));
            let stated: Vec<_> = weights
                .iter()
                .map(|(i, share)| window.stated(*i, *share))
                .collect();
            let sites: Vec<_> = weights.iter().map(|(i, _)| window.site(*i)).collect();
            let weights: Vec<usize> = weights.into_iter().map(|(i, _)| i).collect();
            let mut verdict = judge::verdict(&Evidence {
                kind,
                rows: window.rows.len(),
                dropout_rows: dropout_rows(window, under_test, member),
                under_test: window.label(under_test),
                site: window.site(under_test),
                reference: member.map_or("", |m| window.name(m)),
                comparison: basis.map(|(_, _, comparison)| comparison),
                stated: &stated,
                sites: &sites,
                references,
                duplicate_references: window.duplicate_references(&weights),
                claim: window.session.claim_of(under_test).unwrap_or_default(),
                common: window.session.references,
                loss: Loss::between(&sites, window.site(under_test), window.session.allowance),
            });
            verdict.reasons.extend(single_basis(window, member));
            verdict.reasons.extend(excursion_inside(window, under_test));
            verdict
        })
        .collect()
}

/// Says so where one of several references alone is the basis.
fn single_basis(window: &Window<'_>, member: Option<Member>) -> Option<Reason> {
    let several = window.aligned.power(Member::Consensus).is_some();
    let Some(Member::Stream(index)) = member.filter(|_| several) else {
        return None;
    };
    Some(Reason::Alone {
        label: window.label(index).to_owned(),
        contested: 2 * window.contested_rows() > window.rows.len(),
    })
}

/// Rows left out because a stream froze or read a false zero.
fn dropout_rows(window: &Window<'_>, under_test: usize, member: Option<Member>) -> usize {
    let members = std::iter::once(Member::Stream(under_test)).chain(member);
    let mut out = vec![false; window.rows.len()];
    for rows in members.flat_map(|member| window.untrusted(member)) {
        if let Some(part) = out.get_mut(rows) {
            part.fill(true);
        }
    }
    out.iter().filter(|row| **row).count()
}

/// An excursion is no dropout: what the source reported stays in the bias, and is pointed out.
fn excursion_inside(window: &Window<'_>, under_test: usize) -> Option<Reason> {
    let grid = window.aligned.grid;
    let span = Span::new(grid.time_s(window.rows.start), grid.time_s(window.rows.end));
    let inside = window.findings.excursions_in(under_test, span);
    let largest = inside
        .iter()
        .max_by(|a, b| a.peak_w.abs().total_cmp(&b.peak_w.abs()))?;
    let seconds: f64 = inside.iter().map(|e| e.to_s - e.from_s).sum();
    Some(Reason::Excursion {
        under_test: window.label(under_test).to_owned(),
        seconds,
        peak_w: largest.peak_w,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{aligned_of, ridden, segment};
    use crate::analysis::verdict::conformity::Outcome;
    use crate::session::CONSENSUS;
    use crate::session::{Allowance, Claim};
    use crate::stats::vectors::{assert_close, lcg};

    /// A rider who wanders about 250 W for `seconds`.
    fn rider(seconds: usize) -> Vec<f64> {
        (0..seconds)
            .map(|t| 250.0 + 12.0 * (t as f64 / 23.0).sin())
            .collect()
    }

    /// What a meter with this gain and noise reads, from the generator's values at `from`.
    fn meter(truth: &[f64], gain: f64, from: usize) -> Vec<f64> {
        let noise = lcg(from + truth.len());
        let noisy = truth.iter().zip(&noise[from..]);
        noisy.map(|(w, u)| gain * w + 8.0 * (u - 0.5)).collect()
    }

    /// `trainer` under test against references by label, claim and what they read.
    fn against<const N: usize>(
        trainer: Vec<f64>,
        references: [(&'static str, Option<f64>, Vec<f64>); N],
    ) -> (Session, Aligned) {
        let mut streams = vec![ridden("trainer", Role::UnderTest, None, trainer)];
        streams.extend(
            references.map(|(label, claim, watts)| ridden(label, Role::Reference, claim, watts)),
        );
        aligned_of(streams)
    }

    fn ride(seconds: usize, gain: f64) -> (Session, Aligned) {
        let truth = rider(seconds);
        against(
            meter(&truth, gain, 0),
            [
                ("pedals", Some(1.0), meter(&truth, 1.001, 1000)),
                ("hub", Some(1.0), meter(&truth, 0.999, 2000)),
            ],
        )
    }

    fn judged(session: &Session, aligned: &Aligned, to_s: f64) -> Verdict {
        let block = segment(Kind::SteadyBlock, 0.0, to_s);
        figures(session, aligned, &block, 1).verdict.unwrap()
    }

    #[test]
    fn a_true_source_conforms_and_a_false_one_does_not() {
        for (gain, outcome) in [
            (1.0, Outcome::Conforms),
            (1.02, Outcome::Inconclusive),
            (1.05, Outcome::DoesNotConform),
            (0.95, Outcome::DoesNotConform),
        ] {
            let (session, aligned) = ride(300, gain);
            let verdict = judged(&session, &aligned, 300.0);
            assert_eq!(
                verdict.outcome,
                outcome,
                "gain {gain}: {:?}",
                verdict.sentences()
            );
            assert_eq!(verdict.reference, CONSENSUS);
            assert!(
                verdict.sentences()[0].starts_with("bias "),
                "{:?}",
                verdict.sentences()
            );
        }
    }

    #[test]
    fn the_budget_has_a_line_for_the_scatter_and_each_reference() {
        let (session, aligned) = ride(300, 1.0);
        let verdict = judged(&session, &aligned, 300.0);
        let sources: Vec<&str> = verdict.budget.iter().map(|l| l.source.as_str()).collect();
        assert!(sources[0].starts_with("scatter"));
        assert_eq!(sources[1..], ["claim of pedals", "claim of hub"]);
        // ±1 % rectangular, weight 1/2.
        let u = verdict.budget[1].standard_uncertainty_percent.unwrap();
        assert_close(u, 0.5 / 3.0_f64.sqrt(), 1e-12);
        let combined: f64 = verdict
            .budget
            .iter()
            .map(|l| l.standard_uncertainty_percent.unwrap().powi(2))
            .sum();
        let expanded = verdict.coverage_factor.unwrap() * combined.sqrt();
        assert_close(
            verdict.expanded_uncertainty_percent.unwrap(),
            expanded,
            1e-12,
        );
    }

    #[test]
    fn a_short_block_is_inconclusive_and_says_what_would_do() {
        let (session, aligned) = ride(300, 1.0);
        let verdict = judged(&session, &aligned, 45.0);
        assert_eq!(verdict.outcome, Outcome::Inconclusive);
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("only 45 s") && r.contains("60 s"))
        );
    }

    #[test]
    fn references_apart_withhold_the_verdict_and_are_named() {
        let truth = rider(300);
        let (session, aligned) = against(
            meter(&truth, 1.0, 0),
            [
                ("pedals", Some(1.0), meter(&truth, 1.03, 1000)),
                ("hub", Some(1.0), meter(&truth, 0.99, 2000)),
            ],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.outcome, Outcome::ReferencesDisagree);
        assert!(
            verdict.sentences()[0].contains("pedals and hub differ by"),
            "{:?}",
            verdict.sentences()
        );
    }

    #[test]
    fn a_reference_without_a_claim_decides_nothing_and_the_way_out_is_told() {
        let truth = rider(300);
        let (session, aligned) = against(
            meter(&truth, 1.2, 0),
            [("pedals", None, meter(&truth, 1.0, 1000))],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.outcome, Outcome::Inconclusive);
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("claim_percent"))
        );
    }

    #[test]
    fn the_allowance_is_taken_off_the_reference() {
        let (mut session, aligned) = ride(300, 0.97);
        assert_eq!(
            judged(&session, &aligned, 300.0).outcome,
            Outcome::DoesNotConform
        );
        session.allowance = Some(Allowance {
            percent: 3.0,
            plus_minus: 0.5,
        });
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(
            verdict.outcome,
            Outcome::Conforms,
            "{:?}",
            verdict.sentences()
        );
        assert!(verdict.bias_percent.unwrap().abs() < 0.3);
        assert!(
            verdict
                .budget
                .iter()
                .any(|l| l.source.contains("allowance"))
        );
    }

    #[test]
    fn a_reference_missing_for_most_of_the_block_leaves_the_other_one() {
        let truth = rider(300);
        let mut hub = meter(&truth, 1.0, 2000);
        hub[40..].fill(f64::NAN);
        let (session, aligned) = against(
            meter(&truth, 1.0, 0),
            [
                ("pedals", Some(0.5), meter(&truth, 1.0, 1000)),
                ("hub", Some(1.0), hub),
            ],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.reference, "pedals");
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("only pedals")),
            "{:?}",
            verdict.sentences()
        );
    }

    #[test]
    fn a_reference_weighs_as_much_as_it_is_there() {
        let truth = rider(300);
        let mut crank = meter(&truth, 1.0, 3000);
        crank[30..].fill(f64::NAN);
        let (session, aligned) = against(
            meter(&truth, 1.0, 0),
            [
                ("pedals", Some(1.0), meter(&truth, 1.0, 1000)),
                ("hub", Some(1.0), meter(&truth, 1.0, 2000)),
                ("crank", Some(1.0), crank),
            ],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.n, 300);
        // 30 s of three and 270 s of two: (10 + 135) / 300, and 10 / 300.
        let shares = [145.0 / 300.0, 145.0 / 300.0, 10.0 / 300.0];
        for (line, share) in verdict.budget[1..].iter().zip(shares) {
            let u = line.standard_uncertainty_percent.unwrap();
            assert_close(u, share / 3.0_f64.sqrt(), 1e-12);
        }
    }

    #[test]
    fn references_that_contradict_each_other_throughout_are_not_said_to_be_missing() {
        let truth = rider(300);
        let (session, aligned) = against(
            meter(&truth, 1.0, 0),
            [
                ("pedals", Some(1.0), meter(&truth, 0.5, 1000)),
                ("hub", Some(1.0), meter(&truth, 1.0, 2000)),
            ],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.outcome, Outcome::ReferencesDisagree);
        let said = verdict.sentences().join("\n");
        assert!(said.contains("contradict each other"), "{said}");
        assert!(!said.contains("has values"), "{said}");
    }

    #[test]
    fn one_meter_recorded_twice_is_no_two_references() {
        let truth = rider(300);
        let pedals = meter(&truth, 1.0, 1000);
        let (session, aligned) = against(
            meter(&truth, 1.0, 0),
            [
                ("pedals", Some(1.0), pedals.clone()),
                ("again", Some(1.0), pedals),
            ],
        );
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.outcome, Outcome::Inconclusive);
        let said = verdict.sentences().join("\n");
        assert!(said.contains("pedals and again report the same"), "{said}");
        assert!(!said.contains("a block of"), "{said}");
    }

    #[test]
    fn an_allowance_that_is_none_takes_no_blame() {
        let (mut session, aligned) = ride(300, 1.02);
        let said = judged(&session, &aligned, 300.0).sentences().join("\n");
        assert!(said.contains("the references alone leave"), "{said}");
        session.allowance.get_or_insert_default().plus_minus = 0.5;
        let said = judged(&session, &aligned, 300.0).sentences().join("\n");
        assert!(said.contains("and the allowance alone leave"), "{said}");
    }

    #[test]
    fn no_longer_block_is_proposed_where_a_claim_is_missing() {
        let truth = rider(300);
        let (session, aligned) = against(
            meter(&truth, 1.2, 0),
            [("pedals", None, meter(&truth, 1.0, 1000))],
        );
        let said = judged(&session, &aligned, 300.0).sentences().join("\n");
        assert!(said.contains("claim_percent"), "{said}");
        assert!(!said.contains("block of about"), "{said}");
    }

    #[test]
    fn missing_seconds_are_said_and_left_out() {
        let truth = rider(300);
        let mut trainer = meter(&truth, 1.0, 0);
        trainer[100..160].fill(f64::NAN);
        let (session, aligned) =
            against(trainer, [("pedals", Some(0.5), meter(&truth, 1.0, 1000))]);
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(verdict.n, 240);
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("20 % of the seconds"))
        );
    }

    #[test]
    fn near_zero_power_is_judged_in_watts_alone() {
        let still = meter(&[0.0; 300], 1.0, 0);
        let (mut session, aligned) = against(
            still.iter().map(|w| w + 20.0).collect(),
            [("pedals", Some(1.0), vec![0.0; 300])],
        );
        session.claim = Claim {
            percent: 2.0,
            watts: 3.0,
        };
        let verdict = judged(&session, &aligned, 300.0);
        assert_eq!(
            verdict.outcome,
            Outcome::DoesNotConform,
            "{:?}",
            verdict.sentences()
        );
        assert_eq!((verdict.bias_percent, verdict.limit_percent), (None, None));
        assert_eq!(verdict.limit_w, Some(3.0));
        assert!(verdict.sentences()[0].contains(" W"));
        assert!(
            verdict.sentences().iter().any(|r| r.contains("under 10 W")),
            "{:?}",
            verdict.sentences()
        );
    }

    #[test]
    fn a_window_outside_the_ride_or_without_values_has_nulls_and_a_sentence() {
        let (session, aligned) = ride(300, 1.0);
        let outside = segment(Kind::SteadyBlock, 5000.0, 5100.0);
        let figures = figures(&session, &aligned, &outside, 1);
        assert_eq!(figures.agreement[0].n, 0);
        assert_eq!(figures.agreement[0].bias_w, None);
        assert_eq!(figures.streams[0].mean_w, None);
        let verdict = figures.verdict.unwrap();
        assert_eq!(verdict.outcome, Outcome::NotApplicable);
        assert!(
            verdict.sentences()[0].contains("no second in which"),
            "{:?}",
            verdict.sentences()
        );
    }

    #[test]
    fn one_second_and_no_second_with_both_values_are_said() {
        let truth = rider(300);
        let mut one = vec![f64::NAN; 300];
        one[40] = 251.0;
        for (trainer, outcome, said) in [
            (one, Outcome::Inconclusive, "only 1 s"),
            (
                vec![f64::NAN; 300],
                Outcome::NotApplicable,
                "no second in which",
            ),
        ] {
            let (session, aligned) =
                against(trainer, [("pedals", Some(1.0), meter(&truth, 1.0, 1000))]);
            let verdict = judged(&session, &aligned, 300.0);
            assert_eq!(verdict.outcome, outcome);
            assert!(
                verdict.sentences().iter().any(|r| r.contains(said)),
                "{said}: {:?}",
                verdict.sentences()
            );
        }
    }

    #[test]
    fn no_reference_or_no_claim_or_another_kind_is_not_applicable_and_says_why() {
        let truth = rider(300);
        let trainer = || ridden("trainer", Role::UnderTest, None, meter(&truth, 1.0, 0));
        let (session, aligned) = aligned_of(vec![trainer()]);
        let alone = judged(&session, &aligned, 300.0);
        assert_eq!(alone.outcome, Outcome::NotApplicable);
        assert!(alone.sentences()[0].contains("no reference"));
        let (mut session, aligned) = ride(300, 1.0);
        let sprint = live(
            &session,
            &aligned,
            &RideFindings::default(),
            Span::new(0.0, 20.0),
            Kind::Sprint,
        );
        assert_eq!(sprint.verdict.unwrap().outcome, Outcome::NotApplicable);
        session.claim = Claim {
            percent: 0.0,
            watts: 0.0,
        };
        let unclaimed = judged(&session, &aligned, 300.0);
        assert!(unclaimed.sentences()[0].contains("no claim"));
    }

    #[test]
    fn an_open_stretch_has_figures_and_no_verdict() {
        let (session, aligned) = ride(300, 1.05);
        let open = segment(Kind::Open, 0.0, 300.0);
        let verdict = figures(&session, &aligned, &open, 1).verdict.unwrap();
        let held = judged(&session, &aligned, 300.0);
        assert_eq!(held.outcome, Outcome::DoesNotConform);
        assert_eq!(verdict.outcome, Outcome::NotApplicable);
        assert_eq!(verdict.conformance_probability, None);
        assert_eq!(
            (verdict.bias_percent, verdict.expanded_uncertainty_percent),
            (held.bias_percent, held.expanded_uncertainty_percent)
        );
        let said = verdict.sentences().join("\n");
        assert!(
            said.starts_with("an open stretch asks for nothing"),
            "{said}"
        );
        assert!(
            said.contains("bias +4.9") && !said.contains("limit"),
            "{said}"
        );
    }

    #[test]
    fn a_constant_series_is_certain_and_never_a_number_that_is_none() {
        let (session, aligned) =
            against(vec![255.0; 300], [("pedals", Some(0.5), vec![250.0; 300])]);
        let block = segment(Kind::SteadyBlock, 0.0, 300.0);
        let figures = figures(&session, &aligned, &block, 1);
        assert_eq!(figures.agreement[0].bias_ci95_w, Some([5.0, 5.0]));
        let text = serde_json::to_string(&figures).unwrap();
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        let verdict = figures.verdict.unwrap();
        assert_eq!(verdict.outcome, Outcome::Inconclusive);
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("in the same way")),
            "{:?}",
            verdict.sentences()
        );
    }

    #[test]
    fn live_and_full_figures_agree() {
        let (session, aligned) = ride(300, 1.01);
        let block = segment(Kind::SteadyBlock, 30.0, 250.0);
        let full = figures(&session, &aligned, &block, 4);
        let found = ride::findings(&aligned);
        let live = live(
            &session,
            &aligned,
            &found,
            Span::new(30.0, 250.0),
            Kind::SteadyBlock,
        );
        let mut without = full.agreement.clone();
        for pair in &mut without {
            assert!(pair.ratio.take().is_some());
        }
        assert_eq!(live.agreement, without);
        assert_eq!(live.verdict, full.verdict);
        assert_eq!((full.id, full.noise.unwrap().streams.len()), (4, 3));
    }

    #[test]
    fn frozen_and_false_zero_seconds_are_left_out_and_said() {
        let truth = rider(300);
        let mut trainer = meter(&truth, 1.0, 0);
        let whole = trainer.clone();
        trainer[100..112].fill(0.0);
        let ride = |trainer: Vec<f64>| {
            against(
                trainer,
                [
                    ("pedals", Some(0.5), meter(&truth, 1.0, 1000)),
                    ("hub", Some(0.5), meter(&truth, 1.0, 2000)),
                ],
            )
        };
        let (session, aligned) = ride(trainer);
        let block = segment(Kind::SteadyBlock, 0.0, 300.0);
        let found = figures(&session, &aligned, &block, 1);
        let (session, aligned) = ride(whole);
        let undisturbed = figures(&session, &aligned, &block, 1);
        let bias = |f: &SegmentFigures| f.agreement[0].bias_w.unwrap();
        assert_eq!(found.agreement[0].n, 288);
        assert!((bias(&found) - bias(&undisturbed)).abs() < 0.3);
        let verdict = found.verdict.unwrap();
        assert_eq!(
            verdict.outcome,
            Outcome::Conforms,
            "{:?}",
            verdict.sentences()
        );
        assert!(
            verdict
                .sentences()
                .iter()
                .any(|r| r.contains("12 s") && r.contains("zero")),
            "{:?}",
            verdict.sentences()
        );
    }
}
