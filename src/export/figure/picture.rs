//! A picture as plain data: axes and layers in the units of the figures. What draws it stands in
//! [`super::paint`]; what is drawn, in the files beside it.

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
    /// Quantity and unit.
    pub label: String,
    /// First and last value shown.
    pub range: [f64; 2],
    /// How its ticks are chosen and written.
    pub ticks: Ticks,
}

/// How ticks are chosen and written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ticks {
    /// Round numbers.
    Numbers,
    /// Moments of the ride.
    Clock,
    /// The axis holds log10 of a duration in seconds.
    Durations,
}

/// One thing drawn. `NaN` in a line breaks it.
#[derive(Clone, Debug, PartialEq)]
pub enum Layer {
    /// Connected points.
    Line {
        /// Name in the legend.
        name: String,
        /// Points in the axes' units.
        points: Vec<[f64; 2]>,
        /// How it looks.
        style: Style,
    },
    /// Separate points.
    Points {
        /// Name in the legend.
        name: String,
        /// Points in the axes' units.
        points: Vec<[f64; 2]>,
        /// How they look.
        style: Style,
    },
    /// A horizontal stretch between two values.
    Band {
        /// Name in the legend.
        name: String,
        /// The two values.
        between: [f64; 2],
    },
    /// A horizontal rule.
    Rule {
        /// Name in the legend.
        name: String,
        /// The value.
        at: f64,
        /// How it looks.
        style: Style,
    },
    /// A vertical rule.
    Upright {
        /// Name in the legend.
        name: String,
        /// The value.
        at: f64,
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
}

impl Layer {
    /// The name in the legend; empty for what is not in it.
    pub fn name(&self) -> &str {
        match self {
            Layer::Line { name, .. }
            | Layer::Points { name, .. }
            | Layer::Band { name, .. }
            | Layer::Rule { name, .. }
            | Layer::Upright { name, .. } => name,
            Layer::Cell { .. } => "",
        }
    }
}

/// Colour, marker and dash together: any one of them tells lines apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// One of the published colour-blind-safe set.
    pub ink: Ink,
    /// Marker, also set sparsely along lines.
    pub marker: Option<Marker>,
    /// Whether a line is dashed.
    pub dashed: bool,
    /// Line width in units of the thinnest.
    pub weight: f64,
}

/// Okabe & Ito's set (Color Universal Design, 2008), without the yellow that paper does not show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Black.
    Black,
    /// Grey, for rules.
    Grey,
    /// Vermilion.
    Vermilion,
    /// Blue.
    Blue,
    /// Bluish green.
    Green,
    /// Reddish purple.
    Purple,
    /// Orange.
    Orange,
    /// Sky blue.
    Sky,
}

impl Ink {
    /// Red, green, blue.
    pub const fn rgb(self) -> (u8, u8, u8) {
        match self {
            Ink::Black => (0, 0, 0),
            Ink::Grey => (110, 110, 110),
            Ink::Vermilion => (213, 94, 0),
            Ink::Blue => (0, 114, 178),
            Ink::Green => (0, 158, 115),
            Ink::Purple => (204, 121, 167),
            Ink::Orange => (230, 159, 0),
            Ink::Sky => (86, 180, 233),
        }
    }
}

/// Shapes of markers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    /// A disc.
    Disc,
    /// A square.
    Square,
    /// A triangle on its base.
    Triangle,
    /// A square on its corner.
    Diamond,
    /// A triangle on its tip.
    Drop,
    /// A ring.
    Ring,
}

impl Style {
    /// The look of the stream at a place of the session, the same in every picture.
    pub const fn of_stream(index: usize) -> Self {
        const LOOKS: [(Ink, Marker); 6] = [
            (Ink::Vermilion, Marker::Disc),
            (Ink::Blue, Marker::Square),
            (Ink::Green, Marker::Triangle),
            (Ink::Purple, Marker::Diamond),
            (Ink::Orange, Marker::Drop),
            (Ink::Sky, Marker::Ring),
        ];
        // Beyond the colours they come again with other markers.
        let (ink, _) = LOOKS[index % LOOKS.len()];
        let (_, marker) = LOOKS[(index + index / LOOKS.len()) % LOOKS.len()];
        Self {
            ink,
            marker: Some(marker),
            dashed: false,
            weight: if index == 0 { 1.6 } else { 1.2 },
        }
    }

    /// The look of the references' mean.
    pub const CONSENSUS: Style = Style {
        ink: Ink::Black,
        marker: None,
        dashed: false,
        weight: 1.4,
    };

    /// A thin dashed rule.
    pub const RULE: Style = Style {
        ink: Ink::Grey,
        marker: None,
        dashed: true,
        weight: 1.2,
    };

    /// The zero line.
    pub const ZERO: Style = Style {
        ink: Ink::Black,
        marker: None,
        dashed: false,
        weight: 0.8,
    };

    /// A heavy dashed line for what is fitted or modelled.
    pub const MODEL: Style = Style {
        ink: Ink::Black,
        marker: None,
        dashed: true,
        weight: 2.0,
    };
}

/// The smallest range that holds every finite value, with a little room; `[lowest, lowest + 1]`
/// where all are the same, `[0, 1]` where there are none.
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
