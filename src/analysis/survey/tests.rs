use super::sample::ride;
use super::*;
use crate::analysis::questions::Findings;
use crate::analysis::table::table;
use crate::plan::Plan;
use crate::rehearse::{Scenario, SessionOptions};
use crate::stats::vectors::assert_close;
use crate::timeline::Aligned;

fn asked(wanted: &[&str], margin_percent: Option<f64>) -> Asks {
    Asks {
        by: None,
        contrasts: wanted.iter().map(|text| text.parse().unwrap()).collect(),
        margin_percent,
    }
}

fn of_unit(named: &str, unit: &str, blocks: &[(f64, f64)]) -> Surveyed {
    ride(named, &[("unit", unit)], blocks)
}

fn one(asks: &Asks, sessions: &[Surveyed]) -> Contrast {
    let found = survey(asks, sessions.to_vec(), Vec::new()).unwrap();
    assert_eq!(found.contrasts.len(), 1);
    found.contrasts[0].clone()
}

#[test]
fn blocks_are_grouped_by_fact_kind_and_set_point() {
    let firmware =
        |named, value, blocks: &[(f64, f64)]| ride(named, &[("firmware", value)], blocks);
    let sessions = vec![
        firmware("monday", "1.0", &[(150.0, 1.0), (150.0, 1.2), (250.0, 2.0)]),
        firmware(
            "tuesday",
            "1.0",
            &[(150.0, 2.0), (150.0, 2.2), (250.0, 3.0)],
        ),
        firmware(
            "friday",
            "1.1",
            &[(150.0, 0.1), (150.0, -0.1), (250.0, 0.2)],
        ),
    ];
    let asks = Asks {
        by: Some("firmware".to_owned()),
        ..Asks::default()
    };
    let found = survey(&asks, sessions, Vec::new()).unwrap();
    let keys: Vec<(Option<&str>, Option<f64>, usize)> = found
        .groups
        .iter()
        .map(|g| (g.by.as_deref(), g.set_point_w, g.precision.n))
        .collect();
    let expected = [
        (Some("1.0"), Some(150.0), 4),
        (Some("1.0"), Some(250.0), 2),
        (Some("1.1"), Some(150.0), 2),
        (Some("1.1"), Some(250.0), 1),
        (Some("1.0"), None, 6),
        (Some("1.1"), None, 3),
    ];
    assert_eq!(keys, expected);
    // By hand: means 1.1 and 2.1; s_r² = 0.02, MS between = 1.0, s_L² = (1 − 0.02)/2 = 0.49.
    let first = &found.groups[0].precision;
    assert_close(first.mean.unwrap(), 1.6, 1e-12);
    assert_close(first.repeatability_sd.unwrap(), 0.02_f64.sqrt(), 1e-12);
    assert_close(first.between_session_sd.unwrap(), 0.7, 1e-12);
}

#[test]
fn set_points_that_ask_the_same_meet() {
    let sessions = vec![
        ride("monday", &[], &[(180.0, 1.0), (250.0, 1.0)]),
        ride("tuesday", &[], &[(181.0, 2.0), (262.0, 2.0), (263.0, 2.0)]),
    ];
    let found = survey(&Asks::default(), sessions, Vec::new()).unwrap();
    let groups = found.groups.iter().filter(|g| g.kind.is_some());
    let groups: Vec<(Option<f64>, usize)> =
        groups.map(|g| (g.set_point_w, g.precision.n)).collect();
    // 262 W is within 5 % of 250 W, 263 W is not.
    assert_eq!(
        groups,
        [(Some(180.5), 2), (Some(256.0), 2), (Some(263.0), 1)]
    );
    assert_eq!(found.groups[0].precision.sessions, 2);
}

