//! Alignment on small rides made on the spot: a rider whose power wanders, devices that see it,
//! recorders with clocks of their own.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::*;

const FINE_S: f64 = 0.1;

/// A ride at a fine step by a perfect clock.
struct Ride {
    power_w: Vec<f64>,
    cadence_rpm: Vec<f64>,
    heart_bpm: Vec<f64>,
}

impl Ride {
    fn new(duration_s: f64, seed: u64, plan_w: impl Fn(f64) -> f64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let n = (duration_s / FINE_S) as usize;
        let (mut held, mut slow_noise, mut rpm, mut demand, mut beat) =
            (plan_w(0.0), 0.0, 0.0, 100.0, 0.0);
        let mut ride = Self {
            power_w: Vec::new(),
            cadence_rpm: Vec::new(),
            heart_bpm: Vec::new(),
        };
        let mut follow = |value: &mut f64, time_constant_s: f64, sd: f64| {
            let keep = (-FINE_S / time_constant_s).exp();
            *value = keep * *value + sd * (1.0 - keep * keep).sqrt() * normal();
        };
        for i in 0..n {
            follow(&mut slow_noise, 6.0, 8.0);
            follow(&mut rpm, 10.0, 1.5);
            follow(&mut beat, 20.0, 1.5);
            held += (plan_w(i as f64 * FINE_S) - held) * FINE_S / 1.2;
            demand += (held - demand) * FINE_S / 45.0;
            ride.power_w.push((held + slow_noise).max(0.0));
            ride.cadence_rpm.push(85.0 + 0.03 * (held - 200.0) + rpm);
            ride.heart_bpm.push((70.0 + 0.35 * demand + beat).round());
        }
        ride
    }

    fn at(column: &[f64], true_s: f64) -> f64 {
        column[((true_s / FINE_S) as usize).min(column.len() - 1)]
    }
}

#[derive(Clone, Copy)]
struct Recorder {
    offset_s: f64,
    skew_ppm: f64,
    from_s: f64,
    to_s: f64,
    pause: Option<(f64, f64)>,
    /// True time at which the clock jumps ahead, and by how much, s.
    jump: Option<(f64, f64)>,
    lag_s: f64,
    seed: u64,
    heart: bool,
    cadence: bool,
}

const PLAIN: Recorder = Recorder {
    offset_s: 0.0,
    skew_ppm: 0.0,
    from_s: 0.0,
    to_s: f64::INFINITY,
    pause: None,
    jump: None,
    lag_s: 0.0,
    seed: 0,
    heart: true,
    cadence: true,
};

impl Recorder {
    fn recorder_s(&self, true_s: f64) -> f64 {
        let jumped = self.jump.filter(|(at_s, _)| true_s >= *at_s);
        let ahead_s = self.offset_s + jumped.map_or(0.0, |(_, by_s)| by_s);
        1.7e9 + ahead_s + (1.0 + self.skew_ppm * 1e-6) * true_s
    }

    /// `NaN` for a time that the clock leaps over.
    fn true_s(&self, recorder_s: f64) -> f64 {
        let rate = 1.0 + self.skew_ppm * 1e-6;
        let true_s = (recorder_s - 1.7e9 - self.offset_s) / rate;
        match self.jump {
            Some((at_s, by_s)) if true_s >= at_s + by_s / rate => true_s - by_s / rate,
            Some((at_s, _)) if true_s >= at_s => f64::NAN,
            _ => true_s,
        }
    }

