//! Sessions in memory, for tests.

use std::path::PathBuf;
use std::sync::Arc;

use crate::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use crate::session::{Kind, OpenedSession, Role, Segment, Session, Source, Stream};
use crate::timeline::Aligned;

/// One stream: label, role, claim in %, and its channels at one sample a second.
pub struct Ridden {
    pub label: &'static str,
    pub role: Role,
    pub claim_percent: Option<f64>,
    pub channels: Vec<(Channel, Vec<f64>)>,
}

/// A stream with power only.
pub fn ridden(
    label: &'static str,
    role: Role,
    claim_percent: Option<f64>,
    power: Vec<f64>,
) -> Ridden {
    Ridden {
        label,
        role,
        claim_percent,
        channels: vec![(Channel::Power, power)],
    }
}

/// The session of these streams, with the claim ±2 % and no segments.
pub fn session_of(ridden: Vec<Ridden>) -> OpenedSession {
    let mut session = Session::default();
    let mut sources = Vec::new();
    for stream in ridden {
        let rows = stream
            .channels
            .first()
            .map_or(0, |(_, values)| values.len());
        let mut samples = Samples::new((0..rows).map(|i| i as f64).collect()).unwrap();
        for (channel, values) in stream.channels {
            assert!(samples.set_column(channel, values));
        }
        let recorded = RecordedStream {
            label: stream.label.to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(
            stream.label,
            stream.label,
            TimeBase::Elapsed,
            vec![recorded],
        );
        sources.push(Source::new(Arc::new(recording), 0));
        session.streams.push(Stream {
            role: stream.role,
            claim_percent: stream.claim_percent,
            ..Stream::new(stream.label, stream.label)
        });
    }
    OpenedSession {
        folder: PathBuf::new(),
        session,
        sources,
        problems: Vec::new(),
    }
}

/// A segment over a stretch.
pub fn segment(kind: Kind, from_s: f64, to_s: f64) -> Segment {
    Segment {
        kind,
        from_s,
        to_s,
        set_point_w: None,
        note: String::new(),
    }
}

/// The session and its ride on one time line.
pub fn aligned_of(ridden: Vec<Ridden>) -> (Session, Aligned) {
    let opened = session_of(ridden);
    let aligned = Aligned::new(&opened);
    (opened.session, aligned)
}
