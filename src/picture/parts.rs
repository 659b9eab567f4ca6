//! A picture as plain data: axes and layers in the units of the figures. It knows neither paper nor
//! screen; each of them paints it.

use super::tone::Tone;

/// A picture with one pair of axes.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What it shows, in a few words.
    pub title: String,
    /// Window, number of samples, smoothing and the decisive figures: lines under the title.
    pub facts: Vec<String>,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    /// What is drawn, from the back to the front.
    pub layers: Vec<Layer>,
}

/// An axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Quantity.
    pub label: String,
    /// Its unit; empty for times and names.
    pub unit: &'static str,
    /// First and last value shown. What lies beyond is marked at the edge.
    pub range: [f64; 2],
    /// How its ticks are chosen and written.
    pub ticks: Ticks,
}

impl Axis {
    /// Of numbers.
    pub fn numbers(label: &str, unit: &'static str, range: [f64; 2]) -> Self {
        Self {
            label: label.to_owned(),
            unit,
            range,
            ticks: Ticks::Numbers,
        }
    }

    /// Of names: one row each, the first on top, at the values 0, 1, 2 … from the top.
    pub fn rows(rows: Vec<Row>) -> Self {
        Self {
            label: String::new(),
            unit: "",
            range: [rows.len() as f64 - 0.5, -0.5],
            ticks: Ticks::Rows(rows),
        }
    }

    /// Where `value` lies between the first and the last value; below 0 or above 1 beyond them.
    pub fn share(&self, value: f64) -> f64 {
        let [from, to] = self.range;
        (value - from) / (to - from)
    }

    /// Whether `value` lies between the first and the last value.
    pub fn holds(&self, value: f64) -> bool {
        (0.0..=1.0).contains(&self.share(value))
    }
}

/// How ticks are chosen and written.
#[derive(Clone, Debug, PartialEq)]
pub enum Ticks {
    /// Round numbers.
    Numbers,
    /// Round numbers with their sign: differences.
    Signed,
    /// Moments of the ride.
    Clock,
    /// The axis holds log10 of a duration in seconds.
    Durations,
    /// Names, with a figure at the other end.
    Rows(Vec<Row>),
}

/// A row of names.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it is of.
    pub name: String,
    /// Its figure.
    pub value: String,
    /// What its figure says.
    pub tone: Tone,
}

/// One thing drawn. A name is its entry in the legend; without one it has none. `NaN` breaks a line
/// or a ground.
#[derive(Clone, Debug, PartialEq)]
pub enum Layer {
    /// Connected points.
    Line {
        /// Name in the legend.
        name: String,
        /// Points in the axes' units.
        points: Vec<[f64; 2]>,
        /// What it is.
        tone: Tone,
        /// Solid or dashed.
        stroke: Stroke,
    },
    /// Lowest and highest of what a line is the mean of: x, low, high.
    Spread {
        /// Name in the legend.
        name: String,
        /// Along x.
        points: Vec<[f64; 3]>,
    },
    /// Where two lines are further apart than is allowed: x, low, high.
    Gap {
        /// Name in the legend.
        name: String,
        /// Along x.
        points: Vec<[f64; 3]>,
    },
    /// What is allowed along x: x, low, high.
    Allowed {
        /// Name in the legend.
        name: String,
        /// Along x.
        points: Vec<[f64; 3]>,
    },
    /// A ground between two values of x over the whole height, or over some rows.
    Ground {
        /// Name in the legend.
        name: String,
        /// Between these values.
        x: [f64; 2],
        /// Between these values; infinite: the whole height.
        y: [f64; 2],
        /// [`Tone::Fine`]: what is allowed; [`Tone::Fault`]: what is not; else a quiet ground.
        tone: Tone,
    },
    /// Separate points.
    Points {
        /// Name in the legend.
        name: String,
        /// Points in the axes' units.
        points: Vec<[f64; 2]>,
        /// What they are.
        tone: Tone,
        /// How they look.
        mark: Mark,
    },
    /// Intervals: x, low, high; upright strokes.
    Bars {
        /// Name in the legend.
        name: String,
        /// The intervals.
        bars: Vec<[f64; 3]>,
        /// What they are.
        tone: Tone,
    },
    /// A horizontal rule.
    Rule {
        /// Name in the legend.
        name: String,
        /// The value.
        at: f64,
        /// What it is.
        tone: Tone,
        /// Solid or dashed.
        stroke: Stroke,
    },
    /// A vertical rule.
    Upright {
        /// Name in the legend.
        name: String,
        /// The value.
        at: f64,
        /// What it is.
        tone: Tone,
    },
    /// A filled rectangle with a text on it.
    Cell {
        /// Between these values.
        x: [f64; 2],
        /// Between these values.
        y: [f64; 2],
        /// From −1 (far below zero) over 0 to 1 (far above); `None` where nothing is known.
        shade: Option<f64>,
        /// Lines of text.
        text: Vec<String>,
    },
    /// Words at a point; they move until they cover nothing.
    Label {
        /// Where they belong.
        at: [f64; 2],
        /// The words.
        text: String,
        /// What they speak of.
        tone: Tone,
    },
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stroke {
    /// Solid.
    #[default]
    Solid,
    /// Dashed: fitted, modelled or set.
    Dashed,
    /// A hair line.
    Hair,
}

/// Shapes of marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A small dot, of many.
    Dot,
    /// A disc: fine.
    Disc,
    /// A square on its corner: a fault.
    Diamond,
    /// A ring: cannot tell.
    Ring,
    /// A triangle on its base.
    Triangle,
    /// A triangle on its tip: a dropout.
    Drop,
    /// A square.
    Square,
    /// A cross.
    Cross,
    /// Off the scale to the right.
    Beyond,
}