    /// Every whole second of its own clock.
    fn record(&self, ride: &Ride) -> Samples {
        let mut rng = ChaCha8Rng::seed_from_u64(900 + self.seed);
        let end_s = self.to_s.min(ride.power_w.len() as f64 * FINE_S);
        let mut shown = Vec::new();
        let mut held = ride.power_w[0];
        for watts in &ride.power_w {
            held += (watts - held) * (FINE_S / self.lag_s.max(FINE_S));
            shown.push(held);
        }
        let times: Vec<f64> = (self.recorder_s(self.from_s).ceil() as i64
            ..self.recorder_s(end_s) as i64)
            .map(|t| t as f64)
            .filter(|t| {
                let at = self.true_s(*t);
                !at.is_nan() && self.pause.is_none_or(|(from, to)| at < from || at > to)
            })
            .collect();
        let mut column = |from: &[f64], noise: f64| -> Vec<f64> {
            times
                .iter()
                .map(|t| {
                    let draw: f64 = StandardNormal.sample(&mut rng);
                    (Ride::at(from, self.true_s(*t)) + noise * draw).round()
                })
                .collect()
        };
        let power = column(&shown, 2.0);
        let cadence = column(&ride.cadence_rpm, 0.3);
        let heart = column(&ride.heart_bpm, 0.0);
        let mut samples = Samples::new(times).unwrap();
        samples.set_column(Channel::Power, power);
        if self.cadence {
            samples.set_column(Channel::Cadence, cadence);
        }
        if self.heart {
            samples.set_column(Channel::HeartRate, heart);
        }
        samples
    }
}

fn source<'a>(
    label: &'a str,
    recording: usize,
    role: Role,
    site: Site,
    samples: &'a Samples,
    zero_s: f64,
) -> Source<'a> {
    Source {
        label,
        recording,
        role,
        site: Some(site),
        samples,
        sampling: Sampling::Regular,
        absolute: true,
        clock: Clock {
            zero_s,
            offset_s: 0.0,
            skew_ppm: 0.0,
        },
        given: false,
    }
}

/// Trainer, pedals and crank, each with its recorder.
fn bench(samples: &[Samples; 3]) -> [Source<'_>; 3] {
    let zero_s = samples[0].time_s()[0];
    [
        source(
            "trainer",
            0,
            Role::UnderTest,
            Site::Trainer,
            &samples[0],
            zero_s,
        ),
        source(
            "pedals",
            1,
            Role::Reference,
            Site::Pedal,
            &samples[1],
            zero_s,
        ),
        source(
            "crank",
            2,
            Role::Reference,
            Site::Crank,
            &samples[2],
            zero_s,
        ),
    ]
}

fn record(ride: &Ride, recorders: [Recorder; 3]) -> [Samples; 3] {
    recorders.map(|recorder| recorder.record(ride))
}

/// Error of a clock at a true time, s: where the found clock puts the moment, against the first
/// recorder's clock.
fn error_s(
    recorders: &[Recorder; 3],
    samples: &[Samples; 3],
    found: &StreamClock,
    index: usize,
    true_s: f64,
) -> f64 {
    let zero_s = samples[0].time_s()[0];
    let clock = Clock {
        zero_s,
        offset_s: found.offset_s,
        skew_ppm: found.skew_ppm,
    };
    let session_s = recorders[0].recorder_s(true_s) - zero_s;
    clock.to_session(recorders[index].recorder_s(true_s)) - session_s
}

fn intervals(t: f64) -> f64 {
    if t < 300.0 {
        150.0
    } else if ((t - 300.0) / 120.0) as i64 % 2 == 0 {
        280.0
    } else {
        160.0
    }
}

fn three(seed: u64) -> [Recorder; 3] {
    [
        Recorder {
            seed: 10 * seed,
            lag_s: 1.0,
            ..PLAIN
        },
        Recorder {
            seed: 10 * seed + 1,
            offset_s: 7.3,
            from_s: 11.0,
            ..PLAIN
        },
        Recorder {
            seed: 10 * seed + 2,
            offset_s: -41.6,
            skew_ppm: 60.0,
            from_s: 4.0,
            ..PLAIN
        },
    ]
}

