//! The search behind [`super::suggestions`].

use std::ops::Range;

use super::evidence::Evidence;
use super::suggestion::{Basis, Suggestion, overlap_share};
use crate::analysis::kinds::gear_change::ratio_changes;
use crate::session::{Kind, Segment};
use crate::stats::change_points::{Piece, pieces, slow_noise_w};
use crate::stats::median_of;
use crate::text::machine_number;
use crate::timeline::Span;

/// Nobody pedals up to this, W.
const IDLE_W: f64 = 10.0;
/// Shortest coast, s.
const COAST_S: f64 = 8.0;
/// An effort rises above the median around it by this factor …
const EFFORT_FACTOR: f64 = 1.6;
/// … and by this much, W.
const EFFORT_W: f64 = 150.0;
/// Reach of that median to either side, s.
const AROUND_S: f64 = 60.0;
/// Lengths of an effort, s.
const EFFORT_S: Range<f64> = 3.0..30.0;
/// What is suggested before an effort, s.
const EFFORT_LEAD_S: f64 = 10.0;
/// What is suggested after it, s: the source has to come down again.
const EFFORT_TAIL_S: f64 = 20.0;
/// Shortest plateau of a grade, s: the first seconds tell nothing of the force.
const GRADE_PLATEAU_S: f64 = 40.0;
/// A grade this near to the one before is the same, percentage points.
const SAME_GRADE: f64 = 0.05;
/// Plateaus of a grade with no more than this between them belong together, s.
const GRADE_GAP_S: f64 = 10.0;
/// Longest lap that is taken for a sprint's own, s.
const SPRINT_LAP_S: f64 = 90.0;
/// Shortest plateau that counts as one, s.
const PLATEAU_S: f64 = 12.0;
/// Shortest steady block, s.
const STEADY_S: f64 = 90.0;
/// Shortest heat soak, s.
const SOAK_S: f64 = 900.0;
/// Left out at the start of a plateau, s: a controlled trainer takes 3 to 5 s to settle.
pub const SETTLE_S: f64 = 10.0;
/// Gear changes nearer than this to an end of a plateau belong to the change of power, s.
const GEAR_MARGIN_S: f64 = 15.0;
/// Largest ratio of lengths among the steps of a ramp.
const LIKE_LENGTHS: f64 = 1.6;
/// Lengths of a lap that may be a ramp of steps, s.
const STEPPED_LAP_S: Range<f64> = 60.0..900.0;
/// Fewest steps of a ramp.
const FEWEST_STEPS: usize = 3;
/// Least change of level of a straight ramp, W.
const RAMP_W: f64 = 40.0;
/// Shortest straight ramp, s.
const RAMP_S: f64 = 30.0;
/// Least rate of a straight ramp, W/s: slower ones are warm-ups.
const RAMP_W_PER_S: f64 = 0.2;

/// Largest scatter about a straight ramp, share of its change of level.
const RAMP_SCATTER: f64 = 0.12;
/// A straight change this near to an end of the ride is a warm-up or a cool-down, s.
const RIDE_END_S: f64 = 60.0;
/// Slower changes are a rider's wander, W/s.
const FLAT_W_PER_S: f64 = 0.1;
/// Plateaus are at the same level within this share …
const SAME_SHARE: f64 = 0.06;
/// … or this much, W.
const SAME_W: f64 = 12.0;
/// A workout step was held within this share …
const HELD_SHARE: f64 = 0.1;
/// … or this much, W.
const HELD_W: f64 = 15.0;

pub(super) fn all(evidence: &Evidence) -> Vec<Suggestion> {
    let search = Search {
        evidence,
        slow_noise_w: slow_noise_w(&evidence.power, evidence.grid.step_s),
    };
    let coasts = search.coasts();
    let efforts = search.efforts(&coasts);
    let slopes = search.slopes();
    let mut out: Vec<Suggestion> = coasts.iter().map(|rows| search.coast(rows)).collect();
    out.extend(slopes.iter().map(|(_, slope)| slope.clone()));
    out.extend(efforts.iter().map(|rows| search.sprint(rows)));
    let steps = search.workout_steps(coasts.iter().chain(&efforts));
    let staged = steps.iter().chain(&slopes).map(|(rows, _)| rows.clone());
    let staged: Vec<Range<usize>> = staged.collect();
    for stretch in search.between(coasts.iter().chain(&efforts).chain(&staged)) {
        search.plateaus_and_ramps(stretch, &mut out);
    }
    out.extend(steps.into_iter().map(|(_, step)| step));
    out.sort_by(|a, b| a.segment.from_s.total_cmp(&b.segment.from_s));
    out
}

