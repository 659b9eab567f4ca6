//! Pictures on paper: a [`Picture`] as SVG or PNG, light, dark or over anything.
//!
//! Every picture states its window, the number of samples and that nothing was smoothed. What a line
//! stands for is told by its tone, its lightness and its marks, so that a black-and-white print reads
//! the same.

mod canvas;
mod free;
mod lines;
mod paint;
mod raster;

use std::path::Path;

use plotters::backend::SVGBackend;
use plotters::drawing::IntoDrawingArea as _;
use plotters::style::{FontStyle, RGBColor, register_font};

pub use paint::WIDTHS;
pub(crate) use paint::size_of;
pub use raster::Look;

pub use crate::picture::kind::PictureKind;
pub use crate::picture::parts::Picture;
pub use crate::picture::subject::Subject;
pub use crate::picture::tone::Backdrop;

use super::ExportError;
use crate::picture::kind;
use crate::picture::tone::Tone;

/// The picture of this kind.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where the window has no such figure.
pub fn picture(kind: PictureKind, subject: &Subject<'_>) -> Result<Picture, ExportError> {
    kind::picture(kind, subject).map_err(|reason| ExportError::NothingToDraw {
        kind: kind.word(),
        reason,
    })
}

/// The fonts that travel inside: what is measured and drawn is the same on every machine.
fn font_at_hand() -> Result<(), ExportError> {
    static PLAIN: &[u8] = include_bytes!("../../../assets/fonts/dejavu-sans-subset.ttf");
    static BOLD: &[u8] = include_bytes!("../../../assets/fonts/dejavu-sans-bold-subset.ttf");
    for (style, font) in [(FontStyle::Normal, PLAIN), (FontStyle::Bold, BOLD)] {
        register_font("sans-serif", style, font)
            .map_err(|_| ExportError::Draw("the built-in font cannot be read".to_owned()))?;
    }
    Ok(())
}

/// Fonts of an SVG document in order of preference: those as wide as the built-in one come first.
const FAMILIES: &str = "font-family=\"DejaVu Sans, Verdana, sans-serif\"";

/// `picture` as an SVG document, `width` pixels wide. Text stays text.
///
/// # Errors
/// [`ExportError::Draw`].
pub fn svg(picture: &Picture, width: u32, backdrop: Backdrop) -> Result<String, ExportError> {
    font_at_hand()?;
    let [_, r, g, b] = Tone::Page.rgb(backdrop).to_be_bytes();
    let sheet = paint::Sheet {
        backdrop,
        joins: canvas::Joins::Own,
        page: RGBColor(r, g, b),
        ground_share: 1.0,
    };
    let mut out = String::new();
    {
        let size = size_of(picture, width);
        let area = SVGBackend::with_string(&mut out, size).into_drawing_area();
        paint::paint(&area, picture, sheet).map_err(|e| ExportError::Draw(e.to_string()))?;
        area.present()
            .map_err(|e| ExportError::Draw(e.to_string()))?;
    }
    let round = "<svg stroke-linejoin=\"round\" stroke-linecap=\"round\" ";
    let out = out.replacen("<svg ", round, 1);
    Ok(out.replace("font-family=\"sans-serif\"", FAMILIES))
}

/// `picture` as a PNG file, `width` pixels wide.
///
/// # Errors
/// [`ExportError::Draw`].
pub fn png(picture: &Picture, width: u32, look: Look) -> Result<Vec<u8>, ExportError> {
    font_at_hand()?;
    let pixels = raster::pixels(picture, width, look)?;
    raster::encoded(&pixels, size_of(picture, width), look.transparent)
}

/// The forms of a picture's file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drawing {
    /// Lines and text.
    Svg,
    /// Pixels.
    Png,
}

impl Drawing {
    /// By the ending of the file's name; `None` for any other.
    pub fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "svg" => Some(Drawing::Svg),
            "png" => Some(Drawing::Png),
            _ => None,
        }
    }

    /// The picture's bytes, `width` pixels wide; only pixels can be transparent.
    ///
    /// # Errors
    /// [`ExportError::Draw`].
    pub fn bytes(self, picture: &Picture, width: u32, look: Look) -> Result<Vec<u8>, ExportError> {
        match self {
            Drawing::Svg => svg(picture, width, look.backdrop).map(String::into_bytes),
            Drawing::Png => png(picture, width, look),
        }
    }
}

