//! Walks the frames of a FIT file: headers, definitions, data messages, check sums.
//!
//! The decoding of values is left to `fitparser`, which gives up at the first fault. This layer
//! knows only sizes and time stamps, so that it can say where a file is damaged, keep everything
//! before that place, and go on after it where that is safe.
//!
//! A section (header, messages, check sum) whose check sum holds is trusted as it stands. In any
//! other section a record whose time jumps by more than [`STEP_S`] must be the first of
//! [`RUN`] time-stamped messages that follow each other plausibly; else the walk looks for the next
//! place where such a run begins.

use std::rc::Rc;

use super::crc::crc16;

/// Global number of the `record` message.
pub(super) const RECORD: u16 = 20;
/// Field number of the time stamp in every message.
const TIMESTAMP: u8 = 253;
/// Base type of an unsigned 32-bit integer.
const UINT32: u8 = 0x86;

/// Time-stamped messages in a row that make a place credible.
const RUN: usize = 4;
/// Messages looked at in search of such a run.
const RUN_WITHIN: usize = 64;
/// Longest credible step between time-stamped messages of a run, s.
const STEP_S: i64 = 3600;
/// Faults kept one by one; more are only counted.
const FAULTS_KEPT: usize = 50;

/// One field of a message: where it stands in the payload and how it is coded.
#[derive(Clone, Debug)]
pub(super) struct Slot {
    /// Field number within the message, or within the developer's fields.
    pub(super) number: u8,
    /// First byte in the payload.
    pub(super) at: usize,
    /// Bytes.
    pub(super) size: usize,
    /// Base type as the file codes it, without the reserved bits; 0 for developer fields.
    pub(super) base: u8,
    /// The developer data index, for developer fields.
    pub(super) developer: Option<u8>,
}

/// What a definition message says of the data messages that follow under its local number.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    /// Global message number.
    pub(super) global: u16,
    /// Whether multi-byte values have the most significant byte first.
    pub(super) big_endian: bool,
    /// The fields in order.
    pub(super) slots: Vec<Slot>,
    /// Bytes of a data message without its header byte.
    pub(super) size: usize,
    time_at: Option<usize>,
}

/// What the walk comes upon.
#[derive(Debug)]
pub(super) enum Item<'a> {
    /// A file header: definitions start anew.
    Section,
    /// A definition; ask [`Walk::layout`] for it.
    Definition {
        /// Local message number, 0 to 15.
        local: usize,
    },
    /// A data message.
    Data {
        /// Local message number, 0 to 15.
        local: usize,
        /// The fields' bytes.
        payload: &'a [u8],
        /// Time stamp, s since the FIT epoch; from the message or its compressed header.
        time: Option<u32>,
    },
}

/// A place where the file is damaged.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fault {
    /// First byte concerned.
    pub(super) at: usize,
    /// What is wrong.
    pub(super) kind: FaultKind,
    /// Records walked over before.
    pub(super) records_before: usize,
    /// Time of the last record before, s since the FIT epoch.
    pub(super) time_before: Option<u32>,
    /// Time of the first record after, where there is one.
    pub(super) time_after: Option<u32>,
    /// From the first record of the section to the last before the fault, s.
    pub(super) time_since_first: Option<u32>,
}

/// What can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FaultKind {
    /// The file ends before its header says; `missing` bytes at least.
    CutOff {
        /// Bytes that the header promises and the file lacks.
        missing: usize,
        /// Bytes of messages that are there.
        present: usize,
    },
    /// The header was never completed: the recorder was switched off while writing.
    Unterminated,
    /// Bytes that make no messages, until `to`, or to the end of the file.
    Unreadable {
        /// Where reading goes on.
        to: Option<usize>,
    },
    /// The check sum does not match the bytes.
    CheckSum,
    /// The check sum of the file header does not match.
    HeaderCheckSum,
    /// The check sum is missing.
    NoCheckSum,
}

