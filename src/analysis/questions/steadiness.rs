//! Is the power held without surging, and does the reading show what is delivered?
//!
//! Surging is the strongest line of delivered − set point with a period of 4 to 40 s
//! ([`crate::stats::periodic`]), where it is more than chance (5 % over all blocks together). A line at
//! which pedalling and the one-second grid beat is none: at a cadence c the strokes come 2c/60 times a
//! second, and a meter that averages whole seconds shows the distance to the nearest whole number as a
//! period (85 rpm 6 s, 87 rpm 10 s, 88 and 92 rpm 15 s).
//!
//! Echo is how much of what is delivered the reading hides: with β the slope of the reading on the
//! delivered power, both less the set point in means of 30 s, echo = 1 − β. It takes delivered power
//! that moves by more than the references' noise.

use super::answer::{Answer, Finding, Limit, Place, Question, at_most, worst};
use super::hold::{Block, held_blocks};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::stats::periodic::{Line, strongest};
use crate::stats::{finite, normal_quantile, t_quantile};

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.steadiness",
    label: "steadiness",
    unit: "W",
    decimals: 1,
    definition: "Amplitude of the strongest regular swing of delivered less asked for power, 4 to 40 s, where it is more than chance; and whether the reading hides what is delivered.",
    formula: "√2 times the standard deviation of the line; Fisher's g after AR(1) prewhitening, 5 % over all blocks; echo 1 − β of means of 30 s",
    source: "Fisher 1929, Proc R Soc A 125:54 (from memory); the limits are common practice, no source",
    caveat: "A swing at the beat of pedalling against whole seconds does not count.",
    ..Figure::PLAIN
};

/// Periods of surging, s.
const PERIODS_S: std::ops::RangeInclusive<f64> = 4.0..=40.0;
/// Longest piece of a block, rows: a line must keep its pace over it.
const LONGEST: usize = 600;
/// Largest amplitude, W and % of the set point, whichever is larger. At ±5 W a practitioner complains;
/// this leaves room to say so.
const MOST_W: f64 = 3.0;
const MOST_PERCENT: f64 = 1.5;
/// Chance of naming a line in any of the blocks of a ride where there is none.
const CHANCE: f64 = 0.05;
/// How near a period may come to that of pedalling against the grid, share of its frequency.
const NEAR_PEDALLING: f64 = 0.25;
/// Length of the means for the echo, s.
const ECHO_MEAN_S: f64 = 30.0;
/// Largest share of what is delivered that the reading may hide.
const MOST_ECHO: f64 = 0.5;
/// Fewest means for an echo.
const FEWEST_MEANS: usize = 8;
/// Least spread of the delivered means, W: less is the references' own noise.
const LEAST_SPREAD_W: f64 = 2.0;

