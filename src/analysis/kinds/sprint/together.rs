//! What all sprints of a ride say together of each ([`crate::analysis::response`]).

use super::figures::{Explained, Sprint};
use super::rows::{MARGIN_S, SETTLE_S, in_rows, whole};
use crate::analysis::kinds::spec::Inputs;
use crate::analysis::response::{Cause, Effort, Together, together};
use crate::analysis::ride::{reference_cadence, sampled_late_s, wheel_speed};
use crate::analysis::slope;
use crate::session::Kind;
use crate::timeline::{Member, Span};

/// A top is flat where so many seconds in a row lie within this share of the highest …
const FLAT_ROWS: usize = 3;
const FLAT: f64 = 0.015;
/// … while what is delivered exceeds it by this share.
const BEYOND: f64 = 0.05;

/// What the sprints of the session say together, that of the window among them where it is one.
pub(super) fn of(inputs: &Inputs<'_, '_>) -> Option<Together> {
    let (window, grid) = (inputs.window, inputs.window.aligned.grid);
    let session = window.session;
    let tagged = session.segments.iter().filter(|s| s.kind == Kind::Sprint);
    let mut spans: Vec<Span> = tagged.map(|s| Span::new(s.from_s, s.to_s)).collect();
    if spans.iter().all(|span| span.overlap(inputs.span).is_none()) {
        spans.push(inputs.span);
    }
    let columns = Columns::of(inputs)?;
    let efforts: Vec<Effort> = spans
        .into_iter()
        .filter_map(|span| columns.effort(grid.rows(span), grid.step_s))
        .collect();
    together(&efforts, grid.step_s)
}

/// Columns of the whole ride.
struct Columns {
    delivered_w: Vec<f64>,
    kinetic_w_kg: Vec<f64>,
    read_w: Vec<f64>,
    speed_m_s: Vec<f64>,
}

impl Columns {
    fn of(inputs: &Inputs<'_, '_>) -> Option<Self> {
        let (window, aligned) = (inputs.window, inputs.window.aligned);
        let (at, speed_m_s) = wheel_speed(aligned)?;
        let rows = 0..aligned.grid.len;
        let late_s = |member| sampled_late_s(aligned, member, rows.clone()).unwrap_or(0.0);
        let moving = slope::Inputs {
            wheel_w: &[],
            speed_m_s,
            grade_percent: &[],
            power_later_s: late_s(inputs.basis) - late_s(Member::Stream(at)),
            grid: aligned.grid,
        };
        let kept = 1.0 - window.session.allowance().percent / 100.0;
        let power = window.findings.readings(aligned, inputs.basis)?;
        let read = window
            .findings
            .readings(aligned, Member::Stream(inputs.under_test))?;
        let mut read_w = read.to_vec();
        // Nobody pedals: what is read then is asked elsewhere.
        let cadence = reference_cadence(aligned).unwrap_or_default();
        for (read, _) in read_w
            .iter_mut()
            .zip(&cadence)
            .filter(|(_, rpm)| **rpm == 0.0)
        {
            *read = f64::NAN;
        }
        let kinetic = |row| moving.kinetic_w_kg(row).unwrap_or(f64::NAN);
        Some(Self {
            delivered_w: power.iter().map(|w| kept * w).collect(),
            kinetic_w_kg: rows.map(kinetic).collect(),
            read_w,
            speed_m_s: speed_m_s.to_vec(),
        })
    }

    /// One sprint with room around it, without the seconds at a ceiling; `None` where a second lacks.
    fn effort(&self, rows: std::ops::Range<usize>, step_s: f64) -> Option<Effort> {
        let end = self.delivered_w.len().min(self.read_w.len());
        let rows = rows.start.min(end)..rows.end.min(end);
        let margin = in_rows(MARGIN_S, step_s);
        let (from, until) = (
            rows.start.saturating_sub(margin),
            (rows.end + margin).min(end),
        );
        let there = |row: usize| self.delivered_w[row] + self.kinetic_w_kg[row];
        let both: Vec<f64> = (0..end).map(there).collect();
        let settle = in_rows(SETTLE_S, step_s);
        let (input, fitted) = whole(&both, from, until, settle, &rows)?;
        let mut effort = Effort {
            delivered_w: self.delivered_w.get(input.clone())?.to_vec(),
            kinetic_w_kg: self.kinetic_w_kg.get(input.clone())?.to_vec(),
            read_w: self.read_w.get(input.clone())?.to_vec(),
            rows: fitted,
            speed_m_s: f64::NAN,
        };
        effort.speed_m_s = effort.hardest(self.speed_m_s.get(input)?);
        effort.without_ceiling();
        Some(effort)
    }
}

