//! A rehearsal as a session folder.

use std::path::Path;

use sha2::{Digest, Sha256};

use super::rehearsal::{Rehearsal, file_name};
use super::{RehearseError, delimited, fit};
use crate::recording::Format;
use crate::session::files::write_atomically;
use crate::session::{Session, store};
use crate::text::hex;

/// Writes the recordings, `session.toml` and `truth.toml` into `folder`, which is made where it
/// does not exist. `session` is what the tester has in front of them: [`Rehearsal::session`], with
/// facts and words added at will.
///
/// # Errors
/// [`RehearseError::Occupied`] where the folder holds anything; [`RehearseError::Io`],
/// [`RehearseError::Session`] and [`RehearseError::Encode`].
pub fn write_session(
    rehearsal: &Rehearsal,
    session: &Session,
    folder: &Path,
) -> Result<(), RehearseError> {
    let io = |path: &Path| {
        let path = path.to_owned();
        move |source| RehearseError::Io { path, source }
    };
    if folder.exists() && folder.read_dir().map_err(io(folder))?.next().is_some() {
        return Err(RehearseError::Occupied {
            path: folder.to_owned(),
        });
    }
    let recordings = folder.join("recordings");
    std::fs::create_dir_all(&recordings).map_err(io(&recordings))?;
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        write_atomically(&path, bytes).map_err(io(&path))
    };
    let mut session = session.clone();
    let devices = rehearsal.scenario.devices.iter().zip(&rehearsal.streams);
    for (device, stream) in devices {
        let bytes = match device.recorder.format {
            Format::Fit => fit::fit(device, stream, &rehearsal.legs, &rehearsal.plan.full_name())?,
            Format::Delimited | Format::Tcx | Format::Gpx => delimited::csv(device, stream)?,
        };
        let name = file_name(device);
        write(&name, &bytes)?;
        for entry in session.streams.iter_mut().filter(|s| s.file == name) {
            entry.sha256 = Some(hex(&Sha256::digest(&bytes)));
        }
    }
    write("truth.toml", truth_toml(rehearsal)?.as_bytes())?;
    // Last: what has a session file is whole.
    store::save(folder, &session, None)?;
    Ok(())
}

fn truth_toml(rehearsal: &Rehearsal) -> Result<String, RehearseError> {
    let body = toml_edit::ser::to_string_pretty(&rehearsal.truth).map_err(|error| {
        RehearseError::Scenario {
            reason: format!("its truth cannot be written ({error})"),
        }
    })?;
    Ok(format!(
        "# What this invented ride was made from. No analysis reads it.\n\n{body}"
    ))
}
