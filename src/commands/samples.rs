//! `truing samples`: the aligned seconds themselves.

use std::path::PathBuf;

use super::{Exit, Failure, Output, open_session};
use crate::export::samples::{Rows, Samples};
use crate::session::Session;
use crate::timeline::{Aligned, Span};

/// Print the aligned seconds, one row each, to draw a picture of your own.
///
/// A row holds the session time; the date and time in UTC where a recording tells it; of each stream
/// power, cadence, speed and temperature, and a mark where its power is missing, frozen or a false
/// zero; the consensus of the references; what the source under test reads beyond what verdicts rest
/// on; the segment (of two, the shorter) and the set point. assets/samples.md shows how to load it.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// First session time, s.
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true)]
    from: Option<f64>,
    /// Session time at which to end, s.
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true)]
    to: Option<f64>,
    /// The rows of this segment only.
    #[arg(long, value_name = "N", conflicts_with_all = ["from", "to"])]
    segment: Option<usize>,
    /// How the rows are printed.
    #[arg(long, value_enum, default_value_t)]
    format: Shape,
}

/// The shape of the rows.
#[derive(Clone, Copy, Debug, Default, clap::ValueEnum)]
enum Shape {
    /// RFC 4180 with a header line.
    #[default]
    Csv,
    /// A JSON array of one object a second.
    Json,
}

/// Prints.
///
/// # Errors
/// [`Failure`] where the session cannot be opened, or there is no such segment or time.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_session(&arguments.session, output)?;
    let aligned = Aligned::new(&opened);
    let span = span(arguments, &opened.session, aligned.grid.span())?;
    let shape = match arguments.format {
        Shape::Csv => Rows::Csv,
        Shape::Json => Rows::Json,
    };
    let samples = Samples::new(&opened, &aligned);
    samples.write(span, shape, &mut |text| output.rows(text))?;
    Ok(Exit::Done)
}

/// The stretch asked for.
fn span(arguments: &Arguments, session: &Session, ride: Span) -> Result<Span, Failure> {
    if let Some(number) = arguments.segment {
        let index = number.checked_sub(1);
        let segment = index.and_then(|index| session.segments.get(index));
        return match segment {
            Some(segment) => Ok(Span::new(segment.from_s, segment.to_s)),
            None => Err(Failure::Usage(format!(
                "there is no segment {number}; there are {}",
                session.segments.len()
            ))),
        };
    }
    let from_s = arguments.from.unwrap_or(ride.from_s);
    let to_s = arguments.to.unwrap_or(ride.to_s);
    if from_s < to_s {
        Ok(Span { from_s, to_s })
    } else {
        Err(Failure::Usage(format!(
            "from {from_s} s to {to_s} s is no stretch of the ride; it lies between {} and {} s",
            ride.from_s, ride.to_s
        )))
    }
}
