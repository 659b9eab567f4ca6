//! What is inside a recording, in figures: for `truing probe`, before anything is aligned or
//! judged.

use serde::Serialize;

use super::sampling::PAUSE_S;
use super::{
    Channel, Damage, Event, Format, Lap, ModeSpan, RecordedStream, Recording, Samples, Sampling,
    SetPoint, TimeBase,
};

/// A recording summed up. Field names are those of the JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Probe {
    /// The file, as it was named.
    pub file: String,
    /// Its format.
    pub format: Format,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// What times count from.
    pub time_base: TimeBase,
    /// The recorder, as the file tells.
    pub device: Option<String>,
    /// The streams, in file order.
    pub streams: Vec<StreamProbe>,
    /// The laps.
    pub laps: Vec<Lap>,
    /// The events.
    pub events: Vec<Event>,
    /// The powers a workout asked for.
    pub set_points: Vec<SetPoint>,
    /// The modes that the trainer was in, where the file says so.
    pub modes: Vec<ModeSpan>,
    /// What could not be read.
    pub damage: Vec<Damage>,
    /// What was repaired, left out or assumed.
    pub remarks: Vec<String>,
    /// Every column or field that is not used.
    pub unused: Vec<String>,
}

/// A stream summed up.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamProbe {
    /// Its label.
    pub label: String,
    /// The field or column that carries power.
    pub power_field: Option<String>,
    /// How its samples are spaced.
    pub sampling: Sampling,
    /// Number of samples.
    pub samples: usize,
    /// Time of the first sample on the recorder's clock, s.
    pub first_s: Option<f64>,
    /// Time of the last sample on the recorder's clock, s.
    pub last_s: Option<f64>,
    /// The first sample as date and time in UTC, where times are absolute.
    pub first: Option<String>,
    /// The last sample as date and time in UTC, where times are absolute.
    pub last: Option<String>,
    /// Median step between samples, s.
    pub median_interval_s: Option<f64>,
    /// The 5th and the 95th percentile of the steps, s (nearest rank).
    pub interval_p5_p95_s: Option<[f64; 2]>,
    /// Where samples lack.
    pub gaps: Gaps,
    /// The channels.
    pub channels: Vec<ChannelProbe>,
}

/// Steps that are longer than the recorder's own. A step is a gap when it exceeds 1.5 times the
/// median, or one minute where samples are written on change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Gaps {
    /// How many.
    pub count: usize,
    /// Time without samples, beyond the usual step, s.
    pub total_s: f64,
    /// The longest step, s.
    pub longest_s: f64,
}

/// A channel summed up.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChannelProbe {
    /// The channel.
    pub channel: Channel,
    /// Its unit.
    pub unit: &'static str,
    /// Samples with a value.
    pub values: usize,
    /// Share of samples without a value, %.
    pub missing_percent: f64,
    /// Smallest value.
    pub min: Option<f64>,
    /// Mean of the values, each sample counting the same.
    pub mean: Option<f64>,
    /// Largest value.
    pub max: Option<f64>,
    /// Share of values that are zero, %.
    pub zero_percent: Option<f64>,
    /// Share of values other than zero that equal the value of the sample before, %.
    pub repeat_percent: Option<f64>,
}

impl Probe {
    /// Sums `recording` up.
    pub fn of(recording: &Recording) -> Self {
        let absolute = recording.time_base == TimeBase::Absolute;
        Self {
            file: crate::text::clean_text(&recording.path.to_string_lossy()),
            format: recording.format,
            sha256: recording.sha256.clone(),
            time_base: recording.time_base,
            device: recording.device.clone(),
            streams: recording
                .streams
                .iter()
                .map(|stream| StreamProbe::of(stream, absolute))
                .collect(),
            laps: recording.laps.clone(),
            events: recording.events.clone(),
            set_points: recording.set_points.clone(),
            modes: recording.modes.clone(),
            damage: recording.damage.clone(),
            remarks: recording.remarks.clone(),
            unused: recording.unused.clone(),
        }
    }
}

impl StreamProbe {
    fn of(stream: &RecordedStream, absolute: bool) -> Self {
        let samples = &stream.samples;
        let time_s = samples.time_s();
        let (first_s, last_s) = (time_s.first().copied(), time_s.last().copied());
        let moment = |t: Option<f64>| t.filter(|_| absolute).and_then(utc);
        let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
        steps.sort_by(f64::total_cmp);
        Self {
            label: stream.label.clone(),
            power_field: stream.power_field.clone(),
            sampling: stream.sampling,
            samples: samples.len(),
            first_s,
            last_s,
            first: moment(first_s),
            last: moment(last_s),
            median_interval_s: percentile(&steps, 50),
            interval_p5_p95_s: percentile(&steps, 5)
                .zip(percentile(&steps, 95))
                .map(|(low, high)| [low, high]),
            gaps: gaps(&steps, stream.sampling),
            channels: samples
                .channels()
                .map(|channel| ChannelProbe::of(samples, channel))
                .collect(),
        }
    }
}

