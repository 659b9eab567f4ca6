//! Drawings that keep their text at every width: places along x in %, along y in pixels. Curves lie in
//! a drawing of their own that stretches; words and marks do not. Colours are classes of the page.

use std::fmt::Write as _;

use super::html::{escaped, set};
use crate::analysis::questions::Finding;
use crate::picture::gauge::LIMITS;
use crate::picture::ticks::{clock_step_s, multiples, round_step};

/// Room over the highest value, px.
const TOP: f64 = 14.0;
/// Width that the places of labels are reckoned for, px: that of a printed page.
pub(in crate::export) const WIDTH: f64 = 630.0;
/// Width of a character of a label, px.
pub(in crate::export) const CHARACTER: f64 = 6.3;
/// Most points of a curve; a longer one is drawn by its lowest and highest.
const POINTS: usize = 1600;

/// Where a label stands to its place.
#[derive(Clone, Copy, Debug)]
pub(in crate::export) enum Anchor {
    Start,
    Middle,
}

/// A drawing with one pair of axes.
pub(in crate::export) struct Chart {
    x: [f64; 2],
    y: [f64; 2],
    height: f64,
    below: f64,
    grounds: String,
    curves: String,
    over: String,
}

/// A range with a little room, from round numbers to round numbers; their step beside it.
pub(in crate::export) fn rounded(values: impl Iterator<Item = f64>, ticks: f64) -> ([f64; 2], f64) {
    let finite = values.filter(|v| v.is_finite());
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    });
    if low > high {
        return ([0.0, 1.0], 1.0);
    }
    let step = round_step(((high - low) / ticks).max(1e-3));
    // A hair beyond a round number does not ask for another step.
    const HAIR: f64 = 0.02;
    let range = [
        (low / step + HAIR).floor() * step,
        (high / step - HAIR).ceil() * step,
    ];
    if range[1] > range[0] {
        (range, step)
    } else {
        ([range[0] - step, range[1] + step], step)
    }
}

impl Chart {
    /// Without anything in it; `height` is that of the axes and `below` the room under them, px.
    pub(in crate::export) fn new(x: [f64; 2], y: [f64; 2], height: f64, below: f64) -> Self {
        // A ride of one second has a picture too.
        let wide = |[from, to]: [f64; 2]| [from, if to > from { to } else { from + 1.0 }];
        Self {
            x: wide(x),
            y: wide(y),
            height,
            below,
            grounds: String::new(),
            curves: String::new(),
            over: String::new(),
        }
    }

    fn share_x(&self, x: f64) -> f64 {
        ((x - self.x[0]) / (self.x[1] - self.x[0])).clamp(0.0, 1.0)
    }

    /// Place along x, %.
    fn percent(&self, x: f64) -> f64 {
        100.0 * self.share_x(x)
    }

    /// Place along x, px of a printed page.
    pub(in crate::export) fn px(&self, x: f64) -> f64 {
        WIDTH * self.share_x(x)
    }

    /// Place along y, px.
    pub(in crate::export) fn py(&self, y: f64) -> f64 {
        let share = (y - self.y[0]) / (self.y[1] - self.y[0]);
        TOP + (1.0 - share.clamp(-0.1, 1.1)) * self.height
    }

    /// Bottom of the axes, px.
    pub(in crate::export) fn bottom(&self) -> f64 {
        TOP + self.height
    }

    /// Horizontal rules at multiples of `step`, each with its number; the last one with the unit.
    pub(in crate::export) fn ticks_y(&mut self, step: f64, signed: bool, unit: &str) {
        let ticks: Vec<f64> = multiples(self.y, step).collect();
        let decimals = usize::from(step < 1.0);
        for (index, value) in ticks.iter().enumerate() {
            let y = self.py(*value);
            let number = crate::text::number(*value, decimals, signed);
            let unit = if index + 1 == ticks.len() { unit } else { "" };
            let space = if unit.is_empty() { "" } else { " " };
            let class = if *value == 0.0 && signed {
                "zero"
            } else {
                "grid"
            };
            let _ = write!(
                self.grounds,
                "<line class=\"{class}\" x1=\"0\" x2=\"100%\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>"
            );
            let _ = write!(
                self.over,
                "<text class=\"tick end\" x=\"-6\" y=\"{:.1}\">{}</text>",
                y + 3.5,
                set(&format!("{number}{space}{unit}"))
            );
        }
    }

