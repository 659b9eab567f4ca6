//! What a device makes of the ride, and what its recorder writes.

use rand::RngExt;

use super::RehearseError;
use super::noise::{Lag, Purpose, SlowNoise, generator, normal};
use super::rider::{Ride, STEP_S, own_strap};
use super::scenario::{Device, Pause, Scenario, Sends, Strap};
use super::strap::heard;
use crate::analysis::dropout::DropoutKind;
use crate::recording::{Channel, Format, Samples};

/// Cadence further off than this is off, rpm (±5 rpm: EN 957-5 class A, second-hand).
const CADENCE_OFF_RPM: f64 = 5.0;

/// A recorder's clock against true time: `recorder_s = zero_s + rate · true_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TrueClock {
    /// Recorder time at the start of the ride, s.
    pub zero_s: f64,
    /// Recorder seconds a true second.
    pub rate: f64,
}

impl TrueClock {
    /// The clock of `device`'s recorder.
    pub fn of(device: &Device, scenario: &Scenario) -> Self {
        Self {
            zero_s: scenario.start_unix_s as f64 + device.recorder.clock_offset_s,
            rate: 1.0 + device.recorder.clock_skew_ppm * 1e-6,
        }
    }

    /// Recorder time at `true_s`.
    pub fn to_recorder(self, true_s: f64) -> f64 {
        self.zero_s + self.rate * true_s
    }

    /// True time at `recorder_s`.
    pub fn to_true(self, recorder_s: f64) -> f64 {
        (recorder_s - self.zero_s) / self.rate
    }
}

/// What a recorder wrote, and what it would have written without noise, rounding and dropouts.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// As written.
    pub samples: Samples,
    /// Power without noise, rounding and dropouts, one value a row of `samples`, W.
    pub ideal_w: Vec<f64>,
    /// Power at the device's site, averaged as the device averages but without any of its errors
    /// or its lag, W.
    pub site_w: Vec<f64>,
    /// Dropout in force at each row.
    pub dropout: Vec<Option<DropoutKind>>,
    /// Share of the seconds with pedalling in which cadence is off by more than [`CADENCE_OFF_RPM`],
    /// %.
    pub cadence_off_percent: f64,
}

/// Lets device number `index` of `scenario` measure `ride`.
///
/// # Errors
/// [`RehearseError::NothingRecorded`].
pub(super) fn measure(
    ride: &Ride,
    scenario: &Scenario,
    index: usize,
    device: &Device,
    seed: u64,
) -> Result<Measured, RehearseError> {
    let clock = TrueClock::of(device, scenario);
    let stamps = stamps(ride, device, clock);
    let nothing = || RehearseError::NothingRecorded {
        label: device.label.clone(),
    };
    if stamps.len() < 2 {
        return Err(nothing());
    }
    let true_s: Vec<f64> = stamps.iter().map(|stamp| clock.to_true(*stamp)).collect();
    let transmission = scenario.drivetrain.transmission(device.site);
    let site: Vec<f64> = ride
        .power_w
        .iter()
        .map(|watts| watts * transmission)
        .collect();
    let site_w = trailing_means(&site, &true_s, device.average_s);
    let ideal_w = trailing_means(&chain(ride, &site, device), &true_s, device.average_s);
    let dropout: Vec<_> = true_s
        .iter()
        .map(|at_s| dropout_at(device, *at_s))
        .collect();

    let mut power = noisy(&ideal_w, index, device, seed);
    let mut cadence = device
        .cadence
        .then(|| cadence(ride, &true_s, index, device, seed));
    let cadence_off_percent = cadence
        .as_ref()
        .map_or(0.0, |shown| off_percent(shown, ride, &true_s));
    let mut speed = device.speed.then(|| {
        sampled(&ride.speed_m_s, ride, &true_s, |m_s| {
            (m_s * 1000.0).round() / 1000.0
        })
    });
    drop_out(&mut power, &dropout);
    for column in [&mut cadence, &mut speed].into_iter().flatten() {
        drop_out(column, &dropout);
    }
    let heart = match device.recorder.strap {
        Strap::None => None,
        Strap::Shared => Some(heart(ride, &ride.heart_bpm, &true_s, scenario, index, seed)),
        Strap::Own => {
            let own = own_strap(ride, seed, index);
            Some(heart(ride, &own, &true_s, scenario, index, seed))
        }
    };
    let ambient_c = scenario.drivetrain.ambient_c;
    let temperature = device
        .temperature
        .then(|| sampled(&ride.warmth_c, ride, &true_s, |c| (ambient_c + c).round()));

    let asked = device.grade && ride.grade_percent.iter().any(|grade| !grade.is_nan());
    let grade = asked.then(|| sampled(&ride.grade_percent, ride, &true_s, |percent| percent));

    let mut samples = Samples::new(stamps).ok_or_else(nothing)?;
    for (channel, column) in [
        (Channel::Power, Some(power)),
        (Channel::Cadence, cadence),
        (Channel::Speed, speed),
        (Channel::HeartRate, heart),
        (Channel::Temperature, temperature),
        (Channel::Grade, grade),
    ] {
        if let Some(values) = column {
            samples.set_column(channel, values);
        }
    }
    Ok(Measured {
        samples,
        ideal_w,
        site_w,
        dropout,
        cadence_off_percent,
    })
}

