//! One self-contained page: the answer first, then what it rests on. No script, nothing fetched, readable
//! in light and dark, on paper and by ear.

mod closing;
mod evidence;
mod first;
mod method;
mod parts;
mod ride;
mod segments;
mod source;

use super::page::html::{document, section};

pub use parts::Material;

use super::ExportError;
use crate::analysis::ride::RideFindings;
use crate::analysis::table::table_with;
use crate::recording::TimeBase;
use crate::session::OpenedSession;
use crate::suggest::{answered, suggested};
use crate::text::one_line;
use crate::timeline::Aligned;
use crate::timeline::align::{Options, align_session};

/// The page of a ride; `full` holds every figure and picture. Where nothing is tagged it shows what is
/// suggested.
///
/// # Errors
/// [`ExportError::Draw`] where a picture cannot be drawn.
pub fn page(
    opened: &OpenedSession,
    aligned: &Aligned,
    findings: &RideFindings,
    full: bool,
) -> Result<String, ExportError> {
    let suggested = suggested(&opened.session, aligned);
    let session = suggested.as_ref().unwrap_or(&opened.session);
    let table = table_with(session, aligned, findings);
    // The estimate stands beside the clocks in use, whatever those rest on.
    let clocks = align_session(
        opened,
        Options {
            again: true,
            ..Options::default()
        },
    );
    report(&Material {
        opened,
        session,
        full,
        aligned,
        findings,
        table: &table,
        answers: &answered(&opened.session, aligned, findings, &table),
        clocks: &clocks,
    })
}

/// The page of what is at hand.
///
/// # Errors
/// [`ExportError::Draw`] where a picture cannot be drawn.
pub fn report(material: &Material<'_>) -> Result<String, ExportError> {
    let title = title_of(material.opened);
    let date = date_of(material.opened);
    let head = first::head(material, &title, date.as_deref());
    let curves = first::error_curves(material);
    let first = [
        first::answers(material),
        first::overview(material),
        format!(
            "<div class=\"pair\">\n{curves}<div class=\"half\">\n{}{}</div>\n</div>\n",
            first::key(),
            first::words(material)
        ),
    ];
    let evidence = [
        evidence::segments(material),
        evidence::kinds(material)?,
        closing::references(material),
        section("method", "How it was judged", &closing::method()),
    ];
    let shown = first.concat() + &evidence.concat();
    let words = section(
        "words",
        "Words",
        &closing::glossary(&(head.clone() + &shown)),
    );
    let more = if material.full {
        everything(material)?
    } else {
        String::new()
    };
    let fingerprint = section("fingerprint", "Fingerprint", &method::fingerprint(material));
    let foot = [Some(title.clone()), date].into_iter().flatten();
    let foot = foot.collect::<Vec<_>>().join(" · ");
    let body = format!("{shown}{words}{more}{fingerprint}");
    Ok(document(&title, &foot, &head, &body))
}

/// Every figure and picture.
fn everything(material: &Material<'_>) -> Result<String, ExportError> {
    let whole = material.ride();
    Ok([
        section(
            "every-segment",
            "Segment by segment",
            &segments::sections(material)?,
        ),
        section(
            "every-reference",
            "Streams and clocks",
            &source::body(material, &whole)?,
        ),
        section(
            "ride",
            "Over the whole ride",
            &ride::body(material, &whole)?,
        ),
        section("formulas", "Formulas", &method::body(material.table)),
    ]
    .concat())
}

fn title_of(opened: &OpenedSession) -> String {
    let title = one_line(&opened.session.title);
    if title.is_empty() {
        "A ride on the test bench".to_owned()
    } else {
        title
    }
}

/// The day of the ride, by the clock of the first recording that tells one; in UTC.
fn date_of(opened: &OpenedSession) -> Option<String> {
    let is_absolute = |index: &usize| {
        let source = opened.sources.get(*index);
        let recording = source.and_then(|source| source.recording());
        recording.is_some_and(|recording| recording.time_base == TimeBase::Absolute)
    };
    let stream = (0..opened.sources.len()).find(is_absolute)?;
    let zero_s = opened.zero_s(stream);
    let moment = jiff::Timestamp::from_second(zero_s as i64).ok()?;
    Some(moment.strftime("%-d %B %Y").to_string())
}

#[cfg(test)]
mod tests {
    use quick_xml::events::Event;

    use super::*;
    use crate::analysis::table::Table;
    use crate::analysis::table::table;
    use crate::plan::{CAUTIONS, Plan};
    use crate::rehearse::{Scenario, SessionOptions, ride};
    use crate::session::Fact;
    use crate::suggest::answered;
    use crate::timeline::Aligned;
    use crate::timeline::align::Alignment;

    const HARM: &str = "</title><script src=\"http://x.example/a.js\">alert(1)</script>'\u{202e}";

