//! Synthetic rides with known faults, in memory or written as real files, with the truth beside
//! them.
//!
//! A [`Plan`](crate::plan::Plan) says what is ridden, a [`Scenario`] who rides it on which devices with which faults,
//! a seed fixes every random number. [`ride`] makes a [`Rehearsal`] without touching the disk;
//! [`write_session`] makes a session folder of it.
//!
//! ```
//! use truing::plan::Plan;
//! use truing::rehearse::{Fault, Scenario, ride};
//!
//! let plan = Plan::built_in("short-check")?;
//! let mut scenario = Scenario::default();
//! "gain=3".parse::<Fault>()?.put_into(&mut scenario, &plan)?;
//! let rehearsal = ride(&plan, &scenario, 1)?;
//! // The recordings: samples on each recorder's clock, NaN where power is missing ...
//! assert_eq!(rehearsal.streams.len(), 3);
//! // ... the true clocks, and what a perfect analysis would find in each segment.
//! assert_eq!(rehearsal.streams[0].clock.offset_s, 0.0);
//! let steady = &rehearsal.truth.segments[1];
//! assert!((steady.pairs[0].bias_percent.unwrap() - 0.63).abs() < 0.1);
//! # Ok::<(), truing::rehearse::RehearseError>(())
//! ```
//!
//! For studies over many seeds: [`random_scenario`] draws realistic devices with random faults,
//! [`Rehearsal::opened`] gives the session as the tester would have it open (clocks known or not,
//! tagged or not), [`Rehearsal::recording`] the recordings as a reader returns them, and
//! [`Rehearsal::pair_truth`] the true bias, scale and drift for any window.
//!
//! Three times are told apart. *True time* counts seconds from the start of the ride by a perfect
//! clock. *Recorder time* is what a recorder stamps. *Session time* is the first recorder's clock,
//! counted from its first sample.

mod control;
mod delimited;
mod device;
mod error;
mod faults;
mod fit;
mod folder;
mod masses;
mod modes;
mod noise;
mod random;
mod rehearsal;
mod rider;
mod scenario;
mod strap;
mod stream;
mod truth;

pub use control::{Control, Simulation};
pub use error::RehearseError;
pub use faults::{FAULTS, Fault, FaultKind};
pub use folder::write_session;
pub use random::random_scenario;
pub use rehearsal::{Rehearsal, SessionOptions, ride};
pub use rider::STEP_S;
pub use scenario::{
    Device, Drivetrain, FULL_WARMTH_C, LevelError, Masses, Pause, PlannedDropout, REFERENCE_RATIO,
    Recorder, Rider, Scenario, Sends, Strap, Surge,
};
pub use stream::RehearsedStream;
pub use truth::{
    ControlTruth, DeviceTruth, PairTruth, SegmentTruth, ShiftTruth, StreamTruth, SurgeTruth, Truth,
};
