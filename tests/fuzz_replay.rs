//! A short, deterministic stretch of what the fuzz targets do at length: seeds of every kind of
//! input, cut, flipped, doubled and spliced by a fixed generator. Whatever the bytes, every entry
//! returns.

#[path = "fuzz/entries.rs"]
mod entries;
#[path = "fuzz/seeds.rs"]
mod seeds;

use rand::{Rng as _, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use crate::packed;

/// Variants of each seed: fewer where each is a minute at the keyboard with its pictures.
fn variants(kind: &str) -> u64 {
    if kind == "keys" { 6 } else { 60 }
}

/// One mutation of `bytes`.
fn mutated(bytes: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..random.random_range(1..6) {
        if out.is_empty() {
            return out;
        }
        let at = random.random_range(0..out.len());
        match random.random_range(0..6) {
            0 => out.truncate(at),
            1 => out[at] ^= 1 << random.random_range(0..8),
            2 => out[at] = [0x00, 0x7F, 0x80, 0xFF, b'-', b'9'][random.random_range(0..6)],
            3 => {
                let end = (at + random.random_range(1..64)).min(out.len());
                out.drain(at..end);
            }
            4 => {
                let end = (at + random.random_range(1..64)).min(out.len());
                let copy = out[at..end].to_vec();
                let to = random.random_range(0..out.len());
                out.splice(to..to, copy);
            }
            _ => {
                let end = (at + 8).min(out.len());
                random.fill_bytes(&mut out[at..end]);
            }
        }
    }
    out
}

#[test]
fn no_bytes_make_an_entry_fail() {
    for (place, seed) in seeds::all().iter().enumerate() {
        let entry = entries::ENTRIES
            .iter()
            .find(|(name, _)| *name == seed.kind)
            .unwrap()
            .1;
        entry(&seed.bytes);
        for variant in 0..variants(seed.kind) {
            let mut random = ChaCha8Rng::seed_from_u64(place as u64 * 1000 + variant);
            let bytes = mutated(&seed.bytes, &mut random);
            let outcome = std::panic::catch_unwind(|| entry(&bytes));
            assert!(
                outcome.is_ok(),
                "seed {} ({}), variant {variant}",
                place,
                seed.name
            );
        }
    }
}