#[test]
fn one_strap_aligns_three_recorders() {
    let ride = Ride::new(2400.0, 1, intervals);
    let recorders = three(1);
    let samples = record(&ride, recorders);
    let found = align(&bench(&samples), Options::default());
    assert_eq!(found.streams[0].offset_s, 0.0);
    assert_eq!(found.streams[0].matched_on, MatchedOn::Clock);
    for index in [1, 2] {
        let stream = &found.streams[index];
        assert_eq!(stream.matched_on, MatchedOn::HeartRate, "{stream:?}");
        assert!(stream.confident, "{stream:?}");
        let error = error_s(&recorders, &samples, stream, index, 1200.0);
        assert!(error.abs() < 0.3, "{error} {stream:?}");
        let [low, high] = stream.offset_ci95_s.unwrap();
        assert!(low <= stream.offset_s && stream.offset_s <= high);
        assert!(stream.peak_correlation.unwrap() > 0.5);
    }
    let lag = &found.response_lags[0];
    assert!(
        lag.separable && (lag.delay_s.unwrap() - 0.9).abs() < 0.3,
        "{lag:?}"
    );
}

#[test]
fn shifting_a_recording_shifts_the_answer_and_nothing_else() {
    let ride = Ride::new(1500.0, 2, intervals);
    let samples = record(&ride, three(2));
    let zero_s = samples[0].time_s()[0];
    let before = align(&bench(&samples), Options::default());
    for by_s in [7.0, -3600.0, 0.4] {
        let mut moved = samples.clone();
        moved[2] = shifted(&samples[2], by_s);
        let mut sources = bench(&moved);
        for source in &mut sources {
            source.clock.zero_s = zero_s;
        }
        let after = align(&sources, Options::default());
        assert_eq!(after.streams[1], before.streams[1]);
        // The recorder is by_s later, so its offset is by_s less (but for the rate over by_s).
        let rate = 1.0 + before.streams[2].skew_ppm * 1e-6;
        let change = after.streams[2].offset_s - before.streams[2].offset_s;
        assert!((change + rate * by_s).abs() < 1e-3, "{by_s}: {change}");
        assert_eq!(after.streams[2].skew_ppm, before.streams[2].skew_ppm);
    }
}

fn shifted(samples: &Samples, by_s: f64) -> Samples {
    let mut out = Samples::new(samples.time_s().iter().map(|t| t + by_s).collect()).unwrap();
    for channel in samples.channels() {
        out.set_column(channel, samples.column(channel).unwrap().to_vec());
    }
    out
}

#[test]
fn clocks_half_a_day_apart_a_pause_and_other_ends_are_no_obstacle() {
    let ride = Ride::new(3000.0, 3, intervals);
    let recorders = [
        Recorder {
            lag_s: 1.0,
            ..PLAIN
        },
        Recorder {
            offset_s: -43_200.0 + 3.3,
            from_s: 400.0,
            seed: 1,
            ..PLAIN
        },
        Recorder {
            offset_s: 39_999.5,
            to_s: 2500.0,
            pause: Some((1200.0, 1600.0)),
            seed: 2,
            ..PLAIN
        },
    ];
    let samples = record(&ride, recorders);
    let found = align(&bench(&samples), Options::default());
    for index in [1, 2] {
        let stream = &found.streams[index];
        let error = error_s(&recorders, &samples, stream, index, 1800.0);
        assert!(stream.confident && error.abs() < 0.3, "{error} {stream:?}");
    }
}

#[test]
fn cadence_comes_next_and_says_so() {
    let ride = Ride::new(2400.0, 4, intervals);
    let mut recorders = three(4);
    recorders.iter_mut().for_each(|r| r.heart = false);
    let samples = record(&ride, recorders);
    let found = align(&bench(&samples), Options::default());
    for index in [1, 2] {
        let stream = &found.streams[index];
        assert_eq!(stream.matched_on, MatchedOn::Cadence);
        let error = error_s(&recorders, &samples, stream, index, 1200.0);
        assert!(stream.confident && error.abs() < 0.3, "{error} {stream:?}");
    }
}

