//! Which columns belong to which stream.
//!
//! One stream a power source. The standard's own fields belong together; the fields of one
//! developer belong to that developer's power. Where several sources share a recording, heart rate
//! (the rider's), speed (the bike's), grade and altitude (the road's) are given to all of them;
//! cadence and the rest are what one device measures, and stay with theirs: shared, a comparison of
//! cadence would find perfect agreement of a series with itself.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use super::records::{DeveloperColumn, Parts, carries};
use crate::recording::names::{Meaning, left_out};
use crate::recording::{Channel, ReadOptions, RecordedStream, RecordingError, Samples, sampling};
use crate::text::clean_text;

/// Name of the standard's own power field.
const POWER: &str = "power";
/// Name of the standard's accumulated power field.
const ACCUMULATED_POWER: &str = "accumulated_power";
/// What every stream of a recording may share.
const SHARED: [Channel; 4] = [
    Channel::HeartRate,
    Channel::Speed,
    Channel::Grade,
    Channel::Altitude,
];

/// Where a stream's power comes from.
#[derive(Clone, Copy, PartialEq)]
enum Source {
    Standard,
    Developer(usize),
    /// No power in the file.
    Without,
}

/// The streams of a recording; only the one asked for where the options name a power field.
pub(super) fn assemble(
    path: &Path,
    parts: Parts,
    label: &str,
    options: &ReadOptions,
    remarks: &mut Vec<String>,
    unused: &mut Vec<String>,
) -> Result<Vec<RecordedStream>, RecordingError> {
    let names = field_names(&parts);
    let specified = options.columns.power.as_deref();
    let asked_for = specified.map(|specified| source_specified(path, &parts, &names, specified));
    let asked_for = asked_for.transpose()?;
    let sources = sources(&parts, &names, asked_for, remarks);
    unused.extend(parts.unused.iter().cloned());
    let mut used: BTreeSet<*const Vec<f64>> = BTreeSet::new();
    let several = sources.len() > 1;
    let mut streams = Vec::with_capacity(sources.len());
    for (index, source) in sources.iter().enumerate() {
        if asked_for.is_some_and(|wanted| wanted != *source) {
            continue;
        }
        let Some(mut samples) = Samples::shared(parts.ordered.time_s.clone()) else {
            continue;
        };
        let (label, power_field) = match source {
            Source::Standard => (label.to_owned(), Some(standard_name(&parts).to_owned())),
            Source::Developer(index) => {
                let name = names.get(*index).cloned().unwrap_or_default();
                let label = if several { &name } else { label };
                (label.to_owned(), Some(name.clone()))
            }
            Source::Without => (label.to_owned(), None),
        };
        for channel in Channel::ALL {
            if let Some(column) = column(&parts, *source, channel, index == 0) {
                used.insert(Arc::as_ptr(column));
                samples.share_column(channel, column);
            }
        }
        let sampling = sampling::recognise(&samples);
        sampling::remark(&label, sampling, remarks);
        streams.push(RecordedStream {
            label,
            power_field,
            sampling,
            samples,
        });
    }
    // Those that are understood, hold something, and that no stream carries.
    if asked_for.is_none() {
        let target = parts.target().map(Arc::as_ptr);
        let left = parts.developer.iter().enumerate().filter(|(index, _)| {
            let column = parts.developer_column(*index).map(Arc::as_ptr);
            column.is_some_and(|column| !used.contains(&column) && target != Some(column))
        });
        unused.extend(left.map(|(index, column)| names.get(index).unwrap_or(&column.name).clone()));
    }
    Ok(streams)
}

fn standard_name(parts: &Parts) -> &'static str {
    if parts.from_accumulated {
        ACCUMULATED_POWER
    } else {
        POWER
    }
}

/// The names of the developer fields as `channel` in `session.toml` tells them: a name that occurs
/// before gets a number.
fn field_names(parts: &Parts) -> Vec<String> {
    let mut taken = vec![POWER.to_owned(), ACCUMULATED_POWER.to_owned()];
    let mut names = Vec::with_capacity(parts.developer.len());
    for column in &parts.developer {
        let mut name = column.name.clone();
        let mut count = 1;
        while taken.iter().any(|other| other.eq_ignore_ascii_case(&name)) {
            count += 1;
            name = format!("{} {count}", column.name);
        }
        taken.push(name.clone());
        names.push(name);
    }
    names
}