    /// Moments of the ride, `room` px under the axes.
    pub(in crate::export) fn ticks_time(&mut self, room: f64, most: f64) {
        let step = clock_step_s((self.x[1] - self.x[0]) / most);
        let (from, to) = (self.x[0], self.x[1]);
        let long = to >= 3600.0;
        for at in multiples([from, to], step) {
            let seconds = at.round() as i64;
            let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
            let text = if long {
                format!("{h}:{m:02}:{s:02}")
            } else {
                format!("{}:{s:02}", seconds / 60)
            };
            self.tick(at, room, &text);
        }
    }

    /// Numbers along x.
    pub(in crate::export) fn ticks_x(&mut self, step: f64, unit: &str) {
        let ticks: Vec<f64> = multiples(self.x, step).collect();
        for (index, value) in ticks.iter().enumerate() {
            let unit = if index + 1 == ticks.len() { unit } else { "" };
            let text = format!("{} {unit}", crate::text::machine_number(*value));
            self.tick(*value, 16.0, text.trim_end());
        }
    }

    fn tick(&mut self, at: f64, room: f64, text: &str) {
        let percent = self.percent(at);
        let class = match percent {
            p if p < 2.0 => "tick",
            p if p > 98.0 => "tick end",
            _ => "tick mid",
        };
        let _ = write!(
            self.over,
            "<text class=\"{class}\" x=\"{percent:.2}%\" y=\"{:.1}\">{}</text>",
            self.bottom() + room,
            set(text)
        );
    }

    /// A curve; `NaN` breaks it.
    pub(in crate::export) fn line(&mut self, class: &str, points: &[[f64; 2]]) {
        let mut path = String::new();
        let mut is_open = false;
        for [x, y] in thinned(points) {
            if !(x.is_finite() && y.is_finite()) {
                is_open = false;
                continue;
            }
            let command = if is_open { ' ' } else { 'M' };
            let (x, y) = (1000.0 * self.share_x(x), self.py(y) - TOP);
            let _ = write!(path, "{command}{x:.1} {y:.1}");
            is_open = true;
        }
        if !path.is_empty() {
            let _ = write!(self.curves, "<path class=\"{class}\" d=\"{path}\"/>");
        }
    }

    /// A ground between two curves over the same x: x, low, high.
    pub(in crate::export) fn area(&mut self, class: &str, points: &[[f64; 3]]) {
        let point =
            |x: f64, y: f64| format!("{:.1} {:.1} ", 1000.0 * self.share_x(x), self.py(y) - TOP);
        let there = points.iter().map(|[x, low, _]| point(*x, *low));
        let back = points.iter().rev().map(|[x, _, high]| point(*x, *high));
        let path: String = there.chain(back).collect();
        if !path.is_empty() {
            let _ = write!(
                self.curves,
                "<path class=\"{class}\" d=\"M{}z\"/>",
                path.trim_end()
            );
        }
    }

    /// A ground over the whole height between two values of x, at least 2 px wide.
    pub(in crate::export) fn ground(&mut self, class: &str, x: [f64; 2]) {
        let (from, to) = (self.percent(x[0]), self.percent(x[1]));
        let _ = write!(
            self.grounds,
            "<rect class=\"{class}\" x=\"{from:.2}%\" y=\"{TOP}\" width=\"{:.2}%\" height=\"{:.1}\"/>",
            (to - from).max(0.4),
            self.height
        );
    }

    /// A stroke from one height to another, px.
    pub(in crate::export) fn upright(&mut self, class: &str, x: f64, y: [f64; 2]) {
        let percent = self.percent(x);
        let _ = write!(
            self.over,
            "<line class=\"{class}\" x1=\"{percent:.2}%\" x2=\"{percent:.2}%\" y1=\"{:.1}\" y2=\"{:.1}\"/>",
            y[0], y[1]
        );
    }

    /// A stroke over the whole height.
    pub(in crate::export) fn rule(&mut self, class: &str, x: f64) {
        self.upright(class, x, [TOP, self.bottom()]);
    }

    /// A stroke along x at `y` px.
    pub(in crate::export) fn bar(&mut self, class: &str, x: [f64; 2], y: f64) {
        let (from, to) = (self.percent(x[0]), self.percent(x[1]));
        let _ = write!(
            self.over,
            "<line class=\"{class}\" x1=\"{from:.2}%\" x2=\"{to:.2}%\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>"
        );
    }

    /// The mark of a value at `y` px.
    pub(in crate::export) fn mark(&mut self, finding: Finding, x: f64, y: f64) {
        let _ = write!(
            self.over,
            "<svg class=\"m\" x=\"{:.2}%\" y=\"{y:.1}\">{}</svg>",
            self.percent(x),
            mark(finding)
        );
    }

