//! `truing align`: the clock of every stream, with what is known of its error.

use std::path::PathBuf;

use clap::ValueEnum;

use serde::Serialize;

use super::output::Printed;
use super::session_arg::open_to_align;
use super::session_arg::unchanged;
use super::{Exit, Failure, Format, Output};
use crate::recording::Channel;
use crate::session::{OpenedSession, store};
use crate::text::{Grid, Head, escaped, inert, one_line};
use crate::timeline::align::{Alignment, Options, ResponseLag, StreamClock, align_session};

/// Estimate every stream's offset and skew against session time, with confidence.
///
/// Heart rate is believed first where both recorders heard one strap, then cadence, then power.
/// Where only power is left for the source under test, its own delay and its clock cannot be told
/// apart, and the result says so. Clocks set by hand are kept unless --again is given. Nothing is
/// saved without --write.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Match on this channel only.
    #[arg(long, value_name = "CHANNEL")]
    on: Option<On>,
    /// Save what was estimated, also where it is not certain.
    #[arg(long)]
    write: bool,
    /// Only this stream (and those in the same recording, which share its clock).
    #[arg(long, value_name = "LABEL")]
    only: Option<String>,
    /// Estimate clocks that were set by hand too.
    #[arg(long)]
    again: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A channel to match on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum On {
    /// One strap heard by two recorders.
    HeartRate,
    /// Cadence.
    Cadence,
    /// Power.
    Power,
}

impl From<On> for Channel {
    fn from(on: On) -> Self {
        match on {
            On::HeartRate => Channel::HeartRate,
            On::Cadence => Channel::Cadence,
            On::Power => Channel::Power,
        }
    }
}

/// Estimates, prints and, if asked, saves.
///
/// # Errors
/// [`Failure`] where the session cannot be used or saved, or has no stream of the label asked for.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_to_align(&arguments.session, output)?;
    let wanted = wanted_streams(&opened, arguments.only.as_deref())?;
    let options = Options {
        on: arguments.on.map(Channel::from),
        again: arguments.again,
    };
    let found = align_session(&opened, options);
    output.print(&shown(&found, &wanted), arguments.format)?;
    if arguments.write {
        save(&opened, &found, &wanted, output)?;
    }
    Ok(Exit::Done)
}

/// Which streams are meant: all, or those that share a clock with the one named.
fn wanted_streams(opened: &OpenedSession, only: Option<&str>) -> Result<Vec<bool>, Failure> {
    let streams = &opened.session.streams;
    let Some(label) = only else {
        return Ok(vec![true; streams.len()]);
    };
    let Some(named) = opened.session.stream_index(label) else {
        let known: Vec<&str> = streams.iter().map(|s| s.label.as_str()).collect();
        return Err(Failure::CouldNot(format!(
            "no stream is called “{label}”; there are {}",
            known.join(", ")
        )));
    };
    Ok((0..streams.len())
        .map(|index| index == named || opened.share_a_clock(named, index))
        .collect())
}

fn shown(found: &Alignment, wanted: &[bool]) -> Alignment {
    let is_wanted = |label: &str| {
        found
            .streams
            .iter()
            .zip(wanted)
            .any(|(stream, wanted)| *wanted && stream.label == label)
    };
    let mut shown = found.clone();
    shown.streams.retain(|stream| is_wanted(&stream.label));
    shown
        .response_lags
        .retain(|lag| is_wanted(&lag.label) || is_wanted(&lag.reference));
    shown
}

fn save(
    opened: &OpenedSession,
    found: &Alignment,
    wanted: &[bool],
    output: &mut Output,
) -> Result<(), Failure> {
    let stored = unchanged(opened)?;
    let mut session = stored.session.clone();
    let changed = found.apply(&mut session, |index| wanted.get(index) == Some(&true));
    if changed.is_empty() {
        output.message("truing: no clock changed; nothing was written");
        return Ok(());
    }
    opened.note_in(&mut session);
    store::save(&opened.folder, &session, Some(&stored.fingerprint)).map_err(Failure::because)?;
    output.message(&format!(
        "truing: saved the clock of {}",
        changed.join(", ")
    ));
    for stream in &found.streams {
        if changed.contains(&stream.label) && !stream.confident {
            output.message(&format!(
                "truing: “{}” is not certain: {}; check it in the workbench",
                stream.label, stream.reason
            ));
        }
    }
    Ok(())
}

