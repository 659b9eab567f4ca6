//! What cancels in a difference of two groups of rides, and why.

use super::model::Surveyed;
use crate::text::listed;

/// What cancels.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cancels {
    /// The scale of the references.
    pub references: bool,
    /// The drivetrain's loss.
    pub loss: bool,
    /// Why, or why not, and the way out, in a sentence.
    pub why: String,
}

/// Over all rides of both groups.
pub(super) fn cancels(rides: &[&Surveyed]) -> Cancels {
    let same = |of: fn(&Surveyed) -> String| {
        let mut all = rides.iter().map(|ride| of(ride));
        let first = all.next();
        all.all(|other| Some(other) == first)
    };
    // Their names, without what else tells them apart.
    let bare = |named: &String| named.split(" (").next().unwrap_or(named).to_owned();
    let labels = |ride: &Surveyed| {
        let names: Vec<String> = ride.bench.references.iter().map(bare).collect();
        listed(&names)
    };
    let same_labels = same(|ride| ride.bench.references.join(", "));
    let same_fact = same(|ride| format!("{:?}", ride.bench.references_fact));
    let same_bike = same(|ride| format!("{:?}", ride.bench.bike));
    let same_loss = same(|ride| ride.bench.stated_loss.clone());
    let references = same_labels && same_fact;
    let loss = same_labels && same_bike && same_loss;
    let first = rides.first().map(|ride| labels(ride)).unwrap_or_default();
    let scale = match (same_labels, same_fact) {
        (true, true) => format!("the references are the same in every ride ({first}): their scale cancels"),
        (true, false) => "`references` under [facts] is not the same in every ride: what the claims of the references leave open counts in full".to_owned(),
        (false, _) => format!(
            "the references are not the same in every ride ({}): what their claims leave open counts in full; the same meters under the same labels, sites and weights would cancel",
            distinct(rides.iter().map(|ride| ride.bench.references.join(", "))).join(" against ")
        ),
    };
    let chain = match (same_bike, same_loss) {
        (true, true) if !same_labels => "the loss cancels only with them".to_owned(),
        (true, true) if rides.iter().all(|ride| ride.bench.bike.is_none()) => {
            "so does the drivetrain's loss, if the bike was the same: state `bike` under [facts]".to_owned()
        }
        (true, true) => "so does the drivetrain's loss, on the same bike".to_owned(),
        (false, _) => "`bike` under [facts] is not the same in every ride: what is open of the drivetrain's loss counts in full".to_owned(),
        (true, false) => "the stated losses differ: what is open of them counts in full; state one [allowance] for one bike".to_owned(),
    };
    Cancels {
        references,
        loss,
        why: format!("{scale}; {chain}"),
    }
}

/// Each once, in order.
fn distinct(all: impl Iterator<Item = String>) -> Vec<String> {
    let mut seen: Vec<String> = Vec::new();
    for one in all {
        if !seen.contains(&one) {
            seen.push(one);
        }
    }
    seen
}
