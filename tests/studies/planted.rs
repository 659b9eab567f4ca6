//! What is wrong with a ride made for the study of the questions, in the questions' own units, and
//! rehearsed rides with faults drawn at random.
//!
//! A size beyond `wrong_from` must be named, one within `limit` must not be, and what lies between
//! counts for neither: no method tells it with the references that a tester has. Sizes are worked
//! out of what the source would have shown without noise, not of what was put in: a scale that is
//! 6 % off makes the work wrong as well.

use std::ops::Range;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use truing::analysis::dropout::DropoutKind;
use truing::plan::{Leg, Plan};
use truing::rehearse::{
    Control, Fault, PlannedDropout, Rehearsal, Scenario, SessionOptions, ride as rehearse,
};
use truing::session::{Allowance, Kind, Session};
use truing::timeline::Aligned;

/// The size of one thing that can be wrong.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// What it is about: a question's key, or one part of it.
    pub of: &'static str,
    /// The question that answers it.
    pub question: &'static str,
    /// How large it is; the sign is left out. NaN where no method could tell.
    pub size: f64,
    /// Up to here nothing is wrong.
    pub limit: f64,
    /// From here on it has to be named.
    pub wrong_from: f64,
}

impl Size {
    /// Whether it has to be named (`true`) or must not be (`false`); `None` between.
    pub fn is_wrong(&self) -> Option<bool> {
        if self.size >= self.wrong_from {
            Some(true)
        } else {
            (self.size <= self.limit).then_some(false)
        }
    }
}

/// Everything that can be wrong with a ride.
#[derive(Clone, Debug)]
pub struct Planted(pub Vec<Size>);

/// An error is clear from here on, %: the claim and twice the uncertainty that two meters of ±1 % and a
/// loss known to ±0.5 % leave.
const CLEAR_PERCENT: f64 = 4.5;
/// Means of 30 s of the delivered power have to spread by this for an echo to show, W.
const MOVES_W: f64 = 2.5;
/// A reading this far above all that was delivered in the seconds around leaves it, W.
const LEAVES_W: f64 = 15.0;

/// What was put in and cannot be read off the clean columns.
#[derive(Clone, Copy, Debug, Default)]
pub struct PutIn {
    /// Amplitude of surging, W.
    pub surge_w: f64,
    /// Share of the reading that is the set point.
    pub echo: f64,
    /// Time to stay within 5 W of a set point 100 W away, s.
    pub follow_s: f64,
    /// Power reported for 3 s or more while nobody pedals, W.
    pub phantom_w: f64,
    /// Share of the seconds in which cadence is off by more than 5 rpm, %.
    pub cadence_percent: f64,
    /// Dropouts in an hour.
    pub dropouts_per_hour: f64,
    /// Share of the gradient that arrives.
    pub gradient_share: f64,
    /// How late it arrives, s.
    pub gradient_delay_s: f64,
}

/// A ride without noise, one row a second.
pub struct Clean<'a> {
    /// What the source shows, W.
    pub shown_w: &'a [f64],
    /// What is delivered at its site, W.
    pub delivered_w: &'a [f64],
    /// Held stretches, settled, with their set points.
    pub held: Vec<(Range<usize>, f64)>,
    /// The longest of them.
    pub soak: Range<usize>,
    /// The sprints, with room for a late reading.
    pub sprints: Vec<Range<usize>>,
}

impl Planted {
    /// Of a ride that shows `clean`, with `put_in` put in.
    pub fn of(clean: &Clean, put_in: PutIn) -> Self {
        let size = |of, question, size: f64, limit, wrong_from| Size {
            of,
            question,
            size: size.abs(),
            limit,
            wrong_from,
        };
        let same = |key, value, limit, wrong_from| size(key, key, value, limit, wrong_from);
        Self(vec![
            same("accuracy", clean.accuracy_percent(), 2.0, CLEAR_PERCENT),
            size(
                "delivered",
                "hold",
                clean.hold_percent(),
                2.0,
                CLEAR_PERCENT,
            ),
            size("own", "hold", clean.own_w(), 1.5, 3.0),
            size("surging", "steadiness", put_in.surge_w, 3.0, 5.0),
            size("echo", "steadiness", clean.echo(put_in.echo), 0.5, 0.75),
            same("follow", put_in.follow_s, 5.0, 7.5),
            same("sprint", clean.sprint_percent(), 5.0, 8.75),
            same("phantom", clean.phantom_w(put_in.phantom_w), 20.0, 60.0),
            same("cadence", put_in.cadence_percent, 5.0, 8.75),
            same("dropouts", put_in.dropouts_per_hour, 2.0, 8.0),
            same("heat", clean.heat_percent(), 2.0, CLEAR_PERCENT),
            size("share", "gradient", put_in.gradient_share - 1.0, 0.1, 0.2),
            size("delay", "gradient", put_in.gradient_delay_s, 3.0, 4.5),
            same("work", clean.work_percent(), 2.0, CLEAR_PERCENT),
        ])
    }

