//! All recordings onto session time.

use std::collections::HashMap;

use rayon::prelude::*;

use super::judge::{CHANNELS, Grade, Match, Side, compare};
use super::line::Line;
use super::response::delay;
use super::signal::Signal;
use super::timer::Timer;
use super::{Alignment, Options, ResponseLag, Source, StreamClock};
use crate::recording::Channel;
use crate::session::{MatchedOn, Role, Site};
use crate::timeline::Clock;
use crate::timeline::delay::{Correlation, Correlator, Spectra};

/// A recording: the sources in it, and what stands for it in comparisons.
struct Node {
    members: Vec<usize>,
    /// Whose signal stands for each channel.
    chosen: HashMap<Channel, usize>,
    meter: bool,
    absolute: bool,
    /// The clock, where it is not to be estimated.
    fixed: Option<Clock>,
}

/// A recorder clock as found: how it maps to session time, and over which matches.
#[derive(Clone, Debug)]
struct Placed {
    /// Session time of the recorder time `at_s`, s.
    session_s: f64,
    at_s: f64,
    /// Session seconds a recorder second.
    rate: f64,
    /// The matches on the way from the recording that defines session time.
    way: Vec<usize>,
}

impl Placed {
    fn of(clock: Clock, at_s: f64) -> Self {
        Self {
            session_s: clock.to_session(at_s),
            at_s,
            rate: 1.0 + clock.skew_ppm * 1e-6,
            way: Vec::new(),
        }
    }

    fn session_of(&self, recorder_s: f64) -> f64 {
        self.session_s + self.rate * (recorder_s - self.at_s)
    }

    fn recorder_of(&self, session_s: f64) -> f64 {
        self.at_s + (session_s - self.session_s) / self.rate
    }
}

struct Edge {
    a: usize,
    b: usize,
    found: Match,
}

/// Finds the clock of every source against session time, which is that of the first source.
///
/// Never fails: what could not be aligned keeps its clock, with the reason beside it.
pub fn align(sources: &[Source], options: Options) -> Alignment {
    let signals = signals_of(sources);
    let nodes = nodes_of(sources, &signals, options);
    let (mut edges, failures) = compare_all(&nodes, &signals, options);
    // All recorders of a ride hear the same strap.
    let shown = |edge: &Edge| edge.found.timer.is_some_and(Timer::shown);
    if edges.iter().any(shown) {
        edges.iter_mut().for_each(|edge| edge.found.doubt_strap());
    }
    let placed = place(sources, &nodes, &edges);
    let streams = (0..sources.len())
        .map(|index| describe(index, sources, &nodes, &edges, &placed, &failures))
        .collect();
    Alignment {
        streams,
        response_lags: response_lags(sources, &signals, &nodes, &edges, &placed),
    }
}

type Signals = HashMap<(usize, Channel), Signal>;

fn signals_of(sources: &[Source]) -> Signals {
    let keys: Vec<(usize, Channel)> = (0..sources.len())
        .flat_map(|index| CHANNELS.map(|channel| (index, channel)))
        .collect();
    keys.into_par_iter()
        .filter_map(|(index, channel)| {
            let source = &sources[index];
            let signal = Signal::new(source.samples, channel, source.sampling)?;
            Some(((index, channel), signal))
        })
        .collect()
}

