//! Where a recorder's clock or its rows do not simply go on: pauses, stretches passed twice, rows at
//! another rate, a recorder that writes on change.
//!
//! A jump of one clock against another is found by matching the two (`jump.rs`); what is here, the
//! time stamps of one recording show by themselves.

use crate::recording::{ClockNoteKind, EventKind, Sampling};
use crate::session::OpenedSession;
use crate::timeline::{Clock, Span, clock_of};

/// A silence of a recorder is told of from here on, s: shorter ones are dropouts.
const PAUSE_FROM_S: f64 = 5.0;
/// So much longer than the recorder's own interval it has to be.
const PAUSE_INTERVALS: f64 = 3.0;
/// How near an event of the timer belongs to a pause, s.
const EVENT_NEAR_S: f64 = 3.0;
/// Most places of one stream; a recorder with more pauses than that drops samples.
const MOST: usize = 50;

/// A stretch in which a recorder did something else than going on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockPlace {
    /// The stream, by its index.
    pub stream: usize,
    /// When, session time.
    pub span: Span,
    /// What.
    pub what: ClockOddity,
}

/// What a recorder did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClockOddity {
    /// It recorded nothing. `alone`: another recorder went on meanwhile. `stopped`: its timer says
    /// that it was stopped.
    Pause {
        /// Whether another recorder went on.
        alone: bool,
        /// Whether its own timer tells of it.
        stopped: bool,
    },
    /// Its clock went back: the stretch was passed twice.
    WentBack,
    /// Several rows a second under stamps of whole seconds.
    SeveralASecond,
    /// Rows stood there twice with other values.
    Twice,
    /// It writes only what changes, over the whole recording.
    OnChange,
}

impl ClockOddity {
    /// In words, after the name of the stream and before the place.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Pause {
                alone: true,
                stopped: true,
            } => "stopped itself while another recorded on",
            Self::Pause {
                alone: true,
                stopped: false,
            } => "recorded nothing while another recorded on",
            Self::Pause { alone: false, .. } => "paused, as all did",
            Self::WentBack => "its clock went back and passed this twice",
            Self::SeveralASecond => "several rows a second: spread over it",
            Self::Twice => "rows there twice, the first kept",
            Self::OnChange => "writes only what changes",
        }
    }
}

/// Every such place of every stream, by stream and time.
pub fn clock_places(opened: &OpenedSession) -> Vec<ClockPlace> {
    let streams = 0..opened.sources.len();
    streams
        .flat_map(|stream| of_stream(opened, stream))
        .collect()
}

fn of_stream(opened: &OpenedSession, stream: usize) -> Vec<ClockPlace> {
    let source = &opened.sources[stream];
    let (Some(recorded), Some(recording)) = (source.stream(), source.recording()) else {
        return Vec::new();
    };
    let clock = clock_of(opened, stream);
    let time_s = recorded.samples.time_s();
    let place = |from_s: f64, to_s: f64, what| ClockPlace {
        stream,
        span: Span::new(clock.to_session(from_s), clock.to_session(to_s)),
        what,
    };
    let mut found: Vec<ClockPlace> = recording
        .clock_notes
        .iter()
        .map(|note| {
            let what = match note.kind {
                ClockNoteKind::WentBack => ClockOddity::WentBack,
                ClockNoteKind::SeveralASecond => ClockOddity::SeveralASecond,
                ClockNoteKind::Twice => ClockOddity::Twice,
            };
            place(note.from_s, note.to_s, what)
        })
        .collect();
    let is_on_change = recorded.sampling == Sampling::OnChange;
    if let (true, [first, .., last]) = (is_on_change, time_s) {
        found.push(place(*first, *last, ClockOddity::OnChange));
    }
    let interval_s = recorded.samples.median_interval_s().unwrap_or(1.0);
    let least_s = match recorded.sampling {
        Sampling::Regular => PAUSE_FROM_S.max(PAUSE_INTERVALS * interval_s),
        // Nothing changed for that long, or it had stopped.
        Sampling::OnChange => 60.0,
    };
    let silences = time_s.windows(2).filter(|pair| pair[1] - pair[0] > least_s);
    found.extend(silences.take(MOST).map(|pair| {
        let span = Span::new(clock.to_session(pair[0]), clock.to_session(pair[1]));
        let mut events = recording.events.iter();
        let stopped = events.any(|event| {
            event.kind == EventKind::TimerStop && (event.at_s - pair[0]).abs() <= EVENT_NEAR_S
        });
        let alone = (0..opened.sources.len())
            .any(|other| !opened.share_a_clock(stream, other) && records_in(opened, other, span));
        place(pair[0], pair[1], ClockOddity::Pause { alone, stopped })
    }));
    found.sort_by(|a, b| a.span.from_s.total_cmp(&b.span.from_s));
    found
}

