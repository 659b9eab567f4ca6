//! Does it read within its claim at held power? The joint decision of the error curve.

use super::super::error_curve::{Block, ErrorCurve, called_by};
use super::answer::{Answer, Finding, Limit, LimitFrom, Part, Place, Question};
use super::ride::Source;
use super::words::{plain, side};
use crate::analysis::figure::Figure;
use crate::text::{listed, number};

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.accuracy",
    label: "accuracy",
    unit: "%",
    decimals: 1,
    definition: "Whether it reads within its claim at held power, decided over all blocks together; the number is the bias of the block that says most, after the expected loss.",
    formula: "see the error curve",
    source: "ILAC-G8:09/2019, guard band w = U",
    caveat: "Between the powers ridden nothing was measured.",
    ..Figure::PLAIN
};

/// Most powers that a sentence names.
const NAMED: usize = 3;

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Accuracy;
    let Some(curve) = source.ride.table.error_curve_of(source.label) else {
        return Answer::not_ridden(question, source.label, "no block of held power is there");
    };
    let accuracy = &curve.accuracy;
    if accuracy.outcome == Finding::NotRidden {
        return Answer::not_ridden(question, source.label, "no block of held power is there");
    }
    let size = |b: &&Block| b.bias_percent.abs() - b.limit_percent;
    let worst = curve
        .blocks
        .iter()
        .max_by(|a, b| size(a).total_cmp(&size(b)));
    let named = beyond(curve);
    let claim = claim(source);
    let sentence = match accuracy.outcome {
        Finding::Fine => format!(
            "within its claim at every power ridden, {}: {} at most; claim {claim}",
            range(source, &curve.blocks),
            worst.map_or(String::new(), |b| bias_of(source, b)),
        ),
        Finding::Fault => {
            let mut parts: Vec<String> = named
                .iter()
                .take(NAMED)
                .map(|b| bias_of(source, b))
                .collect();
            parts.extend(
                average(curve).map(|bias| format!("{} % on average", number(bias, 1, true))),
            );
            format!("reads {}; claim {claim}", listed(&parts))
        }
        _ => format!(
            "{}; claim {claim}; {}",
            curve.open_words(),
            curve.would_tell()
        ),
    };
    let mut answer = Answer::new(question, source.label, accuracy.outcome, sentence);
    if accuracy.outcome == Finding::CannotTell {
        answer.would_tell = Some(curve.would_tell().to_owned());
    }
    let shown = named.first().copied().or(worst);
    if let Some(block) = shown {
        let half = block.expanded_percent;
        let bias = block.bias_percent;
        let limit = Limit {
            value: block.limit_percent,
            from: LimitFrom::Claim,
            source: "",
        };
        answer = answer
            .with_value(bias, Some([bias - half, bias + half]), "%")
            .against(limit);
    }
    let place = shown.and_then(|block| {
        let segment = source
            .ride
            .table
            .segments
            .iter()
            .find(|s| s.id == block.segment)?;
        Some(Place {
            from_s: segment.from_s,
            to_s: segment.to_s,
        })
    });
    let ids = curve.blocks.iter().map(|b| b.segment);
    answer
        .in_segments(ids)
        .at(place)
        .headed(headline(source, curve, &named))
        .in_brief(match shown {
            Some(block) => format!("{}; claim {claim}", bias_of(source, block)),
            None => "no block may be judged".to_owned(),
        })
        .from_parts(parts(source, &curve.blocks))
}

/// The blocks as they are drawn.
pub fn parts(source: &Source<'_>, blocks: &[Block]) -> Vec<Part> {
    blocks.iter().map(|block| part(source, block)).collect()
}

fn part(source: &Source<'_>, block: &Block) -> Part {
    let half = block.expanded_percent;
    Part {
        segment: block.segment,
        what: format!("{:.0} W", named_w(source, block)),
        value: block.bias_percent,
        interval: [block.bias_percent - half, block.bias_percent + half],
        limit: block.limit_percent,
        outcome: block.alone.into(),
    }
}

/// The claim in words: "±2 %", "±2 % or 5 W".
fn claim(source: &Source<'_>) -> String {
    let claim = source.claim;
    match (claim.percent > 0.0, claim.watts > 0.0) {
        (true, true) => format!("±{} % or {} W", plain(claim.percent), plain(claim.watts)),
        (false, true) => format!("±{} W", plain(claim.watts)),
        _ => format!("±{} %", plain(claim.percent)),
    }
}

/// The blocks beyond the claim, the worst first.
fn beyond(curve: &ErrorCurve) -> Vec<&Block> {
    let named = |b: &&Block| curve.accuracy.beyond.contains(&b.segment);
    let mut beyond: Vec<&Block> = curve.blocks.iter().filter(named).collect();
    beyond.sort_by(|a, b| b.bias_percent.abs().total_cmp(&a.bias_percent.abs()));
    beyond
}

/// The mean bias where it, and no single block, is beyond.
fn average(curve: &ErrorCurve) -> Option<f64> {
    let alone = curve.accuracy.beyond_on_average && curve.accuracy.beyond.is_empty();
    curve.accuracy.mean_bias_percent.filter(|_| alone)
}

/// The power that a block is called by, W: what was asked for, where that is near what was ridden.
fn named_w(source: &Source<'_>, block: &Block) -> f64 {
    let segments = &source.ride.table.segments;
    let segment = segments.iter().find(|s| s.id == block.segment);
    let asked_w = segment.and_then(|segment| source.ride.set_point_w(segment));
    called_by(asked_w, block.power_w)
}

/// "+4.3 ± 1.0 % at 240 W".
fn bias_of(source: &Source<'_>, block: &Block) -> String {
    format!(
        "{} ± {:.1} % at {:.0} W",
        number(block.bias_percent, 1, true),
        block.expanded_percent,
        named_w(source, block)
    )
}

fn range(source: &Source<'_>, blocks: &[Block]) -> String {
    match (blocks.first(), blocks.last()) {
        (Some(low), Some(high)) if high.power_w - low.power_w >= 1.0 => {
            format!(
                "{:.0} to {:.0} W",
                named_w(source, low),
                named_w(source, high)
            )
        }
        (Some(low), _) => format!("{:.0} W", named_w(source, low)),
        _ => String::new(),
    }
}

/// "reads 4.3 % high at 240 W and 3.4 % at 300 W".
fn headline(source: &Source<'_>, curve: &ErrorCurve, beyond: &[&Block]) -> String {
    let Some(first) = beyond.first() else {
        let bias = average(curve).unwrap_or(0.0);
        return format!("reads {:.1} % {} on average", bias.abs(), side(bias));
    };
    let each = |block: &&&Block| side(block.bias_percent) == side(first.bias_percent);
    let each: Vec<String> = beyond
        .iter()
        .filter(each)
        .take(NAMED)
        .enumerate()
        .map(|(at, block)| {
            let side = if at == 0 {
                side(block.bias_percent)
            } else {
                ""
            };
            let side = format!("{} % {side}", number(block.bias_percent.abs(), 1, false));
            format!("{} at {:.0} W", side.trim_end(), named_w(source, block))
        })
        .collect();
    format!("reads {}", listed(&each))
}
