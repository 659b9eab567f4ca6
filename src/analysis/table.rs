//! The whole of `truing table`: every stream and every segment of a session.

use crate::analysis::figure::{Figure, OURS};
use rayon::prelude::*;
use serde::Serialize;

use super::agreement::compare_slices;
use super::error_curve::ErrorCurve;
use super::noted::{self, OneSided, ZeroChange};
use super::ride::{self, RideFindings};
use super::segment::{figures_with, live};
use super::verdict::overall;
use super::weights::{self, WeightsCheck};
use super::window::Window;
use super::{coverage, error_curve, mean_max, pooled};
use crate::analysis::agreement::LevelLine;
use crate::analysis::coverage::Band;
use crate::analysis::dropout::Dropout;
use crate::analysis::excursions::Excursion;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::mean_max::MeanMax;
use crate::analysis::pooled::Pooled;
use crate::analysis::verdict::overall::Family;
use crate::recording::Channel;
use crate::session::{CONSENSUS, Role, Segment, Session, Site};
use crate::stats;
use crate::timeline::{Aligned, Member, Span};

/// The whole of `truing table --format json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Table {
    /// The session's head.
    pub session: SessionHead,
    /// One entry a stream, in session order.
    pub streams: Vec<StreamHead>,
    /// Stretches of the ride in which the source under test left the references.
    pub excursions: Vec<Excursion>,
    /// One entry a segment, in time order.
    pub segments: Vec<SegmentFigures>,
    /// What the judged segments say together, one entry a source under test.
    pub families: Vec<Family>,
    /// The error against power over all blocks of held power, one entry a source under test: what
    /// they say together.
    pub error_curve: Vec<ErrorCurve>,
    /// Trueness against level over the ride, one entry a source under test and reference.
    pub levels: Vec<LevelLine>,
    /// Bias by band of power, cadence and wheel speed over the ride.
    pub bands: Vec<Band>,
    /// Agreement over all segments on which a claim is tested, one entry a source under test and
    /// reference, where there are two such segments.
    pub pooled: Vec<Pooled>,
}

impl Table {
    /// What all blocks say together of the source under test with this label.
    pub fn error_curve_of(&self, under_test: &str) -> Option<&ErrorCurve> {
        self.error_curve.iter().find(|c| c.under_test == under_test)
    }
}

/// Head of the session.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SessionHead {
    /// The title.
    pub title: String,
    /// Length of the grid, s.
    pub duration_s: f64,
    /// The claim under test.
    pub claim: crate::session::Claim,
    /// The loss expected between the sites; verdicts are on what it leaves of the bias.
    pub allowance: crate::session::Allowance,
    /// What to beware of in the clocks, a sentence each.
    pub clocks: Vec<String>,
}

/// One stream over the ride.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamHead {
    /// Label.
    pub label: String,
    /// Role.
    pub role: Role,
    /// Site.
    pub site: Option<Site>,
    /// Clock shift, s.
    pub offset_s: f64,
    /// Clock rate error, ppm.
    pub skew_ppm: f64,
    /// Samples recorded.
    pub samples: usize,
    /// Median interval between samples, s.
    pub median_interval_s: Option<f64>,
    /// Dropouts over the ride.
    pub dropouts: Vec<Dropout>,
    /// Mean-maximal power from 1 s to the ride's length; it never rises.
    pub mean_max: Vec<MeanMax>,
    /// The check with known masses, where readings are stated.
    pub weights: Option<WeightsCheck>,
    /// For a one-sided meter: the error by the balance of a two-sided one.
    pub one_sided: Option<OneSided>,
    /// Zero offsets before and after the ride, where noted.
    pub zero: Option<ZeroChange>,
}

/// Every figure of a session.
pub fn table(session: &Session, aligned: &Aligned) -> Table {
    table_with(session, aligned, &ride::findings(aligned))
}

/// [`table`], given what the whole ride shows.
pub fn table_with(session: &Session, aligned: &Aligned, found: &RideFindings) -> Table {
    let segments: Vec<SegmentFigures> = session
        .segments
        .par_iter()
        .enumerate()
        .map(|(index, segment)| figures_with(session, aligned, found, segment, index + 1))
        .collect();
    let error_curve = error_curve::error_curves(session, &segments);
    let families = error_curve
        .iter()
        .filter_map(|curve| overall::family(curve, &segments))
        .collect();
    let ride = Window::new(session, aligned, found, aligned.grid.span());
    Table {
        session: SessionHead {
            title: session.title.clone(),
            duration_s: aligned.grid.span().duration_s(),
            claim: session.claim,
            allowance: session.allowance(),
            clocks: session.clock_cautions(),
        },
        streams: heads(session, aligned, found),
        excursions: found.excursions_by_label(session),
        segments,
        families,
        error_curve,
        levels: levels(session, aligned, found),
        bands: bands(session, aligned, found),
        pooled: pooled::pooled(&ride, &session.segments),
    }
}

