//! Which mode a trainer was in, as the recorder's own words say it.

use std::sync::Arc;

use serde::{Serialize, Serializer};

use crate::text::clean_text;

/// A stretch in one mode.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ModeSpan {
    /// Start, s on the recorder's clock.
    pub from_s: f64,
    /// End, s on the recorder's clock.
    pub to_s: f64,
    /// The mode, as the file names it, cleaned.
    #[serde(serialize_with = "as_text")]
    pub mode: Arc<str>,
}

fn as_text<S: Serializer>(text: &Arc<str>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(text)
}

/// Different words that a column of modes may hold; with more it is none.
const MOST: usize = 24;
/// Characters kept of a word.
const LONGEST: usize = 32;

/// The words met, each of which stands as a number in a column, so that rows of words are sorted,
/// merged and bounded as all others are.
#[derive(Debug, Default)]
pub(super) struct ModeWords {
    words: Vec<Arc<str>>,
    /// The raw text met last, and its number: as a rule it comes again.
    last: Option<(String, f64)>,
    too_many: bool,
}

impl ModeWords {
    /// The number of a word; `None` for an empty one, and once there are too many.
    pub(super) fn number(&mut self, text: &str) -> Option<f64> {
        if let Some((last, number)) = &self.last
            && last == text
        {
            return Some(*number);
        }
        let word: String = clean_text(text).trim().chars().take(LONGEST).collect();
        if word.is_empty() {
            return None;
        }
        let known = self.words.iter().position(|other| **other == *word);
        let index = match known {
            Some(index) => index,
            None if self.words.len() == MOST => {
                self.too_many = true;
                return None;
            }
            None => {
                self.words.push(word.into());
                self.words.len() - 1
            }
        };
        // A long text is not worth keeping.
        self.last = (text.len() <= 4 * LONGEST).then(|| (text.to_owned(), index as f64));
        Some(index as f64)
    }

    /// The stretches that a column of numbers stands for, and what is to be said of it. A mode holds
    /// until another is named.
    pub(super) fn spans(&self, time_s: &[f64], numbers: &[f64]) -> Vec<ModeSpan> {
        let mut spans: Vec<ModeSpan> = Vec::new();
        if self.too_many {
            return spans;
        }
        let mut current = None;
        for (at_s, number) in time_s.iter().zip(numbers) {
            let Some(mode) = self
                .words
                .get(*number as usize)
                .filter(|_| !number.is_nan())
            else {
                continue;
            };
            if current == Some(*number) {
                continue;
            }
            current = Some(*number);
            if let Some(last) = spans.last_mut() {
                last.to_s = *at_s;
            }
            spans.push(ModeSpan {
                from_s: *at_s,
                to_s: *at_s,
                mode: Arc::clone(mode),
            });
        }
        if let (Some(last), Some(end_s)) = (spans.last_mut(), time_s.last()) {
            last.to_s = *end_s;
        }
        spans
    }

    /// What is to be said where the words are no modes.
    pub(super) fn remark(&self) -> Option<String> {
        self.too_many.then(|| {
            format!(
                "more than {MOST} different words stand for a mode: taken for none, and left out"
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mode_holds_until_another_is_named() {
        let mut words = ModeWords::default();
        let texts = ["", " ERG ", "", "erg", "sim\u{7}", "sim\u{7}", ""];
        let numbers: Vec<f64> = texts
            .iter()
            .map(|text| words.number(text).unwrap_or(f64::NAN))
            .collect();
        let time_s: Vec<f64> = (0..texts.len()).map(|second| second as f64).collect();
        let spans = words.spans(&time_s, &numbers);
        let spans: Vec<_> = spans
            .iter()
            .map(|span| (span.from_s, span.to_s, &*span.mode))
            .collect();
        assert_eq!(spans.len(), 3, "{spans:?}");
        assert_eq!(spans[0], (1.0, 3.0, "ERG"));
        assert_eq!(spans[1], (3.0, 4.0, "erg"));
        assert_eq!((spans[2].0, spans[2].1), (4.0, 6.0));
        assert!(spans[2].2.chars().all(|c| !c.is_control()));
        assert_eq!(words.remark(), None);
    }

    #[test]
    fn a_column_of_many_words_is_no_mode_and_costs_no_memory() {
        let mut words = ModeWords::default();
        let numbers: Vec<f64> = (0..10_000)
            .map(|row| words.number(&format!("{row}{}", "x".repeat(1000))))
            .map(|number| number.unwrap_or(f64::NAN))
            .collect();
        assert_eq!(words.words.len(), MOST);
        assert!(words.words.iter().all(|word| word.len() <= LONGEST));
        let time_s: Vec<f64> = (0..numbers.len()).map(|second| second as f64).collect();
        assert!(words.spans(&time_s, &numbers).is_empty());
        assert!(words.remark().unwrap().contains("24"));
    }
}
