//! Which columns belong to which stream of delimited text.
//!
//! One stream a power column, or one a device where rows name their device. A column belongs to
//! the power column that shares its telling words ("hub power", "hub cadence"). Without telling
//! words, heart rate, speed, grade and altitude are given to all; the others to the first stream only: shared, a comparison of cadence would find perfect agreement of a series with
//! itself.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use super::head::{Role, is_specified};
use super::plan::Plan;
use crate::recording::file::stem;
use crate::recording::mode::ModeWords;
use crate::recording::names::Quantity;
use crate::recording::rows::{Ordered, Table, put_in_order};
use crate::recording::spans::{set_points as held, spans};
use crate::recording::{
    Channel, ClockNote, Lap, ModeSpan, ReadOptions, RecordedStream, RecordingError, Samples,
    SetPoint, sampling,
};
use crate::text::clean_text;
use crate::text::plural;

/// The rows of one device, or of all.
pub(super) struct Group {
    pub(super) name: Vec<u8>,
    pub(super) table: Table,
}

/// A telling share of missing power: beyond it, rows without a value of the stream are dropped
/// from it, since they are another device's.
const OTHERS_ROWS: f64 = 0.2;

/// What was found in the rows.
pub(super) struct Found {
    pub(super) streams: Vec<RecordedStream>,
    pub(super) laps: Vec<Lap>,
    pub(super) set_points: Vec<SetPoint>,
    pub(super) modes: Vec<ModeSpan>,
    pub(super) clock_notes: Vec<ClockNote>,
    /// Places of the columns that some stream carries.
    used: BTreeSet<usize>,
}

impl Found {
    /// Heads of the columns that are understood and that no stream carries.
    pub(super) fn unused(&self, plan: &Plan) -> Vec<String> {
        let is_first = |index: usize, role: fn(&Role) -> bool| {
            plan.columns.iter().position(|column| role(&column.role)) == Some(index)
        };
        let is_target =
            |role: &Role| matches!(role, Role::Measured(m) if m.quantity == Quantity::TargetPower);
        let columns = plan.columns.iter().enumerate();
        let unused = columns.filter(|(index, _)| {
            !self.used.contains(index)
                && !is_first(*index, is_target)
                && !is_first(*index, |role| *role == Role::Lap)
                && (self.modes.is_empty() || !is_first(*index, |role| *role == Role::Mode))
        });
        unused.map(|(_, column)| column.name.clone()).collect()
    }
}

/// The streams, laps and set points in the groups.
pub(super) fn assemble(
    path: &Path,
    groups: Vec<Group>,
    plan: &Plan,
    words: &ModeWords,
    options: &ReadOptions,
    remarks: &mut Vec<String>,
) -> Result<Found, RecordingError> {
    let mut found = Found {
        streams: Vec::new(),
        laps: Vec::new(),
        set_points: Vec::new(),
        modes: Vec::new(),
        clock_notes: Vec::new(),
        used: BTreeSet::new(),
    };
    let several_devices = groups.len() > 1;
    for group in groups {
        let device = clean_text(&String::from_utf8_lossy(&group.name))
            .trim()
            .to_owned();
        let mut ordered = put_in_order(group.table);
        for remark in ordered.remarks.drain(..) {
            remarks.push(if several_devices {
                format!("{device}: {remark}")
            } else {
                remark
            });
        }
        found.clock_notes.append(&mut ordered.clock_notes);
        add_legs(&mut ordered, plan);
        convert(&mut ordered, plan, remarks);
        if found.laps.is_empty() {
            found.laps = laps(&ordered, plan);
        }
        if found.set_points.is_empty() {
            found.set_points = set_points(&ordered, plan);
        }
        if found.modes.is_empty() {
            found.modes = modes(&ordered, plan, words);
        }
        let device = (!device.is_empty()).then_some(device);
        streams(
            path,
            &ordered,
            plan,
            device.as_deref(),
            several_devices,
            &mut found,
        );
    }
    number_labels(&mut found.streams);
    select(path, &mut found.streams, options)?;
    for stream in &mut found.streams {
        stream.sampling = sampling::recognise(&stream.samples);
        sampling::remark(&stream.label, stream.sampling, remarks);
    }
    Ok(found)
}

