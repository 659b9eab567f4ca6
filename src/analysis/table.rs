//! The whole of `truing table`: every stream and every segment of a session.

use rayon::prelude::*;

use super::figures::{Band, LevelLine, SegmentFigures, SessionHead, StreamHead, Table};
use super::ride::{self, RideFindings};
use super::segment::figures_with;
use super::window::Window;
use super::{coverage, mean_max, overall, pooled, stats};
use crate::recording::Channel;
use crate::session::store::CONSENSUS;
use crate::session::{Role, Session};
use crate::timeline::{Aligned, Member};

/// Every figure of a session.
pub fn table(session: &Session, aligned: &Aligned) -> Table {
    table_with(session, aligned, &ride::findings(aligned))
}

/// [`table`], given what the whole ride shows.
pub fn table_with(session: &Session, aligned: &Aligned, found: &RideFindings) -> Table {
    let segments: Vec<SegmentFigures> = session
        .segments
        .par_iter()
        .enumerate()
        .map(|(place, segment)| figures_with(session, aligned, found, segment, place + 1))
        .collect();
    let families = session
        .with_role(Role::UnderTest)
        .filter_map(|index| session.streams.get(index))
        .filter_map(|stream| overall::family(&stream.label, &segments))
        .collect();
    let ride = Window::new(session, aligned, found, aligned.grid.span());
    Table {
        session: SessionHead {
            title: session.title.clone(),
            duration_s: aligned.grid.span().duration_s(),
            claim: session.claim,
            allowance: session.allowance,
            clocks: session.clock_cautions(),
        },
        streams: heads(session, aligned, found),
        excursions: found.excursions_by_label(session),
        segments,
        families,
        levels: levels(&ride),
        bands: bands(session, aligned, found),
        pooled: pooled::pooled(&ride, &session.segments),
    }
}

fn heads(session: &Session, aligned: &Aligned, found: &RideFindings) -> Vec<StreamHead> {
    session
        .streams
        .iter()
        .zip(&aligned.tracks)
        .enumerate()
        .map(|(index, (stream, track))| {
            let samples = track.source().samples();
            StreamHead {
                label: stream.label.clone(),
                role: stream.role,
                site: stream.site,
                offset_s: stream.offset_s,
                skew_ppm: stream.skew_ppm,
                samples: samples.map_or(0, |s| s.len()),
                median_interval_s: samples
                    .and_then(|s| s.median_interval_s())
                    .and_then(stats::finite),
                dropouts: found.dropouts.get(index).cloned().unwrap_or_default(),
                mean_max: track
                    .column(Channel::Power)
                    .map_or_else(Vec::new, |power| mean_max::curve(power, aligned.grid)),
            }
        })
        .collect()
}

/// What a member is called.
fn name(session: &Session, member: Member) -> &str {
    match member {
        Member::Stream(index) => session.streams.get(index).map_or("?", |s| s.label.as_str()),
        Member::Consensus => CONSENSUS,
    }
}

/// Bias by band over the whole ride, against what verdicts rest on. Cadence and speed are those of
/// the first reference that has them, else of the source under test (wheel speed usually is).
fn bands(session: &Session, aligned: &Aligned, ride: &RideFindings) -> Vec<Band> {
    let Some(basis) = aligned.basis() else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for under_test in aligned.powered(Role::UnderTest) {
        let member = Member::Stream(under_test);
        let readings = |member| ride.readings(aligned, member);
        let (Some(x), Some(y)) = (readings(member), readings(basis)) else {
            continue;
        };
        let pair = coverage::Pair {
            under_test: name(session, member),
            reference: name(session, basis),
            x: &x,
            y: &y,
        };
        found.extend(coverage::bands(pair, Channel::Power, &y));
        for channel in [Channel::Cadence, Channel::Speed] {
            if let Some(values) = operating_column(aligned, under_test, channel) {
                found.extend(coverage::bands(pair, channel, values));
            }
        }
    }
    found
}

/// The column of `channel` by which the ride is banded: of the first reference that carries it,
/// else of the source under test.
pub fn operating_column(aligned: &Aligned, under_test: usize, channel: Channel) -> Option<&[f64]> {
    let references = aligned.powered(Role::Reference);
    let mut candidates = references.chain(std::iter::once(under_test));
    candidates.find_map(|index| aligned.tracks.get(index)?.column(channel))
}

/// Trueness against level over the whole ride.
fn levels(ride: &Window<'_>) -> Vec<LevelLine> {
    ride.comparisons()
        .iter()
        .map(|(under_test, member, compared)| {
            compared.level_line(ride.label(*under_test), ride.name(*member))
        })
        .collect()
}
