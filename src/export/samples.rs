//! The aligned seconds themselves, a row each, for a picture of one's own.
//!
//! The columns are the same for every stream, so that what reads them needs not look what a
//! recording holds; what is missing is empty (CSV) or null (JSON). Rows are made in pieces as they
//! are written: the memory taken does not grow with the ride.

use std::fmt::Write as _;
use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;

use crate::analysis::dropout::DropoutKind;
use crate::analysis::ride;
use crate::recording::{Channel, utc};
use crate::session::{CONSENSUS, OpenedSession, Role};
use crate::text::{csv, inert, one_line, push_machine_number};
use crate::timeline::{Aligned, Member, Span};

/// How rows are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rows {
    /// RFC 4180 with a header line.
    #[default]
    Csv,
    /// A JSON array of one object a second.
    Json,
}

/// Channels of every stream, with the end of their columns' names.
const CHANNELS: [(Channel, &str); 8] = [
    (Channel::Power, "power_w"),
    (Channel::Cadence, "cadence_rpm"),
    (Channel::Speed, "speed_m_s"),
    (Channel::Temperature, "temperature_c"),
    (Channel::Grade, "grade_percent"),
    (Channel::Torque, "torque_nm"),
    (Channel::Resistance, "resistance_percent"),
    (Channel::Altitude, "altitude_m"),
];

/// Rows made at once.
const PIECE: usize = 4096;

