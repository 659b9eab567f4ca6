//! A plan as a sheet to print and lay beside the bench.

use std::fmt::Write as _;

use super::leg::{Leg, Shape};
use super::model::Plan;
use crate::text::{clean_text, h_mm_ss, hanging, machine_number, one_line};

/// What every sheet and report warns of.
pub const CAUTIONS: &[&str] = &[
    "Maximal and long efforts can hurt. Warm up, stop when unwell, and ask a physician first if in doubt.",
    "A mains-powered trainer is opened only by qualified people. Follow the maker's instructions and local rules.",
    "A verdict is evidence from one ride on one unit. It is no calibration certificate, which takes an accredited laboratory.",
];

/// Width of a sheet, characters.
const WIDTH: usize = 76;

/// The plan as text, at most 76 characters wide: purpose, table of legs with clock times, what to
/// do before, cautions.
pub fn sheet(plan: &Plan) -> String {
    let mut out = String::new();
    let rule = "=".repeat(plan.title.chars().count());
    push_line(&mut out, &plan.title);
    push_line(&mut out, &rule);
    push_line(&mut out, "");
    out.push_str(&hanging("", &one_line(&plan.purpose), WIDTH));
    push_line(&mut out, "");
    push_line(&mut out, &format!("Length {}", clock(plan.duration_s())));
    push_list(
        &mut out,
        "A ride after this plan can answer:",
        plan.covers.iter(),
    );
    push_legs(&mut out, &plan.legs());
    push_list(&mut out, "What it is ridden for:", reasons(plan).iter());
    push_list(&mut out, "Before you start:", BEFORE.iter());
    let cautions = plan.cautions.iter().map(String::as_str);
    push_list(
        &mut out,
        "Cautions:",
        cautions.chain(CAUTIONS.iter().copied()),
    );
    out
}

/// What a tester sees to before any plan (common practice, no source).
const BEFORE: &[&str] = &[
    "Each source on its own recorder, at one sample a second, clocks set, all batteries full.",
    "One heart-rate strap heard by two recorders or more: it ties their clocks together.",
    "Zero every meter as its maker tells. Note unit, firmware, bike, room temperature.",
    "Start all recorders before the first phase and stop them after the last.",
    "The trainer under control holds the power; do not shift unless the plan says so.",
];

/// What each phase is ridden for, with when it begins, where the plan says it.
fn reasons(plan: &Plan) -> Vec<String> {
    let mut at_s = 0.0;
    let mut reasons = Vec::new();
    for phase in &plan.phases {
        if !phase.why.is_empty() {
            reasons.push(format!("{} {}: {}", clock(at_s), phase.kind, phase.why));
        }
        at_s += phase.total_s();
    }
    reasons
}

fn push_legs(out: &mut String, legs: &[Leg]) {
    push_line(out, "");
    push_line(
        out,
        &format!(
            "{:>7}  {:>6}  {:<13} {:<16} {:>4} {:<7} {}",
            "from", "length", "what", "power W", "rpm", "gear", "note"
        ),
    );
    for leg in legs {
        let gears: Vec<String> = leg.gears.iter().map(ToString::to_string).collect();
        let (first, more) = gears.split_first().map_or(("", &[][..]), |(f, m)| (f, m));
        push_line(
            out,
            format!(
                "{:>7}  {:>6}  {:<13} {:<16} {:>4} {:<7} {}",
                clock(leg.from_s),
                clock(leg.duration_s()),
                leg.kind.word(),
                power(leg),
                cadence(leg),
                first,
                leg.note
            )
            .trim_end(),
        );
        if !more.is_empty() {
            push_line(out, &format!("{:49}then {}", "", more.join(", ")));
        }
        if let Shape::Steps(levels) | Shape::Grades(levels) = &leg.shape {
            let levels: Vec<String> = levels.iter().map(|level| machine_number(*level)).collect();
            push_line(out, &format!("{:32}{}", "", levels.join(" ")));
        }
    }
}

fn power(leg: &Leg) -> String {
    match &leg.shape {
        Shape::Hold(watts) => format!("{watts:.0}"),
        Shape::Line(from, to) => format!("{from:.0} to {to:.0}"),
        Shape::Steps(levels) => format!("{} steps", levels.len()),
        Shape::Sprint {
            effort_s,
            grade_percent: Some(grade),
            ..
        } => format!("{effort_s:.0} s at {} %", machine_number(*grade)),
        Shape::Sprint { effort_s, .. } => format!("all out {effort_s:.0} s"),
        Shape::Coast => "none".to_owned(),
        Shape::Grades(grades) => format!("{} grades, %", grades.len()),
    }
}

fn cadence(leg: &Leg) -> String {
    match leg.shape {
        Shape::Coast => String::new(),
        _ => format!("{:.0}", leg.cadence_rpm),
    }
}

/// Minutes and seconds, or hours as well.
fn clock(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    if whole >= 3600 {
        h_mm_ss(whole)
    } else {
        format!("{}:{:02}", whole / 60, whole % 60)
    }
}