const HEADS: [&str; 8] = [
    "label",
    "offset_s",
    "offset_ci95_s",
    "skew_ppm",
    "matched_on",
    "peak_correlation",
    "confident",
    "reason",
];

fn row(stream: &StreamClock) -> [String; 8] {
    [
        stream.label.clone(),
        format!("{:.3}", stream.offset_s),
        stream.offset_ci95_s.map_or(String::new(), |[low, high]| {
            format!("{low:.3} to {high:.3}")
        }),
        format!("{:.1}", stream.skew_ppm),
        stream.matched_on.word().to_owned(),
        stream
            .peak_correlation
            .map_or(String::new(), |r| format!("{r:.3}")),
        (if stream.confident { "yes" } else { "no" }).to_owned(),
        stream.reason.clone(),
    ]
}

impl Printed for Alignment {
    fn text(&self) -> String {
        let streams = self.streams.iter().map(|stream| {
            let row = row(stream).map(|cell| one_line(&cell));
            let [label, _, _, _, matched_on, r, _, reason] = &row;
            let mut text = format!("{label}: {}", stream.in_words(3));
            text += &format!("\n  matched on {matched_on}");
            if !r.is_empty() {
                text += &format!(", r {r}");
            }
            let word = if stream.confident {
                ""
            } else {
                "NOT CERTAIN: "
            };
            format!("{text}\n  {word}{reason}\n")
        });
        let lags = self.response_lags.iter();
        let lags = lags.map(|lag| one_line(&lag_line(lag)) + "\n");
        streams.chain(lags).collect()
    }

    fn json(&self) -> impl Serialize {
        self
    }

    /// One row a stream; the interval in two columns.
    fn rows(&self) -> Vec<Vec<String>> {
        rows(self)
    }

    fn markdown(&self) -> String {
        let rows = self.streams.iter().map(|stream| row(stream).to_vec());
        let mut out = Grid::of(HEADS.map(Head::text), rows.collect()).markdown();
        for lag in &self.response_lags {
            out += &format!("\n{}\n", escaped(&lag_line(lag)));
        }
        out
    }
}

fn lag_line(lag: &ResponseLag) -> String {
    let delay = match (lag.delay_s, lag.delay_ci95_s) {
        (Some(delay), Some([low, high])) => {
            format!("{delay:.2} s (95 %: {low:.2} to {high:.2} s)")
        }
        (Some(delay), None) => format!("{delay:.2} s"),
        (None, _) => "not found".to_owned(),
    };
    format!(
        "Power of {} after {}: {delay}; {}",
        lag.label, lag.reference, lag.note
    )
}

fn rows(found: &Alignment) -> Vec<Vec<String>> {
    let heads = [
        "label",
        "offset_s",
        "offset_ci95_low_s",
        "offset_ci95_high_s",
        "skew_ppm",
        "matched_on",
        "peak_correlation",
        "confident",
        "reason",
    ];
    let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    let rows = found.streams.iter().map(|stream| {
        [
            inert(&stream.label),
            stream.offset_s.to_string(),
            number(stream.offset_ci95_s.map(|ci| ci[0])),
            number(stream.offset_ci95_s.map(|ci| ci[1])),
            stream.skew_ppm.to_string(),
            stream.matched_on.word().to_owned(),
            number(stream.peak_correlation),
            stream.confident.to_string(),
            inert(&stream.reason),
        ]
    });
    let rows = std::iter::once(heads.map(str::to_owned)).chain(rows);
    rows.map(Vec::from).collect()
}