fn nodes_of(sources: &[Source], signals: &Signals, options: Options) -> Vec<Node> {
    let mut nodes: Vec<Node> = Vec::new();
    let mut of_recording: HashMap<usize, usize> = HashMap::new();
    for (index, source) in sources.iter().enumerate() {
        let node = *of_recording.entry(source.recording).or_insert_with(|| {
            nodes.push(Node {
                members: Vec::new(),
                chosen: HashMap::new(),
                meter: false,
                absolute: source.absolute,
                // The first source defines session time: its clock is what it is.
                fixed: (index == 0).then_some(source.clock),
            });
            nodes.len() - 1
        });
        if source.given && !options.again && nodes[node].fixed.is_none() {
            nodes[node].fixed = Some(source.clock);
        }
        nodes[node].members.push(index);
    }
    for node in &mut nodes {
        for channel in CHANNELS {
            let best = node
                .members
                .iter()
                .copied()
                .filter(|&index| signals.contains_key(&(index, channel)))
                .max_by_key(|&index| (is_meter(&sources[index]), std::cmp::Reverse(index)));
            if let Some(best) = best {
                node.chosen.insert(channel, best);
            }
        }
        node.meter = node
            .chosen
            .get(&Channel::Power)
            .is_some_and(|&index| is_meter(&sources[index]));
    }
    nodes
}

/// Whether the power is that of a meter on the bicycle that is not in question.
fn is_meter(source: &Source) -> bool {
    source.role != Role::UnderTest
        && matches!(source.site, Some(Site::Pedal | Site::Crank | Site::Hub))
}

/// Compares all pairs of recordings, except two whose clocks are both fixed.
fn compare_all(
    nodes: &[Node],
    signals: &Signals,
    options: Options,
) -> (Vec<Edge>, HashMap<usize, String>) {
    let channels: Vec<Channel> = match options.on {
        Some(channel) => vec![channel],
        None => CHANNELS.to_vec(),
    };
    let mut lengths: Vec<usize> = signals.values().map(|s| s.values.len()).collect();
    lengths.sort_unstable_by(|x, y| y.cmp(x));
    let longest = lengths.first().copied().unwrap_or(0);
    let second = lengths.get(1).copied().unwrap_or(0);
    let correlator = Correlator::for_all_lags(longest, second);
    let chosen: Vec<(usize, Channel)> = nodes
        .iter()
        .flat_map(|node| {
            channels
                .iter()
                .filter_map(|c| Some((*node.chosen.get(c)?, *c)))
        })
        .collect();
    let spectra: HashMap<(usize, Channel), Spectra> = chosen
        .into_par_iter()
        .map_init(
            || correlator.clone(),
            |correlator, key| Some((key, signals.get(&key)?.transform(correlator)?)),
        )
        .flatten()
        .collect();
    let spectra = &spectra;
    let side = |node: usize| Side {
        signal: move |channel| {
            let index = *nodes[node].chosen.get(&channel)?;
            let signal = signals.get(&(index, channel))?;
            Some((signal, spectra.get(&(index, channel))))
        },
        meter: nodes[node].meter,
        absolute: nodes[node].absolute,
    };
    let free = |node: usize| nodes[node].fixed.is_none();
    let pairs: Vec<(usize, usize)> = (0..nodes.len())
        .flat_map(|a| (a + 1..nodes.len()).map(move |b| (a, b)))
        .filter(|(a, b)| free(*a) || free(*b))
        .collect();
    let compared: Vec<Result<Match, String>> = pairs
        .par_iter()
        .map_init(
            || (correlator.clone(), Correlation::default()),
            |(correlator, scratch), (a, b)| {
                compare(correlator, scratch, &side(*a), &side(*b), &channels)
            },
        )
        .collect();
    let mut edges = Vec::new();
    let mut failures: HashMap<usize, String> = HashMap::new();
    for ((a, b), compared) in pairs.into_iter().zip(compared) {
        match compared {
            Ok(found) => edges.push(Edge { a, b, found }),
            Err(why) => {
                for node in [a, b] {
                    failures.entry(node).or_insert_with(|| why.clone());
                }
            }
        }
    }
    (edges, failures)
}

