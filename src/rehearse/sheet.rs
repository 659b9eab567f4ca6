//! A plan as a sheet to print and lay beside the bench.

use std::fmt::Write as _;

use super::plan::{Leg, Plan, Shape};
use crate::recording::clean_text;
use crate::recording::words::h_mm_ss;

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
    push_wrapped(&mut out, "", &plan.purpose);
    push_line(&mut out, "");
    push_line(&mut out, &format!("Length {}", clock(plan.duration_s())));
    push_list(
        &mut out,
        "A ride after this plan can answer:",
        plan.covers.iter(),
    );
    push_legs(&mut out, &plan.legs());
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
        if let Shape::Steps(levels) = &leg.shape {
            let levels: Vec<String> = levels.iter().map(|w| format!("{w:.0}")).collect();
            push_line(out, &format!("{:32}{}", "", levels.join(" ")));
        }
    }
}

fn power(leg: &Leg) -> String {
    match &leg.shape {
        Shape::Hold(watts) => format!("{watts:.0}"),
        Shape::Line(from, to) => format!("{from:.0} to {to:.0}"),
        Shape::Steps(levels) => format!("{} steps", levels.len()),
        Shape::Sprint { effort_s, .. } => format!("all out {effort_s:.0} s"),
        Shape::Coast => "none".to_owned(),
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
        push_wrapped(out, "- ", line.as_ref());
    }
}

/// Breaks `text` at spaces; the first line starts with `mark`, the others are indented as far.
fn push_wrapped(out: &mut String, mark: &str, text: &str) {
    let mut line = mark.to_owned();
    let indent = " ".repeat(mark.chars().count());
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            push_line(out, &line);
            line = indent.clone();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    push_line(out, &line);
}

fn push_line(out: &mut String, line: &str) {
    // A plan from a file is not trusted with the terminal. Writing to a String cannot fail.
    let _ = writeln!(out, "{}", clean_text(line));
}

#[cfg(test)]
mod tests {
    use super::*;

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