/// A stretch at one level.
#[derive(Clone, Debug)]
struct Plateau {
    rows: Range<usize>,
    level_w: f64,
}

struct Search<'a> {
    evidence: &'a Evidence,
    /// Wander of the power over the ride, W.
    slow_noise_w: f64,
}

impl Search<'_> {
    fn rows_of(&self, seconds: f64) -> usize {
        (seconds / self.evidence.grid.step_s).round() as usize
    }

    fn seconds(&self, rows: &Range<usize>) -> f64 {
        rows.len() as f64 * self.evidence.grid.step_s
    }

    fn span(&self, rows: &Range<usize>) -> Span {
        let grid = self.evidence.grid;
        Span::new(grid.time_s(rows.start), grid.time_s(rows.end))
    }

    fn power(&self, row: usize) -> f64 {
        self.evidence.power.get(row).copied().unwrap_or(f64::NAN)
    }

    /// Runs of rows that satisfy `belongs`; gaps of up to `join` rows are part of a run.
    fn runs(&self, join: usize, belongs: impl Fn(usize) -> bool) -> Vec<Range<usize>> {
        let mut out: Vec<Range<usize>> = Vec::new();
        for row in (0..self.evidence.power.len()).filter(|&row| belongs(row)) {
            match out.last_mut() {
                Some(last) if row - last.end <= join => last.end = row + 1,
                _ => out.push(row..row + 1),
            }
        }
        out
    }

    /// From the first to the last row with pedalling.
    fn pedalled(&self) -> Range<usize> {
        let pedals = |row: &usize| self.power(*row) > IDLE_W;
        let rows = self.evidence.power.len();
        let first = (0..rows).find(pedals).unwrap_or(rows);
        first..(0..rows).rev().find(pedals).map_or(first, |last| last + 1)
    }

    /// Stretches in which nobody pedals, but for those before the first and after the last stroke.
    fn coasts(&self) -> Vec<Range<usize>> {
        let pedalled = self.pedalled();
        let turning = |row: usize| {
            let cadence = self.evidence.cadence.as_ref();
            cadence.and_then(|column| column.get(row).copied())
        };
        let idle = |row: usize| {
            let power = self.power(row);
            power <= IDLE_W || (power.is_nan() && turning(row) == Some(0.0))
        };
        self.runs(2, idle)
            .into_iter()
            .filter(|run| {
                run.start > pedalled.start && run.end < pedalled.end && self.seconds(run) >= COAST_S
            })
            .collect()
    }

    fn coast(&self, rows: &Range<usize>) -> Suggestion {
        let reason = format!("nobody pedals for {:.0} s", self.seconds(rows));
        self.suggestion(Kind::Coast, rows.clone(), None, reason, Basis::ChangePoints)
    }

    /// Stretches in which the grade asked for goes through three plateaus or more.
    fn slopes(&self) -> Vec<(Range<usize>, Suggestion)> {
        let Some(grade) = &self.evidence.grade else {
            return Vec::new();
        };
        let rows: Vec<usize> = (0..grade.len())
            .filter(|row| grade[*row].is_finite())
            .collect();
        let same = |a: &usize, b: &usize| *b == a + 1 && (grade[*a] - grade[*b]).abs() < SAME_GRADE;
        let plateaus: Vec<&[usize]> = rows
            .chunk_by(same)
            .filter(|run| self.seconds(&(0..run.len())) >= GRADE_PLATEAU_S)
            .collect();
        let gap = self.rows_of(GRADE_GAP_S);
        plateaus
            .chunk_by(|a, b| b[0] - a[a.len() - 1] <= gap)
            .filter(|run| run.len() >= FEWEST_STEPS)
            .filter_map(|run| {
                let rows = *run.first()?.first()?..*run.last()?.last()? + 1;
                let levels: Vec<String> = run.iter().map(|p| machine_number(grade[p[0]])).collect();
                let reason = format!(
                    "{} plateaus of the grade: {} %",
                    run.len(),
                    levels.join(", ")
                );
                let slope = self.suggestion(Kind::Slope, rows.clone(), None, reason, Basis::Grade);
                Some((rows, slope))
            })
            .collect()
    }

    /// Median power around every row, refreshed each 10 s.
    fn around(&self) -> Vec<f64> {
        let (reach, refresh) = (self.rows_of(AROUND_S), self.rows_of(10.0).max(1));
        let rows = self.evidence.power.len();
        let mut out = Vec::with_capacity(rows);
        for from in (0..rows).step_by(refresh) {
            let middle = from + refresh / 2;
            let near = middle.saturating_sub(reach)..(middle + reach).min(rows);
            let values: Vec<f64> = near
                .map(|r| self.power(r))
                .filter(|v| *v > IDLE_W)
                .collect();
            let median = median_of(values).unwrap_or(f64::NAN);
            out.extend(std::iter::repeat_n(median, refresh.min(rows - from)));
        }
        out
    }

    /// Short efforts that stand out of what is ridden around them.
    fn efforts(&self, coasts: &[Range<usize>]) -> Vec<Range<usize>> {
        let around = self.around();
        let stands_out = |row: usize| {
            let level = around[row];
            self.power(row) > (EFFORT_FACTOR * level).max(level + EFFORT_W)
        };
        self.runs(2, stands_out)
            .into_iter()
            .filter(|run| EFFORT_S.contains(&self.seconds(run)))
            .filter(|run| {
                coasts
                    .iter()
                    .all(|c| c.end <= run.start || run.end <= c.start)
            })
            .collect()
    }

    fn sprint(&self, effort: &Range<usize>) -> Suggestion {
        let peak = effort
            .clone()
            .map(|row| self.power(row))
            .fold(0.0, f64::max);
        let seconds = self.seconds(effort);
        let lap = self.evidence.laps.iter().enumerate().find(|(_, lap)| {
            let inside = lap.overlap(self.span(effort)).map_or(0.0, Span::duration_s);
            lap.duration_s() <= SPRINT_LAP_S && inside >= 0.9 * seconds
        });
        if let Some((index, lap)) = lap {
            let reason = format!(
                "lap {} holds an effort of {seconds:.0} s to {peak:.0} W",
                index + 1
            );
            let rows = self.evidence.grid.rows(*lap);
            return self.suggestion(Kind::Sprint, rows, None, reason, Basis::Lap);
        }
        let from = effort.start.saturating_sub(self.rows_of(EFFORT_LEAD_S));
        let to = effort.end + self.rows_of(EFFORT_TAIL_S);
        let reason = format!("an effort of {seconds:.0} s to {peak:.0} W");
        let rows = from..to.min(self.evidence.power.len());
        self.suggestion(Kind::Sprint, rows, None, reason, Basis::ChangePoints)
    }

    /// What lies between the given stretches.
    fn between<'r>(&self, busy: impl Iterator<Item = &'r Range<usize>>) -> Vec<Range<usize>> {
        let mut busy: Vec<&Range<usize>> = busy.collect();
        busy.sort_by_key(|rows| rows.start);
        let mut out = Vec::new();
        let mut from = 0;
        for rows in busy {
            if rows.start > from {
                out.push(from..rows.start);
            }
            from = from.max(rows.end);
        }
        if from < self.evidence.power.len() {
            out.push(from..self.evidence.power.len());
        }
        out
    }

    fn plateaus_and_ramps(&self, stretch: Range<usize>, out: &mut Vec<Suggestion>) {
        let step_s = self.evidence.grid.step_s;
        let Some(column) = self.evidence.power.get(stretch.clone()) else {
            return;
        };
        let found: Vec<Piece> = pieces(column, step_s, self.slow_noise_w)
            .into_iter()
            .map(|piece| Piece {
                rows: piece.rows.start + stretch.start..piece.rows.end + stretch.start,
                ..piece
            })
            .collect();
        let plateaus = self.plateaus(&found);
        let laps = self.stepped_laps(&stretch, &found);
        let staircases = if laps.is_empty() {
            self.staircases(&plateaus)
        } else {
            Vec::new()
        };
        for plateau in &plateaus {
            if self.seconds(&plateau.rows) >= STEADY_S {
                out.push(self.steady(plateau));
            }
        }
        out.extend(staircases.iter().map(|steps| self.staircase(steps)));
        out.extend(laps);
        for ramp in self.straight_ramps(&found) {
            let taken = out.iter().any(|other| {
                let other = Span::new(other.segment.from_s, other.segment.to_s);
                let span = Span::new(ramp.segment.from_s, ramp.segment.to_s);
                let shared = other.overlap(span).map_or(0.0, Span::duration_s);
                shared > 0.3 * span.duration_s()
            });
            if !taken {
                out.push(ramp);
            }
        }
    }

    /// How far a flat stretch may seem to rise by wander alone, W: two standard errors of the rise of a
    /// line through its 10 s means, and 12 W at least.
    fn chance_rise_w(&self, rows: &Range<usize>) -> f64 {
        let means = (self.seconds(rows) / 10.0).max(1.0);
        (2.0 * self.slow_noise_w * (12.0 / means).sqrt()).max(12.0)
    }

    /// Flat pieces, those at the same level joined.
    fn plateaus(&self, found: &[Piece]) -> Vec<Plateau> {
        let mut out: Vec<Plateau> = Vec::new();
        for piece in found {
            let level_w = piece.level_w();
            let slope = piece.rise_w() / self.seconds(&piece.rows).max(1.0);
            let flat = piece.rise_w().abs()
                <= (0.08 * level_w).max(self.chance_rise_w(&piece.rows))
                || slope.abs() <= FLAT_W_PER_S;
            if !flat || level_w <= IDLE_W {
                continue;
            }
            let near = |last: &Plateau| {
                let gap = self.seconds(&(last.rows.end..piece.rows.start.max(last.rows.end)));
                gap < PLATEAU_S
                    && (last.level_w - level_w).abs() <= (SAME_SHARE * level_w).max(SAME_W)
            };
            match out.last_mut().filter(|last| near(last)) {
                Some(last) => {
                    let (a, b) = (last.rows.len() as f64, piece.rows.len() as f64);
                    last.level_w = (a * last.level_w + b * level_w) / (a + b);
                    last.rows.end = piece.rows.end;
                }
                None => out.push(Plateau {
                    rows: piece.rows.clone(),
                    level_w,
                }),
            }
        }
        out.retain(|plateau| self.seconds(&plateau.rows) >= PLATEAU_S);
        out
    }

    fn median_w(&self, rows: &Range<usize>) -> Option<f64> {
        let values = rows.clone().map(|row| self.power(row));
        median_of(values.filter(|v| v.is_finite()).collect())
    }

    fn steady(&self, plateau: &Plateau) -> Suggestion {
        let rows = plateau.rows.start + self.rows_of(SETTLE_S)..plateau.rows.end;
        let level_w = self.median_w(&rows).unwrap_or(plateau.level_w);
        let power = format!("steady at {level_w:.0} W");
        self.at_one_level(rows, None, power, Basis::ChangePoints)
    }

    /// A long stretch at one level: a steady block, a heat soak, or gear changes.
    fn at_one_level(
        &self,
        rows: Range<usize>,
        set_point_w: Option<f64>,
        power: String,
        basis: Basis,
    ) -> Suggestion {
        let (changes, noted) = self.gear_changes(&rows);
        let mut reason = format!("{power} for {:.0} s", self.seconds(&rows));
        if changes.is_empty() {
            let long = self.seconds(&rows) >= SOAK_S;
            let kind = if long {
                Kind::HeatSoak
            } else {
                Kind::SteadyBlock
            };
            return self.suggestion(kind, rows, set_point_w, reason, basis);
        }
        let many = if changes.len() == 1 {
            "change"
        } else {
            "changes"
        };
        let by = if noted {
            "noted by a recorder"
        } else {
            "by wheel speed over the references' cadence"
        };
        reason += &format!(", with {} gear {many} {by}", changes.len());
        let basis = if noted { Basis::GearEvents } else { basis };
        self.suggestion(Kind::GearChange, rows, set_point_w, reason, basis)
    }

    /// Rows of the gear changes inside a plateau, and whether a recorder noted them.
    fn gear_changes(&self, rows: &Range<usize>) -> (Vec<usize>, bool) {
        let margin = self.rows_of(GEAR_MARGIN_S);
        let inner = rows.start + margin..rows.end.saturating_sub(margin);
        let grid = self.evidence.grid;
        if !self.evidence.gear_changes_s.is_empty() {
            let noted = self.evidence.gear_changes_s.iter();
            let at = noted.map(|at_s| grid.nearest_row(*at_s));
            return (at.filter(|row| inner.contains(row)).collect(), true);
        }
        let columns = self
            .evidence
            .speed
            .as_ref()
            .zip(self.evidence.cadence.as_ref());
        let changes = columns.and_then(|(speed, cadence)| {
            let (speed, cadence) = (speed.get(rows.clone())?, cadence.get(rows.clone())?);
            Some(ratio_changes(speed, cadence, grid.step_s))
        });
        let at = changes.unwrap_or_default().into_iter();
        let at = at.map(|row| row + rows.start);
        (at.filter(|row| inner.contains(row)).collect(), false)
    }

    /// Runs of plateaus of like length, each shorter than a steady block; one step that the rider did
    /// not hold may be missing between two.
    fn staircases<'p>(&self, plateaus: &'p [Plateau]) -> Vec<&'p [Plateau]> {
        let belong = |a: &Plateau, b: &Plateau| {
            let (short, long) = (self.seconds(&a.rows), self.seconds(&b.rows));
            let gap = self.seconds(&(a.rows.end..b.rows.start.max(a.rows.end)));
            short.max(long) < STEADY_S
                && gap < PLATEAU_S.max(LIKE_LENGTHS * short.min(long))
                && short.max(long) <= LIKE_LENGTHS * short.min(long)
        };
        plateaus
            .chunk_by(belong)
            .filter(|steps| steps.len() >= FEWEST_STEPS)
            .collect()
    }

    fn staircase(&self, steps: &[Plateau]) -> Suggestion {
        let from = steps.first().map_or(0, |step| step.rows.start);
        let to = steps.last().map_or(0, |step| step.rows.end);
        let levels: Vec<String> = steps
            .iter()
            .map(|step| format!("{:.0}", step.level_w))
            .collect();
        let reason = format!("{} steps: {} W", steps.len(), levels.join(", "));
        self.suggestion(Kind::Ramp, from..to, None, reason, Basis::ChangePoints)
    }

    /// Laps inside a stretch in which the power goes through three levels or more, none of which
    /// fills half of the lap.
    fn stepped_laps(&self, stretch: &Range<usize>, found: &[Piece]) -> Vec<Suggestion> {
        let laps = self.evidence.laps.iter().enumerate();
        laps.filter_map(|(index, lap)| {
            let rows = self.evidence.grid.rows(*lap);
            let margin = self.rows_of(GEAR_MARGIN_S);
            let inside = rows.start + margin >= stretch.start
                && rows.end <= stretch.end + margin
                && STEPPED_LAP_S.contains(&self.seconds(&rows));
            let parts: Vec<(f64, &Piece)> = found
                .iter()
                .map(|piece| {
                    let from = piece.rows.start.max(rows.start);
                    (
                        self.seconds(&(from..piece.rows.end.min(rows.end).max(from))),
                        piece,
                    )
                })
                .filter(|(seconds, _)| *seconds >= PLATEAU_S)
                .collect();
            let longest = parts.iter().map(|part| part.0).fold(0.0, f64::max);
            let levels = parts
                .iter()
                .flat_map(|(_, piece)| [piece.first_w, piece.last_w]);
            let (low, high) = levels.fold((f64::INFINITY, 0.0_f64), |(low, high), level| {
                (low.min(level), high.max(level))
            });
            let stepped = parts.len() >= FEWEST_STEPS
                && longest < 0.5 * self.seconds(&rows)
                && high - low >= RAMP_W;
            (inside && stepped).then(|| {
                let reason = format!(
                    "lap {} goes through {} levels from {low:.0} to {high:.0} W",
                    index + 1,
                    parts.len()
                );
                self.suggestion(Kind::Ramp, rows, None, reason, Basis::Lap)
            })
        })
        .collect()
    }

    /// Straight rises and falls; neighbours in the same direction are one.
    fn straight_ramps(&self, found: &[Piece]) -> Vec<Suggestion> {
        let slope = |piece: &Piece| piece.rise_w() / self.seconds(&piece.rows);
        let pedalled = self.pedalled();
        let steep: Vec<&Piece> = found
            .iter()
            .filter(|piece| slope(piece).abs() >= RAMP_W_PER_S)
            .filter(|piece| self.seconds(&piece.rows) >= PLATEAU_S)
            .collect();
        steep
            .chunk_by(|a, b| b.rows.start == a.rows.end && slope(a) * slope(b) > 0.0)
            .filter_map(|group| {
                let (first, last) = (group.first()?, group.last()?);
                let rows = first.rows.start..last.rows.end;
                let rise_w = last.last_w - first.first_w;
                let end = self.rows_of(RIDE_END_S);
                let inside = rows.start >= pedalled.start + end && rows.end + end <= pedalled.end;
                let long = rise_w.abs() >= RAMP_W && self.seconds(&rows) >= RAMP_S;
                let straight = self.scatter_w(&rows, first.first_w, last.last_w)
                    <= RAMP_SCATTER * rise_w.abs();
                (inside && long && straight).then(|| {
                    let reason = format!(
                        "a straight change from {:.0} to {:.0} W in {:.0} s",
                        first.first_w,
                        last.last_w,
                        self.seconds(&rows)
                    );
                    self.suggestion(Kind::Ramp, rows, None, reason, Basis::ChangePoints)
                })
            })
            .collect()
    }

    /// Root mean square distance from the line between two levels, W.
    fn scatter_w(&self, rows: &Range<usize>, from_w: f64, to_w: f64) -> f64 {
        let length = rows.len().max(2) as f64 - 1.0;
        let distances = rows.clone().enumerate().filter_map(|(index, row)| {
            let line = from_w + (to_w - from_w) * index as f64 / length;
            let distance = self.power(row) - line;
            distance.is_finite().then_some(distance * distance)
        });
        let (sum, count) = distances.fold((0.0, 0.0), |(sum, count), d| (sum + d, count + 1.0));
        (sum / f64::max(count, 1.0)).sqrt()
    }

    /// Long workout steps free of coasts and efforts, with the rows they take up.
    fn workout_steps<'r>(
        &self,
        busy: impl Iterator<Item = &'r Range<usize>>,
    ) -> Vec<(Range<usize>, Suggestion)> {
        let busy: Vec<&Range<usize>> = busy.collect();
        let steps = self.evidence.set_points.iter();
        steps
            .filter_map(|(step, watts)| {
                let whole = self.evidence.grid.rows(*step);
                let rows = (whole.start + self.rows_of(SETTLE_S)).min(whole.end)..whole.end;
                let free = busy
                    .iter()
                    .all(|other| other.end <= rows.start || rows.end <= other.start);
                let median = self.median_w(&rows)?;
                let held = (median - watts).abs() <= (HELD_SHARE * watts).max(HELD_W);
                if !free || self.seconds(&rows) < STEADY_S {
                    return None;
                }
                let power = if held {
                    format!("the workout asked for {watts:.0} W")
                } else {
                    format!("the workout asked for {watts:.0} W, the references show {median:.0} W")
                };
                let suggestion = self.at_one_level(rows, Some(*watts), power, Basis::Workout);
                Some((whole, suggestion))
            })
            .collect()
    }

    fn suggestion(
        &self,
        kind: Kind,
        rows: Range<usize>,
        set_point_w: Option<f64>,
        reason: String,
        basis: Basis,
    ) -> Suggestion {
        let span = self.span(&rows);
        let laps = self.evidence.laps.iter().enumerate();
        let lap = laps
            .filter(|(_, lap)| overlap_share(**lap, span) >= 0.8 && basis != Basis::Lap)
            .map(|(index, _)| format!("; lap {}", index + 1))
            .next();
        Suggestion {
            segment: Segment {
                kind,
                from_s: span.from_s,
                to_s: span.to_s,
                set_point_w,
                note: String::new(),
            },
            reason: reason + &lap.unwrap_or_default(),
            basis,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::suggestions;
    use super::*;
    use crate::timeline::Grid;

    fn noise(i: usize) -> f64 {
        ((i * 7919 + 13) % 13) as f64 - 6.0
    }

    fn evidence(levels: &[(f64, usize)]) -> Evidence {
        let power: Vec<f64> = levels
            .iter()
            .flat_map(|&(level, seconds)| std::iter::repeat_n(level, seconds))
            .enumerate()
            .map(|(i, level)| if level > 0.0 { level + noise(i) } else { 0.0 })
            .collect();
        let grid = Grid {
            start_s: 0.0,
            step_s: 1.0,
            len: power.len(),
        };
        Evidence::bare(grid, power)
    }

    fn shape(found: &[Suggestion]) -> Vec<(Kind, Option<f64>)> {
        let kinds = found
            .iter()
            .map(|p| (p.segment.kind, p.segment.set_point_w));
        kinds.collect()
    }

    #[test]
    fn a_bench_ride_is_read_phase_by_phase() {
        let found = suggestions(&evidence(&[
            (150.0, 180),
            (240.0, 180),
            (0.0, 20),
            (180.0, 30),
            (230.0, 30),
            (180.0, 30),
            (130.0, 30),
            (700.0, 9),
            (120.0, 150),
        ]));
        assert_eq!(
            shape(&found),
            vec![
                (Kind::SteadyBlock, None),
                (Kind::SteadyBlock, None),
                (Kind::Coast, None),
                (Kind::Ramp, None),
                (Kind::Sprint, None),
                (Kind::SteadyBlock, None),
            ],
            "{found:#?}"
        );
        let coast = &found[2].segment;
        assert_eq!((coast.from_s, coast.to_s), (360.0, 380.0));
        let steady = &found[1].segment;
        assert!((steady.from_s - 190.0).abs() <= 3.0 && (steady.to_s - 360.0).abs() <= 3.0);
        assert!(found.iter().all(|suggestion| !suggestion.reason.is_empty()));
    }

    #[test]
    fn a_step_that_was_not_held_does_not_break_the_staircase() {
        let mut ride = evidence(&[
            (110.0, 120),
            (180.0, 30),
            (240.0, 30),
            (180.0, 30),
            (120.0, 30),
            (180.0, 30),
            (260.0, 30),
            (110.0, 120),
        ]);
        // The rider drifts through the third step instead of holding it.
        for (i, value) in ride.power[180..210].iter_mut().enumerate() {
            *value = 230.0 - 3.5 * i as f64;
        }
        let found = suggestions(&ride);
        let ramps: Vec<&Segment> = found
            .iter()
            .map(|p| &p.segment)
            .filter(|s| s.kind == Kind::Ramp)
            .collect();
        assert_eq!(ramps.len(), 1, "{found:#?}");
        assert!((ramps[0].from_s - 120.0).abs() <= 5.0, "{ramps:?}");
        assert!((ramps[0].to_s - 300.0).abs() <= 5.0, "{ramps:?}");
    }

    #[test]
    fn gear_events_make_a_ladder_and_length_makes_a_soak() {
        let mut ride = evidence(&[(200.0, 240), (100.0, 200), (220.0, 1200), (100.0, 60)]);
        ride.gear_changes_s = vec![60.0, 120.0, 180.0, 240.0, 441.0];
        let found = suggestions(&ride);
        assert_eq!(
            shape(&found),
            vec![
                (Kind::GearChange, None),
                (Kind::SteadyBlock, None),
                (Kind::HeatSoak, None),
            ]
        );
        assert!(
            found[0].reason.contains("3 gear changes noted"),
            "{}",
            found[0].reason
        );
        assert_eq!(found[0].basis, Basis::GearEvents);
    }

    #[test]
    fn gear_changes_show_in_speed_over_cadence() {
        let mut ride = evidence(&[(200.0, 240), (100.0, 60)]);
        ride.cadence = Some((0..300).map(|i| 90.0 + (noise(i) / 6.0).round()).collect());
        ride.speed = Some(
            (0..300)
                .map(|i| [7.0, 8.0][usize::from(i >= 120)])
                .collect(),
        );
        let found = suggestions(&ride);
        assert_eq!(found[0].segment.kind, Kind::GearChange);
        assert!(
            found[0]
                .reason
                .contains("wheel speed over the references' cadence")
        );
    }

    #[test]
    fn plateaus_of_the_grade_are_a_slope_and_no_steady_blocks() {
        let mut ride = evidence(&[(150.0, 200), (120.0, 100), (180.0, 100), (240.0, 100)]);
        let mut grade = vec![f64::NAN; 200];
        for percent in [0.0, 2.5, 4.0] {
            grade.extend([percent; 100]);
        }
        ride.grade = Some(grade);
        let found = suggestions(&ride);
        let kinds: Vec<Kind> = found.iter().map(|p| p.segment.kind).collect();
        assert_eq!(kinds, [Kind::SteadyBlock, Kind::Slope], "{found:#?}");
        let slope = &found[1];
        assert_eq!((slope.segment.from_s, slope.segment.to_s), (200.0, 500.0));
        assert_eq!(slope.reason, "3 plateaus of the grade: 0, 2.5, 4 %");
        // Two plateaus tell no slope, and neither does a grade that never rests.
        let grade = ride.grade.as_mut().unwrap();
        grade[400..].fill(2.5);
        assert!(
            suggestions(&ride)
                .iter()
                .all(|p| p.segment.kind != Kind::Slope)
        );
        let wild = (0..500).map(|i| f64::from(i / 20));
        ride.grade = Some(wild.collect());
        assert!(
            suggestions(&ride)
                .iter()
                .all(|p| p.segment.kind != Kind::Slope)
        );
    }

    #[test]
    fn a_workout_names_the_set_point_and_stands_in_where_it_was_not_held() {
        let mut ride = evidence(&[(238.0, 200), (100.0, 60)]);
        for (i, value) in ride.power.iter_mut().enumerate().skip(200) {
            *value += 60.0 * (i as f64 / 7.0).sin();
        }
        let wild: Vec<f64> = (0..240)
            .map(|i| 200.0 + 40.0 * f64::from((i / 4) % 3 - 1) + noise(i as usize))
            .collect();
        ride.power.extend(wild);
        ride.grid.len = ride.power.len();
        ride.set_points = vec![
            (Span::new(0.0, 200.0), 240.0),
            (Span::new(260.0, 500.0), 150.0),
        ];
        let found = suggestions(&ride);
        assert_eq!(found[0].segment.set_point_w, Some(240.0));
        assert_eq!(found[0].basis, Basis::Workout);
        let last = found.last().unwrap();
        assert_eq!(last.segment.set_point_w, Some(150.0), "{found:#?}");
        assert!(
            last.reason.contains("the references show"),
            "{}",
            last.reason
        );
    }

    #[test]
    fn a_lap_gives_a_sprint_its_edges() {
        let mut ride = evidence(&[(130.0, 200), (650.0, 10), (130.0, 200)]);
        ride.laps = vec![
            Span::new(0.0, 180.0),
            Span::new(180.0, 230.0),
            Span::new(230.0, 410.0),
        ];
        let found = suggestions(&ride);
        let sprint = found
            .iter()
            .find(|p| p.segment.kind == Kind::Sprint)
            .unwrap();
        assert_eq!((sprint.segment.from_s, sprint.segment.to_s), (180.0, 230.0));
        assert_eq!(
            (sprint.basis, sprint.reason.starts_with("lap 2")),
            (Basis::Lap, true)
        );
    }

    #[test]
    fn empty_silent_and_idle_rides_propose_nothing() {
        assert_eq!(suggestions(&evidence(&[])), vec![]);
        assert_eq!(suggestions(&evidence(&[(0.0, 300)])), vec![]);
        assert_eq!(suggestions(&evidence(&[(200.0, 1)])), vec![]);
        let mut silent = evidence(&[(200.0, 300)]);
        silent.power.fill(f64::NAN);
        assert_eq!(suggestions(&silent), vec![]);
    }
}
