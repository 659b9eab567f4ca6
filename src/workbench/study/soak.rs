//! Bias against time and temperature.

use super::question::Question;
use super::subject::{Subject, figures};
use crate::analysis::kinds::heat_soak::HeatSoak;
use crate::picture::claim::band_percent;
use crate::picture::soak::{Blocks, blocks};
use crate::recording::Channel;
use crate::session::Kind;
use crate::timeline::Member;

/// What the soak view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Soak {
    /// The blocks in order.
    pub blocks: Blocks,
    /// Where the claim lets the bias lie, %.
    pub band_percent: Option<[f64; 2]>,
    /// The fitted slopes, of the stretch taken for a heat soak.
    pub figures: Option<HeatSoak>,
    /// The source under test and what the fit compares it with.
    pub compared: (usize, Member),
}

/// Answers the question of the soak view.
pub fn of(question: &Question) -> Result<Soak, String> {
    let figures = figures(question, Kind::HeatSoak);
    let subject = Subject::judged(question, &figures)?;
    let track = question.aligned.tracks.get(subject.under_test);
    let temperature = track.and_then(|track| {
        let column = track.column(Channel::Temperature)?;
        column.get(subject.rows.clone())
    });
    let agreement = subject.agreement(&figures);
    let level_w = agreement.and_then(|a| a.reference_mean_w);
    let session = &question.opened.session;
    Ok(Soak {
        blocks: blocks(
            question.aligned.grid,
            subject.rows.start,
            [&subject.source, &subject.reference],
            temperature,
        ),
        band_percent: level_w.and_then(|w| band_percent(session, subject.under_test, w)),
        compared: (subject.under_test, subject.basis),
        figures: figures.of_kind.heat_soak,
    })
}

#[cfg(test)]
mod tests {
    use crate::export::figure::{Layer, PictureKind, Subject, picture};
    use crate::picture::claim::net_percent;
    use crate::session::{Kind, Segment};
    use crate::workbench::bench::{press, state};

    /// Screen and paper show the same points and the same band, whose ends are where the verdict
    /// has its limit once a loss is allowed for.
    #[test]
    fn screen_and_paper_agree_with_each_other_and_with_the_verdict() {
        let mut state = state();
        state
            .opened
            .session
            .allowance
            .get_or_insert_default()
            .percent = 3.0;
        press(&mut state, "o h");
        let Some(shown) = state.shown::<super::Soak>() else {
            panic!("no soak");
        };
        let (session, aligned, found) = (state.session(), &state.aligned, &state.found);
        let span = state.scope_span().0;
        let whole = Segment {
            kind: Kind::HeatSoak,
            from_s: span.from_s,
            to_s: span.to_s,
            set_point_w: None,
            note: String::new(),
        };
        let subject = Subject::segment(session, aligned, found, &whole, 1);
        let limit = subject.figures.verdict.as_ref().unwrap().limit_percent;
        let drawn = picture(PictureKind::HeatSoak, &subject).unwrap();
        let mut layers = drawn.layers.iter();
        let [low, high] = shown.band_percent.unwrap();
        assert!(layers.any(|layer| matches!(
            layer,
            Layer::Band { between, .. } if *between == [low, high]
        )));
        assert!((net_percent(high, 3.0) - limit.unwrap()).abs() < 1e-9);
        assert!((net_percent(low, 3.0) + limit.unwrap()).abs() < 1e-9);
        let blocks = shown.blocks.blocks.iter();
        let points: Vec<[f64; 2]> = blocks.map(|b| [b.at_s, b.bias_percent]).collect();
        assert!(points.len() > 20);
        assert!(layers.any(|layer| matches!(
            layer,
            Layer::Points { points: drawn, .. } if *drawn == points
        )));
    }
}