/// The recorder's time stamps: every second of its own clock while it runs.
fn stamps(ride: &Ride, device: &Device, clock: TrueClock) -> Vec<f64> {
    let recorder = &device.recorder;
    let from_s = recorder.start_s.max(device.average_s);
    let to_s = ride.duration_s() - recorder.stop_early_s;
    let phase_s = match recorder.format {
        Format::Fit => 0.0,
        Format::Delimited | Format::Tcx | Format::Gpx => recorder.phase_s,
    };
    let first = (clock.to_recorder(from_s) - phase_s).ceil() as i64;
    let last = (clock.to_recorder(to_s) - phase_s).floor() as i64;
    (first..=last)
        .map(|second| second as f64 + phase_s)
        .filter(|stamp| !paused(&recorder.pauses, clock.to_true(*stamp)))
        .collect()
}

fn paused(pauses: &[Pause], at_s: f64) -> bool {
    pauses
        .iter()
        .any(|pause| (pause.at_s..pause.at_s + pause.duration_s).contains(&at_s))
}

fn dropout_at(device: &Device, at_s: f64) -> Option<DropoutKind> {
    device
        .dropouts
        .iter()
        .find(|d| (d.at_s..d.at_s + d.duration_s).contains(&at_s))
        .map(|d| d.kind)
}

/// The power the device would show at every fine step, without average and noise, W.
fn chain(ride: &Ride, site_w: &[f64], device: &Device) -> Vec<f64> {
    let scaled: Vec<f64> = (0..site_w.len())
        .map(|row| {
            let at_s = row as f64 * STEP_S;
            let seen_w = site_w[row] - flywheel_w(device, ride, row);
            let scaled_w = device.static_reading_w(seen_w, ride.ratio[row], ride.warmth_c[row]);
            let watts = match ride.command_w[row] {
                command if command.is_nan() => scaled_w,
                command => scaled_w + device.echo * (command - scaled_w),
            };
            watts + surge_w(device, at_s) + phantom_w(device, ride.coasting_s[row])
        })
        .collect();
    let dead_rows = device.dead_time_s / STEP_S;
    let mut lag = Lag::at(scaled.first().copied().unwrap_or(0.0));
    (0..scaled.len())
        .map(|row| {
            let late = value_before(&scaled, row, dead_rows);
            let watts = lag.step(late, device.time_constant_s, STEP_S).max(0.0);
            device.ceiling_w.map_or(watts, |ceiling| watts.min(ceiling))
        })
        .collect()
}

