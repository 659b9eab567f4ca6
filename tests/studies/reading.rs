//! How fast recordings are read, and how much memory that takes.
//!
//! `cargo run --profile quick --example reading`
//!
//! FIT: our reader against fitparser's one-call reader on the same bytes, 20 000 records with two
//! developer fields; wanted: at least 3 times as fast. Text: our reader against the csv crate's
//! bare loop over byte records with every cell parsed as a number, 2 000 000 rows; wanted: at most
//! 1.5 times as long. Memory: the peak of the process beyond the file's bytes.

#[path = "../fit_bytes/mod.rs"]
mod fit_bytes;

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use fit_bytes::{FLOAT32, STRING, Section, T0, UINT8, UINT16, UINT32};
use truing::recording::{ReadOptions, read_bytes};

fn fit_file(records: u32) -> Vec<u8> {
    let mut section = Section::default();
    section.define(
        2,
        206,
        &[
            (0, 1, UINT8),
            (1, 1, UINT8),
            (2, 1, UINT8),
            (3, 16, STRING),
            (8, 8, STRING),
        ],
    );
    section.data(
        2,
        &[&[0, 0, FLOAT32], b"Second Power\0\0\0\0", b"watts\0\0\0"],
    );
    section.data(
        2,
        &[
            &[0, 1, UINT8],
            b"Cadence\0\0\0\0\0\0\0\0\0",
            b"rpm\0\0\0\0\0",
        ],
    );
    section.define_with(
        0,
        20,
        &[
            (253, 4, UINT32),
            (0, 4, 0x85),
            (1, 4, 0x85),
            (5, 4, UINT32),
            (73, 4, UINT32),
            (78, 4, UINT32),
            (7, 2, UINT16),
            (3, 1, UINT8),
            (4, 1, UINT8),
            (13, 1, 0x01),
        ],
        &[(0, 4, 0), (1, 1, 0)],
        false,
    );
    for i in 0..records {
        let power = 200 + (i % 60) as u16;
        section.data(
            0,
            &[
                &(T0 + i).to_le_bytes(),
                &500_000_000_i32.to_le_bytes(),
                &100_000_000_i32.to_le_bytes(),
                &(i * 900).to_le_bytes(),
                &9_000_u32.to_le_bytes(),
                &3_000_u32.to_le_bytes(),
                &power.to_le_bytes(),
                &[140, 88, 21],
                &(f32::from(power) + 1.5).to_le_bytes(),
                &[89],
            ],
        );
    }
    section.file()
}

fn text_file(rows: u32, iso: bool) -> Vec<u8> {
    let mut text = "time,power_w,cadence_rpm,heart_rate\n".to_owned();
    for i in 0..rows {
        let time = if iso {
            let seconds = i / 4;
            format!(
                "2026-11-{:02}T{:02}:{:02}:{:02}.{:03}Z",
                20 + seconds / 86_400,
                seconds / 3600 % 24,
                seconds / 60 % 60,
                seconds % 60,
                i % 4 * 250
            )
        } else {
            format!("{}", f64::from(i) * 0.005)
        };
        text.push_str(&format!(
            "{time},{}.5,{},{}\n",
            200 + i % 50,
            80 + i % 7,
            120 + i % 9
        ));
    }
    text.into_bytes()
}

/// The best of some runs of each of two, in turn, s.
fn best(mut one: impl FnMut(), mut other: impl FnMut()) -> (f64, f64) {
    let timed = |work: &mut dyn FnMut()| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    (0..9).fold((f64::INFINITY, f64::INFINITY), |(a, b), _| {
        (a.min(timed(&mut one)), b.min(timed(&mut other)))
    })
}

fn ours(bytes: &[u8]) {
    let read = read_bytes(Path::new("bench"), bytes, &ReadOptions::default());
    assert!(black_box(read).is_ok());
}

fn bare_loop(bytes: &[u8]) {
    let mut reader = csv::ReaderBuilder::new().from_reader(bytes);
    let mut record = csv::ByteRecord::new();
    let mut sum = 0.0;
    while matches!(reader.read_byte_record(&mut record), Ok(true)) {
        for cell in &record {
            let text = std::str::from_utf8(cell).unwrap_or("");
            sum += text.parse::<f64>().unwrap_or(0.0);
        }
    }
    black_box(sum);
}

/// Peak resident memory of this process, bytes (Linux).
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    let kib = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kib.unwrap_or(f64::NAN) * 1024.0
}

fn main() {
    let bytes = fit_file(20_000);
    let (mine, one_call) = best(
        || ours(&bytes),
        || assert!(black_box(fitparser::from_bytes(&bytes)).is_ok()),
    );
    println!(
        "FIT, 20 000 records: {:.1} ms, one-call reader {:.1} ms: {:.1} times as fast",
        mine * 1e3,
        one_call * 1e3,
        one_call / mine
    );
    for (name, iso) in [("seconds", false), ("ISO 8601", true)] {
        let bytes = text_file(2_000_000, iso);
        let before = peak();
        let (mine, bare) = best(|| ours(&bytes), || bare_loop(&bytes));
        println!(
            "text, 2 000 000 rows, {name}: {:.0} ms, bare loop {:.0} ms: {:.2} times as long; \
             {:.1} bytes of memory a byte of file",
            mine * 1e3,
            bare * 1e3,
            mine / bare,
            (peak() - before) / bytes.len() as f64
        );
    }
}
