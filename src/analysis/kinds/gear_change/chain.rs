//! What the chain loses in each gear, and how far a perfect source shifts by it.
//!
//! A chain loses less on larger sprockets. By a model in which the loss goes with `1/N_front + 1/N_rear`
//! (Lodge & Burgess 2002; the proportionality is a model), `λ = λ₀ (1/N_f + 1/N_r)/(1/50 + 1/17)` with the
//! stated loss λ₀ at 50/17: 2.2 % there is 1.555 % at 50/28 and 2.884 % at 50/12.

use super::figures::{GearChange, GearShift};
use crate::session::Gears;
use crate::stats::{finite, median_of};
use crate::timeline::Grid;

/// Two ratios nearer than this are one gear.
const SAME_RATIO: f64 = 0.03;

/// The sprockets in use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sprockets {
    /// Teeth of the front one.
    pub front: f64,
    /// Teeth of the rear one.
    pub rear: f64,
}

impl Sprockets {
    /// What they lose where 50/17 loses `loss_percent`, %.
    pub fn loss_percent(self, loss_percent: f64) -> f64 {
        let bend = |front: f64, rear: f64| 1.0 / front + 1.0 / rear;
        loss_percent * bend(self.front, self.rear) / bend(50.0, 17.0)
    }

    fn named(self) -> String {
        format!("{}/{}", self.front, self.rear)
    }
}

/// A change of gear as a recorder noted it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotedGear {
    /// When, session time, s.
    pub at_s: f64,
    /// The sprockets from then on.
    pub sprockets: Sprockets,
}

/// What is known of the gears in a window.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// What a recorder noted over the ride, in order.
    pub noted: &'a [NotedGear],
    /// The sprockets on the bike, by the session.
    pub gears: Option<&'a Gears>,
    /// Wheel speed in the window, m/s.
    pub speed: Option<&'a [f64]>,
    /// Cadence in the window, rpm.
    pub cadence: Option<&'a [f64]>,
    /// Its rows.
    pub grid: Grid,
}

impl GearChange {
    /// With the gears, and what each change takes off a perfect source where 50/17 loses
    /// `loss_percent` between the references and it.
    pub fn with_chain(mut self, known: &Known<'_>, loss_percent: Option<f64>) -> Self {
        let at_s: Vec<f64> = self.changes.iter().map(|change| change.at_s).collect();
        let levels: Vec<Option<Sprockets>> = (0..=at_s.len())
            .map(|level| known.of_level(&at_s, level))
            .collect();
        for (change, pair) in self.changes.iter_mut().zip(levels.windows(2)) {
            let [before, after] = [pair[0], pair[1]];
            change.gear_before = before.map(Sprockets::named);
            change.gear_after = after.map(Sprockets::named);
            let lost = before
                .zip(after)
                .zip(loss_percent)
                .map(|((before, after), loss)| {
                    after.loss_percent(loss) - before.loss_percent(loss)
                });
            change.allow_for(lost);
        }
        self
    }
}

impl GearShift {
    /// A source behind the chain reads less by what is lost more.
    fn allow_for(&mut self, lost_more_percent: Option<f64>) {
        self.chain_shift_percent = lost_more_percent.and_then(|lost| finite(-lost));
        let shifts = self.shift_percent.zip(self.chain_shift_percent);
        self.net_shift_percent = shifts.and_then(|(shift, chain)| finite(shift - chain));
    }
}

