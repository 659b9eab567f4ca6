//! A first session from recordings: labels, roles and sites guessed from what they call themselves.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use super::{Claim, MatchedOn, OpenedSession, Role, Session, Site, Source, Stream};
use crate::recording::{
    Channel, ReadOptions, RecordedStream, Recording, RecordingError, read, recordings_in,
    unpacked_name,
};

/// Words in a label or a file name that tell the site (common practice, no source).
const SITE_WORDS: [(&str, Site); 9] = [
    ("trainer", Site::Trainer),
    ("turbo", Site::Trainer),
    ("erg", Site::Trainer),
    ("pedal", Site::Pedal),
    ("crank", Site::Crank),
    ("spider", Site::Crank),
    ("chainring", Site::Crank),
    ("hub", Site::Hub),
    ("wheel", Site::Hub),
];

/// A recording and the name its file has (or will have) in the session folder.
#[derive(Clone, Debug)]
pub struct Part {
    /// Relative to the session folder.
    pub file: String,
    /// What it holds.
    pub recording: Arc<Recording>,
}

impl Part {
    /// Where the recording is, and the name of its copy.
    pub fn copy(&self) -> (PathBuf, String) {
        (self.recording.path.clone(), self.file.clone())
    }
}

/// Reads recordings, all at once; each gets a name inside the session folder to come. A zip archive
/// stands for the recordings in it.
///
/// # Errors
/// [`RecordingError`] of the first that cannot be read, or is a copy of another.
pub fn read_parts(paths: &[PathBuf]) -> Result<Vec<Part>, RecordingError> {
    let inside: Vec<Vec<PathBuf>> = paths
        .iter()
        .map(|path| recordings_in(path))
        .collect::<Result<_, RecordingError>>()?;
    let paths = inside.concat();
    let names = file_names(&paths);
    let read = |(path, file): (&PathBuf, String)| {
        let recording = Arc::new(read(path, &ReadOptions::default())?);
        Ok(Part { file, recording })
    };
    let parts: Vec<Part> = paths
        .par_iter()
        .zip(names)
        .map(read)
        .collect::<Result<_, RecordingError>>()?;
    for (index, part) in parts.iter().enumerate() {
        let hash = &part.recording.sha256;
        let mut earlier = parts.iter().take(index).map(|other| &other.recording);
        if let Some(other) = earlier.find(|other| other.sha256 == *hash) {
            return Err(RecordingError::Twice {
                path: part.recording.path.clone(),
                other: other.path.clone(),
            });
        }
    }
    Ok(parts)
}

/// Names inside the session folder, made distinct where two recordings share one.
fn file_names(paths: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = Vec::with_capacity(paths.len());
    for (index, path) in paths.iter().enumerate() {
        let own = unpacked_name(path);
        let own = match own.as_str() {
            "" => "recording",
            own => own,
        };
        let numbered = (index + 1..).map(|number| format!("recordings/{number}-{own}"));
        let mut candidates = std::iter::once(format!("recordings/{own}")).chain(numbered);
        names.extend(candidates.find(|name| !names.contains(name)));
    }
    names
}

/// Sketches a session in `folder` over `parts`: one stream for each power source, each bound to
/// its samples. The source under test is the stream whose label or power field is `under_test`,
/// else the trainer, else the first stream with power; every other stream with power is a
/// reference.
///
/// # Errors
/// A sentence, where no stream is called `under_test`, none carries power, or the trainer's does
/// not: then what is tested is not guessed.
pub fn sketch(
    folder: &Path,
    title: &str,
    parts: &[Part],
    under_test: Option<&str>,
) -> Result<OpenedSession, String> {
    let (mut streams, mut sources) = (Vec::new(), Vec::new());
    for part in parts {
        for (index, recorded) in part.recording.streams.iter().enumerate() {
            streams.push(stream_of(part, recorded, &streams));
            sources.push(Source::new(Arc::clone(&part.recording), index));
        }
    }
    let powered: Vec<usize> = (0..streams.len())
        .filter(|index| {
            sources[*index]
                .samples()
                .is_some_and(|s| s.column(Channel::Power).is_some())
        })
        .collect();
    let chosen = choose_under_test(&streams, &powered, under_test)?;
    for &index in &powered {
        streams[index].role = Role::Reference;
    }
    streams[chosen].role = Role::UnderTest;
    let mut session = Session {
        title: title.to_owned(),
        claim: Claim::default(),
        ..Session::default()
    };
    // The first stream defines session time; keep the order in which the files were named.
    session.streams = streams;
    Ok(OpenedSession {
        folder: folder.to_owned(),
        session,
        sources,
        problems: Vec::new(),
    })
}

fn stream_of(part: &Part, recorded: &RecordedStream, earlier: &[Stream]) -> Stream {
    let base = match recorded.label.trim() {
        "" => "stream",
        label => label,
    };
    let taken = |label: &str| {
        label == super::CONSENSUS || earlier.iter().any(|stream| stream.label == label)
    };
    let mut label = base.to_owned();
    let mut number = 2;
    while taken(&label) {
        label = format!("{base} {number}");
        number += 1;
    }
    let mut stream = Stream::new(label, part.file.clone());
    let several = part.recording.streams.len() > 1;
    stream.channel = recorded.power_field.clone().filter(|_| several);
    stream.site = site_told_by(&[
        &stream.label,
        &part.file,
        recorded.power_field.as_deref().unwrap_or(""),
    ]);
    stream.sha256 = Some(part.recording.sha256.clone());
    // The first recorder's clock is session time, by definition.
    stream.matched_on = earlier.is_empty().then_some(MatchedOn::Clock);
    stream
}

