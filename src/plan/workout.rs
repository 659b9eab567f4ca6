//! A plan as a workout by the open FIT protocol, for the app or head unit that controls the trainer:
//! a step for each held power, with its name, length and target in W.
//!
//! What no workout can ask for (an all-out sprint, a coast, a gear change, a grade) becomes an open
//! step that says in its note what to do. A power that rises steadily becomes a staircase.

use std::io::Cursor;

use embedded_io_adapters::std::FromStd;
use rustyfit::Encoder;
use rustyfit::profile::{mesgdef, typedef};
use rustyfit::proto::{FIT, Message};

use super::error::PlanError;
use super::leg::{Leg, Shape};
use super::model::Plan;
use crate::session::Kind;
use crate::text::{clean_text, machine_number};

/// Longest step of a staircase that stands for a steady rise, s.
const STAIR_S: f64 = 30.0;
/// Longest name of a step, and longest note, bytes with the zero at their end: a head unit's screen
/// shows no more of a name, and a field of FIT holds no more.
const LONGEST_NAME: usize = 40;
const LONGEST_NOTE: usize = 250;

/// A step of a workout.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What it is, for the head unit's screen.
    pub name: String,
    /// Its length, s.
    pub duration_s: f64,
    /// The power to hold, W; `None` where the workout leaves it open.
    pub target_w: Option<f64>,
    /// What to tell the rider.
    pub note: String,
    /// Whether it is a rest.
    pub is_rest: bool,
}

/// The steps of `plan`, in order.
pub fn steps(plan: &Plan) -> Vec<Step> {
    plan.legs().iter().flat_map(steps_of).collect()
}

fn steps_of(leg: &Leg) -> Vec<Step> {
    let length_s = leg.duration_s();
    let step = |duration_s: f64, target_w: Option<f64>, what: String| Step {
        name: match target_w {
            Some(watts) => format!("{} {watts:.0} W", called(leg)),
            None => called(leg).to_owned(),
        },
        duration_s,
        target_w,
        note: noted(&what, leg),
        is_rest: leg.kind == Kind::Open,
    };
    let equal = |levels: &[f64]| -> Vec<Step> {
        let of = |(watts, part_s): (&f64, f64)| step(part_s, Some(*watts), String::new());
        levels
            .iter()
            .zip(parts(length_s, levels.len()))
            .map(of)
            .collect()
    };
    match &leg.shape {
        Shape::Hold(watts) if leg.gears.len() > 1 => {
            let gears: Vec<String> = leg.gears.iter().map(ToString::to_string).collect();
            let each_s = length_s / gears.len() as f64;
            let what = format!(
                "Hold {watts:.0} W and shift every {} s: {}",
                machine_number(each_s),
                gears.join(", ")
            );
            vec![step(length_s, None, what)]
        }
        Shape::Hold(watts) => vec![step(length_s, Some(*watts), String::new())],
        Shape::Line(from, to) => {
            let count = (length_s / STAIR_S).ceil().max(1.0) as usize;
            let middle = |index: usize| (index as f64 + 0.5) / count as f64;
            let level = |index: usize| (from + middle(index) * (to - from)).round();
            equal(&(0..count).map(level).collect::<Vec<f64>>())
        }
        Shape::Steps(levels) => equal(levels),
        Shape::Sprint {
            rolling_w,
            effort_s,
            grade_percent,
            ..
        } => {
            let before_s = ((length_s - effort_s) / 2.0).round();
            // On a slope the trainer holds no power: the rider does.
            let rolling = |part_s| match grade_percent {
                None => step(part_s, Some(*rolling_w), String::new()),
                Some(grade) => {
                    let grade = machine_number(*grade);
                    let what = format!("Set the grade to {grade} % and ride at {rolling_w:.0} W");
                    step(part_s, None, what)
                }
            };
            let all_out = step(*effort_s, None, "All out".to_owned());
            let mut steps = vec![
                rolling(before_s),
                all_out,
                rolling(length_s - before_s - effort_s),
            ];
            steps.retain(|step| step.duration_s > 0.0);
            steps
        }
        Shape::Coast => vec![step(length_s, None, "Do not pedal".to_owned())],
        Shape::Grades(grades) => {
            let of = |(grade, part_s): (&f64, f64)| {
                let what = format!("Set the grade to {} %", machine_number(*grade));
                step(part_s, None, what)
            };
            grades
                .iter()
                .zip(parts(length_s, grades.len()))
                .map(of)
                .collect()
        }
    }
}

