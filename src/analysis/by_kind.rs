//! The figures that only one kind of segment has, for the first source under test, and cadence.

use super::figures::{CadenceAgreement, GearChange, SegmentFigures};
use super::sprint::Labelled;
use super::window::Window;
use super::{cadence, change_points, coast, gear_change, heat_soak, ramp, ride, sprint, steady};
use crate::recording::Channel;
use crate::session::{Kind, Role};
use crate::timeline::{Grid, Member, Span};

/// Fills in what `figures.kind` asks for, against `basis` (what the verdict rests on).
pub(super) fn fill(figures: &mut SegmentFigures, window: &Window<'_>, basis: Option<Member>) {
    figures.cadence = cadences(window);
    let under_test = window.aligned.powered(Role::UnderTest).next();
    let (Some(under_test), Some(basis)) = (under_test, basis) else {
        return;
    };
    let columns = (
        window.column(under_test, Channel::Power),
        window.power(basis),
    );
    let (Some(tested), Some(known)) = columns else {
        return;
    };
    // What is fitted to the bias must not see false zeros; what asks for the response must.
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
            ));
        }
        Kind::Sprint => figures.sprint = sprint_figures(window, under_test, basis),
        Kind::Ramp => {
            let wander_w = window.wander_w(basis);
            let asked = ride::set_points(window.aligned);
            figures.ramp = Some(ramp::figures(
                &read,
                &delivered,
                &asked,
                wander_w,
                window.grid(),
            ));
        }
        Kind::GearChange => {
            figures.gear_change = Some(gear_changes(window, under_test, &read, &delivered));
        }
        Kind::Coast => {
            let turning = window.first_column(Role::Reference, Channel::Cadence);
            figures.coast = Some(coast::figures(tested, known, turning, step_s));
        }
        Kind::HeatSoak => {
            let warmth = window.column(under_test, Channel::Temperature);
            figures.heat_soak = Some(heat_soak::figures(&read, &delivered, warmth, step_s));
        }
        Kind::Open => {}
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
    fn wander_w(&self, member: Member) -> f64 {
        let power = self.aligned.power(member).unwrap_or_default();
        change_points::wander_w(power, self.aligned.grid.step_s)
    }

    /// `channel` of the first stream with `role` that carries it.
    fn first_column(&self, role: Role, channel: Channel) -> Option<&'a [f64]> {
        self.session
            .with_role(role)
            .find_map(|index| self.column(index, channel))
    }
}

fn sprint_figures(
    window: &Window<'_>,
    under_test: usize,
    basis: Member,
) -> Option<super::figures::Sprint> {
    let aligned = window.aligned;
    let labelled = |index: usize| {
        Some(Labelled {
            label: window.name(Member::Stream(index)),
            power: aligned.power(Member::Stream(index))?,
        })
    };
    let with =
        |role: Role| -> Vec<Labelled<'_>> { aligned.powered(role).filter_map(labelled).collect() };
    Some(sprint::figures(
        labelled(under_test)?,
        &with(Role::Reference),
        &with(Role::Context),
        aligned.power(basis)?,
        window.rows.clone(),
        aligned.grid.step_s,
    ))
}

fn gear_changes(
    window: &Window<'_>,
    under_test: usize,
    tested: &[f64],
    known: &[f64],
) -> GearChange {
    let any = [Role::Reference, Role::UnderTest, Role::Context];
    let speed = window.column(under_test, Channel::Speed).or_else(|| {
        any.iter()
            .find_map(|role| window.first_column(*role, Channel::Speed))
    });
    let turning = any
        .iter()
        .find_map(|role| window.first_column(*role, Channel::Cadence));
    let inputs = gear_change::Inputs {
        under_test: tested,
        reference: known,
        speed,
        cadence: turning,
        grid: window.grid(),
    };
    gear_change::figures(&inputs, &ride::gear_changes_s(window.aligned))
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
        .flat_map(|tested| {
            references
                .iter()
                .filter_map(move |known| cadence::compare(tested, *known, step_s))
        })
        .collect()
}
