//! The aligned ride: every stream on the common grid, with what makes windows and pictures cheap.

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use super::grid::{NO_SAMPLE, gather};
use super::sums::to_whole_strides;
use super::{
    Clock, ColumnSums, ColumnTotals, Envelope, Extent, Grid, PairSums, PairTotals, Span, Stretches,
};
use crate::recording::{Channel, PerChannel, Samples, Sampling};
use crate::session::{OpenedSession, Role, Source, Stream};

/// Spacing of the common grid, s.
pub const GRID_STEP_S: f64 = 1.0;

/// A series that takes part in comparisons: a stream by its index, or the references' mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Member {
    /// The stream at this place of the session.
    Stream(usize),
    /// The mean of the references where they agree.
    Consensus,
}

/// Everything derived from the recordings and the clocks. Immutable: build a new one when a clock
/// or a role changes ([`Aligned::rebuilt`] reuses what does not depend on clocks).
#[derive(Clone, Debug)]
pub struct Aligned {
    /// The common grid.
    pub grid: Grid,
    /// One entry a stream of the session, in the same order; empty tracks for unread recordings.
    pub tracks: Vec<Track>,
    consensus: Option<Series>,
    comparisons: Vec<Comparison>,
    reference_pairs: Vec<(usize, usize, PairSums)>,
}

/// A power column on the grid with its constant-time sums.
#[derive(Clone, Debug)]
struct Series {
    column: Vec<f64>,
    sums: ColumnSums,
}

impl Series {
    fn new(column: Vec<f64>) -> Self {
        Self {
            sums: ColumnSums::new(&column),
            column,
        }
    }
}

/// One stream on the time line.
#[derive(Clone, Debug)]
pub struct Track {
    /// Its role.
    pub role: Role,
    /// Its recorder's clock.
    pub clock: Clock,
    source: Source,
    /// What power is divided by ([`Stream::power_scale`](crate::session::Stream::power_scale)).
    power_scale: f64,
    columns: PerChannel<Vec<f64>>,
    /// Running totals of each column, made when they are first asked for.
    sums: [OnceLock<ColumnSums>; Channel::ALL.len()],
    envelopes: Arc<PerChannel<Envelope>>,
}

impl Track {
    /// The grid column of `channel`; `NaN` is missing.
    pub fn column(&self, channel: Channel) -> Option<&[f64]> {
        self.columns.get(channel).map(Vec::as_slice)
    }

    fn sums(&self, channel: Channel) -> Option<(&[f64], &ColumnSums)> {
        let column = self.column(channel)?;
        let sums = self.sums[channel.index()].get_or_init(|| ColumnSums::new(column));
        Some((column, sums))
    }

    /// Mean of `channel` over about these grid rows, for pictures: many rows are rounded to whole
    /// strides of the running totals, which are then all that is read.
    pub fn level(&self, channel: Channel, rows: Range<usize>) -> Option<f64> {
        let (column, sums) = self.sums(channel)?;
        let totals = sums.over(column, to_whole_strides(rows));
        (totals.n > 0).then_some(totals.mean)
    }

    /// The channels present.
    pub fn channels(&self) -> impl Iterator<Item = Channel> {
        self.columns.iter().map(|(channel, _)| channel)
    }

    /// What a value of `channel` as recorded stands for: power is divided by the scale that known
    /// masses gave. Everything that enters a track from a recording passes here.
    fn corrected(&self, channel: Channel, recorded: f64) -> f64 {
        recorded / scale_of(channel, self.power_scale)
    }

    /// One recorded value of `channel`.
    pub fn value(&self, channel: Channel, row: usize) -> Option<f64> {
        let recorded = self.source.samples()?.column(channel)?.get(row)?;
        Some(self.corrected(channel, *recorded))
    }

    /// What was recorded, on the recorder's clock.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// First and last sample in session time; `None` without samples.
    pub fn span(&self) -> Option<Span> {
        span_of(&self.source, self.clock)
    }

