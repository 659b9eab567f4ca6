//! Figures of a slope: how much of the gradient asked for arrives, how late, and how heavy the flywheel
//! seems ([`crate::analysis::slope`]).
//!
//! Limits hold the scatter and what the references and the loss between the sites leave open: power that
//! is 1 % off makes κ·m and m_a 1 % off. Rolling, drag and flywheel are those of the whole ride.

mod figures;

use serde::Serialize;

use super::spec::{Spec, always, where_known};
use crate::analysis::loss::Loss;
use crate::analysis::ride::{
    RideFindings, grade_percent, reference_cadence, sampled_late_s, wheel_speed,
};
use crate::analysis::slope::{
    Gradient, Inputs, MOST_SPREAD, Missing, asked_n, gradient, speed_spread,
};
use crate::analysis::verdict::uncertainty::{Scale, budget, rectangular};
use crate::analysis::window::Window;
use crate::session::{Session, Simulation};
use crate::stats::contrast::Contrast;
use crate::stats::{Interval, MeanUncertainty, t_quantile};
use crate::timeline::{Aligned, Grid, Member, Span};

pub use figures::FIGURES;

/// How far the share may lie from 1 where the session states nothing: common practice, no source.
pub const MOST_OFF: f64 = 0.1;

/// Figures of a slope.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Slope {
    /// Share κ of the gradient that arrives, where the mass entered in the app is stated.
    pub share: Option<f64>,
    /// Its 95 % confidence limits.
    pub share_ci95: Option<Interval>,
    /// κ·m, kg.
    pub mass_kg: Option<f64>,
    /// Its 95 % confidence limits.
    pub mass_ci95_kg: Option<Interval>,
    /// Mean delay of all steps by area, s.
    pub delay_s: Option<f64>,
    /// Its 95 % confidence limits.
    pub delay_ci95_s: Option<Interval>,
    /// Apparent mass of the flywheel, kg.
    pub flywheel_kg: Option<f64>,
    /// Its 95 % confidence limits.
    pub flywheel_ci95_kg: Option<Interval>,
    /// Rolling resistance at the wheel, N.
    pub rolling_n: Option<f64>,
    /// ½C_w, N s²/m².
    pub drag_kg_m: Option<f64>,
    /// The plateaus.
    pub plateaus: Vec<SlopePlateau>,
    /// κ by band of the gradient, where there are several.
    pub bands: Vec<SlopeBand>,
    /// The steps.
    pub steps: Vec<SlopeStep>,
    /// What could not be told, and what would tell it.
    pub note: String,
}

/// A stretch of one grade at one speed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlopePlateau {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Grade asked for, %.
    pub grade_percent: f64,
    /// Mean wheel speed once settled, m/s.
    pub speed_mps: f64,
    /// Mean force at the wheel once settled, N.
    pub force_n: f64,
    /// Its 95 % limits by the scatter.
    pub force_ci95_n: Option<Interval>,
    /// The force that mass, rolling and drag of `[simulation]` ask for, N.
    pub asked_n: Option<f64>,
}

/// κ within a band of the gradient.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlopeBand {
    /// From this grade on, %.
    pub from_percent: f64,
    /// Up to this one, %.
    pub to_percent: f64,
    /// κ.
    pub share: Option<f64>,
    /// Its 95 % limits.
    pub share_ci95: Option<Interval>,
    /// κ·m, kg.
    pub mass_kg: f64,
    /// Its 95 % limits.
    pub mass_ci95_kg: Interval,
}

/// One step of the grade.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlopeStep {
    /// When the grade changes, session time, s.
    pub at_s: f64,
    /// Grade before, %.
    pub from_percent: f64,
    /// Grade after, %.
    pub to_percent: f64,
    /// Delay by area, s.
    pub delay_s: f64,
    /// Its 95 % limits, s.
    pub delay_ci95_s: Interval,
}

/// Slopes among the kinds.
pub(in crate::analysis) const SPEC: Spec<Slope> = Spec {
    title: "Slope",
    figures: FIGURES,
    panel: &[
        where_known("share"),
        where_known("share_ci95"),
        always("mass_kg"),
        always("mass_ci95_kg"),
        always("delay_s"),
        always("delay_ci95_s"),
        always("flywheel_kg"),
        always("flywheel_ci95_kg"),
    ],
    compute: |inputs| {
        let told = of(inputs.window, inputs.under_test, inputs.basis, inputs.span);
        Some(match told {
            Ok(slope) => slope,
            Err(untold) => Slope {
                note: untold.in_words().to_owned(),
                ..Slope::default()
            },
        })
    },
};