/// The check values for three differences, from rides.
#[test]
fn three_pairs_give_the_check_values() {
    let sessions = [
        of_unit("a", "3", &[(150.0, 0.9), (181.0, 0.4), (250.0, 0.2)]),
        of_unit("b", "4", &[(150.0, 0.4), (180.0, 0.1), (250.0, -0.2)]),
    ];
    let found = one(&asked(&["unit=3,4"], None), &sessions);
    assert_eq!(
        (found.n, found.basis, found.rides),
        (3, Basis::Pairs, [1, 1])
    );
    assert_close(found.mean_percent.unwrap(), 0.4, 1e-12);
    assert_close(
        found.standard_uncertainty_percent.unwrap(),
        0.057735026918962574,
        1e-9,
    );
    let [low, high] = found.ci90_percent.unwrap();
    assert_close(low, 0.23141455391529525, 1e-9);
    assert_close(high, 0.5685854460847048, 1e-9);
    // Half the claim of 2 %.
    assert_eq!(found.margin_percent, Some(1.0));
    assert_close(found.p_alike.unwrap(), 0.004566305693137729, 1e-9);
    assert_eq!((found.outcome, found.rides_needed), (Said::Alike, Some(0)));
    assert!(found.differs_from_zero && !found.beyond_margin);
    assert!(found.cancels && found.cancels_because.contains("state `bike`"));
    // By hand: 1.96 · 0.2 √(6)/3 = 0.32 against 0.248: no luck worth a word; with a tenth of the scatter it is.
    assert_close(
        found.seconds_half95_percent.unwrap(),
        1.959964 * 0.2 * 6.0_f64.sqrt() / 3.0,
        1e-6,
    );
    assert!(!found.sentence.contains("luck"));
    let close = [
        of_unit("a", "3", &[(150.0, 0.81), (181.0, 0.50), (250.0, 0.20)]),
        of_unit("b", "4", &[(150.0, 0.40), (180.0, 0.10), (250.0, -0.20)]),
    ];
    let lucky = one(&asked(&["unit=3,4"], None), &close);
    assert!(
        lucky.sentence.contains("luck: reckon with ±0.32"),
        "{}",
        lucky.sentence
    );
    // The other way round is the same with the other sign.
    let back = one(&asked(&["unit=4,3"], None), &sessions);
    assert_close(back.mean_percent.unwrap(), -0.4, 1e-12);
    assert_eq!(back.outcome, Said::Alike);
    assert!(
        back.sentence
            .contains("unit 4 reads 0.40 ± 0.25 points lower"),
        "{}",
        back.sentence
    );
}

/// The check values for Welch, each ride one block.
#[test]
fn groups_of_rides_give_the_check_values_of_welch() {
    let a = [0.82, 1.10, 0.55, 1.31, 0.74, 0.96];
    let b = [0.31, 0.70, 0.12, 0.52, 0.88, 0.41];
    let rides = |value: &'static str, biases: [f64; 6]| {
        let rides = biases.into_iter().enumerate();
        rides.map(move |(day, bias)| of_unit(&format!("{value}-{day}"), value, &[(200.0, bias)]))
    };
    let sessions: Vec<Surveyed> = rides("3", a).chain(rides("4", b)).collect();
    let found = one(&asked(&["unit"], Some(1.0)), &sessions);
    assert_eq!(
        (found.basis, found.rides, found.n),
        (Basis::Rides, [6, 6], 1)
    );
    assert_close(found.mean_percent.unwrap(), 0.42333333333333323, 1e-9);
    assert_close(
        found.standard_uncertainty_percent.unwrap(),
        0.15683678706788717,
        1e-6,
    );
    assert_close(found.degrees_of_freedom.unwrap(), 9.998920725214553, 1e-9);
    assert_close(found.p_differs.unwrap(), 0.02234614919411672, 1e-9);
    assert_close(found.p_alike.unwrap(), 0.0021346207159079586, 1e-9);
    assert_eq!(found.outcome, Said::Alike);
}

/// Beyond the margin, within it, across it: the three outcomes of one difference.
#[test]
fn the_margin_decides_and_both_facts_are_told() {
    let sessions = [
        of_unit("a", "3", &[(150.0, 1.9), (180.0, 1.4), (250.0, 1.2)]),
        of_unit("b", "4", &[(150.0, 0.4), (180.0, 0.1), (250.0, -0.2)]),
    ];
    // 1.4 ± 0.248 (95 %), ± 0.169 (90 %).
    for (margin, outcome) in [
        (1.0, Said::Differ),
        (1.2, Said::CannotTell),
        (1.56, Said::CannotTell),
        (1.6, Said::Alike),
    ] {
        let found = one(&asked(&["unit=3,4"], Some(margin)), &sessions);
        assert_eq!(found.outcome, outcome, "{margin}: {found:?}");
        assert!(found.differs_from_zero);
        assert_eq!(found.beyond_margin, outcome == Said::Differ);
        let needed = found.rides_needed;
        assert_eq!(needed == Some(0), outcome != Said::CannotTell);
        let said = &found.sentence;
        assert!(said.contains("statistically different from zero"), "{said}");
        assert_eq!(
            said.contains("of each would tell"),
            needed.is_some_and(|n| n > 0),
            "{said}"
        );
    }
}

