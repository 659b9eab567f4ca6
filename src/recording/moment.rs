//! Dates with times, as text.

/// Seconds since 1970 of a date with time, and whether it names a zone. Without one, UTC is meant.
///
/// Besides ISO 8601: strokes for dashes, the day first with points or, where day and month cannot
/// be mistaken for each other, with strokes or dashes, Japanese and Chinese dates, and hours with AM
/// or PM.
pub(super) fn date(text: &str) -> Option<(f64, bool)> {
    let mut text = text.trim().to_owned();
    if text.as_bytes().get(4) == Some(&b'/') {
        text = text.replacen('/', "-", 2);
    }
    if text.contains('年') {
        text = text.replacen(['年', '月'], "-", 2).replacen('日', " ", 1);
        text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    }
    if let Some((day, time)) = text.split_once([' ', 'T'])
        && let Some(day) = year_first(day)
    {
        text = format!("{day}T{}", of_24_hours(time.trim())?);
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

/// A day in three numbers as `yyyy-mm-dd`; `None` where it cannot be said which is the month.
fn year_first(day: &str) -> Option<String> {
    let mark = day.chars().find(|c| !c.is_ascii_digit())?;
    let parts: Vec<&str> = day.split(mark).collect();
    let [first, second, third] = parts.as_slice() else {
        return None;
    };
    if first.len() == 4 {
        return Some(format!("{first}-{second:0>2}-{third:0>2}"));
    }
    let (day, month) = (first.parse::<u8>().ok()?, second.parse::<u8>().ok()?);
    let (day, month) = match (mark, day > 12, month > 12) {
        ('.', _, _) | (_, true, false) => (first, second),
        (_, false, true) => (second, first),
        _ if day == month => (first, second),
        _ => return None,
    };
    (third.len() == 4).then(|| format!("{third}-{month:0>2}-{day:0>2}"))
}

/// Whether `text` begins with a day that can be read in two ways.
pub(super) fn is_ambiguous_day(text: &str) -> bool {
    let day = text.trim().split([' ', 'T']).next().unwrap_or_default();
    let parts: Vec<&str> = day.split(['/', '-']).collect();
    let is_number = |part: &&str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    matches!(parts.as_slice(), [first, second, year]
        if first.len() <= 2 && second.len() <= 2 && year.len() == 4)
        && parts.iter().all(is_number)
        && year_first(day).is_none()
}

/// `7:00:05 PM` as `19:00:05`; hours of one digit get a zero.
fn of_24_hours(time: &str) -> Option<String> {
    let upper = time.to_ascii_uppercase();
    let (clock, later) = match (upper.strip_suffix("PM"), upper.strip_suffix("AM")) {
        (Some(clock), _) => (clock.trim_end(), Some(12)),
        (_, Some(clock)) => (clock.trim_end(), Some(0)),
        _ => (time, None),
    };
    let (hour, rest) = clock.split_once(':')?;
    let hour: u8 = hour.parse().ok()?;
    let hour = match later {
        Some(later) if (1..=12).contains(&hour) => hour % 12 + later,
        Some(_) => return None,
        None => hour,
    };
    Some(format!("{hour:02}:{rest}"))
}

fn seconds(moment: jiff::Timestamp) -> f64 {
    moment.as_second() as f64 + f64::from(moment.subsec_nanosecond()) / 1e9
}
