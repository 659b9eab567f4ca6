//! Who rides what, recorded how: plain data, every fault a number in it.

use serde::Serialize;

use super::RehearseError;
use super::control::{Control, Simulation};
use crate::analysis::dropout::DropoutKind;
use crate::plan::Plan;
use crate::recording::Format;
use crate::session::{Allowance, Role, Site};

/// A bench: the rider, the drivetrain and the devices on it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Scenario {
    /// When the ride starts by a perfect clock, s since 1970-01-01T00:00:00 UTC.
    pub start_unix_s: i64,
    /// The rider.
    pub rider: Rider,
    /// The drivetrain.
    pub drivetrain: Drivetrain,
    /// The drivetrain loss that the tester allows for between references and source under test.
    pub allowance: Allowance,
    /// What is held beyond the set point, W: at the pedals by the rider, at its own site by a
    /// trainer under [`Scenario::control`].
    pub hold_error_w: f64,
    /// How the trainer holds the set point; absent where the rider does, at the pedals.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub control: Option<Control>,
    /// How the trainer simulates slopes.
    pub simulation: Simulation,
    /// When heart-rate straps send.
    pub strap_sends: Sends,
    /// How known masses were hung on the references; absent where they were not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub masses: Option<Masses>,
    /// The devices, each with its recorder. The first defines session time.
    pub devices: Vec<Device>,
}

/// How masses were hung on the references.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Masses {
    /// Crank length by the ruler, mm.
    pub crank_mm: f64,
    /// By how much the crank is longer than that, mm.
    pub crank_error_mm: f64,
}

impl Masses {
    /// On a usual crank, longer by this than the ruler says.
    pub const fn off_by(crank_error_mm: f64) -> Self {
        Self {
            crank_mm: 172.5,
            crank_error_mm,
        }
    }
}

/// How the rider rides (values by common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Rider {
    /// Standard deviation of the power around the set point, W: within some seconds; a third of
    /// it wanders slowly besides.
    pub slow_noise_w: f64,
    /// Time constant with which power settles after a change of set point, s.
    pub settling_s: f64,
    /// Standard deviation of cadence, rpm.
    pub cadence_noise_rpm: f64,
}

/// The bicycle between pedal and trainer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Drivetrain {
    /// Power lost between pedal and crank, %.
    pub crank_loss_percent: f64,
    /// Power lost between pedal and hub, %.
    pub hub_loss_percent: f64,
    /// Power lost between pedal and trainer, %.
    pub trainer_loss_percent: f64,
    /// Circumference of the wheel, m.
    pub circumference_m: f64,
    /// Temperature around the trainer, °C.
    pub ambient_c: f64,
}

impl Drivetrain {
    /// Share of the pedal power that arrives at `site`.
    pub fn transmission(&self, site: Site) -> f64 {
        let loss_percent = match site {
            Site::Pedal => 0.0,
            Site::Crank => self.crank_loss_percent,
            Site::Hub => self.hub_loss_percent,
            Site::Trainer => self.trainer_loss_percent,
        };
        1.0 - loss_percent / 100.0
    }
}

