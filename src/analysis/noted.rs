//! What a tester noted of a meter and what follows from it: the error that the balance of a two-sided
//! meter predicts for a one-sided one, and how far a zero offset moved over the ride. No figure is
//! corrected by either.

use std::ops::Range;

use serde::Serialize;

use super::figure::{Figure, OURS};
use crate::recording::Channel;
use crate::session::{Session, Side, Stream};
use crate::stats::finite;
use crate::text::number;
use crate::timeline::Aligned;

/// A meter that measures one side and reports twice of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OneSided {
    /// The side.
    pub side: Side,
    /// The stream whose balance says what the other leg does; null where none carries one.
    pub balance_of: Option<String>,
    /// Mean share of the left leg, weighted by that stream's power, %.
    pub balance_percent: Option<f64>,
    /// The error that the doubled side has by this balance, %.
    pub predicted_error_percent: Option<f64>,
}

/// The one-sided meter at `index` over grid rows; `None` where it measures both sides.
pub fn one_sided(
    session: &Session,
    aligned: &Aligned,
    index: usize,
    rows: Range<usize>,
) -> Option<OneSided> {
    let side = session.streams.get(index)?.one_sided?;
    let two_sided = |other: &usize| {
        let stream = session.streams.get(*other);
        *other != index && stream.is_some_and(|stream| stream.one_sided.is_none())
    };
    let mut others = (0..aligned.tracks.len()).filter(two_sided);
    let found = others.find_map(|other| Some((other, left_percent(aligned, other, rows.clone())?)));
    let left = found.map(|(_, left)| left);
    let label = |other: usize| session.streams.get(other).map(|s| s.label.clone());
    Some(OneSided {
        side,
        balance_of: found.and_then(|(other, _)| label(other)),
        balance_percent: left,
        predicted_error_percent: left.map(|left| side.doubled_error_percent(left)),
    })
}

/// Share of the left leg in the work of a stream over grid rows, %.
fn left_percent(aligned: &Aligned, index: usize, rows: Range<usize>) -> Option<f64> {
    let track = aligned.tracks.get(index)?;
    let balance = track.column(Channel::Balance)?.get(rows.clone())?;
    let power = track.column(Channel::Power)?.get(rows)?;
    let pedalled = balance.iter().zip(power);
    let pedalled = pedalled.filter(|(share, watts)| share.is_finite() && **watts > 0.0);
    let (work, left) = pedalled.fold((0.0, 0.0), |(work, left), (share, watts)| {
        (work + watts, left + share * watts)
    });
    finite(left / work)
}

impl OneSided {
    /// What is to be said of the meter called `label`.
    pub fn sentence(&self, label: &str) -> String {
        let side = self.side.word();
        match (
            &self.balance_of,
            self.balance_percent,
            self.predicted_error_percent,
        ) {
            (Some(other), Some(left), Some(error)) => format!(
                "{label} doubles its {side} side: by the balance of {other} ({} % left) it should be off \
                 by {} %",
                number(left, 1, false),
                number(error, 1, true)
            ),
            _ => format!(
                "{label} doubles its {side} side, and no two-sided meter says what the other leg does"
            ),
        }
    }
}

/// Zero offsets before and after a ride, as the meter shows them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ZeroChange {
    /// Before the ride.
    pub before: Option<f64>,
    /// After it.
    pub after: Option<f64>,
    /// The unit that the meter shows; empty where none is noted, or two are.
    pub unit: String,
    /// After − before; null where one is not noted or the units differ.
    pub change: Option<f64>,
}

/// The zero offsets noted of a stream; `None` where there are none.
pub fn zero_change(stream: &Stream) -> Option<ZeroChange> {
    let (before, after) = (stream.zero_before.as_ref(), stream.zero_after.as_ref());
    let unit = before.or(after)?.unit.clone();
    let same = before.zip(after).filter(|(a, b)| a.unit == b.unit);
    let differ = before.is_some() && after.is_some() && same.is_none();
    Some(ZeroChange {
        before: before.map(|zero| zero.value),
        after: after.map(|zero| zero.value),
        unit: if differ { String::new() } else { unit },
        change: same.and_then(|(before, after)| finite(after.value - before.value)),
    })
}

