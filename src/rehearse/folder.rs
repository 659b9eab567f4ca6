//! A rehearsal as a session folder.

use std::path::Path;

use sha2::{Digest, Sha256};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

use super::rehearsal::{Rehearsal, file_name};
use super::{RehearseError, delimited, fit};
use crate::recording::Format;
use crate::session::Session;

/// Writes the recordings, `session.toml` and `truth.toml` into `folder`, which is made where it
/// does not exist. `session` is what the tester has in front of them: [`Rehearsal::session`], with
/// facts and words added at will.
///
/// # Errors
/// [`RehearseError::Occupied`] where the folder holds anything; [`RehearseError::Io`] and
/// [`RehearseError::Encode`].
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
        std::fs::write(&path, bytes).map_err(io(&path))
    };
    let mut session = session.clone();
    let devices = rehearsal.scenario.devices.iter().zip(&rehearsal.streams);
    for (device, stream) in devices {
        let bytes = match device.recorder.format {
            Format::Fit => fit::fit(device, stream, &rehearsal.legs, &rehearsal.plan.title)?,
            Format::Delimited | Format::Tcx => delimited::csv(device, stream)?,
        };
        let name = file_name(device);
        write(&name, &bytes)?;
        for entry in session.streams.iter_mut().filter(|s| s.file == name) {
            entry.sha256 = Some(hex(&Sha256::digest(&bytes)));
        }
    }
    write("session.toml", session_toml(&session).as_bytes())?;
    write("truth.toml", truth_toml(rehearsal)?.as_bytes())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
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

fn session_toml(session: &Session) -> String {
    let mut doc = DocumentMut::new();
    doc["format"] = value(1);
    doc["title"] = value(&session.title);
    let mut claim = Table::new();
    claim["percent"] = value(session.claim.percent);
    claim["watts"] = value(session.claim.watts);
    doc["claim"] = Item::Table(claim);
    let mut allowance = Table::new();
    allowance["percent"] = value(session.allowance.percent);
    allowance["plus_minus"] = value(session.allowance.plus_minus);
    doc["allowance"] = Item::Table(allowance);
    let mut streams = ArrayOfTables::new();
    for stream in &session.streams {
        let mut table = Table::new();
        table["label"] = value(&stream.label);
        table["file"] = value(&stream.file);
        table["role"] = value(stream.role.word());
        if let Some(site) = stream.site {
            table["site"] = value(site.word());
        }
        if let Some(percent) = stream.claim_percent {
            table["claim_percent"] = value(percent);
        }
        table["offset_s"] = value(stream.offset_s);
        table["skew_ppm"] = value(stream.skew_ppm);
        if let Some(sha256) = &stream.sha256 {
            table["sha256"] = value(sha256);
        }
        streams.push(table);
    }
    doc["stream"] = Item::ArrayOfTables(streams);
    let mut segments = ArrayOfTables::new();
    for segment in &session.segments {
        let mut table = Table::new();
        table["kind"] = value(segment.kind.word());
        table["from_s"] = value(segment.from_s);
        table["to_s"] = value(segment.to_s);
        if let Some(watts) = segment.set_point_w {
            table["set_point_w"] = value(watts);
        }
        table["note"] = value(&segment.note);
        segments.push(table);
    }
    if !segments.is_empty() {
        doc["segment"] = Item::ArrayOfTables(segments);
    }
    doc.to_string()
}
