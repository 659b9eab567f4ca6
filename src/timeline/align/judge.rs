//! Two recordings compared on every channel that both carry: which one is believed, and why the
//! result may not be.

use super::jump::Jump;
use super::line::{Line, Point, line_with_slope, spread, theil_sen};
use super::pair::{NoMatch, PairEstimate, QUARTZ_RATE, Transformed, estimate, shaped};
use super::signal::Signal;
use super::steps::{ALLOWANCE_S, LOCKED_HALF_S, Steps, USUAL_RATE, lag_of_steps};
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
/// Uncertainty given to every window of one strap, s: only that it is the same matters.
const EVEN_S: f64 = 0.15;
/// A rate error counts beyond this many standard errors.
const SKEW_Z: f64 = 2.0;
/// A rate this many standard deviations from what quartz clocks differ by is no quartz clock's, and
/// is taken as it was measured.
const STRANGE_Z: f64 = 2.6;
/// ... where it is also this many standard errors: few windows throw wild rates now and then.
const STRANGE_SE: f64 = 4.0;
/// Normal quantile of a two-sided 95 % interval.
const Z_95: f64 = 1.959_964;

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
    /// 95 % interval of the shift at the line's middle, relative to it, without the allowance, s.
    pub interval_s: Option<[f64; 2]>,
    /// Half-width allowed for what no column shows, s.
    pub allowance_s: f64,
    /// 95 % half-width of the rate, about the line's.
    pub rate_half: Option<f64>,
    /// Seconds in common.
    pub overlap_s: f64,
    /// Where one of the two clocks jumps.
    pub jump: Option<Jump>,
    pub r: f64,
    /// Reasons not to rely on it.
    pub doubts: Vec<String>,
    /// What it rests on.
    pub basis: String,
}

impl Match {
    /// Whether it can be relied on.
    pub fn sure(&self) -> bool {
        self.doubts.is_empty() && self.jump.is_none()
    }

