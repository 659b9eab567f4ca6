//! What each figure of a slope means and how it is printed.

use crate::analysis::figure::{Figure, OURS};

const MODEL: &str = "Martin et al. 1998, J Appl Biomech 14:276, with the share of the gradient and the flywheel added; coverage measured by simulation";
const MAP: &str = "The recorded grade may be the map's, before the app's difficulty setting. The open command for slopes carries no mass: what is measured is the share times the mass entered in the app.";
const INSTANT: &str = "The grade is recorded once a second: the instant it changes is known to a second. An error of the clocks goes straight into it.";

/// The figures.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.slope.share",
        label: "share of the gradient",
        short: "share κ",
        decimals: 3,
        definition: "Which share κ of the gradient asked for arrives as force at the wheel; null where the mass entered in the app is not stated under [simulation].",
        formula: "F = y/v = κ·m g sin α + c_r·m g cos α + ½C_w·v² + m_a·dv/dt, least squares over means of 15 s without the first 15 s of a plateau",
        source: MODEL,
        caveat: MAP,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.share_ci95",
        label: "share of the gradient, 95 % CI",
        short: "share κ, 95 % CI",
        decimals: 3,
        definition: "95 % confidence interval of that share: the scatter, the references' claims and the loss between the sites.",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.mass_kg",
        label: "mass whose gradient arrives",
        short: "κ·m",
        unit: "kg",
        decimals: 1,
        definition: "The mass whose whole gradient would make the force measured: the share times the mass entered in the app.",
        formula: "κ·m of the same fit",
        source: MODEL,
        caveat: MAP,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.mass_ci95_kg",
        label: "mass whose gradient arrives, 95 % CI",
        short: "κ·m, 95 % CI",
        unit: "kg",
        decimals: 1,
        definition: "95 % confidence interval of that mass.",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.delay_s",
        label: "delay of the gradient",
        short: "delay",
        unit: "s",
        decimals: 1,
        definition: "How late a step of the gradient arrives at the wheel, mean of all steps, larger ones weighing more.",
        formula: "∫(G₂ − G)/(G₂ − G₁) dt from the instant the grade changes, G the force without rolling, drag and flywheel",
        source: OURS,
        caveat: INSTANT,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.delay_ci95_s",
        label: "delay of the gradient, 95 % CI",
        short: "delay, 95 % CI",
        unit: "s",
        decimals: 1,
        definition: "95 % confidence interval of that mean, by the scatter from step to step and what the flywheel leaves open.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.flywheel_kg",
        label: "apparent mass of the flywheel",
        short: "flywheel",
        unit: "kg",
        decimals: 1,
        definition: "The mass at the wheel's rim that would take as much power to accelerate as the trainer does; null where the speed hardly changes.",
        formula: "m_a of y = … + m_a·½(v₂² − v₁²)/Δt, the sum over 2 s to either side, least squares over every second",
        source: MODEL,
        caveat: "Whatever turns with the wheel is in it. A recorded speed that is smoothed over more than 2 s makes it too small.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.flywheel_ci95_kg",
        label: "apparent mass of the flywheel, 95 % CI",
        short: "flywheel, 95 % CI",
        unit: "kg",
        decimals: 1,
        definition: "95 % confidence interval of that mass.",
        formula: "delete-a-group jackknife over 40 s",
        source: "Efron & Tibshirani 1993, ch. 11, from memory",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.rolling_n",
        label: "rolling resistance",
        short: "rolling",
        unit: "N",
        decimals: 1,
        definition: "Rolling resistance that the trainer makes, c_r·m g; null where it was taken from [simulation].",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.drag_kg_m",
        label: "half C_w",
        unit: "kg/m",
        decimals: 3,
        definition: "Air drag that the trainer makes, ½C_w, N per (m/s)²; null where it was taken from [simulation].",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.from_s",
        label: "plateau from",
        short: "plateau",
        unit: "s",
        definition: "Start of a stretch of 40 s or more at one grade and one speed.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.to_s",
        label: "plateau to",
        unit: "s",
        definition: "Its end.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.grade_percent",
        label: "grade",
        unit: "%",
        decimals: 1,
        signed: true,
        definition: "The grade asked for there.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.speed_mps",
        label: "plateau speed",
        short: "speed",
        unit: "m/s",
        decimals: 2,
        definition: "Mean wheel speed without the first 15 s.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.force_n",
        label: "force",
        unit: "N",
        decimals: 1,
        definition: "Mean force at the wheel without the first 15 s.",
        formula: "F = y/v, y the references carried to the source's site",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.force_ci95_n",
        label: "force, 95 % CI",
        unit: "N",
        decimals: 1,
        definition: "95 % confidence interval of that mean, by the scatter of its means of 5 s.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.plateaus.asked_n",
        label: "force asked for",
        short: "asked",
        unit: "N",
        decimals: 1,
        definition: "Force that mass, rolling and drag of [simulation] ask for at that grade and speed.",
        formula: "m g sin α + c_r·m g cos α + ½C_w·v²",
        source: "Martin et al. 1998, J Appl Biomech 14:276",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.from_percent",
        label: "band from",
        unit: "%",
        signed: true,
        definition: "A band of the gradient: from this grade on.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.to_percent",
        label: "band to",
        unit: "%",
        signed: true,
        definition: "Up to this grade.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.share",
        label: "share in the band",
        decimals: 3,
        definition: "Share κ of the gradient by the plateaus of that band alone; rolling and drag are those of all.",
        source: MODEL,
        caveat: MAP,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.share_ci95",
        label: "share in the band, 95 % CI",
        decimals: 3,
        definition: "95 % confidence interval of that share.",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.mass_kg",
        label: "mass in the band",
        unit: "kg",
        decimals: 1,
        definition: "The same share times the mass entered in the app.",
        source: MODEL,
        caveat: MAP,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.bands.mass_ci95_kg",
        label: "mass in the band, 95 % CI",
        unit: "kg",
        decimals: 1,
        definition: "95 % confidence interval of that mass.",
        source: MODEL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.steps.at_s",
        label: "step of the grade at",
        short: "step at",
        unit: "s",
        definition: "When the recorded grade changes, session time.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.steps.from_percent",
        label: "grade before",
        unit: "%",
        decimals: 1,
        signed: true,
        definition: "Grade before the step.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.steps.to_percent",
        label: "grade after",
        unit: "%",
        decimals: 1,
        signed: true,
        definition: "Grade after the step.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.steps.delay_s",
        label: "delay of the step",
        short: "delay",
        unit: "s",
        decimals: 1,
        definition: "How late this step arrives, by area.",
        formula: "∫(G₂ − G)/(G₂ − G₁) dt",
        source: OURS,
        caveat: INSTANT,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.steps.delay_ci95_s",
        label: "delay of the step, 95 % CI",
        unit: "s",
        decimals: 1,
        definition: "95 % confidence interval of that delay, by the scatter on the plateaus and what the flywheel leaves open.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.slope.note",
        label: "slope note",
        definition: "What could not be told of the slope, and what would tell it.",
        source: OURS,
        ..Figure::PLAIN
    },
];