    /// Whether `question` has to name a fault (`true`) or must name none (`false`); `None` where
    /// neither is certain.
    pub fn is_wrong(&self, question: &str) -> Option<bool> {
        let mut certain = Some(false);
        for size in self.0.iter().filter(|size| size.question == question) {
            match size.is_wrong() {
                Some(true) => return Some(true),
                Some(false) => {}
                None => certain = None,
            }
        }
        certain
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values
        .filter(|value| value.is_finite())
        .fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    sum / n
}

impl Clean<'_> {
    fn mean_of(column: &[f64], rows: &Range<usize>) -> f64 {
        mean(column[rows.clone()].iter().copied())
    }

    fn bias_percent(&self, rows: &Range<usize>) -> f64 {
        let shown = Self::mean_of(self.shown_w, rows);
        100.0 * (shown / Self::mean_of(self.delivered_w, rows) - 1.0)
    }

    /// Largest bias of a held stretch.
    fn accuracy_percent(&self) -> f64 {
        let biases = self.held.iter().map(|(rows, _)| self.bias_percent(rows));
        biases.map(f64::abs).fold(0.0, f64::max)
    }

    /// The echo, where what is delivered moves: means of 30 s that all are the set point hide nothing.
    fn echo(&self, echo: f64) -> f64 {
        let means = self.held.iter().flat_map(|(rows, set_w)| {
            let delivered = self.delivered_w[rows.clone()].chunks_exact(30);
            delivered.map(move |half_minute| mean(half_minute.iter().copied()) - set_w)
        });
        let means: Vec<f64> = means.collect();
        let middle = mean(means.iter().copied());
        let spread_w = mean(means.iter().map(|w| (w - middle).powi(2))).sqrt();
        if echo <= 0.5 || spread_w >= MOVES_W {
            echo
        } else {
            f64::NAN
        }
    }

    /// Power that nobody makes: `put_in_w` while nobody pedals. Where none is put in, but the reading
    /// leaves what is delivered upwards for two seconds or more (an echo of a new set point, a flywheel that
    /// slows down), it is a matter of words.
    fn phantom_w(&self, put_in_w: f64) -> f64 {
        let bias_percent = mean(self.held.iter().map(|(rows, _)| self.bias_percent(rows)));
        let bias = 1.0 + 0.01 * bias_percent.max(0.0);
        let leaves = |row: usize| {
            let around = row.saturating_sub(8)..(row + 2).min(self.delivered_w.len());
            let highest = self.delivered_w[around].iter().copied().fold(0.0, f64::max);
            self.shown_w[row] - bias * highest > LEAVES_W
        };
        let rows: Vec<bool> = (0..self.shown_w.len()).map(leaves).collect();
        let long = rows
            .chunk_by(|a, b| a == b)
            .any(|run| run[0] && run.len() >= 2);
        if put_in_w < 20.0 && long {
            f64::NAN
        } else {
            put_in_w
        }
    }

    /// Largest error of a held stretch.
    fn hold_percent(&self) -> f64 {
        let off = self
            .held
            .iter()
            .map(|(rows, set_w)| 100.0 * (Self::mean_of(self.delivered_w, rows) / set_w - 1.0));
        off.map(f64::abs).fold(0.0, f64::max)
    }

    /// Mean of the reading less the set point over all held stretches, W.
    fn own_w(&self) -> f64 {
        let held = self.held.iter();
        mean(held.flat_map(|(rows, set_w)| {
            let shown = self.shown_w[rows.clone()].iter();
            shown.map(move |watts| watts - set_w)
        }))
    }

    /// Change of the bias over the longest held stretch by its least-squares line, percentage points.
    fn heat_percent(&self) -> f64 {
        let n = self.soak.len() as f64;
        let middle = 0.5 * (n - 1.0);
        let (mut sxy, mut sxx) = (0.0, 0.0);
        for (at, row) in self.soak.clone().enumerate() {
            let x = at as f64 - middle;
            let bias = 100.0 * (self.shown_w[row] / self.delivered_w[row] - 1.0);
            sxx += x * x;
            sxy += x * bias;
        }
        sxy / sxx * n
    }

