//! What the whole ride shows, whichever way it is cut: dropouts of every stream, excursions of
//! every source under test.

use std::borrow::Cow;
use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;

use super::excursions::References;
use super::pair_noise::{PairNoise, level_pieces};
use super::{dropout, excursions};
use crate::analysis::dropout::{Dropout, DropoutKind};
use crate::analysis::excursions::{Excursion, ExcursionKind, UncorroboratedStretch};
use crate::analysis::kinds::gear_change::chain::{NotedGear, Sprockets};
use crate::recording::{Channel, EventKind, Recording};
use crate::session::{Role, Session};
use crate::stats::{finite, median_of};
use crate::timeline::{Aligned, Clock, Member, Span, Track};

/// Findings over the ride, one entry a stream of the session each.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RideFindings {
    /// Dropouts; none for a stream without power.
    pub dropouts: Vec<Vec<Dropout>>,
    /// Excursions; none for a stream that is not under test.
    pub excursions: Vec<Vec<UncorroboratedStretch>>,
    /// The noise of every pair that is compared, where it could be learnt.
    noises: Vec<([Member; 2], PairNoise)>,
}

/// Searches the ride.
pub fn findings(aligned: &Aligned) -> RideFindings {
    let columns: Vec<Option<&[f64]>> = aligned
        .tracks
        .iter()
        .map(|t| t.column(Channel::Power))
        .collect();
    let references: Vec<&[f64]> = aligned
        .powered(Role::Reference)
        .filter_map(|index| columns.get(index).copied().flatten())
        .collect();
    let cadence = reference_cadence(aligned);
    let mut found = RideFindings {
        dropouts: dropouts(aligned),
        ..RideFindings::default()
    };
    for (index, track) in aligned.tracks.iter().enumerate() {
        let power = columns.get(index).copied().flatten();
        let dropouts = found.dropouts.get(index).map_or(&[][..], Vec::as_slice);
        let under_test = power.filter(|_| track.role == Role::UnderTest);
        found.excursions.push(if let Some(power) = under_test {
            let except: Vec<Span> = dropouts
                .iter()
                .map(|d| Span::new(d.from_s, d.to_s))
                .collect();
            let references = References {
                power: &references,
                cadence: cadence.as_deref(),
            };
            excursions::find(power, references, aligned.grid, &except)
        } else {
            Vec::new()
        });
    }
    found.noises = noises(aligned, &found);
    found
}

/// The dropouts of every stream; none for a stream without power.
pub fn dropouts(aligned: &Aligned) -> Vec<Vec<Dropout>> {
    let columns: Vec<Option<&[f64]>> = aligned
        .tracks
        .iter()
        .map(|t| t.column(Channel::Power))
        .collect();
    let of = |(index, track): (usize, &Track)| {
        let Some(power) = columns.get(index).copied().flatten() else {
            return Vec::new();
        };
        let others: Vec<&[f64]> = columns
            .iter()
            .enumerate()
            .filter_map(|(other, column)| column.filter(|_| other != index))
            .collect();
        let interval = track.source().samples().and_then(|s| s.median_interval_s());
        dropout::find(power, &others, aligned.grid, interval, &pauses(track))
    };
    aligned.tracks.par_iter().enumerate().map(of).collect()
}

/// The noise of each source under test against what it is compared with, and of each two references.
fn noises(aligned: &Aligned, found: &RideFindings) -> Vec<([Member; 2], PairNoise)> {
    let references: Vec<usize> = aligned.powered(Role::Reference).collect();
    let among = references.iter().enumerate().flat_map(|(index, a)| {
        let rest = references[index + 1..].iter();
        rest.map(|b| [Member::Stream(*a), Member::Stream(*b)])
    });
    let source = aligned.comparisons();
    let source = source
        .iter()
        .map(|p| [Member::Stream(p.under_test), p.reference]);
    let pairs: Vec<[Member; 2]> = source.chain(among).collect();
    let Some(basis) = aligned.basis().and_then(|basis| aligned.power(basis)) else {
        return Vec::new();
    };
    let pieces = level_pieces(basis, aligned.grid);
    pairs
        .into_par_iter()
        .filter_map(|[a, b]| {
            let (x, y) = (found.readings(aligned, a)?, found.readings(aligned, b)?);
            let mut restless = vec![false; aligned.grid.len];
            for rows in found.excursion_rows(aligned, a) {
                if let Some(part) = restless.get_mut(rows) {
                    part.fill(true);
                }
            }
            let calm = |row: usize| restless.get(row) == Some(&false);
            Some((
                [a, b],
                PairNoise::learn(&x, &y, calm, &pieces, aligned.grid)?,
            ))
        })
        .collect()
}

/// The stretches in which the recorder of `track` says that it was stopped, session time.
pub fn pauses(track: &Track) -> Vec<Span> {
    let events = track.source().recording().map(|r| r.events.as_slice());
    let mut stopped_s = None;
    let mut out = Vec::new();
    for event in events.unwrap_or_default() {
        let at_s = track.clock.to_session(event.at_s);
        match (event.kind, stopped_s) {
            (EventKind::TimerStop, None) => stopped_s = Some(at_s),
            (EventKind::TimerStart, Some(from_s)) => {
                out.push(Span::new(from_s, at_s));
                stopped_s = None;
            }
            _ => {}
        }
    }
    out
}

