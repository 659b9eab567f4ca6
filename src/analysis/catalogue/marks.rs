//! The marks of the screens, and what they stand for: read by the help, by `truing explain`, by README.

use crate::analysis::figure::Figure;

const OURS: &str = "this program's marks";

const fn mark(id: &'static str, label: &'static str, definition: &'static str) -> Figure {
    Figure {
        id,
        label,
        definition,
        source: OURS,
        ..Figure::PLAIN
    }
}

/// In the order in which a tester meets them.
pub const MARKS: &[Figure] = &[
    mark(
        "fine",
        "✓",
        "Fine: the value with all of its uncertainty lies within the limit.",
    ),
    mark(
        "fault",
        "✗",
        "A fault: the value with all of its uncertainty lies beyond the limit.",
    ),
    mark(
        "cannot tell",
        "?",
        "Cannot tell: the uncertainty reaches across the limit, or something is missing; the line says what would tell.",
    ),
    mark(
        "not ridden",
        "·",
        "Not ridden: the ride holds nothing that answers this question.",
    ),
    mark(
        "strip",
        "▁▄█",
        "The whole ride, the highest second of each column; bright is what the view is about, the thin line is the cursor. Below it each segment with its sign, its number and a bar as long as it lasts.",
    ),
    mark(
        "gauge",
        "━◆━",
        "A value with its uncertainty over green ground, which is what is allowed: in a list its size, from 0 at the left edge to the limit where the ground ends, three limits wide; in a proof with its sign, from −limit to +limit.",
    ),
    mark(
        "off the gauge",
        "»",
        "The value lies beyond the end of its gauge.",
    ),
    mark(
        "lane ground",
        "▒",
        "Green ground in a lane or picture: what the claim allows there.",
    ),
    mark(
        "mean over range",
        "⣀⡇",
        "Where a column holds many seconds: a line for their mean, grey behind it from the lowest to the highest second. Grey curves lie outside the window.",
    ),
    mark(
        "beyond the lane",
        "▲▼",
        "The curve leaves the lane there, upwards or downwards.",
    ),
    mark(
        "excursion mark",
        "△",
        "An excursion outside every segment: the source leaves the references by more than their spread and its lag explain.",
    ),
    mark(
        "dropout mark",
        "▽",
        "A dropout: samples are missing, frozen or falsely zero.",
    ),
    mark(
        "loss taken off",
        "−%",
        "What the drivetrain takes between the references and the source, as stated for the session: the references are carried over by it, and what is left of the difference is held against the claim.",
    ),
    mark(
        "scatter 95 %",
        "±",
        "Limits of the mean difference of a window from the scatter of its seconds alone; the uncertainty of a judged block holds that of the references and of the loss as well.",
    ),
    mark(
        "window edges",
        "┊",
        "The edges of the window: the figures are of what lies between.",
    ),
    mark(
        "cursor",
        "▴",
        "The cursor: its time stands under it, the values there in the first column right of each lane; the second column is of the window.",
    ),
];
