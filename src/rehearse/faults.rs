//! Faults by name, as `--fault NAME[=VALUE][@DEVICE]` puts them in.

use super::RehearseError;
use super::control::Control;
use super::modes::switch_while_coasting;
use super::scenario::{Device, Masses, Pause, PlannedDropout, Scenario, Sends, Strap, Surge};
use crate::analysis::dropout::DropoutKind;
use crate::plan::{Leg, Plan};
use crate::session::Role;

/// A fault that can be asked for by name.
#[derive(Debug)]
pub struct FaultKind {
    /// The name.
    pub name: &'static str,
    /// What it does, for help.
    pub does: &'static str,
    /// Unit of the value.
    pub unit: &'static str,
    /// The value where none is given.
    pub usual: f64,
    put: Put,
}

/// Where a fault goes.
#[derive(Debug)]
enum Put {
    /// Into one device.
    Device(fn(&mut Device, f64, &Plan)),
    /// Into one device, at a place that the plan must offer.
    Place(fn(&mut Device, f64, &Plan) -> Result<(), String>),
    /// Into the bench as a whole.
    Bench(fn(&mut Scenario, f64)),
}

/// A fault asked for: which, how large, in which device.
#[derive(Clone, Debug)]
pub struct Fault {
    kind: &'static FaultKind,
    value: f64,
    device: Option<String>,
}

macro_rules! faults {
    ($($name:literal, $unit:literal, $usual:literal, $does:literal, $put:expr;)+) => {
        &[$(FaultKind { name: $name, does: $does, unit: $unit, usual: $usual, put: $put }),+]
    };
}