#[test]
fn power_alone_never_makes_the_source_under_test_certain() {
    let ride = Ride::new(2400.0, 5, intervals);
    let mut recorders = three(5);
    recorders.iter_mut().for_each(|r| {
        r.heart = false;
        r.cadence = false;
    });
    recorders[0].lag_s = 2.5;
    let samples = record(&ride, recorders);
    let found = align(&bench(&samples), Options::default());
    for index in [1, 2] {
        let stream = &found.streams[index];
        assert_eq!(stream.matched_on, MatchedOn::Power);
        assert!(!stream.confident);
        assert!(stream.reason.contains("cannot be told apart"), "{stream:?}");
    }
    // The references with each other are right all the same.
    let between = error_s(&recorders, &samples, &found.streams[1], 1, 1200.0)
        - error_s(&recorders, &samples, &found.streams[2], 2, 1200.0);
    assert!(between.abs() < 0.3, "{between}");
    assert!(found.response_lags.iter().all(|lag| !lag.separable));
    assert_eq!(found.response_lags[0].note, "not separable from the clock");
}

#[test]
fn streams_of_one_recording_are_never_moved_apart() {
    let ride = Ride::new(1500.0, 6, intervals);
    let samples = record(&ride, three(6));
    let mut sources = bench(&samples).to_vec();
    sources.push(Source {
        label: "crank again",
        recording: 2,
        ..sources[2]
    });
    sources.push(Source {
        label: "trainer again",
        recording: 0,
        ..sources[0]
    });
    let found = align(&sources, Options::default());
    assert_eq!(found.streams[3].offset_s, found.streams[2].offset_s);
    assert_eq!(found.streams[3].skew_ppm, found.streams[2].skew_ppm);
    assert_eq!(found.streams[4].offset_s, 0.0);
    assert!(found.streams[4].confident);
}

#[test]
fn a_clock_set_by_hand_is_kept_unless_asked() {
    let ride = Ride::new(1500.0, 7, intervals);
    let samples = record(&ride, three(7));
    let mut sources = bench(&samples);
    sources[1].clock.offset_s = 123.0;
    sources[1].given = true;
    let kept = align(&sources, Options::default());
    assert_eq!(kept.streams[1].offset_s, 123.0);
    assert_eq!(kept.streams[1].matched_on, MatchedOn::Given);
    let again = align(
        &sources,
        Options {
            again: true,
            ..Options::default()
        },
    );
    assert_eq!(again.streams[1].matched_on, MatchedOn::HeartRate);
    assert!((again.streams[1].offset_s - 123.0).abs() > 1.0);
}

#[test]
fn bad_input_leaves_the_clock_alone_and_says_why() {
    let ride = Ride::new(900.0, 8, intervals);
    let samples = record(&ride, three(8));
    let zero_s = samples[0].time_s()[0];
    let check = |other: &Samples, expected: &str| {
        let mut sources = [
            source(
                "trainer",
                0,
                Role::UnderTest,
                Site::Trainer,
                &samples[0],
                zero_s,
            ),
            source("pedals", 1, Role::Reference, Site::Pedal, other, zero_s),
        ];
        sources[1].clock.offset_s = 4.5;
        let found = align(&sources, Options::default());
        let stream = &found.streams[1];
        assert_eq!((stream.offset_s, stream.skew_ppm), (4.5, 0.0), "{stream:?}");
        assert!(!stream.confident && !stream.estimated);
        assert_eq!(stream.matched_on, MatchedOn::Clock);
        assert!(stream.reason.contains(expected), "{}", stream.reason);
        assert!(
            stream.reason.contains("left as it was"),
            "{}",
            stream.reason
        );
    };
    check(&Samples::default(), "no samples");
    let times: Vec<f64> = samples[1].time_s().to_vec();
    let with = |times: &[f64], value: &dyn Fn(usize) -> f64| {
        let mut out = Samples::new(times.to_vec()).unwrap();
        out.set_column(Channel::Power, (0..times.len()).map(value).collect());
        out
    };
    check(&with(&times, &|_| 200.0), "does not vary");
    check(&with(&times, &|_| f64::NAN), "no channel in common");
    check(&with(&times[..2], &|i| i as f64), "no channel in common");
    check(&with(&times[..40], &|i| (i * i % 17) as f64), "too short");
    check(
        &with(&times, &|i| ((i * 7919 + i * i) % 101) as f64),
        "nothing in common",
    );
    // One stream only: it defines session time.
    let alone = align(&bench(&samples)[..1], Options::default());
    assert!(alone.streams[0].confident && alone.streams[0].offset_s == 0.0);
    assert_eq!(align(&[], Options::default()), Alignment::default());
}