/// What the recorder that noted most of it noted, session time: several may have noted the same.
pub fn noted<T>(aligned: &Aligned, of: impl Fn(&Recording, Clock) -> Vec<T>) -> Vec<T> {
    aligned
        .tracks
        .iter()
        .filter_map(|track| Some(of(track.source().recording()?, track.clock)))
        .max_by_key(Vec::len)
        .unwrap_or_default()
}

/// Cadence of the references, rpm, row by row: the median of those that turn, since one that reports
/// nothing beside another that turns has missed it; 0 where none turns. `None` where no reference
/// carries cadence. A source under test has no say: its faults must not move what it is judged by.
pub fn reference_cadence(aligned: &Aligned) -> Option<Vec<f64>> {
    let references = aligned.tracks.iter().filter(|t| t.role == Role::Reference);
    let columns: Vec<&[f64]> = references
        .filter_map(|track| track.column(Channel::Cadence))
        .collect();
    let at = |row: usize| {
        let present = columns.iter().filter_map(|column| column.get(row).copied());
        let present: Vec<f64> = present.filter(|v| v.is_finite()).collect();
        let turning = present.iter().copied().filter(|v| *v > 0.0).collect();
        let idle = if present.is_empty() { f64::NAN } else { 0.0 };
        median_of(turning).unwrap_or(idle)
    };
    (!columns.is_empty()).then(|| (0..aligned.grid.len).map(at).collect())
}

/// How late within each of these rows a member was sampled, s: the grid takes each second's nearest
/// sample, half a second off at most. Of the consensus the mean of its references; `None` without a sample.
pub fn sampled_late_s(aligned: &Aligned, member: Member, rows: Range<usize>) -> Option<f64> {
    let grid = aligned.grid;
    let last = rows.end.saturating_sub(1);
    let span = Span::new(grid.time_s(rows.start), grid.time_s(last));
    let of_stream = |index: usize| {
        let track = aligned.tracks.get(index)?;
        let times_s = track.source().samples()?.time_s();
        let off_s = times_s.get(track.raw_rows(span))?.iter().map(|recorder_s| {
            let at_s = track.clock.to_session(*recorder_s);
            let rows = (at_s - grid.start_s) / grid.step_s;
            (rows - rows.round()) * grid.step_s
        });
        median_of(off_s.collect())
    };
    match member {
        Member::Stream(index) => of_stream(index),
        Member::Consensus => {
            let references = aligned.powered(Role::Reference);
            let each: Vec<f64> = references.filter_map(of_stream).collect();
            finite(each.iter().sum::<f64>() / each.len() as f64)
        }
    }
}

/// Which stream carries the grade asked for, and its column: the first source under test that does, else
/// the first other stream, since as a rule only what controls the trainer knows it.
pub fn grade_percent(aligned: &Aligned) -> Option<(usize, &[f64])> {
    first_with(aligned, Channel::Grade, |role| role == Role::UnderTest)
}

/// The same of the wheel's speed: the first reference that carries it, else the first other stream; as
/// a rule only the source under test does.
pub fn wheel_speed(aligned: &Aligned) -> Option<(usize, &[f64])> {
    first_with(aligned, Channel::Speed, |role| role == Role::Reference)
}

/// The first of the preferred streams that carries a channel, else the first other one.
fn first_with(
    aligned: &Aligned,
    channel: Channel,
    is_preferred: impl Fn(Role) -> bool,
) -> Option<(usize, &[f64])> {
    let carrying = |preferred: bool| {
        let tracks = aligned.tracks.iter().enumerate();
        let mut own = tracks.filter(|(_, track)| is_preferred(track.role) == preferred);
        own.find_map(|(index, track)| Some((index, track.column(channel)?)))
    };
    carrying(true).or_else(|| carrying(false))
}

/// Gear changes that a recorder noted, session time, in order.
pub fn gear_changes_s(aligned: &Aligned) -> Vec<f64> {
    noted(aligned, |recording, clock| {
        let events = recording.events.iter();
        events
            .filter(|event| matches!(event.kind, EventKind::GearChange { .. }))
            .map(|event| clock.to_session(event.at_s))
            .collect()
    })
}

/// The sprockets that a recorder noted, session time, in order.
pub fn noted_gears(aligned: &Aligned) -> Vec<NotedGear> {
    noted(aligned, |recording, clock| {
        let events = recording.events.iter();
        events
            .filter_map(|event| match event.kind {
                EventKind::GearChange {
                    front_teeth: Some(front),
                    rear_teeth: Some(rear),
                } => Some(NotedGear {
                    at_s: clock.to_session(event.at_s),
                    sprockets: Sprockets {
                        front: f64::from(front),
                        rear: f64::from(rear),
                    },
                }),
                _ => None,
            })
            .collect()
    })
}

