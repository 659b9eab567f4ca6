//! Dates with times, as text.

/// Seconds since 1970 of a date with time, and whether it names a zone. Without one, UTC is meant.
pub(super) fn date(text: &str) -> Option<(f64, bool)> {
    let mut text = text.trim().to_owned();
    if text.as_bytes().get(4) == Some(&b'/') {
        text = text.replacen('/', "-", 2);
    }
    if let Some((day, time)) = text.split_once([' ', 'T'])
        && let [d, m, y] = day.split('.').collect::<Vec<_>>().as_slice()
        && y.len() == 4
    {
        text = format!("{y}-{m:0>2}-{d:0>2}T{}", time.trim_start());
    }
    if let Ok(moment) = text.parse::<jiff::Timestamp>() {
        return Some((seconds(moment), true));
    }
    let moment = text
        .trim_end_matches(" UTC")
        .parse::<jiff::civil::DateTime>()
        .ok()?;
    let utc = jiff::tz::TimeZone::UTC.to_timestamp(moment).ok()?;
    Some((seconds(utc), text.ends_with(" UTC")))
}

fn seconds(moment: jiff::Timestamp) -> f64 {
    moment.as_second() as f64 + f64::from(moment.subsec_nanosecond()) / 1e9
}