/// Every fault, in the order of help.
pub const FAULTS: &[FaultKind] = faults! {
    "gain", "%", 3.0, "the scale is off",
        Put::Device(|d, v, _| d.gain_percent = v);
    "zero", "W", 3.0, "the zero is off while pedalling",
        Put::Device(|d, v, _| d.zero_w = v);
    "gear", "%", 1.0, "the scale changes for each unit of gear ratio",
        Put::Device(|d, v, _| d.gear_percent = v);
    "heat", "%", -2.0, "the scale has changed by this much once fully warm",
        Put::Device(|d, v, _| d.heat_percent = v);
    "dead-time", "s", 1.0, "the reading is late",
        Put::Device(|d, v, _| d.dead_time_s = v);
    "lag", "s", 2.0, "the reading is blunted by a first-order lag",
        Put::Device(|d, v, _| d.time_constant_s = v);
    "ceiling", "W", 600.0, "no higher power is reported",
        Put::Device(|d, v, _| d.ceiling_w = Some(v));
    "average", "s", 3.0, "each sample is an average over this time",
        Put::Device(|d, v, _| d.average_s = v);
    "noise", "W", 6.0, "independent noise",
        Put::Device(|d, v, _| d.noise_w = v);
    "slow-noise", "W", 3.0, "slow noise",
        Put::Device(|d, v, _| d.slow_w = v);
    "phantom", "W", 40.0, "power is reported after the rider stops pedalling",
        Put::Device(|d, v, _| d.phantom_w = v);
    "phantom-switch", "W", 600.0, "power is reported for 8 s while nobody pedals, at a switch of modes",
        Put::Place(|d, v, plan| at_switch(plan).map(|at_s| d.surges.push(Surge { at_s, duration_s: 8.0, watts: v })));
    "flywheel", "kg", 12.0, "the reading leaves out the power that accelerates a flywheel of this apparent mass",
        Put::Device(|d, v, _| d.flywheel_kg = v);
    "echo", "", 1.0, "this share (0 to 1) of the reading is the set point, not what is delivered",
        Put::Device(|d, v, _| d.echo = v);
    "surge", "W", 90.0, "a surge of 6 s that nobody produced",
        Put::Device(|d, v, plan| d.surges.push(Surge { at_s: in_block(plan, 0.3), duration_s: 6.0, watts: v }));
    "gap", "s", 8.0, "samples are missing for a while",
        Put::Device(|d, v, plan| drop_out(d, plan, 0.45, v, DropoutKind::Gap));
    "freeze", "s", 12.0, "the reading stands still for a while",
        Put::Device(|d, v, plan| drop_out(d, plan, 0.6, v, DropoutKind::Freeze));
    "zeros", "s", 6.0, "zero is reported for a while",
        Put::Device(|d, v, plan| drop_out(d, plan, 0.75, v, DropoutKind::Zero));
    "spiky-cadence", "%", 8.0, "this share of seconds has a spike in cadence",
        Put::Device(|d, v, _| d.cadence_spike_percent = v);
    "cadence-jump", "rpm", 15.0, "cadence jumps by this, up or down, for stretches of some seconds",
        Put::Device(|d, v, _| d.cadence_jump_rpm = v);
    "no-cadence", "", 1.0, "no cadence is reported",
        Put::Device(|d, _, _| d.cadence = false);
    "clock", "s", 30.0, "the recorder's clock is ahead",
        Put::Device(|d, v, _| d.recorder.clock_offset_s = v);
    "skew", "ppm", 60.0, "the recorder's clock runs fast",
        Put::Device(|d, v, _| d.recorder.clock_skew_ppm = v);
    "late-start", "s", 45.0, "the recorder is started late",
        Put::Device(|d, v, _| d.recorder.start_s = v);
    "early-stop", "s", 45.0, "the recorder is stopped early",
        Put::Device(|d, v, _| d.recorder.stop_early_s = v);
    "pause", "s", 40.0, "the recorder is paused in the middle",
        Put::Device(|d, v, plan| d.recorder.pauses.push(Pause { at_s: plan.duration_s() / 2.0, duration_s: v }));
    "no-strap", "", 1.0, "the recorder hears no heart rate",
        Put::Device(|d, _, _| d.recorder.strap = Strap::None);
    "own-strap", "", 1.0, "the recorder hears another heart-rate strap than the others",
        Put::Device(|d, _, _| d.recorder.strap = Strap::Own);
    "heart-delay", "s", 0.2, "what the recorder hears of a heart-rate strap is late",
        Put::Device(|d, v, _| d.recorder.heart_delay_s = v);
    "heart-jitter", "s", 0.2, "it is late by up to this, anew for each message",
        Put::Device(|d, v, _| d.recorder.heart_jitter_s = v);
    "heart-loss", "%", 30.0, "this share of a heart-rate strap's messages is missed",
        Put::Device(|d, v, _| d.recorder.heart_loss_percent = v);
    "strap-beats", "", 1.0, "heart-rate straps send at every beat",
        Put::Bench(|s, _| s.strap_sends = Sends::Beats);
    "strap-timer", "s", 0.246, "heart-rate straps send on a timer of this period",
        Put::Bench(|s, v| s.strap_sends = Sends::Timer { period_s: v });
    "common-error", "%", 1.2, "every reference reads high by this as well",
        Put::Bench(|s, v| references(s).for_each(|d| d.gain_percent += v));
    "masses", "mm", 0.2, "the session holds the references' readings with known masses, on a crank longer by this than the ruler says",
        Put::Bench(|s, v| s.masses = Some(Masses::off_by(v)));
    "hold", "W", 4.0, "the set point is not held: more is demanded of the rider",
        Put::Bench(|s, v| s.hold_error_w = v);
    "surging", "W", 5.0, "delivered power surges by ± this about the set point, with a period of 12 s",
        Put::Bench(|s, v| control(s).surge_w = v);
    "slow-step", "s", 5.0, "a new set point is followed later by this, for steps of 100 W",
        Put::Bench(|s, v| control(s).slow_down(v));
    "gradient-share", "", 0.7, "this share of the gradient arrives as force",
        Put::Bench(|s, v| s.simulation.gradient_share = v);
    "gradient-delay", "s", 6.0, "the gradient arrives late",
        Put::Bench(|s, v| s.simulation.gradient_delay_s = v);
    "gradient-lag", "s", 2.0, "the gradient arrives gradually, with this time constant",
        Put::Bench(|s, v| s.simulation.gradient_lag_s = v);
};

impl std::str::FromStr for Fault {
    type Err = RehearseError;

