//! What lags of steps show of a strap that sends on a timer (see `steps.rs` for lags and their model).
//!
//! # Whole numbers
//! A strap that sends once a second reaches each recorder at one fraction of its second: all lags are
//! one whole number, and go to the next where the drift of a clock takes that moment past the turn of
//! a second. A missed message moves a lag by a whole second too, one way for the first recorder and
//! the other way for the second, so that lags scatter about the whole number evenly. Lags of a strap
//! whose messages fall anywhere scatter about the shift itself, which is a whole number only by
//! chance. So two descriptions compete: the line with the clocks' rate, and stairs of whole numbers,
//! each with normal errors of unknown size. The log likelihood that the line is ahead is
//! `N/2 · ln((S + 1)/(L + 1)) + j ln 20`, with `S` and `L` the weighted squares that stairs and line
//! leave, the least over the number `j` of stairs; 1 stands for the lag that few clusters have not
//! shown yet, and each stair has to pay for being placed. Unless the line is ahead by `ln 200`, the
//! fraction of a second is open: whoever is sure of an offset and wrong errs where nobody looks again, so
//! that is put at half a percent and not at the usual twentieth. That doubts offsets that *are* nearly
//! whole: without skew those with `f < 11/N` of a second and some above, `N` the number of clusters, since
//! stairs may take late neighbours together.
//! Where stairs are ahead by `ln 20`, the strap sends once a second.
//!
//! # Drift
//! Where messages come at varying moments, such a strap's lags go from one whole number to the next
//! gradually, while the moment of sending drifts through the scatter of the delays: lags drift by
//! 1 s while a clock drifts by 0.2 s, say. A slope that is not the clocks' tells of that; what the clocks
//! drift, other channels say, or else that they are quartz. Where the
//! slope agrees by chance (short rides; clocks that hardly drift), nothing in the lags can tell.
//!
//! How often straps are seen through stands in `assets/methods.md`.

/// A group of steps that both recorders show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cluster {
    /// Its middle, index into the first series.
    pub at: f64,
    /// The lag of the second series, samples.
    pub lag: f64,
    pub weight: f64,
}

/// How far stairs must be ahead of the line, and what a stair costs: 20 : 1.
const AHEAD: f64 = 2.995_732_273_553_991;
/// How far the line must be ahead of stairs: 200 : 1.
const SURE: f64 = 5.298_317_366_548_036;
/// Turns of a second that a recorder's quartz (within some 100 ppm, common practice, no source) goes
/// through in a second, for both recorders.
const TURNS: f64 = 2e-4;
/// Stairs looked for at most: more take a drift that shows itself.
const MOST_STAIRS: usize = 12;
/// A slope of the lags that differs from the clocks' by so many standard uncertainties is another's.
pub(super) const DRIFT_Z: f64 = 3.0;

/// What the lags show of how the strap sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Timer {
    /// Stairs of whole numbers describe the lags better than the clocks' line.
    Second,
    /// The lags drift otherwise than the clocks.
    Drift,
    /// Whole numbers describe the lags about as well as the clocks' line.
    Whole,
    /// The lags of neighbours agree too well: stairs of some height.
    Stairs,
}

impl Timer {
    /// 95 % half-width of an offset from such a strap, s: of a triangular error of ± its period,
    /// which is `1 − √0.05` of it. A period that leaves lags between whole numbers is half a second at
    /// most, as it divides a second.
    pub fn half_s(self) -> f64 {
        match self {
            Timer::Second | Timer::Drift | Timer::Whole => 0.776,
            Timer::Stairs => 0.388,
        }
    }

    /// Whether the strap may send once a second.
    pub fn of_a_second(self) -> bool {
        self != Timer::Stairs
    }

    /// Whether that is evidence of such a strap, not only want of evidence against it.
    pub fn shown(self) -> bool {
        matches!(self, Timer::Second | Timer::Drift)
    }

    /// The doubt in words.
    pub fn doubt(self) -> String {
        let half_s = self.half_s();
        match self {
            Timer::Second => format!(
                "heart rate comes whole numbers of seconds later: the strap sends once a second, and the \
                 fraction of a second cannot be told (up to {half_s:.1} s)"
            ),
            Timer::Whole => format!(
                "heart rate comes a whole number of seconds later: the recorders' samples fall together, or \
                 the strap sends once a second and the fraction cannot be told (up to {half_s:.1} s)"
            ),
            Timer::Drift => format!(
                "heart rate drifts otherwise than the clocks: a strap that sends once a second looks like \
                 this, and the fraction of a second cannot be told (up to {half_s:.1} s)"
            ),
            Timer::Stairs => format!(
                "the delay of heart rate moves in stairs: a strap that sends on a timer looks like this, and \
                 part of a second cannot be told (up to {half_s:.1} s)"
            ),
        }
    }
}

