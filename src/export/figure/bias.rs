//! Pictures of differences: against time, against the mean, over a heat soak, between references.

use super::picture::{Axis, Ink, Layer, Marker, Picture, Style, Ticks, range_of};
use super::subject::{Subject, plain, signed};
use crate::picture::{claim, soak};
use crate::session::Role;
use crate::stats::Interval;
use crate::timeline::Member;

/// The power columns of the source under test and of what it is compared with.
type Columns = (usize, Member, Vec<f64>, Vec<f64>);

fn compared(subject: &Subject<'_>) -> Result<Columns, String> {
    let under_test = subject.under_test()?;
    let basis = subject.basis()?;
    let missing = || "no power in this window".to_owned();
    let x = subject
        .readings(Member::Stream(under_test))
        .ok_or_else(missing)?;
    let y = subject.readings(basis).ok_or_else(missing)?;
    let common = x.iter().zip(&y).any(|(x, y)| (x - y).is_finite());
    common
        .then_some((under_test, basis, x, y))
        .ok_or_else(|| "no second of this window has both values".to_owned())
}

fn limits(interval: Option<Interval>, decimals: usize) -> String {
    interval.map_or_else(String::new, |[low, high]| {
        format!(" [{}, {}]", signed(low, decimals), signed(high, decimals))
    })
}

fn zero() -> Layer {
    Layer::Rule {
        name: String::new(),
        at: 0.0,
        style: Style::ZERO,
    }
}

/// A picture of differences along the window's time.
fn against_time(
    subject: &Subject<'_>,
    title: &str,
    facts: Vec<String>,
    layers: Vec<Layer>,
) -> Picture {
    Picture {
        title: subject.title(title),
        facts,
        x: subject.time_axis(),
        y: Axis {
            label: "difference, W".to_owned(),
            range: range_of(heights(&layers)),
            ticks: Ticks::Numbers,
        },
        layers,
    }
}

/// What `range_of` needs of the layers.
fn heights(layers: &[Layer]) -> impl Iterator<Item = f64> {
    layers.iter().flat_map(|layer| match layer {
        Layer::Line { points, .. } | Layer::Points { points, .. } => {
            points.iter().map(|p| p[1]).collect()
        }
        Layer::Rule { at, .. } => vec![*at],
        Layer::Band { between, .. } => between.to_vec(),
        Layer::Upright { .. } | Layer::Cell { .. } => Vec::new(),
    })
}

/// Under test − reference against time, with the claim as a band and the bias as a rule.
pub(super) fn difference(subject: &Subject<'_>) -> Result<Picture, String> {
    let (under_test, basis, x, y) = compared(subject)?;
    let pair = subject.pair(under_test, basis);
    let name = format!("{} − {}", subject.label(under_test), subject.name(basis));
    let mut layers = Vec::new();
    let level = pair.and_then(|p| p.reference_mean_w).unwrap_or(0.0);
    if let Some(between) = claim::band_w(subject.session, under_test, level) {
        let half = 0.5 * (between[1] - between[0]);
        layers.push(Layer::Band {
            name: format!(
                "claim ±{} W at {} W{}",
                plain(half, 1),
                plain(level, 0),
                around_loss(subject)
            ),
            between,
        });
    }
    layers.push(zero());
    layers.push(Layer::Line {
        name,
        points: subject.against_time(x.iter().zip(y).map(|(x, y)| x - y)),
        style: Style::of_stream(under_test),
    });
    let mut facts = vec![subject.window_fact(pair.map_or(0, |p| p.n))];
    if let Some(bias) = pair.and_then(|p| p.bias_w) {
        layers.push(Layer::Rule {
            name: "bias".to_owned(),
            at: bias,
            style: Style::MODEL,
        });
        let interval = limits(pair.and_then(|p| p.bias_ci95_w), 2);
        let percent = pair
            .and_then(|p| p.bias_percent)
            .map_or_else(String::new, |percent| format!(", {} %", signed(percent, 2)));
        facts.push(format!(
            "Bias {} W, 95 % confidence{interval} W{percent}.",
            signed(bias, 2)
        ));
    }
    Ok(against_time(subject, "difference", facts, layers))
}

