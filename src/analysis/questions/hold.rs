//! Is the held power the one asked for? What the references say was delivered at the source's site,
//! less the set point, with the budget of a verdict.
//!
//! The scatter of `z − s` (delivered less set point) resembles itself from second to second like any
//! noise: its shape is learnt from all held blocks together ([`crate::stats::noise`]). A block is at
//! fault where it is beyond the limit by a critical value for all blocks together (Bonferroni), and
//! all is fine where each block is within by its own expanded uncertainty.
//!
//! Where one set point was held at two cadences, γ = Δln z̄/Δln cadence tells what is held: 0 power,
//! 1 torque. It stands beside the answer and decides nothing.
//!
//! With ordinary references that finds an error of some 3 % only. What the source itself reports needs no
//! reference: where its own reading, too, lies off the set points on average over all blocks by more than
//! 1.5 W (or what `[limits] hold_w` says), it does not hold what was asked for, whatever its accuracy.

use super::answer::{Answer, Finding, Limit, Part, Place, Question, within, within_among, worst};
use super::ride::{LOSS_WOULD, Ride, Source, claims_would};
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::analysis::figures::SegmentFigures;
use crate::stats::Interval;
use crate::stats::noise::{Noise, Stretch};
use crate::stats::{MeanUncertainty, finite, median_of, serial, t_quantile};
use crate::timeline::Span;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.hold",
    label: "hold",
    unit: "%",
    decimals: 1,
    definition: "Held power, as the references say at the site of the source, less the set point; in W where the own reading of the source decides.",
    formula: "100·(z̄ − s)/s; own reading: x̄ − s over all blocks",
    source: "common practice, no source; budget as a verdict has it",
    caveat: "A set point that the rider, not the trainer, held says nothing of the trainer.",
    ..Figure::PLAIN
};

/// Largest mean distance of the source's own reading from the set points, W.
const MOST_OWN_W: f64 = 1.5;
/// Fewest seconds of a block.
const FEWEST_S: f64 = 60.0;

/// A stretch at one set point, with what was delivered in it.
#[derive(Clone, Debug)]
pub struct Block {
    /// The segment, by its `id`.
    pub segment: usize,
    /// Its stretch.
    pub span: Span,
    /// What was asked for, W.
    pub set_point_w: f64,
    /// Delivered less asked for, second by second, W; NaN where it is missing.
    pub error_w: Vec<f64>,
}

/// How far the source's own reading lies off the set points, W.
#[derive(Clone, Debug)]
struct Own {
    error_w: f64,
    expanded_w: f64,
    /// Block by block, each with the mean and the half-width of its limits.
    blocks: Vec<(Block, f64, f64)>,
}

impl Block {
    /// Mean of delivered less asked for, W.
    fn mean_w(&self) -> f64 {
        let present = self.error_w.iter().filter(|v| v.is_finite());
        let (sum, n) = present.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
        sum / n
    }
}

/// The blocks of a ride that have a set point and a minute or more of delivered power.
pub fn blocks(ride: &Ride<'_>, delivered: &[f64]) -> Vec<Block> {
    let grid = ride.aligned.grid;
    let block = |segment: &SegmentFigures| {
        let set_point_w = ride.set_point_w(segment).filter(|w| *w > 0.0)?;
        let span = Span::new(segment.from_s, segment.to_s);
        let power = delivered.get(grid.rows(span))?;
        let error_w: Vec<f64> = power.iter().map(|w| w - set_point_w).collect();
        let seconds = error_w.iter().filter(|v| v.is_finite()).count() as f64 * grid.step_s;
        (seconds >= FEWEST_S).then_some(Block {
            segment: segment.id,
            span,
            set_point_w,
            error_w,
        })
    };
    let held = ride
        .table
        .segments
        .iter()
        .filter(|s| s.kind.spec().tests_claim);
    held.filter_map(block).collect()
}