    /// Smallest and largest recorded value of `channel` in a stretch of session time; `None`
    /// where nothing was recorded. Costs a binary search and a handful of nodes, whatever the
    /// length of the stretch.
    pub fn extent(&self, channel: Channel, span: Span) -> Option<Extent> {
        let samples = self.source.samples()?;
        let column = samples.column(channel)?;
        let envelope = self.envelopes.get(channel)?;
        let recorded = envelope.extent(column, self.raw_rows(span))?;
        Some(self.corrected_extent(channel, recorded))
    }

    fn corrected_extent(&self, channel: Channel, recorded: Extent) -> Extent {
        Extent {
            min: self.corrected(channel, recorded.min),
            max: self.corrected(channel, recorded.max),
        }
    }

    /// The recorded rows in each of many stretches of session time, each of which starts and ends
    /// no earlier than the one before it: the columns of a picture. The rows of one are looked for
    /// near those of the last.
    pub fn stretches(&self, spans: impl Iterator<Item = Span>) -> Stretches {
        let time_s = self.source.samples().map_or(&[][..], Samples::time_s);
        let row_at = |t_s: f64, near: usize| row_near(time_s, self.clock.to_recorder(t_s), near);
        let (mut start, mut end, mut end_s) = (0, 0, f64::NEG_INFINITY);
        spans
            .map(|span| {
                // As many rows further on as the span before was long, or nearly so.
                let stride = end - start;
                start = if span.from_s == end_s {
                    end
                } else {
                    row_at(span.from_s, start + stride)
                };
                end = row_at(span.to_s, end + stride).max(start);
                end_s = span.to_s;
                start..end
            })
            .collect()
    }

    /// Smallest and largest recorded value of `channel` in each of the stretches of this track;
    /// `None` where the channel was not recorded at all.
    pub fn extents(&self, channel: Channel, stretches: &Stretches) -> Option<Vec<Option<Extent>>> {
        let column = self.source.samples()?.column(channel)?;
        let mut extents = self.envelopes.get(channel)?.extents(column, stretches);
        if scale_of(channel, self.power_scale) != 1.0 {
            for extent in extents.iter_mut().flatten() {
                *extent = self.corrected_extent(channel, *extent);
            }
        }
        Some(extents)
    }

    /// The rows of the recording that lie in a stretch of session time.
    pub fn raw_rows(&self, span: Span) -> Range<usize> {
        let Some(samples) = self.source.samples() else {
            return 0..0;
        };
        let time_s = samples.time_s();
        let from_s = self.clock.to_recorder(span.from_s);
        let to_s = self.clock.to_recorder(span.to_s);
        let start = time_s.partition_point(|t| *t < from_s);
        start..time_s.partition_point(|t| *t < to_s).max(start)
    }
}

/// The first row whose time is not before `t_s`, looked for from `near` outwards.
fn row_near(time_s: &[f64], t_s: f64, near: usize) -> usize {
    let is_before = |row: usize| time_s.get(row).is_some_and(|t| *t < t_s);
    let near = near.min(time_s.len());
    let (mut low, mut high, mut step) = (near, near, 1);
    if is_before(near) {
        while is_before(high) {
            low = high + 1;
            high += step;
            step *= 2;
        }
    } else {
        while low > 0 && !is_before(low - 1) {
            high = low - 1;
            low = low.saturating_sub(step);
            step *= 2;
        }
    }
    let high = high.min(time_s.len());
    low + time_s[low..high].partition_point(|t| *t < t_s)
}

/// A source under test against one reference or the consensus.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The source under test.
    pub under_test: usize,
    /// What it is compared with.
    pub reference: Member,
    difference_w: Vec<f64>,
    envelope: Envelope,
    envelope_percent: Envelope,
    sums: PairSums,
}

impl Comparison {
    /// Under test − reference on the grid, W; `NaN` where either is missing.
    pub fn difference_w(&self) -> &[f64] {
        &self.difference_w
    }