/// One ride of a unit: the spread of repeated rides of another stands in.
#[test]
fn repeated_rides_of_any_unit_stand_in_for_those_that_lack() {
    let blocks = |bias: f64| [(150.0, bias), (250.0, bias)];
    let sessions = [
        of_unit("a", "3", &blocks(0.5)),
        of_unit("b", "4", &blocks(0.1)),
        of_unit("c1", "7", &blocks(0.0)),
        of_unit("c2", "7", &blocks(0.2)),
        of_unit("c3", "7", &blocks(0.4)),
    ];
    let found = one(&asked(&["unit=3,4"], None), &sessions);
    // By hand: s = 0.2 with 2 degrees of freedom; u = 0.2 √2.
    assert_eq!(
        (found.basis, found.degrees_of_freedom),
        (Basis::Repeats, Some(2.0))
    );
    assert_close(
        found.standard_uncertainty_percent.unwrap(),
        0.2 * 2.0_f64.sqrt(),
        1e-12,
    );
    // Two rides of another say too little: the pairs are all there is.
    let found = one(&asked(&["unit=3,4"], None), &sessions[..4]);
    assert_eq!(found.basis, Basis::Pairs);
}

#[test]
fn what_does_not_cancel_counts_in_full() {
    let blocks = [(150.0, 0.9), (181.0, 0.4), (250.0, 0.2)];
    let facts = |bike| [("unit", "3"), ("bike", bike)];
    let a = ride("a", &facts("steel frame"), &blocks);
    let mut b = ride(
        "b",
        &[("unit", "4"), ("bike", "steel frame")],
        &[(150.0, 0.4), (181.0, 0.1), (250.0, -0.2)],
    );
    let same = one(&asked(&["unit"], None), &[a.clone(), b.clone()]);
    assert!(same.cancels && same.cancels_because.contains("on the same bike"));
    // Another frame: of each side 0.3 % of the loss is open.
    b.facts[1].value = "alloy frame".to_owned();
    b.bench.bike = Some("alloy frame".to_owned());
    let other = one(&asked(&["unit"], None), &[a.clone(), b.clone()]);
    assert!(!other.cancels && other.cancels_because.contains("not the same in every ride"));
    let u = other.standard_uncertainty_percent.unwrap();
    assert_close(u, 0.057735_f64.hypot(0.3 * 2.0_f64.sqrt()), 1e-6);
    assert_eq!(
        other.also_differ,
        ["bike (steel frame against alloy frame)"]
    );
    // Other references: 0.4 % of either side as well.
    b.bench.references = vec!["hub (hub)".to_owned()];
    let other = one(&asked(&["unit"], None), &[a, b]);
    let u = other.standard_uncertainty_percent.unwrap();
    assert_close(u, 0.057735_f64.hypot(0.5 * 2.0_f64.sqrt()), 1e-6);
    assert!(
        other
            .cancels_because
            .contains("references are not the same")
    );
}

#[test]
fn blocks_of_another_kind_gear_or_reference_are_not_paired() {
    let mut a = of_unit("a", "3", &[(150.0, 0.5), (200.0, 0.5), (250.0, 0.5)]);
    let b = of_unit("b", "4", &[(150.0, 0.4), (200.0, 0.1), (250.0, 0.2)]);
    let pairs =
        |a: &Surveyed, b: &Surveyed| one(&asked(&["unit"], None), &[a.clone(), b.clone()]).n;
    assert_eq!(pairs(&a, &b), 3);
    a.blocks[0].kind = crate::session::Kind::HeatSoak;
    a.blocks[1].reference = "pedals".to_owned();
    assert_eq!(pairs(&a, &b), 1);
    let mut c = b.clone();
    for block in &mut a.blocks {
        block.gear_m = Some(6.2);
    }
    for block in &mut c.blocks {
        block.gear_m = Some(4.2);
    }
    assert_eq!(pairs(&a, &c), 0);
    for block in &mut c.blocks {
        block.gear_m = Some(6.1);
    }
    assert_eq!(pairs(&a, &c), 1);
    // One mode and none noted are the same, two are not.
    a.blocks[2].mode = "erg".to_owned();
    assert_eq!(pairs(&a, &c), 1);
    c.blocks[2].mode = "resistance".to_owned();
    assert_eq!(pairs(&a, &c), 0);
}

