//! Whatever a recorder wrote, no figure is a number that is none, and nothing panics: columns of
//! missing values, infinities, a reader's 65535, constants, negatives and absurd sizes through the whole
//! of `truing table`, in every shape it is printed in.

use std::path::PathBuf;
use std::sync::Arc;

use proptest::prelude::*;
use truing::analysis::table::Table;
use truing::analysis::table::table;
use truing::export::table::{csv, json, markdown, text};
use truing::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use truing::session::{Claim, Kind, OpenedSession, Role, Segment, Session, Source, Stream};
use truing::timeline::Aligned;

const LONGEST: usize = 260;

/// One value of a column of the given character.
fn value(character: u8) -> BoxedStrategy<f64> {
    let ridden = 0.0..400.0_f64;
    match character {
        0 => ridden.boxed(),
        1 => Just(f64::NAN).boxed(),
        2 => Just(0.0).boxed(),
        3 => Just(65_535.0).boxed(),
        4 => Just(250.0).boxed(),
        5 => Just(1e-12).boxed(),
        6 => (-5.0..5.0_f64).boxed(),
        _ => prop_oneof![
            6 => ridden,
            1 => Just(f64::NAN),
            1 => Just(f64::INFINITY),
            1 => Just(f64::NEG_INFINITY),
            1 => Just(65_535.0),
            1 => Just(0.0),
            1 => Just(-30.0),
            1 => Just(1e300),
            1 => Just(-1e300),
            1 => Just(f64::MIN_POSITIVE),
        ]
        .boxed(),
    }
}

fn column() -> impl Strategy<Value = Vec<f64>> {
    (0_u8..10, 1..LONGEST)
        .prop_flat_map(|(character, rows)| prop::collection::vec(value(character), rows))
}

fn stream() -> impl Strategy<Value = Vec<(Channel, Vec<f64>)>> {
    let others = prop::sample::subsequence(
        vec![Channel::Cadence, Channel::Speed, Channel::Temperature],
        0..=3,
    );
    (column(), others, column()).prop_map(|(power, others, beside)| {
        let rows = power.len();
        let cycled: Vec<f64> = beside.iter().copied().cycle().take(rows).collect();
        let others = others.into_iter().map(|channel| (channel, cycled.clone()));
        std::iter::once((Channel::Power, power))
            .chain(others)
            .collect()
    })
}

fn opened(streams: Vec<Vec<(Channel, Vec<f64>)>>, claim: Claim, cuts: [f64; 2]) -> OpenedSession {
    let mut session = Session {
        claim,
        ..Session::default()
    };
    let mut sources = Vec::new();
    for (place, channels) in streams.into_iter().enumerate() {
        let rows = channels[0].1.len();
        let mut samples = Samples::new((0..rows).map(|row| row as f64).collect()).unwrap();
        for (channel, values) in channels {
            assert!(samples.set_column(channel, values));
        }
        let label = ["trainer", "pedals", "crank", "hub"][place];
        let recorded = RecordedStream {
            label: label.to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(label, label, TimeBase::Elapsed, vec![recorded]);
        sources.push(Source::new(Arc::new(recording), 0));
        session.streams.push(Stream {
            role: if place == 0 {
                Role::UnderTest
            } else {
                Role::Reference
            },
            claim_percent: (place > 0).then_some(1.0),
            ..Stream::new(label, label)
        });
    }
    let [from_s, to_s] = cuts;
    for kind in Kind::ALL {
        for (from_s, to_s) in [(0.0, 300.0), (from_s, to_s), (9e5, 9.1e5)] {
            session.segments.push(Segment {
                kind: *kind,
                from_s,
                to_s,
                set_point_w: Some(250.0),
                note: String::new(),
            });
        }
    }
    OpenedSession {
        folder: PathBuf::new(),
        session,
        sources,
        problems: Vec::new(),
    }
}

/// Words of a text that are a number which is none, with what stands before them. JSON would hide one
/// as null: the stored figures are looked at as well.
fn not_numbers(text: &str) -> Vec<String> {
    let none = |word: &str| ["nan", "inf", "infinity"].contains(&word.to_lowercase().as_str());
    let words: Vec<&str> = text
        .split(|c: char| !c.is_alphanumeric() && c != '_')
        .collect();
    let places = (0..words.len()).filter(|at| none(words[*at]));
    places
        .map(|at| words[at.saturating_sub(4)..=at].join(" "))
        .collect()
}

fn check(table: &Table) {
    let shapes = [
        format!("{table:?}"),
        json(table).unwrap(),
        csv(table),
        markdown(table),
        text(table),
    ];
    for shape in &shapes {
        assert_eq!(not_numbers(shape), Vec::<String>::new());
    }
    for segment in &table.segments {
        let verdict = segment.verdict.as_ref().unwrap();
        assert!(!verdict.reasons.is_empty(), "a verdict without a sentence");
        if let Some(probability) = verdict.conformance_probability {
            assert!((0.0..=1.0).contains(&probability));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 40,
        max_shrink_iters: 60,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_column_makes_a_figure_that_is_no_number(
        streams in prop::collection::vec(stream(), 1..=4),
        percent in prop_oneof![Just(0.0), Just(2.0)],
        watts in prop_oneof![Just(0.0), Just(3.0)],
        from_s in 0.0..200.0_f64,
        length_s in 0.0..120.0_f64,
    ) {
        let claim = Claim { percent, watts };
        let opened = opened(streams, claim, [from_s, from_s + length_s]);
        let aligned = Aligned::new(&opened);
        check(&table(&opened.session, &aligned));
    }
}
