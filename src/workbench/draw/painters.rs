//! Both painters against each other: every point of every picture is drawn on paper and on screen,
//! and what a view shows is the picture that paper shows.

use std::path::Path;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::super::bench::{press, state};
use super::super::state::State;
use super::super::study::error_curve::Shown;
use super::super::study::references::Compared;
use super::super::study::soak::Soak;
use super::super::theme::{Depth, Ground, Look};
use super::paint;
use super::pen::Pen;
use crate::analysis::ride;
use crate::export::figure::pixels_and_places;
use crate::picture::kind::{PictureKind, picture};
use crate::picture::parts::{Layer, Picture, Stroke, Ticks};
use crate::picture::subject::Subject;
use crate::plan::Plan;
use crate::rehearse::{Masses, Scenario, SessionOptions};
use crate::session::{OpenOptions, OpenedSession};
use crate::timeline::Aligned;

/// The screen that is painted, and the width of the paper, pixels.
const SCREEN: Rect = Rect::new(0, 0, 160, 50);
const PAPER: u32 = 600;

/// How far from its place a point may be drawn: the radius of the largest ring, pixels.
const REACH: i32 = 4;

/// The picture with one layer, with or without what it draws.
fn only(picture: &Picture, layer: &Layer, is_drawn: bool) -> Picture {
    let mut layer = layer.clone();
    match &mut layer {
        Layer::Line { points, stroke, .. } => {
            // A point may fall between two dashes.
            *stroke = Stroke::Solid;
            if !is_drawn {
                points.clear();
            }
        }
        Layer::Points { points, .. } if !is_drawn => points.clear(),
        Layer::Spread { points, .. }
        | Layer::Gap { points, .. }
        | Layer::Allowed { points, .. }
            if !is_drawn =>
        {
            points.clear();
        }
        Layer::Bars { bars, .. } if !is_drawn => bars.clear(),
        _ => {}
    }
    Picture {
        layers: vec![layer],
        ..picture.clone()
    }
}

/// The points of a layer that lie inside the axes.
fn inside(picture: &Picture, layer: &Layer) -> Vec<[f64; 2]> {
    let mut points = layer.points();
    points.retain(|[x, y]| picture.x.holds(*x) && picture.y.holds(*y));
    points
}

/// Those of `points` that paper does not show.
fn missing_on_paper(picture: &Picture, layer: &Layer, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let shown = only(picture, layer, true);
    let (width, with, place) = pixels_and_places(&shown, PAPER);
    let (_, without, _) = pixels_and_places(&only(picture, layer, false), PAPER);
    let height = with.len() as i32 / 3 / width as i32;
    let is_inked = |x: i32, y: i32| {
        let there = (0..width as i32).contains(&x) && (0..height).contains(&y);
        let at = 3 * (y * width as i32 + x) as usize;
        there && with[at..at + 3] != without[at..at + 3]
    };
    let is_drawn = |point: &[f64; 2]| {
        let [x, y] = place(*point).map(|v| v.round() as i32);
        let mut near = (-REACH..=REACH).flat_map(|dx| (-REACH..=REACH).map(move |dy| [dx, dy]));
        near.any(|[dx, dy]| is_inked(x + dx, y + dy))
    };
    points.iter().filter(|p| !is_drawn(p)).copied().collect()
}

fn painted(picture: &Picture) -> Buffer {
    let mut buffer = Buffer::empty(SCREEN);
    let look = Look {
        depth: Depth::True,
        ground: Ground::Dark,
        ascii: false,
    };
    let mut pen = Pen {
        look,
        buffer: &mut buffer,
    };
    paint::picture(picture, SCREEN, true, &mut pen);
    buffer
}

/// Those of `points` that the screen does not show.
fn missing_on_screen(picture: &Picture, layer: &Layer, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let with = painted(&only(picture, layer, true));
    let without = painted(&only(picture, layer, false));
    let differs = |x: u16, y: u16| with.cell((x, y)) != without.cell((x, y));
    let changed: Vec<(u16, u16)> = (0..SCREEN.height)
        .flat_map(|y| (0..SCREEN.width).map(move |x| (x, y)))
        .filter(|(x, y)| differs(*x, *y))
        .collect();
    let Some(plot) = paint::plot_of(picture, SCREEN, with_names(layer)) else {
        return points.to_vec();
    };
    let is_drawn = |point: &&[f64; 2]| {
        let [x, y] = paint::place_in(picture, plot, **point);
        let near = |(a, b): &(u16, u16)| a.abs_diff(x) <= 1 && b.abs_diff(y) <= 1;
        changed.iter().any(near)
    };
    points.iter().filter(|p| !is_drawn(p)).copied().collect()
}

fn with_names(layer: &Layer) -> bool {
    !layer.name().is_empty()
}

/// Everything that a ride gives pictures of.
fn subjects<'a>(
    opened: &'a OpenedSession,
    aligned: &'a Aligned,
    found: &'a ride::RideFindings,
) -> Vec<Subject<'a>> {
    let session = &opened.session;
    let segments = session.segments.iter().enumerate();
    let mut all = vec![Subject::ride(session, aligned, found)];
    all.extend(segments.map(|(i, s)| Subject::segment(session, aligned, found, s, i + 1)));
    all
}