/// For tests: width and pixels of `picture` on a light page, and the place of a point among them.
#[cfg(test)]
pub(crate) fn pixels_and_places(
    picture: &Picture,
    width: u32,
) -> (u32, Vec<u8>, impl Fn([f64; 2]) -> [f64; 2]) {
    font_at_hand().unwrap();
    let size = size_of(picture, width);
    let mut pixels = vec![0; (size.0 * size.1 * 3) as usize];
    let frame = {
        let backend = plotters::backend::BitMapBackend::with_buffer(&mut pixels, size);
        let sheet = paint::Sheet {
            backdrop: Backdrop::Light,
            joins: canvas::Joins::Round,
            page: RGBColor(255, 255, 255),
            ground_share: 1.0,
        };
        paint::paint(&backend.into_drawing_area(), picture, sheet).unwrap()
    };
    let (x, y) = (picture.x.clone(), picture.y.clone());
    let place = move |point: [f64; 2]| {
        [
            frame.left + x.share(point[0]) * (frame.right - frame.left),
            frame.bottom + y.share(point[1]) * (frame.top - frame.bottom),
        ]
    };
    (size.0, pixels, place)
}

#[cfg(test)]
mod tests {
    use std::sync::OnceLock;

    use super::*;
    use crate::analysis::ride::{RideFindings, findings};
    use crate::picture::parts::Layer;
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

    /// The picture of a segment that has it; nothing where the ride has no such channel.
    fn picture_of(kind: PictureKind) -> Option<Picture> {
        let segment = match kind {
            PictureKind::Gears => Kind::GearChange,
            PictureKind::Coast => Kind::Coast,
            PictureKind::Temperature | PictureKind::Gradient | PictureKind::Slope => return None,
            _ => Kind::SteadyBlock,
        };
        Some(picture(kind, &subject_of(segment)).unwrap())
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
            let Some(drawn) = picture_of(kind) else {
                continue;
            };
            assert!(!drawn.layers.is_empty(), "{}", kind.word());
            // An answer is about no window, and masses hang before the ride.
            if !matches!(
                kind,
                PictureKind::Proof | PictureKind::Answers | PictureKind::Weights
            ) {
                assert!(drawn.facts[0].contains("no smoothing"), "{:?}", drawn.facts);
                assert!(drawn.facts[0].starts_with("Window 0:"), "{:?}", drawn.facts);
            }
            let svg = svg(&drawn, 800, Backdrop::Light).unwrap();
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
        let bytes = png(&drawn, 640, Look::LIGHT).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((number(16), number(20)), size_of(&drawn, 640));
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
    fn every_pair_has_its_own_look() {
        let subject = subject_of(Kind::SteadyBlock);
        let drawn = picture(PictureKind::References, &subject).unwrap();
        let tones = drawn.layers.iter().filter_map(|layer| match layer {
            Layer::Line { tone, .. } => Some(tone.rgb(Backdrop::Light)),
            _ => None,
        });
        let mut tones: Vec<u32> = tones.collect();
        assert_eq!(tones.len(), 3);
        tones.sort_unstable();
        tones.dedup();
        assert_eq!(tones.len(), 3);
    }

    /// A light and a dark page, and a page of which nothing is left but what was drawn.
    #[test]
    fn a_transparent_picture_covers_what_it_draws_and_nothing_else() {
        let drawn = picture(PictureKind::Traces, &subject_of(Kind::SteadyBlock)).unwrap();
        let look = Look {
            backdrop: Backdrop::Dark,
            transparent: true,
        };
        font_at_hand().unwrap();
        let pixels = raster::pixels(&drawn, 400, look).unwrap();
        let (width, height) = size_of(&drawn, 400);
        assert_eq!(pixels.len(), (width * height * 4) as usize);
        let covers: Vec<u8> = pixels.chunks_exact(4).map(|p| p[3]).collect();
        assert_eq!(covers[0], 0);
        let ink = covers.iter().filter(|c| **c > 240).count();
        let clear = covers.iter().filter(|c| **c == 0).count();
        assert!(ink > 500 && clear > covers.len() / 3, "{ink} {clear}");
        let dark = raster::pixels(&drawn, 400, Look::DARK).unwrap();
        let light = raster::pixels(&drawn, 400, Look::LIGHT).unwrap();
        assert_eq!((dark[0], light[0]), (0x10, 0xFF));
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