    fn from_str(text: &str) -> Result<Self, RehearseError> {
        let wrong = |reason: String| RehearseError::Fault {
            fault: text.to_owned(),
            reason,
        };
        let (rest, device) = match text.split_once('@') {
            Some((rest, device)) => (rest, Some(device.to_owned())),
            None => (text, None),
        };
        let (name, value) = match rest.split_once('=') {
            Some((name, value)) => (name, Some(value)),
            None => (rest, None),
        };
        let kind = FAULTS
            .iter()
            .find(|kind| kind.name == name)
            .ok_or_else(|| {
                let names: Vec<_> = FAULTS.iter().map(|kind| kind.name).collect();
                wrong(format!("no such fault; there are {}", names.join(", ")))
            })?;
        let value = match value {
            None => kind.usual,
            Some(value) => value
                .trim()
                .parse()
                .ok()
                .filter(|v: &f64| v.is_finite())
                .ok_or_else(|| wrong(format!("{value:?} is not a number; try {}", kind.usual)))?,
        };
        Ok(Self {
            kind,
            value,
            device,
        })
    }
}

impl Fault {
    /// Puts the fault into its device: the one named, else the first under test.
    ///
    /// # Errors
    /// [`RehearseError::Fault`] where the scenario has no such device.
    pub fn put_into(&self, scenario: &mut Scenario, plan: &Plan) -> Result<(), RehearseError> {
        let wrong = |reason: String| RehearseError::Fault {
            fault: self.kind.name.to_owned(),
            reason,
        };
        if let Put::Bench(put) = &self.kind.put {
            if self.device.is_some() {
                return Err(wrong("belongs to no device; leave the @ out".to_owned()));
            }
            put(scenario, self.value);
            return Ok(());
        }
        let labels: Vec<_> = scenario.devices.iter().map(|d| d.label.clone()).collect();
        let device = scenario.devices.iter_mut().find(|d| match &self.device {
            Some(label) => d.label == *label,
            None => d.role == Role::UnderTest,
        });
        let device = device
            .ok_or_else(|| wrong(format!("no such device; there are {}", labels.join(", "))))?;
        match &self.kind.put {
            Put::Device(put) => put(device, self.value, plan),
            Put::Place(put) => put(device, self.value, plan).map_err(wrong)?,
            Put::Bench(_) => {}
        }
        Ok(())
    }
}

fn references(scenario: &mut Scenario) -> impl Iterator<Item = &mut Device> {
    let devices = scenario.devices.iter_mut();
    devices.filter(|device| device.role == Role::Reference)
}

/// The trainer in control, put there where the rider was.
fn control(scenario: &mut Scenario) -> &mut Control {
    scenario.control.get_or_insert_default()
}

/// A second into the first coast at which the trainer changes its mode, true time, s.
fn at_switch(plan: &Plan) -> Result<f64, String> {
    switch_while_coasting(plan).ok_or_else(|| {
        "the plan has no coast of 10 s or more between a set power and slopes; plans slopes and \
         all-round have"
            .to_owned()
    })
}

fn drop_out(device: &mut Device, plan: &Plan, part: f64, duration_s: f64, kind: DropoutKind) {
    device.dropouts.push(PlannedDropout {
        at_s: in_block(plan, part),
        duration_s,
        kind,
    });
}

/// A moment at `part` of the plan's steady riding, true time, s.
///
/// The steady legs are taken end to end, so that different parts fall on different blocks.
pub(super) fn in_block(plan: &Plan, part: f64) -> f64 {
    let legs = plan.legs();
    let steady: Vec<&Leg> = legs
        .iter()
        .filter(|leg| leg.kind.spec().tests_claim)
        .collect();
    let total_s: f64 = steady.iter().map(|leg| leg.duration_s()).sum();
    let mut left_s = part * total_s;
    for leg in &steady {
        if left_s < leg.duration_s() {
            // Away from the ends, where set points change.
            return leg.from_s + left_s.clamp(0.2 * leg.duration_s(), 0.8 * leg.duration_s());
        }
        left_s -= leg.duration_s();
    }
    part * plan.duration_s()
}
