//! `cargo bench --bench clocks`: what aligning costs against the bare transforms it is made of.
//! The same correlations in scipy: `python tests/oracles/clock_lags.py --time`.

#![allow(clippy::print_stdout)]

mod parts;

use std::hint::black_box;
use std::time::Instant;

use parts::is_wanted;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use truing::recording::{Channel, Samples, Sampling};
use truing::session::{Role, Site};
use truing::timeline::Clock;
use truing::timeline::align::{Options, Source, align};
use truing::timeline::delay::{Correlation, Correlator, Spectra};

const SIX_HOURS: usize = 6 * 3600;
const DAY: usize = 24 * 3600;
const CHANNELS: [Channel; 3] = [Channel::HeartRate, Channel::Cadence, Channel::Power];

fn main() {
    if is_wanted("pair") {
        pair_within_ten_minutes();
    }
    if is_wanted("day") {
        seven_pairs_of_a_day();
    }
    if is_wanted("streams") {
        four_streams();
    }
}

/// One masked pair of 6 h at lags within ±10 min, against one plain correlation of that length.
fn pair_within_ten_minutes() {
    let ride = slow_noise(SIX_HOURS + 100, 1);
    let (a, b) = (with_gaps(&ride[..SIX_HOURS], 2), with_gaps(&ride[100..], 3));
    let mut correlator = Correlator::for_lags_within(SIX_HOURS, 600);
    let (mut x, mut y) = (Spectra::default(), Spectra::default());
    let mut out = Correlation::default();
    let masked_ms = best_ms(100, || {
        let fit = correlator.spectra(&a, &mut x) && correlator.spectra(&b, &mut y);
        correlator.correlate(&x, &y, -600..=600, 60, &mut out);
        black_box((fit, &out));
    });
    let mut bare = Bare::new(correlator.transform_len());
    let plain_ms = best_ms(100, || bare.correlation());
    println!(
        "pair of 6 h, lags within ±10 min: {masked_ms:.2} ms; one plain correlation of the same length: {plain_ms:.2} ms; ratio {:.2}",
        masked_ms / plain_ms
    );
}

/// Seven masked pairs of 24 h at all lags, a stream against seven others, against thirty plain
/// correlations of that length.
fn seven_pairs_of_a_day() {
    let ride = slow_noise(DAY + 800, 5);
    let series: Vec<Vec<f64>> = (0..8)
        .map(|i| with_gaps(&ride[100 * i..100 * i + DAY], i as u64))
        .collect();
    let correlator = Correlator::for_all_lags(DAY, DAY);
    let cores = rayon::current_num_threads();
    let mut workers = vec![(correlator.clone(), Correlation::default()); cores];
    let mut spectra = vec![Spectra::default(); series.len()];
    let one_ms = best_ms(15, || star(&series, &mut spectra, &mut workers[..1]));
    let all_ms = best_ms(15, || star(&series, &mut spectra, &mut workers));
    let mut bare = Bare::new(correlator.transform_len());
    let plain_ms = best_ms(15, || (0..30).for_each(|_| bare.correlation()));
    println!(
        "7 pairs of 24 h, all lags: {one_ms:.1} ms on one core, {all_ms:.1} ms on all; 30 plain correlations of the same length on one core: {plain_ms:.1} ms; ratio {:.2} and {:.2}",
        one_ms / plain_ms,
        all_ms / plain_ms
    );
}

/// The first of the series with each other, shared among the workers.
fn star(series: &[Vec<f64>], spectra: &mut [Spectra], workers: &mut [(Correlator, Correlation)]) {
    let share = series.len().div_ceil(workers.len());
    let streams = series
        .par_chunks(share)
        .zip(spectra.par_chunks_mut(share))
        .zip(workers.par_iter_mut());
    streams.for_each(|((series, spectra), (correlator, _))| {
        for (values, spectra) in series.iter().zip(spectra) {
            black_box(correlator.spectra(values, spectra));
        }
    });
    let (first, others) = (&spectra[0], &spectra[1..]);
    let pairs = others.par_chunks(share).zip(workers.par_iter_mut());
    pairs.for_each(|(others, (correlator, out))| {
        for other in others {
            let lags = Correlator::all_lags(first, other);
            correlator.correlate(first, other, lags, 60, out);
            black_box(&out);
        }
    });
}

