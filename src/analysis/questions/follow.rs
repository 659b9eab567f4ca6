//! How soon does delivered power follow a new set point?
//!
//! Every change of a recorded set point by 30 W or more, held for 20 s before and 25 s after, is a step
//! from level a to level b of the delivered power, `z(t) = a + (b − a) h(t − t₀)` with
//! `h = 1 − exp(−(t − t₀ − D)/τ)` from the dead time D on. D and τ are common to the changes in one
//! direction and fitted by least squares, levels being each change's own. Then the power stays within
//! ±w of b, `w = max(5 W, 5 % of the step)`, after `D + τ ln(|b − a|/w)`; 10 to 90 % takes `2.197 τ`, and
//! the area between command and response is `D + τ` high. The uncertainty is that of leaving out each
//! change in turn (jackknife), or of the residuals where there are fewer than three. Where up and down
//! cannot be told apart they are fitted together.

use super::answer::{Answer, Limit, Place, Question, at_most};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::stats::t_quantile;
use crate::timeline::{Grid, Span};

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.follow",
    label: "follow",
    unit: "s",
    decimals: 1,
    definition: "Time from the change of a recorded set point until the delivered power stays within 5 W or 5 % of the step, by a fitted dead time and lag; of the slower direction.",
    formula: "D + τ ln(|step|/band)",
    source: "common practice, no source",
    caveat: "The references' own averaging is in it.",
    ..Figure::PLAIN
};

/// Least change of a set point, W.
const LEAST_STEP_W: f64 = 30.0;
/// Held before and after, s.
const BEFORE_S: f64 = 20.0;
const AFTER_S: f64 = 25.0;
/// What is fitted after the change, s.
const FITTED_S: f64 = 45.0;
/// Band: W, and share of the step.
const BAND_W: f64 = 5.0;
const BAND_SHARE: f64 = 0.05;
/// Four to five seconds are usual.
const MOST_S: f64 = 5.0;
/// How long before its time stamp a reading was made on average, s: a meter tells of the second before.
const SAMPLE_S: f64 = 0.5;
/// Longest dead time and time constant looked for, s.
const LONGEST_S: f64 = 20.0;

/// A change of set point with the delivered power about it.
#[derive(Clone, Debug)]
struct Change {
    at_s: f64,
    step_w: f64,
    /// Seconds since the change, and delivered power, W.
    rows: Vec<(f64, f64)>,
}

/// Dead time and time constant, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Dead time, s.
    pub dead_time_s: f64,
    /// Time constant, s.
    pub time_constant_s: f64,
}

impl Response {
    /// Time until a step of `step_w` stays within its band, s.
    pub fn in_band_s(self, step_w: f64) -> f64 {
        let band_w = BAND_W.max(BAND_SHARE * step_w.abs());
        self.dead_time_s + self.time_constant_s * (step_w.abs() / band_w).ln().max(0.0)
    }

    /// 10 to 90 % of the step, s.
    pub fn rise_10_90_s(self) -> f64 {
        self.time_constant_s * 9.0_f64.ln()
    }

    /// Mean delay by area, s.
    pub fn area_delay_s(self) -> f64 {
        self.dead_time_s + self.time_constant_s
    }

    /// Share of the step reached after `since_s`.
    fn reached(self, since_s: f64) -> f64 {
        let late_s = since_s - self.dead_time_s;
        if late_s <= 0.0 {
            0.0
        } else if self.time_constant_s <= 0.0 {
            1.0
        } else {
            1.0 - (-late_s / self.time_constant_s).exp()
        }
    }
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Follow;
    let Some(delivered) = source.delivered() else {
        return Answer::not_ridden(
            question,
            source.label,
            "no reference tells what was delivered",
        );
    };
    if source.ride.set_points.is_empty() {
        let why = "no recording states when a set point changed";
        return Answer::not_ridden(question, source.label, why);
    }
    let changes = changes(
        &source.ride.set_points,
        &delivered,
        source.ride.aligned.grid,
    );
    let followed = followed(&changes);
    let Some(Followed { way, own, fit }) = followed else {
        let why = "no set point changes by 30 W or more between levels held for half a minute";
        return Answer::not_ridden(question, source.label, why);
    };
    let limit = Limit::stated_or(source.ride.session.limits.follow_s, MOST_S, Limit::PRACTICE);
    let interval = [fit.in_band_s - fit.half_s, fit.in_band_s + fit.half_s];
    let count = own.len();
    let sentence = format!(
        "a new set point is reached after {:.1} s ({:.1} to {:.1}) {way} in {count} change{}: dead time \
         {:.1} s, 10 to 90 % in {:.1} s, {:.1} s late by area; {}",
        fit.in_band_s,
        interval[0].max(0.0),
        interval[1],
        if count == 1 { "" } else { "s" },
        fit.response.dead_time_s,
        fit.response.rise_10_90_s(),
        fit.response.area_delay_s(),
        limit.said(&format!("{} s", plain(limit.value)))
    );
    let largest = own
        .iter()
        .max_by(|a, b| a.step_w.abs().total_cmp(&b.step_w.abs()));
    let place = largest.map(|change| Place {
        from_s: change.at_s,
        to_s: change.at_s + FITTED_S,
    });
    Answer::new(
        question,
        source.label,
        at_most(interval, limit.value),
        sentence,
    )
    .with_value(fit.in_band_s, Some(interval), "s")
    .against(limit)
    .at(place)
    .unless_told("more changes of set point")
    .in_brief(format!(
        "{:.1} s to follow ({:.1} to {:.1}); limit {} s",
        fit.in_band_s,
        interval[0].max(0.0),
        interval[1],
        plain(limit.value)
    ))
    .headed(format!(
        "takes {:.1} s to follow a new set point",
        fit.in_band_s
    ))
}

