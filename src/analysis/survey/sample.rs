//! Made-up rides for tests.

use super::model::{Bench, Block, Parts, Surveyed};
use crate::analysis::verdict::conformity::Outcome;
use crate::session::{Fact, Kind};

/// A ride with these facts and blocks (set point, bias), each ±0.9 %, claim ±2 %.
pub fn ride(named: &str, facts: &[(&str, &str)], blocks: &[(f64, f64)]) -> Surveyed {
    let block = |(segment, (set_point, bias)): (usize, &(f64, f64))| Block {
        segment: segment + 1,
        kind: Kind::SteadyBlock,
        set_point_w: Some(*set_point),
        under_test: "trainer".into(),
        reference: "consensus".into(),
        n: 180,
        bias_percent: *bias,
        expanded_percent: Some(0.9),
        limit_percent: Some(2.0),
        outcome: Outcome::Conforms,
        is_first: true,
        power_w: *set_point,
        gear_m: None,
        mode: String::new(),
        parts: Parts {
            seconds: 0.2,
            references: 0.4,
            loss: 0.3,
        },
        reach_percent: Some(bias.abs() + 0.9),
    };
    let fact = |(key, value): &(&str, &str)| Fact {
        key: (*key).to_owned(),
        value: (*value).to_owned(),
    };
    let bike = facts.iter().find(|(key, _)| *key == "bike");
    Surveyed {
        bench: Bench {
            bike: bike.map(|(_, value)| (*value).to_owned()),
            references: vec!["crank (crank)".to_owned(), "pedals (pedal)".to_owned()],
            ..Bench::default()
        },
        session: named.into(),
        title: format!("=ride {named}"),
        facts: facts.iter().map(fact).collect(),
        blocks: blocks.iter().enumerate().map(block).collect(),
        ..Surveyed::default()
    }
}
