//! Every integration test, one module a behaviour, in one executable: each executable links the
//! whole library, which takes longer than most of the tests.

mod fit_bytes;
mod fit_fixtures;
mod packed;
mod program;
#[cfg(feature = "workbench")]
mod pty;

mod archives;
mod bad_input;
mod clocks;
mod damage_told;
mod delimited_reading;
mod dependencies;
mod disk;
mod doubtful_reading;
mod few_keys;
mod figures_of_garbage;
mod findings;
mod fit_damage;
mod fit_golden;
mod fit_reading;
mod fuzz_replay;
mod hostile;
mod kill;
mod lost_terminal;
mod order;
mod outputs;
mod pipes;
mod probe_command;
mod publish;
mod readme;
mod recording_properties;
mod rehearse;
mod rehearse_command;
mod rehearse_control;
mod rehearse_faults;
mod same_ride;
mod sample_sessions;
mod samples;
mod suggest;
mod survey;
mod tcx_reading;
mod terminal_given_back;
mod two_meters_one_file;
mod untrusted_text;
mod verdict;
mod weights;
mod workbench_kill;
mod workbench_pty;
mod workouts;