/// What is reported: of which changes.
struct Followed<'a> {
    way: &'static str,
    own: Vec<&'a Change>,
    fit: Fit,
}

/// Of all changes together where up and down cannot be told apart, else of the slower direction.
fn followed(changes: &[Change]) -> Option<Followed<'_>> {
    let of = |way: &'static str, own: Vec<&'_ Change>| -> Option<(&'static str, Fit)> {
        fitted(&own).map(|fit| (way, fit))
    };
    let (up, down): (Vec<&Change>, Vec<&Change>) = changes.iter().partition(|c| c.step_w > 0.0);
    let each = [of("upwards", up.clone()), of("downwards", down.clone())];
    if let [Some((_, one)), Some((_, other))] = each
        && (one.in_band_s - other.in_band_s).abs() <= one.half_s.hypot(other.half_s)
    {
        let own: Vec<&Change> = changes.iter().collect();
        let fit = fitted(&own)?;
        let way = "up and down";
        return Some(Followed { way, own, fit });
    }
    let slower = each.into_iter().flatten();
    let (way, fit) = slower.max_by(|a, b| a.1.in_band_s.total_cmp(&b.1.in_band_s))?;
    let own = if way == "upwards" { up } else { down };
    Some(Followed { way, own, fit })
}

/// The changes of recorded set points that can be fitted.
fn changes(set_points: &[(Span, f64)], delivered: &[f64], grid: Grid) -> Vec<Change> {
    let change = |pair: &[(Span, f64)]| {
        let ((before, from_w), (after, to_w)) = (pair[0], pair[1]);
        let at_s = after.from_s;
        let joined = (at_s - before.to_s).abs() <= 2.0;
        let held = before.duration_s() >= BEFORE_S && after.duration_s() >= AFTER_S;
        if !joined || !held || (to_w - from_w).abs() < LEAST_STEP_W {
            return None;
        }
        let span = Span::new(at_s - BEFORE_S, (at_s + FITTED_S).min(after.to_s));
        let rows = grid.rows(span);
        let power = delivered.get(rows.clone())?;
        let rows: Vec<(f64, f64)> = rows
            .zip(power)
            .filter(|(_, w)| w.is_finite())
            .map(|(row, w)| (grid.time_s(row) - at_s, *w))
            .collect();
        (rows.len() as f64 * grid.step_s >= 0.8 * span.duration_s()).then_some(Change {
            at_s,
            step_w: to_w - from_w,
            rows,
        })
    };
    set_points.windows(2).filter_map(change).collect()
}

/// A response with the time in band and the half-width of its 95 % limits.
#[derive(Clone, Copy, Debug)]
struct Fit {
    response: Response,
    in_band_s: f64,
    half_s: f64,
}

fn fitted(changes: &[&Change]) -> Option<Fit> {
    let response = best(changes)?;
    let step_w = changes.iter().map(|c| c.step_w.abs()).sum::<f64>() / changes.len() as f64;
    let count = changes.len() as f64;
    let in_band = |response: Response| response.in_band_s(step_w);
    let half_s = if changes.len() >= 3 {
        let left_out = (0..changes.len()).filter_map(|out| {
            let rest: Vec<&Change> = changes
                .iter()
                .enumerate()
                .filter(|(at, _)| *at != out)
                .map(|(_, c)| *c)
                .collect();
            best(&rest).map(in_band)
        });
        let left_out: Vec<f64> = left_out.collect();
        let mean = left_out.iter().sum::<f64>() / left_out.len() as f64;
        let squares: f64 = left_out.iter().map(|v| (v - mean).powi(2)).sum();
        t_quantile(0.975, count - 1.0) * ((count - 1.0) / count * squares).sqrt()
    } else {
        of_residuals(changes, response, step_w)
    };
    Some(Fit {
        response,
        in_band_s: in_band(response),
        half_s: half_s.max(0.2),
    })
}