/// Nearest-rank percentile of sorted values.
fn percentile(sorted: &[f64], percent: usize) -> Option<f64> {
    let rank = (sorted.len() * percent).div_ceil(100).max(1);
    sorted.get(rank - 1).copied()
}

fn gaps(sorted_steps: &[f64], sampling: Sampling) -> Gaps {
    let Some(median) = percentile(sorted_steps, 50) else {
        return Gaps::default();
    };
    let limit = match sampling {
        Sampling::Regular => 1.5 * median,
        Sampling::OnChange => PAUSE_S,
    };
    let long = sorted_steps.iter().filter(|step| **step > limit);
    long.fold(Gaps::default(), |gaps, step| Gaps {
        count: gaps.count + 1,
        total_s: gaps.total_s + step - median,
        longest_s: gaps.longest_s.max(*step),
    })
}

impl ChannelProbe {
    fn of(samples: &Samples, channel: Channel) -> Self {
        let column = samples.column(channel).unwrap_or_default();
        let values: Vec<f64> = column.iter().copied().filter(|v| !v.is_nan()).collect();
        let share = |part: usize, of: usize| (of > 0).then(|| 100.0 * part as f64 / of as f64);
        let zeros = values.iter().filter(|v| **v == 0.0).count();
        let repeats = column
            .windows(2)
            .filter(|pair| pair[0] == pair[1] && pair[1] != 0.0)
            .count();
        let n = values.len();
        let extreme = |pick: fn(f64, f64) -> f64| values.iter().copied().reduce(pick);
        Self {
            channel,
            unit: channel.unit(),
            values: n,
            missing_percent: share(column.len() - n, column.len()).unwrap_or(0.0),
            min: extreme(f64::min),
            mean: (n > 0).then(|| values.iter().sum::<f64>() / n as f64),
            max: extreme(f64::max),
            zero_percent: share(zeros, n),
            repeat_percent: share(repeats, n - zeros),
        }
    }
}

/// `time_s` since 1970 as date and time in UTC, to the millisecond.
pub fn utc(time_s: f64) -> Option<String> {
    let milliseconds = (time_s * 1000.0).round();
    // A cast saturates; the calendar refuses what it does not hold.
    let moment = jiff::Timestamp::from_millisecond(milliseconds as i64).ok()?;
    Some(moment.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stream(time_s: &[f64], power: &[f64]) -> StreamProbe {
        let mut samples = Samples::new(time_s.to_vec()).unwrap();
        samples.set_column(Channel::Power, power.to_vec());
        let stream = RecordedStream {
            label: "hub".to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        StreamProbe::of(&stream, true)
    }

    /// Worked by hand: steps 1 1 1 5 1, values 0 200 200 - 210 0.
    #[test]
    fn figures_of_a_small_stream() {
        let probe = stream(
            &[
                1.7e9,
                1.7e9 + 1.0,
                1.7e9 + 2.0,
                1.7e9 + 3.0,
                1.7e9 + 8.0,
                1.7e9 + 9.0,
            ],
            &[0.0, 200.0, 200.0, f64::NAN, 210.0, 0.0],
        );
        assert_eq!(probe.first.as_deref(), Some("2023-11-14T22:13:20Z"));
        assert_eq!(probe.median_interval_s, Some(1.0));
        assert_eq!(probe.interval_p5_p95_s, Some([1.0, 5.0]));
        let gaps = Gaps {
            count: 1,
            total_s: 4.0,
            longest_s: 5.0,
        };
        assert_eq!(probe.gaps, gaps);
        let power = &probe.channels[0];
        assert_eq!(power.values, 5);
        assert!((power.missing_percent - 100.0 / 6.0).abs() < 1e-12);
        assert_eq!(power.mean, Some(122.0));
        assert_eq!((power.min, power.max), (Some(0.0), Some(210.0)));
        assert_eq!(power.zero_percent, Some(40.0));
        assert!((power.repeat_percent.unwrap() - 100.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn an_empty_stream_has_no_figures() {
        let probe = stream(&[], &[]);
        assert_eq!(probe.median_interval_s, None);
        assert_eq!(probe.channels[0].mean, None);
        assert_eq!(probe.channels[0].zero_percent, None);
    }

    #[test]
    fn times_beyond_the_calendar_are_none() {
        assert_eq!(utc(1e18), None);
        assert_eq!(utc(0.25).as_deref(), Some("1970-01-01T00:00:00.25Z"));
    }
}