/// A cell under way.
enum Cell<'a> {
    Number(f64),
    Text(&'a str),
    /// Of a recording: it may hold anything.
    Foreign(&'a str),
}

/// The rows of a ride.
pub struct Samples<'a> {
    aligned: &'a Aligned,
    /// Names of the columns.
    names: Vec<String>,
    /// What is wrong with the power of each stream, rows in order.
    marks: Vec<Vec<(Range<usize>, &'static str)>>,
    /// Segments by their rows: number, kind, set point.
    segments: Vec<(Range<usize>, usize, String, Option<f64>)>,
    /// Powers asked for by a recorder, by their rows.
    asked_for: Vec<(Range<usize>, f64)>,
    /// Modes that a recorder noted, by their rows.
    modes: Vec<(Range<usize>, Arc<str>)>,
    /// Session time zero, s since 1970; `None` where no recording tells the date.
    zero_unix_s: Option<f64>,
    under_test: Vec<usize>,
}

impl<'a> Samples<'a> {
    /// The rows of `aligned`, which is `opened` on one time line.
    pub fn new(opened: &OpenedSession, aligned: &'a Aligned) -> Self {
        let rows = |from_s, to_s| aligned.grid.rows(Span::new(from_s, to_s));
        let marks = ride::dropouts(aligned).into_iter().map(|dropouts| {
            let marked = dropouts.into_iter().filter_map(|dropout| {
                let word = match dropout.kind {
                    DropoutKind::Gap => return None,
                    DropoutKind::Freeze => "frozen",
                    DropoutKind::Zero => "false-zero",
                };
                Some((rows(dropout.from_s, dropout.to_s), word))
            });
            marked.collect()
        });
        let segments = opened.session.segments.iter().enumerate();
        let segments = segments.map(|(index, segment)| {
            let rows = rows(segment.from_s, segment.to_s);
            (
                rows,
                index + 1,
                segment.kind.to_string(),
                segment.set_point_w,
            )
        });
        let asked_for = ride::set_points(aligned).into_iter();
        let under_test: Vec<usize> = aligned.powered(Role::UnderTest).collect();
        Self {
            aligned,
            names: names(opened, &under_test),
            marks: marks.collect(),
            segments: segments.collect(),
            asked_for: asked_for
                .map(|(span, w)| (aligned.grid.rows(span), w))
                .collect(),
            modes: ride::modes(aligned)
                .into_iter()
                .map(|(span, mode)| (aligned.grid.rows(span), mode))
                .collect(),
            zero_unix_s: opened.absolute_zero_s(),
            under_test,
        }
    }

    /// Hands the rows of `span` to `write`, in pieces, with what stands before and after them.
    ///
    /// # Errors
    /// Those of `write`, which ends the writing.
    pub fn write<E: Send>(
        &self,
        span: Span,
        shape: Rows,
        write: &mut dyn FnMut(&str) -> Result<(), E>,
    ) -> Result<(), E> {
        let rows = self.aligned.grid.rows(span);
        match shape {
            Rows::Csv => {
                let head = csv([self.names.iter().map(|name| inert(name))]);
                write(&head.replace("\r\n", "\n"))?;
            }
            Rows::Json => write("[\n")?,
        }
        let keys: Vec<String> = self
            .names
            .iter()
            .map(|name| json_text(name) + ":")
            .collect();
        let pieces: Vec<Range<usize>> = rows
            .clone()
            .step_by(PIECE)
            .map(|start| start..(start + PIECE).min(rows.end))
            .collect();
        // As many pieces at once as there are threads: the rest waits.
        for pieces in pieces.chunks(rayon::current_num_threads().max(1)) {
            let made: Vec<String> = pieces
                .par_iter()
                .map(|piece| self.piece(piece.clone(), rows.end, shape, &keys))
                .collect();
            for text in made {
                write(&text)?;
            }
        }
        if shape == Rows::Json {
            write("]\n")?;
        }
        Ok(())
    }

    fn piece(&self, rows: Range<usize>, end: usize, shape: Rows, keys: &[String]) -> String {
        let mut out = String::new();
        for row in rows {
            let mut column = 0;
            self.cells(row, &mut |cell| {
                if shape == Rows::Json {
                    out.push(if column == 0 { '{' } else { ',' });
                    out.push_str(keys.get(column).map_or("", String::as_str));
                } else if column > 0 {
                    out.push(',');
                }
                column += 1;
                match (cell, shape) {
                    (Cell::Number(value), _) if value.is_finite() => {
                        push_machine_number(&mut out, value);
                    }
                    (Cell::Text(text), Rows::Csv) => out.push_str(text),
                    // No text here holds what JSON would have to escape.
                    (Cell::Text(text), Rows::Json) if !text.is_empty() => {
                        let _ = write!(out, "\"{text}\"");
                    }
                    (Cell::Foreign(text), Rows::Csv) if !text.is_empty() => {
                        out.push_str(&quoted(text));
                    }
                    (Cell::Foreign(text), Rows::Json) if !text.is_empty() => {
                        out.push_str(&json_text(text));
                    }
                    (_, Rows::Json) => out.push_str("null"),
                    (_, Rows::Csv) => {}
                }
            });
            out.push_str(match (shape, row + 1 == end) {
                (Rows::Csv, _) => "\n",
                (Rows::Json, false) => "},\n",
                (Rows::Json, true) => "}\n",
            });
        }
        out
    }

    /// The cells of a row, in the order of the columns.
    fn cells(&self, row: usize, put: &mut dyn FnMut(Cell<'_>)) {
        let at_s = self.aligned.grid.time_s(row);
        put(Cell::Number(at_s));
        let moment = self.zero_unix_s.and_then(|zero_s| utc(zero_s + at_s));
        put(Cell::Text(moment.as_deref().unwrap_or("")));
        let value = |column: Option<&[f64]>| column.and_then(|c| c.get(row)).copied();
        let number = |column| Cell::Number(value(column).unwrap_or(f64::NAN));
        for (track, marks) in self.aligned.tracks.iter().zip(&self.marks) {
            for (channel, _) in CHANNELS {
                put(number(track.column(channel)));
            }
            let power = track.column(Channel::Power);
            put(Cell::Text(match value(power) {
                Some(watts) if watts.is_nan() => "missing",
                Some(_) => marks
                    .iter()
                    .find(|(rows, _)| rows.contains(&row))
                    .map_or("", |(_, word)| word),
                None => "",
            }));
        }
        put(number(self.aligned.power(Member::Consensus)));
        let basis = self.aligned.basis();
        for under_test in &self.under_test {
            let pair = basis.and_then(|basis| self.aligned.comparison(*under_test, basis));
            put(number(pair.map(|pair| pair.difference_w())));
        }
        // Of segments one within the other, the inner one.
        let covering = self
            .segments
            .iter()
            .filter(|(rows, ..)| rows.contains(&row));
        let segment = covering.min_by_key(|(rows, ..)| rows.len());
        let (number, kind, set_point_w) = match segment {
            Some((_, id, kind, set_point_w)) => (*id as f64, kind.as_str(), *set_point_w),
            None => (f64::NAN, "", None),
        };
        put(Cell::Number(number));
        put(Cell::Text(kind));
        let asked_for = || {
            let mut asked_for = self.asked_for.iter();
            Some(asked_for.find(|(rows, _)| rows.contains(&row))?.1)
        };
        put(Cell::Number(
            set_point_w.or_else(asked_for).unwrap_or(f64::NAN),
        ));
        let mut modes = self.modes.iter();
        let mode = modes.find(|(rows, _)| rows.contains(&row));
        put(Cell::Foreign(mode.map_or("", |(_, mode)| mode)));
    }
}

fn names(opened: &OpenedSession, under_test: &[usize]) -> Vec<String> {
    let mut names = vec!["session_s".to_owned(), "time_utc".to_owned()];
    for stream in &opened.session.streams {
        let ends = CHANNELS.iter().map(|(_, end)| *end).chain(["mark"]);
        names.extend(ends.map(|end| format!("{}.{end}", stream.label)));
    }
    names.push(format!("{CONSENSUS}.power_w"));
    let labels = under_test
        .iter()
        .filter_map(|i| opened.session.streams.get(*i));
    names.extend(labels.map(|stream| format!("{}.difference_w", stream.label)));
    names.extend(["segment", "kind", "set_point_w", "mode"].map(str::to_owned));
    names
}

/// A cell of CSV.
fn quoted(text: &str) -> String {
    csv([[inert(text)]]).trim_end_matches("\r\n").to_owned()
}

fn json_text(text: &str) -> String {
    serde_json::Value::from(one_line(text)).to_string()
}