/// Why nothing can be told of a slope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Untold {
    /// No grade, no wheel speed or no reference is recorded.
    NotRecorded,
    /// The recorded speed is no wheel's.
    Speed,
    /// The plateaus do not suffice.
    Missing(Missing),
}

impl Untold {
    /// The same in words.
    pub const fn in_words(self) -> &'static str {
        match self {
            Untold::NotRecorded => {
                "no gradient was asked for, or none is recorded with the wheel's speed"
            }
            Untold::Speed => {
                "the recorded speed does not keep its ratio to the cadence: it may be the app's own, or the clocks are apart"
            }
            Untold::Missing(missing) => missing.in_words(),
        }
    }
}

/// The columns of a ride for one source.
struct Columns<'a> {
    delivered_w: Vec<f64>,
    speed_m_s: &'a [f64],
    grade_percent: &'a [f64],
    power_later_s: f64,
    loss: Loss,
}

impl<'a> Columns<'a> {
    fn of(window: &Window<'a>, under_test: usize, basis: Member) -> Option<Self> {
        let (aligned, session) = (window.aligned, window.session);
        let (at, grade_percent) = grade_percent(aligned)?;
        let (_, speed_m_s) = wheel_speed(aligned)?;
        let weights = window.weights(basis);
        let sites: Vec<_> = weights.iter().map(|(i, _)| window.site(*i)).collect();
        let loss = Loss::between(&sites, window.site(under_test), session.allowance);
        let kept = 1.0 - loss.taken_off().percent / 100.0;
        let power = window.findings.readings(aligned, basis)?;
        let rows = 0..aligned.grid.len;
        let late_s = |member| sampled_late_s(aligned, member, rows.clone()).unwrap_or(0.0);
        Some(Self {
            delivered_w: power.iter().map(|w| kept * w).collect(),
            speed_m_s,
            grade_percent,
            power_later_s: late_s(basis) - late_s(Member::Stream(at)),
            loss,
        })
    }

    fn inputs(&self, grid: Grid) -> Inputs<'_> {
        Inputs {
            wheel_w: &self.delivered_w,
            speed_m_s: self.speed_m_s,
            grade_percent: self.grade_percent,
            power_later_s: self.power_later_s,
            grid,
        }
    }
}

/// A source under test and what it is held against, in an aligned ride.
#[derive(Clone, Copy, Debug)]
pub struct Pair<'a> {
    /// The session.
    pub session: &'a Session,
    /// Its ride.
    pub aligned: &'a Aligned,
    /// What the whole ride shows.
    pub found: &'a RideFindings,
    /// The source under test.
    pub under_test: usize,
    /// What it is held against.
    pub basis: Member,
}

impl<'a> Pair<'a> {
    fn ride(&self) -> Window<'a> {
        let whole = self.aligned.grid.span();
        Window::new(self.session, self.aligned, self.found, whole)
    }

    /// The slope that the plateaus inside `within` make.
    ///
    /// # Errors
    /// [`Untold`].
    pub fn slope(&self, within: Span) -> Result<Slope, Untold> {
        of(&self.ride(), self.under_test, self.basis, within)
    }

    /// The force asked for and the force at the wheel without what the flywheel takes, row by row of the
    /// ride, N; asked of `given` at the speed ridden.
    pub fn forces(&self, flywheel_kg: f64, given: Simulation) -> Option<[Vec<f64>; 2]> {
        let columns = Columns::of(&self.ride(), self.under_test, self.basis)?;
        let inputs = columns.inputs(self.aligned.grid);
        let rows = 0..self.aligned.grid.len;
        let asked = rows.clone().map(|row| inputs.asked_n(row, given));
        let free = rows.map(|row| inputs.free_n(row, flywheel_kg));
        let or_gap = |value: Option<f64>| value.unwrap_or(f64::NAN);
        Some([asked.map(or_gap).collect(), free.map(or_gap).collect()])
    }
}

fn of(
    window: &Window<'_>,
    under_test: usize,
    basis: Member,
    within: Span,
) -> Result<Slope, Untold> {
    let aligned = window.aligned;
    let columns = Columns::of(window, under_test, basis).ok_or(Untold::NotRecorded)?;
    let inputs = columns.inputs(aligned.grid);
    let given = window.session.simulation;
    let found = gradient(&inputs, given, within).map_err(Untold::Missing)?;
    let cadence = reference_cadence(aligned);
    let spread = cadence.and_then(|rpm| speed_spread(&inputs, &found.plateaus, &rpm));
    if spread.is_some_and(|spread| spread > MOST_SPREAD) {
        return Err(Untold::Speed);
    }
    let relative = relative(window, basis, columns.loss, &found);
    Ok(told(&found, given, relative))
}