#[test]
fn every_pair_of_values_is_held_together_by_holm() {
    let sessions = [
        of_unit("a", "3", &[(150.0, 0.9), (181.0, 0.4), (250.0, 0.2)]),
        of_unit("b", "4", &[(150.0, 0.4), (180.0, 0.1), (250.0, -0.2)]),
        of_unit("c", "7", &[(150.0, 4.0), (180.0, 4.4), (250.0, 3.9)]),
    ];
    let found = survey(&asked(&["unit"], None), sessions.to_vec(), Vec::new()).unwrap();
    let names: Vec<(&str, &str)> = found
        .contrasts
        .iter()
        .map(|c| (c.a.as_str(), c.b.as_str()))
        .collect();
    assert_eq!(names, [("3", "4"), ("3", "7"), ("4", "7")]);
    let p: Vec<f64> = found.contrasts.iter().map(|c| c.p_alike.unwrap()).collect();
    let adjusted: Vec<f64> = found
        .contrasts
        .iter()
        .map(|c| c.p_alike_holm.unwrap())
        .collect();
    assert_eq!(adjusted, crate::stats::compare::holm(&p));
    assert!(
        found.contrasts[0]
            .sentence
            .contains("chance among 3 contrasts allowed for")
    );
    assert!(
        found
            .headline
            .starts_with("Alike within ±1 points: unit 3 and unit 4"),
        "{}",
        found.headline
    );
}

#[test]
fn what_cannot_be_compared_says_why_and_what_to_do() {
    let three = [(150.0, 0.9), (181.0, 0.4)];
    let sessions = [of_unit("a", "3", &three), of_unit("b", "4", &three)];
    let refused = |wanted: &str, sessions: &[Surveyed]| {
        survey(&asked(&[wanted], None), sessions.to_vec(), Vec::new()).unwrap_err()
    };
    assert!(refused("firmware", &sessions).contains("firmware = \"...\" under [facts]"));
    assert!(refused("firmware", &sessions).contains("stated are unit"));
    assert!(refused("unit=3,9", &sessions).contains("unit = \"9\"; there is 3 and 4"));
    assert!(refused("unit", &sessions[..1]).contains("takes two values"));
    for wrong in ["unit=3,3", "unit=3", "=3,4", "unit=3,4,5", "unit=,4"] {
        let told = wrong.parse::<Wanted>().unwrap_err();
        assert!(told.contains("KEY=A,B"), "{wrong}: {told}");
    }
    let far = [
        of_unit("a", "3", &three),
        of_unit("b", "4", &[(300.0, 0.1)]),
    ];
    let found = one(&asked(&["unit"], Some(1.0)), &far);
    assert_eq!(
        (found.n, found.outcome, found.mean_percent),
        (0, Said::CannotTell, None)
    );
    assert!(
        found
            .sentence
            .contains("150 and 181 W against 300 W; ride the same plan"),
        "{}",
        found.sentence
    );
    let mut unclaimed = sessions.clone();
    for block in unclaimed.iter_mut().flat_map(|s| &mut s.blocks) {
        block.limit_percent = None;
    }
    assert!(refused("unit", &unclaimed).contains("--margin PERCENT"));
    let single = one(
        &asked(&["unit"], None),
        &[
            of_unit("a", "3", &three[..1]),
            of_unit("b", "4", &three[..1]),
        ],
    );
    // Its seconds alone: 0.2 % either side.
    assert_eq!(single.basis, Basis::Seconds);
    assert!(!single.sentence.contains("luck"));
    assert_close(
        single.standard_uncertainty_percent.unwrap(),
        0.2 * 2.0_f64.sqrt(),
        1e-12,
    );
}

#[test]
fn the_order_of_the_sessions_does_not_matter() {
    use rand::SeedableRng as _;
    use rand::seq::SliceRandom as _;
    let rides = (0..12).map(|i| {
        let unit = ["3", "4", "7"][i % 3];
        let bias = 0.1 * (i as f64 * 1.7).sin() + i as f64 % 3.0;
        of_unit(
            &format!("ride {i}"),
            unit,
            &[
                (150.0, bias),
                (151.0 + i as f64, 0.3 * bias),
                (240.0, bias / 7.0),
            ],
        )
    });
    let sessions: Vec<Surveyed> = rides.collect();
    let skipped = ["x", "y"].map(|session| Skipped {
        session: session.to_owned(),
        reason: "broken".to_owned(),
    });
    let json = |sessions: Vec<Surveyed>, skipped: Vec<Skipped>| {
        serde_json::to_string(&survey(&asked(&["unit"], None), sessions, skipped).unwrap()).unwrap()
    };
    let first = json(sessions.clone(), skipped.to_vec());
    let mut generator = rand_chacha::ChaCha8Rng::seed_from_u64(5);
    for _ in 0..20 {
        let (mut sessions, mut skipped) = (sessions.clone(), skipped.to_vec());
        sessions.shuffle(&mut generator);
        skipped.shuffle(&mut generator);
        assert_eq!(json(sessions, skipped), first);
    }
}