    fn best_5_s(column: &[f64], rows: &Range<usize>) -> f64 {
        let windows = column[rows.clone()].windows(5);
        windows
            .map(|five| mean(five.iter().copied()))
            .fold(0.0, f64::max)
    }

    fn sprint_percent(&self) -> f64 {
        mean(self.sprints.iter().map(|rows| {
            let shown = Self::best_5_s(self.shown_w, rows);
            100.0 * (shown / Self::best_5_s(self.delivered_w, rows) - 1.0)
        }))
    }

    fn work_percent(&self) -> f64 {
        self.bias_percent(&(0..self.shown_w.len()))
    }
}

/// The loss that the tester states.
pub fn allowance() -> Allowance {
    Allowance {
        percent: 2.2,
        plus_minus: 0.5,
    }
}

/// A rehearsed ride after the plan `all-round`, each fault put in with one chance in two. Clocks are
/// known and the true segments tagged.
pub fn rehearsed(seed: u64) -> (Session, Aligned, Planted) {
    with_faults(Draw::new(seed, false), seed)
}

/// The same with nothing wrong.
pub fn sound(seed: u64) -> (Session, Aligned, Planted) {
    with_faults(Draw::new(seed, true), seed)
}

fn with_faults(mut draw: Draw, seed: u64) -> (Session, Aligned, Planted) {
    let plan = Plan::built_in("all-round").unwrap();
    let scenario = scenario(&plan, &mut draw);
    let rehearsal = rehearse(&plan, &scenario, seed).unwrap();
    let opened = rehearsal.opened(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    let planted = planted(&rehearsal);
    (opened.session.clone(), Aligned::new(&opened), planted)
}

/// Random numbers, and whether faults are drawn at all.
pub struct Draw {
    pub random: ChaCha8Rng,
    sound: bool,
}

impl Draw {
    pub fn new(seed: u64, sound: bool) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(616);
        Self { random, sound }
    }

    /// Whether a fault is put in: one time in two, but where everything is to be sound.
    pub fn is_planted(&mut self) -> bool {
        self.either() && !self.sound
    }

    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        self.random.random_range(low..high)
    }

    pub fn either(&mut self) -> bool {
        self.random.random()
    }

    /// Of this size, with either sign.
    pub fn signed(&mut self, low: f64, high: f64) -> f64 {
        let size = self.within(low, high);
        if self.either() { size } else { -size }
    }

    /// `wrong` in every other ride, else `right`.
    pub fn fault(&mut self, wrong: (f64, f64), right: (f64, f64)) -> (bool, f64) {
        let is_wrong = self.is_planted();
        let (low, high) = if is_wrong { wrong } else { right };
        (is_wrong, self.within(low, high))
    }
}

fn scenario(plan: &Plan, draw: &mut Draw) -> Scenario {
    let mut scenario = Scenario::for_plan(plan);
    scenario.allowance = allowance();
    scenario.rider.slow_noise_w = draw.within(3.0, 8.0);
    scenario.drivetrain.trainer_loss_percent =
        allowance().percent + allowance().plus_minus * draw.within(-1.0, 1.0);
    scenario.drivetrain.crank_loss_percent = 0.0;
    for device in &mut scenario.devices[1..] {
        device.gain_percent = device.claim_percent * draw.within(-0.7, 0.7);
        device.noise_w = draw.within(0.5, 2.0);
    }
    let mut control = Control {
        dead_time_s: draw.within(0.5, 1.2),
        time_constant_s: draw.within(0.4, 0.9),
        ..Control::default()
    };
    control.surge_w = draw.fault((5.0, 16.0), (0.0, 1.0)).1;
    scenario.control = Some(control);
    let simulation = &mut scenario.simulation;
    simulation.mass_kg = draw.within(60.0, 100.0);
    simulation.flywheel_kg = draw.within(8.0, 25.0);
    simulation.gradient_share = draw.fault((0.5, 0.78), (0.96, 1.04)).1;
    simulation.gradient_delay_s = draw.fault((5.0, 9.0), (0.2, 1.5)).1;
    let (off, watts) = draw.fault((10.0, 16.0), (-1.0, 1.0));
    scenario.hold_error_w = if off && draw.either() { -watts } else { watts };

    let trainer = &mut scenario.devices[0];
    trainer.noise_w = draw.within(0.5, 2.5);
    trainer.dead_time_s = draw.within(0.0, 0.8);
    trainer.time_constant_s = draw.within(0.3, 1.0);
    let (off, percent) = draw.fault((5.0, 8.0), (-0.5, 0.5));
    trainer.gain_percent = if off && draw.either() {
        -percent
    } else {
        percent
    };
    let (off, percent) = draw.fault((16.0, 21.0), (-0.5, 0.5));
    trainer.heat_percent = if off && draw.either() {
        -percent
    } else {
        percent
    };
    trainer.echo = draw.fault((0.78, 1.0), (0.0, 0.1)).1;
    let (jumps, rpm) = draw.fault((10.0, 25.0), (0.0, 1.0));
    trainer.cadence_jump_rpm = if jumps { rpm } else { 0.0 };
    if draw.is_planted() {
        let (kind, share) = (draw.random.random_range(0..3), draw.within(0.0, 1.0));
        match kind {
            0 => trainer.ceiling_w = Some(420.0 + 140.0 * share),
            1 => trainer.time_constant_s = 3.0 + 2.0 * share,
            _ => trainer.flywheel_kg = 35.0 + 35.0 * share,
        }
    }
    drop_out(plan, trainer, draw);
    let (slow, later_s) = draw.fault((5.0, 10.0), (0.0, 0.1));
    let (phantom, watts) = draw.fault((80.0, 600.0), (0.0, 1.0));
    let named = [
        slow.then(|| format!("slow-step={later_s}")),
        phantom.then(|| format!("phantom-switch={watts}")),
    ];
    for fault in named.into_iter().flatten() {
        let fault: Fault = fault.parse().unwrap();
        fault.put_into(&mut scenario, plan).unwrap();
    }
    scenario
}

