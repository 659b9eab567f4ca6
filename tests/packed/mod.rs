//! Writes gzip files and zip archives.
#![allow(dead_code)]

use std::io::Write as _;

use flate2::write::{DeflateEncoder, GzEncoder};
use flate2::{Compression, Crc};

/// `bytes` as a gzip file.
pub fn gz(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// A zip archive of `files`, the first stored as it is, the others deflated.
pub fn zip(files: &[(&str, &[u8])]) -> Vec<u8> {
    let (mut out, mut table) = (Vec::new(), Vec::new());
    for (index, (name, bytes)) in files.iter().enumerate() {
        let method: u16 = if index == 0 { 0 } else { 8 };
        let packed = if method == 0 {
            bytes.to_vec()
        } else {
            let mut encoder = DeflateEncoder::new(Vec::new(), Compression::default());
            encoder.write_all(bytes).unwrap();
            encoder.finish().unwrap()
        };
        let mut crc = Crc::new();
        crc.update(bytes);
        let at = out.len() as u32;
        let mut common: Vec<u8> = Vec::new();
        common.extend([20, 0, 0, 0]);
        common.extend(method.to_le_bytes());
        common.extend([0; 4]);
        common.extend(crc.sum().to_le_bytes());
        common.extend((packed.len() as u32).to_le_bytes());
        common.extend((bytes.len() as u32).to_le_bytes());
        common.extend((name.len() as u16).to_le_bytes());
        common.extend([0; 2]);
        out.extend(b"PK\x03\x04");
        out.extend(&common);
        out.extend(name.as_bytes());
        out.extend(packed);
        table.extend(b"PK\x01\x02");
        table.extend([20, 0]);
        table.extend(common);
        table.extend([0; 10]);
        table.extend(at.to_le_bytes());
        table.extend(name.as_bytes());
    }
    let from = out.len() as u32;
    let count = (files.len() as u16).to_le_bytes();
    out.extend(&table);
    out.extend(b"PK\x05\x06\0\0\0\0");
    out.extend(count);
    out.extend(count);
    out.extend((table.len() as u32).to_le_bytes());
    out.extend(from.to_le_bytes());
    out.extend([0; 2]);
    out
}
