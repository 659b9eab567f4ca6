//! What to beware of in a session's clocks and claims, a sentence each.

use super::model::{Claim, MatchedOn, Role, Session, Stream};
use crate::text::clean_text;

impl Stream {
    /// Whether nobody has set this clock yet.
    fn never_aligned(&self) -> bool {
        self.matched_on.is_none() && self.offset_s == 0.0 && self.skew_ppm == 0.0
    }
}

impl Stream {
    /// Why the readings with known masses are not used; `None` where they are, or there are none.
    pub fn weights_unused(&self) -> Option<String> {
        let weights = self.weights.as_ref()?;
        match weights.fit() {
            Err(problem) => Some(problem.to_string()),
            Ok(_) if self.role == Role::UnderTest => {
                Some("a source under test is judged as it reads".to_owned())
            }
            Ok(_) if self.role == Role::Context => Some("it is no reference".to_owned()),
            Ok(_) => None,
        }
    }
}

impl Session {
    /// All that is to be told of a session whenever it is opened: its cautions of clocks and claims.
    pub fn cautions(&self) -> Vec<String> {
        let mut all = self.clock_cautions();
        all.extend(self.claim_cautions());
        all.extend(self.weights_cautions());
        all
    }

    /// Readings with known masses that are not used, and why.
    pub fn weights_cautions(&self) -> Vec<String> {
        let unused = self.streams.iter().filter_map(|stream| {
            let why = stream.weights_unused()?;
            let label = clean_text(&stream.label);
            Some(format!("The known masses of {label} are not used: {why}"))
        });
        unused.collect()
    }

    /// What to beware of in the clocks, a sentence each: clocks never set against session time, and
    /// sources under test whose delays the matching has swallowed.
    pub fn clock_cautions(&self) -> Vec<String> {
        let untouched: Vec<&str> = self
            .streams
            .iter()
            .filter(|stream| !self.on_first_clock(stream) && stream.never_aligned())
            .map(|stream| stream.label.as_str())
            .collect();
        let never = (!untouched.is_empty()).then(|| {
            format!(
                "Never aligned: {}. Figures may compare different seconds until the clocks are set: truing align SESSION --write, or the clocks view of the workbench",
                untouched.join(", ")
            )
        });
        let swallowed = self
            .with_role(Role::UnderTest)
            .filter_map(|index| self.delay_caution(index));
        let doubted = self.streams.iter().filter_map(|s| self.doubt_caution(s));
        never.into_iter().chain(doubted).chain(swallowed).collect()
    }

    /// That a clock is not certain, and why; [`Self::delay_caution`] tells of what power leaves.
    fn doubt_caution(&self, stream: &Stream) -> Option<String> {
        let doubt = stream.clock_doubt.as_deref().map(clean_text)?;
        (!self.on_first_clock(stream)).then(|| {
            format!(
                "The clock of {} is not certain: {doubt}. Figures may compare different seconds until it is checked in the clocks view of the workbench",
                stream.label
            )
        })
    }

    /// Why a source under test's delays are not its own: only power ties its clock to the
    /// references'. `None` where something better does.
    pub fn delay_caution(&self, under_test: usize) -> Option<String> {
        let source = self.streams.get(under_test)?;
        let by_power = |stream: &Stream| {
            !self.on_first_clock(stream) && stream.matched_on == Some(MatchedOn::Power)
        };
        let mut references = self
            .with_role(Role::Reference)
            .filter_map(|index| self.streams.get(index))
            .filter(|stream| stream.file != source.file)
            .peekable();
        references.peek()?;
        (by_power(source) || references.all(by_power)).then(|| {
            format!(
                "Only power ties the clocks of {} and the references: its delay and dead time are what the matching left, not the device's own",
                source.label
            )
        })
    }

    /// Whether a stream is in one recording with the first, whose clock is session time.
    fn on_first_clock(&self, stream: &Stream) -> bool {
        self.streams
            .first()
            .is_some_and(|first| first.file == stream.file)
    }

    /// Sources under test whose own claim takes the place of the session's, where those differ, a
    /// sentence each: the claim at the head of a table is then not the one they are judged by.
    pub fn claim_cautions(&self) -> Vec<String> {
        let stated = self.claim != Claim::default();
        self.with_role(Role::UnderTest)
            .filter(|index| stated && self.claim_of(*index).is_some_and(|own| own != self.claim))
            .filter_map(|index| self.streams.get(index))
            .map(|stream| {
                format!(
                    "{} is judged by the claim of its own [[stream]], not by the session's [claim], which differs",
                    stream.label
                )
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_is_not_certain_is_told_of_but_not_the_first() {
        let stream = |label: &str, doubt: Option<&str>| Stream {
            matched_on: Some(MatchedOn::Cadence),
            clock_doubt: doubt.map(str::to_owned),
            ..Stream::new(label, format!("{label}.fit"))
        };
        let session = Session {
            streams: vec![
                stream("trainer", Some("moot")),
                stream("pedals", Some("a second peak")),
                stream("hub", None),
            ],
            ..Session::default()
        };
        let cautions = session.clock_cautions();
        assert_eq!(cautions.len(), 1, "{cautions:?}");
        assert!(cautions[0].starts_with("The clock of pedals is not certain: a second peak."));
    }
}