/// Joins the recordings by their best matches and walks outward from those whose clock is known.
fn place(sources: &[Source], nodes: &[Node], edges: &[Edge]) -> Vec<Option<Placed>> {
    let mut order: Vec<usize> = (0..edges.len()).collect();
    order.sort_by(|&x, &y| {
        let key = |i: usize| {
            let found = &edges[i].found;
            (!found.ambiguous, found.grade, found.jump.is_none())
        };
        let width = |i: usize| edges[i].found.error_at_ends_s();
        key(y).cmp(&key(x)).then(width(x).total_cmp(&width(y)))
    });
    let mut component: Vec<usize> = (0..nodes.len()).collect();
    let join = |component: &mut Vec<usize>, a: usize, b: usize| {
        let (from, to) = (component[b], component[a]);
        let apart = from != to;
        for entry in component.iter_mut().filter(|entry| **entry == from) {
            *entry = to;
        }
        apart
    };
    let mut placed: Vec<Option<Placed>> = vec![None; nodes.len()];
    let mut first_fixed = None;
    for (index, node) in nodes.iter().enumerate() {
        if let Some(clock) = node.fixed {
            let at_s = node
                .members
                .iter()
                .find_map(|&m| sources[m].samples.time_s().first().copied());
            placed[index] = Some(Placed::of(clock, at_s.unwrap_or(clock.zero_s)));
            join(&mut component, *first_fixed.get_or_insert(index), index);
        }
    }
    let tree: Vec<usize> = order
        .into_iter()
        .filter(|&i| join(&mut component, edges[i].a, edges[i].b))
        .collect();
    let mut moved = true;
    while moved {
        moved = false;
        for &i in &tree {
            let (a, b) = (edges[i].a, edges[i].b);
            let (known, new) = match (&placed[a], &placed[b]) {
                (Some(_), None) => (a, b),
                (None, Some(_)) => (b, a),
                _ => continue,
            };
            if let Some(from) = &placed[known] {
                placed[new] = Some(step(from, edges[i].found.line, known == a, i));
                moved = true;
            }
        }
    }
    placed
}

/// The clock at the far end of a match.
fn step(from: &Placed, line: Line, forward: bool, edge: usize) -> Placed {
    let mut way = from.way.clone();
    way.push(edge);
    let rate_b_per_a = 1.0 + line.slope;
    let (near_s, far_s) = (line.at_s, line.at_s + line.offset_s);
    if forward {
        Placed {
            session_s: from.session_of(near_s),
            at_s: far_s,
            rate: from.rate / rate_b_per_a,
            way,
        }
    } else {
        Placed {
            session_s: from.session_of(far_s),
            at_s: near_s,
            rate: from.rate * rate_b_per_a,
            way,
        }
    }
}

/// `value` to the nearest `1/parts`, so that a session file holds no digits without meaning.
fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

fn matched_on(channel: Channel) -> MatchedOn {
    match channel {
        Channel::HeartRate => MatchedOn::HeartRate,
        Channel::Cadence => MatchedOn::Cadence,
        _ => MatchedOn::Power,
    }
}

