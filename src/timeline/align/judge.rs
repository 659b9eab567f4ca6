//! Two recordings compared on every channel that both carry: which one is believed, and why the
//! result may not be.

use super::jump::Jump;
use super::line::{Line, Point, Spread, line_with_slope, spread, theil_sen};
use super::pair::{NoMatch, PairEstimate, QUARTZ_RATE, Transformed, estimate, shaped};
use super::signal::Signal;
use super::steps::{ALLOWANCE_S, USUAL_RATE};
use super::strap::{at_least, half, of_strap, with_sampling};
use super::timer::Timer;
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
    /// One heart-rate strap whose steps leave the fraction of a second open.
    OpenStrap,
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
    /// What the steps of one strap show of a timer.
    pub timer: Option<Timer>,
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
    /// The match on a sharp cadence, for a strap that turns out to leave the fraction of a second open.
    pub instead: Option<Box<Match>>,
}

impl Match {
    /// Whether it can be relied on.
    pub fn sure(&self) -> bool {
        self.doubts.is_empty() && self.jump.is_none()
    }

    /// Doubts a match on a strap that looks like one of once a second between other recorders, or goes
    /// over to cadence.
    pub fn doubt_strap(&mut self) {
        if let Some(instead) = self.instead.take() {
            *self = *instead;
        } else if self.grade == Grade::OneStrap && self.jump.is_none() {
            self.grade = Grade::OpenStrap;
            let half_s = Timer::Second.half_s();
            self.interval_s = self.interval_s.map(|interval| at_least(interval, half_s));
            self.doubts.push(format!(
                "between other recorders the strap looks like one that sends once a second, and then the \
                 fraction of a second cannot be told (up to {half_s:.1} s)"
            ));
        }
    }

    /// Ranks a strap that leaves part of a second open below cadence, and goes over to that where it is
    /// sharp.
    fn go_over_where_open(&mut self) {
        if self.timer.is_none() {
            return;
        }
        self.grade = Grade::OpenStrap;
        if let Some(instead) = self.instead.take() {
            let timer = self.timer;
            *self = Match { timer, ..*instead };
        }
    }

