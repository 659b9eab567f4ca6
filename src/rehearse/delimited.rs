//! Recordings as comma-separated text.

use super::RehearseError;
use super::scenario::Device;
use super::stream::RehearsedStream;
use crate::recording::Channel;

/// Writes a stream as CSV with a header row: UTC time stamps to the millisecond, then one column a
/// channel, and the mode where it is noted; an empty cell is missing.
///
/// # Errors
/// [`RehearseError::Encode`] where a time cannot be written as a date.
pub(super) fn csv(device: &Device, stream: &RehearsedStream) -> Result<Vec<u8>, RehearseError> {
    let failed = |reason: String| RehearseError::Encode {
        label: device.label.clone(),
        reason,
    };
    let samples = &stream.samples;
    let channels: Vec<Channel> = samples.channels().collect();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mode = (!stream.modes.is_empty()).then_some("mode");
    let head = std::iter::once("time").chain(channels.iter().map(|channel| column_name(*channel)));
    let head = head.chain(mode);
    writer
        .write_record(head)
        .map_err(|error| failed(error.to_string()))?;
    for (row, time_s) in samples.time_s().iter().enumerate() {
        let stamp = time_stamp(*time_s).ok_or_else(|| failed(format!("{time_s} s is no date")))?;
        let cells = channels.iter().map(|channel| {
            let value = samples
                .column(*channel)
                .map_or(f64::NAN, |column| column[row]);
            if value.is_nan() {
                String::new()
            } else {
                value.to_string()
            }
        });
        writer
            .write_record(
                std::iter::once(stamp)
                    .chain(cells)
                    .chain(mode.map(|_| stream.mode_at(*time_s).to_owned())),
            )
            .map_err(|error| failed(error.to_string()))?;
    }
    writer
        .into_inner()
        .map_err(|error| failed(error.to_string()))
}

fn column_name(channel: Channel) -> &'static str {
    match channel {
        Channel::Power => "power",
        Channel::Cadence => "cadence",
        Channel::Speed => "speed",
        Channel::HeartRate => "heart_rate",
        Channel::Temperature => "temperature",
        Channel::Balance => "balance",
        Channel::Grade => "grade",
        Channel::Torque => "torque",
        Channel::Resistance => "resistance",
        Channel::Altitude => "altitude",
    }
}

fn time_stamp(unix_s: f64) -> Option<String> {
    let stamp = jiff::Timestamp::from_millisecond((unix_s * 1000.0).round() as i64).ok()?;
    Some(stamp.strftime("%Y-%m-%dT%H:%M:%S.%3fZ").to_string())
}
