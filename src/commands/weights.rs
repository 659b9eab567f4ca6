//! `truing weights`: readings with known masses into the session.

use std::path::PathBuf;

use super::{Exit, Failure, Output};
use crate::analysis::weights::{ScaleUncertainty, check};
use crate::session::weights_text::{MOST_BYTES, readings_of};
use crate::session::{Weights, files, store};
use crate::stats::NORMAL_95;

/// Write a meter's readings with known masses into the session, and say what scale they give.
///
/// Hang masses from the pedal axle of the level crank, lightest first, then take them off again, and
/// note what the meter shows at each. FILE holds two columns, kg and nm, with the zero before and
/// after. The stream's power is then divided by the scale in every figure, and the uncertainty of
/// the masses takes the place of its claim. `truing plan weights` prints a sheet for it.
///
/// A hanging mass hurts feet: hang it low, over a clear floor, the bike clamped. Never enter the scale
/// in the meter as well: it would be corrected twice.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  truing weights my-ride pedals readings.csv --crank-mm 172.5 --latitude 47.4")]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// The stream's label.
    label: String,
    /// The readings: CSV with the columns kg and nm, in the order in which they were taken.
    file: PathBuf,
    /// Crank length, mm; needed the first time.
    #[arg(long, value_name = "MM")]
    crank_mm: Option<f64>,
    /// How well it is known, ± mm [default: 0.5].
    #[arg(long, value_name = "MM")]
    crank_plus_minus_mm: Option<f64>,
    /// Gravity at the place, m/s².
    #[arg(long, value_name = "M_S2", conflicts_with_all = ["latitude", "altitude_m"])]
    gravity: Option<f64>,
    /// Latitude of the place, degrees, from which gravity follows.
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    latitude: Option<f64>,
    /// Height above the sea, m.
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    altitude_m: Option<f64>,
}

/// Reads the file, saves the session, says what came out.
///
/// # Errors
/// [`Failure`] where the file or the session cannot be used, or the readings make no scale: nothing is
/// then written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let folder = files::folder_of(&arguments.session);
    let stored = store::load(&folder).map_err(Failure::because)?;
    let mut session = stored.session.clone();
    let index = session.stream_index(&arguments.label).ok_or_else(|| {
        let labels: Vec<&str> = session.streams.iter().map(|s| s.label.as_str()).collect();
        Failure::CouldNot(format!(
            "“{}” is no stream of this session; there are {}",
            arguments.label,
            labels.join(", ")
        ))
    })?;
    let (kg, nm) = readings(arguments)?;
    let stream = &mut session.streams[index];
    let weights = with_readings(stream.weights.take().unwrap_or_default(), arguments, kg, nm);
    let known = weights.fit().map_err(|problem| {
        Failure::CouldNot(format!(
            "{}: {problem}; nothing is written",
            arguments.file.display()
        ))
    })?;
    stream.weights = Some(weights);
    store::save(&folder, &session, Some(&stored.fingerprint)).map_err(Failure::because)?;
    let uncertainty = ScaleUncertainty::of(&known);
    output.result(&format!(
        "{}: {} readings, scale {:.4} ± {:.2} % (95 %), zero {:+.3} N·m",
        arguments.label,
        known.readings.len(),
        known.scale,
        NORMAL_95 * uncertainty.percent(),
        known.zero_nm
    ))?;
    if let Some(check) = check(&session, index) {
        output.result(&format!("{}.", check.note))?;
    }
    Ok(Exit::Done)
}

fn readings(arguments: &Arguments) -> Result<(Vec<f64>, Vec<f64>), Failure> {
    let path = arguments.file.display();
    let failed = |why: String| Failure::CouldNot(format!("{path}: {why}"));
    let about = files::regular_file(&arguments.file).map_err(|e| failed(e.to_string()))?;
    if about.len() > MOST_BYTES {
        return Err(failed(
            "over 64 KiB; a file of readings is short".to_owned(),
        ));
    }
    let text = std::fs::read_to_string(&arguments.file).map_err(|e| failed(e.to_string()))?;
    readings_of(&text).map_err(failed)
}

/// What is not given on the command line stays as it was.
fn with_readings(old: Weights, arguments: &Arguments, kg: Vec<f64>, nm: Vec<f64>) -> Weights {
    let place_is_given = arguments.gravity.is_some() || arguments.latitude.is_some();
    Weights {
        crank_mm: arguments.crank_mm.or(old.crank_mm),
        crank_plus_minus_mm: arguments.crank_plus_minus_mm.or(old.crank_plus_minus_mm),
        gravity: arguments
            .gravity
            .or(old.gravity.filter(|_| !place_is_given)),
        latitude: arguments
            .latitude
            .or(old.latitude.filter(|_| !place_is_given)),
        altitude_m: arguments.altitude_m.or(old.altitude_m),
        kg,
        nm,
    }
}
