//! What a kind of segment declares, and what it is computed from.

use std::borrow::Cow;

use crate::analysis::figure::Figure;
use crate::analysis::ride;
use crate::analysis::window::Window;
use crate::recording::Channel;
use crate::session::Role;
use crate::stats::change_points;
use crate::timeline::{Grid, Member, Span};

/// All that is to be known of the figures of one kind.
pub(in crate::analysis) struct Spec<T: 'static> {
    /// Heading of its figures.
    pub title: &'static str,
    /// What each means.
    pub figures: &'static [Figure],
    /// What the panel shows of them.
    pub panel: &'static [Line],
    /// Computes them; `None` where there is nothing to compute them from.
    pub compute: fn(&Inputs<'_, '_>) -> Option<T>,
}

/// A line of the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    /// Name of the field.
    pub field: &'static str,
    /// Whether it stands there without a value too, as a dash.
    pub always: bool,
}

/// A line that stands there whether or not there is a value.
pub(super) const fn always(field: &'static str) -> Line {
    Line {
        field,
        always: true,
    }
}

/// A line that stands there where there is a value.
pub(super) const fn where_known(field: &'static str) -> Line {
    Line {
        field,
        always: false,
    }
}

/// The first source under test and what its verdict rests on, in one window.
pub(in crate::analysis) struct Inputs<'a, 'w> {
    /// The window.
    pub window: &'w Window<'a>,
    /// Index of the source under test.
    pub under_test: usize,
    /// What it is held against.
    pub basis: Member,
    /// The power asked for, W.
    pub set_point_w: Option<f64>,
    /// The window, session time.
    pub span: Span,
    /// Power of the source, W, without frozen and false zero seconds: those are no readings.
    pub read: Cow<'w, [f64]>,
    /// Power of what it is held against, W, likewise.
    pub delivered: Cow<'w, [f64]>,
}

impl<'a, 'w> Inputs<'a, 'w> {
    /// The inputs of a window; `None` where either column is missing.
    pub fn of(
        window: &'w Window<'a>,
        basis: Member,
        set_point_w: Option<f64>,
        span: Span,
    ) -> Option<Self> {
        let under_test = window.aligned.powered(Role::UnderTest).next()?;
        Some(Self {
            window,
            under_test,
            basis,
            set_point_w,
            span,
            read: window.trusted_power(Member::Stream(under_test))?,
            delivered: window.trusted_power(basis)?,
        })
    }

    /// Spacing of the rows, s.
    pub fn step_s(&self) -> f64 {
        self.window.aligned.grid.step_s
    }

    /// The grid of the window alone.
    pub fn grid(&self) -> Grid {
        let grid = self.window.aligned.grid;
        Grid {
            start_s: grid.time_s(self.window.rows.start),
            step_s: grid.step_s,
            len: self.window.rows.len(),
        }
    }

    /// Slow noise of what the source is held against, over the whole ride, W.
    pub fn slow_noise_w(&self) -> f64 {
        let power = self.window.aligned.power(self.basis).unwrap_or_default();
        change_points::slow_noise_w(power, self.step_s())
    }

    /// Cadence of the references.
    pub fn turning(&self) -> Option<Vec<f64>> {
        let whole = ride::reference_cadence(self.window.aligned)?;
        whole.get(self.window.rows.clone()).map(<[f64]>::to_vec)
    }

    /// Wheel speed of the source under test, else of the first stream that carries it.
    pub fn wheel_speed(&self) -> Option<&'a [f64]> {
        let roles = [Role::Reference, Role::UnderTest, Role::Context];
        let others = roles
            .into_iter()
            .flat_map(|role| self.window.session.with_role(role));
        std::iter::once(self.under_test)
            .chain(others)
            .find_map(|index| self.window.column(index, Channel::Speed))
    }

    /// How much later within each row the source was sampled than what it is held against, over the
    /// window, s; zero where either has no sample there. The grid takes each second's nearest sample, half a second off
    /// at most, and a dead time read from the rows lacks that.
    pub fn sampled_later_s(&self) -> f64 {
        let (window, aligned) = (self.window, self.window.aligned);
        let rows = window.rows.clone();
        let of = |member| ride::sampled_late_s(aligned, member, rows.clone());
        let later_s = of(Member::Stream(self.under_test)).zip(of(self.basis));
        later_s.map_or(0.0, |(tested_s, basis_s)| tested_s - basis_s)
    }
}