/// Difference against mean (Bland & Altman 1986), with bias and 95 % limits of agreement.
pub(super) fn agreement(subject: &Subject<'_>) -> Result<Picture, String> {
    let (under_test, basis, x, y) = compared(subject)?;
    let pair = subject
        .pair(under_test, basis)
        .ok_or_else(|| "no figures of agreement in this window".to_owned())?;
    let points: Vec<[f64; 2]> = x
        .iter()
        .zip(y)
        .map(|(x, y)| [0.5 * (x + y), x - y])
        .filter(|p| p[0].is_finite() && p[1].is_finite())
        .collect();
    let across = range_of(points.iter().map(|p| p[0]));
    let mut layers = Vec::new();
    for (name, interval) in [
        ("95 % confidence of the limits", pair.loa95_lower_ci95_w),
        ("95 % confidence of the limits", pair.loa95_upper_ci95_w),
    ] {
        layers.extend(interval.map(|between| Layer::Band {
            name: name.to_owned(),
            between,
        }));
    }
    layers.push(zero());
    layers.push(Layer::Points {
        name: format!("{} − {}", subject.label(under_test), subject.name(basis)),
        points,
        style: Style {
            marker: Some(Marker::Ring),
            ..Style::of_stream(under_test)
        },
    });
    let rule = |name: &str, at: f64, style: Style| Layer::Rule {
        name: name.to_owned(),
        at,
        style,
    };
    layers.extend(pair.bias_w.map(|bias| rule("bias", bias, Style::MODEL)));
    let limit = Style {
        ink: Ink::Black,
        weight: 1.3,
        ..Style::RULE
    };
    for end in pair.loa95_w.into_iter().flatten() {
        layers.push(rule("95 % limits of agreement", end, limit));
    }
    layers.extend(claim_lines(subject, under_test, across));
    let mut facts = vec![subject.window_fact(pair.n)];
    if let (Some(bias), Some([low, high])) = (pair.bias_w, pair.loa95_w) {
        facts.push(format!(
            "Bias {} W{}; 95 % limits of agreement {} W and {} W.",
            signed(bias, 2),
            limits(pair.bias_ci95_w, 2),
            signed(low, 1),
            signed(high, 1)
        ));
    }
    Ok(Picture {
        title: subject.title("agreement"),
        facts,
        x: Axis {
            label: "mean of the two, W".to_owned(),
            range: across,
            ticks: Ticks::Numbers,
        },
        y: Axis {
            label: "difference, W".to_owned(),
            range: range_of(heights(&layers)),
            ticks: Ticks::Numbers,
        },
        layers,
    })
}

/// What is said of a claim's band that does not lie around zero.
fn around_loss(subject: &Subject<'_>) -> String {
    match subject.session.allowance().percent {
        0.0 => String::new(),
        loss => format!(
            " around an expected drivetrain loss of {} %",
            plain(loss, 1)
        ),
    }
}

/// The claim as lines that open with the level.
fn claim_lines(subject: &Subject<'_>, under_test: usize, across: [f64; 2]) -> Vec<Layer> {
    const POINTS: usize = 40;
    let line = |end: usize| Layer::Line {
        name: format!("claim{}", around_loss(subject)),
        points: (0..=POINTS)
            .map(|i| across[0] + (across[1] - across[0]) * i as f64 / POINTS as f64)
            .filter_map(|level| {
                Some([
                    level,
                    claim::band_w(subject.session, under_test, level)?[end],
                ])
            })
            .collect(),
        style: Style {
            ink: Ink::Blue,
            ..Style::RULE
        },
    };
    [line(1), line(0)]
        .into_iter()
        .filter(|line| !matches!(line, Layer::Line { points, .. } if points.is_empty()))
        .collect()
}

/// Bias in % of each block against time, with its straight line.
pub(super) fn heat_soak(subject: &Subject<'_>) -> Result<Picture, String> {
    let (under_test, basis, x, y) = compared(subject)?;
    let found = soak::blocks(subject.aligned.grid, subject.rows().start, [&x, &y], None);
    let length = plain(found.length_s, 0);
    let points = found.blocks.iter().map(|b| [b.at_s, b.bias_percent]);
    let blocks: Vec<[f64; 2]> = points.collect();
    if blocks.len() < 3 {
        return Err(format!(
            "too short: a heat soak is drawn in blocks of {length} s"
        ));
    }
    let level = subject
        .pair(under_test, basis)
        .and_then(|p| p.reference_mean_w);
    let band = level.and_then(|level| claim::band_percent(subject.session, under_test, level));
    let mut layers: Vec<Layer> = band
        .map(|between| Layer::Band {
            name: format!(
                "claim ±{} %{}",
                plain(0.5 * (between[1] - between[0]), 1),
                around_loss(subject)
            ),
            between,
        })
        .into_iter()
        .collect();
    layers.push(zero());
    let mut facts = vec![subject.window_fact(subject.pair(under_test, basis).map_or(0, |p| p.n))];
    let soak = subject.figures.of_kind.heat_soak.as_ref();
    if let Some(slope) = soak.and_then(|h| h.drift_percent_per_10min) {
        layers.push(drift_line(&blocks, slope / 600.0));
        facts.push(format!(
            "Drift {} % in 10 min, 95 % confidence{} %.",
            signed(slope, 2),
            limits(soak.and_then(|h| h.drift_ci95_percent_per_10min), 2)
        ));
    }
    if let Some(per_degree) = soak.and_then(|h| h.per_degree_percent) {
        facts.push(format!(
            "Against temperature: {} % a degree.",
            signed(per_degree, 3)
        ));
    }
    layers.push(Layer::Points {
        name: format!(
            "bias of {length} s blocks, {} against {}",
            subject.label(under_test),
            subject.name(basis)
        ),
        points: blocks,
        style: Style::of_stream(under_test),
    });
    Ok(Picture {
        title: subject.title("bias over time"),
        facts,
        x: subject.time_axis(),
        y: Axis {
            label: "bias, %".to_owned(),
            range: range_of(heights(&layers)),
            ticks: Ticks::Numbers,
        },
        layers,
    })
}

