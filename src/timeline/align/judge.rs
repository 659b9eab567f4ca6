//! Two recordings compared on every channel that both carry: which one is believed, and why the
//! result may not be.

use super::line::{Line, Point, line_with_slope, spread, theil_sen};
use super::pair::{MAX_RATE, NoMatch, PairEstimate, Transformed, estimate, shaped};
use super::signal::Signal;
use super::trust::{Sharpness, one_strap, sharpness};
use crate::recording::Channel;
use crate::timeline::delay::{Correlation, Correlator};

/// Channels in order of honesty.
pub(super) const CHANNELS: [Channel; 3] = [Channel::HeartRate, Channel::Cadence, Channel::Power];
/// Below this many common seconds no match is relied on.
const SHORT_OVERLAP: u32 = 120;
/// A peak so flat that the interval of the offset is wider than this, each way, s.
const FLAT_S: f64 = 0.3;
/// Another channel is the same match if its shift is within this, s: devices are late by seconds,
/// repeats are further apart.
const SAME_MATCH_S: f64 = 10.0;
/// Two channels without much lag of their own disagree beyond this, s.
const DISAGREE_S: f64 = 1.5;
/// Half-width that resampling cannot show, s: what whole-second samples do not tell of the moment
/// they were taken, the same in every window.
const SAMPLING_S: f64 = 0.06;
/// A rate error counts beyond this many standard errors.
const SKEW_Z: f64 = 2.0;

/// Standard deviation of the rate between two recorders' clocks, quartz being within some ±100 ppm
/// (common practice, no source). It matters only where the ride tells less.
const USUAL_RATE: f64 = 6e-5;

/// What kind of match joined two recordings; better ones are greater.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Grade {
    /// Heart rates of two sensors.
    TwoHearts,
    /// Power with a source under test.
    PowerUnderTest,
    /// Cadence, one side smoothed.
    CadenceSmoothed,
    /// Power of two meters on the bicycle.
    PowerOfMeters,
    /// Cadence, with too little detail to exclude that one side is smoothed.
    CadenceUnproven,
    /// Cadence.
    Cadence,
    /// One heart-rate strap heard twice.
    OneStrap,
}

/// A pair of recordings joined by one channel.
#[derive(Clone, Debug)]
pub(super) struct Match {
    pub channel: Channel,
    pub grade: Grade,
    /// Whether another lag matches nearly as well.
    pub ambiguous: bool,
    /// What to add to the first recorder's time to get the second's.
    pub line: Line,
    /// 95 % interval of the shift at the line's middle, relative to it, s.
    pub interval_s: Option<[f64; 2]>,
    pub r: f64,
    /// Reasons not to rely on it.
    pub doubts: Vec<String>,
    /// What it rests on.
    pub basis: String,
}

/// One side of a comparison.
pub(super) struct Side<F> {
    /// The signal of a channel.
    pub signal: F,
    /// Whether the recording's power is that of a meter on the bicycle, not of the source under
    /// test.
    pub meter: bool,
    /// Whether the recorder's time is that of day.
    pub absolute: bool,
}

/// Compares two recordings on `channels`.
///
/// # Errors
/// One sentence: why nothing matched.
pub(super) fn compare<'a>(
    correlator: &mut Correlator,
    scratch: &mut Correlation,
    a: &Side<impl Fn(Channel) -> Option<Transformed<'a>>>,
    b: &Side<impl Fn(Channel) -> Option<Transformed<'a>>>,
    channels: &[Channel],
) -> Result<Match, String> {
    let mut found: Vec<(Channel, PairEstimate)> = Vec::new();
    let mut failed: Vec<(Channel, NoMatch)> = Vec::new();
    for &channel in channels {
        if let (Some(x), Some(y)) = ((a.signal)(channel), (b.signal)(channel)) {
            match estimate(correlator, scratch, x, y, None) {
                Ok(estimate) => found.push((channel, estimate)),
                Err(why) => failed.push((channel, why)),
            }
        }
    }
    settle_ambiguities(correlator, scratch, a, b, &mut found);
    let best = found
        .iter()
        .enumerate()
        .filter_map(|(index, (channel, estimate))| {
            let ((x, _), (y, _)) = ((a.signal)(*channel)?, (b.signal)(*channel)?);
            let grade = grade(*channel, estimate, x, y, a.meter && b.meter);
            Some((estimate.rival.is_none(), grade, index))
        })
        .max_by_key(|(clear, grade, _)| (*clear, *grade));
    let Some((_, grade, index)) = best else {
        return Err(why_not(&failed));
    };
    if !(a.meter && b.meter) {
        for (channel, estimate) in &mut found {
            if *channel == Channel::Power
                && let (Some((x, _)), Some((y, _))) = ((a.signal)(*channel), (b.signal)(*channel))
            {
                estimate.rate_points = shaped(x, y, estimate.line);
            }
        }
    }
    let mut concluded = conclude(&found, index, grade);
    let channel = concluded.channel;
    let (x, y) = ((a.signal)(channel), (b.signal)(channel));
    let held_s = [x, y]
        .into_iter()
        .flatten()
        .map(|(signal, _)| signal.held_s);
    let late_s = held_s.fold(0.0, f64::max);
    if late_s > FLAT_S {
        concluded.doubts.push(format!(
            "one recorder writes only on change: its values of {} are {late_s:.1} s old on average, and \
             what changed meanwhile shows late",
            channel.name()
        ));
        concluded.interval_s = concluded
            .interval_s
            .map(|ends| ends.map(|edge| edge.signum() * edge.hypot(late_s)));
    }
    Ok(concluded)
}

