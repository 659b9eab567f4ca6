//! Aligning an opened session, and writing the result into it.

use std::sync::LazyLock;

use super::{Alignment, Options, Source, align};
use crate::recording::{Samples, TimeBase};
use crate::session::{MatchedOn, OpenedSession, Session, Stream};
use crate::timeline::clock_of;

/// Finds the clocks of all streams of `opened`.
///
/// A clock counts as set by hand where the session says so, or where it is not zero and the
/// session does not say what it rests on.
pub fn align_session(opened: &OpenedSession, options: Options) -> Alignment {
    align(&sources_of(opened), options)
}

/// The streams of `opened` as sources, in session order.
pub fn sources_of(opened: &OpenedSession) -> Vec<Source<'_>> {
    opened
        .session
        .streams
        .iter()
        .enumerate()
        .map(|(index, stream)| {
            let bound = opened.sources.get(index);
            let recorded = bound.and_then(|source| source.stream());
            Source {
                label: &stream.label,
                recording: recording_of(opened, index),
                role: stream.role,
                site: stream.site,
                samples: recorded.map_or(&NOTHING, |recorded| &recorded.samples),
                sampling: recorded.map_or_else(Default::default, |recorded| recorded.sampling),
                absolute: bound
                    .and_then(|source| source.recording())
                    .is_some_and(|recording| recording.time_base == TimeBase::Absolute),
                clock: clock_of(opened, index),
                given: set_by_hand(stream),
            }
        })
        .collect()
}

/// Stands for the samples of a recording that could not be read.
static NOTHING: LazyLock<Samples> = LazyLock::new(Samples::default);

fn set_by_hand(stream: &Stream) -> bool {
    match stream.matched_on {
        Some(matched_on) => matched_on == MatchedOn::Given,
        None => stream.offset_s != 0.0 || stream.skew_ppm != 0.0,
    }
}

/// The first stream that shares the clock of stream `index`.
fn recording_of(opened: &OpenedSession, index: usize) -> usize {
    (0..index)
        .find(|&earlier| opened.share_a_clock(earlier, index))
        .unwrap_or(index)
}

impl Alignment {
    /// Puts the clocks that were estimated into `session`: of the streams for which `wanted`
    /// says so. Returns the labels of those that changed.
    ///
    /// `session` must have the streams, in the order, that the alignment was made from.
    pub fn apply(&self, session: &mut Session, wanted: impl Fn(usize) -> bool) -> Vec<String> {
        let mut changed = Vec::new();
        for (index, found) in self.streams.iter().enumerate() {
            let Some(stream) = session.streams.get_mut(index) else {
                continue;
            };
            if !found.estimated || stream.label != found.label || !wanted(index) {
                continue;
            }
            let before = stream.clone();
            stream.offset_s = found.offset_s;
            stream.skew_ppm = found.skew_ppm;
            stream.matched_on = Some(found.matched_on);
            stream.clock_doubt = found.doubt();
            if before != *stream {
                changed.push(stream.label.clone());
            }
        }
        changed
    }
}
