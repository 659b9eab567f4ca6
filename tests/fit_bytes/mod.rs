//! Writes FIT bytes by hand, for constructs that no encoder would write.
#![allow(dead_code)]

pub const EPOCH_S: f64 = 631_065_600.0;
/// 2026-11-25T07:00:00Z as a FIT time stamp.
pub const T0: u32 = 1_795_590_000 - 631_065_600;

pub const ENUM: u8 = 0x00;
pub const SINT8: u8 = 0x01;
pub const SINT16: u8 = 0x83;
pub const UINT8: u8 = 0x02;
pub const UINT16: u8 = 0x84;
pub const UINT32: u8 = 0x86;
pub const STRING: u8 = 0x07;
pub const FLOAT32: u8 = 0x88;
pub const BYTE: u8 = 0x0D;

/// CRC-16/ARC, bit by bit, apart from the reader's table.
pub fn crc16(bytes: &[u8]) -> u16 {
    let mut crc = 0_u16;
    for byte in bytes {
        crc ^= u16::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                (crc >> 1) ^ 0xA001
            } else {
                crc >> 1
            };
        }
    }
    crc
}

/// The messages of one section.
#[derive(Clone, Default)]
pub struct Section {
    pub body: Vec<u8>,
}

impl Section {
    /// A definition, little-endian; fields are (number, size, base type).
    pub fn define(&mut self, local: u8, global: u16, fields: &[(u8, u8, u8)]) -> &mut Self {
        self.define_with(local, global, fields, &[], false)
    }

    /// A definition with developer fields (number, size, developer index).
    pub fn define_with(
        &mut self,
        local: u8,
        global: u16,
        fields: &[(u8, u8, u8)],
        developer: &[(u8, u8, u8)],
        big_endian: bool,
    ) -> &mut Self {
        let flag = if developer.is_empty() { 0 } else { 0x20 };
        self.body
            .extend([0x40 | flag | local, 0, u8::from(big_endian)]);
        if big_endian {
            self.body.extend(global.to_be_bytes());
        } else {
            self.body.extend(global.to_le_bytes());
        }
        self.body.push(fields.len() as u8);
        for (number, size, base) in fields {
            self.body.extend([*number, *size, *base]);
        }
        if !developer.is_empty() {
            self.body.push(developer.len() as u8);
            for (number, size, index) in developer {
                self.body.extend([*number, *size, *index]);
            }
        }
        self
    }

    /// A data message.
    pub fn data(&mut self, local: u8, parts: &[&[u8]]) -> &mut Self {
        self.body.push(local);
        for part in parts {
            self.body.extend(*part);
        }
        self
    }

    /// A data message with a compressed time stamp.
    pub fn compressed(&mut self, local: u8, offset: u8, parts: &[&[u8]]) -> &mut Self {
        self.body.push(0x80 | local << 5 | offset & 0x1F);
        for part in parts {
            self.body.extend(*part);
        }
        self
    }

    /// Raw bytes.
    pub fn raw(&mut self, bytes: &[u8]) -> &mut Self {
        self.body.extend(bytes);
        self
    }

    /// Header, messages and check sum.
    pub fn file(&self) -> Vec<u8> {
        self.file_claiming(self.body.len() as u32)
    }

    /// As `file`, with another size in the header.
    pub fn file_claiming(&self, size: u32) -> Vec<u8> {
        let mut file = vec![14, 0x20, 0x54, 0x08];
        file.extend(size.to_le_bytes());
        file.extend(b".FIT");
        let head = crc16(&file);
        file.extend(head.to_le_bytes());
        file.extend(&self.body);
        let crc = crc16(&file);
        file.extend(crc.to_le_bytes());
        file
    }
}

/// Definition of a record with time stamp, power, cadence and heart rate under local number 0.
pub fn define_record(section: &mut Section) {
    section.define(
        0,
        20,
        &[
            (253, 4, UINT32),
            (7, 2, UINT16),
            (4, 1, UINT8),
            (3, 1, UINT8),
        ],
    );
}

/// A record as `define_record` defines it.
pub fn record(section: &mut Section, time: u32, power: u16, cadence: u8, heart_rate: u8) {
    section.data(
        0,
        &[
            &time.to_le_bytes(),
            &power.to_le_bytes(),
            &[cadence, heart_rate],
        ],
    );
}

/// `count` records a second apart: power 100, 101, ...
pub fn ride(count: u32) -> Section {
    let mut section = Section::default();
    section.define(1, 0, &[(0, 1, ENUM), (1, 2, UINT16), (2, 2, UINT16)]);
    section.data(1, &[&[4], &255_u16.to_le_bytes(), &7_u16.to_le_bytes()]);
    define_record(&mut section);
    for i in 0..count {
        record(&mut section, T0 + i, 100 + i as u16, 80, 120);
    }
    section
}
