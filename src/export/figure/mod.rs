//! Pictures: what is drawn as plain data ([`Picture`]), and drawn as SVG or PNG.
//!
//! Every picture states its window, the number of samples and that nothing was smoothed. Streams
//! are told apart by marker and weight as well as by a colour of a set safe for the colour-blind,
//! so that a black-and-white print reads the same.

mod bias;
mod coverage;
mod error_curve;
mod paint;
mod picture;
mod power;
mod subject;
mod ticks;
mod weights;

use plotters::backend::{BitMapBackend, SVGBackend};
use plotters::drawing::IntoDrawingArea as _;
use plotters::style::{FontStyle, register_font};

pub use picture::{Axis, Ink, Layer, Marker, Picture, Style, Ticks, range_of};
pub use subject::Subject;

use super::ExportError;

/// Widths that make a picture, pixels.
pub const WIDTHS: std::ops::RangeInclusive<u32> = 300..=6000;

/// The kinds of picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PictureKind {
    /// Power of every stream.
    Traces,
    /// Under test − reference against time, with the claim as a band.
    Difference,
    /// Difference against mean, with the limits of agreement.
    Agreement,
    /// The response of the source under test, with the fitted model.
    Response,
    /// Bias against time, with the drift.
    HeatSoak,
    /// Which combinations were ridden, and the bias in each.
    Coverage,
    /// Highest mean power over every duration.
    MeanMax,
    /// The references against each other.
    References,
    /// Error against power over all blocks of held power.
    ErrorCurve,
    /// Readings with known masses: what the line leaves, up and down.
    Weights,
}

impl PictureKind {
    /// Every kind.
    pub const ALL: [PictureKind; 10] = [
        PictureKind::Traces,
        PictureKind::Difference,
        PictureKind::Agreement,
        PictureKind::Response,
        PictureKind::HeatSoak,
        PictureKind::Coverage,
        PictureKind::MeanMax,
        PictureKind::References,
        PictureKind::ErrorCurve,
        PictureKind::Weights,
    ];

    /// The word on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            PictureKind::Traces => "traces",
            PictureKind::Difference => "difference",
            PictureKind::Agreement => "agreement",
            PictureKind::Response => "response",
            PictureKind::HeatSoak => "heat-soak",
            PictureKind::Coverage => "coverage",
            PictureKind::MeanMax => "mean-max",
            PictureKind::References => "references",
            PictureKind::ErrorCurve => "error-curve",
            PictureKind::Weights => "weights",
        }
    }

    /// The kind with this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// The picture of this kind.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where the window has no such figure.
pub fn picture(kind: PictureKind, subject: &Subject<'_>) -> Result<Picture, ExportError> {
    let made = match kind {
        PictureKind::Traces => power::traces(subject),
        PictureKind::Difference => bias::difference(subject),
        PictureKind::Agreement => bias::agreement(subject),
        PictureKind::Response => power::response(subject),
        PictureKind::HeatSoak => bias::heat_soak(subject),
        PictureKind::Coverage => coverage::coverage(subject),
        PictureKind::MeanMax => power::mean_max(subject),
        PictureKind::References => bias::references(subject),
        PictureKind::ErrorCurve => error_curve::error_curve(subject),
        PictureKind::Weights => weights::weights(subject),
    };
    made.map_err(|reason| ExportError::NothingToDraw {
        kind: kind.word(),
        reason,
    })
}

/// Width and height of a picture of about this width, pixels.
pub(crate) fn size_of(width: u32) -> (u32, u32) {
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    (width, (f64::from(width) * paint::SHAPE).round() as u32)
}

/// The font that travels inside: what is measured and drawn is the same on every machine.
fn font_at_hand() -> Result<(), ExportError> {
    static FONT: &[u8] = include_bytes!("../../../assets/fonts/dejavu-sans-subset.ttf");
    register_font("sans-serif", FontStyle::Normal, FONT)
        .map_err(|_| ExportError::Draw("the built-in font cannot be read".to_owned()))
}

/// `picture` as an SVG document, `width` pixels wide. Text stays text.
///
/// # Errors
/// [`ExportError::Draw`].
pub fn svg(picture: &Picture, width: u32) -> Result<String, ExportError> {
    font_at_hand()?;
    let mut out = String::new();
    {
        let area = SVGBackend::with_string(&mut out, size_of(width)).into_drawing_area();
        paint::paint(&area, picture, paint::Joins::Own)
            .map_err(|e| ExportError::Draw(e.to_string()))?;
        area.present()
            .map_err(|e| ExportError::Draw(e.to_string()))?;
    }
    Ok(out)
}

