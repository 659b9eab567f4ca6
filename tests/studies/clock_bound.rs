//! How well a clock's rate could be known at best: the Cramér–Rao bound for an observer who is
//! told the shape of every channel of both recordings and only has to place it in time.
//!
//! A sample of noise variance `σ²` on a shape of slope `s'` tells a shift with information
//! `s'²/σ²`. A rate is the slope of the shift along the ride, with a free shift a channel, so its
//! information is `Σ w (t − t̄)²` with `w = s'²/σ²`, summed over channels; the variances of the two
//! recordings add. An estimator must learn the shape from the other recording, with its noise, and
//! the lag of a device besides: it cannot do better.

use truing::recording::Channel;
use truing::rehearse::{Rehearsal, RehearsedStream};

/// White noise of a rehearsed cadence, rpm²: the device's and that of whole numbers.
const CADENCE_NOISE: f64 = 0.3 * 0.3 + 1.0 / 12.0;
/// Noise of a heart rate in whole numbers, bpm².
const HEART_NOISE: f64 = 1.0 / 12.0;
/// Seconds over which a channel's information is summed.
const WINDOW_S: usize = 60;

/// The standard error of stream `index`'s rate against the first stream's that no estimator can
/// go below, ppm.
pub fn bound_ppm(ride: &Rehearsal, index: usize) -> f64 {
    let variance = |stream: &RehearsedStream| 1.0 / rate_information(stream);
    (variance(&ride.streams[0]) + variance(&ride.streams[index])).sqrt() * 1e6
}

fn rate_information(stream: &RehearsedStream) -> f64 {
    let times = stream.samples.time_s();
    let mut total = 0.0;
    for channel in [Channel::Power, Channel::Cadence, Channel::HeartRate] {
        let Some(column) = stream.samples.column(channel) else {
            continue;
        };
        let windows = (0..times.len()).step_by(WINDOW_S).map(|from| {
            let to = (from + WINDOW_S).min(times.len());
            let weight = match channel {
                Channel::Power => power_information(stream, column, from, to),
                Channel::Cadence => information(&column[from..to], CADENCE_NOISE),
                _ => information(&column[from..to], HEART_NOISE),
            };
            (times[from], weight)
        });
        let windows: Vec<(f64, f64)> = windows.collect();
        let sum: f64 = windows.iter().map(|w| w.1).sum();
        if sum > 0.0 {
            let mean_s = windows.iter().map(|(t, w)| t * w).sum::<f64>() / sum;
            total += windows
                .iter()
                .map(|(t, w)| w * (t - mean_s).powi(2))
                .sum::<f64>();
        }
    }
    total
}

/// From the noiseless readings: `Σ s'²` over the window's noise, from its second to second changes.
fn power_information(stream: &RehearsedStream, column: &[f64], from: usize, to: usize) -> f64 {
    let (mut energy, mut noise, mut n) = (0.0, 0.0, 0.0);
    for i in from + 1..to {
        let clear = stream.dropout[i].is_none() && stream.dropout[i - 1].is_none();
        let (now, last) = (stream.ideal_w[i], stream.ideal_w[i - 1]);
        let change = (column[i] - now) - (column[i - 1] - last);
        if clear && change.is_finite() {
            energy += (now - last).powi(2);
            noise += 0.5 * change * change;
            n += 1.0;
        }
    }
    // Whole watts alone leave a twelfth.
    if n > 0.0 {
        energy / (noise / n).max(1.0 / 12.0)
    } else {
        0.0
    }
}

/// From the readings themselves, whose second to second changes hold the noise twice.
fn information(column: &[f64], noise: f64) -> f64 {
    let changes = column.windows(2).map(|pair| pair[1] - pair[0]);
    let energy: f64 = changes
        .filter(|change| change.is_finite())
        .map(|change| change * change - 2.0 * noise)
        .sum();
    energy.max(0.0) / noise
}

/// The share of errors within `limit` of an unbiased normal estimate with standard error `sd`.
pub fn share_within(limit: f64, sd: f64) -> f64 {
    statrs::function::erf::erf(limit / (sd * std::f64::consts::SQRT_2))
}
