//! The figures that only one kind of segment has, for the first source under test, and cadence.

use std::borrow::Cow;

use super::sprint::Labelled;
use super::{cadence, coast, gear_change, heat_soak, ramp, sprint, steady};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::kinds::gear_change::GearChange;
use crate::analysis::kinds::sprint::Sprint;
use crate::analysis::ride;
use crate::analysis::window::Window;
use crate::recording::Channel;
use crate::session::{Kind, Role};
use crate::stats::change_points;
use crate::stats::{finite, median_of};
use crate::timeline::{Grid, Member, Span};

/// Fills in what `figures.kind` asks for, against `basis` (what the verdict rests on).
pub(in crate::analysis) fn fill(
    figures: &mut SegmentFigures,
    window: &Window<'_>,
    basis: Option<Member>,
) {
    figures.cadence = cadences(window);
    let under_test = window.aligned.powered(Role::UnderTest).next();
    let (Some(under_test), Some(basis)) = (under_test, basis) else {
        return;
    };
    let columns = (
        window.column(under_test, Channel::Power),
        window.power(basis),
    );
    let (Some(source), Some(reference)) = columns else {
        return;
    };
    // Frozen and false zero seconds are no readings for any figure but those of a coast, which asks
    // what was reported while nobody pedals.
    let trusted = (
        window.trusted_power(Member::Stream(under_test)),
        window.trusted_power(basis),
    );
    let (Some(read), Some(delivered)) = trusted else {
        return;
    };
    let step_s = window.aligned.grid.step_s;
    match figures.kind {
        Kind::SteadyBlock => {
            let span = Span::new(figures.from_s, figures.to_s);
            figures.steady = Some(steady::figures(
                &read,
                &delivered,
                figures.set_point_w,
                step_s,
                window.findings.excursions_in(under_test, span),
                window.known_noise(under_test, basis),
            ));
        }
        Kind::Sprint => {
            figures.sprint = sprint_figures(window, under_test, basis);
            let caution = window.session.delay_caution(under_test);
            if let (Some(sprint), Some(caution)) = (&mut figures.sprint, caution) {
                sprint.note = sentences(&sprint.note, &caution);
            }
        }
        Kind::Ramp => {
            let slow_noise_w = window.slow_noise_w(basis);
            let asked = ride::set_points(window.aligned);
            let found = ramp::figures(&read, &delivered, &asked, slow_noise_w, window.grid());
            let later_s = sampled_later_s(window, under_test, basis);
            figures.ramp = Some(found.sampled_later(later_s));
        }
        Kind::GearChange => {
            figures.gear_change =
                Some(gear_changes(window, (under_test, basis), &read, &delivered));
        }
        Kind::Coast => {
            let turning = window.turning();
            figures.coast = Some(coast::figures(
                source,
                reference,
                turning.as_deref(),
                step_s,
            ));
        }
        Kind::HeatSoak => {
            let warmth = window.column(under_test, Channel::Temperature);
            let pair = window.known_pair(under_test, basis);
            let pair = pair.and_then(|pair| {
                let without_lag = pair.without_lag(window.rows.clone(), &delivered);
                Some((pair.known()?, without_lag))
            });
            figures.heat_soak = Some(heat_soak::figures(
                &read,
                &delivered,
                warmth,
                step_s,
                pair.as_ref().map(|(noise, read)| (*noise, read.as_slice())),
            ));
        }
        Kind::Slope | Kind::Open => {}
    }
}

impl<'a> Window<'a> {
    /// The grid of the window alone.
    fn grid(&self) -> Grid {
        let grid = self.aligned.grid;
        Grid {
            start_s: grid.time_s(self.rows.start),
            step_s: grid.step_s,
            len: self.rows.len(),
        }
    }

    /// Wander of a member's power over the whole ride, W.
    fn slow_noise_w(&self, member: Member) -> f64 {
        let power = self.aligned.power(member).unwrap_or_default();
        change_points::slow_noise_w(power, self.aligned.grid.step_s)
    }

    /// Cadence of the references.
    fn turning(&self) -> Option<Vec<f64>> {
        let whole = ride::reference_cadence(self.aligned)?;
        whole.get(self.rows.clone()).map(<[f64]>::to_vec)
    }

    /// Wheel speed of a source under test, else of the first stream that carries it.
    fn wheel_speed(&self, under_test: usize) -> Option<&'a [f64]> {
        let roles = [Role::Reference, Role::UnderTest, Role::Context];
        let others = roles
            .into_iter()
            .flat_map(|role| self.session.with_role(role));
        std::iter::once(under_test)
            .chain(others)
            .find_map(|index| self.column(index, Channel::Speed))
    }
}

/// Two remarks as one.
fn sentences(first: &str, second: &str) -> String {
    if first.is_empty() {
        second.to_owned()
    } else {
        format!("{first}. {second}")
    }
}

