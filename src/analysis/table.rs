//! The whole of `truing table`: every stream and every segment of a session.

use rayon::prelude::*;

use super::agreement::{Moments, compare};
use super::figures::{LevelLine, SegmentFigures, SessionHead, StreamHead, Table};
use super::segment::{CONSENSUS, figures};
use super::{judge, stats};
use crate::session::{Role, Session};
use crate::timeline::{Aligned, Member};

/// Every figure of a session.
pub fn table(session: &Session, aligned: &Aligned) -> Table {
    let segments: Vec<SegmentFigures> = session
        .segments
        .par_iter()
        .enumerate()
        .map(|(place, segment)| figures(session, aligned, segment, place + 1))
        .collect();
    let families = session
        .with_role(Role::UnderTest)
        .filter_map(|index| session.streams.get(index))
        .filter_map(|stream| judge::family(&stream.label, &segments))
        .collect();
    Table {
        session: SessionHead {
            title: session.title.clone(),
            duration_s: aligned.grid.span().duration_s(),
            claim: session.claim,
        },
        streams: heads(session, aligned),
        excursions: Vec::new(),
        segments,
        families,
        levels: levels(session, aligned),
    }
}

fn heads(session: &Session, aligned: &Aligned) -> Vec<StreamHead> {
    session
        .streams
        .iter()
        .zip(&aligned.tracks)
        .map(|(stream, track)| {
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
                dropouts: Vec::new(),
            }
        })
        .collect()
}

/// Trueness against level over the whole ride.
fn levels(session: &Session, aligned: &Aligned) -> Vec<LevelLine> {
    let label = |index: usize| session.streams.get(index).map_or("?", |s| s.label.as_str());
    aligned
        .comparisons()
        .iter()
        .map(|pair| {
            let (x, y) = (Member::Stream(pair.under_test), pair.reference);
            let compared = compare(0..aligned.grid.len, |rows| {
                let totals = aligned.pair_totals(x, y, rows);
                totals.map_or_else(Moments::default, Moments::from)
            });
            let reference = match y {
                Member::Stream(index) => label(index),
                Member::Consensus => CONSENSUS,
            };
            compared.level_line(label(pair.under_test), reference)
        })
        .collect()
}