    /// The sign of an answer at `y` px, right of its place.
    pub(in crate::export) fn sign(&mut self, finding: Finding, class: &str, x: f64, y: f64) {
        let _ = write!(
            self.over,
            "<svg class=\"m{class}\" x=\"{:.2}%\" y=\"{y:.1}\"><g transform=\"translate(5 0)\">{}</g></svg>",
            self.percent(x),
            sign(finding)
        );
    }

    /// A point of a scatter.
    pub(in crate::export) fn dot(&mut self, class: &str, x: f64, y: f64) {
        let _ = write!(
            self.over,
            "<circle class=\"{class}\" cx=\"{:.2}%\" cy=\"{:.1}\" r=\"2.6\"/>",
            self.percent(x),
            self.py(y)
        );
    }

    /// Words at `y` px, `dx` px beside their place.
    pub(in crate::export) fn text(
        &mut self,
        class: &str,
        anchor: Anchor,
        x: f64,
        [dx, y]: [f64; 2],
        text: &str,
    ) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " mid",
        };
        let _ = write!(
            self.over,
            "<text class=\"{class}{anchor}\" x=\"{:.2}%\" dx=\"{dx:.0}\" y=\"{y:.1}\">{}</text>",
            self.percent(x),
            set(text)
        );
    }

    /// The drawing; `alt` says what is seen.
    pub(in crate::export) fn finish(self, alt: &str) -> String {
        format!(
            "<svg class=\"chart\" height=\"{:.0}\" role=\"img\" aria-label=\"{}\">{}<svg class=\"curves\" y=\"{TOP}\" width=\"100%\" height=\"{:.0}\" viewBox=\"0 0 1000 {:.0}\" preserveAspectRatio=\"none\">{}</svg>{}</svg>\n",
            self.bottom() + self.below,
            escaped(alt),
            self.grounds,
            self.height,
            self.height,
            self.curves,
            self.over
        )
    }
}

/// A curve that keeps its spikes: of each column the lowest and the highest, in their order.
fn thinned(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    if points.len() <= POINTS {
        return points.to_vec();
    }
    let chunk = points.len().div_ceil(POINTS / 2);
    let both = points.chunks(chunk).flat_map(|chunk| {
        if chunk.iter().any(|p| !p[1].is_finite()) {
            return [chunk[0], [chunk[0][0], f64::NAN]];
        }
        let by = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
        let low = chunk.iter().min_by(by).copied().unwrap_or(chunk[0]);
        let high = chunk.iter().max_by(by).copied().unwrap_or(chunk[0]);
        if low[0] <= high[0] {
            [low, high]
        } else {
            [high, low]
        }
    });
    both.collect()
}

/// The mark of a value, about the origin.
pub(in crate::export) const fn mark(finding: Finding) -> &'static str {
    match finding {
        Finding::Fault => "<path class=\"mark-fault\" d=\"M0-5.2L5.2 0 0 5.2-5.2 0z\"/>",
        Finding::CannotTell => "<circle class=\"mark-open\" r=\"3.9\"/>",
        Finding::Fine => "<circle class=\"mark-fine\" r=\"4.1\"/>",
        Finding::NotRidden => "",
    }
}

/// The sign of an answer, drawn, about the origin.
pub(in crate::export) const fn sign(finding: Finding) -> &'static str {
    match finding {
        Finding::Fault => "<path class=\"sign-fault\" d=\"M-4-4L4 4M4-4L-4 4\"/>",
        Finding::CannotTell => {
            "<path class=\"sign-open\" d=\"M-3-2.4C-3-5.6 3-5.6 3-2.4 3 0 0 0 0 2\"/><circle class=\"sign-dot\" cy=\"4.6\" r=\"1.1\"/>"
        }
        Finding::Fine => "<path class=\"sign-fine\" d=\"M-4.4.2L-1.6 3.4 4.4-3.6\"/>",
        Finding::NotRidden => "<path class=\"sign-none\" d=\"M-3 0H3\"/>",
    }
}

/// The sign as it stands in a line of text.
pub(in crate::export) fn inline_sign(finding: Finding) -> String {
    format!(
        "<svg class=\"sign\" viewBox=\"-6 -6 12 12\" aria-hidden=\"true\">{}</svg>",
        sign(finding)
    )
}

/// A value with its limits on a scale that ends `limits` limits away: of nothing at the left edge, or
/// in the middle where it has a sign. Fills its cell; what is allowed is ground over its whole height,
/// so that rows join.
pub(in crate::export) fn gauge(finding: Finding, value: [f64; 3], two_sided: bool) -> String {
    let look = (mark(finding), tone(finding));
    marked_gauge(look, value, two_sided.then_some(LIMITS))
}