/// `values` as they were `rows` before `row`, linear between rows; the first value before that.
fn value_before(values: &[f64], row: usize, rows: f64) -> f64 {
    let at = (row as f64 - rows).max(0.0);
    let below = at as usize;
    let part = at - below as f64;
    let upper = values[(below + 1).min(values.len() - 1)];
    values[below] + part * (upper - values[below])
}

/// The power into a flywheel that the reading leaves out, m·v·dv/dt, W; none while nobody pedals.
fn flywheel_w(device: &Device, ride: &Ride, row: usize) -> f64 {
    if device.flywheel_kg == 0.0 || ride.coasting_s[row] > 0.0 {
        return 0.0;
    }
    let speed = |row: usize| ride.speed_m_s.get(row).copied();
    let (before, after) = (speed(row.saturating_sub(1)), speed(row + 1));
    let acceleration_m_s2 = match (before, after) {
        (Some(before), Some(after)) if row > 0 => (after - before) / (2.0 * STEP_S),
        _ => 0.0,
    };
    device.flywheel_kg * ride.speed_m_s[row] * acceleration_m_s2
}

fn surge_w(device: &Device, at_s: f64) -> f64 {
    device
        .surges
        .iter()
        .filter(|surge| (surge.at_s..surge.at_s + surge.duration_s).contains(&at_s))
        .map(|surge| surge.watts)
        .sum()
}

fn phantom_w(device: &Device, coasting_s: f64) -> f64 {
    if coasting_s > 0.0 {
        device.phantom_w * (1.0 - coasting_s / device.phantom_s).max(0.0)
    } else {
        0.0
    }
}

/// Means of a fine series over the `average_s` before each moment.
fn trailing_means(fine: &[f64], true_s: &[f64], average_s: f64) -> Vec<f64> {
    let mut integral = Vec::with_capacity(fine.len() + 1);
    integral.push(0.0);
    let mut sum = 0.0;
    for value in fine {
        sum += value * STEP_S;
        integral.push(sum);
    }
    let until = |at_s: f64| {
        let at = (at_s / STEP_S).clamp(0.0, fine.len() as f64);
        let below = at as usize;
        let rest = fine.get(below).map_or(0.0, |v| v * STEP_S);
        integral[below] + (at - below as f64) * rest
    };
    true_s
        .iter()
        .map(|at_s| (until(*at_s) - until(at_s - average_s)) / average_s)
        .collect()
}

/// `fine` at each moment, through `read`.
fn sampled(fine: &[f64], ride: &Ride, true_s: &[f64], read: impl Fn(f64) -> f64) -> Vec<f64> {
    true_s
        .iter()
        .map(|at_s| read(fine[ride.row(*at_s)]))
        .collect()
}

/// What recorder number `index` writes of a strap that feels `bpm`.
fn heart(
    ride: &Ride,
    bpm: &[f64],
    true_s: &[f64],
    scenario: &Scenario,
    index: usize,
    seed: u64,
) -> Vec<f64> {
    let recorder = &scenario.devices[index].recorder;
    let late = [
        recorder.heart_delay_s,
        recorder.heart_jitter_s,
        recorder.heart_loss_percent,
    ];
    if scenario.strap_sends == Sends::Always && late == [0.0; 3] {
        sampled(bpm, ride, true_s, f64::round)
    } else {
        heard(bpm, true_s, scenario.strap_sends, recorder, seed, index)
    }
}

/// Adds noise where there is power to measure, and rounds to whole watts.
fn noisy(ideal_w: &[f64], index: usize, device: &Device, seed: u64) -> Vec<f64> {
    let mut g = generator(seed, Purpose::Reading(index));
    let mut slow = SlowNoise::new(device.slow_w, device.slow_s, 1.0, &mut g);
    ideal_w
        .iter()
        .map(|ideal| {
            let sd_w = device.noise_w.hypot(device.noise_percent / 100.0 * ideal);
            let noise_w = sd_w * normal(&mut g) + slow.next(&mut g);
            let present = (ideal / 30.0).min(1.0);
            let watts = (ideal + present * noise_w).max(0.0);
            let ceiling_w = device.ceiling_w.unwrap_or(f64::INFINITY);
            watts.min(ceiling_w).min(65_534.0).round()
        })
        .collect()
}