fn describe(
    index: usize,
    sources: &[Source],
    nodes: &[Node],
    edges: &[Edge],
    placed: &[Option<Placed>],
    failures: &HashMap<usize, String>,
) -> StreamClock {
    let source = &sources[index];
    let mut out = StreamClock {
        label: source.label.to_owned(),
        offset_s: source.clock.offset_s,
        skew_ppm: source.clock.skew_ppm,
        offset_ci95_s: None,
        allowance_s: 0.0,
        mid_ride_ci95_s: None,
        skew_ci95_ppm: None,
        matched_on: MatchedOn::Clock,
        peak_correlation: None,
        confident: false,
        reason: String::new(),
        estimated: false,
    };
    let Some(node) = nodes.iter().position(|node| node.members.contains(&index)) else {
        return out;
    };
    if index == 0 {
        out.confident = true;
        out.reason = "defines session time".to_owned();
        return out;
    }
    if source.given && nodes[node].fixed == Some(source.clock) {
        out.matched_on = MatchedOn::Given;
        out.confident = true;
        out.reason = "set by hand".to_owned();
        return out;
    }
    if source.samples.is_empty() {
        out.reason = "no samples; the offset is left as it was".to_owned();
        return out;
    }
    let Some(place) = &placed[node] else {
        let why = failures
            .get(&node)
            .map_or("there is no other recording to match with", String::as_str);
        out.reason = format!("{why}; the offset is left as it was");
        return out;
    };
    out.estimated = true;
    // The rate first: the offset at the clock's zero, which may be hours away, goes with it.
    out.skew_ppm = rounded((place.rate - 1.0) * 1e6, 1e3);
    let clock = Clock {
        zero_s: source.clock.zero_s,
        offset_s: 0.0,
        skew_ppm: out.skew_ppm,
    };
    out.offset_s = rounded(place.session_s - clock.to_session(place.at_s), 1e4);
    if place.way.is_empty() {
        // In one recording with the first source, or with one set by hand.
        out.confident = true;
        let first = nodes[node].members.first().copied().unwrap_or(index);
        out.reason = format!("in one recording with “{}”", sources[first].label);
        if sources[first].given && first != 0 {
            out.matched_on = MatchedOn::Given;
        }
        return out;
    }
    let way: Vec<&Match> = place.way.iter().map(|&i| &edges[i].found).collect();
    let weakest = way
        .iter()
        .min_by_key(|found| (found.sure(), !found.ambiguous, found.grade));
    let Some(weakest) = weakest else {
        return out;
    };
    out.matched_on = matched_on(weakest.channel);
    out.peak_correlation = Some(weakest.r);
    let legs: Vec<Leg> = place
        .way
        .iter()
        .filter_map(|&i| Leg::of(&edges[i], placed, &clock_of(&out, source)))
        .collect();
    if legs.len() == place.way.len() {
        out.describe_error(&legs);
    }
    let mut doubts: Vec<String> = way.iter().flat_map(|found| found.doubts.clone()).collect();
    doubts.extend(place.way.iter().filter_map(|&i| {
        let [a, b] = [edges[i].a, edges[i].b].map(|n| nodes[n].members[0]);
        jump_doubt(&edges[i], placed, [sources[a].label, sources[b].label])
    }));
    out.confident = doubts.is_empty();
    out.reason = if doubts.is_empty() {
        weakest.basis.clone()
    } else {
        doubts.join("; ")
    };
    out
}

/// The error of one match on the way to a stream.
struct Leg {
    /// 95 % interval of its offset at mid-ride, relative to it, without the allowance, s.
    interval_s: [f64; 2],
    allowance_s: f64,
    /// 95 % half-width of its rate.
    rate_half: f64,
    /// From the match's middle to the moment at which the stream's offset holds, s.
    away_s: f64,
}

impl Leg {
    fn of(edge: &Edge, placed: &[Option<Placed>], clock: &Clock) -> Option<Self> {
        let near = placed[edge.a].as_ref()?;
        // The offset is the session time at which the stream's recorder shows its zero.
        let at_s = near.recorder_of(clock.offset_s);
        Some(Self {
            interval_s: edge.found.interval_s?,
            allowance_s: edge.found.allowance_s,
            rate_half: edge.found.rate_half?,
            away_s: (at_s - edge.found.line.at_s).abs(),
        })
    }
}