/// What was delivered in the blocks; else why there is none.
pub fn held_blocks(source: &Source<'_>) -> Result<Vec<Block>, &'static str> {
    let delivered = source
        .delivered()
        .ok_or("no reference tells what was delivered")?;
    let blocks = blocks(source.ride, &delivered);
    if blocks.is_empty() {
        return Err("no set point is stated for a held block");
    }
    Ok(blocks)
}

/// Whether the references contradict each other in the block: then nobody knows what was delivered.
fn is_contested(ride: &Ride<'_>, block: &Block) -> bool {
    let mut segments = ride.table.segments.iter();
    let segment = segments.find(|segment| segment.id == block.segment);
    let references = segment.and_then(|segment| segment.references.as_ref());
    references.is_some_and(|references| references.agree == Some(false))
}

/// One block held against its set point.
#[derive(Clone, Copy, Debug)]
struct Held {
    error_percent: f64,
    expanded: f64,
    /// The same with the critical value for all blocks.
    expanded_jointly: f64,
    limit: f64,
    /// Whether the scatter of the seconds makes most of the uncertainty.
    is_scatter: bool,
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Hold;
    let mut blocks = match held_blocks(source) {
        Ok(blocks) => blocks,
        Err(why) => return Answer::not_ridden(question, source.label, why),
    };
    blocks.retain(|block| !is_contested(source.ride, block));
    if blocks.is_empty() {
        let why = "the references disagree about what was delivered in every held block";
        return Answer::cannot_tell(question, source.label, why, "references that agree");
    }
    let noise = Noise::learn(
        &stretches(&blocks),
        BLOCK_ROWS,
        source.ride.aligned.grid.step_s,
    );
    let scatters: Vec<Option<MeanUncertainty>> = blocks
        .iter()
        .zip(stretches(&blocks))
        .map(|(_, stretch)| {
            let learnt = noise.as_ref().and_then(|noise| noise.mean(&stretch));
            learnt.or_else(|| serial::mean_uncertainty(&stretch, BLOCK_ROWS))
        })
        .collect();
    let held = |loss_percent: f64| -> Result<Vec<(&Block, Held)>, Vec<String>> {
        let judged = blocks.iter().zip(&scatters);
        let judged = judged.filter_map(|(block, scatter)| Some((block, (*scatter)?)));
        judged
            .map(|(block, scatter)| {
                let held = held(source, block, scatter, loss_percent, blocks.len())?;
                Ok((block, held))
            })
            .collect()
    };
    let taken_off = source.loss.taken_off().percent;
    let all = match held(taken_off) {
        Ok(all) if !all.is_empty() => all,
        Ok(_) => {
            let why = "the held blocks are too short";
            return Answer::cannot_tell(question, source.label, why, "longer blocks");
        }
        Err(silent) => {
            let why = "how well the references know what was delivered is not stated";
            return Answer::cannot_tell(question, source.label, why, &claims_would(&silent));
        }
    };
    let agreed = source
        .loss
        .agreed(|loss| held(loss).ok().map(|all| outcome(&all)));
    let limit = limit(source, all[0].0.set_point_w);
    let room = |h: &Held| h.error_percent.abs() - h.limit;
    let Some((block, shown)) = all.iter().max_by(|a, b| room(&a.1).total_cmp(&room(&b.1))) else {
        return Answer::not_ridden(question, source.label, "no held block is there");
    };
    let delivered_found = agreed.flatten().unwrap_or(Finding::CannotTell);
    let own = own_reading(source);
    let own_limit = Limit::stated_or(
        source.ride.session.limits.hold_w,
        MOST_OWN_W,
        Limit::PRACTICE,
    );
    let own = own.filter(|own| {
        delivered_found != Finding::Fault
            && within(own.error_w, own.expanded_w, own_limit.value) == Finding::Fault
    });
    let found = match own {
        Some(_) => Finding::Fault,
        None => delivered_found,
    };
    let (error, expanded) = (shown.error_percent, shown.expanded);
    let side = if error < 0.0 { "less" } else { "more" };
    let most = if all.len() > 1 { " at most" } else { "" };
    let sentence = format!(
        "delivers {:.1} ± {expanded:.1} % {side} than the {:.0} W asked for{most}; {}",
        error.abs(),
        block.set_point_w,
        limit.said(&format!("±{} %", plain(shown.limit)))
    );
    let sentence = match leak_over(source, &blocks) {
        Some(gamma) => {
            format!("{sentence}; power follows cadence with γ {gamma:.2} (0 holds power, 1 torque)")
        }
        None => sentence,
    };
    let interval: Interval = [error - expanded, error + expanded];
    let ids = all.iter().map(|(block, _)| block.segment);
    let place = Place {
        from_s: block.span.from_s,
        to_s: block.span.to_s,
    };
    if let Some(own) = own {
        return of_own_reading(source, &own, own_limit, &sentence)
            .in_segments(ids)
            .at(Some(place));
    }
    let would = match agreed {
        None => LOSS_WOULD,
        Some(_) if shown.is_scatter => "longer blocks",
        Some(_) => "references of less uncertainty",
    };
    Answer::new(question, source.label, found, sentence)
        .with_value(error, Some(interval), "%")
        .against(Limit {
            value: shown.limit,
            ..limit
        })
        .in_segments(ids)
        .at(Some(place))
        .unless_told(would)
        .in_brief(format!(
            "{:.1} ± {expanded:.1} % {side} than {:.0} W; {}",
            error.abs(),
            block.set_point_w,
            limit.said(&format!("±{} %", plain(shown.limit)))
        ))
        .from_parts(all.iter().map(|(block, held)| part(block, held)).collect())
        .headed(format!(
            "delivers {:.0} W as {:.0} W",
            block.set_point_w,
            block.set_point_w * (1.0 + error / 100.0)
        ))
}

/// How far the source's own reading lies off the set points on average, with the scatter of the seconds
/// alone: no reference takes part.
fn own_reading(source: &Source<'_>) -> Option<Own> {
    let blocks = blocks(source.ride, &source.read()?);
    let step_s = source.ride.aligned.grid.step_s;
    let stretches = stretches(&blocks);
    let noise = Noise::learn(&stretches, BLOCK_ROWS, step_s)?;
    // Blocks weigh by their seconds; their scatters are their own.
    let (mut sum, mut squares, mut total) = (0.0, 0.0, 0.0);
    let mut judged = Vec::new();
    for (block, stretch) in blocks.into_iter().zip(&stretches) {
        let n = block.error_w.iter().filter(|v| v.is_finite()).count() as f64;
        let half = noise.mean(stretch)?.half_width95();
        sum += n * block.mean_w();
        squares += (n * half).powi(2);
        total += n;
        let mean_w = block.mean_w();
        judged.push((block, mean_w, half));
    }
    Some(Own {
        error_w: sum / total,
        expanded_w: squares.sqrt() / total,
        blocks: judged,
    })
}

/// The answer where the source's own reading lies off the set points; `delivered` says what the
/// references tell.
fn of_own_reading(source: &Source<'_>, own: &Own, limit: Limit, delivered: &str) -> Answer {
    let (error, half) = (own.error_w, own.expanded_w);
    let side = if error < 0.0 { "low" } else { "high" };
    let said = limit.said(&format!("±{} W", plain(limit.value)));
    let brief = format!("{:.1} ± {half:.1} W {side} by its own reading", error.abs());
    let sentence = format!(
        "holds every set point {:.1} ± {half:.1} W {side} by its own reading; {said}; {delivered}",
        error.abs()
    );
    Answer::new(Question::Hold, source.label, Finding::Fault, sentence)
        .with_value(error, Some([error - half, error + half]), "W")
        .against(limit)
        .from_parts(
            own.blocks
                .iter()
                .map(|block| own_part(block, limit.value))
                .collect(),
        )
        .in_brief(format!("{brief}; {said}"))
        .headed(format!("holds its set points {:.0} W {side}", error.abs()))
}

fn own_part((block, mean_w, half): &(Block, f64, f64), limit: f64) -> Part {
    Part {
        segment: block.segment,
        what: format!("{:.0} W", block.set_point_w),
        value: *mean_w,
        interval: [mean_w - half, mean_w + half],
        limit,
        outcome: within(*mean_w, *half, limit),
    }
}

fn part(block: &Block, held: &Held) -> Part {
    let (error, half) = (held.error_percent, held.expanded);
    Part {
        segment: block.segment,
        what: format!("{:.0} W", block.set_point_w),
        value: error,
        interval: [error - half, error + half],
        limit: held.limit,
        outcome: within(error, half, held.limit),
    }
}

/// Cadences of two blocks that differ by at least this share tell γ.
const CADENCES_APART: f64 = 0.08;

/// γ between two powers at two cadences, 0 where power is held and 1 where torque is.
pub fn leak(power_w: [f64; 2], cadence_rpm: [f64; 2]) -> f64 {
    let change = |[before, after]: [f64; 2]| (after / before).ln();
    change(power_w) / change(cadence_rpm)
}

/// γ between the two blocks of one set point whose cadences differ most.
fn leak_over(source: &Source<'_>, blocks: &[Block]) -> Option<f64> {
    let cadence = source.ride.cadence.as_deref()?;
    let grid = source.ride.aligned.grid;
    let rpm = |block: &Block| {
        let turning = cadence.get(grid.rows(block.span))?.iter().copied();
        median_of(turning.filter(|rpm| *rpm > 0.0).collect())
    };
    let judged: Vec<(&Block, f64)> = blocks.iter().filter_map(|b| Some((b, rpm(b)?))).collect();
    let pairs = judged.iter().enumerate().flat_map(|(at, one)| {
        let rest = judged[at + 1..].iter();
        rest.map(move |other| (one, other))
    });
    let apart = |a: f64, b: f64| (b / a).ln().abs();
    let widest = pairs
        .filter(|(one, other)| one.0.set_point_w == other.0.set_point_w)
        .max_by(|a, b| apart(a.0.1, a.1.1).total_cmp(&apart(b.0.1, b.1.1)))?;
    let ((one, slow), (other, fast)) = widest;
    let power_w = [one, other].map(|b| b.set_point_w + b.mean_w());
    (apart(*slow, *fast) >= CADENCES_APART.ln_1p())
        .then(|| leak(power_w, [*slow, *fast]))
        .and_then(finite)
}

/// Rows of a block mean.
const BLOCK_ROWS: usize = 5;

/// Means of five rows of each block, with their places.
fn stretches(blocks: &[Block]) -> Vec<Stretch> {
    let of = |block: &Block| {
        let finite = |row: usize| block.error_w[row].is_finite();
        serial::filled_blocks(block.error_w.len(), BLOCK_ROWS, finite)
            .into_iter()
            .map(|(place, rows)| {
                let present = block.error_w[rows].iter().filter(|v| v.is_finite());
                let (sum, n) = present.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
                (place, sum / n)
            })
            .collect()
    };
    blocks.iter().map(of).collect()
}

fn limit(source: &Source<'_>, level_w: f64) -> Limit {
    let stated = source.ride.session.limits.hold_percent;
    Limit::stated_or_claim(stated, source.claim_percent(level_w))
}

fn held(
    source: &Source<'_>,
    block: &Block,
    scatter: MeanUncertainty,
    loss_percent: f64,
    among: usize,
) -> Result<Held, Vec<String>> {
    let asked = block.set_point_w;
    let delivered = (asked + block.mean_w()) * source.loss.carried_anew(loss_percent);
    let of_percent = |u: MeanUncertainty| MeanUncertainty {
        standard: 100.0 * u.standard / asked,
        ..u
    };
    let scatter = of_percent(scatter);
    let budget = source.budget(scatter, block.span, asked)?;
    let jointly = t_quantile(1.0 - 0.025 / among as f64, budget.effective_dof());
    Ok(Held {
        error_percent: 100.0 * (delivered / asked - 1.0),
        expanded: budget.expanded(),
        expanded_jointly: jointly * budget.combined(),
        limit: limit(source, asked).value,
        is_scatter: 2.0 * scatter.standard.powi(2) > budget.combined().powi(2),
    })
}

fn outcome(all: &[(&Block, Held)]) -> Finding {
    let each = all
        .iter()
        .map(|(_, h)| within_among(h.error_percent, [h.expanded, h.expanded_jointly], h.limit));
    worst(each).unwrap_or(Finding::NotRidden)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worked_leak_of_cadence() {
        // Computed beforehand: 200 to 195.6 W for 90 to 80 rpm.
        assert!((leak([200.0, 195.6], [90.0, 80.0]) - 0.1889).abs() < 5e-5);
        assert_eq!(leak([200.0, 200.0], [90.0, 80.0]), 0.0);
        assert!((leak([180.0, 160.0], [90.0, 80.0]) - 1.0).abs() < 1e-12);
    }
}