impl Layer {
    /// The name in the legend; empty for what is not in it.
    pub fn name(&self) -> &str {
        match self {
            Layer::Line { name, .. }
            | Layer::Spread { name, .. }
            | Layer::Gap { name, .. }
            | Layer::Allowed { name, .. }
            | Layer::Ground { name, .. }
            | Layer::Points { name, .. }
            | Layer::Bars { name, .. }
            | Layer::Rule { name, .. }
            | Layer::Upright { name, .. } => name,
            Layer::Cell { .. } | Layer::Label { .. } => "",
        }
    }

    /// Every finite point that it shows; what has no end in one direction shows none.
    pub fn points(&self) -> Vec<[f64; 2]> {
        let ends = |bars: &[[f64; 3]]| -> Vec<[f64; 2]> {
            let ends = bars
                .iter()
                .flat_map(|[x, low, high]| [[*x, *low], [*x, *high]]);
            ends.collect()
        };
        let mut all = match self {
            Layer::Line { points, .. } | Layer::Points { points, .. } => points.clone(),
            Layer::Spread { points, .. }
            | Layer::Gap { points, .. }
            | Layer::Allowed { points, .. } => ends(points),
            Layer::Bars { bars, .. } => ends(bars),
            Layer::Cell { x, y, .. } => vec![[x[0], y[0]], [x[1], y[1]]],
            Layer::Ground { .. }
            | Layer::Rule { .. }
            | Layer::Upright { .. }
            | Layer::Label { .. } => Vec::new(),
        };
        all.retain(|[x, y]| x.is_finite() && y.is_finite());
        all
    }
}

/// A rule at zero.
pub fn zero() -> Layer {
    Layer::Rule {
        name: String::new(),
        at: 0.0,
        tone: Tone::Rule,
        stroke: Stroke::Hair,
    }
}

/// A solid line.
pub fn line(name: impl Into<String>, points: Vec<[f64; 2]>, tone: Tone) -> Layer {
    Layer::Line {
        name: name.into(),
        points,
        tone,
        stroke: Stroke::Solid,
    }
}

/// Every value that the layers show on the vertical axis, rules among them.
pub fn heights(layers: &[Layer]) -> impl Iterator<Item = f64> {
    layers.iter().flat_map(|layer| match layer {
        Layer::Rule { at, .. } => vec![*at],
        other => other.points().iter().map(|p| p[1]).collect(),
    })
}

/// The smallest range that holds every finite value, with a little room; one unit where all are the
/// same, `[0, 1]` where there are none.
pub fn range_of(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
    if low > high {
        return [0.0, 1.0];
    }
    let room = (high - low) * 0.05;
    if room > 0.0 {
        [low - room, high + room]
    } else {
        [low - 0.5, high + 0.5]
    }
}

/// The range of a power axis: that of the values, with zero where that costs little.
pub fn power_range(layers: &[Layer]) -> [f64; 2] {
    let [low, high] = range_of(heights(layers));
    let near = low < 0.4 * high;
    if near {
        [low.min(0.0), high]
    } else {
        [low, high]
    }
}

/// Times the half-width of what is allowed that a range of differences shows at the least and at
/// the most on either side of its middle, and the share of the values that lies beyond either end.
const LEAST: f64 = 1.4;
const MOST: f64 = 5.0;
const BEYOND: f64 = 0.015;

/// The range of differences around what is allowed: the claim keeps a readable height whatever one
/// sprint does. Without a claim it takes in nearly all of the values.
pub fn difference_range(values: impl Iterator<Item = f64>, allowed: Option<[f64; 2]>) -> [f64; 2] {
    let [low, high] = allowed.unwrap_or([0.0, 0.0]);
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    let mut from_middle: Vec<f64> = values
        .filter(|v| v.is_finite())
        .map(|v| v - middle)
        .collect();
    from_middle.sort_by(f64::total_cmp);
    let cut = (from_middle.len() as f64 * BEYOND) as usize;
    let usual = [
        from_middle.get(cut).map(|v| -v),
        from_middle.iter().rev().nth(cut).copied(),
    ];
    let [below, above] = usual.map(|usual| {
        let usual = 1.08 * usual.unwrap_or(1.0);
        match half > 0.0 {
            true => usual.clamp(LEAST * half, MOST * half),
            false => usual.max(0.5),
        }
    });
    [middle - below, middle + above]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_of_differences_keeps_the_claim_readable() {
        let quiet = [0.5, -0.5, 0.2, 0.1];
        assert_eq!(
            difference_range(quiet.into_iter(), Some([-5.0, 5.0])),
            [-7.0, 7.0]
        );
        // A sprint in a hundred seconds stays out of it, a common scatter is taken in.
        let sprint = |i: i32| if i < 1 { 300.0 } else { f64::from(i % 7) };
        let [low, high] = difference_range((0..100).map(sprint), Some([-5.0, 1.0]));
        assert!((low + 6.2).abs() < 1e-9 && (high - (8.0 * 1.08 - 2.0)).abs() < 1e-9);
        let wide = difference_range((0..100).map(f64::from), Some([-5.0, 5.0]));
        assert_eq!(wide, [-7.0, 25.0]);
        let [low, high] = difference_range((0..100).map(f64::from), None);
        assert!((high - 1.08 * 98.0).abs() < 1e-9 && low == -0.5);
    }

    #[test]
    fn zero_is_shown_where_it_costs_little() {
        let layers = |low: f64, high: f64| [line("", vec![[0.0, low], [1.0, high]], Tone::Model)];
        assert_eq!(power_range(&layers(180.0, 260.0)), [176.0, 264.0]);
        assert_eq!(power_range(&layers(100.0, 600.0))[0], 0.0);
    }
}