fn sprint_figures(window: &Window<'_>, under_test: usize, basis: Member) -> Option<Sprint> {
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
    Some(sprint::figures(
        Labelled {
            label: window.label(under_test),
            power: &source,
        },
        &labelled(&references),
        &labelled(&context),
        sprint::Basis {
            power: &readings(basis)?,
            expected_loss_percent: window.session.allowance().percent,
            sampled_later_s: sampled_later_s(window, under_test, basis),
        },
        window.rows.clone(),
        aligned.grid.step_s,
    ))
}

/// How much later within each row `under_test` was sampled than `basis`, over the window, s; zero
/// where either has no sample there. The grid takes each second's nearest sample, half a second off
/// at most, and a dead time told from the rows lacks that.
fn sampled_later_s(window: &Window<'_>, under_test: usize, basis: Member) -> f64 {
    let aligned = window.aligned;
    let grid = aligned.grid;
    let span = Span::new(
        grid.time_s(window.rows.start),
        grid.time_s(window.rows.end.saturating_sub(1)),
    );
    let phase_s = |index: usize| {
        let track = aligned.tracks.get(index)?;
        let times_s = track.source().samples()?.time_s();
        let off_s = times_s.get(track.raw_rows(span))?.iter().map(|recorder_s| {
            let at_s = track.clock.to_session(*recorder_s);
            let rows = (at_s - grid.start_s) / grid.step_s;
            (rows - rows.round()) * grid.step_s
        });
        median_of(off_s.collect())
    };
    let of_basis = match basis {
        Member::Stream(index) => phase_s(index),
        Member::Consensus => {
            let each: Vec<f64> = aligned
                .powered(Role::Reference)
                .filter_map(phase_s)
                .collect();
            finite(each.iter().sum::<f64>() / each.len() as f64)
        }
    };
    let later_s = phase_s(under_test).zip(of_basis);
    later_s.map_or(0.0, |(tested_s, basis_s)| tested_s - basis_s)
}

fn labelled<'a>(columns: &'a [(&'a str, Cow<'_, [f64]>)]) -> Vec<Labelled<'a>> {
    let columns = columns.iter();
    columns
        .map(|(label, power)| Labelled { label, power })
        .collect()
}

fn gear_changes(
    window: &Window<'_>,
    (under_test, basis): (usize, Member),
    source: &[f64],
    against: &[f64],
) -> GearChange {
    let turning = window.turning();
    let inputs = gear_change::Inputs {
        under_test: source,
        reference: against,
        speed: window.wheel_speed(under_test),
        cadence: turning.as_deref(),
        grid: window.grid(),
    };
    let events_s = ride::gear_changes_s(window.aligned);
    gear_change::figures(&inputs, &events_s, window.known_noise(under_test, basis))
}