impl StreamClock {
    /// The intervals, from the matches on the way. Their errors are independent but for the allowance:
    /// a recorder in the middle that is late is so for both of its matches.
    fn describe_error(&mut self, legs: &[Leg]) {
        let root = |of: &dyn Fn(&Leg) -> f64| legs.iter().map(|leg| of(leg).powi(2)).sum::<f64>();
        let allowance_s = legs.iter().map(|leg| leg.allowance_s).fold(0.0, f64::max);
        let rate_half = root(&|leg| leg.rate_half).sqrt();
        let random_s = [0, 1].map(|side| root(&|leg| leg.interval_s[side]));
        let tilt_s = root(&|leg| leg.rate_half * leg.away_s);
        let half_s = random_s.map(|random| (random + tilt_s + allowance_s.powi(2)).sqrt());
        self.allowance_s = allowance_s;
        let about = |middle_s: f64, half_s: [f64; 2]| {
            Some([middle_s - half_s[0], middle_s + half_s[1]].map(|edge| rounded(edge, 1e4)))
        };
        self.offset_ci95_s = about(self.offset_s, half_s);
        self.mid_ride_ci95_s = about(0.0, random_s.map(f64::sqrt));
        self.skew_ci95_ppm =
            Some([-1.0, 1.0].map(|side| rounded(self.skew_ppm + side * rate_half * 1e6, 1e3)));
    }
}

/// The clock that `found` gives to `source`.
fn clock_of(found: &StreamClock, source: &Source) -> Clock {
    Clock {
        zero_s: source.clock.zero_s,
        offset_s: found.offset_s,
        skew_ppm: found.skew_ppm,
    }
}

/// Names the jump of a match, if it has one, in session time.
fn jump_doubt(edge: &Edge, placed: &[Option<Placed>], labels: [&str; 2]) -> Option<String> {
    let jump = edge.found.jump?;
    let at_s = placed[edge.a].as_ref()?.session_of(jump.at_s);
    let (ahead, behind) = if jump.by_s > 0.0 {
        (labels[1], labels[0])
    } else {
        (labels[0], labels[1])
    };
    Some(format!(
        "a clock jumps: at about {at_s:.0} s of session time that of {ahead} moves ahead of that of \
         {behind} by {:.1} s, and the offset holds on one side of it only",
        jump.by_s.abs()
    ))
}

/// For each source under test, the delay of its power against each reference.
fn response_lags(
    sources: &[Source],
    signals: &Signals,
    nodes: &[Node],
    edges: &[Edge],
    placed: &[Option<Placed>],
) -> Vec<ResponseLag> {
    let node_of = |index: usize| nodes.iter().position(|node| node.members.contains(&index));
    let with = |role: Role| (0..sources.len()).filter(move |&i| sources[i].role == role);
    let mut out = Vec::new();
    for under_test in with(Role::UnderTest) {
        for reference in with(Role::Reference) {
            let (Some(x), Some(y), Some(nx), Some(ny)) = (
                signals.get(&(reference, Channel::Power)),
                signals.get(&(under_test, Channel::Power)),
                node_of(reference),
                node_of(under_test),
            ) else {
                continue;
            };
            let (Some(px), Some(py)) = (&placed[nx], &placed[ny]) else {
                continue;
            };
            let shift_at = |t: f64| py.recorder_of(px.session_of(t)) - t;
            let at_s = x.start_s + 0.5 * x.values.len() as f64;
            let clocks = Line {
                at_s,
                offset_s: shift_at(at_s),
                slope: px.rate / py.rate - 1.0,
            };
            // Matches that only one of the two ways goes over lie between the two.
            let mut between = px
                .way
                .iter()
                .chain(&py.way)
                .filter(|i| px.way.contains(i) != py.way.contains(i));
            let separable = between.all(|&i| {
                matches!(
                    edges[i].found.grade,
                    Grade::OneStrap | Grade::OpenStrap | Grade::Cadence | Grade::PowerOfMeters
                ) && !edges[i].found.ambiguous
            });
            let found = delay(x, y, clocks);
            let note = if separable {
                "delay of the device against the reference, beyond the clocks"
            } else {
                "not separable from the clock"
            };
            out.push(ResponseLag {
                label: sources[under_test].label.to_owned(),
                reference: sources[reference].label.to_owned(),
                delay_s: found.as_ref().map(|d| d.delay_s),
                delay_ci95_s: found.and_then(|d| d.ci95_s),
                separable,
                note: note.to_owned(),
            });
        }
    }
    out
}