/// What the device reports as cadence: late by its lag, a little noise, spikes, whole numbers.
fn cadence(ride: &Ride, true_s: &[f64], index: usize, device: &Device, seed: u64) -> Vec<f64> {
    let mut lag = Lag::at(ride.cadence_rpm.first().copied().unwrap_or(0.0));
    let late: Vec<f64> = ride
        .cadence_rpm
        .iter()
        .map(|rpm| lag.step(*rpm, device.cadence_lag_s, STEP_S))
        .collect();
    let mut g = generator(seed, Purpose::DeviceCadence(index));
    let share = device.cadence_spike_percent / 100.0;
    let jumps_rpm = jumps(true_s.len(), index, device, seed);
    true_s
        .iter()
        .zip(jumps_rpm)
        .map(|(at_s, jump_rpm)| {
            let row = ride.row(*at_s);
            let noise_rpm = 0.3 * normal(&mut g);
            let (draw, size): (f64, f64) = (g.random(), g.random());
            let spike_rpm = if draw < share {
                spike(draw / share, size)
            } else {
                0.0
            };
            if ride.cadence_rpm[row] < 5.0 {
                0.0
            } else {
                (late[row] + noise_rpm + spike_rpm + jump_rpm)
                    .clamp(0.0, 254.0)
                    .round()
            }
        })
        .collect()
}

/// Share of the seconds with pedalling in which `shown` is off, %.
fn off_percent(shown: &[f64], ride: &Ride, true_s: &[f64]) -> f64 {
    let (mut off, mut all) = (0.0, 0.0);
    for (shown, at_s) in shown.iter().zip(true_s) {
        let true_rpm = ride.cadence_rpm[ride.row(*at_s)];
        if true_rpm >= CADENCE_OFF_RPM {
            all += 1.0;
            off += f64::from((shown - true_rpm).abs() > CADENCE_OFF_RPM);
        }
    }
    100.0 * off / f64::max(all, 1.0)
}

/// The jump of the cadence in force at each of `n` seconds: for 3 to 8 s up or down, then for 8 to
/// 28 s none.
fn jumps(n: usize, index: usize, device: &Device, seed: u64) -> Vec<f64> {
    let mut out = Vec::with_capacity(n);
    if device.cadence_jump_rpm == 0.0 {
        out.resize(n, 0.0);
        return out;
    }
    let mut g = generator(seed, Purpose::CadenceJumps(index));
    while out.len() < n {
        let sound_s = g.random_range(8..=28);
        let jump_s = g.random_range(3..=8);
        let sign = if g.random::<bool>() { 1.0 } else { -1.0 };
        out.extend(std::iter::repeat_n(0.0, sound_s));
        out.extend(std::iter::repeat_n(sign * device.cadence_jump_rpm, jump_s));
    }
    out.truncate(n);
    out
}

/// A spike of 12 to 45 rpm, up or down alike, from two uniform draws.
fn spike(sign: f64, size: f64) -> f64 {
    let rpm = 12.0 + 33.0 * size;
    if sign < 0.5 { -rpm } else { rpm }
}