/// `picture` as a PNG file, `width` pixels wide.
///
/// # Errors
/// [`ExportError::Draw`].
pub fn png(picture: &Picture, width: u32) -> Result<Vec<u8>, ExportError> {
    font_at_hand()?;
    let failed = |error: &dyn std::fmt::Display| ExportError::Draw(error.to_string());
    // The library encodes PNG into files only.
    let file = tempfile::Builder::new()
        .prefix("truing-")
        .suffix(".png")
        .tempfile()
        .map_err(|e| failed(&e))?;
    {
        let area = BitMapBackend::new(file.path(), size_of(width)).into_drawing_area();
        paint::paint(&area, picture, paint::Joins::Round).map_err(|e| failed(&e))?;
        area.present().map_err(|e| failed(&e))?;
    }
    std::fs::read(file.path()).map_err(|e| failed(&e))
}

#[cfg(test)]
mod tests {
    use std::sync::OnceLock;

    use super::*;
    use crate::analysis::ride::{RideFindings, findings};
    use crate::plan::Plan;
    use crate::recording::{Channel, Recording};
    use crate::rehearse::{Masses, Scenario, SessionOptions, ride};
    use crate::session::{Kind, OpenedSession, Source};
    use crate::timeline::Aligned;

    /// A ride with two references, tagged, its first stream named to do harm.
    fn ridden() -> &'static (OpenedSession, Aligned, RideFindings) {
        static RIDE: OnceLock<(OpenedSession, Aligned, RideFindings)> = OnceLock::new();
        RIDE.get_or_init(|| {
            let plan = Plan::built_in("full-bench").unwrap();
            let scenario = Scenario {
                masses: Some(Masses::off_by(0.1)),
                ..Scenario::default()
            };
            let rehearsal = ride(&plan, &scenario, 7).unwrap();
            let mut opened = rehearsal.opened(SessionOptions {
                clocks_known: true,
                tagged: true,
            });
            opened.session.streams[0].label = "</text><script>alert(1)</script>&\u{202e}".into();
            let aligned = Aligned::new(&opened);
            let findings = findings(&aligned);
            (opened, aligned, findings)
        })
    }

    fn subject_of(kind: Kind) -> Subject<'static> {
        let (opened, aligned, findings) = ridden();
        let index = opened.session.segments.iter().position(|s| s.kind == kind);
        let index = index.unwrap();
        let segment = &opened.session.segments[index];
        Subject::segment(&opened.session, aligned, findings, segment, index + 1)
    }

    fn assert_well_formed(svg: &str) {
        let mut reader = quick_xml::Reader::from_str(svg);
        let mut depth = 0;
        loop {
            match reader.read_event().unwrap() {
                quick_xml::events::Event::Start(_) => depth += 1,
                quick_xml::events::Event::End(_) => depth -= 1,
                quick_xml::events::Event::Eof => break,
                _ => {}
            }
        }
        assert_eq!(depth, 0);
    }

    #[test]
    fn every_kind_is_drawn_as_sound_svg() {
        for kind in PictureKind::ALL {
            let subject = subject_of(Kind::SteadyBlock);
            let drawn = picture(kind, &subject).unwrap();
            assert!(!drawn.layers.is_empty(), "{}", kind.word());
            // Masses hang before the ride.
            if kind != PictureKind::Weights {
                assert!(drawn.facts[0].contains("no smoothing"), "{:?}", drawn.facts);
                assert!(drawn.facts[0].starts_with("Window 0:"), "{:?}", drawn.facts);
            }
            let svg = svg(&drawn, 800).unwrap();
            assert_well_formed(&svg);
            assert!(
                !svg.contains("NaN") && !svg.contains("inf"),
                "{}",
                kind.word()
            );
            assert!(!svg.contains("<script") && !svg.contains('\u{202e}'));
            assert!(!svg.contains("href") && !svg.contains("url("));
        }
    }

    #[test]
    fn a_png_has_the_size_asked_for() {
        let drawn = picture(PictureKind::Traces, &subject_of(Kind::SteadyBlock)).unwrap();
        let bytes = png(&drawn, 640).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((number(16), number(20)), size_of(640));
    }

    #[test]
    fn the_model_of_a_sprint_is_drawn_where_there_is_a_fit() {
        let subject = subject_of(Kind::Sprint);
        let drawn = picture(PictureKind::Response, &subject).unwrap();
        let named = |name: &str| drawn.layers.iter().any(|layer| layer.name() == name);
        let sprint = subject.figures.of_kind.sprint.as_ref().unwrap();
        assert!(named("model of the response"), "{sprint:?}");
        // The dead time is that of the table, the moments of sampling in it.
        let dead_time = format!("dead time {:.2} s", sprint.delay_s.unwrap());
        assert!(sprint.sampled_later_s.unwrap().abs() > 0.05, "{sprint:?}");
        let failed = drawn.facts.iter().any(|fact| fact.contains(&dead_time));
        assert!(failed, "{dead_time}: {:?}", drawn.facts);
        assert!(named("mean of the references"));
    }

    /// A gap of the references shortly before a sprint costs the model nothing but itself.
    #[test]
    fn a_gap_before_a_sprint_leaves_the_model_its_line() {
        let (opened, ..) = ridden();
        let mut segments = opened.session.segments.iter();
        let index = segments.position(|s| s.kind == Kind::Sprint).unwrap();
        let segment = &opened.session.segments[index];
        let mut gapped = opened.clone();
        for (stream, source) in opened.session.streams.iter().zip(&mut gapped.sources) {
            if stream.role == crate::session::Role::Reference {
                *source = without(source, segment.from_s - 15.0..segment.from_s - 8.0);
            }
        }
        let aligned = Aligned::new(&gapped);
        let findings = findings(&aligned);
        let subject = Subject::segment(&gapped.session, &aligned, &findings, segment, index + 1);
        let drawn = picture(PictureKind::Response, &subject).unwrap();
        let mut layers = drawn.layers.iter();
        let model = layers.find(|layer| layer.name() == "model of the response");
        let Some(Layer::Line { points, .. }) = model else {
            panic!("no model: {:?}", subject.figures.of_kind.sprint);
        };
        let there = points.iter().filter(|p| p[1].is_finite()).count();
        assert_eq!(there, points.len());
    }

    /// The source without its power in a stretch of its clock, s.
    fn without(source: &Source, gap: std::ops::Range<f64>) -> Source {
        let mut stream = source.stream().unwrap().clone();
        let mut power = stream.samples.column(Channel::Power).unwrap().to_vec();
        for (t_s, watts) in stream.samples.time_s().iter().zip(&mut power) {
            if gap.contains(t_s) {
                *watts = f64::NAN;
            }
        }
        assert!(stream.samples.set_column(Channel::Power, power));
        let base = source.recording().unwrap().time_base;
        let recording = Recording::in_memory("gapped", "gapped", base, vec![stream]);
        Source::new(std::sync::Arc::new(recording), 0)
    }

    #[test]
    fn every_pair_of_references_has_its_own_look() {
        let (opened, ..) = ridden();
        let mut three = opened.clone();
        three.session.streams[0].role = crate::session::Role::Reference;
        let aligned = Aligned::new(&three);
        let findings = findings(&aligned);
        let subject = Subject::ride(&three.session, &aligned, &findings);
        let drawn = picture(PictureKind::References, &subject).unwrap();
        let styles: Vec<Style> = drawn
            .layers
            .iter()
            .filter_map(|layer| match layer {
                Layer::Line { style, .. } => Some(*style),
                _ => None,
            })
            .collect();
        assert_eq!(styles.len(), 3);
        assert!(styles[0].ink != styles[1].ink && styles[1].ink != styles[2].ink);
        assert_ne!(styles[0].ink, styles[2].ink);
    }

    #[test]
    fn without_a_reference_it_is_said_so() {
        let (opened, ..) = ridden();
        let mut alone = opened.clone();
        for stream in &mut alone.session.streams {
            if stream.role == crate::session::Role::Reference {
                stream.role = crate::session::Role::Context;
            }
        }
        let aligned = Aligned::new(&alone);
        let findings = findings(&aligned);
        let subject = Subject::ride(&alone.session, &aligned, &findings);
        assert!(picture(PictureKind::Traces, &subject).is_ok());
        for kind in [
            PictureKind::Difference,
            PictureKind::References,
            PictureKind::Response,
        ] {
            let error = picture(kind, &subject).unwrap_err().to_string();
            assert!(error.contains("reference"), "{error}");
        }
    }
}