/// Four streams of 6 h with three channels, all lags, offset and skew, against the transforms.
fn four_streams() {
    let samples: Vec<Samples> = (0..4).map(stream).collect();
    let sources: Vec<Source> = samples
        .iter()
        .zip([
            ("trainer", Role::UnderTest, Site::Trainer),
            ("pedals", Role::Reference, Site::Pedal),
            ("crank", Role::Reference, Site::Crank),
            ("hub", Role::Reference, Site::Hub),
        ])
        .enumerate()
        .map(|(recording, (samples, (label, role, site)))| Source {
            label,
            recording,
            role,
            site: Some(site),
            samples,
            sampling: Sampling::Regular,
            absolute: true,
            clock: Clock {
                zero_s: 1.7e9,
                offset_s: 0.0,
                skew_ppm: 0.0,
            },
            given: false,
        })
        .collect();
    let align_ms = best_ms(9, || {
        black_box(align(&sources, Options::default()));
    });
    // The same on one core, as the bare transforms run.
    let one_core_ms = one_core(|| {
        best_ms(9, || {
            black_box(align(&sources, Options::default()));
        })
    });
    let found = align(&sources, Options::default());
    for stream in &found.streams {
        println!(
            "  {}: {:.2} s, {:.1} ppm, {}, {}",
            stream.label, stream.offset_s, stream.skew_ppm, stream.matched_on, stream.reason
        );
    }
    // Per stream and channel three forward transforms; per pair and channel six back.
    let (forward, back) = (4 * 3 * 3, 6 * 3 * 6);
    let longest = samples.iter().map(Samples::len).max().unwrap_or(0);
    let mut bare = Bare::new(Correlator::for_all_lags(longest, longest).transform_len());
    let bare_ms = best_ms(9, || {
        (0..forward).for_each(|_| bare.forward());
        (0..back).for_each(|_| bare.back());
    });
    println!(
        "4 streams of 6 h, 3 channels, all lags, offset and skew: {one_core_ms:.1} ms on one core, {align_ms:.1} ms on all; its {forward} + {back} bare transforms on one core: {bare_ms:.1} ms; ratio {:.2} and {:.2}",
        one_core_ms / bare_ms,
        align_ms / bare_ms
    );
}

fn one_core(run: impl FnOnce() -> f64 + Send) -> f64 {
    match rayon::ThreadPoolBuilder::new().num_threads(1).build() {
        Ok(pool) => pool.install(run),
        Err(_) => f64::NAN,
    }
}

/// Transforms of one length with their buffers, and nothing else.
struct Bare {
    plan: std::sync::Arc<dyn realfft::RealToComplex<f64>>,
    inverse: std::sync::Arc<dyn realfft::ComplexToReal<f64>>,
    real: Vec<f64>,
    first: Vec<Complex<f64>>,
    second: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    inverse_scratch: Vec<Complex<f64>>,
}

impl Bare {
    fn new(len: usize) -> Self {
        let mut planner = RealFftPlanner::new();
        let plan = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        Self {
            real: slow_noise(len, 4),
            first: plan.make_output_vec(),
            second: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            inverse_scratch: inverse.make_scratch_vec(),
            plan,
            inverse,
        }
    }

    fn forward(&mut self) {
        let done =
            self.plan
                .process_with_scratch(&mut self.real, &mut self.first, &mut self.scratch);
        black_box(done.is_ok());
    }

    fn back(&mut self) {
        self.second.copy_from_slice(&self.first);
        if let (Some(first), Some(last)) =
            (self.second.first().copied(), self.second.last().copied())
        {
            self.second[0] = Complex::new(first.re, 0.0);
            let end = self.second.len() - 1;
            self.second[end] = Complex::new(last.re, 0.0);
        }
        let done = self.inverse.process_with_scratch(
            &mut self.second,
            &mut self.real,
            &mut self.inverse_scratch,
        );
        black_box(done.is_ok());
        // The transforms are not scaled: keep the numbers finite from run to run.
        let scale = 1.0 / self.real.len() as f64;
        self.real.iter_mut().for_each(|v| *v *= scale);
    }

    fn correlation(&mut self) {
        self.forward();
        let other = self.first.clone();
        self.forward();
        for (x, y) in self.first.iter_mut().zip(&other) {
            *x *= y.conj();
        }
        self.back();
        let peak = self.real.iter().fold(1e-300_f64, |m, v| m.max(v.abs()));
        self.real.iter_mut().for_each(|v| *v /= peak);
    }
}

fn best_ms(times: usize, mut run: impl FnMut()) -> f64 {
    (0..times)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::INFINITY, f64::min)
}

fn slow_noise(n: usize, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut value = 0.0;
    (0..n)
        .map(|_| {
            let step: f64 = StandardNormal.sample(&mut rng);
            value = 0.9 * value + step;
            value
        })
        .collect()
}

fn with_gaps(values: &[f64], seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    values
        .iter()
        .map(|v| if rng.random_bool(0.01) { f64::NAN } else { *v })
        .collect()
}

/// A stream started `17 s` later than the one before, with a few samples missing.
fn stream(index: usize) -> Samples {
    let from = 17 * index;
    let mut samples = Samples::new(
        (from..SIX_HOURS)
            .map(|t| 1.7e9 + t as f64 + 3.0 * index as f64)
            .collect(),
    )
    .unwrap_or_default();
    for (seed, channel) in CHANNELS.into_iter().enumerate() {
        let (level, scale, noise) = match channel {
            Channel::HeartRate => (140.0, 1.5, 0.0),
            Channel::Cadence => (88.0, 0.7, 0.3),
            _ => (210.0, 4.0, 2.0),
        };
        let own = slow_noise(SIX_HOURS, 100 + 10 * index as u64 + seed as u64);
        let ride: Vec<f64> = slow_noise(SIX_HOURS, 50 + seed as u64)
            .iter()
            .zip(&own)
            .map(|(v, w)| (level + scale * v + noise * w).round())
            .collect();
        samples.set_column(channel, with_gaps(&ride[from..], 70 + index as u64));
    }
    samples
}
