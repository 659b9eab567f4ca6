//! What a table says of the whole ride, in sentences.

use super::listing::{Listing, Room};
use crate::analysis::agreement::LevelLine;
use crate::analysis::coverage::Band;
use crate::analysis::dropout::Dropout;
use crate::analysis::pooled::Pooled;
use crate::analysis::table::{StreamHead, Table};
use crate::analysis::weights::WeightsCheck;
use crate::stats::Interval;
use crate::text::{Grid, Head, clock_time, machine_number, number, one_line, word_of};

/// The ride's length, the claim under test and the allowance.
pub(crate) fn claim(table: &Table) -> String {
    let claim = table.session.claim;
    let percent = (claim.percent > 0.0).then(|| format!("±{} %", machine_number(claim.percent)));
    let watts = (claim.watts > 0.0).then(|| format!("±{} W", machine_number(claim.watts)));
    let stated = match (percent, watts) {
        (Some(percent), Some(watts)) => {
            format!("claim {percent} of reading or {watts}, the larger")
        }
        (Some(percent), None) => format!("claim {percent} of reading"),
        (None, Some(watts)) => format!("claim {watts}"),
        (None, None) => "no claim stated".to_owned(),
    };
    let allowance = table.session.allowance;
    let left = if allowance == Default::default() {
        String::new()
    } else {
        format!(
            " A drivetrain loss of {} ± {} % between the sites is expected: verdicts are on the net \
             bias, what it leaves.",
            machine_number(allowance.percent),
            machine_number(allowance.plus_minus)
        )
    };
    format!(
        "Ride of {}, {stated}.{left}",
        clock_time(table.session.duration_s)
    )
}

/// Headings with their sentences, for those that have any.
pub(crate) fn sections(table: &Table) -> Vec<(&'static str, Vec<String>)> {
    let all = [
        (
            "Clocks",
            table
                .session
                .clocks
                .iter()
                .map(|c| format!("{c}."))
                .collect(),
        ),
        ("Meters beside the ride", meters(table)),
        ("All blocks together", together(table)),
        (
            "Over the whole ride",
            table.levels.iter().filter_map(level).collect(),
        ),
        (
            "One second of any judged block",
            table.pooled.iter().filter_map(pooled).collect(),
        ),
        ("Dropouts", dropouts(table)),
        ("Excursions that no reference shows", excursions(table)),
    ];
    all.into_iter()
        .filter(|(_, notes)| !notes.is_empty())
        .collect()
}

/// Known masses with their budget, one-sided meters, zero offsets: what was noted of each stream.
fn meters(table: &Table) -> Vec<String> {
    let of_stream = |head: &StreamHead| {
        let masses = head
            .weights
            .as_ref()
            .map(|check| masses(&head.label, check));
        let doubled = head.one_sided.as_ref().map(|one| one.sentence(&head.label));
        let zero = head.zero.as_ref().map(|zero| zero.sentence(&head.label));
        let said = [masses, doubled, zero].into_iter().flatten();
        said.map(|sentence| format!("{sentence}."))
            .collect::<Vec<String>>()
    };
    table.streams.iter().flat_map(of_stream).collect()
}

fn masses(label: &str, check: &WeightsCheck) -> String {
    let (Some(scale), Some(u)) = (check.scale, check.scale_u_percent) else {
        return format!("{label}, known masses: {}", check.note);
    };
    let lines = check.budget.iter().map(|line| {
        let shared = if line.common { " (shared)" } else { "" };
        format!(
            "{} {:.3}{shared}",
            line.source, line.standard_uncertainty_percent
        )
    });
    let lines: Vec<String> = lines.collect();
    let hysteresis = check.hysteresis_percent.map_or_else(
        || "not tested".to_owned(),
        |percent| format!("{percent:.3} %"),
    );
    format!(
        "{label}, known masses: scale {} with a standard uncertainty of {u:.3} % (in %: {}); zero {} N·m, \
         hysteresis {hysteresis}, residual SD {} N·m. {}",
        number(scale, 4, false),
        lines.join(", "),
        number(check.zero_nm.unwrap_or_default(), 3, true),
        number(check.residual_sd_nm.unwrap_or_default(), 3, false),
        check.note
    )
}