struct Section {
    /// First byte after the messages that are there.
    end: usize,
    /// Whether the check sum holds.
    trusted: bool,
    /// What is wrong with its end, if anything.
    ending: Option<FaultKind>,
    /// Whether unreadable bytes were already reported.
    broken: bool,
    /// Where a message begins that the end of the file cuts off.
    stump: Option<usize>,
}

/// The walk over one file.
pub(super) struct Walk<'a> {
    bytes: &'a [u8],
    pos: usize,
    section: Option<Section>,
    layouts: [Option<Rc<Layout>>; 16],
    /// Time that compressed time stamps count on from.
    base_time: Option<u32>,
    record_time: Option<u32>,
    section_time: Option<u32>,
    records: usize,
    messages: usize,
    faults: Vec<Fault>,
    faults_dropped: usize,
}

enum Frame<'a> {
    Definition(usize, Layout, usize),
    Data {
        local: usize,
        layout: Rc<Layout>,
        payload: &'a [u8],
        offset: Option<u8>,
        next: usize,
    },
}

enum Broken {
    /// The message reaches beyond the end.
    Short,
    /// No such definition, or none that makes sense.
    Senseless,
}

impl<'a> Walk<'a> {
    /// A walk over `bytes`, from the first header on.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            pos: 0,
            section: None,
            layouts: Default::default(),
            base_time: None,
            record_time: None,
            section_time: None,
            records: 0,
            messages: 0,
            faults: Vec::new(),
            faults_dropped: 0,
        }
    }

    /// The layout now in force for `local`.
    pub(super) fn layout(&self, local: usize) -> Option<&Layout> {
        self.layouts.get(local)?.as_deref()
    }

    /// Records and data messages of all kinds walked over.
    pub(super) fn counts(&self) -> (usize, usize) {
        (self.records, self.messages)
    }

    /// The faults found, in file order, and how many more there were.
    pub(super) fn into_faults(self) -> (Vec<Fault>, usize) {
        (self.faults, self.faults_dropped)
    }

    /// The next item, or `None` at the end of the file.
    pub(super) fn next(&mut self) -> Option<Item<'a>> {
        loop {
            let Some(section) = &self.section else {
                if self.pos >= self.bytes.len() {
                    return None;
                }
                if self.enter_section() {
                    return Some(Item::Section);
                }
                continue;
            };
            let (end, trusted) = (section.end, section.trusted);
            if self.pos >= end {
                self.leave_section();
                continue;
            }
            if !trusted && header_at(self.bytes, self.pos) {
                // The next file of a chain begins where this one should still go on.
                self.fault(self.pos, FaultKind::Unterminated);
                self.section = None;
                continue;
            }
            match frame(self.bytes, self.pos, end, &self.layouts, trusted) {
                Ok(Frame::Definition(local, layout, next)) => {
                    self.layouts[local] = Some(Rc::new(layout));
                    self.pos = next;
                    return Some(Item::Definition { local });
                }
                Ok(Frame::Data {
                    local,
                    layout,
                    payload,
                    offset,
                    next,
                }) => {
                    let time = stamp(&layout, payload, offset, self.base_time);
                    let record = layout.global == RECORD;
                    if record && !trusted && !self.credible(time) {
                        self.resynchronise(end);
                        continue;
                    }
                    self.pos = next;
                    self.messages += 1;
                    self.base_time = time.or(self.base_time);
                    if record {
                        self.records += 1;
                        self.note_time(time);
                    }
                    return Some(Item::Data {
                        local,
                        payload,
                        time,
                    });
                }
                Err(Broken::Short) if self.ends_early() => {
                    if let Some(section) = &mut self.section {
                        section.stump = Some(self.pos);
                    }
                    self.pos = end;
                }
                Err(_) => self.resynchronise(end),
            }
        }
    }

    /// Reads the header at the present place. Where there is none, moves on to the next one.
    fn enter_section(&mut self) -> bool {
        let from = self.pos;
        if !header_at(self.bytes, from) {
            let next = (from + 1..self.bytes.len()).find(|at| header_at(self.bytes, *at));
            self.fault(from, FaultKind::Unreadable { to: next });
            self.pos = next.unwrap_or(self.bytes.len());
            return false;
        }
        let size = usize::from(self.bytes[from]);
        let declared = little_endian_u32(self.bytes, from + 4) as usize;
        let start = (from + size).min(self.bytes.len());
        if size >= 14 && from + size <= self.bytes.len() {
            let stated = little_endian_u16(self.bytes, from + 12);
            if stated != 0 && stated != crc16(&self.bytes[from..from + 12]) {
                self.fault(from + 12, FaultKind::HeaderCheckSum);
            }
        }
        self.section = Some(section(self.bytes, from, start, declared));
        self.layouts = Default::default();
        self.base_time = None;
        self.section_time = None;
        self.pos = start;
        true
    }

    fn leave_section(&mut self) {
        let Some(section) = self.section.take() else {
            return;
        };
        match section.ending {
            Some(FaultKind::CheckSum) if section.broken => {}
            Some(kind) => self.fault(section.stump.unwrap_or(section.end), kind),
            None => {}
        }
        self.pos = match section.ending {
            None | Some(FaultKind::CheckSum) => section.end + 2,
            Some(_) => self.bytes.len(),
        };
    }

    /// Whether the present section goes on beyond the end of the file.
    fn ends_early(&self) -> bool {
        self.section.as_ref().is_some_and(|section| {
            matches!(
                section.ending,
                Some(FaultKind::CutOff { .. } | FaultKind::Unterminated)
            )
        })
    }

    /// Whether a record with `time` at the present place belongs to the ride.
    fn credible(&self, time: Option<u32>) -> bool {
        let (Some(time), Some(before)) = (time, self.record_time) else {
            return true;
        };
        let step = i64::from(time) - i64::from(before);
        step.abs() <= STEP_S || self.run_begins(self.pos)
    }

    /// Skips to the next place before `end` from which messages follow each other credibly.
    fn resynchronise(&mut self, end: usize) {
        let from = self.pos;
        let next = (from + 1..end).find(|at| header_at(self.bytes, *at) || self.run_begins(*at));
        self.fault(from, FaultKind::Unreadable { to: next });
        self.pos = next.unwrap_or(end);
        if let Some(section) = &mut self.section {
            section.broken = true;
            // Whatever the check sum says: from here on each jump is looked at.
            section.trusted = false;
        }
    }

    /// Whether [`RUN`] messages with advancing time stamps begin at `from`.
    fn run_begins(&self, from: usize) -> bool {
        let end = self.section.as_ref().map_or(0, |section| section.end);
        let mut redefined: Option<[Option<Rc<Layout>>; 16]> = None;
        let mut pos = from;
        let mut times: Vec<u32> = Vec::with_capacity(RUN);
        for _ in 0..RUN_WITHIN {
            let layouts = redefined.as_ref().unwrap_or(&self.layouts);
            match frame(self.bytes, pos, end, layouts, false) {
                Ok(Frame::Definition(local, layout, next)) => {
                    let layouts = redefined.get_or_insert_with(|| self.layouts.clone());
                    layouts[local] = Some(Rc::new(layout));
                    pos = next;
                }
                Ok(Frame::Data {
                    layout,
                    payload,
                    next,
                    ..
                }) => {
                    pos = next;
                    let Some(time) = stamp(&layout, payload, None, None) else {
                        continue;
                    };
                    let before = times.last().copied().unwrap_or(time);
                    let step = i64::from(time) - i64::from(before);
                    if !(0..=STEP_S).contains(&step) {
                        return false;
                    }
                    times.push(time);
                    if times.len() == RUN {
                        return times.first() < times.last();
                    }
                }
                Err(_) => return false,
            }
        }
        false
    }

    fn note_time(&mut self, time: Option<u32>) {
        let Some(time) = time else { return };
        if let Some(fault) = self.faults.last_mut()
            && fault.time_after.is_none()
            && fault.records_before + 1 == self.records
        {
            fault.time_after = Some(time);
        }
        self.record_time = Some(time);
        self.section_time.get_or_insert(time);
    }

    fn fault(&mut self, at: usize, kind: FaultKind) {
        if self.faults.len() >= FAULTS_KEPT {
            self.faults_dropped += 1;
            return;
        }
        self.faults.push(Fault {
            at,
            kind,
            records_before: self.records,
            time_before: self.record_time,
            time_after: None,
            time_since_first: self
                .record_time
                .zip(self.section_time)
                .and_then(|(last, first)| last.checked_sub(first)),
        });
    }
}

