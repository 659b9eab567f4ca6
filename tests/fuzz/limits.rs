//! Times every input of the fuzz corpora, and every one repeated up to 1 MiB, in an optimised build:
//! no run may take longer than 1 s or more than 256 MiB. `tests/fuzz/run.sh` ends with it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

mod entries;
#[path = "../packed/mod.rs"]
mod packed;
#[allow(dead_code)]
mod seeds;

const MOST_MS: f64 = 1000.0;
const MOST_MIB: f64 = 256.0;
const LONGEST: usize = 1 << 20;

fn main() -> ExitCode {
    println!("input       runs  slowest ms  most MiB  over 1 s or 256 MiB");
    let fuzz = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz");
    let mut all_within = true;
    for (kind, entry) in entries::ENTRIES {
        let folders = ["corpus", "artifacts"].map(|folder| fuzz.join(folder).join(kind));
        let files: Vec<PathBuf> = folders.iter().flat_map(|folder| files_in(folder)).collect();
        let whole = measured(*entry, &files, |bytes| bytes);
        all_within &= whole.in_words(kind);
        // What repeats costs most: a file's own content, over and over, up to the limit.
        let some: Vec<PathBuf> = files
            .iter()
            .step_by(files.len() / 150 + 1)
            .cloned()
            .collect();
        let stretched = measured(*entry, &some, |bytes| {
            let length = LONGEST / bytes.len().max(1) * bytes.len();
            bytes.iter().copied().cycle().take(length).collect()
        });
        all_within &= stretched.in_words(&format!("{kind}, 1 MiB"));
    }
    if all_within {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn files_in(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
    files.sort();
    files
}

/// The worst of many runs.
#[derive(Default)]
struct Worst {
    runs: usize,
    slowest_ms: f64,
    slowest: PathBuf,
    most_mib: f64,
    over: usize,
}

impl Worst {
    fn in_words(&self, name: &str) -> bool {
        println!(
            "{name:<16} {:>6}  {:>8.0}  {:>8.0}  {}",
            self.runs, self.slowest_ms, self.most_mib, self.over
        );
        if self.over > 0 {
            println!("  slowest: {}", self.slowest.display());
        }
        self.over == 0
    }
}

fn measured(
    entry: entries::Entry,
    files: &[PathBuf],
    shaped: impl Fn(Vec<u8>) -> Vec<u8>,
) -> Worst {
    let mut worst = Worst::default();
    for file in files {
        let Ok(bytes) = std::fs::read(file) else {
            continue;
        };
        let bytes = shaped(bytes);
        let (mut ms, mut mib) = run(entry, &bytes);
        if ms > MOST_MS {
            // Somebody else may have had the processor.
            let again = run(entry, &bytes);
            (ms, mib) = (ms.min(again.0), mib.min(again.1));
        }
        worst.runs += 1;
        worst.over += usize::from(ms > MOST_MS || mib > MOST_MIB);
        worst.most_mib = worst.most_mib.max(mib);
        if ms > worst.slowest_ms {
            worst.slowest_ms = ms;
            worst.slowest.clone_from(file);
        }
    }
    worst
}

/// Time and peak memory of one run, the memory of the whole process included.
fn run(entry: entries::Entry, bytes: &[u8]) -> (f64, f64) {
    // Writing 5 makes the kernel forget the peak so far.
    let forgotten = std::fs::write("/proc/self/clear_refs", "5");
    let start = Instant::now();
    entry(bytes);
    let ms = start.elapsed().as_secs_f64() * 1e3;
    let peak = forgotten.ok().and_then(|()| peak_mib());
    (ms, peak.unwrap_or(f64::NAN))
}

fn peak_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().trim_end_matches(" kB").parse().ok()?;
    Some(kib / 1024.0)
}
