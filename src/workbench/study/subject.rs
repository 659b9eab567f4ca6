//! What a picture of a view is of.

use super::question::Question;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::segment;
use crate::picture::subject::Subject;
use crate::session::{Kind, Segment};

/// The question's stretch taken for a segment of `kind`, with the comparison that the question names.
///
/// # Errors
/// Why there is no such comparison.
pub fn chosen(question: &Question, kind: Kind) -> Result<Subject<'_>, String> {
    let about = question.about;
    let under_test = about
        .under_test
        .ok_or("No stream under test carries power: give one the role under-test.")?;
    let basis = about
        .basis
        .ok_or("No reference carries power: give at least one stream the role reference.")?;
    Ok(Subject {
        chosen: Some((under_test, basis)),
        ..judged(question, kind)
    })
}

/// The same with the comparison that figures rest on where they take a fit: the first source under
/// test against what its verdict rests on.
pub fn judged(question: &Question, kind: Kind) -> Subject<'_> {
    Subject::of(
        &question.opened.session,
        &question.aligned,
        &question.found,
        figures(question, kind),
    )
}

/// All figures of the question's stretch taken for a segment of `kind`.
pub fn figures(question: &Question, kind: Kind) -> SegmentFigures {
    let about = question.about;
    let session = &question.opened.session;
    let own = about.segment.and_then(|index| session.segments.get(index));
    let segment = Segment {
        kind,
        from_s: about.span.from_s,
        to_s: about.span.to_s,
        set_point_w: own.and_then(|segment| segment.set_point_w),
        note: String::new(),
    };
    let id = about.segment.map_or(0, |index| index + 1);
    segment::figures_with(session, &question.aligned, &question.found, &segment, id)
}