    /// Smallest and largest difference over stretches of grid rows, W.
    pub fn extents_w(&self, stretches: &Stretches) -> Vec<Option<Extent>> {
        self.envelope.extents(&self.difference_w, stretches)
    }
}

/// Below this level of the reference a percentage says nothing, so none is given, W. A convention
/// of this program: a coasting or barely turning rider.
pub const PERCENT_FROM_W: f64 = 10.0;

/// A difference in % of the level it is a difference from; `NaN` where that level is too low.
fn percent(difference_w: f64, level_w: f64) -> f64 {
    if level_w >= PERCENT_FROM_W {
        100.0 * difference_w / level_w
    } else {
        f64::NAN
    }
}

impl Aligned {
    /// Puts the streams of `opened` on one time line by their offsets and skews.
    pub fn new(opened: &OpenedSession) -> Self {
        let envelopes = opened.sources.iter().map(envelopes_of).collect();
        Self::build(opened, envelopes)
    }

    /// The same ride after a change of clocks or roles; `opened` must have the same sources as the
    /// session this was built from.
    pub fn rebuilt(&self, opened: &OpenedSession) -> Self {
        Self::build(
            opened,
            self.tracks
                .iter()
                .map(|track| Arc::clone(&track.envelopes))
                .collect(),
        )
    }

    fn build(opened: &OpenedSession, envelopes: Vec<Arc<PerChannel<Envelope>>>) -> Self {
        let clocks: Vec<Clock> = (0..opened.session.streams.len())
            .map(|index| clock_of(opened, index))
            .collect();
        let grid = grid_over(opened, &clocks);
        let tracks: Vec<Track> = opened
            .session
            .streams
            .iter()
            .zip(&opened.sources)
            .zip(clocks.iter().zip(envelopes))
            .map(|((stream, source), (clock, envelopes))| {
                track(&grid, stream, source, *clock, envelopes)
            })
            .collect();
        let mut aligned = Self {
            grid,
            tracks,
            consensus: None,
            comparisons: Vec::new(),
            reference_pairs: Vec::new(),
        };
        aligned.consensus = aligned.consensus_column().map(Series::new);
        aligned.comparisons = aligned.all_comparisons();
        aligned.reference_pairs = aligned.all_reference_pairs();
        aligned
    }

    /// Indices of the streams with `role` that carry power.
    pub fn powered(&self, role: Role) -> impl Iterator<Item = usize> {
        self.tracks
            .iter()
            .enumerate()
            .filter(move |(_, track)| {
                track.role == role && track.columns.get(Channel::Power).is_some()
            })
            .map(|(index, _)| index)
    }

    /// Power of a member on the grid, W.
    pub fn power(&self, member: Member) -> Option<&[f64]> {
        match member {
            Member::Stream(index) => self.tracks.get(index)?.column(Channel::Power),
            Member::Consensus => self
                .consensus
                .as_ref()
                .map(|series| series.column.as_slice()),
        }
    }

    /// What a source under test is compared with: each reference, and the consensus where there
    /// are two references or more.
    pub fn references(&self) -> Vec<Member> {
        let mut members: Vec<Member> = self.powered(Role::Reference).map(Member::Stream).collect();
        if self.consensus.is_some() {
            members.push(Member::Consensus);
        }
        members
    }

    /// What verdicts rest on: the consensus of two references or more, else the only reference.
    pub fn basis(&self) -> Option<Member> {
        self.references().last().copied()
    }

    /// Every source under test against every reference and the consensus.
    pub fn comparisons(&self) -> &[Comparison] {
        &self.comparisons
    }

    /// The comparison of a source under test with `reference`.
    pub fn comparison(&self, under_test: usize, reference: Member) -> Option<&Comparison> {
        self.comparisons
            .iter()
            .find(|c| c.under_test == under_test && c.reference == reference)
    }