/// What all blocks of held power say together, one entry a source under test, without the figures
/// that it does not take.
pub fn error_curves(session: &Session, aligned: &Aligned, found: &RideFindings) -> Vec<ErrorCurve> {
    let live = |(at, segment): (usize, &Segment)| {
        let span = Span::new(segment.from_s, segment.to_s);
        let figures = live(session, aligned, found, span, segment.kind);
        SegmentFigures {
            id: at + 1,
            ..figures
        }
    };
    let segments: Vec<SegmentFigures> = session
        .segments
        .par_iter()
        .enumerate()
        .filter(|(_, segment)| segment.kind.spec().tests_claim)
        .map(live)
        .collect();
    error_curve::error_curves(session, &segments)
}

fn heads(session: &Session, aligned: &Aligned, found: &RideFindings) -> Vec<StreamHead> {
    session
        .streams
        .iter()
        .zip(&aligned.tracks)
        .enumerate()
        .map(|(index, (stream, track))| {
            let samples = track.source().samples();
            StreamHead {
                label: stream.label.clone(),
                role: stream.role,
                site: stream.site,
                offset_s: stream.offset_s,
                skew_ppm: stream.skew_ppm,
                samples: samples.map_or(0, |s| s.len()),
                median_interval_s: samples
                    .and_then(|s| s.median_interval_s())
                    .and_then(stats::finite),
                dropouts: found.dropouts.get(index).cloned().unwrap_or_default(),
                mean_max: track
                    .column(Channel::Power)
                    .map_or_else(Vec::new, |power| mean_max::curve(power, aligned.grid)),
                weights: weights::check(session, index),
                one_sided: noted::one_sided(session, aligned, index, 0..aligned.grid.len),
                zero: noted::zero_change(stream),
            }
        })
        .collect()
}

/// What a member is called.
fn name(session: &Session, member: Member) -> &str {
    match member {
        Member::Stream(index) => session.streams.get(index).map_or("?", |s| s.label.as_str()),
        Member::Consensus => CONSENSUS,
    }
}

/// Bias by band over the whole ride, against what verdicts rest on. Cadence and speed are those of
/// the first reference that has them, else of the source under test (wheel speed usually is).
fn bands(session: &Session, aligned: &Aligned, ride: &RideFindings) -> Vec<Band> {
    let Some(basis) = aligned.basis() else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for under_test in aligned.powered(Role::UnderTest) {
        let member = Member::Stream(under_test);
        let readings = |member| ride.readings(aligned, member);
        let (Some(x), Some(y)) = (readings(member), readings(basis)) else {
            continue;
        };
        let pair = coverage::Pair {
            under_test: name(session, member),
            reference: name(session, basis),
            x: &x,
            y: &y,
            step_s: aligned.grid.step_s,
        };
        found.extend(coverage::bands(pair, Channel::Power, &y));
        for channel in [Channel::Cadence, Channel::Speed] {
            if let Some(values) = operating_column(aligned, under_test, channel) {
                found.extend(coverage::bands(pair, channel, values));
            }
        }
    }
    found
}

/// The column of `channel` by which the ride is banded: of the first reference that carries it,
/// else of the source under test.
fn operating_column(aligned: &Aligned, under_test: usize, channel: Channel) -> Option<&[f64]> {
    let references = aligned.powered(Role::Reference);
    let mut candidates = references.chain(std::iter::once(under_test));
    candidates.find_map(|index| aligned.tracks.get(index)?.column(channel))
}

