//! `truing figure`: one picture.

use std::path::{Path, PathBuf};

use clap::builder::PossibleValuesParser;

use super::output_file::{check, check_beside, write_file};
use super::{Exit, Failure, Output, open_session};
use crate::analysis::ride::{self, RideFindings};
use crate::export::figure::{self, PictureKind, Subject, WIDTHS};
use crate::session::OpenedSession;
use crate::timeline::Aligned;

/// Draw one picture of a segment or of the whole ride, as SVG or PNG.
///
/// Kinds: traces (power of every stream), difference (under test - reference, the claim as a
/// band), agreement (difference against mean, with limits), response (with the fitted model of a
/// sprint), heat-soak (bias over time), coverage (what was ridden, and the bias there), mean-max
/// (highest mean power over every duration), references (against each other), error-curve (error
/// against power over all blocks of held power; always of the whole ride).
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
    /// Replace an existing file.
    #[arg(long)]
    force: bool,
}

/// How a picture is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Drawing {
    Svg,
    Png,
}

impl Drawing {
    /// By the ending of the file's name.
    pub(super) fn of(path: &Path) -> Result<Self, Failure> {
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("svg") => Ok(Drawing::Svg),
            Some("png") => Ok(Drawing::Png),
            _ => Err(Failure::Usage(format!(
                "{}: name the picture .svg or .png",
                path.display()
            ))),
        }
    }

    /// The picture's bytes.
    pub(super) fn bytes(self, picture: &figure::Picture, width: u32) -> Result<Vec<u8>, Failure> {
        match self {
            Drawing::Svg => figure::svg(picture, width).map(String::into_bytes),
            Drawing::Png => figure::png(picture, width),
        }
        .map_err(Failure::because)
    }
}

/// Draws and writes.
///
/// # Errors
/// [`Failure`] where the session, the segment or the file cannot be used.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let drawing = Drawing::of(&arguments.output)?;
    check(&arguments.output)?;
    let kind = PictureKind::named(&arguments.kind)
        .ok_or_else(|| Failure::Usage(format!("no picture is called {}", arguments.kind)))?;
    let opened = open_session(&arguments.session, output)?;
    check_beside(&arguments.output, &opened)?;
    let aligned = Aligned::new(&opened);
    let findings = ride::findings(&aligned);
    let subject = subject(&opened, &aligned, &findings, arguments.segment)?;
    let picture = figure::picture(kind, &subject).map_err(Failure::because)?;
    let bytes = drawing.bytes(&picture, arguments.width)?;
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