    /// Smallest and largest difference over grid rows, % of the reference, where that is at
    /// [`PERCENT_FROM_W`] or above.
    pub fn extent_percent(&self, comparison: &Comparison, rows: Range<usize>) -> Option<Extent> {
        let level_w = self.power(comparison.reference)?;
        let difference_w = &comparison.difference_w;
        let value = |row: usize| percent(difference_w[row], level_w[row]);
        let len = difference_w.len();
        comparison.envelope_percent.extent_of(len, value, rows)
    }

    /// The difference at a grid row, % of the reference; `None` where it is missing or the
    /// reference is below [`PERCENT_FROM_W`].
    pub fn difference_percent(&self, comparison: &Comparison, row: usize) -> Option<f64> {
        let level_w = *self.power(comparison.reference)?.get(row)?;
        let percent = percent(*comparison.difference_w.get(row)?, level_w);
        percent.is_finite().then_some(percent)
    }

    /// Totals of a member's power over grid rows, in constant time.
    fn power_totals(&self, member: Member, rows: Range<usize>) -> Option<ColumnTotals> {
        let (column, sums) = match member {
            Member::Stream(index) => {
                let track = self.tracks.get(index)?;
                track.sums(Channel::Power)?
            }
            Member::Consensus => {
                let series = self.consensus.as_ref()?;
                (series.column.as_slice(), &series.sums)
            }
        };
        Some(sums.over(column, rows))
    }

    /// Mean power of a member over about these grid rows, W, for pictures: many rows are rounded to
    /// whole strides of the running totals, which are then all that is read.
    pub fn power_level_w(&self, member: Member, rows: Range<usize>) -> Option<f64> {
        let totals = self.power_totals(member, to_whole_strides(rows))?;
        (totals.n > 0).then_some(totals.mean)
    }

    /// Means of two members over about these grid rows where both have power, W, for pictures, as
    /// [`Aligned::power_level_w`] of one.
    pub fn pair_levels_w(&self, x: Member, y: Member, rows: Range<usize>) -> Option<[f64; 2]> {
        let totals = self.pair_totals(x, y, to_whole_strides(rows))?;
        (totals.n > 0).then_some([totals.mean_x, totals.mean_y])
    }

    /// Totals of the pair (`x`, `y`) over the grid rows where both have power: in constant time
    /// for a source under test against a reference and for two references.
    pub fn pair_totals(&self, x: Member, y: Member, rows: Range<usize>) -> Option<PairTotals> {
        let (column_x, column_y) = (self.power(x)?, self.power(y)?);
        if let Some(sums) = self.sums_of(x, y) {
            return Some(sums.over(column_x, column_y, rows));
        }
        if let Some(sums) = self.sums_of(y, x) {
            return Some(sums.over(column_y, column_x, rows).swapped());
        }
        let end = rows.end.min(self.grid.len);
        let rows = rows.start.min(end)..end;
        let (x, y) = (column_x.get(rows.clone())?, column_y.get(rows)?);
        Some(PairSums::new(x, y).over(x, y, 0..x.len()))
    }

    fn sums_of(&self, x: Member, y: Member) -> Option<&PairSums> {
        match (x, y) {
            (Member::Stream(a), Member::Stream(b)) => self
                .reference_pairs
                .iter()
                .find(|pair| (pair.0, pair.1) == (a, b))
                .map(|pair| &pair.2)
                .or_else(|| self.comparison(a, y).map(|c| &c.sums)),
            (Member::Stream(a), Member::Consensus) => self.comparison(a, y).map(|c| &c.sums),
            (Member::Consensus, _) => None,
        }
    }

    fn consensus_column(&self) -> Option<Vec<f64>> {
        let references: Vec<&[f64]> = self
            .powered(Role::Reference)
            .filter_map(|index| self.power(Member::Stream(index)))
            .collect();
        (references.len() >= 2).then(|| consensus(&references))
    }