/// Ten to sixteen dropouts in every other ride, else none, each in a place of its own: none in a
/// sprint or a coast, which it would hide.
fn drop_out(plan: &Plan, trainer: &mut truing::rehearse::Device, draw: &mut Draw) {
    if !draw.is_planted() {
        return;
    }
    let count = draw.random.random_range(10..=16);
    let room_s = plan.duration_s() / f64::from(count);
    let legs = plan.legs();
    for place in 0..count {
        let at_s = room_s * (f64::from(place) + draw.within(0.2, 0.6));
        let duration_s = draw.within(6.0, 14.0);
        let kinds = [DropoutKind::Gap, DropoutKind::Freeze, DropoutKind::Zero];
        let kind = kinds[draw.random.random_range(0..3)];
        let hides = legs.iter().any(|leg| {
            matches!(leg.kind, Kind::Sprint | Kind::Coast)
                && at_s < leg.to_s + 15.0
                && leg.from_s < at_s + duration_s
        });
        if !hides {
            trainer.dropouts.push(PlannedDropout {
                at_s,
                duration_s,
                kind,
            });
        }
    }
}

fn planted(rehearsal: &Rehearsal) -> Planted {
    let stream = &rehearsal.streams[0];
    // The trainer's clock is true; its first row is at 1 s.
    let rows = |from_s: f64, to_s: f64| {
        let end = stream.ideal_w.len();
        (from_s as usize - 1).min(end)..(to_s as usize - 1).min(end)
    };
    let of = |kind: Kind| rehearsal.legs.iter().filter(move |leg| leg.kind == kind);
    let settled = |leg: &Leg| rows(leg.from_s + 15.0, leg.to_s);
    let held = of(Kind::SteadyBlock).chain(of(Kind::HeatSoak));
    let clean = Clean {
        shown_w: &stream.ideal_w,
        delivered_w: &stream.site_w,
        held: held
            .filter_map(|leg| Some((settled(leg), leg.set_point_w()?)))
            .collect(),
        soak: settled(of(Kind::HeatSoak).next().unwrap()),
        sprints: of(Kind::Sprint)
            .map(|leg| rows(leg.from_s, leg.to_s + 15.0))
            .collect(),
    };
    let scenario = &rehearsal.scenario;
    let (trainer, control) = (&scenario.devices[0], scenario.control.unwrap());
    let put_in = PutIn {
        surge_w: control.surge_w,
        echo: trainer.echo,
        follow_s: control.in_band_s(100.0),
        phantom_w: trainer.surges.iter().map(|s| s.watts).fold(0.0, f64::max),
        cadence_percent: stream.cadence_off_percent,
        dropouts_per_hour: trainer.dropouts.len() as f64 / (rehearsal.plan.duration_s() / 3600.0),
        gradient_share: scenario.simulation.gradient_share,
        gradient_delay_s: scenario.simulation.gradient_delay_s,
    };
    Planted::of(&clean, put_in)
}