fn together(table: &Table) -> Vec<String> {
    let said = |under_test: &str, sentence: &str| format!("{under_test}: {sentence}.");
    let families = table
        .families
        .iter()
        .map(|f| said(&f.under_test, &f.statement));
    let levels = table.error_curve.iter().filter(|c| c.blocks.len() >= 2);
    let levels = levels.map(|c| said(&c.under_test, &c.level_sentence));
    families.chain(levels).collect()
}

fn level(line: &LevelLine) -> Option<String> {
    let (slope, intercept) = (line.slope?, line.intercept_w?);
    let limits = |interval: Option<Interval>, decimals: usize| {
        interval.map_or_else(String::new, |[low, high]| {
            let (low, high) = (number(low, decimals, false), number(high, decimals, false));
            format!(" [{low}, {high}]")
        })
    };
    let sign = if intercept < 0.0 { "-" } else { "+" };
    Some(format!(
        "{} = {}{} × {} {sign} {} W{}, errors on both sides, {} s.",
        line.under_test,
        number(slope, 4, false),
        limits(line.slope_ci95, 4),
        line.reference,
        number(intercept.abs(), 2, false),
        limits(line.intercept_ci95_w, 2),
        line.n
    ))
}

fn pooled(pooled: &Pooled) -> Option<String> {
    let (ratio, [low, high]) = (pooled.ratio?, pooled.ratio_loa95?);
    let watts = pooled.loa95_w.map_or_else(String::new, |[low, high]| {
        let (low, high) = (number(low, 1, true), number(high, 1, true));
        format!("; differences from {low} to {high} W")
    });
    Some(format!(
        "{} / {} = {}, 95 % of seconds from {} to {}, {} blocks, {} s{watts}.",
        pooled.under_test,
        pooled.reference,
        number(ratio, 4, false),
        number(low, 4, false),
        number(high, 4, false),
        pooled.segments.len(),
        pooled.n
    ))
}

fn dropouts(table: &Table) -> Vec<String> {
    let listed = |dropout: &Dropout| {
        format!(
            "{} at {} for {} s",
            word_of(&dropout.kind),
            clock_time(dropout.from_s),
            number(dropout.to_s - dropout.from_s, 0, false)
        )
    };
    let with_any = table.streams.iter().filter(|s| !s.dropouts.is_empty());
    with_any
        .map(|stream| {
            let list: Vec<String> = stream.dropouts.iter().map(listed).collect();
            format!("{}: {}.", stream.label, list.join(", "))
        })
        .collect()
}

fn excursions(table: &Table) -> Vec<String> {
    let excursions = table.excursions.iter();
    excursions
        .map(|e| {
            format!(
                "{} at {} for {} s, up to {} W from the references.",
                e.label,
                clock_time(e.from_s),
                number(e.to_s - e.from_s, 0, false),
                number(e.peak_w, 0, true)
            )
        })
        .collect()
}

/// Bias by band; no rows where there are none.
pub(crate) fn bands(table: &Table) -> Grid {
    let bands = || table.bands.iter();
    let name = |band: &Band| {
        format!(
            "{} {} to {} {}",
            band.channel.name(),
            machine_number(band.from),
            machine_number(band.to),
            band.channel.unit()
        )
    };
    let pair = |band: &Band| one_line(&format!("{} - {}", band.under_test, band.reference));
    let listing = Listing::of(&table.bands, Room::Narrow)
        .own(Head::text("band"), bands().map(name).collect())
        .own(Head::text("pair"), bands().map(pair).collect())
        .figures("bands", &["n", "bias_w", "bias_ci95_w", "bias_percent"]);
    listing.grid()
}
