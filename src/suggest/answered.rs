//! The questions of a ride answered from its segments, or from what is suggested where none is tagged.

use super::evidence::Evidence;
use super::find;
use super::suggestion::covers;
use crate::analysis::questions::{Findings, Tagging, findings};
use crate::analysis::ride::RideFindings;
use crate::analysis::table::Table;
use crate::analysis::table::table_with;
use crate::session::{Segment, Session};
use crate::timeline::Aligned;

/// The session with what is suggested in place of its segments, where it has none and anything is.
pub fn suggested(session: &Session, aligned: &Aligned) -> Option<Session> {
    if !session.segments.is_empty() {
        return None;
    }
    let suggested = segments(aligned);
    (!suggested.is_empty()).then(|| with_segments(session, suggested))
}

fn segments(aligned: &Aligned) -> Vec<Segment> {
    let suggested = find::all(&Evidence::of(aligned)).into_iter();
    suggested.map(|suggestion| suggestion.segment).collect()
}

fn with_segments(session: &Session, segments: Vec<Segment>) -> Session {
    Session {
        segments,
        ..session.clone()
    }
}

/// The answers. `table` holds the figures of `session`; of a ride without segments the figures of the
/// suggestions are taken in its place.
pub fn answered(
    session: &Session,
    aligned: &Aligned,
    found: &RideFindings,
    table: &Table,
) -> Findings {
    let suggested = segments(aligned);
    if !session.segments.is_empty() || suggested.is_empty() {
        let tagged = &session.segments;
        let missing = |one: &&Segment| !tagged.iter().any(|segment| covers(segment, one));
        let tagging = Tagging {
            suggested: false,
            untagged: suggested.iter().filter(missing).count(),
        };
        return findings(session, aligned, found, table, tagging);
    }
    let suggested = with_segments(session, suggested);
    let table = table_with(&suggested, aligned, found);
    let tagging = Tagging {
        suggested: true,
        untagged: 0,
    };
    findings(&suggested, aligned, found, &table, tagging)
}