/// Of each kind the first picture that the ride has, drawn layer by layer; the kinds drawn.
fn check(opened: &OpenedSession) -> Vec<PictureKind> {
    let aligned = Aligned::new(opened);
    let found = ride::findings(&aligned);
    let subjects = subjects(opened, &aligned, &found);
    let mut drawn = Vec::new();
    for kind in PictureKind::ALL {
        let mut all = subjects
            .iter()
            .filter_map(|subject| picture(kind, subject).ok());
        let Some(shown) = all.next() else { continue };
        drawn.push(kind);
        for layer in &shown.layers {
            // Words move, and cells are told by their own test.
            if matches!(layer, Layer::Label { .. } | Layer::Cell { .. }) {
                continue;
            }
            let points = inside(&shown, layer);
            let told = format!("{} {:?}", kind.word(), layer.name());
            let none: Vec<[f64; 2]> = Vec::new();
            assert_eq!(
                missing_on_paper(&shown, layer, &points),
                none,
                "{told} on paper"
            );
            assert_eq!(
                missing_on_screen(&shown, layer, &points),
                none,
                "{told} on screen"
            );
        }
    }
    drawn
}

#[test]
fn both_painters_draw_every_point_of_a_rehearsed_ride_with_every_kind() {
    let text = include_str!("../../../tests/golden/outputs/every-kind.toml");
    let plan = Plan::from_toml("every kind", text).unwrap();
    let options = SessionOptions {
        clocks_known: true,
        tagged: true,
    };
    let scenario = Scenario {
        masses: Some(Masses::off_by(0.1)),
        ..Scenario::default()
    };
    let ride = crate::rehearse::ride(&plan, &scenario, 7).unwrap();
    let drawn = check(&ride.opened(options));
    let missing: Vec<&str> = PictureKind::ALL
        .into_iter()
        .filter(|kind| !drawn.contains(kind))
        .map(PictureKind::word)
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn both_painters_draw_every_point_of_the_sample_rides() {
    for name in ["bench-ride", "heat-soak"] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("sample-sessions")
            .join(name);
        let opened = OpenedSession::open(&folder, OpenOptions::default()).unwrap();
        assert!(check(&opened).len() >= 6, "{name}");
    }
}

/// A line that only paper draws is found: the test above can fail.
#[test]
fn a_point_that_is_not_drawn_is_missed() {
    let state = state();
    let subject = Subject::ride(state.session(), &state.aligned, &state.found);
    let shown = picture(PictureKind::Traces, &subject).unwrap();
    let line = shown
        .layers
        .iter()
        .find(|l| matches!(l, Layer::Line { .. }));
    let line = line.unwrap();
    let empty = only(&shown, line, false);
    let points = inside(&shown, line);
    assert!(points.len() > 1000);
    let unseen = missing_on_screen(&shown, &empty.layers[0], &points);
    assert_eq!(unseen.len(), points.len());
    let unseen = missing_on_paper(&shown, &empty.layers[0], &points);
    assert_eq!(unseen.len(), points.len());
}

/// What the open view shows.
fn shown(state: &State) -> Vec<Picture> {
    let soak = state.shown::<Soak>().map(|found| {
        let warm = found.against_temperature.iter();
        std::iter::once(&found.picture)
            .chain(warm)
            .cloned()
            .collect()
    });
    let references = || Some(vec![state.shown::<Compared>()?.picture.clone()]);
    let curve = || Some(vec![state.shown::<Shown>()?.picture.clone().unwrap()]);
    soak.or_else(references).or_else(curve).unwrap_or_default()
}

/// Without what is said of the segment that a window is taken for.
fn layers(pictures: Vec<Picture>) -> Vec<(Vec<Layer>, Ticks)> {
    let parts = pictures.into_iter().map(|p| (p.layers, p.x.ticks));
    parts.collect()
}

#[test]
fn a_view_shows_the_picture_that_paper_shows() {
    use crate::session::{Kind, Segment};
    let mut state = state();
    let segment = |kind: Kind, from_s: f64, to_s: f64| Segment {
        kind,
        from_s,
        to_s,
        set_point_w: None,
        note: String::new(),
    };
    state.opened.session.segments = vec![
        segment(Kind::SteadyBlock, 60.0, 360.0),
        segment(Kind::SteadyBlock, 905.0, 995.0),
        segment(Kind::SteadyBlock, 1405.0, 1495.0),
    ];
    let whole = |state: &State, kind: Kind| {
        let span = state.ride();
        let one = segment(kind, span.from_s, span.to_s);
        let (session, aligned, found) = (state.session(), &state.aligned, &state.found);
        let subject = Subject::segment(session, aligned, found, &one, 0);
        let kinds: &[PictureKind] = match kind {
            Kind::HeatSoak => &[PictureKind::HeatSoak],
            _ => &[PictureKind::References],
        };
        let all = kinds.iter().map(|kind| picture(*kind, &subject).unwrap());
        layers(all.collect())
    };
    for (keys, kind) in [("o h", Kind::HeatSoak), ("o f", Kind::Open)] {
        press(&mut state, keys);
        let drawn = shown(&state);
        assert!(!drawn.is_empty(), "{keys}");
        assert_eq!(layers(drawn), whole(&state, kind), "{keys}");
    }
    press(&mut state, "o b");
    let drawn = shown(&state);
    let subject = Subject::ride(state.session(), &state.aligned, &state.found);
    let paper = picture(PictureKind::ErrorCurve, &subject).unwrap();
    assert_eq!(drawn, [paper]);
}