impl ZeroChange {
    /// What is to be said of the meter called `label`.
    pub fn sentence(&self, label: &str) -> String {
        let unit = if self.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", self.unit)
        };
        match (self.before, self.after, self.change) {
            (Some(before), Some(after), Some(change)) => format!(
                "the zero of {label} moved by {}{unit} over the ride, from {before} to {after}{unit} (no \
                 figure is corrected by it)",
                number(change, 2, true)
            ),
            (Some(_), Some(_), None) => format!(
                "the zeros of {label} before and after are noted in different units: their change \
                 cannot be told"
            ),
            (Some(before), None, _) => {
                format!(
                    "the zero of {label} was {before}{unit} before the ride; none is noted after it"
                )
            }
            (_, after, _) => format!(
                "the zero of {label} was {}{unit} after the ride; none is noted before it",
                after.unwrap_or_default()
            ),
        }
    }
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "streams.one_sided.side",
        label: "side measured",
        definition: "The side that a one-sided meter measures and doubles.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.one_sided.balance_of",
        label: "balance of",
        definition: "The two-sided stream whose balance is used.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.one_sided.balance_percent",
        label: "left share",
        unit: "%",
        decimals: 1,
        definition: "Share of the left leg in the work over the ride.",
        formula: "Σ b P/Σ P over seconds with pedalling",
        source: OURS,
        caveat: "As good as the balance of that meter, which no one checks.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.one_sided.predicted_error_percent",
        label: "error by the balance",
        unit: "%",
        decimals: 1,
        signed: true,
        definition: "The error that a doubled side has by this balance. Nothing is corrected by it.",
        formula: "2 b − 100 for the left side, 100 − 2 b for the right",
        source: "arithmetic",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.zero.before",
        label: "zero before",
        decimals: 2,
        definition: "Zero offset that the meter showed before the ride, in its own unit.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.zero.after",
        label: "zero after",
        decimals: 2,
        definition: "The same after the ride.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.zero.unit",
        label: "unit of the zero",
        definition: "The unit that the meter shows.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.zero.change",
        label: "zero moved by",
        decimals: 2,
        signed: true,
        definition: "After − before, in the meter's own unit. Nothing is corrected by it.",
        formula: "zero after − zero before",
        source: "arithmetic",
        caveat: "Makers show zeros in units of their own, few of which are torque.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{Ridden, aligned_of, ridden};
    use crate::session::{Role, ZeroReading};

    #[test]
    fn the_balance_of_a_two_sided_meter_predicts_the_error() {
        let mut pedals = ridden(
            "pedals",
            Role::Reference,
            Some(1.0),
            vec![200.0, 400.0, 0.0],
        );
        pedals
            .channels
            .push((Channel::Balance, vec![51.0, 46.5, 20.0]));
        let crank = ridden("crank", Role::Reference, Some(1.0), vec![200.0; 3]);
        let streams: Vec<Ridden> = vec![crank, pedals];
        let (mut session, aligned) = aligned_of(streams);
        assert_eq!(one_sided(&session, &aligned, 0, 0..3), None);
        session.streams[0].one_sided = Some(Side::Left);
        let found = one_sided(&session, &aligned, 0, 0..3).unwrap();
        // (51 · 200 + 46.5 · 400)/600 = 48: −4 % (published in the questions of a tester).
        assert_eq!(found.balance_percent, Some(48.0));
        assert_eq!(found.predicted_error_percent, Some(-4.0));
        let said = found.sentence("crank");
        assert!(
            said.contains("pedals (48.0 % left)") && said.contains("-4.0 %"),
            "{said}"
        );
        session.streams[1].one_sided = Some(Side::Right);
        let alone = one_sided(&session, &aligned, 0, 0..3).unwrap();
        assert_eq!(alone.predicted_error_percent, None);
        assert!(alone.sentence("crank").contains("no two-sided meter"));
    }

    #[test]
    fn zeros_are_compared_in_one_unit() {
        let change = |before: Option<&str>, after: Option<&str>| {
            let mut stream = Stream::new("pedals", "pedals.fit");
            stream.zero_before = before.and_then(ZeroReading::parse);
            stream.zero_after = after.and_then(ZeroReading::parse);
            zero_change(&stream)
        };
        assert_eq!(change(None, None), None);
        let found = change(Some("-12 raw"), Some("-9.5 raw")).unwrap();
        assert_eq!((found.change, found.unit.as_str()), (Some(2.5), "raw"));
        assert!(
            found
                .sentence("pedals")
                .contains("+2.50 raw over the ride, from -12 to -9.5 raw")
        );
        let mixed = change(Some("0.1 N·m"), Some("12 raw")).unwrap();
        assert_eq!(mixed.change, None);
        assert!(mixed.sentence("pedals").contains("different units"));
        assert!(
            change(Some("3"), None)
                .unwrap()
                .sentence("pedals")
                .contains("was 3 before")
        );
        assert!(
            change(None, Some("3"))
                .unwrap()
                .sentence("pedals")
                .contains("was 3 after")
        );
    }
}
