//! Random realistic scenarios, for studies over many seeds.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::faults::in_block;
use super::noise::{Purpose, generator};
use super::scenario::{Device, LevelError, Pause, PlannedDropout, Scenario, Strap, Surge};
use crate::analysis::dropout::DropoutKind;
use crate::plan::Plan;
use crate::recording::Format;

/// A bench with random faults, of the size and frequency met in practice (ranges by common
/// practice, no source): a trainer within ±5 % with lags up to 4 s, references within their claim
/// of ±1 %, clocks within seconds or time zones of each other, skews within ±100 ppm.
///
/// The drivetrain's true loss lies inside the scenario's allowance, and the references' errors
/// inside their claims, both uniformly: what the tester states is true.
pub fn random_scenario(plan: &Plan, seed: u64) -> Scenario {
    let mut draw = Draw(generator(seed, Purpose::Scenario));
    let mut scenario = Scenario::for_plan(plan);
    let allowance = scenario.allowance;
    scenario.rider.slow_noise_w = draw.within(3.0, 9.0);
    scenario.rider.settling_s = draw.within(0.8, 1.6);
    scenario.drivetrain.trainer_loss_percent =
        allowance.percent + allowance.plus_minus * draw.within(-1.0, 1.0);
    scenario.drivetrain.crank_loss_percent = 0.0;
    scenario.hold_error_w = draw.now_and_then(0.3, |d| d.within(-6.0, 6.0));
    let duration_s = plan.duration_s();
    for (index, device) in scenario.devices.iter_mut().enumerate() {
        if index == 0 {
            trainer(device, plan, &mut draw);
        } else {
            reference(device, &mut draw);
        }
        recorder(device, index, duration_s, &mut draw);
    }
    if let Some(control) = &mut scenario.control {
        // Healthy control: in the band of a step of 100 W within 1.7 to 4.0 s.
        let mut draw = Draw(generator(seed, Purpose::Control));
        control.dead_time_s = draw.within(0.5, 1.3);
        control.time_constant_s = draw.within(0.4, 0.9);
        scenario.simulation.mass_kg = draw.within(60.0, 100.0);
        scenario.simulation.flywheel_kg = draw.within(6.0, 30.0);
        scenario.simulation.gradient_delay_s = draw.within(0.2, 1.5);
    }
    scenario
}

struct Draw(ChaCha8Rng);

impl Draw {
    fn within(&mut self, low: f64, high: f64) -> f64 {
        let share: f64 = self.0.random();
        low + share * (high - low)
    }

    fn happens(&mut self, share: f64) -> bool {
        let draw: f64 = self.0.random();
        draw < share
    }

    /// `draw` in a `share` of cases, else 0. Draws in any case, so that later draws do not move.
    fn now_and_then(&mut self, share: f64, draw: impl Fn(&mut Self) -> f64) -> f64 {
        let happens = self.happens(share);
        let value = draw(self);
        if happens { value } else { 0.0 }
    }
}

fn trainer(device: &mut Device, plan: &Plan, draw: &mut Draw) {
    device.gain_percent = draw.within(-5.0, 5.0);
    device.zero_w = draw.now_and_then(0.2, |d| d.within(-3.0, 3.0));
    if draw.happens(0.3) {
        device.level = [100.0, 200.0, 300.0]
            .map(|at_w| LevelError {
                at_w,
                percent: draw.within(-1.5, 1.5),
            })
            .to_vec();
    }
    device.gear_percent = draw.now_and_then(0.5, |d| d.within(-1.5, 1.5));
    device.heat_percent = draw.now_and_then(0.5, |d| d.within(-3.0, 3.0));
    device.dead_time_s = draw.within(0.0, 1.2);
    device.time_constant_s = draw.within(0.0, 2.8);
    device.ceiling_w = draw.happens(0.3).then(|| draw.within(450.0, 750.0).round());
    device.noise_w = draw.within(0.5, 3.0);
    device.slow_w = draw.within(0.1, 2.0);
    device.slow_s = draw.within(10.0, 120.0);
    device.phantom_w = draw.now_and_then(0.4, |d| d.within(10.0, 60.0));
    device.phantom_s = draw.within(3.0, 12.0);
    device.cadence_spike_percent = draw.now_and_then(0.3, |d| d.within(1.0, 15.0));
    if draw.happens(0.3) {
        let size_w = draw.within(40.0, 150.0);
        device.surges.push(Surge {
            at_s: in_block(plan, draw.within(0.0, 1.0)),
            duration_s: draw.within(3.0, 12.0),
            watts: if draw.happens(0.7) { size_w } else { -size_w },
        });
    }
    if draw.happens(0.5) {
        let kinds = [DropoutKind::Gap, DropoutKind::Freeze, DropoutKind::Zero];
        for (part, kind) in [0.15, 0.5, 0.85].into_iter().zip(kinds) {
            let (part, length_s) = (part + draw.within(-0.1, 0.1), draw.within(4.0, 20.0));
            if draw.happens(0.5) {
                device.dropouts.push(PlannedDropout {
                    at_s: in_block(plan, part),
                    duration_s: length_s,
                    kind,
                });
            }
        }
    }
}

fn reference(device: &mut Device, draw: &mut Draw) {
    device.gain_percent = device.claim_percent * draw.within(-1.0, 1.0);
    device.dead_time_s = draw.within(0.0, 0.2);
    device.time_constant_s = draw.within(0.0, 0.2);
    device.noise_w = draw.within(0.5, 2.0);
    device.slow_w = draw.within(0.1, 0.8);
    device.slow_s = draw.within(10.0, 120.0);
}

fn recorder(device: &mut Device, index: usize, duration_s: f64, draw: &mut Draw) {
    let recorder = &mut device.recorder;
    let far = draw.happens(0.2);
    let reach_s = if far { 43_200.0 } else { 30.0 };
    // Thousandths are what a text file can carry.
    recorder.clock_offset_s = (reach_s * draw.within(-1.0, 1.0) * 1000.0).round() / 1000.0;
    recorder.clock_skew_ppm = draw.within(-100.0, 100.0);
    let phase_s = (draw.within(0.0, 0.999) * 1000.0).round() / 1000.0;
    if recorder.format != Format::Fit {
        recorder.phase_s = phase_s.min(0.999);
    }
    recorder.start_s = draw.within(0.0, 40.0);
    recorder.stop_early_s = draw.within(0.0, 40.0);
    if draw.happens(0.15) {
        recorder.pauses.push(Pause {
            at_s: duration_s * draw.within(0.3, 0.7),
            duration_s: draw.within(10.0, 60.0),
        });
    }
    let strap = draw.within(0.0, 1.0);
    recorder.strap = match index {
        0 if strap < 0.8 => Strap::Shared,
        1 if strap < 0.7 => Strap::Shared,
        1 if strap < 0.85 => Strap::Own,
        2 if strap < 0.3 => Strap::Shared,
        _ => Strap::None,
    };
}
