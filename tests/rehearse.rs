//! A rehearsal: its physics, its clocks, its files.

use std::path::Path;

use truing::plan::Plan;
use truing::recording::Channel;
use truing::rehearse::{
    Fault, Rehearsal, Scenario, SessionOptions, random_scenario, ride, write_session,
};
use truing::session::Kind;
use truing::timeline::Span;

fn rehearse(plan: &str, faults: &[&str], seed: u64) -> Rehearsal {
    let plan = Plan::built_in(plan).unwrap();
    let mut scenario = Scenario::default();
    for fault in faults {
        let fault: Fault = fault.parse().unwrap();
        fault.put_into(&mut scenario, &plan).unwrap();
    }
    ride(&plan, &scenario, seed).unwrap()
}

fn power(rehearsal: &Rehearsal, index: usize) -> &[f64] {
    rehearsal.streams[index]
        .samples
        .column(Channel::Power)
        .unwrap()
}

fn mean(values: impl IntoIterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.into_iter().collect();
    values.iter().sum::<f64>() / values.len() as f64
}

#[test]
fn one_seed_gives_one_ride_and_another_seed_another() {
    let (a, b) = (
        rehearse("short-check", &[], 7),
        rehearse("short-check", &[], 7),
    );
    assert_eq!(a.truth, b.truth);
    for (x, y) in a.streams.iter().zip(&b.streams) {
        assert_eq!(x.samples, y.samples);
    }
    let other = rehearse("short-check", &[], 8);
    assert_ne!(a.streams[0].samples, other.streams[0].samples);
}

#[test]
fn a_steady_block_averages_its_set_point_and_wanders_around_it() {
    let rehearsal = rehearse("full-bench", &[], 3);
    for segment in &rehearsal.truth.segments {
        if segment.kind == Kind::SteadyBlock {
            let pedals = &segment.devices[1];
            let off_w = pedals.site_mean_w - segment.set_point_w.unwrap();
            assert!(off_w.abs() < 4.0, "{off_w} W at {:?}", segment.set_point_w);
            // Pedals read what is there, the trainer what the drivetrain leaves of it.
            assert!(pedals.bias_w.abs() < 1e-3);
            assert!((segment.pairs[0].scale_bias_percent.unwrap() + 2.3).abs() < 1e-6);
        }
    }
}

#[test]
fn a_recorder_time_and_its_session_time_are_the_same_moment() {
    let plan = Plan::built_in("short-check").unwrap();
    for seed in 0..20 {
        let scenario = random_scenario(&plan, seed);
        let rehearsal = ride(&plan, &scenario, seed).unwrap();
        let first = &rehearsal.streams[0];
        assert_eq!((first.clock.offset_s, first.clock.skew_ppm), (0.0, 0.0));
        let start = scenario.start_unix_s as f64;
        let recorder = |index: usize, true_s: f64| {
            let recorder = &scenario.devices[index].recorder;
            start + recorder.clock_offset_s + (1.0 + recorder.clock_skew_ppm * 1e-6) * true_s
        };
        for true_s in [0.0, 100.0, 555.5] {
            let session: Vec<f64> = (0..3)
                .map(|index| {
                    rehearsal.streams[index]
                        .clock
                        .to_session(recorder(index, true_s))
                })
                .collect();
            assert!((session[1] - session[0]).abs() < 1e-5, "{session:?}");
            assert!((session[2] - session[0]).abs() < 1e-5, "{session:?}");
        }
    }
}

#[test]
fn every_plan_can_be_ridden_and_written_and_read_by_an_independent_decoder() {
    for (seed, name) in Plan::names().enumerate() {
        let plan = Plan::built_in(name).unwrap();
        let scenario = random_scenario(&plan, seed as u64);
        let rehearsal = ride(&plan, &scenario, seed as u64).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let session = rehearsal.session(SessionOptions::default());
        write_session(&rehearsal, &session, folder.path()).unwrap();
        let records = fit_powers(&folder.path().join("recordings/trainer.fit"));
        let written: Vec<Option<i64>> = power(&rehearsal, 0)
            .iter()
            .map(|watts| watts.is_finite().then_some(*watts as i64))
            .collect();
        assert_eq!(records, written, "{name}");
    }
}

fn fit_powers(path: &Path) -> Vec<Option<i64>> {
    let bytes = std::fs::read(path).unwrap();
    let messages = fitparser::from_bytes(&bytes).unwrap();
    messages
        .iter()
        .filter(|message| message.kind() == fitparser::profile::MesgNum::Record)
        .map(|record| {
            let field = record.fields().iter().find(|field| field.name() == "power");
            field.map(|field| field.value().clone().try_into().unwrap())
        })
        .collect()
}

#[test]
fn the_truth_of_a_window_follows_from_what_was_put_in() {
    let rehearsal = rehearse("full-bench", &["gain=4", "gear=1.5"], 11);
    let window = Span::new(400.0, 500.0);
    let truth = rehearsal.pair_truth("trainer", "pedals", window).unwrap();
    let scale = 100.0 * (1.04 * (1.0 - 0.023) - 1.0);
    assert!((truth.scale_bias_percent.unwrap() - scale).abs() < 1e-6);
    let ladder = rehearsal
        .truth
        .segments
        .iter()
        .find(|s| s.kind == Kind::GearChange);
    let shift = &ladder.unwrap().shifts[0];
    let expected = 1.5 * (50.0 / 17.0 - 50.0 / 21.0) * (1.0 - 0.023);
    assert!((shift.shift_percent - expected).abs() < 1e-6, "{shift:?}");
    assert!(rehearsal.pair_truth("trainer", "nobody", window).is_none());
}

#[test]
fn recorded_means_are_the_ideal_means_plus_noise() {
    let rehearsal = rehearse("heat-soak", &["heat=-3"], 2);
    for stream in &rehearsal.streams {
        let recorded = mean(stream.samples.column(Channel::Power).unwrap().to_vec());
        assert!((recorded - mean(stream.ideal_w.clone())).abs() < 0.3);
    }
    let soak = rehearsal
        .truth
        .segments
        .iter()
        .find(|s| s.kind == Kind::HeatSoak);
    let pair = &soak.unwrap().pairs[0];
    assert!(pair.drift_percent_per_10min.unwrap() < -0.2, "{pair:?}");
}

/// Noise and rounding add no bias of their own: over 60 seeds the recorded mean of a steady ride
/// differs from the ideal mean by no more than chance (3.5 standard errors).
#[test]
fn over_many_seeds_noise_has_no_mean() {
    let off_w = |seed: u64, index: usize| {
        let rehearsal = rehearse("short-check", &["slow-noise=1"], seed);
        let ideal = &rehearsal.streams[index].ideal_w;
        let pairs = power(&rehearsal, index).iter().zip(ideal);
        mean(
            pairs
                .filter(|(_, ideal)| **ideal > 60.0)
                .map(|(x, y)| x - y),
        )
    };
    for index in 0..3 {
        let off: Vec<f64> = (0..60).map(|seed| off_w(seed, index)).collect();
        let centre = mean(off.iter().copied());
        let variance = mean(off.iter().map(|d| (d - centre).powi(2)));
        let error_w = (variance / 59.0).sqrt();
        assert!(
            centre.abs() < 3.5 * error_w,
            "{index}: {centre} ± {error_w} W"
        );
        assert!(error_w < 0.1, "{error_w}");
    }
}
