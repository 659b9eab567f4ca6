//! `truing` finds out whether a cycling power source tells the truth.
//!
//! A tester rides with the source under test and two or more reference meters, each written by a
//! recorder with its own clock. This library reads what the recorders wrote, puts every stream on
//! one time line, and answers, for each stretch of the ride that the tester tags, how far off the
//! source was, with the uncertainty and the source of every figure.
//!
//! The rooms, each of which uses only those above it:
//!
//! | module | holds |
//! | --- | --- |
//! | [`text`] | numbers, words, tables as text; cleaned, wrapped, cut |
//! | [`stats`] | samples, distributions, serial correlation, regression: statistics that know no ride |
//! | [`recording`] | what a recorder wrote: readers for FIT, TCX and delimited text |
//! | [`session`] | what the tester decided: streams, clocks, segments, claim; storage, undo |
//! | [`timeline`] | clocks, the common grid, delay estimation, envelopes for drawing |
//! | [`analysis`] | every figure: agreement, uncertainty, conformity, response, drift |
//! | [`plan`] | test plans, their sheet, a ride held against one |
//! | [`suggest`] | suggested segments, each with a reason |
//! | [`picture`] | what pictures show, computed once for screen and paper |
//! | [`rehearse`] | synthetic rides with known faults, written as real files |
//! | [`export`] | table, report, pictures |
//! | `workbench` | the terminal program (feature `workbench`) |
//! | [`commands`] | one file a subcommand |
//!
//! Missing samples are `NaN` inside columns, everywhere: never zero, never bridged.

// Input decides nothing about panics, and only `commands` speaks to the outside.
#![cfg_attr(
    not(test),
    warn(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::print_stdout,
        clippy::print_stderr
    )
)]

pub mod analysis;
pub mod commands;
pub mod export;
pub mod picture;
pub mod plan;
pub mod recording;
pub mod rehearse;
pub mod session;
pub mod stats;
pub mod suggest;
pub mod text;
pub mod timeline;
#[cfg(feature = "workbench")]
pub mod workbench;