/// A device: what it does to the power at its site, and the recorder that writes it.
///
/// The reading is made in this order: power for the flywheel taken off, scale (`gain_percent`,
/// `zero_w`, `level`, `gear_percent`, `heat_percent`), echo, `surges` and phantom power, dead time,
/// first-order lag, ceiling, average, noise, ceiling again, whole watts, dropouts.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Device {
    /// Unique name.
    pub label: String,
    /// What the session uses it for.
    pub role: Role,
    /// Where it measures.
    pub site: Site,
    /// The accuracy its maker states, ± %.
    pub claim_percent: f64,
    /// Error of the scale, %.
    pub gain_percent: f64,
    /// Error of the zero while pedalling, W.
    pub zero_w: f64,
    /// Error that depends on the power: knots, linear between them, constant beyond.
    pub level: Vec<LevelError>,
    /// Error for each unit of gear ratio above [`REFERENCE_RATIO`], %.
    pub gear_percent: f64,
    /// Error when [`FULL_WARMTH_C`] above ambient, %; in proportion at other temperatures.
    pub heat_percent: f64,
    /// Apparent mass whose acceleration the reading leaves out while the rider pedals, kg:
    /// m·v·dv/dt is missing.
    pub flywheel_kg: f64,
    /// Share of the reading that is the set point, 0 to 1, where one is in force.
    pub echo: f64,
    /// Stretches of power that nobody produced.
    pub surges: Vec<Surge>,
    /// Power reported at the moment the rider stops pedalling, W.
    pub phantom_w: f64,
    /// Time for which it is reported, falling in a straight line to zero, s.
    pub phantom_s: f64,
    /// Dead time, s.
    pub dead_time_s: f64,
    /// Time constant of the first-order lag, s.
    pub time_constant_s: f64,
    /// Highest power it can report, W.
    pub ceiling_w: Option<f64>,
    /// Length of the average behind each sample, s; it ends at the time stamp.
    pub average_s: f64,
    /// Standard deviation of independent noise, W.
    pub noise_w: f64,
    /// The same in proportion to the power, %.
    pub noise_percent: f64,
    /// Standard deviation of slow noise, W.
    pub slow_w: f64,
    /// Correlation time of slow noise, s.
    pub slow_s: f64,
    /// Stretches without trustworthy power.
    pub dropouts: Vec<PlannedDropout>,
    /// Whether it reports cadence.
    pub cadence: bool,
    /// Time constant with which its cadence follows, s.
    pub cadence_lag_s: f64,
    /// Share of seconds with a spike in cadence, %.
    pub cadence_spike_percent: f64,
    /// By how much its cadence jumps, up or down, for stretches of some seconds, rpm.
    pub cadence_jump_rpm: f64,
    /// Whether it reports wheel speed.
    pub speed: bool,
    /// Whether it reports its temperature.
    pub temperature: bool,
    /// Whether its recorder notes the grade asked for and the trainer's mode, where slopes are
    /// simulated.
    pub grade: bool,
    /// The recorder.
    pub recorder: Recorder,
}

/// Gear ratio at which [`Device::gear_percent`] has no effect: 50/17.
pub const REFERENCE_RATIO: f64 = 50.0 / 17.0;

/// Rise above ambient that counts as fully warm, °C.
pub const FULL_WARMTH_C: f64 = 30.0;

/// One knot of an error that depends on power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LevelError {
    /// Power at the device's site, W.
    pub at_w: f64,
    /// Error there, %.
    pub percent: f64,
}

/// Power that nobody produced.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Surge {
    /// Start, s from the start of the ride.
    pub at_s: f64,
    /// Length, s.
    pub duration_s: f64,
    /// Power added, W; negative takes away.
    pub watts: f64,
}

/// A stretch without trustworthy power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PlannedDropout {
    /// Start, s from the start of the ride.
    pub at_s: f64,
    /// Length, s.
    pub duration_s: f64,
    /// What is recorded meanwhile.
    pub kind: DropoutKind,
}

/// What the recorder beside a device does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Recorder {
    /// The file it writes.
    pub format: Format,
    /// Its clock minus a perfect clock at the start of the ride, s.
    pub clock_offset_s: f64,
    /// Its clock's rate error, ppm; positive runs fast.
    pub clock_skew_ppm: f64,
    /// Fraction of a second at which it stamps, s. FIT carries whole seconds: must be 0 there.
    pub phase_s: f64,
    /// Seconds into the ride at which it is started.
    pub start_s: f64,
    /// Seconds before the end of the ride at which it is stopped.
    pub stop_early_s: f64,
    /// Times at which the rider paused it.
    pub pauses: Vec<Pause>,
    /// Which heart-rate strap it hears.
    pub strap: Strap,
    /// How late it writes what it hears of the strap, s.
    pub heart_delay_s: f64,
    /// By how much more, at most, s: anew for each message.
    pub heart_jitter_s: f64,
    /// Share of the strap's messages that it misses, %.
    pub heart_loss_percent: f64,
    /// Whether the rider presses the lap key at each change of phase, and whether the set points
    /// are in the file.
    pub laps: bool,
    /// Whether gear changes are in the file.
    pub gear_events: bool,
}

/// A recorder paused.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pause {
    /// Start, s from the start of the ride.
    pub at_s: f64,
    /// Length, s.
    pub duration_s: f64,
}

/// When a heart-rate strap sends. What it sends is the rate at that moment in whole beats a minute.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sends {
    /// Without end: a recorder writes the rate of the moment.
    #[default]
    Always,
    /// At every beat of the heart.
    Beats,
    /// On a timer of its own, from a random moment on.
    Timer {
        /// The timer's period, s.
        period_s: f64,
    },
}

/// Which heart-rate strap a recorder hears.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Strap {
    /// None.
    None,
    /// The one that other recorders hear too.
    Shared,
    /// One of its own: the same heart, another sensor.
    Own,
}

