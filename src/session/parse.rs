//! The text of a session file as a [`Session`].

use std::path::Path;

use serde::Deserialize;
use toml_edit::de::from_str;
use toml_edit::{DocumentMut, Item, TomlError};

use super::document::{FORMAT, facts_in_order};
use super::error::SessionError;
use super::model::{Fact, Session};
use super::validation::check;

/// Reads the text of a session file; `path` is for messages.
///
/// # Errors
/// [`SessionError::Syntax`] or [`SessionError::Meaning`].
pub fn parse(path: &Path, text: &str) -> Result<Session, SessionError> {
    let syntax = |message: String| SessionError::Syntax {
        path: path.to_owned(),
        message: plain_words(&message),
    };
    let (format, facts) = format_and_facts(text).map_err(syntax)?;
    let meaning = |(place, problem)| SessionError::Meaning {
        path: path.to_owned(),
        place,
        problem,
    };
    if format != FORMAT {
        return Err(meaning((
            format!("format = {format}"),
            format!("this version knows format {FORMAT} only; use a newer truing"),
        )));
    }
    let mut session: Session = from_str(text).map_err(|e| syntax(e.to_string()))?;
    session.facts = facts;
    check(&session).map_err(meaning)?;
    session.sort_segments();
    Ok(session)
}

/// The format that the file states, and its facts in their order.
fn format_and_facts(text: &str) -> Result<(i64, Vec<Fact>), String> {
    /// What every format begins with.
    #[derive(Deserialize)]
    struct Head {
        format: i64,
    }
    let document: DocumentMut = text.parse().map_err(|e: TomlError| e.to_string())?;
    let format = match document.get("format").and_then(Item::as_integer) {
        Some(format) => format,
        // For the message that tells the place.
        None => from_str::<Head>(text).map_err(|e| e.to_string())?.format,
    };
    Ok((format, facts_in_order(&document)))
}

/// A parser's message in words for somebody who edits the file by hand: the place, the line, and
/// what is wrong there.
pub(crate) fn plain_words(message: &str) -> String {
    const LONGEST_LINE: usize = 160;
    let message = message.trim_end().replacen("TOML parse error at ", "", 1);
    let (place, reported) = message.rsplit_once('\n').unwrap_or(("", &message));
    let mut lines: Vec<String> = place
        .lines()
        .map(|line| match line.char_indices().nth(LONGEST_LINE) {
            Some((end, _)) => format!("{}…", &line[..end]),
            None => line.to_owned(),
        })
        .collect();
    lines.push(wrong_kind(reported).unwrap_or_else(|| {
        reported
            .replace("unknown variant", "unknown word")
            .replace("missing field", "missing key")
    }));
    lines.join("\n")
}

/// A value of the wrong type, without the names of types.
fn wrong_kind(reported: &str) -> Option<String> {
    const FOUND: [(&str, &str); 5] = [
        ("floating point ", "the number "),
        ("integer ", "the number "),
        ("boolean ", ""),
        ("string ", "the text "),
        ("map", "a table or a date"),
    ];
    let (found, wanted) = reported
        .strip_prefix("invalid type: ")?
        .rsplit_once(", expected ")?;
    let found = FOUND
        .iter()
        .find_map(|(theirs, ours)| Some(format!("{ours}{}", found.strip_prefix(theirs)?)))
        .unwrap_or_else(|| found.replace("sequence", "a list"));
    let wanted = match wanted {
        "f64" => "a number should stand, without quotes",
        "i64" => "a whole number should stand, without quotes",
        "a string" => "a text should stand, in quotes",
        "a sequence" => {
            "a list should stand: [[stream]] and [[segment]] have two brackets on each side, \
             texts in a list read [\"one\", \"two\"]"
        }
        // The names of our own tables.
        _ => "a table should stand: its name in brackets on a line of its own, its keys below",
    };
    Some(format!("here is {found}, where {wanted}"))
}

#[cfg(test)]
mod tests {
    use crate::session::by_hand::{BY_HAND, parsed, refused};
    use crate::session::{Fact, Kind};

    #[test]
    fn a_session_by_hand_is_read() {
        let session = parsed(BY_HAND);
        assert_eq!(session.title, "Bench ride");
        assert_eq!(session.streams[1].claim_percent, Some(1.0));
        assert_eq!(session.segments[0].kind, Kind::SteadyBlock);
        assert_eq!(
            session.facts[1],
            Fact {
                key: "unit".into(),
                value: "7".into()
            }
        );
    }

    #[test]
    fn a_value_of_the_wrong_kind_is_told_without_names_of_types() {
        for (from, to, said) in [
            (
                "percent = 2.0",
                "percent = \"two\"",
                "here is the text \"two\", where a number should stand",
            ),
            (
                "title = \"Bench ride\"",
                "title = 7",
                "here is the number `7`, where a text should stand, in quotes",
            ),
            (
                "offset_s = 0 ",
                "offset_s = true ",
                "here is `true`, where a number",
            ),
            (
                "[[segment]]\nkind = \"sprint\"",
                "[words]\nfor = \"quiet\"\n\n[[segment]]\nkind = \"sprint\"",
                "here is the text \"quiet\", where a list should stand",
            ),
        ] {
            let reported = refused(&BY_HAND.replace(from, to));
            assert!(reported.contains(said), "{reported}");
            assert!(
                !reported.contains("f64") && !reported.contains("invalid type"),
                "{reported}"
            );
        }
        let many = refused(&BY_HAND.replace(
            "[facts]",
            &("[[segment]]\nkind = \"open\"\nfrom_s = 1\nto_s = 2\n\n".repeat(5000) + "[facts]"),
        ));
        assert!(many.contains("split the session"), "{many}");
        let long = refused(&BY_HAND.replace("\"sprint\"", &format!("{}\"x\"", "[".repeat(5000))));
        assert!(long.len() < 1000, "{} bytes", long.len());
    }
}
