//! `truing probe`: what is inside a recording.

use std::fmt::Write as _;
use std::path::PathBuf;

use super::output::Shape;
use super::{Exit, Failure, Output};
use crate::recording::{
    ChannelProbe, Event, EventKind, Format, Probe, ReadOptions, Sampling, StreamProbe, TimeBase,
    read_all, recordings_in,
};
use crate::text::h_mm_ss;

/// Show what is inside recordings: streams, channels, rate, gaps, laps, events, damage.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Recordings (FIT, CSV, TCX, GPX), packed or not; ARCHIVE.zip/NAME is one inside.
    #[arg(value_name = "RECORDING", required = true)]
    recordings: Vec<PathBuf>,
    /// Refuse a damaged recording instead of showing what could be read.
    #[arg(long)]
    strict: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Shape,
}

#[derive(serde::Serialize)]
struct Document<'a> {
    recordings: &'a [Probe],
}

/// Reads and prints. What can be read is printed even where another recording cannot.
///
/// # Errors
/// [`Failure`] where a recording cannot be read, with every reason.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let options = ReadOptions {
        strict: arguments.strict,
        ..ReadOptions::default()
    };
    let (mut probes, mut errors, mut requests) = (Vec::new(), Vec::new(), Vec::new());
    for path in &arguments.recordings {
        match recordings_in(path) {
            Ok(inside) => requests.extend(inside.into_iter().map(|path| (path, options.clone()))),
            Err(error) => errors.push(error.to_string()),
        }
    }
    for result in read_all(&requests) {
        match result {
            Ok(recording) => probes.push(Probe::of(&recording)),
            Err(error) => errors.push(error.to_string()),
        }
    }
    match arguments.format {
        Shape::Json => output.json(&Document {
            recordings: &probes,
        })?,
        Shape::Text => {
            let texts: Vec<String> = probes.iter().map(text).collect();
            output.result(&texts.join("\n"))?;
        }
    }
    if errors.is_empty() {
        Ok(Exit::Done)
    } else {
        Err(Failure::CouldNot(errors.join("\ntruing: ")))
    }
}

/// Columns of the screen for which the text is laid out.
const WIDTH: usize = 80;
/// Laps, events and set points listed; JSON has them all.
const LISTED: usize = 12;

/// A recording in words.
fn text(probe: &Probe) -> String {
    let mut text = format!("{}\n", probe.file);
    let format = match probe.format {
        Format::Fit => "FIT",
        Format::Delimited => "delimited text",
        Format::Tcx => "TCX",
        Format::Gpx => "GPX",
    };
    let base = match probe.time_base {
        TimeBase::Absolute => "times absolute",
        TimeBase::Elapsed => "times from the recording's own zero",
    };
    line(&mut text, "format", &format!("{format}, {base}"));
    if let Some(device) = &probe.device {
        line(&mut text, "device", device);
    }
    line(&mut text, "sha256", &probe.sha256);
    for stream in &probe.streams {
        text.push('\n');
        stream_text(&mut text, stream);
    }
    let start = probe.streams.iter().find_map(|stream| stream.first_s);
    happenings(&mut text, probe, start.unwrap_or(0.0));
    if !(probe.damage.is_empty() && probe.remarks.is_empty() && probe.unused.is_empty()) {
        text.push('\n');
    }
    for damage in &probe.damage {
        line(&mut text, "DAMAGE", &damage.message);
    }
    for remark in &probe.remarks {
        line(&mut text, "remark", remark);
    }
    if !probe.unused.is_empty() {
        line(&mut text, "not used", &probe.unused.join(", "));
    }
    text
}

/// A line with a name before it, broken where it is too long.
fn line(text: &mut String, name: &str, value: &str) {
    const NAME: usize = 13;
    let mut left = format!("  {name:<11}");
    for part in broken(value, WIDTH - NAME) {
        let _ = writeln!(text, "{left}{part}");
        left = " ".repeat(NAME);
    }
}

