//! One self-contained page: the answer first, then everything it rests on. No script, nothing
//! fetched, readable in light and dark, on paper and by ear.

mod html;
mod method;
mod parts;
mod ride;
mod segments;
mod source;

use self::parts::{number, optional};
use html::{escaped, list, paragraph, section};

pub use parts::Material;

use super::ExportError;
use super::figure::Subject;
use super::findings;
use super::table::{claim_sentence, signed_outcome};
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::analysis::verdict::figures::Verdict;
use crate::plan::CAUTIONS;
use crate::session::Words;
use crate::text::{Grid, Head, clock_time, one_line};

/// The page.
///
/// # Errors
/// [`ExportError::Draw`] where a picture cannot be drawn.
pub fn report(material: &Material<'_>) -> Result<String, ExportError> {
    let title = title_of(material);
    let segments = segments::sections(material)?;
    let whole = Subject::ride(
        &material.opened.session,
        material.aligned,
        material.findings,
    );
    let sections = [
        section("verdicts", "Verdict of each segment", &verdicts(material)),
        section("words", "In the tester's words", &words(material)),
        section(
            "tested",
            "What was tested, and how",
            &source::body(material),
        ),
        section(
            "references",
            "Are the references fit to judge?",
            &source::references(material, &whole)?,
        ),
        section("segments", "Segment by segment", &segments),
        section(
            "ride",
            "Over the whole ride",
            &ride::body(material, &whole)?,
        ),
        section("method", "Method", &method::body(material.table)),
        section("cautions", "Cautions", &list(CAUTIONS)),
        section("fingerprint", "Fingerprint", &method::fingerprint(material)),
    ];
    Ok(format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <title>{title}</title>\n<style>\n{}</style>\n</head>\n<body>\n<header>\n<h1>{title}</h1>\n\
         {}</header>\n{}<main>\n{}</main>\n</body>\n</html>\n",
        include_str!("style.css"),
        head(material),
        contents(&sections),
        sections.concat(),
        title = escaped(&title),
    ))
}

fn title_of(material: &Material<'_>) -> String {
    let title = one_line(&material.opened.session.title);
    if title.is_empty() {
        "A ride on the test bench".to_owned()
    } else {
        title
    }
}

/// The claim, the answers, and what all blocks say together.
fn head(material: &Material<'_>) -> String {
    let (session, table) = (&material.opened.session, material.table);
    let mut out = format!(
        "<p class=\"about\">{}</p>\n",
        escaped(&claim_sentence(table))
    );
    let answers = material.answers;
    let headline = escaped(&answers.headline);
    out.push_str(&format!("<p class=\"answer\">{headline}.</p>\n"));
    if !answers.remark.is_empty() {
        out.push_str(&paragraph(&answers.remark));
    }
    out.push_str(&html::table("What a tester asks", &findings::grid(answers)));
    for caution in &session.claim_cautions() {
        out.push_str(&paragraph(&format!("{caution}.")));
    }
    for problem in &material.opened.problems {
        out.push_str(&paragraph(&format!("Left out: {problem}.")));
    }
    out
}

/// Links to the sections that there are.
fn contents(sections: &[String]) -> String {
    let names = [
        ("verdicts", "Verdict of each segment"),
        ("words", "In the tester's words"),
        ("tested", "What was tested, and how"),
        ("references", "Are the references fit to judge?"),
        ("segments", "Segment by segment"),
        ("ride", "Over the whole ride"),
        ("method", "Method"),
        ("cautions", "Cautions"),
        ("fingerprint", "Fingerprint"),
    ];
    let links: String = names
        .iter()
        .zip(sections)
        .filter(|(_, section)| !section.is_empty())
        .map(|((id, name), _)| format!("<li><a href=\"#{id}\">{}</a></li>\n", escaped(name)))
        .collect();
    format!("<nav aria-label=\"Contents\">\n<ul>\n{links}</ul>\n</nav>\n")
}

/// "+1.2 % ± 0.9 %", in the unit of the decision.
fn bias_in_words(verdict: &Verdict) -> [String; 3] {
    let written = |bias: Option<f64>, expanded: Option<f64>, limit: Option<f64>, unit: &str| {
        let one = |value: Option<f64>, signed: bool| {
            value.map_or_else(
                || "—".to_owned(),
                |v| format!("{} {unit}", number(v, 2, signed)),
            )
        };
        [one(bias, true), one(expanded, false), one(limit, false)]
    };
    if verdict.bias_percent.is_some() {
        written(
            verdict.bias_percent,
            verdict.expanded_uncertainty_percent,
            verdict.limit_percent,
            "%",
        )
    } else {
        written(
            verdict.bias_w,
            verdict.expanded_uncertainty_w,
            verdict.limit_w,
            "W",
        )
    }
}