/// Half-width from the residuals of few changes: how far the time in band can move until the squares
/// grow by what chance allows, the residuals counted at their serial correlation.
fn of_residuals(changes: &[&Change], found: Response, step_w: f64) -> f64 {
    let least = squares(changes, found);
    let n: f64 = changes.iter().map(|c| c.rows.len() as f64).sum();
    let left: Vec<f64> = changes.iter().flat_map(|c| residuals(c, found)).collect();
    let products: f64 = left.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let phi = (products / least.max(f64::MIN_POSITIVE)).clamp(0.0, 0.95);
    let allowed = least * (1.0 + 3.84 / (n - 4.0).max(1.0) * (1.0 + phi) / (1.0 - phi));
    let here = found.in_band_s(step_w);
    candidates(LONGEST_S, 0.5)
        .filter(|response| squares(changes, *response) <= allowed)
        .map(|response| (response.in_band_s(step_w) - here).abs())
        .fold(0.5, f64::max)
}

/// Dead times and time constants in steps of `step_s`.
fn candidates(longest_s: f64, step_s: f64) -> impl Iterator<Item = Response> {
    let count = (longest_s / step_s) as usize;
    (0..=count).flat_map(move |dead| {
        (0..=count).map(move |tau| Response {
            dead_time_s: dead as f64 * step_s,
            time_constant_s: tau as f64 * step_s,
        })
    })
}

/// The response with the least squares over all changes, to 0.05 s.
fn best(changes: &[&Change]) -> Option<Response> {
    let score = |response: &Response| squares(changes, *response);
    let least = |a: &Response, b: &Response| score(a).total_cmp(&score(b));
    let mut found = candidates(LONGEST_S, 1.0)
        .min_by(least)
        .filter(|_| !changes.is_empty())?;
    for step_s in [0.25, 0.05] {
        let near = |at: i32, of: f64| (of + f64::from(at) * step_s).max(0.0);
        let around = (-5..=5).flat_map(|dead| (-5..=5).map(move |tau| (dead, tau)));
        let centre = found;
        found = around
            .map(|(dead, tau)| Response {
                dead_time_s: near(dead, centre.dead_time_s),
                time_constant_s: near(tau, centre.time_constant_s),
            })
            .min_by(least)?;
    }
    Some(found)
}

fn squares(changes: &[&Change], response: Response) -> f64 {
    let each = changes
        .iter()
        .flat_map(|change| residuals(change, response));
    each.map(|left| left * left).sum()
}

/// What is left of a change after its own levels are fitted.
fn residuals(change: &Change, response: Response) -> Vec<f64> {
    let n = change.rows.len() as f64;
    let reached: Vec<f64> = change
        .rows
        .iter()
        .map(|(t, _)| response.reached(*t - SAMPLE_S))
        .collect();
    let (h, z) = (
        reached.iter().sum::<f64>() / n,
        change.rows.iter().map(|(_, w)| w).sum::<f64>() / n,
    );
    let (mut shh, mut shz) = (0.0, 0.0);
    for (reached, (_, watts)) in reached.iter().zip(&change.rows) {
        shh += (reached - h).powi(2);
        shz += (reached - h) * (watts - z);
    }
    let slope = if shh > 0.0 { shz / shh } else { 0.0 };
    let left = |(reached, (_, watts)): (&f64, &(f64, f64))| watts - z - slope * (reached - h);
    reached.iter().zip(&change.rows).map(left).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    const SLOW: Response = Response {
        dead_time_s: 1.0,
        time_constant_s: 1.5,
    };

    #[test]
    fn the_worked_step_of_100_w() {
        // Computed beforehand: 150 to 250 W, dead time 1.0 s, τ 1.5 s.
        assert_close(SLOW.in_band_s(100.0), 5.494, 1e-4);
        assert_close(SLOW.rise_10_90_s(), 3.296, 1e-4);
        assert_close(SLOW.area_delay_s(), 2.5, 1e-12);
    }

    #[test]
    fn dead_time_and_lag_come_back_from_noisy_steps() {
        let noise = lcg(4 * 90);
        let levels = [150.0, 250.0, 150.0, 250.0];
        let mut delivered = vec![150.0; 60];
        let mut set_points = vec![(Span::new(0.0, 60.0), 150.0)];
        for (at, pair) in levels.windows(2).enumerate() {
            let start = 60.0 + 90.0 * at as f64;
            set_points.push((Span::new(start, start + 90.0), pair[1]));
            for t in 0..90 {
                let h = SLOW.reached(f64::from(t) - SAMPLE_S);
                let jitter = 6.0 * (noise[90 * at + t as usize] - 0.5);
                delivered.push(pair[0] + (pair[1] - pair[0]) * h + jitter);
            }
        }
        let grid = Grid {
            start_s: 0.0,
            step_s: 1.0,
            len: delivered.len(),
        };
        let found = changes(&set_points, &delivered, grid);
        assert_eq!(found.len(), 3);
        let up: Vec<&Change> = found.iter().filter(|c| c.step_w > 0.0).collect();
        let fit = fitted(&up).unwrap();
        assert!((fit.in_band_s - 5.494).abs() < fit.half_s, "{fit:?}");
        assert!(fit.half_s < 2.5, "{fit:?}");
    }
}
