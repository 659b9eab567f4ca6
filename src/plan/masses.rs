//! The sheet for known masses: what to hang, a table to fill in, the cautions.

use crate::session::{STANDARD_GRAVITY, torque_nm};
use crate::text::{Grid, Head};

/// Masses in the order in which they hang, kg.
const KG: [f64; 11] = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 20.0, 15.0, 10.0, 5.0, 0.0];

/// Usual cranks, mm.
const CRANKS_MM: [f64; 3] = [170.0, 172.5, 175.0];

/// Name by which the sheet is asked for.
pub const MASSES_SHEET: &str = "weights";

/// One line of the list of plans.
pub const MASSES_TITLE: &str = "Known masses on a reference, before the ride";

/// The sheet, 80 columns.
pub fn masses_sheet() -> String {
    let rows = KG.iter().map(|kg| {
        let torques = CRANKS_MM.map(|mm| format!("{:.2}", torque_nm(*kg, mm, STANDARD_GRAVITY)));
        let [a, b, c] = torques;
        vec![
            format!("{kg}"),
            a,
            b,
            c,
            "__________".to_owned(),
            "__________".to_owned(),
        ]
    });
    let heads = vec![
        Head::number("mass", "kg"),
        Head::number("170 mm", "N·m"),
        Head::number("172.5 mm", "N·m"),
        Head::number("175 mm", "N·m"),
        Head::text("left, N·m"),
        Head::text("right, N·m"),
    ];
    let table = Grid::of(heads, rows.collect()).aligned("  ", 80);
    format!("{HEAD}\n{table}\n{TAIL}")
}

const HEAD: &str = "\
KNOWN MASSES ON A REFERENCE
A mass hung from the pedal axle of a level crank makes a torque that nobody can
argue with: it tells the scale of a meter to some 0.3 %, and it shows an error
that two references share, which no agreement between them does.

CAUTIONS
- A hanging mass hurts feet, and a bike that tips hurts more. Clamp the bike, lock
  the rear wheel, hang the mass low over a clear floor, hands and feet out of its
  way, and put it down before you touch anything else.
- Never enter the scale in the meter as well: it would be corrected twice. Leave
  the meter as it was for the ride, and let truing divide.

WHAT IT TAKES
- Masses weighed to 0.02 % or so (a scale that reads grams), with their hanger: it
  is part of the mass.
- The crank's length from axle to axle to 0.5 mm: it is a third of the uncertainty.
- A level on the crank, to 3 degrees.
- The meter's display of torque, in N·m, at rest.

WHAT TO DO
1. Let meter and bike take the temperature of the room. Zero the meter as its
   maker says and note what it shows (zero_before in session.toml).
2. Level the crank, forward. Note the reading without a mass.
3. Hang the masses one after the other up to the heaviest, and take them off again
   in the same order. Wait until each hangs still. Note every reading.
4. A meter that measures both sides: the same on the other side, with its own zero
   before and after. A reading at 25 kg and 172.5 mm is what 400 W at 90 rpm make.

READINGS";

const TAIL: &str = "\
crank ________ mm, latitude ________ or gravity ________ m/s²
zero before the ride ________, after it ________ (with the unit that the meter shows)

Then write two columns, kg and nm, left first and the right below it, and
  truing weights SESSION LABEL READINGS.csv --crank-mm 172.5 --latitude 47.4
or type them in the workbench: E, then n (crank) and k (masses).";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sheet_fits_a_page_and_holds_what_must_not_be_missed() {
        let sheet = masses_sheet();
        let longest = sheet.lines().map(|line| line.chars().count()).max();
        assert!(longest <= Some(86), "{longest:?}\n{sheet}");
        for part in [
            "hurts feet",
            "Clamp the bike",
            "corrected twice",
            "16.92",
            "42.29",
        ] {
            assert!(sheet.contains(part), "{part} in\n{sheet}");
        }
    }
}
