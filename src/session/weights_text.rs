//! Readings with known masses noted elsewhere: a file of two columns, or pairs typed in one line.

/// Most of a file, bytes: a thousand readings.
pub const MOST_BYTES: u64 = 1 << 16;

/// Masses, kg, and what the meter showed, N·m, from a table of two columns: `kg` and `nm` by a header,
/// else the first two. Commas, semicolons or tabs between them; `#` begins a comment.
///
/// # Errors
/// A sentence with the line and the way out.
pub fn readings_of(text: &str) -> Result<(Vec<f64>, Vec<f64>), String> {
    let (mut kg, mut nm) = (Vec::new(), Vec::new());
    let mut columns: Option<[usize; 2]> = None;
    for (at, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default().trim();
        if line.is_empty() {
            continue;
        }
        let cells = cells(line);
        let Some([mass, reading]) = columns else {
            if number(cells[0]).is_none() {
                columns = Some(named(&cells).map_err(|why| format!("line {}: {why}", at + 1))?);
                continue;
            }
            columns = Some([0, 1]);
            push(&cells, [0, 1], at, &mut kg, &mut nm)?;
            continue;
        };
        push(&cells, [mass, reading], at, &mut kg, &mut nm)?;
    }
    if kg.is_empty() {
        return Err("no readings; write two columns, kg and nm".to_owned());
    }
    Ok((kg, nm))
}

/// The cells of a line: between semicolons or tabs, where there are any, else between commas or
/// spaces.
fn cells(line: &str) -> Vec<&str> {
    let separator = [';', '\t', ','].into_iter().find(|c| line.contains(*c));
    match separator {
        Some(separator) => line.split(separator).map(str::trim).collect(),
        None => line.split_whitespace().collect(),
    }
}

fn number(cell: &str) -> Option<f64> {
    let plain = cell.trim_matches('"').replace(',', ".").replace('−', "-");
    plain.parse().ok().filter(|value: &f64| value.is_finite())
}

fn push(
    cells: &[&str],
    [mass, reading]: [usize; 2],
    at: usize,
    kg: &mut Vec<f64>,
    nm: &mut Vec<f64>,
) -> Result<(), String> {
    let cell = |index: usize| {
        let text = cells.get(index).copied().unwrap_or_default();
        number(text).ok_or_else(|| format!("line {}: “{text}” is no number", at + 1))
    };
    kg.push(cell(mass)?);
    nm.push(cell(reading)?);
    Ok(())
}

/// Where the two columns stand by their names.
fn named(cells: &[&str]) -> Result<[usize; 2], String> {
    let plain = |cell: &&str| -> String {
        let letters = cell.chars().filter(|c| c.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect()
    };
    let find = |names: &[&str]| {
        let mut columns = cells.iter();
        columns.position(|cell| names.contains(&plain(cell).as_str()))
    };
    let mass = find(&["kg", "mass", "masskg"]);
    let reading = find(&["nm", "torque", "torquenm", "reading", "readingnm"]);
    let missing = |what: &str| {
        format!("no column {what}; name the columns kg and nm (masses in kg, readings in N·m)")
    };
    Ok([
        mass.ok_or_else(|| missing("kg"))?,
        reading.ok_or_else(|| missing("nm"))?,
    ])
}

/// Pairs typed in one line, as "0 0.15; 5 8.71; 10 17.27".
///
/// # Errors
/// A sentence with the way out.
pub fn pairs_of(line: &str) -> Result<(Vec<f64>, Vec<f64>), String> {
    let (mut kg, mut nm) = (Vec::new(), Vec::new());
    for pair in line
        .split(';')
        .map(str::trim)
        .filter(|pair| !pair.is_empty())
    {
        let values: Vec<Option<f64>> = pair.split_whitespace().map(number).collect();
        let [Some(mass), Some(reading)] = values[..] else {
            return Err(format!(
                "“{pair}” is no pair; type mass and reading with a space between, as 0 0.15; 5 8.71"
            ));
        };
        kg.push(mass);
        nm.push(reading);
    }
    Ok((kg, nm))
}

/// The same line of readings there are.
pub fn pairs_in_words(kg: &[f64], nm: &[f64]) -> String {
    let pairs = kg.iter().zip(nm).map(|(kg, nm)| format!("{kg} {nm}"));
    pairs.collect::<Vec<String>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_read_however_it_is_separated() {
        let wanted = Ok((vec![0.0, 5.0, 10.0], vec![0.15, 8.71, 17.27]));
        for text in [
            "kg,nm\n0,0.15\n5,8.71\n10,17.27\n",
            "\u{feff}# on the stand\nside;reading (N·m);kg\nleft;0,15;0\nleft;8,71;5\n\nleft;17,27;10\n",
            "0 0.15\n5 8.71 # up\n10 17.27",
            "\"Mass (kg)\"\tTorque\n0\t0.15\n5\t8.71\n10\t17.27\n",
        ] {
            let text = text
                .replace("reading (N·m)", "nm")
                .replace("Mass (kg)", "kg");
            assert_eq!(readings_of(&text), wanted, "{text}");
        }
    }

    #[test]
    fn what_is_no_table_is_refused_with_its_line() {
        for (text, said) in [
            ("", "no readings"),
            ("kg,ncm\n0,15\n", "line 1: no column nm"),
            ("kg,nm\n0,0.15\nfive,8\n", "line 3: “five” is no number"),
            ("0\n", "line 1: “” is no number"),
        ] {
            let reported = readings_of(text).unwrap_err();
            assert!(reported.contains(said), "{reported}");
        }
    }

    #[test]
    fn pairs_in_one_line_read_as_they_are_written() {
        let (kg, nm) = (vec![0.0, 5.0], vec![0.15, 8.71]);
        assert_eq!(pairs_in_words(&kg, &nm), "0 0.15; 5 8.71");
        assert_eq!(pairs_of("0 0.15; 5 8.71;"), Ok((kg.clone(), nm.clone())));
        assert_eq!(pairs_of("0 0,15;5 8,71"), Ok((kg, nm)));
        assert!(pairs_of("0 0.15 5").unwrap_err().contains("is no pair"));
        assert_eq!(pairs_of(""), Ok((vec![], vec![])));
    }
}
