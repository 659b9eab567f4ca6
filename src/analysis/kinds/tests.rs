//! Figures of the kinds over whole rides.

use serde_json::Value;

use super::*;
use crate::analysis::bench::{aligned_of, ridden, segment};
use crate::analysis::dropout::DropoutKind;
use crate::analysis::ride::findings;
use crate::analysis::table::Table;
use crate::analysis::table::table;
use crate::recording::Channel;
use crate::session::{Role, Session};
use crate::stats::vectors::lcg;
use crate::timeline::{Aligned, Member};

const SECONDS: usize = 900;

/// Steps of 30 s, an effort of 10 s, a steady rest: what one rider did.
fn ridden_w() -> Vec<f64> {
    let level = |t: usize| match t {
        0..300 => [160.0, 220.0, 160.0, 120.0, 180.0, 240.0][(t / 30) % 6],
        400..410 => 800.0,
        _ => 200.0,
    };
    let slow_noise = lcg(SECONDS);
    (0..SECONDS)
        .map(|t| level(t) + 24.0 * (slow_noise[t] - 0.5))
        .collect()
}

fn meter(from: usize) -> Vec<f64> {
    let noise = lcg(from + SECONDS);
    let truth = ridden_w();
    let noisy = truth.iter().zip(&noise[from..]);
    noisy.map(|(w, u)| w + 4.0 * (u - 0.5)).collect()
}

fn ride(trainer: Vec<f64>) -> (Session, Aligned) {
    let (mut session, aligned) = aligned_of(vec![
        ridden("trainer", Role::UnderTest, None, trainer),
        ridden("pedals", Role::Reference, Some(1.0), meter(1000)),
        ridden("hub", Role::Reference, Some(1.0), meter(2000)),
    ]);
    session.segments = vec![
        segment(Kind::Ramp, 0.0, 300.0),
        segment(Kind::Sprint, 380.0, 430.0),
        segment(Kind::SteadyBlock, 500.0, 700.0),
        segment(Kind::GearChange, 500.0, 700.0),
        segment(Kind::HeatSoak, 440.0, 900.0),
        segment(Kind::Open, 0.0, 900.0),
    ];
    (session, aligned)
}

/// The table without what tells of dropouts as such, and without what was recorded.
fn but_for_dropouts(mut table: Table) -> Table {
    for stream in &mut table.streams {
        stream.dropouts.clear();
        stream.mean_max.clear();
    }
    for segment in &mut table.segments {
        segment.streams.clear();
        for verdict in segment
            .verdict
            .iter_mut()
            .chain(&mut segment.further_verdicts)
        {
            verdict.reasons.clear();
        }
    }
    table
}

/// Where two results differ by more than the order of adding up makes.
fn differences(a: &Value, b: &Value, at: &str) -> Vec<String> {
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => a
            .iter()
            .flat_map(|(name, a)| differences(a, &b[name], &format!("{at}.{name}")))
            .collect(),
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => a
            .iter()
            .zip(b)
            .enumerate()
            .flat_map(|(i, (a, b))| differences(a, b, &format!("{at}[{i}]")))
            .collect(),
        (Value::Number(x), Value::Number(y)) => {
            let (x, y) = (x.as_f64().unwrap(), y.as_f64().unwrap());
            let near = (x - y).abs() <= 1e-6 * (1.0 + x.abs());
            (!near)
                .then(|| format!("{at}: {x} {y}"))
                .into_iter()
                .collect()
        }
        _ if a == b => Vec::new(),
        _ => vec![format!("{at}: {a} {b}")],
    }
}

#[test]
fn frozen_and_false_zero_seconds_are_missing_to_every_figure() {
    let mut bad = meter(0);
    for zeros in [62..67, 416..419, 520..532] {
        bad[zeros].fill(0.0);
    }
    for frozen in [200..212, 600..615] {
        let held = bad[frozen.start];
        bad[frozen].fill(held);
    }
    let (session, aligned) = ride(bad.clone());
    let found = findings(&aligned);
    let kinds: Vec<DropoutKind> = found.dropouts[0].iter().map(|d| d.kind).collect();
    let (freeze, zero) = (DropoutKind::Freeze, DropoutKind::Zero);
    assert_eq!(kinds, [zero, freeze, zero, zero, freeze]);
    let mut missing = bad;
    for rows in found.untrusted(&aligned, Member::Stream(0)) {
        missing[rows].fill(f64::NAN);
    }
    let (_, gaps) = ride(missing);
    let (found, wanted) = (table(&session, &aligned), table(&session, &gaps));
    assert!(found.segments[0].of_kind.ramp.as_ref().unwrap().steps.len() > 5);
    assert!(
        found.segments[2]
            .of_kind
            .steady
            .as_ref()
            .unwrap()
            .drift_w_per_min
            .is_some()
    );
    let json = |table| serde_json::to_value(but_for_dropouts(table)).unwrap();
    let apart = differences(&json(found), &json(wanted), "");
    assert!(apart.is_empty(), "{apart:#?}");
}

/// Nobody shifted: the source's own cadence jumps, and no reference carries one.
#[test]
fn a_sources_own_cadence_tells_no_gear() {
    let rpm: Vec<f64> = (0..SECONDS)
        .map(|t| if t % 90 < 30 { 120.0 } else { 90.0 })
        .collect();
    let mut trainer = ridden("trainer", Role::UnderTest, None, meter(0));
    trainer.channels.push((Channel::Speed, vec![8.1; SECONDS]));
    trainer.channels.push((Channel::Cadence, rpm));
    let found = |references_rpm: Option<f64>| {
        let mut pedals = ridden("pedals", Role::Reference, Some(1.0), meter(1000));
        let carried = references_rpm.map(|rpm| (Channel::Cadence, vec![rpm; SECONDS]));
        pedals.channels.extend(carried);
        let mut own = ridden("trainer", Role::UnderTest, None, meter(0));
        own.channels.clone_from(&trainer.channels);
        let (session, aligned) = aligned_of(vec![own, pedals]);
        let gears = segment(Kind::GearChange, 500.0, 900.0);
        crate::analysis::segment::figures(&session, &aligned, &gears, 1)
            .of_kind
            .gear_change
    };
    assert_eq!(found(None).unwrap().changes, vec![]);
    assert_eq!(found(Some(90.0)).unwrap().changes, vec![]);
}

#[test]
fn what_a_source_holds_while_nobody_pedals_stays_in_a_coast() {
    let mut trainer = meter(0);
    trainer[750..770].fill(70.0);
    let (session, aligned) = aligned_of(vec![
        ridden("trainer", Role::UnderTest, None, trainer),
        ridden("pedals", Role::Reference, Some(1.0), {
            let mut power = meter(1000);
            power[750..770].fill(0.0);
            power
        }),
    ]);
    let coast = segment(Kind::Coast, 748.0, 770.0);
    let found = crate::analysis::segment::figures(&session, &aligned, &coast, 1);
    assert_eq!(found.of_kind.coast.unwrap().phantom_mean_w, Some(70.0));
}