/// How far the messages of the section at `from` reach, and whether they can be trusted.
fn section(bytes: &[u8], from: usize, start: usize, declared: usize) -> Section {
    let mut section = Section {
        end: bytes.len(),
        trusted: false,
        ending: None,
        broken: false,
        stump: None,
    };
    let present = bytes.len() - start;
    let end = start.saturating_add(declared);
    if declared == 0 && present > 2 {
        section.ending = Some(FaultKind::Unterminated);
    } else if end > bytes.len() {
        section.ending = Some(FaultKind::CutOff {
            missing: (end - bytes.len()).saturating_add(2),
            present,
        });
    } else if end + 2 > bytes.len() {
        section.end = end;
        section.ending = Some(FaultKind::NoCheckSum);
    } else {
        section.end = end;
        let stated = little_endian_u16(bytes, end);
        // A header with a sound check sum of its own does not change the sum over both; one with
        // an unsound sum may have been left out by the writer.
        section.trusted = stated == crc16(&bytes[from..end]) || stated == crc16(&bytes[start..end]);
        section.ending = (!section.trusted).then_some(FaultKind::CheckSum);
    }
    section
}

/// Whether a file header stands at `at`.
fn header_at(bytes: &[u8], at: usize) -> bool {
    let Some(head) = bytes.get(at..at + 12) else {
        return false;
    };
    head[0] >= 12 && &head[8..12] == b".FIT"
}