/// What lags show that have weighted squares `line_left` about the clocks' line, and `drifts` where their
/// slope is another.
pub(super) fn timer_of(clusters: &[Cluster], line_left: f64, drifts: bool) -> Option<Timer> {
    let ahead = line_ahead(clusters, line_left);
    if ahead < -AHEAD {
        Some(Timer::Second)
    } else if drifts {
        Some(Timer::Drift)
    } else {
        (ahead < SURE).then_some(Timer::Whole)
    }
}

/// By how much of log likelihood the line is ahead of stairs of whole numbers.
fn line_ahead(clusters: &[Cluster], line_left: f64) -> f64 {
    let half = 0.5 * clusters.len() as f64;
    let stairs = (0..).zip(left_by_stairs(clusters));
    let ahead = stairs.map(|(stairs, left)| {
        half * ((left + 1.0) / (line_left + 1.0)).ln() + f64::from(stairs) * AHEAD
    });
    ahead.fold(f64::INFINITY, f64::min)
}

/// The least weighted squares that 0, 1, 2 ... stairs leave, each one second up or down between whole
/// numbers. Nothing where the lags go through more seconds than stairs are looked for.
fn left_by_stairs(clusters: &[Cluster]) -> Vec<f64> {
    let ends = clusters
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), c| {
            (low.min(c.lag.floor()), high.max(c.lag.ceil()))
        });
    let (Some(first), Some(last)) = (clusters.first(), clusters.last()) else {
        return Vec::new();
    };
    let levels = (ends.1 - ends.0) as usize + 1;
    let stairs = MOST_STAIRS.min(2 + (TURNS * (last.at - first.at)) as usize);
    if levels > MOST_STAIRS + 2 {
        return Vec::new();
    }
    let mut left = vec![vec![f64::INFINITY; levels]; stairs + 1];
    left[0].fill(0.0);
    for c in clusters {
        // From most stairs to fewest: each takes the row before it as it was at the last cluster.
        for j in (0..=stairs).rev() {
            let stepped = |level: usize| {
                let before = j.checked_sub(1).and_then(|j| left.get(j));
                let around = level.saturating_sub(1)..=level + 1;
                let reached = around.filter_map(|from| before?.get(from));
                reached.fold(f64::INFINITY, |least, left| least.min(*left))
            };
            let row: Vec<f64> = (0..levels)
                .map(|level| {
                    let off = c.lag - (ends.0 + level as f64);
                    left[j][level].min(stepped(level)) + c.weight * off * off
                })
                .collect();
            left[j] = row;
        }
    }
    left.into_iter()
        .map(|row| row.into_iter().fold(f64::INFINITY, f64::min))
        .collect()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    /// How many of 200 rides of so many clusters, 20 s apart, look whole; `lag` draws one.
    fn whole(clusters: usize, lag: impl Fn(f64, &mut ChaCha8Rng) -> f64) -> usize {
        let looks = |seed: &u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(*seed);
            let clusters: Vec<Cluster> = (0..clusters)
                .map(|i| {
                    let at = 20.0 * i as f64;
                    let lag = lag(at, &mut rng);
                    Cluster {
                        at,
                        lag,
                        weight: 1.0,
                    }
                })
                .collect();
            let mean = clusters.iter().map(|c| c.lag).sum::<f64>() / clusters.len() as f64;
            let left = clusters.iter().map(|c| (c.lag - mean).powi(2)).sum();
            timer_of(&clusters, left, false).is_some()
        };
        (0..200).filter(looks).count()
    }

    /// A tenth of the messages lost at either recorder: lags are 3 s, sometimes one less or more.
    #[test]
    fn a_timer_of_a_second_is_seen_through_lost_messages() {
        for clusters in [30, 100, 300] {
            let found = whole(clusters, |_, rng| {
                3.0 + f64::from(rng.random_bool(0.1)) - f64::from(rng.random_bool(0.1))
            });
            assert!(found >= 196, "{clusters}: {found}");
        }
    }

    /// The moment of sending passes the turn of a second once, and back.
    #[test]
    fn stairs_of_whole_numbers_are_seen() {
        let found = whole(90, |at, rng| {
            let level = if (600.0..1200.0).contains(&at) {
                4.0
            } else {
                3.0
            };
            level + f64::from(rng.random_bool(0.1)) - f64::from(rng.random_bool(0.1))
        });
        assert_eq!(found, 200);
    }

    /// By the formula a fraction is told from none from `f = 11/N` on without stairs; as stairs may take
    /// late neighbours together, here at twice to four times that.
    #[test]
    fn a_fraction_of_a_second_is_no_timer() {
        for (clusters, f) in [(60, 0.4), (40, 0.5), (100, 0.3), (100, 0.7), (300, 0.15)] {
            let found = whole(clusters, |_, rng| 3.0 + f64::from(rng.random_bool(f)));
            assert!(found <= 20, "{clusters} {f}: {found}");
        }
        let found = whole(100, |_, _| 3.0);
        assert_eq!(found, 200, "a shift that is whole leaves its fraction open");
    }

    #[test]
    fn nothing_is_whole_where_there_is_nothing() {
        assert_eq!(timer_of(&[], 0.0, false), None);
    }
}