/// Lets a channel with competing peaks follow one without, else the recorders' own clocks.
fn settle_ambiguities<'a>(
    correlator: &mut Correlator,
    scratch: &mut Correlation,
    a: &Side<impl Fn(Channel) -> Option<Transformed<'a>>>,
    b: &Side<impl Fn(Channel) -> Option<Transformed<'a>>>,
    found: &mut [(Channel, PairEstimate)],
) {
    let clear = found
        .iter()
        .find(|(_, estimate)| estimate.rival.is_none())
        .map(|(_, estimate)| estimate.line);
    let clocks_agree = a.absolute && b.absolute;
    for (channel, estimate_now) in found.iter_mut() {
        if estimate_now.rival.is_none() {
            continue;
        }
        let near_s = match clear {
            Some(line) => Some(line.at(estimate_now.line.at_s)),
            None => clocks_agree.then_some(0.0),
        };
        let (Some(near_s), Some(x), Some(y)) = (near_s, (a.signal)(*channel), (b.signal)(*channel))
        else {
            continue;
        };
        if let Ok(mut again) = estimate(correlator, scratch, x, y, Some(near_s)) {
            let supported = clear.is_some_and(|line| {
                (again.line.offset_s - line.at(again.line.at_s)).abs() <= SAME_MATCH_S
            });
            if supported {
                again.rival = None;
            }
            *estimate_now = again;
        }
    }
}

fn grade(channel: Channel, estimate: &PairEstimate, a: &Signal, b: &Signal, meters: bool) -> Grade {
    match channel {
        Channel::HeartRate if one_strap(a, b, estimate.line) => Grade::OneStrap,
        Channel::HeartRate => Grade::TwoHearts,
        Channel::Cadence => match sharpness(a, b, estimate.line) {
            Sharpness::Alike => Grade::Cadence,
            // Two meters count their own crank's turns; a trainer may guess.
            Sharpness::Unproven if meters => Grade::Cadence,
            Sharpness::Unproven => Grade::CadenceUnproven,
            Sharpness::Unlike => Grade::CadenceSmoothed,
        },
        _ if meters => Grade::PowerOfMeters,
        _ => Grade::PowerUnderTest,
    }
}

