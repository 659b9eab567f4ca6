//! The questions of a ride answered from its segments, or from what is suggested where none is tagged.

use super::{Evidence, covers, suggestions};
use crate::analysis::questions::{Findings, Tagging, findings};
use crate::analysis::ride::RideFindings;
use crate::analysis::table::Table;
use crate::analysis::table::table_with;
use crate::session::{Segment, Session};
use crate::timeline::Aligned;

/// The answers. `table` holds the figures of `session`; of a ride without segments the figures of the
/// suggestions are taken in its place.
pub fn answered(
    session: &Session,
    aligned: &Aligned,
    found: &RideFindings,
    table: &Table,
) -> Findings {
    let suggested: Vec<Segment> = suggestions(&Evidence::of(aligned))
        .into_iter()
        .map(|suggestion| suggestion.segment)
        .collect();
    if !session.segments.is_empty() || suggested.is_empty() {
        let tagged = &session.segments;
        let missing = |one: &&Segment| !tagged.iter().any(|segment| covers(segment, one));
        let tagging = Tagging {
            suggested: false,
            untagged: suggested.iter().filter(missing).count(),
        };
        return findings(session, aligned, found, table, tagging);
    }
    let suggested = Session {
        segments: suggested,
        ..session.clone()
    };
    let table = table_with(&suggested, aligned, found);
    let tagging = Tagging {
        suggested: true,
        untagged: 0,
    };
    findings(&suggested, aligned, found, &table, tagging)
}