/// The same with a mark and a tone of its own; two-sided where it says how many limits it reaches to either
/// side.
pub(in crate::export) fn marked_gauge(
    (mark, tone): (&str, &str),
    [value, low, high]: [f64; 3],
    two_sided: Option<f64>,
) -> String {
    let at = |v: f64| {
        let share = match two_sided {
            Some(reach) => 0.5 + 0.5 * v / reach,
            None => v / LIMITS,
        };
        100.0 * share.clamp(0.0, 1.0)
    };
    let is_off = value.abs() > two_sided.unwrap_or(LIMITS);
    let beyond =
        |arrows: &str| format!("<path class=\"mark-off mark-off-{tone}\" d=\"{arrows}\"/>");
    let mark = match (is_off, value < 0.0) {
        (false, _) => mark.to_owned(),
        (true, false) => beyond("M-9-4L-5 0-9 4M-4-4L0 0-4 4"),
        (true, true) => beyond("M9-4L5 0 9 4M4-4L0 0 4 4"),
    };
    let bar = if is_off || high <= low {
        String::new()
    } else {
        format!(
            "<line class=\"bar-{tone}\" x1=\"{:.1}%\" x2=\"{:.1}%\" y1=\".92em\" y2=\".92em\"/>",
            at(low),
            at(high)
        )
    };
    format!(
        "{}{bar}<svg class=\"m\" x=\"{:.1}%\" y=\".92em\">{mark}</svg></svg>",
        ground(two_sided),
        at(value)
    )
}

/// An empty gauge: what is allowed, and no value.
pub(in crate::export) fn empty_gauge(two_sided: bool) -> String {
    format!("{}</svg>", ground(two_sided.then_some(LIMITS)))
}

fn ground(two_sided: Option<f64>) -> String {
    let edge = |x: f64| {
        format!("<line class=\"edge\" x1=\"{x:.2}%\" x2=\"{x:.2}%\" y1=\"0\" y2=\"100%\"/>")
    };
    let (from, width, edges) = match two_sided {
        Some(reach) => {
            let half = 50.0 / reach;
            (
                50.0 - half,
                2.0 * half,
                edge(50.0 - half) + &edge(50.0 + half),
            )
        }
        None => (0.0, 100.0 / LIMITS, edge(100.0 / LIMITS)),
    };
    format!(
        "<svg class=\"gauge\" aria-hidden=\"true\"><rect class=\"allowed\" x=\"{from:.2}%\" width=\"{width:.2}%\" height=\"100%\"/>{edges}"
    )
}

/// Name of the tone of an answer, for a class.
pub(in crate::export) const fn tone(finding: Finding) -> &'static str {
    match finding {
        Finding::Fault => "fault",
        Finding::CannotTell => "open",
        Finding::Fine => "fine",
        Finding::NotRidden => "none",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_ends_at_round_numbers() {
        assert_eq!(
            rounded([180.0, 263.0].into_iter(), 4.0),
            ([150.0, 300.0], 50.0)
        );
        assert_eq!(rounded([f64::NAN].into_iter(), 4.0), ([0.0, 1.0], 1.0));
        let ([low, high], _) = rounded([5.0, 5.0].into_iter(), 4.0);
        assert!(low < 5.0 && high > 5.0 || low < high);
    }

    #[test]
    fn a_long_curve_keeps_its_spikes_and_its_gaps() {
        let mut points: Vec<[f64; 2]> = (0..20_000).map(|t| [f64::from(t), 100.0]).collect();
        points[7_777][1] = 900.0;
        points[9_000][1] = f64::NAN;
        let few = thinned(&points);
        assert!(few.len() <= POINTS);
        assert!(few.iter().any(|p| p[1] == 900.0));
        assert!(few.iter().any(|p| p[1].is_nan()));
    }

    #[test]
    fn a_value_lies_on_its_side_of_the_limit() {
        let fault = gauge(Finding::Fault, [2.0, 1.5, 2.5], false);
        assert!(fault.contains("x1=\"50.0%\" x2=\"83.3%\""), "{fault}");
        let low = gauge(Finding::CannotTell, [-0.9, -1.5, -0.3], true);
        assert!(low.contains("x1=\"25.0%\" x2=\"45.0%\""), "{low}");
        assert!(gauge(Finding::Fault, [7.0, 7.0, 7.0], false).contains("mark-off"));
    }
}