/// The match on the channel at `index`, with the rate from all channels that show the same match.
fn conclude(found: &[(Channel, PairEstimate)], index: usize, grade: Grade) -> Match {
    let (channel, chosen) = &found[index];
    let difference = |other: &PairEstimate| {
        let at_s = chosen.line.at_s;
        other.line.at(at_s) - chosen.line.offset_s
    };
    let points: Vec<Point> = found
        .iter()
        .enumerate()
        .filter(|(_, (_, other))| difference(other).abs() <= SAME_MATCH_S)
        .flat_map(|(set, (_, other))| {
            let for_rate = other.rate_points.iter().flatten();
            let for_rate = for_rate.map(move |p| Point {
                set: found.len() + set,
                ..*p
            });
            // Where windows for the rate are there, the others only tell the offset.
            let own = (set == index || other.rate_points.is_none()).then_some(&other.points);
            let own = own.into_iter().flatten().map(move |p| Point { set, ..*p });
            own.chain(for_rate)
        })
        .collect();
    let slope = theil_sen(&points).unwrap_or(0.0);
    let spread_of_windows = spread(&points, index, slope);
    let line = match spread_of_windows {
        Some(spread) => Line {
            slope: believed_rate(spread.line.slope, spread.slope_se),
            ..spread.line
        },
        None => line_with_slope(&points, index, 0.0).unwrap_or(chosen.line),
    };
    let interval_s = spread_of_windows.map(|spread| {
        spread
            .offset_s
            .map(|edge| edge.signum() * edge.hypot(SAMPLING_S))
    });
    let mut doubts = Vec::new();
    if let Some(rival) = chosen.rival {
        doubts.push(format!(
            "{} matches nearly as well {:+.0} s away (r {:.2} against {:.2})",
            channel.name(),
            rival.shift_s - chosen.line.offset_s,
            rival.r,
            chosen.r
        ));
    }
    if chosen.pairs < SHORT_OVERLAP {
        doubts.push(format!("only {} s in common", chosen.pairs));
    }
    match interval_s {
        None => doubts.push("too short for an uncertainty".to_owned()),
        Some([low, high]) if low < -FLAT_S || high > FLAT_S => doubts.push(format!(
            "the peak of {} is flat: the offset is known to {:.1} s only",
            channel.name(),
            high.max(-low)
        )),
        Some(_) => {}
    }
    match grade {
        Grade::TwoHearts => doubts.push(
            "the heart rates are not of one strap, and sensors are late by seconds".to_owned(),
        ),
        Grade::PowerUnderTest => doubts.push(
            "only power is left: device lag and clock offset cannot be told apart".to_owned(),
        ),
        Grade::CadenceSmoothed => {
            doubts.push("one cadence is smoothed, and its delay is in the offset".to_owned())
        }
        Grade::CadenceUnproven => doubts.push(
            "cadence holds too little detail to exclude that one of the two is late".to_owned(),
        ),
        Grade::PowerOfMeters | Grade::Cadence | Grade::OneStrap => {}
    }
    for (other, estimate) in found {
        let by_s = difference(estimate);
        let limit_s = match (*channel, *other) {
            (Channel::HeartRate, Channel::Cadence) | (Channel::Cadence, Channel::HeartRate) => {
                DISAGREE_S
            }
            _ => SAME_MATCH_S,
        };
        if estimate.rival.is_none() && by_s.abs() > limit_s && other != channel {
            doubts.push(format!(
                "{} says {:+.1} s more than {}",
                other.name(),
                by_s,
                channel.name()
            ));
        }
    }
    Match {
        channel: *channel,
        grade,
        ambiguous: chosen.rival.is_some(),
        line,
        interval_s,
        r: chosen.r,
        doubts,
        basis: basis(grade).to_owned(),
    }
}

/// The rate to go on with: none where it is not significant or beyond any clock's, else drawn
/// towards none as far as its uncertainty allows (the mean of the rate given `slope`, both normal).
fn believed_rate(slope: f64, se: f64) -> f64 {
    if slope.abs() <= SKEW_Z * se || slope.abs() > MAX_RATE {
        return 0.0;
    }
    slope / (1.0 + (se / USUAL_RATE).powi(2))
}

fn basis(grade: Grade) -> &'static str {
    match grade {
        Grade::OneStrap => "one heart-rate strap heard by both recorders",
        Grade::TwoHearts => "heart rate of two sensors",
        Grade::Cadence => "cadence, taken to have no lag of its own",
        Grade::CadenceSmoothed | Grade::CadenceUnproven | Grade::PowerUnderTest => "",
        Grade::PowerOfMeters => "power of two meters on the bicycle, taken to have no lag",
    }
}

fn why_not(failed: &[(Channel, NoMatch)]) -> String {
    if failed.is_empty() {
        return "no channel in common to match on".to_owned();
    }
    let told: Vec<String> = failed
        .iter()
        .map(|(channel, why)| match why {
            NoMatch::TooShort => format!("{} is too short or has no overlap", channel.name()),
            NoMatch::Constant => format!("{} does not vary", channel.name()),
            NoMatch::NothingInCommon { best_r } => format!(
                "{} has nothing in common at any lag (best r {best_r:.2})",
                channel.name()
            ),
        })
        .collect();
    told.join("; ")
}