    /// How far off the shift may be at the ends of the ride, s.
    pub fn error_at_ends_s(&self) -> f64 {
        let middle_s = self.interval_s.map_or(f64::INFINITY, half);
        let tilt_s = self.rate_half.map(|rate| rate * 0.5 * self.overlap_s);
        middle_s.hypot(tilt_s.unwrap_or(f64::INFINITY))
    }
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
    let channel = found[index].0;
    let sides = [(a.signal)(channel), (b.signal)(channel)].map(|side| Some(side?.0));
    let mut concluded = conclude(&found, index, grade, sides);
    let held_s = sides.into_iter().flatten().map(|signal| signal.held_s);
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

/// The match on the channel at `index`, whose two signals are `sides`, with the rate from all channels
/// that show the same match.
fn conclude(
    found: &[(Channel, PairEstimate)],
    index: usize,
    grade: Grade,
    sides: [Option<&Signal>; 2],
) -> Match {
    let (channel, chosen) = &found[index];
    let difference = |other: &PairEstimate| {
        let at_s = chosen.line.at_s;
        other.line.at(at_s) - chosen.line.offset_s
    };
    let jump = jump_of(found, index);
    let mut points: Vec<Point> = found
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
    let mut index = index;
    if let Some(jump) = jump {
        let sets = 2 * found.len();
        for point in points.iter_mut().filter(|p| p.at_s > jump.at_s) {
            point.set += sets;
        }
        let told = |set: usize| points.iter().filter(|p| p.set == set).count();
        if told(index + sets) > told(index) {
            index += sets;
        }
    }
    let slope = theil_sen(&points).unwrap_or(0.0);
    let spread_of_windows = spread(&points, index, slope);
    let mut line = match spread_of_windows {
        Some(spread) => Line {
            slope: believed_rate(spread.line.slope, spread.slope_se),
            ..spread.line
        },
        None => line_with_slope(&points, index, 0.0).unwrap_or(chosen.line),
    };
    // What the rate may be off by: its error and what was taken from it.
    let rate_half = spread_of_windows
        .map(|spread| Z_95 * spread.slope_se.hypot(spread.line.slope - line.slope));
    let mut interval_s = spread_of_windows.map(|spread| with_sampling(spread.offset_s));
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
    let mut locked = false;
    if grade == Grade::OneStrap {
        // A jump moves the steps too, and says more.
        let steps = steps_along(sides, line).filter(|_| jump.is_none());
        let even = evenly(&points, index, line.slope);
        locked = steps.is_some_and(|(steps, _)| steps.locked);
        doubts.extend(steps.and_then(|(steps, _)| strap_doubt(steps)));
        let of_steps = steps.map(|(steps, line)| (line, [-steps.half, steps.half]));
        let best = [of_steps, even].into_iter().flatten();
        if let Some((found, interval)) = best.min_by(|x, y| half(x.1).total_cmp(&half(y.1))) {
            line = found;
            interval_s = Some(interval);
        }
        if locked {
            interval_s = Some([-LOCKED_HALF_S, LOCKED_HALF_S]);
        }
    }
    let allowance_s = if grade == Grade::OneStrap {
        ALLOWANCE_S
    } else {
        0.0
    };
    match interval_s.map(|interval| half(interval).hypot(allowance_s)) {
        None => doubts.push("too short for an uncertainty".to_owned()),
        Some(half_s) if half_s > FLAT_S && !locked => doubts.push(format!(
            "the peak of {} is flat: the offset is known to {half_s:.1} s only",
            channel.name()
        )),
        Some(_) => {}
    }
    let overlap_s = f64::from(chosen.pairs);
    if let Some(half) = rate_half {
        let ends_s = half * 0.5 * overlap_s;
        if ends_s > FLAT_S {
            doubts.push(format!(
                "the rate is known to ±{:.0} ppm only: towards the ends of the ride the offset may be \
                 {ends_s:.1} s off",
                half * 1e6
            ));
        }
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
        allowance_s,
        rate_half,
        overlap_s,
        jump,
        r: chosen.r,
        doubts,
        basis: basis(grade, line.slope),
    }
}

/// The jump that the channel at `index` shows, or else one that cadence or heart rate shows: the delay
/// of power is its device's too.
fn jump_of(found: &[(Channel, PairEstimate)], index: usize) -> Option<Jump> {
    let others = found
        .iter()
        .filter(|(channel, other)| *channel != Channel::Power && other.rival.is_none());
    let all = found.get(index).into_iter().chain(others);
    all.filter_map(|(_, estimate)| estimate.jump).next()
}

/// The wider side of an interval about nought.
fn half([low, high]: [f64; 2]) -> f64 {
    high.max(-low)
}

fn with_sampling(interval_s: [f64; 2]) -> [f64; 2] {
    interval_s.map(|edge| edge.signum() * edge.hypot(SAMPLING_S))
}

/// The line through the windows of one strap with equal weights, and its interval: a window whose few
/// steps agree by chance is sharp and says a whole number.
fn evenly(points: &[Point], index: usize, slope: f64) -> Option<(Line, [f64; 2])> {
    let even = points.iter().map(|p| Point { sd_s: EVEN_S, ..*p });
    let even: Vec<Point> = even.filter(|p| p.set == index).collect();
    let spread = spread(&even, index, slope)?;
    let line = Line {
        slope,
        ..spread.line
    };
    Some((line, with_sampling(spread.offset_s)))
}

/// The line through what the steps of one strap tell of the offset, with the rate of `line`.
fn steps_along(sides: [Option<&Signal>; 2], line: Line) -> Option<(Steps, Line)> {
    let [Some(a), Some(b)] = sides else {
        return None;
    };
    let shift_s = b.start_s - a.start_s;
    let near = |i: f64| line.at(a.start_s + i) - shift_s;
    let steps = lag_of_steps(&a.values, &b.values, &near, line.slope)?;
    let line = Line {
        at_s: a.start_s + steps.at,
        offset_s: steps.lag + shift_s,
        slope: line.slope,
    };
    Some((steps, line))
}

/// What the steps show of the strap that makes the offset uncertain.
fn strap_doubt(steps: Steps) -> Option<String> {
    if steps.locked {
        Some(format!(
            "every change of heart rate comes a whole number of seconds later: a strap that sends once a \
             second looks like this, and leaves the offset open to ±{LOCKED_HALF_S:.1} s"
        ))
    } else {
        steps.stairs.then(|| {
            "the delay of heart rate moves in stairs: a strap that sends on a timer looks like this, \
             and the offset may be off by as much as its period"
                .to_owned()
        })
    }
}

/// The rate to go on with: none where it is not significant, else drawn towards none as far as its
/// uncertainty allows (the mean of the rate given `slope`, both normal); one that is no quartz clock's
/// is taken as it is.
fn believed_rate(slope: f64, se: f64) -> f64 {
    if slope.abs() <= SKEW_Z * se {
        0.0
    } else if slope.abs() > (STRANGE_Z * se.hypot(USUAL_RATE)).max(STRANGE_SE * se) {
        slope
    } else {
        slope / (1.0 + (se / USUAL_RATE).powi(2))
    }
}

fn basis(grade: Grade, rate: f64) -> String {
    let basis = match grade {
        Grade::OneStrap => format!(
            "one heart-rate strap heard by both recorders; ±{ALLOWANCE_S} s is allowed for recorders that are \
             late by a constant, which no column shows"
        ),
        Grade::TwoHearts => "heart rate of two sensors".to_owned(),
        Grade::Cadence => "cadence, taken to have no lag of its own".to_owned(),
        Grade::CadenceSmoothed | Grade::CadenceUnproven | Grade::PowerUnderTest => String::new(),
        Grade::PowerOfMeters => {
            "power of two meters on the bicycle, taken to have no lag".to_owned()
        }
    };
    if rate.abs() <= QUARTZ_RATE {
        return basis;
    }
    format!(
        "{basis}; rates {:.0} ppm apart are beyond quartz clocks",
        rate.abs() * 1e6
    )
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