/// Set points that a recorder noted, session time, W.
pub fn set_points(aligned: &Aligned) -> Vec<(Span, f64)> {
    noted(aligned, |recording, clock| {
        let steps = recording.set_points.iter();
        steps
            .map(|step| {
                let (from_s, to_s) = (step.from_s, step.to_s);
                let span = Span::new(clock.to_session(from_s), clock.to_session(to_s));
                (span, step.watts)
            })
            .collect()
    })
}

/// Modes that a recorder noted, session time.
pub fn modes(aligned: &Aligned) -> Vec<(Span, Arc<str>)> {
    noted(aligned, |recording, clock| {
        let modes = recording.modes.iter();
        modes
            .map(|mode| {
                let (from_s, to_s) = (mode.from_s, mode.to_s);
                let span = Span::new(clock.to_session(from_s), clock.to_session(to_s));
                (span, Arc::clone(&mode.mode))
            })
            .collect()
    })
}

impl RideFindings {
    /// Rows in which a member froze or read a false zero, in order of streams; for the consensus,
    /// any reference. Gaps hold no value and need no mention.
    pub fn untrusted<'a>(
        &'a self,
        aligned: &'a Aligned,
        member: Member,
    ) -> impl Iterator<Item = Range<usize>> + 'a {
        let belongs = move |index: usize| match member {
            Member::Stream(stream) => stream == index,
            Member::Consensus => aligned
                .tracks
                .get(index)
                .is_some_and(|track| track.role == Role::Reference),
        };
        self.dropouts
            .iter()
            .enumerate()
            .filter(move |(index, _)| belongs(*index))
            .flat_map(|(_, dropouts)| dropouts)
            .filter(|dropout| dropout.kind != DropoutKind::Gap)
            .map(|dropout| aligned.grid.rows(Span::new(dropout.from_s, dropout.to_s)))
    }

    /// A member's power over the ride, W, without the seconds that are no readings.
    pub fn readings<'a>(&self, aligned: &'a Aligned, member: Member) -> Option<Cow<'a, [f64]>> {
        let mut power = Cow::Borrowed(aligned.power(member)?);
        for rows in self.untrusted(aligned, member) {
            if let Some(part) = power.to_mut().get_mut(rows) {
                part.fill(f64::NAN);
            }
        }
        Some(power)
    }

    /// The noise between two members, in either order.
    pub fn noise_between(&self, a: Member, b: Member) -> Option<&PairNoise> {
        let pair = |pair: &[Member; 2]| *pair == [a, b] || *pair == [b, a];
        let found = self.noises.iter().find(|(members, _)| pair(members));
        found.map(|(_, noise)| noise)
    }

    /// The rows of a member's excursions.
    fn excursion_rows(&self, aligned: &Aligned, member: Member) -> Vec<Range<usize>> {
        let Member::Stream(index) = member else {
            return Vec::new();
        };
        let all = self.excursions.get(index).into_iter().flatten();
        all.map(|e| aligned.grid.rows(Span::new(e.from_s, e.to_s)))
            .collect()
    }

    /// The excursions of a stream that begin inside a stretch.
    pub fn excursions_in(&self, stream: usize, span: Span) -> Vec<UncorroboratedStretch> {
        let all = self.excursions.get(stream).map_or(&[][..], Vec::as_slice);
        all.iter()
            .copied()
            .filter(|e| span.contains(e.from_s))
            .collect()
    }

    /// All excursions with their streams' labels, in time order.
    pub fn excursions_by_label(&self, session: &Session) -> Vec<Excursion> {
        let mut all: Vec<Excursion> = self
            .excursions
            .iter()
            .zip(&session.streams)
            .flat_map(|(stretches, stream)| {
                stretches.iter().map(|stretch| Excursion {
                    label: stream.label.clone(),
                    from_s: stretch.from_s,
                    to_s: stretch.to_s,
                    peak_w: stretch.peak_w,
                    kind: ExcursionKind::Uncorroborated,
                })
            })
            .collect();
        all.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{Ridden, aligned_of};

    #[test]
    fn cadence_is_that_of_the_references_that_turn() {
        let nan = f64::NAN;
        let stream = |label, role, cadence: [f64; 5]| Ridden {
            label,
            role,
            claim_percent: None,
            channels: vec![
                (Channel::Power, vec![200.0; 5]),
                (Channel::Cadence, cadence.to_vec()),
            ],
        };
        let trainer = || stream("trainer", Role::UnderTest, [33.0; 5]);
        let (_, aligned) = aligned_of(vec![
            trainer(),
            stream("pedals", Role::Reference, [90.0, 0.0, 0.0, nan, nan]),
            stream("crank", Role::Reference, [92.0, 88.0, 0.0, 80.0, nan]),
        ]);
        let found = reference_cadence(&aligned).unwrap();
        assert_eq!(found[..4], [91.0, 88.0, 0.0, 80.0]);
        assert!(found[4].is_nan());
        assert_eq!(reference_cadence(&aligned_of(vec![trainer()]).1), None);
    }
}