/// Surging in one piece of a block.
#[derive(Clone, Copy, Debug)]
struct Surge {
    segment: usize,
    place: Place,
    line: Line,
    limit_w: f64,
    named: bool,
    finding: Finding,
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Steadiness;
    let read = source.read().ok_or("the source under test has no power");
    let (blocks, read) = match held_blocks(source).and_then(|blocks| Ok((blocks, read?))) {
        Ok(both) => both,
        Err(why) => return Answer::not_ridden(question, source.label, why),
    };
    let surges = surges(source, &blocks);
    let room = |s: &Surge| s.line.amplitude / s.limit_w;
    let Some(shown) = surges.iter().max_by(|a, b| {
        (a.named, room(a))
            .partial_cmp(&(b.named, room(b)))
            .unwrap_or(std::cmp::Ordering::Equal)
    }) else {
        let why = "the held blocks are too short or too full of gaps";
        return Answer::cannot_tell(question, source.label, why, "blocks of 3 min or more");
    };
    let echo = echo(source, &blocks, &read);
    let echoes = echo.map_or(Finding::Fine, |[share, half]| {
        at_most([share - half, share + half], MOST_ECHO)
    });
    let surging = worst(surges.iter().map(|s| s.finding)).unwrap_or(Finding::CannotTell);
    // An echo that cannot be told leaves the question of surging answered.
    let found = if echoes == Finding::Fault {
        echoes
    } else {
        surging
    };
    let limit = Limit::stated_or(
        source.ride.session.limits.steadiness_w,
        shown.limit_w,
        Limit::PRACTICE,
    );
    let said = limit.said(&format!("±{} W", plain(shown.limit_w)));
    let line = shown.line;
    let surged = if shown.named {
        format!(
            "surges by ±{:.1} W ({:.1} to {:.1}) every {:.0} s in segment {}; {said}",
            line.amplitude,
            line.ci95()[0],
            line.ci95()[1],
            line.period_s,
            shown.segment
        )
    } else {
        format!(
            "no surging: a swing of ±{:.1} W at most, which may be chance; {said}",
            line.amplitude
        )
    };
    let hides = echo
        .filter(|_| echoes == Finding::Fault)
        .map(|[share, half]| {
            format!(
                "the reading hides {:.0} ± {:.0} % of how the delivered power moves; limit {:.0} %",
                100.0 * share,
                100.0 * half,
                100.0 * MOST_ECHO
            )
        });
    let mut headlines = Vec::new();
    if surging == Finding::Fault {
        headlines.push(format!(
            "surges by ±{:.0} W every {:.0} s",
            line.amplitude, line.period_s
        ));
    }
    if hides.is_some() {
        headlines.push("shows a steadier power than it delivers".to_owned());
    }
    let sentence = [Some(surged), hides]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join("; ");
    Answer::new(question, source.label, found, sentence)
        .with_value(line.amplitude, Some(line.ci95()), "W")
        .against(limit)
        .in_segments(blocks.iter().map(|b| b.segment))
        .at(Some(shown.place))
        .unless_told("longer blocks at this set point")
        .in_brief(format!(
            "±{:.1} W every {:.0} s{}; {said}",
            line.amplitude,
            line.period_s,
            if shown.named { "" } else { ", maybe chance" }
        ))
        .headed(headlines.join(" and "))
}

/// The strongest line of every piece of every block.
fn surges(source: &Source<'_>, blocks: &[Block]) -> Vec<Surge> {
    let grid = source.ride.aligned.grid;
    let cadence = source.ride.cadence.as_deref().unwrap_or_default();
    let pieces: Vec<(&Block, usize, &[f64])> = blocks
        .iter()
        .flat_map(|block| {
            let parts = block.error_w.len().div_ceil(LONGEST).max(1);
            let length = block.error_w.len().div_ceil(parts).max(1);
            let chunks = block.error_w.chunks(length).enumerate();
            chunks.map(move |(part, rows)| (block, part * length, rows))
        })
        .collect();
    let among = pieces.len() as f64;
    let z = normal_quantile(1.0 - 0.5 * CHANCE / among);
    let surge = |(block, start, rows): &(&Block, usize, &[f64])| {
        let from = grid.rows(block.span).start + start;
        let turning = cadence.get(from..from + rows.len()).unwrap_or_default();
        let counts = |period_s: f64| !is_of_pedalling(period_s, turning);
        let line = strongest(rows, grid.step_s, PERIODS_S, counts)?;
        let limit_w = source
            .ride
            .session
            .limits
            .steadiness_w
            .unwrap_or(MOST_W.max(MOST_PERCENT / 100.0 * block.set_point_w));
        let named = line.p_value < CHANCE / among;
        let half = z * line.standard_uncertainty;
        let finding = match named {
            true => at_most([line.amplitude - half, line.amplitude + half], limit_w),
            // What may be chance is no fault, and is fine while it is small.
            false if line.amplitude <= limit_w => Finding::Fine,
            false => Finding::CannotTell,
        };
        Some(Surge {
            segment: block.segment,
            place: Place {
                from_s: grid.time_s(from),
                to_s: grid.time_s(from + rows.len()),
            },
            line,
            limit_w,
            named,
            finding,
        })
    };
    pieces.iter().filter_map(surge).collect()
}

