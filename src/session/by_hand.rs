//! A session file written by hand, for tests.
#![allow(clippy::unwrap_used)]

use std::path::Path;

use super::Session;
use super::parse::parse;

/// With comments, numbers and keys as a person writes them.
pub const BY_HAND: &str = r#"# my ride
format = 1
title = "Bench ride" # working title

[claim]
percent = 2.0
watts = 0.0
source = "box" # not ours to drop

[[stream]]
label = "trainer"
file = "recordings/trainer.fit"
role = "under-test"
site = "trainer"
offset_s = 0   # whole number, by hand
serial = 12

# the pedals were zeroed before
[[stream]]
label = "pedals"
file = "recordings/pedals.fit"
role = "reference"
site = "pedal"
claim_percent = 1.0

[[segment]]
kind = "sprint"
from_s = 400.0
to_s = 420.0

# the good one
[[segment]]
kind = "steady-block"
from_s = 60.0
to_s = 360.0
set_point_w = 250.0
weather = "hot"

[facts]
firmware = "1.2"
unit = 7
"#;

pub fn parsed(text: &str) -> Session {
    parse(Path::new("session.toml"), text).unwrap()
}

pub fn refused(text: &str) -> String {
    parse(Path::new("ride/session.toml"), text)
        .unwrap_err()
        .to_string()
}