    /// The page of a rehearsed ride; with `harm` every text of others tries to do some.
    fn page(plan: &str, harm: bool, full: bool) -> (String, Table) {
        let plan = Plan::built_in(plan).unwrap();
        let rehearsal = ride(&plan, &Scenario::default(), 5).unwrap();
        let mut opened = rehearsal.opened(SessionOptions {
            clocks_known: true,
            tagged: true,
        });
        let text = if harm { HARM } else { "plain" };
        let session = &mut opened.session;
        session.title = format!("Bench {text}");
        session.words.summary = text.into();
        session.words.against = vec![text.into()];
        session.facts = vec![Fact {
            key: "unit".into(),
            value: text.into(),
        }];
        session.segments[0].note = text.into();
        session.streams[0].label = format!("trainer {text}");
        let aligned = Aligned::new(&opened);
        let table = table(&opened.session, &aligned);
        let material = Material {
            opened: &opened,
            aligned: &aligned,
            findings: &crate::analysis::ride::findings(&aligned),
            session: &opened.session,
            full,
            table: &table,
            answers: &answered(
                &opened.session,
                &aligned,
                &crate::analysis::ride::findings(&aligned),
                &table,
            ),
            clocks: &Alignment::default(),
        };
        (report(&material).unwrap(), table)
    }

    /// Names of all elements, once the page is proved to be well-formed.
    fn elements(page: &str) -> Vec<String> {
        let mut reader = quick_xml::Reader::from_str(page);
        let (mut names, mut open) = (Vec::new(), Vec::new());
        loop {
            match reader.read_event().unwrap() {
                Event::Start(start) => {
                    let name = start.name().as_ref().to_owned();
                    for attribute in start.attributes() {
                        attribute.unwrap();
                    }
                    names.push(name.clone());
                    open.push(name);
                }
                Event::Empty(empty) => {
                    names.push(empty.name().as_ref().to_owned());
                }
                Event::End(end) => {
                    assert_eq!(open.pop().unwrap(), end.name().as_ref());
                }
                Event::Eof => break,
                _ => {}
            }
        }
        assert!(open.is_empty(), "{open:?}");
        names
    }

    #[test]
    fn the_page_is_sound_and_whole() {
        let (page, table) = page("full-bench", true, true);
        let names = elements(&page);
        let count = |name: &str| names.iter().filter(|n| *n == name).count();
        assert_eq!(
            (
                count("script"),
                count("link"),
                count("img"),
                count("iframe")
            ),
            (0, 0, 0, 0)
        );
        assert!(count("figure") > table.segments.len());
        assert_eq!(count("figure"), count("figcaption"));
        assert_eq!(
            page.matches("role=\"img\" aria-label=").count(),
            count("figure")
        );
        assert_eq!((count("h1"), count("main")), (1, 1));
        assert!(page.matches("<th>").count() == 0, "every head has a scope");
        for forbidden in [
            "NaN",
            "inf ",
            "href=\"http",
            "src=",
            "url(",
            "@import",
            "\u{202e}",
        ] {
            let harmless = page.replace("src=&quot;", "").replace("src=\\22", "");
            assert!(!harmless.contains(forbidden), "{forbidden}");
        }
        for id in [
            "held",
            "sprints",
            "references",
            "method",
            "words",
            "every-segment",
            "ride",
            "formulas",
            "fingerprint",
        ] {
            assert_eq!(
                page.matches(&format!("<section id=\"{id}\"")).count(),
                1,
                "{id}"
            );
        }
    }

    #[test]
    fn the_answer_comes_before_everything_else() {
        let (page, table) = page("short-check", false, false);
        let answers = page.find("<table class=\"answers\"").unwrap();
        assert!(page.find("<h1>").unwrap() < answers);
        assert!(answers < page.find("<section").unwrap());
        for segment in &table.segments {
            assert!(page.contains(&format!("id=\"segment-{}\"", segment.id)));
        }
        for caution in CAUTIONS {
            assert!(page.contains(&crate::export::page::html::set(caution)));
        }
        assert!(!page.contains("not-applicable"), "no half-empty table");
    }

    /// Sentences of a page, without its mark-up.
    fn sentences(page: &str) -> Vec<String> {
        let body = page.split_once("</head>").unwrap().1;
        let mut texts = Vec::new();
        let mut reader = quick_xml::Reader::from_str(body);
        reader.config_mut().check_end_names = false;
        while let Ok(event) = reader.read_event() {
            match event {
                Event::Text(text) => texts.push(text.as_ref().to_owned()),
                Event::Eof => break,
                _ => {}
            }
        }
        // Names in a legend and notes of a plan come again: they are no sentences.
        let long = |text: &String| text.ends_with('.') && text.split_whitespace().count() > 5;
        texts.into_iter().filter(long).collect()
    }

    #[test]
    fn no_sentence_is_said_twice_and_nothing_rests_on_memory() {
        for plan in ["full-bench", "heat-soak"] {
            let (page, _) = page(plan, false, false);
            let mut all = sentences(&page);
            all.sort();
            for two in all.windows(2) {
                assert_ne!(two[0], two[1], "{plan}");
            }
        }
        let (page, _) = page("full-bench", false, true);
        assert!(!page.contains("from memory"));
    }
}
