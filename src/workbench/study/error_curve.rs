//! Error against power over all blocks of held power.

use super::question::Question;
use crate::analysis::error_curve::ErrorCurve;
use crate::analysis::table::error_curves;
use crate::analysis::verdict::overall;
use crate::picture::error_curve::ErrorPicture;
use crate::session::Role;

/// What the view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// What all blocks say together.
    pub found: ErrorCurve,
    /// Its picture; `None` where no block may be judged.
    pub picture: Option<ErrorPicture>,
    /// The answer on the claim, in a sentence.
    pub answer: String,
}

/// Answers the question of the view, which is always about the whole ride.
pub fn of(question: &Question) -> Result<Shown, String> {
    let session = &question.opened.session;
    let source = question.about.under_test;
    let source = source.or_else(|| session.with_role(Role::UnderTest).next());
    let stream = source.and_then(|index| Some((index, session.streams.get(index)?)));
    let (index, stream) =
        stream.ok_or("Nothing is under test: give one stream the role under-test with E.")?;
    let curves = error_curves(session, &question.aligned, &question.found);
    let found = curves.into_iter().find(|c| c.under_test == stream.label);
    let found = found.ok_or("The source under test has no power.")?;
    let claim = session.claim_of(index).unwrap_or_default();
    Ok(Shown {
        picture: ErrorPicture::of(&found, claim),
        answer: overall::answer(claim, &found),
        found,
    })
}

#[cfg(test)]
mod tests {
    use crate::export::figure::{Layer, PictureKind, Subject, picture};
    use crate::session::{Kind, Segment};
    use crate::workbench::bench::{press, state};

    /// Screen and paper show the same curve, band, blocks and claim.
    #[test]
    fn screen_and_paper_show_the_same_points() {
        let mut state = state();
        let block = |from_s: f64, to_s: f64| Segment {
            kind: Kind::SteadyBlock,
            from_s,
            to_s,
            set_point_w: None,
            note: String::new(),
        };
        state.opened.session.segments = vec![
            block(60.0, 360.0),
            block(905.0, 995.0),
            block(1405.0, 1495.0),
        ];
        press(&mut state, "o b");
        let Some(shown) = state.shown::<super::Shown>() else {
            panic!("no error curve");
        };
        let shown = shown.picture.as_ref().unwrap();
        assert_eq!((shown.blocks.len(), shown.curve.len()), (3, 13));
        let (session, aligned, found) = (state.session(), &state.aligned, &state.found);
        let subject = Subject::ride(session, aligned, found);
        let drawn = picture(PictureKind::ErrorCurve, &subject).unwrap();
        assert_eq!(drawn.x.range, shown.power_w);
        let lines = [
            &shown.curve,
            &shown.band[0],
            &shown.band[1],
            &shown.claim[0],
        ];
        for line in lines {
            let same =
                |layer: &Layer| matches!(layer, Layer::Line { points, .. } if points == line);
            assert!(drawn.layers.iter().any(same), "{line:?}");
        }
        let marks: Vec<[f64; 2]> = shown
            .blocks
            .iter()
            .map(|b| [b.power_w, b.error_percent])
            .collect();
        let same =
            |layer: &Layer| matches!(layer, Layer::Points { points, .. } if *points == marks);
        assert!(drawn.layers.iter().any(same));
    }
}