/// The line of this slope (% a second) through the middle of the blocks.
fn drift_line(blocks: &[[f64; 2]], slope: f64) -> Layer {
    let n = blocks.len() as f64;
    let middle = blocks
        .iter()
        .fold([0.0, 0.0], |sum, p| [sum[0] + p[0] / n, sum[1] + p[1] / n]);
    let ends = [blocks.first(), blocks.last()];
    Layer::Line {
        name: "drift".to_owned(),
        points: ends
            .into_iter()
            .flatten()
            .map(|p| [p[0], middle[1] + slope * (p[0] - middle[0])])
            .collect(),
        style: Style::MODEL,
    }
}

/// Each pair of references against time, with what their claims allow.
pub(super) fn references(subject: &Subject<'_>) -> Result<Picture, String> {
    let places: Vec<usize> = subject.aligned.powered(Role::Reference).collect();
    if places.len() < 2 {
        return Err("it takes two references with power".to_owned());
    }
    let mut layers = vec![zero()];
    let mut n = 0;
    let mut pairs = 0..;
    for (order, &a) in places.iter().enumerate() {
        for &b in places.iter().skip(order + 1) {
            let columns = (
                subject.readings(Member::Stream(a)),
                subject.readings(Member::Stream(b)),
            );
            let (Some(x), Some(y)) = columns else {
                continue;
            };
            let difference: Vec<f64> = x.iter().zip(&y).map(|(x, y)| x - y).collect();
            n = n.max(difference.iter().filter(|d| d.is_finite()).count());
            layers.push(Layer::Line {
                name: format!("{} − {}", subject.label(a), subject.label(b)),
                points: subject.against_time(difference),
                style: Style::of_stream(pairs.next().unwrap_or_default()),
            });
        }
    }
    let mut facts = vec![subject.window_fact(n)];
    if let Some(found) = &subject.figures.references {
        let difference = found
            .difference_percent
            .map(|d| format!("means differ by {} %", signed(d, 2)));
        let en = found.en_number.map(|en| format!("E_n {}", signed(en, 2)));
        let word = match found.agree {
            Some(true) => "The references agree",
            Some(false) => "The references disagree",
            None => "Whether they agree cannot be told",
        };
        let parts: Vec<String> = [Some(word.to_owned()), difference, en]
            .into_iter()
            .flatten()
            .collect();
        facts.push(format!("{}.", parts.join(", ")));
    }
    layers.extend(allowed(subject, &places));
    Ok(against_time(
        subject,
        "references against each other",
        facts,
        layers,
    ))
}

/// ±√(a² + b²), for two references with claims a and b at their mean level; none where known masses
/// take the place of a claim.
fn allowed(subject: &Subject<'_>, places: &[usize]) -> Vec<Layer> {
    let [a, b] = places else { return Vec::new() };
    let levels = [a, b].map(|index| {
        let label = subject.session.streams.get(*index).map(|s| &s.label);
        let mut streams = subject.figures.streams.iter();
        let mean = streams
            .find(|s| Some(&s.label) == label)
            .and_then(|s| s.mean_w)?;
        let known = subject.session.streams.get(*index)?.known_scale();
        let claim = subject.session.claim_of(*index).filter(|_| known.is_none());
        Some(claim?.limit_w(mean))
    });
    let [Some(one), Some(other)] = levels else {
        return Vec::new();
    };
    let both = one.hypot(other);
    [both, -both]
        .map(|at| Layer::Rule {
            name: format!(
                "what their claims allow for the means, ±{} W",
                plain(both, 1)
            ),
            at,
            style: Style::RULE,
        })
        .to_vec()
}