    fn all_comparisons(&self) -> Vec<Comparison> {
        let references = self.references();
        self.powered(Role::UnderTest)
            .flat_map(|under_test| references.iter().map(move |member| (under_test, *member)))
            .filter_map(|(under_test, reference)| {
                let x = self.power(Member::Stream(under_test))?;
                let y = self.power(reference)?;
                let difference_w: Vec<f64> = x.iter().zip(y).map(|(x, y)| x - y).collect();
                Some(Comparison {
                    under_test,
                    reference,
                    envelope: Envelope::new(&difference_w),
                    envelope_percent: Envelope::of(difference_w.len(), |row| {
                        percent(difference_w[row], y[row])
                    }),
                    difference_w,
                    sums: PairSums::new(x, y),
                })
            })
            .collect()
    }

    fn all_reference_pairs(&self) -> Vec<(usize, usize, PairSums)> {
        let references: Vec<usize> = self.powered(Role::Reference).collect();
        let mut pairs = Vec::new();
        for (index, &a) in references.iter().enumerate() {
            for &b in references.iter().skip(index + 1) {
                let columns = (self.power(Member::Stream(a)), self.power(Member::Stream(b)));
                if let (Some(x), Some(y)) = columns {
                    pairs.push((a, b, PairSums::new(x, y)));
                }
            }
        }
        pairs
    }
}

/// The clock of a stream by its session's offset and skew.
pub fn clock_of(opened: &OpenedSession, index: usize) -> Clock {
    let zero_s = opened.zero_s(index);
    opened.session.streams.get(index).map_or(
        Clock {
            zero_s,
            offset_s: 0.0,
            skew_ppm: 0.0,
        },
        |stream| Clock {
            zero_s,
            offset_s: stream.offset_s,
            skew_ppm: stream.skew_ppm,
        },
    )
}

/// What values of `channel` are divided by.
fn scale_of(channel: Channel, power_scale: f64) -> f64 {
    match channel {
        Channel::Power => power_scale,
        _ => 1.0,
    }
}

fn span_of(source: &Source, clock: Clock) -> Option<Span> {
    let time_s = source.samples()?.time_s();
    let (first, last) = (time_s.first()?, time_s.last()?);
    Some(Span {
        from_s: clock.to_session(*first),
        to_s: clock.to_session(*last),
    })
}

fn grid_over(opened: &OpenedSession, clocks: &[Clock]) -> Grid {
    let sources = || opened.sources.iter().zip(clocks);
    let spans: Vec<Span> = sources()
        .filter_map(|(source, clock)| span_of(source, *clock))
        .collect();
    let samples: usize = sources()
        .filter_map(|(source, _)| source.samples())
        .map(|samples| samples.len())
        .sum();
    // Generous for clocks hours apart, yet bounded by what was recorded.
    Grid::covering(&spans, GRID_STEP_S, 16 * samples + 3600)
}

fn envelopes_of(source: &Source) -> Arc<PerChannel<Envelope>> {
    let mut envelopes = PerChannel::default();
    if let Some(samples) = source.samples() {
        for channel in samples.channels() {
            if let Some(column) = samples.column(channel) {
                envelopes.set(channel, Envelope::new(column));
            }
        }
    }
    Arc::new(envelopes)
}

fn track(
    grid: &Grid,
    stream: &Stream,
    source: &Source,
    clock: Clock,
    envelopes: Arc<PerChannel<Envelope>>,
) -> Track {
    let power_scale = stream.power_scale();
    let mut columns = PerChannel::default();
    if let Some(samples) = source.samples() {
        let sampling = source
            .stream()
            .map_or(Sampling::Regular, |stream| stream.sampling);
        let picked = grid.pick(samples, sampling, clock);
        debug_assert!(
            picked
                .iter()
                .all(|i| *i == NO_SAMPLE || (*i as usize) < samples.len())
        );
        for channel in samples.channels() {
            if let Some(column) = samples.column(channel) {
                let mut column = gather(&picked, column);
                let scale = scale_of(channel, power_scale);
                if scale != 1.0 {
                    column.iter_mut().for_each(|value| *value /= scale);
                }
                columns.set(channel, column);
            }
        }
    }
    let track = Track {
        role: stream.role,
        clock,
        source: source.clone(),
        power_scale,
        columns,
        sums: Default::default(),
        envelopes,
    };
    // What every window asks for is ready before the first.
    track.sums(Channel::Power);
    track
}