/// The message at `pos`, if it lies within `end`.
fn frame<'a>(
    bytes: &'a [u8],
    pos: usize,
    end: usize,
    layouts: &[Option<Rc<Layout>>; 16],
    trusted: bool,
) -> Result<Frame<'a>, Broken> {
    let body = bytes.get(pos..end).ok_or(Broken::Short)?;
    let (header, rest) = body.split_first().ok_or(Broken::Short)?;
    if header & 0xC0 == 0x40 {
        let (layout, used) = definition(rest, header & 0x20 != 0, trusted)?;
        let local = usize::from(header & 0x0F);
        return Ok(Frame::Definition(local, layout, pos + 1 + used));
    }
    let (local, offset) = if header & 0x80 != 0 {
        (usize::from(header >> 5 & 0x03), Some(header & 0x1F))
    } else {
        (usize::from(header & 0x0F), None)
    };
    let layout = layouts[local].clone().ok_or(Broken::Senseless)?;
    let payload = rest.get(..layout.size).ok_or(Broken::Short)?;
    let next = pos + 1 + layout.size;
    Ok(Frame::Data {
        local,
        layout,
        payload,
        offset,
        next,
    })
}

/// The definition in `rest` (after its header byte) and the bytes it takes.
fn definition(rest: &[u8], developer: bool, trusted: bool) -> Result<(Layout, usize), Broken> {
    let head: &[u8; 5] = rest.first_chunk().ok_or(Broken::Short)?;
    let [reserved, order, first, second, fields] = *head;
    if order > 1 || (!trusted && reserved != 0) {
        return Err(Broken::Senseless);
    }
    let big_endian = order == 1;
    let global = if big_endian {
        u16::from_be_bytes([first, second])
    } else {
        u16::from_le_bytes([first, second])
    };
    let mut layout = Layout {
        global,
        big_endian,
        slots: Vec::new(),
        size: 0,
        time_at: None,
    };
    let mut used = head.len();
    let triples = triples(rest, used, usize::from(fields))?;
    used += triples.len();
    for triple in triples.chunks_exact(3) {
        let (number, size, base) = (triple[0], usize::from(triple[1]), triple[2] & 0x9F);
        if !trusted && base_size(base).is_none() {
            return Err(Broken::Senseless);
        }
        if number == TIMESTAMP && size == 4 && base == UINT32 {
            layout.time_at = Some(layout.size);
        }
        layout.push(number, size, base, None);
    }
    if developer {
        let count = *rest.get(used).ok_or(Broken::Short)?;
        used += 1;
        let triples = self::triples(rest, used, usize::from(count))?;
        used += triples.len();
        for triple in triples.chunks_exact(3) {
            layout.push(triple[0], usize::from(triple[1]), 0, Some(triple[2]));
        }
    }
    Ok((layout, used))
}

