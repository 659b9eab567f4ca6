//! Writes the seed corpora for cargo-fuzz into `tests/fuzz/corpus/`: rehearsed files and the FIT
//! files that the fitparser crate ships, named by their content.

use std::path::Path;

#[allow(dead_code)]
mod entries;
#[path = "../fit_fixtures/mod.rs"]
mod fit_fixtures;
#[path = "../packed/mod.rs"]
mod packed;
mod seeds;

fn main() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let mut written = 0;
    for seed in seeds::all() {
        let name: String = seed
            .name
            .chars()
            .map(|c| if c.is_alphanumeric() { c } else { '-' })
            .collect();
        write(&corpus.join(seed.kind).join(name), &seed.bytes);
        written += 1;
    }
    for file in fit_fixtures::files() {
        let bytes = std::fs::read(&file).expect("a fixture can be read");
        let hash: u64 = bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
            (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
        });
        write(
            &corpus
                .join("recording")
                .join(format!("fixture-{hash:016x}")),
            &bytes,
        );
        written += 1;
    }
    println!("{written} seeds in {}", corpus.display());
}

fn write(path: &Path, bytes: &[u8]) {
    std::fs::create_dir_all(path.parent().expect("inside the corpus")).expect("a folder");
    std::fs::write(path, bytes).expect("a seed");
}