impl Default for Scenario {
    /// A healthy trainer under test, pedals and crank as references, clocks a few seconds apart.
    fn default() -> Self {
        let mut trainer = Device::new("trainer", Role::UnderTest, Site::Trainer);
        trainer.dead_time_s = 0.3;
        trainer.time_constant_s = 0.8;
        trainer.claim_percent = 2.0;
        trainer.speed = true;
        trainer.temperature = true;
        trainer.grade = true;
        trainer.noise_w = 0.8;
        trainer.recorder.laps = true;
        let mut pedals = Device::new("pedals", Role::Reference, Site::Pedal);
        pedals.recorder.clock_offset_s = 3.4;
        pedals.recorder.start_s = 4.0;
        pedals.recorder.gear_events = true;
        let mut crank = Device::new("crank", Role::Reference, Site::Crank);
        crank.recorder.format = Format::Delimited;
        crank.recorder.clock_offset_s = -6.8;
        crank.recorder.phase_s = 0.35;
        crank.recorder.start_s = 9.0;
        crank.recorder.stop_early_s = 6.0;
        crank.recorder.strap = Strap::None;
        Self {
            start_unix_s: 1_772_960_400,
            rider: Rider {
                slow_noise_w: 6.0,
                settling_s: 1.2,
                cadence_noise_rpm: 1.2,
            },
            drivetrain: Drivetrain {
                crank_loss_percent: 0.2,
                hub_loss_percent: 2.0,
                trainer_loss_percent: 2.3,
                circumference_m: 2.105,
                ambient_c: 20.0,
            },
            allowance: Allowance {
                percent: 2.2,
                plus_minus: 0.5,
            },
            hold_error_w: 0.0,
            control: None,
            simulation: Simulation::default(),
            strap_sends: Sends::Always,
            masses: None,
            devices: vec![trainer, pedals, crank],
        }
    }
}

impl Device {
    /// A device without fault: quiet, exact at its site, heard by a perfect clock.
    pub fn new(label: &str, role: Role, site: Site) -> Self {
        Self {
            label: label.to_owned(),
            role,
            site,
            claim_percent: 1.0,
            gain_percent: 0.0,
            zero_w: 0.0,
            level: Vec::new(),
            gear_percent: 0.0,
            heat_percent: 0.0,
            flywheel_kg: 0.0,
            echo: 0.0,
            surges: Vec::new(),
            phantom_w: 0.0,
            phantom_s: 8.0,
            dead_time_s: 0.0,
            time_constant_s: 0.0,
            ceiling_w: None,
            average_s: 1.0,
            noise_w: 1.0,
            noise_percent: 0.3,
            slow_w: 0.4,
            slow_s: 40.0,
            dropouts: Vec::new(),
            cadence: true,
            cadence_lag_s: 0.2,
            cadence_spike_percent: 0.0,
            cadence_jump_rpm: 0.0,
            speed: false,
            temperature: false,
            grade: false,
            recorder: Recorder {
                format: Format::Fit,
                clock_offset_s: 0.0,
                clock_skew_ppm: 0.0,
                phase_s: 0.0,
                start_s: 0.0,
                stop_early_s: 0.0,
                pauses: Vec::new(),
                strap: Strap::Shared,
                heart_delay_s: 0.0,
                heart_jitter_s: 0.0,
                heart_loss_percent: 0.0,
                laps: false,
                gear_events: false,
            },
        }
    }

    /// Error of the scale at a power of `site_w`, with everything but gear and heat, %.
    fn level_percent(&self, site_w: f64) -> f64 {
        let after = self.level.partition_point(|knot| knot.at_w <= site_w);
        let left = after.checked_sub(1).and_then(|index| self.level.get(index));
        match (left, self.level.get(after)) {
            (Some(left), Some(right)) => {
                let part = (site_w - left.at_w) / (right.at_w - left.at_w);
                left.percent + part * (right.percent - left.percent)
            }
            (Some(only), None) | (None, Some(only)) => only.percent,
            (None, None) => 0.0,
        }
    }

    /// What the scale makes of a power of `site_w` in a gear of `ratio`, `warmth_c` above
    /// ambient, before any lag, W.
    pub fn static_reading_w(&self, site_w: f64, ratio: f64, warmth_c: f64) -> f64 {
        if site_w <= 0.0 {
            return 0.0;
        }
        let percent = self.gain_percent
            + self.level_percent(site_w)
            + self.gear_percent * (ratio - REFERENCE_RATIO)
            + self.heat_percent * warmth_c / FULL_WARMTH_C;
        // The zero error fades in with power, so that a standing crank reads nothing.
        site_w * (1.0 + percent / 100.0) + self.zero_w * (site_w / 20.0).min(1.0)
    }