/// The site that the first telling name gives away.
fn site_told_by(names: &[&str]) -> Option<Site> {
    names.iter().find_map(|name| {
        let name = name.to_lowercase();
        let mut words = name.split(|c: char| !c.is_alphabetic());
        words.find_map(|word| {
            SITE_WORDS
                .iter()
                .find(|(reported, _)| word.trim_end_matches('s') == *reported)
                .map(|(_, s)| *s)
        })
    })
}

fn choose_under_test(
    streams: &[Stream],
    powered: &[usize],
    under_test: Option<&str>,
) -> Result<usize, String> {
    let Some(&first) = powered.first() else {
        return Err(
            "none of the recordings carries power; look into them with `truing probe`".into(),
        );
    };
    let labels = || {
        powered
            .iter()
            .map(|i| format!("“{}”", streams[*i].label))
            .collect::<Vec<_>>()
            .join(", ")
    };
    match under_test {
        Some(wanted) => powered
            .iter()
            .copied()
            .find(|i| {
                let stream = &streams[*i];
                stream.label == wanted || stream.channel.as_deref() == Some(wanted)
            })
            .ok_or_else(|| {
                format!(
                    "no stream with power is called “{wanted}”; there are {}",
                    labels()
                )
            }),
        None => {
            let is_trainer = |i: &usize| streams[*i].site == Some(Site::Trainer);
            if let Some(trainer) = powered.iter().copied().find(is_trainer) {
                return Ok(trainer);
            }
            match (0..streams.len()).find(is_trainer) {
                None => Ok(first),
                Some(without) => Err(format!(
                    "{}: the trainer's recording carries no power; name the file that does, or, \
                     to test another source, start with `truing new FOLDER RECORDING... \
                     --under-test LABEL`: with power there are {}",
                    streams[without].file,
                    labels()
                )),
            }
        }
    }
}

/// Why the stream under test is under test, in a sentence.
pub fn why_under_test(session: &Session, was_named: bool) -> String {
    let stream = session
        .streams
        .iter()
        .find(|stream| stream.role == Role::UnderTest);
    let Some(stream) = stream else {
        return "Nothing is under test.".to_owned();
    };
    let (why, way_out) = match (was_named, stream.site) {
        (true, _) => ("as named", ""),
        (false, Some(Site::Trainer)) => (
            "since its name tells of a trainer",
            " To test another, use --under-test LABEL.",
        ),
        (false, _) => (
            "since no name tells of a trainer and it is the first with power",
            " To test another, use --under-test LABEL.",
        ),
    };
    format!("“{}” is under test, {why}.{way_out}", stream.label)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Samples, Sampling, TimeBase};

    fn part(file: &str, labels: &[&str]) -> Part {
        let streams = labels
            .iter()
            .map(|label| {
                let mut samples = Samples::new(vec![0.0, 1.0]).unwrap();
                samples.set_column(Channel::Power, vec![1.0, 2.0]);
                RecordedStream {
                    label: (*label).to_owned(),
                    power_field: Some(format!("power of {label}")),
                    sampling: Sampling::Regular,
                    samples,
                }
            })
            .collect();
        let recording = Recording::in_memory(file, "00", TimeBase::Elapsed, streams);
        Part {
            file: file.to_owned(),
            recording: Arc::new(recording),
        }
    }

    #[test]
    fn the_trainer_is_tested_and_the_meters_are_references() {
        let parts = [
            part("pedals.csv", &["pedals"]),
            part("ride.csv", &["smart trainer", "a", "a"]),
        ];
        let session = sketch(Path::new("x"), "t", &parts, None).unwrap().session;
        let reported: Vec<_> = session
            .streams
            .iter()
            .map(|s| (s.label.as_str(), s.role, s.site))
            .collect();
        assert_eq!(
            reported,
            [
                ("pedals", Role::Reference, Some(Site::Pedal)),
                ("smart trainer", Role::UnderTest, Some(Site::Trainer)),
                ("a", Role::Reference, None),
                ("a 2", Role::Reference, None),
            ]
        );
        assert_eq!(session.streams[0].channel, None);
        assert_eq!(session.streams[2].channel.as_deref(), Some("power of a"));
    }

    #[test]
    fn every_word_for_a_site_tells_of_a_meter() {
        for (word, _) in SITE_WORDS {
            assert!(crate::recording::names::METERS.contains(&word), "{word}");
        }
    }

    #[test]
    fn a_trainer_without_power_does_not_put_another_source_under_test() {
        let mut trainer = part("trainer.fit", &["trainer"]);
        let recording = Arc::get_mut(&mut trainer.recording).unwrap();
        recording.streams[0].samples = Samples::new(vec![0.0, 1.0]).unwrap();
        let parts = [trainer, part("pedals.csv", &["pedals"])];
        let refused = sketch(Path::new("x"), "t", &parts, None).unwrap_err();
        for words in ["trainer.fit", "no power", "--under-test", "“pedals”"] {
            assert!(refused.contains(words), "{refused}");
        }
        let session = sketch(Path::new("x"), "t", &parts, Some("pedals"))
            .unwrap()
            .session;
        assert_eq!(session.streams[1].role, Role::UnderTest);
        assert_eq!(
            why_under_test(&session, true),
            "“pedals” is under test, as named."
        );
    }

    #[test]
    fn the_tester_may_say_which_is_tested() {
        let parts = [part("one.csv", &["one"]), part("two.csv", &["two"])];
        let session = sketch(Path::new("x"), "t", &parts, Some("two"))
            .unwrap()
            .session;
        assert_eq!(session.streams[1].role, Role::UnderTest);
        let refused = sketch(Path::new("x"), "t", &parts, Some("three")).unwrap_err();
        assert!(refused.contains("“one”, “two”"), "{refused}");
    }
}