/// Cadence of every source under test against every reference, where both carry it.
fn cadences(window: &Window<'_>) -> Vec<CadenceAgreement> {
    let carrying = |role: Role| -> Vec<(&str, &[f64])> {
        let streams = window.session.with_role(role);
        streams
            .filter_map(|i| {
                Some((
                    window.name(Member::Stream(i)),
                    window.column(i, Channel::Cadence)?,
                ))
            })
            .collect()
    };
    let references = carrying(Role::Reference);
    let step_s = window.aligned.grid.step_s;
    carrying(Role::UnderTest)
        .into_iter()
        .flat_map(|under_test| {
            references
                .iter()
                .filter_map(move |reference| cadence::compare(under_test, *reference, step_s))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use crate::analysis::bench::{aligned_of, ridden, segment};
    use crate::analysis::dropout::DropoutKind;
    use crate::analysis::ride::findings;
    use crate::analysis::table::Table;
    use crate::analysis::table::table;
    use crate::session::Session;
    use crate::stats::vectors::lcg;
    use crate::timeline::Aligned;

    const SECONDS: usize = 900;

    /// Steps of 30 s, an effort of 10 s, a steady rest: what one rider did.
    fn ridden_w() -> Vec<f64> {
        let level = |t: usize| match t {
            0..300 => [160.0, 220.0, 160.0, 120.0, 180.0, 240.0][(t / 30) % 6],
            400..410 => 800.0,
            _ => 200.0,
        };
        let slow_noise = lcg(SECONDS);
        (0..SECONDS)
            .map(|t| level(t) + 24.0 * (slow_noise[t] - 0.5))
            .collect()
    }

    fn meter(from: usize) -> Vec<f64> {
        let noise = lcg(from + SECONDS);
        let truth = ridden_w();
        let noisy = truth.iter().zip(&noise[from..]);
        noisy.map(|(w, u)| w + 4.0 * (u - 0.5)).collect()
    }

    fn ride(trainer: Vec<f64>) -> (Session, Aligned) {
        let (mut session, aligned) = aligned_of(vec![
            ridden("trainer", Role::UnderTest, None, trainer),
            ridden("pedals", Role::Reference, Some(1.0), meter(1000)),
            ridden("hub", Role::Reference, Some(1.0), meter(2000)),
        ]);
        session.segments = vec![
            segment(Kind::Ramp, 0.0, 300.0),
            segment(Kind::Sprint, 380.0, 430.0),
            segment(Kind::SteadyBlock, 500.0, 700.0),
            segment(Kind::GearChange, 500.0, 700.0),
            segment(Kind::HeatSoak, 440.0, 900.0),
            segment(Kind::Open, 0.0, 900.0),
        ];
        (session, aligned)
    }

    /// The table without what tells of dropouts as such, and without what was recorded.
    fn but_for_dropouts(mut table: Table) -> Table {
        for stream in &mut table.streams {
            stream.dropouts.clear();
            stream.mean_max.clear();
        }
        for segment in &mut table.segments {
            segment.streams.clear();
            for verdict in segment
                .verdict
                .iter_mut()
                .chain(&mut segment.further_verdicts)
            {
                verdict.reasons.clear();
            }
        }
        table
    }

    /// Where two results differ by more than the order of adding up makes.
    fn differences(a: &Value, b: &Value, at: &str) -> Vec<String> {
        match (a, b) {
            (Value::Object(a), Value::Object(b)) => a
                .iter()
                .flat_map(|(name, a)| differences(a, &b[name], &format!("{at}.{name}")))
                .collect(),
            (Value::Array(a), Value::Array(b)) if a.len() == b.len() => a
                .iter()
                .zip(b)
                .enumerate()
                .flat_map(|(i, (a, b))| differences(a, b, &format!("{at}[{i}]")))
                .collect(),
            (Value::Number(x), Value::Number(y)) => {
                let (x, y) = (x.as_f64().unwrap(), y.as_f64().unwrap());
                let near = (x - y).abs() <= 1e-6 * (1.0 + x.abs());
                (!near)
                    .then(|| format!("{at}: {x} {y}"))
                    .into_iter()
                    .collect()
            }
            _ if a == b => Vec::new(),
            _ => vec![format!("{at}: {a} {b}")],
        }
    }

    #[test]
    fn frozen_and_false_zero_seconds_are_missing_to_every_figure() {
        let mut bad = meter(0);
        for zeros in [62..67, 416..419, 520..532] {
            bad[zeros].fill(0.0);
        }
        for frozen in [200..212, 600..615] {
            let held = bad[frozen.start];
            bad[frozen].fill(held);
        }
        let (session, aligned) = ride(bad.clone());
        let found = findings(&aligned);
        let kinds: Vec<DropoutKind> = found.dropouts[0].iter().map(|d| d.kind).collect();
        let (freeze, zero) = (DropoutKind::Freeze, DropoutKind::Zero);
        assert_eq!(kinds, [zero, freeze, zero, zero, freeze]);
        let mut missing = bad;
        for rows in found.untrusted(&aligned, Member::Stream(0)) {
            missing[rows].fill(f64::NAN);
        }
        let (_, gaps) = ride(missing);
        let (found, wanted) = (table(&session, &aligned), table(&session, &gaps));
        assert!(found.segments[0].ramp.as_ref().unwrap().steps.len() > 5);
        assert!(
            found.segments[2]
                .steady
                .as_ref()
                .unwrap()
                .drift_w_per_min
                .is_some()
        );
        let json = |table| serde_json::to_value(but_for_dropouts(table)).unwrap();
        let apart = differences(&json(found), &json(wanted), "");
        assert!(apart.is_empty(), "{apart:#?}");
    }

    /// Nobody shifted: the source's own cadence jumps, and no reference carries one.
    #[test]
    fn a_sources_own_cadence_tells_no_gear() {
        let rpm: Vec<f64> = (0..SECONDS)
            .map(|t| if t % 90 < 30 { 120.0 } else { 90.0 })
            .collect();
        let mut trainer = ridden("trainer", Role::UnderTest, None, meter(0));
        trainer.channels.push((Channel::Speed, vec![8.1; SECONDS]));
        trainer.channels.push((Channel::Cadence, rpm));
        let found = |references_rpm: Option<f64>| {
            let mut pedals = ridden("pedals", Role::Reference, Some(1.0), meter(1000));
            let carried = references_rpm.map(|rpm| (Channel::Cadence, vec![rpm; SECONDS]));
            pedals.channels.extend(carried);
            let mut own = ridden("trainer", Role::UnderTest, None, meter(0));
            own.channels.clone_from(&trainer.channels);
            let (session, aligned) = aligned_of(vec![own, pedals]);
            let gears = segment(Kind::GearChange, 500.0, 900.0);
            crate::analysis::segment::figures(&session, &aligned, &gears, 1).gear_change
        };
        assert_eq!(found(None).unwrap().changes, vec![]);
        assert_eq!(found(Some(90.0)).unwrap().changes, vec![]);
    }

    #[test]
    fn what_a_source_holds_while_nobody_pedals_stays_in_a_coast() {
        let mut trainer = meter(0);
        trainer[750..770].fill(70.0);
        let (session, aligned) = aligned_of(vec![
            ridden("trainer", Role::UnderTest, None, trainer),
            ridden("pedals", Role::Reference, Some(1.0), {
                let mut power = meter(1000);
                power[750..770].fill(0.0);
                power
            }),
        ]);
        let coast = segment(Kind::Coast, 748.0, 770.0);
        let found = crate::analysis::segment::figures(&session, &aligned, &coast, 1);
        assert_eq!(found.coast.unwrap().phantom_mean_w, Some(70.0));
    }
}
