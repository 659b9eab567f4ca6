//! `truing figure`: one picture.

use std::path::{Path, PathBuf};

use clap::builder::PossibleValuesParser;

use super::output_file::{check, check_beside, write_file};
use super::{Exit, Failure, Output, open_session};
use crate::analysis::questions::Question;
use crate::analysis::ride::{self, RideFindings};
use crate::export::figure::{self, Backdrop, Drawing, Look, PictureKind, Subject, WIDTHS};
use crate::session::OpenedSession;
use crate::timeline::Aligned;

/// Draw one picture of a segment or of the whole ride, as SVG or PNG.
///
/// Kinds: traces (power of every stream), difference (under test - reference, the claim as a
/// band), agreement (difference against mean, with limits), response (with the fitted model of a
/// sprint), gears (bias in each gear), coast (what is reported while nobody pedals), heat-soak
/// (bias over time), temperature (bias against it), coverage (what was ridden, and the bias there),
/// mean-max (highest mean power over every duration), references (against each other). Always of
/// the whole ride: error-curve (error against power over all blocks of held power), gradient (force
/// against the force asked for), answers (every question against its limit), proof (what an answer
/// rests on: its pieces against the limit, else its place in the ride).
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// The segment, by its number in `truing table` [default: the whole ride].
    #[arg(long, value_name = "N")]
    segment: Option<usize>,
    /// What to draw.
    #[arg(long, value_parser = PossibleValuesParser::new(PictureKind::ALL.map(PictureKind::word)))]
    kind: String,
    /// The file to write; its ending says whether SVG or PNG.
    #[arg(short, long, value_name = "FILE.svg|png")]
    output: PathBuf,
    /// Width in pixels.
    #[arg(long, default_value_t = 1200, value_parser = clap::value_parser!(u32).range(i64::from(*WIDTHS.start())..=i64::from(*WIDTHS.end())))]
    width: u32,
    /// The question that a proof is of, as `truing findings` names it [default: accuracy].
    #[arg(long, value_name = "QUESTION", value_parser = PossibleValuesParser::new(Question::ALL.iter().map(|q| q.key())))]
    question: Option<String>,
    /// On a dark page.
    #[arg(long)]
    dark: bool,
    /// Over whatever lies behind, for a moving picture (PNG); light on dark casings with --dark.
    #[arg(long)]
    transparent: bool,
    /// Replace an existing file.
    #[arg(long)]
    force: bool,
}

/// The form that a picture's name asks for.
///
/// # Errors
/// [`Failure::Usage`] for any other ending.
pub(super) fn drawing(path: &Path) -> Result<Drawing, Failure> {
    Drawing::of(path).ok_or_else(|| {
        let path = path.display();
        Failure::Usage(format!("{path}: name the picture .svg or .png"))
    })
}

/// Draws and writes.
///
/// # Errors
/// [`Failure`] where the session, the segment or the file cannot be used.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let drawing = drawing(&arguments.output)?;
    if arguments.transparent && drawing == Drawing::Svg {
        return Err(Failure::Usage(
            "--transparent takes a .png: an SVG document has a page".to_owned(),
        ));
    }
    check(&arguments.output)?;
    let kind = PictureKind::named(&arguments.kind)
        .ok_or_else(|| Failure::Usage(format!("no picture is called {}", arguments.kind)))?;
    let opened = open_session(&arguments.session, output)?;
    check_beside(&arguments.output, &opened)?;
    let aligned = Aligned::new(&opened);
    let findings = ride::findings(&aligned);
    let asked = arguments.question.as_deref();
    let subject = Subject {
        question: asked.and_then(|key| Question::ALL.iter().copied().find(|q| q.key() == key)),
        ..subject(&opened, &aligned, &findings, arguments.segment)?
    };
    let picture = figure::picture(kind, &subject).map_err(Failure::because)?;
    let look = Look {
        backdrop: match arguments.dark {
            true => Backdrop::Dark,
            false => Backdrop::Light,
        },
        transparent: arguments.transparent,
    };
    let bytes = drawing.bytes(&picture, arguments.width, look);
    let bytes = bytes.map_err(Failure::because)?;
    write_file(&arguments.output, &bytes, arguments.force, output)?;
    Ok(Exit::Done)
}

fn subject<'a>(
    opened: &'a OpenedSession,
    aligned: &'a Aligned,
    findings: &'a RideFindings,
    number: Option<usize>,
) -> Result<Subject<'a>, Failure> {
    let session = &opened.session;
    let Some(number) = number else {
        return Ok(Subject::ride(session, aligned, findings));
    };
    let index = number.checked_sub(1);
    let segment = index.and_then(|index| session.segments.get(index));
    match segment {
        Some(segment) => Ok(Subject::segment(
            session, aligned, findings, segment, number,
        )),
        None if session.segments.is_empty() => Err(Failure::CouldNot(
            "no segment is tagged yet; leave --segment out for the whole ride".to_owned(),
        )),
        None => Err(Failure::CouldNot(format!(
            "there is no segment {number}; `truing table` lists 1 to {}",
            session.segments.len()
        ))),
    }
}
