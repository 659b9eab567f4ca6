//! Seeded random numbers. Every purpose has its own stream of one generator, so that switching
//! one fault on leaves all other noise as it was.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// What random numbers are drawn for. Devices add their index.
#[derive(Clone, Copy, Debug)]
pub(super) enum Purpose {
    /// The rider's power.
    Power,
    /// The rider's cadence.
    Cadence,
    /// The heart, as the common strap hears it.
    Strap,
    /// Laps pressed by hand.
    Laps,
    /// The reading of device `n`.
    Reading(usize),
    /// The cadence of device `n`.
    DeviceCadence(usize),
    /// A strap of device `n` alone.
    OwnStrap(usize),
    /// The draw of a random scenario.
    Scenario,
    /// When a strap's timer starts.
    StrapTimer,
    /// What recorder `n` hears of a strap.
    Heard(usize),
    /// The jumps of the cadence of device `n`.
    CadenceJumps(usize),
    /// The draw of how a random scenario's trainer controls.
    Control,
    /// Known masses: what all meters share (0), then device `n − 1`.
    Masses(usize),
}

impl Purpose {
    fn stream(self) -> u64 {
        let (base, index) = match self {
            Purpose::Power => (0, 0),
            Purpose::Cadence => (1, 0),
            Purpose::Strap => (2, 0),
            Purpose::Laps => (3, 0),
            Purpose::Scenario => (4, 0),
            Purpose::StrapTimer => (5, 0),
            Purpose::Control => (6, 0),
            Purpose::Reading(index) => (8, index),
            Purpose::DeviceCadence(index) => (9, index),
            Purpose::OwnStrap(index) => (10, index),
            Purpose::Heard(index) => (11, index),
            Purpose::CadenceJumps(index) => (12, index),
            Purpose::Masses(index) => (13, index),
        };
        base + 16 * index as u64
    }
}

/// The generator for `purpose` under `seed`; the same on every platform.
pub(super) fn generator(seed: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    generator.set_stream(purpose.stream());
    generator
}

/// A standard normal number.
pub(super) fn normal(generator: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(generator)
}

/// Stationary first-order autoregressive noise (an Ornstein–Uhlenbeck process at fixed steps):
/// mean 0, correlation `exp(−lag/correlation_s)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct SlowNoise {
    sd: f64,
    keep: f64,
    value: f64,
}

impl SlowNoise {
    /// Noise with standard deviation `sd`, started from its stationary distribution.
    pub(super) fn new(sd: f64, correlation_s: f64, step_s: f64, g: &mut ChaCha8Rng) -> Self {
        Self {
            sd,
            keep: (-step_s / correlation_s).exp(),
            value: sd * normal(g),
        }
    }

    /// The next value.
    pub(super) fn next(&mut self, g: &mut ChaCha8Rng) -> f64 {
        self.value =
            self.keep * self.value + self.sd * (1.0 - self.keep * self.keep).sqrt() * normal(g);
        self.value
    }
}

/// A first-order lag in its exact discrete form: after a step it has covered `1 − exp(−t/τ)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lag {
    value: f64,
}

impl Lag {
    /// A lag at rest at `value`.
    pub(super) fn at(value: f64) -> Self {
        Self { value }
    }

    /// Where it stands.
    pub(super) fn value(self) -> f64 {
        self.value
    }

    /// Moves on by `step_s` towards `input` with time constant `tau_s`; no lag where it is 0.
    pub(super) fn step(&mut self, input: f64, tau_s: f64, step_s: f64) -> f64 {
        let share = if tau_s > 0.0 {
            1.0 - (-step_s / tau_s).exp()
        } else {
            1.0
        };
        self.value += share * (input - self.value);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wander_has_the_spread_and_memory_it_claims() {
        let mut g = generator(5, Purpose::Power);
        let mut slow_noise = SlowNoise::new(3.0, 2.0, 0.5, &mut g);
        let x: Vec<f64> = (0..200_000).map(|_| slow_noise.next(&mut g)).collect();
        let n = x.len() as f64;
        let variance = x.iter().map(|v| v * v).sum::<f64>() / n;
        let lagged = x.windows(5).map(|w| w[0] * w[4]).sum::<f64>() / n;
        assert!((variance.sqrt() - 3.0).abs() < 0.1, "{variance}");
        assert!((lagged / variance - (-1.0f64).exp()).abs() < 0.02);
    }

    /// Analytic first-order response (methods §9: 63.212 % at τ, 10–90 % in 2.197225 τ).
    #[test]
    fn lag_follows_the_analytic_step_response() {
        for tau_s in [0.4, 1.0, 3.0] {
            let (step_s, mut lag) = (0.001, Lag::at(0.0));
            let y: Vec<f64> = (0..20_000).map(|_| lag.step(1.0, tau_s, step_s)).collect();
            let reached = |level: f64| y.iter().position(|v| *v >= level).unwrap() as f64 * step_s;
            assert!((reached(0.632_120_558) - tau_s).abs() < 0.002);
            assert!((reached(0.9) - reached(0.1) - 2.197_225 * tau_s).abs() < 0.003);
        }
    }

    #[test]
    fn streams_of_one_seed_differ_and_repeat() {
        let draw = |purpose| normal(&mut generator(9, purpose));
        assert_eq!(draw(Purpose::Reading(1)), draw(Purpose::Reading(1)));
        assert_ne!(draw(Purpose::Reading(1)), draw(Purpose::Reading(2)));
        assert_ne!(draw(Purpose::Reading(0)), draw(Purpose::DeviceCadence(0)));
    }
}