impl Effort {
    /// Leaves the seconds of a flat top out: what is clipped tells of no shape.
    fn without_ceiling(&mut self) {
        let inside = self.read_w.get(self.rows.clone()).unwrap_or_default();
        let highest = inside
            .iter()
            .copied()
            .filter(|w| w.is_finite())
            .fold(0.0, f64::max);
        let is_flat = |row: &usize| self.read_w[*row] >= (1.0 - FLAT) * highest;
        let rows: Vec<usize> = self.rows.clone().filter(is_flat).collect();
        let runs = rows.chunk_by(|a, b| b - a == 1);
        let is_clipped = |run: &&[usize]| {
            let mut delivered = run.iter().map(|row| self.delivered_w[*row]);
            run.len() >= FLAT_ROWS && delivered.any(|w| w > (1.0 + BEYOND) * highest)
        };
        let clipped: Vec<usize> = runs.filter(is_clipped).flatten().copied().collect();
        for row in clipped {
            self.read_w[row] = f64::NAN;
        }
    }
}

impl Sprint {
    /// With what all sprints together say: figures of a lag are withheld where a flywheel explains them.
    pub(super) fn told(mut self, together: Together) -> Self {
        let (mass_kg, limits) = together.mass_kg;
        self.cause = Some(together.cause);
        self.sprints_together = Some(together.sprints);
        self.unaccounted_kg = Some(mass_kg);
        self.unaccounted_ci95_kg = Some(limits);
        if let Some(remark) = remark(&together) {
            self.add_note(&remark);
        }
        if self.leaves_flywheel_out() {
            self.withhold_lag();
        }
        self
    }

    /// Whether all sprints together say that the reading leaves a flywheel out.
    pub fn leaves_flywheel_out(&self) -> bool {
        matches!(self.cause, Some(Cause::Flywheel | Cause::FlywheelAndLag))
    }

    fn withhold_lag(&mut self) {
        self.time_constant_s = None;
        self.time_constant_ci95_s = None;
        self.averaging_s = None;
        self.averaging_ci95_s = None;
        self.delay_s = None;
        self.delay_ci95_s = None;
        self.response_shape = None;
        for loss in [
            &mut self.lag_loss_w,
            &mut self.gain_loss_w,
            &mut self.ceiling_loss_w,
            &mut self.unexplained_loss_w,
            &mut self.lag_share_percent,
            &mut self.gain_share_percent,
            &mut self.ceiling_share_percent,
            &mut self.unexplained_share_percent,
        ] {
            *loss = None;
        }
        self.explained = self.explained.map(|_| Explained::Flywheel);
    }
}

/// What is to be said of a flywheel.
fn remark(together: &Together) -> Option<String> {
    let (mass_kg, [low, high]) = together.mass_kg;
    let of = match together.sprints {
        1 => "this sprint".to_owned(),
        n => format!("{n} sprints together"),
    };
    let flywheel = format!("{mass_kg:.0} kg ({low:.0} to {high:.0})");
    match together.cause {
        Cause::Flywheel => Some(format!(
            "its reading leaves out a flywheel of {flywheel}, by {of}; no lag explains them"
        )),
        Cause::FlywheelAndLag => Some(format!(
            "its reading leaves out a flywheel of {flywheel} and lags besides, by {of}"
        )),
        Cause::NotDistinguishable => Some(format!(
            "by {of} a lag of {:.1} s and a flywheel of {:.0} kg left out are not distinguishable; sprints in another gear or on another slope would tell",
            together.lag_s, together.alone_kg
        )),
        Cause::Nothing | Cause::Lag | Cause::MovingMean => None,
    }
}