/// Trueness against level over the whole ride, each pair of a source and a reference: from seconds at
/// a level that the reference has kept, without dropouts and excursions. A line through a ride hangs on
/// its ends, and eight seconds of a phantom, or of lag in a sprint, would turn it.
fn levels(session: &Session, aligned: &Aligned, ride: &RideFindings) -> Vec<LevelLine> {
    let pairs = Aligned::comparisons(aligned);
    let line = |under_test: usize, reference: Member| {
        let member = Member::Stream(under_test);
        let mut x = ride.readings(aligned, member)?.into_owned();
        for span in ride.excursions.get(under_test)? {
            let rows = aligned.grid.rows(Span::new(span.from_s, span.to_s));
            x.get_mut(rows)?.fill(f64::NAN);
        }
        let mut y = ride.readings(aligned, reference)?.into_owned();
        let kept = coverage::kept_levels(&y, aligned.grid.step_s);
        for (value, level) in y.iter_mut().zip(kept) {
            if level.is_nan() {
                *value = f64::NAN;
            }
        }
        let compared = compare_slices(&x, &y);
        Some(compared.level_line(name(session, member), name(session, reference)))
    };
    let lines = pairs
        .iter()
        .map(|pair| line(pair.under_test, pair.reference));
    lines.flatten().collect()
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "session.title",
        label: "session",
        definition: "Title of the session.",
        csv: Some("session_title"),
        ..Figure::PLAIN
    },
    Figure {
        id: "session.duration_s",
        label: "duration",
        unit: "s",
        definition: "Length of the common time line, from the first to the last second with a sample of any stream.",
        source: OURS,
        caveat: "Not the time in which every stream was recording.",
        ..Figure::PLAIN
    },
    Figure {
        id: "session.claim.percent",
        label: "claim",
        unit: "%",
        decimals: 1,
        definition: "The accuracy that the maker of the source under test states, ± % of reading.",
        formula: "limit = max(claim % × level, claim W)",
        source: "stated in session.toml, [claim]",
        caveat: "A claim says nothing of the response to a sprint or of drift.",
        ..Figure::PLAIN
    },
    Figure {
        id: "session.claim.watts",
        label: "claim floor",
        unit: "W",
        decimals: 1,
        definition: "The floor of the stated accuracy, ± W; where it is larger than the percentage it applies.",
        formula: "limit = max(claim % × level, claim W)",
        source: "stated in session.toml, [claim]",
        ..Figure::PLAIN
    },
    Figure {
        id: "session.allowance.percent",
        label: "expected drivetrain loss",
        unit: "%",
        decimals: 1,
        definition: "The loss expected between the references' site and the site under test, % of the references' power; verdicts are on what it leaves of the bias.",
        formula: "expected = reference × (1 − allowance / 100)",
        source: "stated in session.toml, [allowance]",
        caveat: "It is an expectation, not a measurement of this drivetrain.",
        ..Figure::PLAIN
    },
    Figure {
        id: "session.allowance.plus_minus",
        label: "expected drivetrain loss, half-width",
        unit: "%",
        decimals: 1,
        definition: "Half-width of what the loss between the sites may be, percentage points; it enters the uncertainty as a rectangular distribution.",
        formula: "u = half-width / √3",
        source: "stated in session.toml, [allowance]; JCGM 100:2008, 4.3.7",
        ..Figure::PLAIN
    },
    Figure {
        id: "session.clocks",
        label: "clocks",
        definition: "What to beware of in the clocks: streams never aligned or not with certainty, and sources whose delays only power ties to the references.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.label",
        label: "stream",
        definition: "Name of the stream.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.role",
        label: "role",
        definition: "What the stream is for: under-test, reference or context.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.site",
        label: "site",
        definition: "Where it measures power: pedal, crank, hub or trainer.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.offset_s",
        label: "offset",
        unit: "s",
        decimals: 2,
        signed: true,
        definition: "Shift of the recorder's clock against session time.",
        formula: "session time = offset + (1 + skew × 10⁻⁶) × (recorder time − t₀)",
        source: OURS,
        caveat: "Where power alone fixed it, a response lag of the device is hidden in it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.skew_ppm",
        label: "skew",
        unit: "ppm",
        decimals: 1,
        signed: true,
        definition: "Rate error of the recorder's clock against session time, parts in a million (3.6 ms in an hour each).",
        formula: "session time = offset + (1 + skew × 10⁻⁶) × (recorder time − t₀)",
        source: OURS,
        caveat: "None (0) where the ride is too short to show it: half an hour hides some 50 ppm, which are 0.05 s at either end.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.samples",
        label: "samples",
        definition: "Samples recorded.",
        source: "counted",
        caveat: "A sample without a power value counts too.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.median_interval_s",
        label: "interval",
        short: "every",
        unit: "s",
        decimals: 2,
        definition: "Median time between successive samples.",
        source: "counted",
        caveat: "A median hides gaps: see the dropouts.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{aligned_of, ridden};
    use crate::stats::vectors::lcg;

    /// Blocks at 100 to 250 W that the source reads truly, and 8 s in which it reports 640 W that
    /// nobody makes.
    #[test]
    fn a_phantom_does_not_turn_the_line_of_a_ride() {
        let slow_noise = lcg(2400);
        let y: Vec<f64> = (0..1200)
            .map(|t| 100.0 + 50.0 * f64::from((t as i32 / 300) % 4) + 8.0 * (slow_noise[t] - 0.5))
            .collect();
        let slope = |phantom_w: f64| {
            let mut x: Vec<f64> = (0..1200)
                .map(|t| y[t] + 4.0 * (slow_noise[1200 + t] - 0.5))
                .collect();
            for value in &mut x[280..288] {
                *value += phantom_w;
            }
            let (session, aligned) = aligned_of(vec![
                ridden("trainer", Role::UnderTest, None, x),
                ridden("pedals", Role::Reference, Some(1.0), y.clone()),
            ]);
            table(&session, &aligned).levels[0].slope.unwrap()
        };
        assert!((slope(0.0) - 1.0).abs() < 0.005);
        assert!(
            (slope(540.0) - slope(0.0)).abs() < 0.002,
            "{}",
            slope(540.0)
        );
    }
}