#[test]
fn equal_repeats_with_nothing_else_to_go_by_are_not_certain() {
    // Two meters whose noise hides the rider, on bare repeats, one recorder started later and
    // stopped earlier by a repeat each.
    let mut ride = Ride::new(2400.0, 9, |_| 200.0);
    for (i, watts) in ride.power_w.iter_mut().enumerate() {
        *watts = if (i as f64 * FINE_S / 120.0) as i64 % 2 == 0 {
            300.0
        } else {
            150.0
        };
    }
    let mut recorders = three(9);
    recorders.iter_mut().for_each(|r| {
        r.heart = false;
        r.cadence = false;
        r.lag_s = 0.0;
    });
    recorders[1].from_s = 475.0;
    recorders[1].to_s = 1925.0;
    let samples = record(&ride, recorders);
    let zero_s = samples[0].time_s()[0];
    let sources = [
        source("hub", 0, Role::Reference, Site::Hub, &samples[0], zero_s),
        source(
            "pedals",
            1,
            Role::Reference,
            Site::Pedal,
            &samples[1],
            zero_s,
        ),
    ];
    let found = align(&sources, Options::default());
    let stream = &found.streams[1];
    assert!(!stream.confident, "{stream:?}");
    assert!(stream.reason.contains("nearly as well"), "{stream:?}");
    // The recorders' clocks break the tie.
    let error = error_s(&recorders, &samples, stream, 1, 1200.0);
    assert!(error.abs() < 10.0, "{error} {stream:?}");
}

/// Only what moves the power by 5 W is written, and each 7 s: cadence then shows late.
#[test]
fn a_recorder_that_writes_on_change_is_not_sure_of_what_it_holds() {
    let ride = Ride::new(1500.0, 12, intervals);
    let recorders = three(12);
    let mut samples = record(&ride, recorders);
    let all = &samples[2];
    let power = all.column(Channel::Power).unwrap();
    let mut kept = vec![0];
    for row in 1..all.len() {
        let last = kept[kept.len() - 1];
        let moved = (power[row] - power[last]).abs() > 5.0;
        if moved || all.time_s()[row] - all.time_s()[last] >= 7.0 {
            kept.push(row);
        }
    }
    let thin = |column: &[f64]| kept.iter().map(|row| column[*row]).collect::<Vec<f64>>();
    let mut thinned = Samples::new(thin(all.time_s())).unwrap();
    for channel in [Channel::Power, Channel::Cadence] {
        thinned.set_column(channel, thin(all.column(channel).unwrap()));
    }
    samples[2] = thinned;
    let mut sources = bench(&samples);
    sources[2].sampling = Sampling::OnChange;
    let found = align(&sources, Options::default());
    let stream = &found.streams[2];
    let error = error_s(&recorders, &samples, stream, 2, 750.0);
    assert!(!stream.confident, "{error} {stream:?}");
    assert!(stream.reason.contains("only on change"), "{stream:?}");
    let [low, high] = stream.offset_ci95_s.unwrap();
    let reach = (high - stream.offset_s).min(stream.offset_s - low);
    assert!(error.abs() < reach, "{error} {stream:?}");
}