/// Keeps the stream asked for.
fn select(
    path: &Path,
    streams: &mut Vec<RecordedStream>,
    options: &ReadOptions,
) -> Result<(), RecordingError> {
    let Some(specified) = options.columns.power.as_deref() else {
        return Ok(());
    };
    let names: Vec<String> = streams
        .iter()
        .filter_map(|s| s.power_field.clone())
        .collect();
    let whole = |name: &str| is_specified(name, Some(specified));
    let column = |name: &str| {
        name.split_once(':')
            .is_some_and(|(c, _)| is_specified(c, Some(specified)))
    };
    let keep: &dyn Fn(&str) -> bool = if names.iter().any(|name| whole(name)) {
        &whole
    } else {
        &column
    };
    streams.retain(|stream| stream.power_field.as_deref().is_some_and(keep));
    if streams.is_empty() {
        return Err(RecordingError::NoColumn {
            path: path.to_owned(),
            wanted: format!("power column “{}”", clean_text(specified)),
            found: names,
            way_out: "correct `channel` in session.toml",
        });
    }
    Ok(())
}

/// Adds the power of two legs into one, and puts the left one's share in the place of the right. A
/// moment at which one leg is missing has neither.
fn add_legs(ordered: &mut Ordered, plan: &Plan) {
    let none = |watts: f64| watts.is_nan() || watts == NO_POWER_W;
    for (left, right) in &plan.legs {
        let columns = (
            ordered.columns.get(*left).cloned().flatten(),
            ordered.columns.get(*right).cloned().flatten(),
        );
        let (sum, share) = match columns {
            (Some(left), Some(right)) => left
                .iter()
                .zip(right.iter())
                .map(|(left, right)| {
                    let sum = if none(*left) || none(*right) {
                        f64::NAN
                    } else {
                        left + right
                    };
                    let share = if sum > 0.0 {
                        100.0 * left / sum
                    } else {
                        f64::NAN
                    };
                    (sum, share)
                })
                .unzip::<_, _, Vec<f64>, Vec<f64>>(),
            _ => (Vec::new(), Vec::new()),
        };
        for (place, values) in [(*left, sum), (*right, share)] {
            if let Some(column) = ordered.columns.get_mut(place) {
                *column = (!values.is_empty()).then(|| Arc::new(values));
            }
        }
    }
}

/// Brings every column into our units.
fn convert(ordered: &mut Ordered, plan: &Plan, remarks: &mut Vec<String>) {
    for (index, column) in plan.columns.iter().enumerate() {
        let Role::Measured(meaning) = &column.role else {
            continue;
        };
        let Some(values) = ordered.columns.get_mut(index).and_then(Option::as_mut) else {
            continue;
        };
        let (mut factor, shift) = (meaning.factor, meaning.shift);
        if meaning.quantity == Quantity::Channel(Channel::Speed)
            && !meaning.has_unit
            && looks_like_km_h(values)
        {
            factor = 1.0 / 3.6;
            let remark = format!(
                "column “{}” has no unit: its size speaks for km/h",
                column.name
            );
            if !remarks.contains(&remark) {
                remarks.push(remark);
            }
        }
        if factor != 1.0 || shift != 0.0 {
            for value in Arc::make_mut(values) {
                *value = *value * factor + shift;
            }
        }
        if meaning.quantity == Quantity::Channel(Channel::Power) {
            drop_marks_for_none(values, &column.name, remarks);
        }
    }
}

/// What a FIT field of two bytes holds where there is no value, W: some programs export it as a
/// number.
const NO_POWER_W: f64 = 65_535.0;

/// Takes the mark for "no value" as missing.
fn drop_marks_for_none(values: &mut Arc<Vec<f64>>, name: &str, remarks: &mut Vec<String>) {
    let count = values.iter().filter(|value| **value == NO_POWER_W).count();
    if count == 0 {
        return;
    }
    for value in Arc::make_mut(values) {
        if *value == NO_POWER_W {
            *value = f64::NAN;
        }
    }
    remarks.push(format!(
        "{} of {NO_POWER_W} W in column “{name}”: FIT's mark for none, taken as missing",
        plural(count, "value")
    ));
}

/// Bicycles go at 15 to 60 km/h, which is 4 to 17 m/s.
fn looks_like_km_h(values: &[f64]) -> bool {
    const LIMIT: f64 = 15.0;
    let mut moving: Vec<f64> = values.iter().copied().filter(|v| *v > 1.0).collect();
    let middle = moving.len() / 2;
    !moving.is_empty() && *moving.select_nth_unstable_by(middle, f64::total_cmp).1 > LIMIT
}