/// `length_s` in `count` nearly equal parts that end on whole seconds, which is what a head unit
/// counts, s.
fn parts(length_s: f64, count: usize) -> impl Iterator<Item = f64> {
    let end_s = move |index: usize| {
        if index == count {
            length_s
        } else {
            (length_s * index as f64 / count as f64).round()
        }
    };
    (0..count).map(move |index| end_s(index + 1) - end_s(index))
}

/// What a leg is called: its kind, or what it is for where nothing is tested.
fn called(leg: &Leg) -> &str {
    const LONGEST: usize = 24;
    if leg.kind == Kind::Open && (1..=LONGEST).contains(&leg.note.len()) {
        &leg.note
    } else {
        leg.kind.word()
    }
}

/// What a step asks for, the leg's own note, cadence and gear.
fn noted(what: &str, leg: &Leg) -> String {
    let ridden = match (&leg.shape, leg.gears.as_slice()) {
        (Shape::Coast, _) => String::new(),
        (_, [gear]) => format!("{:.0} rpm in {gear}", leg.cadence_rpm),
        _ => format!("{:.0} rpm", leg.cadence_rpm),
    };
    let parts = [what, &leg.note, &ridden];
    let said: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    said.join(". ")
}

/// The workout that `plan` is, as a FIT file made at `created_unix_s`.
///
/// # Errors
/// [`PlanError::Encode`].
pub fn fit(plan: &Plan, created_unix_s: i64) -> Result<Vec<u8>, PlanError> {
    let mut id = mesgdef::FileId::new();
    id.r#type = typedef::File::WORKOUT;
    id.manufacturer = typedef::Manufacturer::DEVELOPMENT;
    id.product = 0;
    id.time_created = typedef::DateTime::from_unix_timestamp(created_unix_s);
    let mut all = vec![id.into()];
    all.extend(messages(&plan.full_name(), &steps(plan)));
    let mut fit = FIT {
        messages: all,
        ..FIT::default()
    };
    let mut cursor = Cursor::new(Vec::new());
    Encoder::new()
        .encode(&mut FromStd::new(&mut cursor), &mut fit)
        .map_err(|error| PlanError::Encode {
            plan: plan.full_name(),
            reason: error.to_string(),
        })?;
    Ok(cursor.into_inner())
}

/// The messages of a workout; powers are coded as W + 1000, lengths in ms (FIT profile).
pub fn messages(name: &str, steps: &[Step]) -> Vec<Message> {
    let mut head = mesgdef::Workout::new();
    head.sport = typedef::Sport::CYCLING;
    head.num_valid_steps = steps.len() as u16;
    head.wkt_name = cut(name, LONGEST_NAME).into();
    let of = |(index, step): (usize, &Step)| {
        let mut message = mesgdef::WorkoutStep::new();
        message.message_index = typedef::MessageIndex(index as u16);
        message.wkt_step_name = cut(&step.name, LONGEST_NAME).into();
        message.notes = cut(&step.note, LONGEST_NOTE).into();
        message.duration_type = typedef::WktStepDuration::TIME;
        message.duration_value = (step.duration_s * 1000.0).round() as u32;
        message.intensity = if step.is_rest {
            typedef::Intensity::REST
        } else {
            typedef::Intensity::ACTIVE
        };
        message.target_type = typedef::WktStepTarget::OPEN;
        if let Some(watts) = step.target_w {
            message.target_type = typedef::WktStepTarget::POWER;
            message.target_value = 0;
            message.custom_target_value_low = watts.round() as u32 + 1000;
            message.custom_target_value_high = watts.round() as u32 + 1000;
        }
        message.into()
    };
    let steps = steps.iter().enumerate().map(of);
    std::iter::once(head.into()).chain(steps).collect()
}

/// The beginning of `text` that fits into `longest` bytes, cleaned.
fn cut(text: &str, longest: usize) -> String {
    let mut text = clean_text(text);
    while text.len() >= longest {
        text.pop();
    }
    text
}