fn triples(rest: &[u8], from: usize, count: usize) -> Result<&[u8], Broken> {
    rest.get(from..from + 3 * count).ok_or(Broken::Short)
}

impl Layout {
    fn push(&mut self, number: u8, size: usize, base: u8, developer: Option<u8>) {
        self.slots.push(Slot {
            number,
            at: self.size,
            size,
            base,
            developer,
        });
        self.size += size;
    }
}

/// The time of a message: its own stamp, or the compressed one counted on from `base`.
fn stamp(layout: &Layout, payload: &[u8], offset: Option<u8>, base: Option<u32>) -> Option<u32> {
    if let Some(offset) = offset {
        let base = base?;
        let offset = u32::from(offset);
        let time = (base & !31) + offset;
        return if time < base {
            time.checked_add(32)
        } else {
            Some(time)
        };
    }
    let at = layout.time_at?;
    let four: [u8; 4] = payload.get(at..at + 4)?.try_into().ok()?;
    let time = if layout.big_endian {
        u32::from_be_bytes(four)
    } else {
        u32::from_le_bytes(four)
    };
    (time != u32::MAX).then_some(time)
}

/// Bytes of one value of a base type; `None` for codes the standard does not know.
pub(super) fn base_size(base: u8) -> Option<usize> {
    match base {
        0x00..=0x02 | 0x07 | 0x0A | 0x0D => Some(1),
        0x83 | 0x84 | 0x8B => Some(2),
        0x85 | 0x86 | 0x88 | 0x8C => Some(4),
        0x89 | 0x8E..=0x90 => Some(8),
        _ => None,
    }
}

fn little_endian_u16(bytes: &[u8], at: usize) -> u16 {
    bytes
        .get(at..at + 2)
        .and_then(|two| two.try_into().ok())
        .map_or(0, u16::from_le_bytes)
}

fn little_endian_u32(bytes: &[u8], at: usize) -> u32 {
    bytes
        .get(at..at + 4)
        .and_then(|four| four.try_into().ok())
        .map_or(0, u32::from_le_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Offsets 1B, 1D, 02, 05, 01, 12 after a stamp that ends in 3B, worked by hand from the
    /// rollover rule of the protocol.
    #[test]
    fn compressed_time_stamps_roll_over() {
        let layout = Layout {
            global: RECORD,
            big_endian: false,
            slots: Vec::new(),
            size: 0,
            time_at: None,
        };
        let mut base = Some(0x3B);
        let mut times = Vec::new();
        for offset in [0x1B, 0x1D, 0x02, 0x05, 0x01, 0x12] {
            base = stamp(&layout, &[], Some(offset), base);
            times.extend(base);
        }
        assert_eq!(times, [0x3B, 0x3D, 0x42, 0x45, 0x61, 0x72]);
    }
}