    fn check(&self) -> Result<(), RehearseError> {
        let wrong = |field, value, must| RehearseError::Device {
            label: self.label.clone(),
            field,
            value,
            must,
        };
        let recorder = &self.recorder;
        let not_negative = [
            ("phantom_w", self.phantom_w),
            ("dead_time_s", self.dead_time_s),
            ("time_constant_s", self.time_constant_s),
            ("ceiling_w", self.ceiling_w.unwrap_or(0.0)),
            ("noise_w", self.noise_w),
            ("noise_percent", self.noise_percent),
            ("slow_w", self.slow_w),
            ("cadence_lag_s", self.cadence_lag_s),
            ("recorder.start_s", recorder.start_s),
            ("recorder.stop_early_s", recorder.stop_early_s),
            ("recorder.heart_delay_s", recorder.heart_delay_s),
            ("recorder.heart_jitter_s", recorder.heart_jitter_s),
        ];
        for (field, value) in not_negative {
            if !(0.0..=1e5).contains(&value) {
                return Err(wrong(field, value, "from 0 to 100000"));
            }
        }
        let lengths = self.dropouts.iter().map(|d| ("dropouts", d.duration_s));
        let lengths = lengths
            .chain(self.surges.iter().map(|s| ("surges", s.duration_s)))
            .chain(
                recorder
                    .pauses
                    .iter()
                    .map(|p| ("recorder.pauses", p.duration_s)),
            );
        for (field, value) in lengths {
            if !(value > 0.0 && value <= 1e5) {
                return Err(wrong(field, value, "longer than 0 s"));
            }
        }
        let surge = self
            .surges
            .iter()
            .find(|s| s.watts.is_nan() || s.watts.abs() > 1e4);
        if let Some(surge) = surge {
            return Err(wrong("surges", surge.watts, "from -10000 to 10000 W"));
        }
        let bounded = [
            (
                "claim_percent",
                self.claim_percent,
                0.0,
                100.0,
                "from 0 to 100",
            ),
            (
                "gain_percent",
                self.gain_percent,
                -90.0,
                900.0,
                "from -90 to 900",
            ),
            ("zero_w", self.zero_w, -1e4, 1e4, "from -10000 to 10000"),
            (
                "gear_percent",
                self.gear_percent,
                -50.0,
                50.0,
                "from -50 to 50",
            ),
            (
                "heat_percent",
                self.heat_percent,
                -50.0,
                50.0,
                "from -50 to 50",
            ),
            ("phantom_s", self.phantom_s, 0.1, 1e5, "0.1 or more"),
            ("average_s", self.average_s, 0.05, 60.0, "from 0.05 to 60"),
            ("slow_s", self.slow_s, 0.1, 1e6, "0.1 or more"),
            ("echo", self.echo, 0.0, 1.0, "from 0 to 1"),
            ("flywheel_kg", self.flywheel_kg, 0.0, 200.0, "from 0 to 200"),
            (
                "cadence_jump_rpm",
                self.cadence_jump_rpm,
                0.0,
                100.0,
                "from 0 to 100",
            ),
            (
                "cadence_spike_percent",
                self.cadence_spike_percent,
                0.0,
                100.0,
                "from 0 to 100",
            ),
            (
                "recorder.clock_offset_s",
                recorder.clock_offset_s,
                -86_400.0,
                86_400.0,
                "within a day",
            ),
            (
                "recorder.clock_skew_ppm",
                recorder.clock_skew_ppm,
                -10_000.0,
                10_000.0,
                "from -10000 to 10000",
            ),
            (
                "recorder.heart_loss_percent",
                recorder.heart_loss_percent,
                0.0,
                100.0,
                "from 0 to 100",
            ),
            (
                "recorder.phase_s",
                recorder.phase_s,
                0.0,
                0.999,
                "from 0 to 0.999",
            ),
        ];
        for (field, value, low, high, must) in bounded {
            if !(low..=high).contains(&value) {
                return Err(wrong(field, value, must));
            }
        }
        if recorder.format == Format::Fit && recorder.phase_s != 0.0 {
            return Err(wrong(
                "recorder.phase_s",
                recorder.phase_s,
                "0 in a FIT file",
            ));
        }
        if !self.level.is_sorted_by(|a, b| a.at_w < b.at_w) {
            return Err(wrong(
                "level",
                self.level.len() as f64,
                "in order of rising power",
            ));
        }
        Ok(())
    }
}