/// `value` in lines of at most `width` characters, broken between words.
fn broken(value: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in value.split_whitespace() {
        let length = lines.last().map_or(0, |line| line.chars().count());
        if length > 0 && length + 1 + word.chars().count() > width {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

fn stream_text(text: &mut String, stream: &StreamProbe) {
    line(text, "stream", &stream.label);
    if let Some(field) = &stream.power_field {
        line(text, "power from", field);
    }
    let (first, last) = (stream.first_s.unwrap_or(0.0), stream.last_s.unwrap_or(0.0));
    let clock = match (&stream.first, &stream.last) {
        (Some(first), Some(last)) => format!("{first} to {last}"),
        _ => format!("{first} s to {last} s"),
    };
    line(text, "time", &clock);
    line(text, "duration", &clock_time(last - first));
    let mut samples = stream.samples.to_string();
    if let (Some(median), Some([low, high])) = (stream.median_interval_s, stream.interval_p5_p95_s)
    {
        let _ = write!(samples, ", every {} s", short(median));
        if low != high {
            let _ = write!(samples, " (5 to 95 %: {} to {} s)", short(low), short(high));
        }
    }
    if stream.sampling == Sampling::OnChange {
        samples.push_str(", written on change");
    }
    line(text, "samples", &samples);
    let gaps = &stream.gaps;
    let reported = if gaps.count == 0 {
        "none".to_owned()
    } else {
        format!(
            "{}, {} s without samples, the longest step {} s",
            gaps.count,
            short(gaps.total_s),
            short(gaps.longest_s)
        )
    };
    line(text, "gaps", &reported);
    let _ = writeln!(
        text,
        "    {:<18}{:>8}{:>9}{:>9}{:>9}{:>9}{:>7}{:>7}",
        "channel", "values", "missing", "min", "mean", "max", "zero", "repeat"
    );
    for channel in &stream.channels {
        channel_text(text, channel);
    }
}

fn channel_text(text: &mut String, channel: &ChannelProbe) {
    let name = format!("{}, {}", channel.channel.name(), channel.unit);
    let number = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:.1}"));
    let percent = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:.1}%"));
    let _ = writeln!(
        text,
        "    {name:<18}{:>8}{:>9}{:>9}{:>9}{:>9}{:>7}{:>7}",
        channel.values,
        percent(Some(channel.missing_percent)),
        number(channel.min),
        number(channel.mean),
        number(channel.max),
        percent(channel.zero_percent),
        percent(channel.repeat_percent),
    );
}

/// Laps, events, set points and modes, counted from the first sample.
fn happenings(text: &mut String, probe: &Probe, start: f64) {
    let from_to =
        |from: f64, to: f64| format!("{} to {}", clock_time(from - start), clock_time(to - start));
    let laps = probe.laps.iter().map(|lap| from_to(lap.from_s, lap.to_s));
    listed(text, "lap", laps.collect());
    let events = probe.events.iter();
    let events =
        events.map(|event| format!("{} {}", clock_time(event.at_s - start), reported(event)));
    listed(text, "event", events.collect());
    let set_points = probe.set_points.iter().map(|set_point| {
        let span = from_to(set_point.from_s, set_point.to_s);
        format!("{span}, {} W", short(set_point.watts))
    });
    listed(text, "set point", set_points.collect());
    let modes = probe.modes.iter();
    let modes = modes.map(|span| format!("{}, {}", from_to(span.from_s, span.to_s), span.mode));
    listed(text, "mode", modes.collect());
}

fn listed(text: &mut String, name: &str, entries: Vec<String>) {
    if entries.is_empty() {
        return;
    }
    text.push('\n');
    for entry in entries.iter().take(LISTED) {
        line(text, name, entry);
    }
    if entries.len() > LISTED {
        line(text, "", &format!("and {} more", entries.len() - LISTED));
    }
}

fn reported(event: &Event) -> String {
    match event.kind {
        EventKind::TimerStart => "timer started".to_owned(),
        EventKind::TimerStop => "timer stopped".to_owned(),
        EventKind::GearChange {
            front_teeth,
            rear_teeth,
        } => {
            let teeth = |teeth: Option<u8>| teeth.map_or("?".to_owned(), |n| n.to_string());
            format!("gear {} x {}", teeth(front_teeth), teeth(rear_teeth))
        }
    }
}

/// `h:mm:ss`, with a sign before it where it is negative.
fn clock_time(seconds: f64) -> String {
    let whole = seconds.abs().round() as u64;
    let sign = if seconds <= -0.5 { "-" } else { "" };
    format!("{sign}{}", h_mm_ss(whole))
}

/// Up to three decimals, without trailing zeros.
fn short(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_values_are_broken_between_words() {
        assert_eq!(broken("one two three", 8), ["one two", "three"]);
        assert_eq!(broken("", 8), [""]);
        assert_eq!(
            broken("a-very-long-word and", 8),
            ["a-very-long-word", "and"]
        );
    }

    #[test]
    fn numbers_and_times_are_short() {
        assert_eq!(short(1.0), "1");
        assert_eq!(short(0.25), "0.25");
        assert_eq!(short(-0.0001), "0");
        assert_eq!(clock_time(3723.4), "1:02:03");
        assert_eq!(clock_time(-5.0), "-0:00:05");
    }
}