/// Puts the dropouts into a column.
fn drop_out(values: &mut [f64], dropout: &[Option<DropoutKind>]) {
    let mut held = f64::NAN;
    for (value, kind) in values.iter_mut().zip(dropout) {
        match kind {
            None => held = *value,
            Some(DropoutKind::Gap) => *value = f64::NAN,
            Some(DropoutKind::Freeze) => *value = held,
            Some(DropoutKind::Zero) => *value = 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Role, Site};

    /// A ride at 100 W that steps to 300 W at 10 s, 40 s long.
    fn step_ride() -> Ride {
        let rows = (40.0 / STEP_S) as usize;
        let power_w = (0..rows)
            .map(|row| {
                if (row as f64) * STEP_S < 10.0 - 1e-9 {
                    100.0
                } else {
                    300.0
                }
            })
            .collect();
        Ride {
            power_w,
            cadence_rpm: vec![90.0; rows],
            speed_m_s: vec![9.0; rows],
            heart_bpm: vec![120.0; rows],
            warmth_c: vec![0.0; rows],
            ratio: vec![50.0 / 17.0; rows],
            coasting_s: vec![0.0; rows],
            command_w: vec![f64::NAN; rows],
            grade_percent: vec![f64::NAN; rows],
            shifts: Vec::new(),
        }
    }

    fn measured(device: Device) -> (Vec<f64>, Vec<f64>) {
        let scenario = Scenario {
            devices: vec![device.clone()],
            ..Scenario::default()
        };
        let measured = measure(&step_ride(), &scenario, 0, &device, 1).unwrap();
        let clock = TrueClock::of(&device, &scenario);
        let times = measured.samples.time_s().iter();
        (times.map(|t| clock.to_true(*t)).collect(), measured.ideal_w)
    }

    /// Analytic: after dead time and first-order lag the step is 1 − exp(−t/τ), and its mean over
    /// the second before each stamp follows by integration.
    #[test]
    fn a_step_comes_out_late_blunted_and_averaged_as_the_formula_says() {
        let (dead_s, tau_s) = (0.75, 2.0);
        let mut device = Device::new("d", Role::UnderTest, Site::Pedal);
        device.dead_time_s = dead_s;
        device.time_constant_s = tau_s;
        let (true_s, ideal_w) = measured(device);
        // Integral of the step response from its start to x.
        let integral = |x: f64| {
            if x > 0.0 {
                x - tau_s * (1.0 - (-x / tau_s).exp())
            } else {
                0.0
            }
        };
        for (at_s, watts) in true_s.iter().zip(&ideal_w) {
            let x = at_s - 10.0 - dead_s;
            let expected = 100.0 + 200.0 * (integral(x) - integral(x - 1.0));
            // One step of 0.05 s of delay is what the discrete chain may add.
            assert!(
                (watts - expected).abs() < 200.0 * STEP_S / tau_s,
                "{at_s}: {watts} {expected}"
            );
        }
    }

    #[test]
    fn a_ceiling_clips_and_an_average_spreads() {
        let mut device = Device::new("d", Role::UnderTest, Site::Pedal);
        device.ceiling_w = Some(250.0);
        let (_, clipped) = measured(device.clone());
        assert_eq!(clipped.iter().copied().fold(0.0, f64::max).round(), 250.0);
        device.ceiling_w = None;
        device.average_s = 4.0;
        let (true_s, spread) = measured(device);
        let at = |second: f64| {
            spread[true_s
                .iter()
                .position(|t| (t - second).abs() < 0.01)
                .unwrap()]
        };
        assert!((at(12.0) - 200.0).abs() < 1e-6);
        assert!((at(14.0) - 300.0).abs() < 1e-6);
    }

    #[test]
    fn a_clock_runs_as_told_and_back() {
        let mut device = Device::new("d", Role::UnderTest, Site::Pedal);
        device.recorder.clock_offset_s = 5000.25;
        device.recorder.clock_skew_ppm = 80.0;
        let clock = TrueClock::of(&device, &Scenario::default());
        assert!((clock.to_true(clock.to_recorder(1234.5)) - 1234.5).abs() < 1e-6);
        let hour = clock.to_recorder(3600.0) - clock.to_recorder(0.0);
        assert!((hour - 3600.288).abs() < 1e-6);
    }
}