impl Scenario {
    /// The bench of [`Scenario::default`], with the trainer in control where `plan` says so.
    pub fn for_plan(plan: &Plan) -> Self {
        Self {
            control: plan.controlled.then(Control::default),
            ..Self::default()
        }
    }

    /// Checks that every number can be simulated.
    ///
    /// # Errors
    /// [`RehearseError::Device`] or [`RehearseError::Scenario`].
    pub fn check(&self) -> Result<(), RehearseError> {
        let scenario = |reason: &str| {
            Err(RehearseError::Scenario {
                reason: reason.to_owned(),
            })
        };
        if self.devices.is_empty() {
            return scenario("it has no device; add one");
        }
        for (index, device) in self.devices.iter().enumerate() {
            device.check()?;
            if self.devices[..index]
                .iter()
                .any(|d| d.label == device.label)
            {
                return scenario("two devices carry the same label; rename one");
            }
        }
        self.control.as_ref().map_or(Ok(()), Control::check)?;
        self.simulation.check()?;
        let train = &self.drivetrain;
        let losses = [
            train.crank_loss_percent,
            train.hub_loss_percent,
            train.trainer_loss_percent,
        ];
        let rider = &self.rider;
        if !losses.iter().all(|loss| (0.0..=50.0).contains(loss)) {
            return scenario("a drivetrain loss is outside 0 to 50 %");
        }
        if let Sends::Timer { period_s } = self.strap_sends
            && !(0.01..=60.0).contains(&period_s)
        {
            return scenario("the period of a strap's timer is outside 0.01 to 60 s");
        }
        let numbers = [
            rider.slow_noise_w,
            rider.settling_s,
            rider.cadence_noise_rpm,
        ];
        if !numbers.iter().all(|value| (0.0..=200.0).contains(value)) {
            return scenario("a number of the rider is outside 0 to 200");
        }
        if !(0.5..=4.0).contains(&train.circumference_m)
            || !(-30.0..=50.0).contains(&train.ambient_c)
            || !(-500.0..=500.0).contains(&self.hold_error_w)
        {
            return scenario("wheel, ambient temperature or hold error is out of any real range");
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_is_lost_along_the_drivetrain() {
        let train = Scenario::default().drivetrain;
        let arrived: Vec<f64> = Site::ALL
            .iter()
            .map(|site| train.transmission(*site))
            .collect();
        assert!(arrived.is_sorted_by(|a, b| a > b), "{arrived:?}");
        assert_eq!(arrived[0], 1.0);
    }

    #[test]
    fn the_level_error_is_linear_between_knots_and_constant_beyond() {
        let mut device = Device::new("d", Role::UnderTest, Site::Trainer);
        assert_eq!(device.level_percent(200.0), 0.0);
        let knot = |at_w, percent| LevelError { at_w, percent };
        device.level = vec![knot(100.0, 1.0), knot(200.0, 3.0)];
        assert_eq!(device.level_percent(50.0), 1.0);
        assert_eq!(device.level_percent(150.0), 2.0);
        assert_eq!(device.level_percent(900.0), 3.0);
        device.gain_percent = 2.0;
        device.zero_w = -1.0;
        device.gear_percent = 1.0;
        device.heat_percent = -3.0;
        let reading = device.static_reading_w(150.0, REFERENCE_RATIO + 0.5, FULL_WARMTH_C / 3.0);
        assert!((reading - (150.0 * (1.0 + 0.02 + 0.02 + 0.005 - 0.01) - 1.0)).abs() < 1e-9);
        assert_eq!(device.static_reading_w(0.0, 3.0, 10.0), 0.0);
    }

    #[test]
    fn an_impossible_device_is_refused_by_name() {
        let refused = |change: fn(&mut Device)| {
            let mut scenario = Scenario::default();
            change(&mut scenario.devices[0]);
            scenario.check().unwrap_err().to_string()
        };
        for (change, word) in [
            (
                (|d| d.time_constant_s = -1.0) as fn(&mut Device),
                "time_constant_s",
            ),
            (|d| d.gain_percent = f64::NAN, "gain_percent"),
            (|d| d.recorder.phase_s = 0.5, "phase_s"),
            (
                |d| d.recorder.clock_offset_s = f64::INFINITY,
                "clock_offset_s",
            ),
            (|d| d.label = "crank".to_owned(), "label"),
            (
                |d| {
                    d.recorder.pauses.push(Pause {
                        at_s: 1.0,
                        duration_s: -3.0,
                    });
                },
                "pauses",
            ),
        ] {
            let message = refused(change);
            assert!(message.contains(word), "{message}");
        }
        assert!(Scenario::default().check().is_ok());
    }
}