/// Whether a stream recorded during most of `span`.
fn records_in(opened: &OpenedSession, stream: usize, span: Span) -> bool {
    let Some(samples) = opened
        .sources
        .get(stream)
        .and_then(|source| source.samples())
    else {
        return false;
    };
    let clock: Clock = clock_of(opened, stream);
    let time_s = samples.time_s();
    let row_at = |t_s: f64| time_s.partition_point(|t| *t < clock.to_recorder(t_s));
    let rows = row_at(span.to_s).saturating_sub(row_at(span.from_s));
    let interval_s = samples.median_interval_s().unwrap_or(1.0);
    rows as f64 * interval_s > 0.5 * span.duration_s()
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::Arc;

    use rand::{RngExt as _, SeedableRng as _};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::recording::{ReadOptions, read_bytes};
    use crate::session::start::{Part, sketch};

    fn opened(files: &[(&str, String)]) -> OpenedSession {
        let part = |(name, text): &(&str, String)| Part {
            file: (*name).to_owned(),
            recording: Arc::new(
                read_bytes(Path::new(name), text.as_bytes(), &ReadOptions::default()).unwrap(),
            ),
        };
        let parts: Vec<Part> = files.iter().map(part).collect();
        sketch(Path::new(""), "", &parts, None).unwrap()
    }

    fn text(times: impl Iterator<Item = u32>) -> String {
        let row = |(index, t): (usize, u32)| format!("{t},{}\n", 150 + index * 37 % 91);
        let rows: String = times.enumerate().map(row).collect();
        format!("time_s,power_w\n{rows}")
    }

    #[test]
    fn a_pause_of_one_is_told_from_that_of_all() {
        let ride = |also: std::ops::Range<u32>| {
            text((0..600).filter(move |t| !(300..330).contains(t) && !also.contains(t)))
        };
        let opened = opened(&[("hub.csv", ride(100..120)), ("pedals.csv", ride(0..0))]);
        let found: Vec<_> = clock_places(&opened)
            .iter()
            .map(|p| (p.stream, p.span.from_s, p.span.to_s, p.what))
            .collect();
        let pause = |alone| ClockOddity::Pause {
            alone,
            stopped: false,
        };
        assert_eq!(
            found,
            [
                (0, 99.0, 120.0, pause(true)),
                (0, 299.0, 330.0, pause(false)),
                (1, 299.0, 330.0, pause(false)),
            ]
        );
    }

    #[test]
    fn a_clock_that_goes_back_and_rows_at_twice_the_rate_are_placed() {
        let back = text((0..300).chain(250..600));
        let twice = text((0..1200).map(|half| half / 2));
        let opened = opened(&[("hub.csv", back), ("pedals.csv", twice)]);
        let found = clock_places(&opened);
        let of = |what: ClockOddity| {
            let place = found.iter().find(|place| place.what == what);
            place.map(|place| (place.stream, place.span.from_s, place.span.to_s))
        };
        assert_eq!(of(ClockOddity::WentBack), Some((0, 250.0, 299.0)));
        assert_eq!(of(ClockOddity::Twice), Some((0, 250.0, 299.0)));
        assert_eq!(of(ClockOddity::SeveralASecond), Some((1, 0.0, 599.0)));
        assert!(found.iter().all(|place| !place.what.in_words().is_empty()));
    }

    #[test]
    fn a_recorder_that_writes_on_change_is_told_of() {
        let mut random = ChaCha8Rng::seed_from_u64(2_100_003);
        let mut t = 0;
        let steps = (0..400).map(|_| {
            t += random.random_range(1..8);
            t
        });
        let opened = opened(&[("hub.csv", text(steps))]);
        let found = clock_places(&opened);
        assert!(
            found
                .iter()
                .any(|place| place.what == ClockOddity::OnChange)
        );
    }
}
