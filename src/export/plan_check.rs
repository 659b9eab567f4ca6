//! A ride held against a test plan, as text.

use std::fmt::Write as _;

use crate::plan::{PlanCheck, Ridden};
use crate::text::{Grid, Head, NOTHING, clock_time, hanging, machine_number, one_line};

/// Width of the page, columns.
const WIDTH: usize = 80;

/// 80 columns for reading.
pub fn text(check: &PlanCheck) -> String {
    let mut out = format!("Held against the plan “{}”\n\n", one_line(&check.plan));
    let mut table = Grid::new([
        Head::text("planned"),
        Head::number("set", "W"),
        Head::number("length", ""),
        Head::number("segment", ""),
        Head::number("ridden", ""),
        Head::text(""),
    ]);
    for phase in &check.phases {
        let word = match phase.ridden {
            Ridden::AsPlanned => "✓ as planned",
            Ridden::Short => "? short",
            Ridden::Missing => "✗ missing",
        };
        let dash = || NOTHING.to_owned();
        table.push(vec![
            phase.kind.word().to_owned(),
            phase.set_point_w.map_or_else(dash, machine_number),
            clock_time(phase.planned_s),
            phase.segment.map_or_else(dash, |id| id.to_string()),
            phase.ridden_s.map_or_else(dash, clock_time),
            word.to_owned(),
        ]);
    }
    out.push_str(&table.aligned("", WIDTH));
    out.push_str("\nWhat this ride cannot tell\n");
    if check.cannot_tell.is_empty() {
        out.push_str("- nothing that the plan asks\n");
    }
    for sentence in &check.cannot_tell {
        out.push_str(&hanging("- ", &format!("{sentence}."), WIDTH));
    }
    if !check.more.is_empty() {
        out.push_str("\nWhat would decide the open verdicts\n");
    }
    for more in &check.more {
        let mut line = format!(
            "segment {}, {}: {}",
            more.segment,
            one_line(&more.under_test),
            more.reason
        );
        if let Some(minutes) = more.minutes_more.filter(|m| *m > 0.0) {
            let _ = write!(line, " ({} min more)", minutes.ceil());
        }
        out.push_str(&hanging("- ", &format!("{line}."), WIDTH));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PhaseCheck;
    use crate::session::Kind;

    fn one_phase(ridden: Ridden) -> String {
        text(&PlanCheck {
            plan: "short-check".to_owned(),
            phases: vec![PhaseCheck {
                kind: Kind::Sprint,
                set_point_w: None,
                planned_s: 60.0,
                ridden,
                segment: None,
                ridden_s: None,
            }],
            cannot_tell: Vec::new(),
            more: Vec::new(),
        })
    }

    #[test]
    fn what_was_not_ridden_is_marked() {
        assert!(one_phase(Ridden::Missing).contains("✗ missing"));
        let covered = one_phase(Ridden::AsPlanned);
        assert!(!covered.contains("missing"), "{covered}");
        assert!(
            covered.contains("- nothing that the plan asks"),
            "{covered}"
        );
    }
}