fn push_list<T: AsRef<str>>(out: &mut String, head: &str, lines: impl Iterator<Item = T>) {
    let mut lines = lines.peekable();
    if lines.peek().is_none() {
        return;
    }
    push_line(out, "");
    push_line(out, head);
    for line in lines {
        out.push_str(&hanging("- ", &one_line(line.as_ref()), WIDTH));
    }
}

fn push_line(out: &mut String, line: &str) {
    // A plan from a file is not trusted with the terminal. Writing to a String cannot fail.
    let _ = writeln!(out, "{}", clean_text(line));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Kind;

    #[test]
    fn every_sheet_fits_the_page_and_carries_the_cautions() {
        for name in Plan::names() {
            let plan = Plan::built_in(name).unwrap();
            let sheet = sheet(&plan);
            let widest = sheet.lines().map(|line| line.chars().count()).max();
            assert!(widest <= Some(100), "{name}: {widest:?}");
            assert!(sheet.starts_with(&plan.title));
            let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
            for caution in plan
                .cautions
                .iter()
                .map(String::as_str)
                .chain(CAUTIONS.iter().copied())
            {
                assert!(flat.contains(caution), "{name} lacks {caution:?}");
            }
        }
    }

    /// What a plan says in numbers, made from its steps.
    fn told_by_steps(name: &str, legs: &[Leg]) -> Vec<String> {
        const NUMBERS: [&str; 17] = [
            "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
            "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen",
        ];
        let word = |n: usize| NUMBERS[n];
        let of = |kind: Kind| legs.iter().filter(move |leg| leg.kind == kind);
        let long_s: f64 = legs.iter().map(Leg::duration_s).sum();
        let set_points: Vec<String> = of(Kind::SteadyBlock)
            .filter_map(Leg::set_point_w)
            .map(|w| format!("{w:.0}"))
            .collect();
        let blocks = set_points.len();
        let powers = || {
            let (last, others) = set_points.split_last().unwrap();
            format!("at {} and {last} W", others.join(", "))
        };
        let grades = |leg: &Leg| match &leg.shape {
            Shape::Grades(levels) => levels.clone(),
            _ => Vec::new(),
        };
        let steps = |kind| {
            let levels = of(kind).find_map(|leg| match &leg.shape {
                Shape::Steps(levels) => Some((leg.duration_s(), levels.clone())),
                _ => None,
            });
            levels.unwrap()
        };
        let step_s = |kind| {
            let (length_s, levels) = steps(kind);
            format!("steps of {} s", length_s / levels.len() as f64)
        };
        match name {
            "short-check" => {
                let (_, levels) = steps(Kind::Ramp);
                let up = levels.windows(2).filter(|pair| pair[1] > pair[0]).count();
                let down = levels.windows(2).filter(|pair| pair[1] < pair[0]).count();
                vec![
                    format!("{} minutes at moderate", word((long_s / 60.0) as usize)),
                    format!("at {} powers", word(blocks)),
                    format!("{} steps up and {} down", word(up), word(down)),
                    step_s(Kind::Ramp),
                ]
            }
            "full-bench" => {
                let sprints = of(Kind::Sprint).count();
                let effort = of(Kind::Sprint).find_map(|leg| match leg.shape {
                    Shape::Sprint { effort_s, .. } => Some(effort_s as usize),
                    _ => None,
                });
                let shift = of(Kind::GearChange).next().unwrap();
                assert_eq!(long_s, 1800.0, "half an hour");
                assert_eq!(
                    shift.duration_s() / shift.gears.len() as f64,
                    60.0,
                    "a minute"
                );
                vec![
                    "half an hour".to_owned(),
                    format!("at {} powers", word(blocks)),
                    powers(),
                    format!("{} sprints", word(sprints)),
                    format!("{} maximal sprints", word(sprints)),
                    format!("{} seconds all out", word(effort.unwrap())),
                    step_s(Kind::Ramp),
                ]
            }
            "heat-soak" => {
                let soak_s = of(Kind::HeatSoak).next().unwrap().duration_s();
                assert_eq!(long_s, 3600.0, "an hour");
                vec![format!("over {} min", soak_s / 60.0), "an hour".to_owned()]
            }
            "repeatability" => vec![
                format!("{} blocks", word(blocks)),
                powers(),
                format!("{} coast a ride", word(of(Kind::Coast).count())),
            ],
            "powers" => {
                let mut different = set_points.clone();
                let again = different.pop();
                assert_eq!(different.first(), again.as_ref());
                let (last, others) = different.split_last().unwrap();
                vec![format!("at {} and {last} W", others.join(", "))]
            }
            "intervals" => {
                let hard_s: f64 = of(Kind::SteadyBlock).map(Leg::duration_s).sum();
                let held = |leg: &Leg, into_s| leg.target_w(into_s);
                let sizes = legs
                    .windows(2)
                    .map(|pair| (held(&pair[1], 0.0) - held(&pair[0], pair[0].duration_s())).abs());
                let sizes: Vec<f64> = sizes.collect();
                let largest = sizes.iter().copied().fold(0.0, f64::max);
                let equal = sizes.iter().filter(|size| **size == largest).count();
                vec![
                    format!("{} hard minutes", word((hard_s / 60.0) as usize)),
                    format!("{} equal efforts", word(blocks)),
                    format!("{} short blocks", word(blocks)),
                    format!("{} equal steps", word(equal)),
                ]
            }
            "slopes" => {
                let plateaus: usize = of(Kind::Slope).map(|leg| grades(leg).len()).sum();
                let all = || of(Kind::Slope).flat_map(grades);
                let steepest = all().fold(0.0, f64::max);
                assert_eq!(all().fold(9.0, f64::min), 0.0);
                assert!((1800.0..=2000.0).contains(&long_s), "about half an hour");
                let sprints: Vec<f64> = of(Kind::Sprint)
                    .filter_map(|leg| leg.grade_percent(0.0))
                    .collect();
                assert_eq!(sprints, [0.0, 4.0]);
                let steps = grades(of(Kind::Slope).next().unwrap());
                let steps = steps.windows(2).filter(|pair| pair[0] != pair[1]).count();
                assert_eq!(set_points, ["180", "180"]);
                vec![
                    "bout half an hour".to_owned(),
                    format!(
                        "{} plateaus give",
                        word(grades(of(Kind::Slope).next().unwrap()).len())
                    ),
                    format!("{} steps up and down", word(steps)),
                    format!("{} sprints, on 0 and on 4 %", word(sprints.len())),
                    format!("{} sprints on different slopes", word(sprints.len())),
                    format!("{} blocks at one held power", word(blocks)),
                    format!("{} plateaus between 0 and {steepest} %", word(plateaus)),
                    "at 180 W".to_owned(),
                    // Two neighbours of one grade in two gears, twice.
                    format!("one grade at {} speeds", word(2)),
                    format!("one grade in {} gears, twice", word(2)),
                ]
            }
            "all-round" => {
                let soak = of(Kind::HeatSoak).next().unwrap();
                let mut held = set_points.clone();
                held.insert(1, format!("{:.0}", soak.set_point_w().unwrap()));
                let (last, others) = held.split_last().unwrap();
                assert_eq!(others.first(), Some(last));
                let stepped = |from: f64, to: f64| {
                    let pairs = legs.windows(2);
                    let found = pairs.filter(|pair| {
                        let both = pair[0].set_point_w().zip(pair[1].set_point_w());
                        both == Some((from, to)) && pair[1].kind == Kind::Open
                    });
                    found.count()
                };
                let sprints = of(Kind::Sprint).count();
                let switches = of(Kind::Coast).count();
                assert!((3500.0..=3900.0).contains(&long_s), "an hour: {long_s}");
                vec![
                    "an hour".to_owned(),
                    format!("at {} and {last} W", others.join(", ")),
                    format!(
                        "set point 100 W away is followed, {} times up and {} times down",
                        word(stepped(150.0, 250.0)),
                        word(stepped(250.0, 150.0))
                    ),
                    format!("over {} min", soak.duration_s() / 60.0),
                    format!("{} changes of mode", word(switches)),
                    format!("{} sprints", word(sprints)),
                    format!("{} maximal sprints", word(sprints)),
                    format!("{} seconds all out", word(10)),
                ]
            }
            other => panic!("say what {other} tells in numbers"),
        }
    }

    #[test]
    fn a_plans_words_agree_with_its_steps() {
        for name in Plan::names() {
            let plan = Plan::built_in(name).unwrap();
            let notes = plan
                .phases
                .iter()
                .flat_map(|phase| [&phase.note, &phase.why]);
            let texts: Vec<&String> = plan
                .covers
                .iter()
                .chain(&plan.cautions)
                .chain(notes)
                .collect();
            let mut text = plan.purpose.clone();
            texts
                .iter()
                .for_each(|more| text.push_str(&format!(" | {more}")));
            let mut text = text.to_lowercase();
            for phrase in told_by_steps(name, &plan.legs()) {
                let phrase = phrase.to_lowercase();
                assert!(text.contains(&phrase), "{name} does not say {phrase:?}");
                text = text.replace(&phrase, "");
            }
            // Not of the steps: a claim, and how often to ride.
            let rest = text.replace("±2 %", "").replace("five times", "");
            for number in [
                "two", "three", "four", "five", "six", "eight", "ten", "twelve", "sixteen",
            ] {
                let is_number =
                    |word: &str| word == number || word.contains(|c: char| c.is_ascii_digit());
                let mut words = rest.split(|c: char| !c.is_alphanumeric());
                assert!(
                    !words.any(is_number),
                    "{name} says a number nobody checks: {rest}"
                );
            }
        }
    }

    #[test]
    fn a_hostile_plan_does_not_reach_the_terminal() {
        let text = "title = \"a\\u001b[2Jb\"\npurpose = \"p\"\n[[phase]]\nkind = \"coast\"\nduration_s = 9\n";
        let plan = Plan::from_toml("x", text).unwrap();
        assert!(!sheet(&plan).contains('\u{1b}'));
    }

    #[test]
    fn times_are_told_in_minutes_and_hours() {
        assert_eq!(clock(0.4), "0:00");
        assert_eq!(clock(754.0), "12:34");
        assert_eq!(clock(3661.0), "1:01:01");
    }
}