/// References contradict each other at a second when the lowest is under this share of the
/// highest …
const CONTESTED_SHARE: f64 = 0.7;

/// … and they are this far apart, W. Common practice, no source.
const CONTESTED_GAP_W: f64 = 30.0;

/// A contradiction this long is no matter of sub-second timing, rows.
const CONTESTED_ROWS: usize = 4;

/// The mean of the references at each row where at least two have a value and they agree.
///
/// They disagree where, for 4 s or longer, the lowest is under 70 % of the highest and they are
/// more than 30 W apart: one of them has dropped out or lost its zero, and a mean would be
/// neither. Shorter contradictions are a matter of timing at the edges of efforts and stay in.
/// Smaller disagreement is judged by E_n over a window, not here.
fn consensus(references: &[&[f64]]) -> Vec<f64> {
    let len = references
        .iter()
        .map(|column| column.len())
        .min()
        .unwrap_or(0);
    let mut contested = vec![false; len];
    let mut mean: Vec<f64> = (0..len)
        .map(|row| {
            let values = references
                .iter()
                .filter_map(|c| c.get(row))
                .filter(|v| v.is_finite());
            let (mut n, mut sum, mut low, mut high) = (0usize, 0.0, f64::INFINITY, 0.0_f64);
            for value in values {
                n += 1;
                sum += value;
                low = low.min(*value);
                high = high.max(*value);
            }
            if let Some(flag) = contested.get_mut(row) {
                *flag = n >= 2 && low < CONTESTED_SHARE * high && high - low > CONTESTED_GAP_W;
            }
            if n >= 2 { sum / n as f64 } else { f64::NAN }
        })
        .collect();
    let mut row = 0;
    while row < len {
        let run = contested[row..].iter().take_while(|flag| **flag).count();
        if run >= CONTESTED_ROWS {
            mean[row..row + run].fill(f64::NAN);
        }
        row += run.max(1);
    }
    mean
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_found_from_wherever_it_is_looked_for() {
        let time_s: Vec<f64> = (0..100).map(|i| f64::from(i * i)).collect();
        for t_s in [-5.0, 0.0, 0.5, 1.0, 48.9, 49.0, 2500.0, 9801.0, 1e9] {
            let row = time_s.partition_point(|t| *t < t_s);
            for near in [0, 1, 6, 7, 8, 50, 99, 100, 5000] {
                assert_eq!(row_near(&time_s, t_s, near), row, "{t_s} from {near}");
            }
        }
        assert_eq!(row_near(&[], 1.0, 3), 0);
    }

    #[test]
    fn consensus_is_the_mean_where_two_agree() {
        let a = [200.0, 200.0, f64::NAN, 200.0];
        let b = [210.0, f64::NAN, f64::NAN, 190.0];
        let c = [205.0, f64::NAN, 100.0, f64::NAN];
        let mean = consensus(&[&a, &b, &c]);
        assert_eq!(mean[0], 205.0);
        assert!(mean[1].is_nan() && mean[2].is_nan());
        assert_eq!(mean[3], 195.0);
    }

    #[test]
    fn a_lasting_contradiction_has_no_consensus_but_a_late_edge_has() {
        let steady = vec![250.0; 40];
        let mut dropped = steady.clone();
        dropped[10..20].fill(0.0);
        dropped[30..32].fill(0.0);
        let mean = consensus(&[&steady, &dropped]);
        assert!(mean[10..20].iter().all(|v| v.is_nan()));
        assert_eq!(mean[30], 125.0);
        assert_eq!(mean[20], 250.0);
    }
}