fn streams(
    path: &Path,
    ordered: &Ordered,
    plan: &Plan,
    device: Option<&str>,
    several_devices: bool,
    found: &mut Found,
) {
    let measured = |wanted: Channel| {
        plan.columns
            .iter()
            .enumerate()
            .filter_map(move |(index, column)| {
                let Role::Measured(meaning) = &column.role else {
                    return None;
                };
                let filled = ordered.columns.get(index)?.as_ref()?;
                let is_wanted = meaning.quantity == Quantity::Channel(wanted);
                is_wanted.then_some((index, column, meaning, filled))
            })
    };
    let powers: Vec<_> = measured(Channel::Power).collect();
    let single = powers.len() == 1;
    for (index, (place, column, power_meaning, power)) in powers.iter().enumerate() {
        found.used.insert(*place);
        let rest = power_meaning.rest.as_str();
        let Some(mut samples) = Samples::shared(ordered.time_s.clone()) else {
            continue;
        };
        samples.share_column(Channel::Power, power);
        let mut own = vec![*power];
        for channel in Channel::ALL.into_iter().skip(1) {
            let mut candidates = measured(channel);
            let same =
                candidates.find(|(_, _, meaning, _)| meaning.rest == rest && !rest.is_empty());
            let shared = matches!(
                channel,
                Channel::HeartRate | Channel::Speed | Channel::Grade | Channel::Altitude
            );
            let plain = || {
                let mut candidates = measured(channel);
                candidates.find(|(_, _, meaning, _)| single || meaning.rest.is_empty())
            };
            let is_own = same.is_some() || single;
            let chosen = same.or_else(|| (single || shared || index == 0).then(plain).flatten());
            if let Some((place, _, _, values)) = chosen {
                found.used.insert(place);
                samples.share_column(channel, values);
                if is_own {
                    own.push(values);
                }
            }
        }
        if !single {
            samples = without_others_rows(samples, &own);
        }
        let label = match device {
            Some(device) if single => device.to_owned(),
            Some(device) => format!("{device} {rest}").trim().to_owned(),
            // A number alone names no device.
            None if rest.contains(|c: char| !c.is_ascii_digit()) => rest.to_owned(),
            None if single => stem(path),
            None => column.name.clone(),
        };
        let power_field = match device {
            Some(device) if several_devices => format!("{}:{device}", column.name),
            _ => column.name.clone(),
        };
        found.streams.push(RecordedStream {
            label,
            power_field: Some(power_field),
            sampling: Default::default(),
            samples,
        });
    }
}

/// In files that write each device's values in rows of their own, the rows of this stream.
fn without_others_rows(samples: Samples, own: &[&Arc<Vec<f64>>]) -> Samples {
    let rows = samples.len();
    let holds = |row: usize| own.iter().any(|c| c.get(row).is_some_and(|v| !v.is_nan()));
    let kept: Vec<usize> = (0..rows).filter(|row| holds(*row)).collect();
    if (rows - kept.len()) as f64 <= OTHERS_ROWS * rows as f64 {
        return samples;
    }
    let pick = |values: &[f64]| -> Vec<f64> {
        kept.iter()
            .filter_map(|row| values.get(*row).copied())
            .collect()
    };
    let Some(mut thinned) = Samples::new(pick(samples.time_s())) else {
        return samples;
    };
    for channel in samples.channels() {
        if let Some(column) = samples.column(channel) {
            thinned.set_column(channel, pick(column));
        }
    }
    thinned
}

/// Gives repeated labels a number.
fn number_labels(streams: &mut [RecordedStream]) {
    for index in 1..streams.len() {
        let (before, rest) = streams.split_at_mut(index);
        let Some(stream) = rest.first_mut() else {
            continue;
        };
        let plain = stream.label.clone();
        let mut count = 1;
        while before.iter().any(|other| other.label == stream.label) {
            count += 1;
            stream.label = format!("{plain} {count}");
        }
    }
}

fn laps(ordered: &Ordered, plan: &Plan) -> Vec<Lap> {
    let Some(values) = first(ordered, plan, |role| *role == Role::Lap) else {
        return Vec::new();
    };
    spans(&ordered.time_s, values)
        .into_iter()
        .map(|(from_s, to_s, _)| Lap { from_s, to_s })
        .collect()
}

fn modes(ordered: &Ordered, plan: &Plan, words: &ModeWords) -> Vec<ModeSpan> {
    first(ordered, plan, |role| *role == Role::Mode)
        .map(|numbers| words.spans(&ordered.time_s, numbers))
        .unwrap_or_default()
}

/// The first column of a role.
fn first<'a>(
    ordered: &'a Ordered,
    plan: &Plan,
    is: fn(&Role) -> bool,
) -> Option<&'a Arc<Vec<f64>>> {
    let index = plan.columns.iter().position(|column| is(&column.role))?;
    ordered.columns.get(index)?.as_ref()
}

fn set_points(ordered: &Ordered, plan: &Plan) -> Vec<SetPoint> {
    let is_target =
        |role: &Role| matches!(role, Role::Measured(m) if m.quantity == Quantity::TargetPower);
    first(ordered, plan, is_target)
        .map(|watts| held(&ordered.time_s, watts))
        .unwrap_or_default()
}