#[test]
fn the_worst_ride_of_a_unit_answers_for_it() {
    use crate::analysis::questions::{Finding, Question};
    let asked = |outcome, value| Asked {
        question: Question::Accuracy,
        source: "trainer".to_owned(),
        outcome,
        value: Some(value),
        unit: "%",
        interval: None,
        limit: Some(2.0),
    };
    let ride = |named, unit: &str, outcome, value| Surveyed {
        questions: vec![asked(outcome, value)],
        ..of_unit(named, unit, &[(150.0, value)])
    };
    let sessions = vec![
        ride("a", "3", Finding::Fine, 0.5),
        ride("b", "3", Finding::Fault, 3.0),
        ride("c", "3", Finding::Fault, -4.0),
        ride("d", "4", Finding::Fine, 1.0),
    ];
    let asks = Asks {
        by: Some("unit".to_owned()),
        ..Asks::default()
    };
    let found = survey(&asks, sessions, Vec::new()).unwrap();
    let row = found
        .matrix
        .rows
        .iter()
        .find(|row| row.question == Question::Accuracy)
        .unwrap();
    let cells: Vec<_> = row
        .cells
        .iter()
        .map(|c| (c.outcome, c.value, c.rides, c.of))
        .collect();
    assert_eq!(
        cells,
        [
            (Finding::Fault, Some(-4.0), 2, 3),
            (Finding::Fine, Some(1.0), 1, 1)
        ]
    );
    assert_eq!(
        (row.counts.fault, row.counts.fine, row.limit),
        (1, 1, Some(2.0))
    );
    assert_eq!(found.headline, "Faults: accuracy in unit 3; none in unit 4");
}

/// Forty rides whose trainer's scale is off by a different amount each day.
#[test]
fn forty_rides_recover_the_spread_they_were_made_with() {
    use rayon::prelude::*;
    const BETWEEN_PERCENT: f64 = 0.8;
    let plan = Plan::from_toml(
        "three blocks",
        "title = \"Three blocks\"\npurpose = \"A test.\"\ncovers = [\"bias\"]\n\
         [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 130\n\
         cadence_rpm = 85\ngear = \"50/17\"\n\
         [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 200\n\
         [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 270\n",
    )
    .unwrap();
    // Normal quantiles, so that the forty have this standard deviation whatever the seed.
    let offsets: Vec<f64> = (0..40)
        .map(|i| crate::stats::normal_quantile((f64::from(i) + 0.5) / 40.0))
        .collect();
    let sd = (offsets.iter().map(|z| z * z).sum::<f64>() / 39.0).sqrt();
    let sessions: Vec<Surveyed> = offsets
        .par_iter()
        .enumerate()
        .map(|(day, z)| {
            let mut scenario = Scenario::default();
            let trainer = &mut scenario.devices[0];
            trainer.gain_percent = 1.0 + BETWEEN_PERCENT * z / sd;
            let options = SessionOptions {
                clocks_known: true,
                tagged: true,
            };
            let opened = crate::rehearse::ride(&plan, &scenario, 1000 + day as u64)
                .unwrap()
                .opened(options);
            let aligned = Aligned::new(&opened);
            let figures = table(&opened.session, &aligned);
            Surveyed::new(
                &format!("day {day}"),
                (&opened.session, &aligned),
                (&figures, &Findings::default()),
            )
        })
        .collect();
    // One gear in all of them, and its length a turn is that of the sprockets: 50/17 × 2.1 m or so.
    for block in sessions.iter().flat_map(|session| &session.blocks) {
        let metres = block.gear_m.unwrap();
        assert!((5.9..6.5).contains(&metres), "{metres}");
    }
    let found = survey(&Asks::default(), sessions, Vec::new()).unwrap();
    assert!(
        found.matrix.units.is_empty(),
        "forty do not fit side by side"
    );
    let all = found.groups.iter().find(|g| g.kind.is_none()).unwrap();
    let [low, high] = all.precision.between_session_ci95.unwrap();
    assert_eq!((all.precision.sessions, all.precision.n), (40, 120));
    assert!(
        low < BETWEEN_PERCENT && BETWEEN_PERCENT < high,
        "[{low}, {high}]"
    );
    assert!(high - low < BETWEEN_PERCENT, "the interval says something");
    assert!(all.precision.repeatability_sd.unwrap() < 0.5 * BETWEEN_PERCENT);
    // The trainer gets 0.1 % less than the allowance says, and reads 1 % more of it.
    assert!(
        (all.precision.mean.unwrap() - 0.9).abs() < 0.1,
        "{:?}",
        all.precision.mean
    );
}