/// What the references and the loss leave open of every force, as a share of it; `None` where a
/// reference states no claim.
fn relative(window: &Window<'_>, basis: Member, loss: Loss, found: &Gradient) -> Option<f64> {
    let weights = window.weights(basis);
    let stated: Vec<_> = weights
        .iter()
        .map(|(i, share)| window.stated(*i, *share))
        .collect();
    let level_w = found.plateaus.iter().map(|p| p.force_n * p.speed_m_s);
    let level_w = level_w.fold(0.0, f64::max).max(1.0);
    let exact = MeanUncertainty {
        standard: 0.0,
        dof: f64::INFINITY,
    };
    let (common, allowance) = (window.session.references, loss.taken_off());
    let budget = budget(exact, &stated, common, allowance, Scale::at(level_w));
    let open = match loss.is_open() {
        true => rectangular(loss.plus_minus()),
        false => 0.0,
    };
    let is_stated = !stated.is_empty() && stated.iter().all(|s| s.is_stated());
    is_stated.then(|| budget.combined().hypot(open) / 100.0)
}

/// Limits of an estimate that scatters, every force being off by a common share as well.
fn limits(estimate: f64, scatter: MeanUncertainty, relative: f64) -> Interval {
    let common = relative * estimate;
    let standard = scatter.standard.hypot(common);
    // Welch–Satterthwaite (JCGM 100, G.4.1), the common part being known.
    let dof = scatter.dof * (standard / scatter.standard.max(f64::MIN_POSITIVE)).powi(4);
    let half = t_quantile(0.975, dof) * standard;
    [estimate - half, estimate + half]
}

fn told(found: &Gradient, given: Option<Simulation>, relative: Option<f64>) -> Slope {
    let common = relative.unwrap_or(0.0);
    let of_mass = |mass: &Contrast| limits(mass.estimate, mass.uncertainty, common);
    let share = |kg: f64| given.map(|given| kg / given.mass_kg);
    let shares = |ends: Interval| given.map(|given| ends.map(|kg| kg / given.mass_kg));
    let ends = of_mass(&found.mass);
    let flywheel = found.flywheel;
    let remarks = [
        given.is_none().then_some(
            "the mass entered in the app is not stated ([simulation] in session.toml): no share, only its product with that mass",
        ),
        relative.is_none().then_some(
            "a reference states no claim: limits by the scatter alone",
        ),
        (!found.is_free).then_some("rolling and drag as stated under [simulation]"),
    ];
    let remarks: Vec<&str> = remarks.into_iter().flatten().collect();
    Slope {
        share: share(found.mass.estimate),
        share_ci95: shares(ends),
        mass_kg: Some(found.mass.estimate),
        mass_ci95_kg: Some(ends),
        delay_s: found.delay.map(|(s, _)| s),
        delay_ci95_s: found.delay.map(|(_, limits)| limits),
        flywheel_kg: flywheel.map(|f| f.mass_kg),
        flywheel_ci95_kg: flywheel.map(|f| limits(f.mass_kg, f.scatter(), common)),
        rolling_n: found.is_free.then_some(found.rolling_n),
        drag_kg_m: found.is_free.then_some(found.drag_kg_m),
        plateaus: found
            .plateaus
            .iter()
            .map(|p| SlopePlateau {
                from_s: p.from_s,
                to_s: p.to_s,
                grade_percent: p.grade_percent,
                speed_mps: p.speed_m_s,
                force_n: p.force_n,
                force_ci95_n: p.force_ci95_n,
                asked_n: given.map(|given| asked_n(p.grade_percent, p.speed_m_s, given)),
            })
            .collect(),
        bands: found
            .bands
            .iter()
            .map(|band| SlopeBand {
                from_percent: band.from_percent,
                to_percent: band.to_percent,
                share: share(band.mass.estimate),
                share_ci95: shares(of_mass(&band.mass)),
                mass_kg: band.mass.estimate,
                mass_ci95_kg: of_mass(&band.mass),
            })
            .collect(),
        steps: found
            .steps
            .iter()
            .map(|step| SlopeStep {
                at_s: step.at_s,
                from_percent: step.from_percent,
                to_percent: step.to_percent,
                delay_s: step.delay_s,
                delay_ci95_s: step.delay_ci95_s,
            })
            .collect(),
        note: remarks.join("; "),
    }
}