/// A rate is found, whatever its size and sign and whoever's it is: beyond quartz too.
#[test]
fn a_rate_beyond_quartz_is_found() {
    let ride = Ride::new(2400.0, 13, intervals);
    for (skew_ppm, index) in [
        (300.0, 1),
        (-400.0, 1),
        (600.0, 2),
        (-1000.0, 2),
        (3000.0, 1),
        (-600.0, 0),
    ] {
        let mut recorders = three(13);
        recorders[index].skew_ppm = skew_ppm;
        let samples = record(&ride, recorders);
        let found = align(&bench(&samples), Options::default());
        let rate = |i: usize| 1.0 + recorders[i].skew_ppm * 1e-6;
        for other in [1, 2] {
            let stream = &found.streams[other];
            let truth_ppm = (rate(0) / rate(other) - 1.0) * 1e6;
            let error_ppm = stream.skew_ppm - truth_ppm;
            assert!(
                error_ppm.abs() < 60.0,
                "{skew_ppm} {index}: {truth_ppm} {stream:?}"
            );
            for true_s in [60.0, 1200.0, 2340.0] {
                let error = error_s(&recorders, &samples, stream, other, true_s);
                assert!(error.abs() < 0.3, "{skew_ppm} {index}: {error} {stream:?}");
            }
        }
    }
}

/// Ten minutes do not tell a rate well: it is found, or its interval says what is open.
#[test]
fn a_short_ride_says_what_rates_it_leaves_open() {
    let ride = Ride::new(600.0, 14, intervals);
    for skew_ppm in [0.0, 400.0, -1000.0, 3000.0] {
        let mut recorders = three(14);
        recorders[1].skew_ppm = skew_ppm;
        let samples = record(&ride, recorders);
        let found = align(&bench(&samples), Options::default());
        let stream = &found.streams[1];
        let truth_ppm = (1.0 / (1.0 + skew_ppm * 1e-6) - 1.0) * 1e6;
        let [low, high] = stream.skew_ci95_ppm.unwrap();
        let open = low <= truth_ppm && truth_ppm <= high;
        assert!(open || !stream.confident, "{skew_ppm} {stream:?}");
        let error = error_s(&recorders, &samples, stream, 1, 300.0);
        assert!(
            error.abs() < 0.3 || !stream.confident,
            "{skew_ppm} {error} {stream:?}"
        );
    }
}

#[test]
fn a_jump_of_a_clock_is_named_with_its_place_and_size() {
    let ride = Ride::new(2400.0, 15, intervals);
    for (index, at_s, by_s) in [
        (1, 1500.0, 1.0),
        (2, 1500.0, 2.0),
        (1, 900.0, 5.0),
        (0, 1300.0, 12.0),
        (1, 1700.0, 60.0),
        (2, 1300.0, 3600.0),
    ] {
        let mut recorders = three(15);
        recorders[index].jump = Some((at_s, by_s));
        let samples = record(&ride, recorders);
        let found = align(&bench(&samples), Options::default());
        let concerned: Vec<&StreamClock> = match index {
            0 => found.streams[1..].iter().collect(),
            _ => vec![&found.streams[index]],
        };
        for stream in concerned {
            assert!(!stream.confident, "{by_s} {stream:?}");
            assert!(
                stream.reason.contains("a clock jumps"),
                "{by_s} {}",
                stream.reason
            );
            let named = |after: &str, until: &str| -> f64 {
                let jump = stream.reason.split("a clock jumps").nth(1).unwrap_or("");
                let rest = jump.split(after).nth(1).unwrap_or("");
                rest.split(until)
                    .next()
                    .and_then(|n| n.parse().ok())
                    .unwrap_or(f64::NAN)
            };
            let place_s = named("at about ", " s");
            assert!(
                (place_s - at_s).abs() < 90.0 || (place_s - at_s - by_s).abs() < 90.0,
                "{}",
                stream.reason
            );
            let label = ["trainer", "pedals", "crank"][index];
            let size_s: f64 = named(" by ", " s,");
            assert!((size_s - by_s).abs() < 0.4, "{by_s} {}", stream.reason);
            assert!(
                stream
                    .reason
                    .contains(&format!("that of {label} moves ahead")),
                "{}",
                stream.reason
            );
        }
        if index == 1 {
            assert!(
                !found.streams[2].reason.contains("jumps"),
                "{:?}",
                found.streams[2]
            );
        }
    }
    let sound = align(&bench(&record(&ride, three(15))), Options::default());
    assert!(sound.streams.iter().all(|s| !s.reason.contains("jumps")));
}