    /// Doubts values that one of the two sides wrote only on change, and widens the interval by their
    /// age.
    fn allow_for_held_values(&mut self, sides: [Option<&Signal>; 2]) {
        let held_s = sides.into_iter().flatten().map(|signal| signal.held_s);
        let late_s = held_s.fold(0.0, f64::max);
        if late_s <= FLAT_S {
            return;
        }
        self.doubts.push(format!(
            "one recorder writes only on change: its values of {} are {late_s:.1} s old on average, and \
             what changed meanwhile shows late",
            self.channel.name()
        ));
        let wider = |edge: f64| edge.signum() * edge.hypot(late_s);
        self.interval_s = self.interval_s.map(|ends| ends.map(wider));
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
    let graded = found.iter().map(|(channel, estimate)| {
        let ((x, _), (y, _)) = ((a.signal)(*channel)?, (b.signal)(*channel)?);
        Some(grade(*channel, estimate, x, y, a.meter && b.meter))
    });
    let grades: Vec<Option<Grade>> = graded.collect();
    let clear = |index: &usize| found[*index].1.rival.is_none();
    let best = (0..found.len()).max_by_key(|index| (clear(index), grades[*index]));
    let Some((index, grade)) = best.and_then(|index| Some((index, grades[index]?))) else {
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
    let sides =
        |channel: Channel| [(a.signal)(channel), (b.signal)(channel)].map(|side| Some(side?.0));
    let sharp = grades.iter().position(|of| *of == Some(Grade::Cadence));
    let sharp = sharp.and_then(|index| found.get(index));
    let own = sides(found[index].0);
    let mut concluded = conclude(&found, index, grade, (own, sharp));
    concluded.allow_for_held_values(own);
    if grade == Grade::OneStrap {
        let on_cadence = sharp.and_then(|cadence| without_strap(&found, cadence));
        concluded.instead = on_cadence.map(|mut on_cadence| {
            on_cadence.allow_for_held_values(sides(Channel::Cadence));
            Box::new(on_cadence)
        });
        concluded.go_over_where_open();
    }
    Ok(concluded)
}

/// The match on a sharp cadence with nothing from the strap, where the two tell of one shift and no
/// clock jumps.
fn without_strap(
    found: &[(Channel, PairEstimate)],
    (_, cadence): &(Channel, PairEstimate),
) -> Option<Match> {
    let agree = |(_, other): &(Channel, PairEstimate)| {
        let by_s = cadence.line.offset_s - other.line.at(cadence.line.at_s);
        other.jump.is_none() && by_s.abs() <= DISAGREE_S
    };
    let mut straps = found.iter().filter(|(c, _)| *c == Channel::HeartRate);
    if cadence.rival.is_some() || cadence.jump.is_some() || !straps.all(agree) {
        return None;
    }
    let others = found.iter().filter(|(c, _)| *c != Channel::HeartRate);
    let others: Vec<(Channel, PairEstimate)> = others.cloned().collect();
    let index = others.iter().position(|(c, _)| *c == Channel::Cadence)?;
    let mut on_cadence = conclude(&others, index, Grade::Cadence, ([None, None], None));
    on_cadence
        .basis
        .push_str("; one heart-rate strap agrees, and leaves a fraction of a second open");
    Some(on_cadence)
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
/// that show the same match. `sharp` is the match on cadence, if that has no lag of its own.
fn conclude(
    found: &[(Channel, PairEstimate)],
    index: usize,
    grade: Grade,
    (sides, sharp): ([Option<&Signal>; 2], Option<&(Channel, PairEstimate)>),
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
    let (own, sets) = (index, 2 * found.len());
    let mut index = index;
    if let Some(jump) = jump {
        for point in points.iter_mut().filter(|p| p.at_s > jump.at_s) {
            point.set += sets;
        }
        let agreeing = |set: usize| points.iter().filter(|p| p.set == set).count();
        if agreeing(index + sets) > agreeing(index) {
            index += sets;
        }
    }
    let slope = theil_sen(&points).unwrap_or(0.0);
    let spread_of_windows = spread(&points, index, slope);
    let mut line = match spread_of_windows {
        Some(spread) => Line {
            slope: Rate::of(spread).believed,
            ..spread.line
        },
        None => line_with_slope(&points, index, 0.0).unwrap_or(chosen.line),
    };
    let mut rate_half = spread_of_windows.map(|spread| Rate::of(spread).half);
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
    let (mut timer, mut open) = (None, false);
    if grade == Grade::OneStrap {
        let others = points.iter().filter(|p| p.set % sets != own);
        let others = rate_of(&others.copied().collect::<Vec<Point>>());
        let strap = of_strap(
            sides,
            (&points, index),
            line,
            (others.believed, others.sd),
            jump,
        );
        (line, interval_s) = (strap.line, strap.interval_s.or(interval_s));
        timer = strap.timer;
        if timer.is_some_and(Timer::of_a_second) {
            // Its lags drift as they please.
            line.slope = others.believed;
            rate_half = Some(others.half);
        }
        open = timer.is_some();
        doubts.extend(timer.map(Timer::doubt));
    }
    let allowance_s = if grade == Grade::OneStrap {
        ALLOWANCE_S
    } else {
        0.0
    };
    let contradiction = match (grade, jump, sharp) {
        (Grade::OneStrap, None, Some((_, cadence))) => {
            contradiction(cadence, line, interval_s, allowance_s)
        }
        _ => None,
    };
    if let Some(by_s) = contradiction {
        doubts.push(format!(
            "cadence says {by_s:+.1} s more than heart rate: a strap that sends once a second looks like \
             this, or one cadence is late"
        ));
        let half_s = Timer::Whole.half_s().max(by_s.abs());
        interval_s = interval_s.map(|interval| at_least(interval, half_s));
        open = true;
    }
    match interval_s.map(|interval| half(interval).hypot(allowance_s)) {
        None => doubts.push("too short for an uncertainty".to_owned()),
        Some(half_s) if half_s > FLAT_S && !open => doubts.push(format!(
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
        Grade::PowerOfMeters | Grade::Cadence | Grade::OneStrap | Grade::OpenStrap => {}
    }
    for (other, estimate) in found {
        let by_s = difference(estimate);
        let limit_s = match (*channel, *other) {
            (Channel::HeartRate, Channel::Cadence) | (Channel::Cadence, Channel::HeartRate) => {
                DISAGREE_S
            }
            _ => SAME_MATCH_S,
        };
        let agreeing = contradiction.is_some() && *other == Channel::Cadence;
        if estimate.rival.is_none() && by_s.abs() > limit_s && other != channel && !agreeing {
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
        timer,
        rate_half,
        overlap_s,
        jump,
        r: chosen.r,
        doubts,
        basis: basis(grade, line.slope, sharp.is_none()),
        instead: None,
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

/// By how much the shift of a sharp cadence differs from `line`, s, where that is more than both may be
/// off by.
fn contradiction(
    cadence: &PairEstimate,
    line: Line,
    interval_s: Option<[f64; 2]>,
    allowance_s: f64,
) -> Option<f64> {
    if cadence.rival.is_some() {
        return None;
    }
    let own_s = half(with_sampling(
        spread(&cadence.points, 0, line.slope)?.offset_s,
    ));
    let may_s = half(interval_s?).hypot(allowance_s).hypot(own_s);
    let by_s = cadence.line.at(line.at_s) - line.offset_s;
    (may_s..SAME_MATCH_S).contains(&by_s.abs()).then_some(by_s)
}

/// The rate of one clock against another.
#[derive(Clone, Copy, Debug)]
struct Rate {
    /// The rate to go on with: none where it is not significant, else drawn towards none as far as its
    /// uncertainty allows (the mean of the rate given the slope, both normal); one that is no quartz
    /// clock's is taken as it is.
    believed: f64,
    /// Its standard uncertainty.
    sd: f64,
    /// 95 % half-width of the measured slope, with what was taken from it.
    half: f64,
}

impl Rate {
    /// Of two quartz clocks of which nothing is known.
    const UNKNOWN: Self = Self {
        believed: 0.0,
        sd: USUAL_RATE,
        half: Z_95 * USUAL_RATE,
    };

    fn of(spread: Spread) -> Self {
        let (slope, se) = (spread.line.slope, spread.slope_se);
        let held_back = 1.0 + (se / USUAL_RATE).powi(2);
        let (mean, sd) = (slope / held_back, se / held_back.sqrt());
        let (believed, sd) = if slope.abs() <= SKEW_Z * se {
            (0.0, sd.hypot(mean))
        } else if slope.abs() > (STRANGE_Z * se.hypot(USUAL_RATE)).max(STRANGE_SE * se) {
            (slope, se)
        } else {
            (mean, sd)
        };
        Self {
            believed,
            sd,
            half: Z_95 * se.hypot(slope - believed),
        }
    }
}

/// The rate that points tell, whatever their sets' offsets.
fn rate_of(points: &[Point]) -> Rate {
    let agreeing = |set: usize| points.iter().filter(|p| p.set == set).count();
    let most = points
        .iter()
        .map(|p| p.set)
        .max_by_key(|set| agreeing(*set));
    let spread = most.and_then(|set| spread(points, set, theil_sen(points).unwrap_or(0.0)));
    spread.map_or(Rate::UNKNOWN, Rate::of)
}

fn basis(grade: Grade, rate: f64, strap_alone: bool) -> String {
    let basis = match grade {
        Grade::OneStrap | Grade::OpenStrap => {
            let alone = match strap_alone {
                true => format!(
                    "; nor would one show a strap that sends once a second and is heard after varying \
                     delays, which leaves up to {:.1} s open",
                    Timer::Second.half_s()
                ),
                false => String::new(),
            };
            format!(
                "one heart-rate strap heard by both recorders; ±{ALLOWANCE_S} s is allowed for recorders \
                 that are late by a constant, which no column shows{alone}"
            )
        }
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
    let problems: Vec<String> = failed
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
    problems.join("; ")
}