/// Whether a period is that at which the strokes of this cadence beat with whole seconds.
fn is_of_pedalling(period_s: f64, cadence_rpm: &[f64]) -> bool {
    let turning: Vec<f64> = cadence_rpm.iter().copied().filter(|c| *c > 0.0).collect();
    let Some(rpm) = crate::stats::median_of(turning) else {
        return false;
    };
    let strokes = 2.0 * rpm / 60.0;
    let beat = (strokes - strokes.round()).abs();
    // The cadence itself wanders by a revolution or so a minute.
    let slack = (NEAR_PEDALLING * beat).max(2.0 / 60.0);
    (1.0 / period_s - beat).abs() <= slack
}

/// Echo and the half-width of its 95 % limits; `None` where the delivered power hardly moves.
fn echo(source: &Source<'_>, blocks: &[Block], read: &[f64]) -> Option<[f64; 2]> {
    let grid = source.ride.aligned.grid;
    let rows_of_mean = (ECHO_MEAN_S / grid.step_s).round().max(1.0) as usize;
    let mut pairs = Vec::new();
    for block in blocks {
        let rows = grid.rows(block.span);
        let read = read.get(rows)?;
        let means = block
            .error_w
            .chunks_exact(rows_of_mean)
            .zip(read.chunks_exact(rows_of_mean));
        for (delivered, read) in means {
            let both = delivered
                .iter()
                .zip(read)
                .filter(|(z, x)| z.is_finite() && x.is_finite());
            let (mut z_sum, mut x_sum, mut n) = (0.0, 0.0, 0.0);
            for (z, x) in both {
                z_sum += z;
                x_sum += x - block.set_point_w;
                n += 1.0;
            }
            if 2.0 * n >= rows_of_mean as f64 {
                pairs.push([z_sum / n, x_sum / n]);
            }
        }
    }
    let [slope, half] = slope(&pairs)?;
    finite(1.0 - slope).map(|echo| [echo, half])
}

/// Least-squares slope of the second on the first with the half-width of its 95 % limits.
fn slope(pairs: &[[f64; 2]]) -> Option<[f64; 2]> {
    let n = pairs.len() as f64;
    if pairs.len() < FEWEST_MEANS {
        return None;
    }
    let mean = |at: usize| pairs.iter().map(|p| p[at]).sum::<f64>() / n;
    let (z, x) = (mean(0), mean(1));
    let szz: f64 = pairs.iter().map(|p| (p[0] - z).powi(2)).sum();
    let szx: f64 = pairs.iter().map(|p| (p[0] - z) * (p[1] - x)).sum();
    if (szz / (n - 1.0)).sqrt() < LEAST_SPREAD_W {
        return None;
    }
    let slope = szx / szz;
    let left: f64 = pairs
        .iter()
        .map(|p| (p[1] - x - slope * (p[0] - z)).powi(2))
        .sum();
    let standard = (left / (n - 2.0) / szz).sqrt();
    Some([slope, t_quantile(0.975, n - 2.0) * standard])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_of_the_worked_echo() {
        // Computed beforehand: z̄ and x̄ about 200 W, six means, β = 0.25.
        let z = [196.0, 204.0, 188.0, 210.0, 201.0, 193.0];
        let x = [199.0, 201.0, 197.0, 202.5, 200.25, 198.25];
        let pairs: Vec<[f64; 2]> = z
            .iter()
            .zip(x)
            .map(|(z, x)| [z - 200.0, x - 200.0])
            .collect();
        let twice = [pairs.clone(), pairs].concat();
        let [slope, half] = slope(&twice).unwrap();
        assert!((slope - 0.25).abs() < 1e-12, "{slope}");
        assert!(half < 1e-9);
    }

    #[test]
    fn the_beats_of_pedalling_are_no_surging() {
        // 2c/60 against whole seconds: 85 rpm 6 s, 87 rpm 10 s, 88 and 92 rpm 15 s.
        for (rpm, period_s) in [(85.0, 6.0), (87.0, 10.0), (88.0, 15.0), (92.0, 15.0)] {
            assert!(is_of_pedalling(period_s, &[rpm; 60]), "{rpm}");
        }
        assert!(!is_of_pedalling(12.0, &[80.0; 60]));
        assert!(!is_of_pedalling(12.0, &[]));
    }
}
