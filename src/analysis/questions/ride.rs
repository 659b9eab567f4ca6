//! What the questions are answered from: the ride's figures, and the columns behind those that no
//! segment has.

use std::borrow::Cow;
use std::cell::OnceCell;

use super::super::loss::{Loss, crosses_chain};
use super::super::ride::{RideFindings, reference_cadence, set_points};
use super::super::verdict::uncertainty::{Budget, Scale, StatedReference, budget};
use super::super::window::Window;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::slope::{Pair, Slope, Untold};
use crate::analysis::table::Table;
use crate::recording::Channel;
use crate::session::{Claim, Role, Session};
use crate::stats::MeanUncertainty;
use crate::timeline::{Aligned, Member, Span};

/// A ride with all its figures.
pub struct Ride<'a> {
    /// The session; its segments are those of `table`.
    pub session: &'a Session,
    /// The columns.
    pub aligned: &'a Aligned,
    /// What the whole ride shows.
    pub found: &'a RideFindings,
    /// Its figures.
    pub table: &'a Table,
    /// Set points that a recording states, session time, W.
    pub set_points: Vec<(Span, f64)>,
    /// Cadence of the references, rpm.
    pub cadence: Option<Vec<f64>>,
}

impl<'a> Ride<'a> {
    /// Gathers.
    pub fn new(
        session: &'a Session,
        aligned: &'a Aligned,
        found: &'a RideFindings,
        table: &'a Table,
    ) -> Self {
        Self {
            session,
            aligned,
            found,
            table,
            set_points: set_points(aligned),
            cadence: reference_cadence(aligned),
        }
    }

    /// The sources under test that carry power.
    pub fn sources(&self) -> impl Iterator<Item = Source<'_>> {
        let first = self.aligned.powered(Role::UnderTest).next();
        self.aligned
            .powered(Role::UnderTest)
            .filter_map(move |index| {
                let stream = self.session.streams.get(index)?;
                let site = |index: usize| self.session.streams.get(index)?.site;
                let references: Vec<_> = self.aligned.powered(Role::Reference).map(site).collect();
                Some(Source {
                    ride: self,
                    index,
                    label: &stream.label,
                    claim: self.session.claim_of(index).unwrap_or_default(),
                    basis: self.aligned.basis(),
                    loss: Loss::between(&references, stream.site, self.session.allowance),
                    crosses_chain: crosses_chain(&references, stream.site),
                    is_first: first == Some(index),
                    slopes: OnceCell::new(),
                })
            })
    }

    /// The set point of a stretch: the one given, else one that a recording states for nine tenths of
    /// it.
    pub fn set_point_w(&self, segment: &SegmentFigures) -> Option<f64> {
        let span = Span::new(segment.from_s, segment.to_s);
        let recorded = || {
            self.set_points.iter().find_map(|(step, watts)| {
                let shared_s = step.overlap(span)?.duration_s();
                (shared_s >= 0.9 * span.duration_s()).then_some(*watts)
            })
        };
        segment.set_point_w.or_else(recorded)
    }
}

/// One source under test.
pub struct Source<'a> {
    /// The ride.
    pub ride: &'a Ride<'a>,
    /// Its stream.
    pub index: usize,
    /// Its label.
    pub label: &'a str,
    /// The claim that applies.
    pub claim: Claim,
    /// What it is compared with.
    pub basis: Option<Member>,
    /// The loss between the references and it.
    pub loss: Loss,
    /// Whether a chain lies between them.
    pub crosses_chain: bool,
    /// Whether the figures of kinds are about it: they are of the first source.
    pub is_first: bool,
    /// The slopes of the whole ride, once they were asked for.
    slopes: OnceCell<Result<Slope, Untold>>,
}

impl<'a> Source<'a> {
    /// Its power over the ride without the seconds that are no readings, W.
    pub fn read(&self) -> Option<Cow<'a, [f64]>> {
        let member = Member::Stream(self.index);
        self.ride.found.readings(self.ride.aligned, member)
    }

    /// What the references say was delivered at its site, W: theirs less the stated loss.
    pub fn delivered(&self) -> Option<Vec<f64>> {
        let power = self.ride.found.readings(self.ride.aligned, self.basis?)?;
        let kept = 1.0 - self.loss.taken_off().percent / 100.0;
        Some(power.iter().map(|w| kept * w).collect())
    }

    /// The slopes of the whole ride; else why nothing can be told of them.
    pub fn slope(&self) -> &Result<Slope, Untold> {
        self.slopes.get_or_init(|| {
            let pair = Pair {
                session: self.ride.session,
                aligned: self.ride.aligned,
                found: self.ride.found,
                under_test: self.index,
                basis: self.basis.ok_or(Untold::NotRecorded)?,
            };
            pair.slope(self.ride.aligned.grid.span())
        })
    }

    /// A channel of its own.
    pub fn column(&self, channel: Channel) -> Option<&'a [f64]> {
        self.ride.aligned.tracks.get(self.index)?.column(channel)
    }

    /// The uncertainty of a comparison with the references at `level_w` over `span`, given that of
    /// its scatter, in the unit of the scale at that level.
    ///
    /// # Errors
    /// Labels of the references without a claim.
    pub fn budget(
        &self,
        scatter: MeanUncertainty,
        span: Span,
        level_w: f64,
    ) -> Result<Budget, Vec<String>> {
        let ride = self.ride;
        let window = Window::new(ride.session, ride.aligned, ride.found, span);
        let weights = self
            .basis
            .map_or_else(Vec::new, |basis| window.weights(basis));
        let stated = weights
            .iter()
            .map(|(index, share)| window.stated(*index, *share));
        let stated: Vec<StatedReference> = stated.collect();
        let silent = stated.iter().filter(|s| !s.is_stated());
        let silent: Vec<String> = silent.map(|s| s.label.clone()).collect();
        if !silent.is_empty() {
            return Err(silent);
        }
        let (common, allowance) = (ride.session.references, self.loss.taken_off());
        Ok(budget(
            scatter,
            &stated,
            common,
            allowance,
            Scale::at(level_w),
        ))
    }

    /// The claim at a power, ± %.
    pub fn claim_percent(&self, level_w: f64) -> f64 {
        100.0 * self.claim.limit_w(level_w) / level_w
    }
}

/// What would tell where references state no claim.
pub fn claims_would(labels: &[String]) -> String {
    format!("the stated claim of {}", labels.join(" and "))
}

/// What would tell where the loss is not stated.
pub const LOSS_WOULD: &str = "stating the drivetrain's loss (2 ± 1 % is usual)";
