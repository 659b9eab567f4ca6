//! Faults of a FIT file as sentences.

use super::framing::{Fault, FaultKind};
use crate::recording::Damage;
use crate::text::{grouped, plural, span};

/// One sentence a fault; `records` is the number of records read in all.
pub(super) fn in_words(faults: &[Fault], more: usize, records: usize) -> Vec<Damage> {
    let mut damage: Vec<Damage> = faults
        .iter()
        .map(|fault| Damage {
            at: fault.at as u64,
            message: sentence(fault, records),
        })
        .collect();
    if let (Some(last), true) = (faults.last(), more > 0) {
        damage.push(Damage {
            at: last.at as u64,
            message: format!("{} after that", plural(more, "more damaged place")),
        });
    }
    damage
}

fn sentence(fault: &Fault, records: usize) -> String {
    let read = plural(fault.records_before, "record");
    let at = grouped(fault.at as u64);
    match fault.kind {
        FaultKind::CutOff { missing, present } => format!(
            "{read} read; damaged from byte {at} on: the file is cut off, {} missing{}",
            plural(missing, "byte"),
            lost_at_the_end(fault, missing, present)
        ),
        FaultKind::Unterminated => format!(
            "{read} read; the file was never closed (damaged from byte {at} on); its end may be \
             missing"
        ),
        FaultKind::Unreadable { to: Some(to) } => {
            let lost = match (fault.time_before, fault.time_after) {
                (Some(before), Some(after)) if after > before => format!(
                    "; up to {} of the ride may be missing",
                    span(f64::from(after) - f64::from(before))
                ),
                _ => String::new(),
            };
            format!(
                "{read} read before byte {at}; {} from there on could not be read{lost}",
                plural(to - fault.at, "byte")
            )
        }
        FaultKind::Unreadable { to: None } => {
            format!("{read} read; damaged from byte {at} on: nothing after it could be read")
        }
        FaultKind::CheckSum => format!(
            "{} read; the check sum at byte {at} does not match: single values may be wrong",
            plural(records, "record")
        ),
        FaultKind::HeaderCheckSum => {
            format!("the check sum of the header at byte {at} does not match")
        }
        FaultKind::NoCheckSum => format!(
            "{read} read; the check sum at byte {at} is missing: the file was cut off at its very \
             end"
        ),
    }
}

/// An estimate of what is missing, from the bytes a second that were there.
fn lost_at_the_end(fault: &Fault, missing: usize, present: usize) -> String {
    let seconds = fault
        .time_since_first
        .map(|seconds| f64::from(seconds) * missing as f64 / present.max(1) as f64);
    match seconds {
        // A header that promises absurd sizes tells nothing.
        Some(seconds) if seconds > 0.0 && seconds < 2.0 * 86_400.0 => {
            format!("; the last {} may be missing", span(seconds.max(1.0)))
        }
        _ => "; the end may be missing".to_owned(),
    }
}