/// The source that carries the field called `told`.
fn source_specified(
    path: &Path,
    parts: &Parts,
    names: &[String],
    specified: &str,
) -> Result<Source, RecordingError> {
    let standard = parts.standard(Channel::Power).is_some();
    if standard && specified.eq_ignore_ascii_case(standard_name(parts)) {
        return Ok(Source::Standard);
    }
    names
        .iter()
        .position(|name| name.eq_ignore_ascii_case(specified))
        .filter(|index| parts.developer_column(*index).is_some())
        .map(Source::Developer)
        .ok_or_else(|| RecordingError::NoColumn {
            path: path.to_owned(),
            wanted: format!("field “{}” for power", clean_text(specified)),
            found: power_names(parts, names, standard),
            way_out: "correct `channel` in session.toml",
        })
}

/// Every source of power, and `asked_for` even where its name does not speak of power. A field that
/// is power by its unit alone counts only where no other is.
fn sources(
    parts: &Parts,
    names: &[String],
    asked_for: Option<Source>,
    remarks: &mut Vec<String>,
) -> Vec<Source> {
    let mut sources = Vec::new();
    if parts.standard(Channel::Power).is_some() {
        sources.push(Source::Standard);
    }
    let is_doubtful = |column: &DeveloperColumn| {
        let meaning = column.meaning.as_ref();
        meaning.is_some_and(Meaning::is_power_by_unit_alone)
    };
    let developer = parts.developer.iter().enumerate();
    let (doubtful, certain): (Vec<_>, Vec<_>) = developer
        .filter(|(index, column)| {
            carries(column, Channel::Power) && parts.developer_column(*index).is_some()
        })
        .partition(|(_, column)| is_doubtful(column));
    sources.extend(certain.iter().map(|(index, _)| Source::Developer(*index)));
    if sources.is_empty() {
        sources.extend(doubtful.iter().map(|(index, _)| Source::Developer(*index)));
    } else {
        let left = doubtful
            .iter()
            .filter(|(index, _)| asked_for != Some(Source::Developer(*index)))
            .filter_map(|(index, _)| names.get(*index));
        let left: Vec<String> = left.cloned().collect();
        remarks.extend(left_out(&left));
    }
    if let Some(asked_for) = asked_for
        && !sources.contains(&asked_for)
    {
        sources.push(asked_for);
    }
    if sources.is_empty() {
        sources.push(Source::Without);
    }
    sources
}

fn power_names(parts: &Parts, names: &[String], standard: bool) -> Vec<String> {
    let mut found = Vec::new();
    if standard {
        found.push(standard_name(parts).to_owned());
    }
    found.extend(names.iter().cloned());
    found
}

/// The column of `channel` for a stream.
fn column(parts: &Parts, source: Source, channel: Channel, main: bool) -> Option<&Arc<Vec<f64>>> {
    let developers = |wanted: &dyn Fn(&DeveloperColumn) -> bool| {
        parts
            .developer
            .iter()
            .enumerate()
            .filter(|(_, column)| wanted(column))
            .find_map(|(index, _)| parts.developer_column(index))
    };
    match (source, channel) {
        (Source::Developer(index), Channel::Power) => parts.developer_column(index),
        (Source::Developer(index), _) => {
            let developer = parts.developer.get(index)?.developer;
            let own = developers(&|c| c.developer == developer && carries(c, channel));
            // A stream that is alone, or the first of a file without standard power, is also the
            // one the standard's fields belong to.
            let standard = (main || SHARED.contains(&channel))
                .then(|| parts.standard(channel))
                .flatten();
            own.or(standard)
        }
        (Source::Standard | Source::Without, _) => {
            let standard = parts.standard(channel);
            if channel == Channel::Power {
                return standard;
            }
            // A developer without power of its own adds to what the recorder measured.
            let adds = |c: &DeveloperColumn| {
                let has_power = parts
                    .developer
                    .iter()
                    .any(|other| other.developer == c.developer && carries(other, Channel::Power));
                !has_power && carries(c, channel)
            };
            standard.or_else(|| developers(&adds))
        }
    }
}
