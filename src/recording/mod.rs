//! What a recorder wrote, as it wrote it: streams of samples on the recorder's own clock, and the
//! laps, events and set points beside them.
//!
//! [`read`] finds the format by content, not by file name, and returns one [`Recording`]. Nothing
//! here knows of offsets or sessions.

mod archive;
mod channel;
mod delimited;
mod encoding;
mod error;
mod file;
mod fit;
mod mode;
mod model;
mod moment;
pub(crate) mod names;
mod options;
mod plausible;
mod probe;
mod read;
mod rows;
mod sampling;
mod spans;
mod track;
mod vocabulary;

pub use channel::{Channel, PerChannel};
pub use error::RecordingError;
pub use mode::ModeSpan;
pub use model::{
    ClockNote, ClockNoteKind, Damage, Event, EventKind, Format, Lap, RecordedStream, Recording,
    Samples, Sampling, SetPoint, TimeBase,
};
pub use options::{ColumnMap, ReadOptions};
pub use probe::{ChannelProbe, Gaps, Probe, StreamProbe, utc};
pub use read::{
    MAX_FILE_BYTES, read, read_all, read_bytes, recordings_in, unpacked, unpacked_name,
    unpacked_sha256, workout_in,
};