fn verdicts(material: &Material<'_>) -> String {
    let mut rows = Vec::new();
    for segment in &material.table.segments {
        for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
            let [bias, expanded, limit] = bias_in_words(verdict);
            rows.push(vec![
                format!("{} {}", segment.id, segment.kind),
                clock_time(segment.from_s),
                number(segment.to_s - segment.from_s, 0, false),
                optional(segment.set_point_w, 0, false),
                verdict.under_test.clone(),
                signed_outcome(verdict.outcome),
                bias,
                expanded,
                limit,
                optional(verdict.conformance_probability, 3, false),
            ]);
        }
    }
    if rows.is_empty() {
        return paragraph("No segment is tagged, so nothing is judged.");
    }
    let links: Vec<String> = material
        .table
        .segments
        .iter()
        .map(|s| html::link(&format!("segment-{}", s.id), &s.id.to_string()))
        .collect();
    let links = format!("<p>To segment {}</p>\n", links.join(" "));
    let of_verdict = [
        "outcome",
        "bias_percent",
        "expanded_uncertainty_percent",
        "limit_percent",
        "conformance_probability",
    ]
    .map(|field| catalogue::figure(&format!("segments.verdict.{field}")).map_or("", Figure::short));
    let heads = ["segment", "from", "length, s", "set point, W", "source"];
    let heads = heads.into_iter().chain(of_verdict);
    let explained = paragraph(
        "Conforms: |bias| + U is at most the limit. Does not conform: |bias| − U is greater than the limit. Else the evidence is inconclusive (ILAC-G8:09/2019, guard band w = U).",
    );
    html::table(
        "Claim against evidence",
        &Grid::of(heads.map(Head::text), rows),
    ) + &links
        + &explained
}

fn words(material: &Material<'_>) -> String {
    let words = &material.opened.session.words;
    if *words == Words::default() {
        return String::new();
    }
    let mut out = paragraph("What follows is the tester's own conclusion; it is not computed.");
    for part in words.summary.split("\n\n").filter(|p| !p.trim().is_empty()) {
        out.push_str(&paragraph(part));
    }
    for (title, points) in [("For", &words.for_), ("Against", &words.against)] {
        if !points.is_empty() {
            out.push_str(&format!("<h3>{title}</h3>\n{}", list(points)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use quick_xml::events::Event;

    use super::*;
    use crate::analysis::table::Table;
    use crate::analysis::table::table;
    use crate::plan::Plan;
    use crate::rehearse::{Scenario, SessionOptions, ride};
    use crate::session::Fact;
    use crate::suggest::answered;
    use crate::timeline::Aligned;
    use crate::timeline::align::Alignment;

    const HARM: &str = "</title><script src=\"http://x.example/a.js\">alert(1)</script>'\u{202e}";

    /// The page of a rehearsed ride; with `harm` every text of others tries to do some.
    fn page(plan: &str, harm: bool) -> (String, Table) {
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
        let (page, table) = page("full-bench", true);
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
        // One picture a segment, and references, traces, error curve, coverage, curves of the ride.
        assert_eq!(count("figure"), table.segments.len() + 5);
        assert_eq!(count("figure"), count("figcaption"));
        assert_eq!(
            page.matches("role=\"img\" aria-label=").count(),
            count("figure")
        );
        assert_eq!((count("h1"), count("main"), count("nav")), (1, 1, 1));
        assert_eq!(count("table"), count("caption"));
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
            let harmless = page.replace("src=&quot;", "");
            assert!(!harmless.contains(forbidden), "{forbidden}");
        }
        for id in [
            "verdicts",
            "words",
            "tested",
            "references",
            "segments",
            "ride",
            "method",
            "cautions",
            "fingerprint",
        ] {
            assert_eq!(
                page.matches(&format!("<section id=\"{id}\"")).count(),
                1,
                "{id}"
            );
            assert!(page.contains(&format!("href=\"#{id}\"")), "{id}");
        }
    }

    #[test]
    fn the_answer_comes_before_everything_else() {
        let (page, table) = page("short-check", false);
        let answer = page.find("class=\"answer\"").unwrap();
        assert!(answer < page.find("<nav").unwrap());
        assert!(answer < page.find("<section").unwrap());
        let verdict = table.segments.iter().find_map(|s| s.verdict.as_ref());
        for reason in verdict.unwrap().sentences() {
            assert!(page.contains(&html::escaped(&reason)), "{reason}");
        }
        for caution in CAUTIONS {
            assert!(page.contains(&html::escaped(caution)));
        }
    }
}