impl Known<'_> {
    /// The sprockets between two changes: as noted, else the one gear of the bike with that ratio.
    fn of_level(&self, at_s: &[f64], level: usize) -> Option<Sprockets> {
        let from_s = level
            .checked_sub(1)
            .map_or(self.grid.start_s, |change| at_s[change]);
        let latest = from_s + 1.5 * self.grid.step_s;
        let noted = self.noted.iter().rev().find(|gear| gear.at_s <= latest);
        noted
            .map(|gear| gear.sprockets)
            .or_else(|| self.by_ratio(from_s, at_s.get(level).copied()))
    }

    fn by_ratio(&self, from_s: f64, to_s: Option<f64>) -> Option<Sprockets> {
        let gears = self.gears?;
        let (speed, cadence) = (self.speed?, self.cadence?);
        let row = |at_s: f64| ((at_s - self.grid.start_s) / self.grid.step_s).max(0.0) as usize;
        let rows = row(from_s)..to_s.map_or(speed.len(), row).min(speed.len());
        let turning = rows.filter_map(|row| {
            let (speed, cadence) = (*speed.get(row)?, *cadence.get(row)?);
            (speed > 0.5 && cadence > 30.0).then(|| 60.0 * speed / cadence)
        });
        let metres_a_turn = median_of(turning.collect())?;
        let ratio = metres_a_turn / gears.circumference_m.unwrap_or(Gears::CIRCUMFERENCE_M);
        let all = gears.front.iter().flat_map(|front| {
            let rear = gears.rear.iter();
            rear.map(|rear| Sprockets {
                front: *front,
                rear: *rear,
            })
        });
        let off = |s: &Sprockets| (s.front / s.rear / ratio).ln().abs();
        let mut near: Vec<Sprockets> = all.filter(|s| off(s) <= SAME_RATIO).collect();
        near.sort_by(|a, b| off(a).total_cmp(&off(b)));
        // Two pairs of sprockets with one ratio lose differently: which was ridden is not known.
        let first = *near.first()?;
        let is_plain = near.iter().all(|other| other.front == first.front);
        is_plain.then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: Grid = Grid {
        start_s: 100.0,
        step_s: 1.0,
        len: 200,
    };

    fn change(at_s: f64) -> GearShift {
        GearShift {
            at_s,
            bias_before_percent: None,
            bias_before_ci95_percent: None,
            bias_after_percent: None,
            bias_after_ci95_percent: None,
            shift_percent: Some(-1.5),
            shift_ci95_percent: None,
            peak_deviation_w: None,
            recovery_s: None,
            speed_before_mps: None,
            speed_after_mps: None,
            gear_before: None,
            gear_after: None,
            chain_shift_percent: None,
            net_shift_percent: None,
        }
    }

    fn sprockets(front: f64, rear: f64) -> Sprockets {
        Sprockets { front, rear }
    }

    #[test]
    fn the_loss_follows_the_sprockets() {
        // Computed beforehand, outside of this program.
        let at = |rear| format!("{:.3}", sprockets(50.0, rear).loss_percent(2.2));
        assert_eq!([at(17.0), at(28.0), at(12.0)], ["2.200", "1.555", "2.884"]);
    }

    #[test]
    fn a_perfect_source_shifts_by_what_the_chain_loses() {
        let noted = [
            NotedGear {
                at_s: 50.0,
                sprockets: sprockets(50.0, 28.0),
            },
            NotedGear {
                at_s: 200.0,
                sprockets: sprockets(50.0, 12.0),
            },
        ];
        let known = Known {
            noted: &noted,
            gears: None,
            speed: None,
            cadence: None,
            grid: GRID,
        };
        let found = GearChange {
            changes: vec![change(200.0)],
        };
        let shift = found.clone().with_chain(&known, Some(2.2)).changes[0].clone();
        assert_eq!(shift.gear_before.as_deref(), Some("50/28"));
        assert_eq!(shift.gear_after.as_deref(), Some("50/12"));
        // 2.884 − 1.555 = 1.33 points less.
        assert_eq!(
            format!("{:.2}", shift.chain_shift_percent.unwrap()),
            "-1.33"
        );
        assert_eq!(format!("{:.2}", shift.net_shift_percent.unwrap()), "-0.17");
        let unstated = found.with_chain(&known, None).changes[0].clone();
        assert_eq!(
            (unstated.chain_shift_percent, unstated.net_shift_percent),
            (None, None)
        );
    }

    #[test]
    fn a_gear_nobody_noted_follows_from_speed_and_cadence_where_only_one_fits() {
        let gears = Gears {
            front: vec![50.0],
            rear: vec![12.0, 17.0, 25.0],
            circumference_m: None,
        };
        let cadence = vec![90.0; 200];
        let speed_in = |rear: f64| 90.0 / 60.0 * 50.0 / rear * 2.1;
        let speed: Vec<f64> = (0..200)
            .map(|row| speed_in(if row < 100 { 17.0 } else { 25.0 }))
            .collect();
        let both = Gears {
            front: vec![50.0, 34.0],
            ..gears.clone()
        };
        let known = |gears| Known {
            noted: &[],
            gears: Some(gears),
            speed: Some(&speed),
            cadence: Some(&cadence),
            grid: GRID,
        };
        let found = GearChange {
            changes: vec![change(200.0)],
        };
        let one = found.clone().with_chain(&known(&gears), None).changes[0].clone();
        assert_eq!(one.gear_before.as_deref(), Some("50/17"));
        assert_eq!(one.gear_after.as_deref(), Some("50/25"));
        // 34/17 is 50/25 as well.
        let two = found.with_chain(&known(&both), None).changes[0].clone();
        assert_eq!(two.gear_after, None);
    }
}
