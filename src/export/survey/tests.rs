use super::*;
use crate::analysis::questions::{Finding, Question};
use crate::analysis::survey::sample::ride;
use crate::analysis::survey::{Asked, Asks, Skipped, Surveyed, survey};
use crate::export::figure::{Backdrop, svg};

fn asked(question: Question, outcome: Finding, value: f64) -> Asked {
    Asked {
        question,
        source: "trainer".into(),
        outcome,
        value: Some(value),
        unit: "%",
        interval: Some([value - 0.8, value + 0.8]),
        limit: Some(2.0),
    }
}

/// Two firmwares, three rides; the second has a fault.
fn two_firmwares() -> Survey {
    let with = |named: &str, firmware: &str, blocks: &[(f64, f64)]| {
        let accuracy = match firmware {
            "1.0" => asked(Question::Accuracy, Finding::Fault, 3.0),
            _ => asked(Question::Accuracy, Finding::Fine, 0.2),
        };
        Surveyed {
            questions: vec![accuracy, asked(Question::Level, Finding::CannotTell, -1.7)],
            ..ride(named, &[("firmware", firmware)], blocks)
        }
    };
    let sessions = vec![
        with("monday", "1.0", &[(150.0, 1.0), (150.0, 1.2), (250.0, 2.0)]),
        with(
            "tuesday",
            "1.0",
            &[(150.0, 2.0), (150.0, 2.2), (250.0, 3.0)],
        ),
        with(
            "friday",
            "1.1",
            &[(150.0, 0.1), (150.0, -0.1), (250.0, 0.2)],
        ),
    ];
    let skipped = vec![Skipped {
        session: "sunday".into(),
        reason: "sunday/session.toml: no session here".into(),
    }];
    let asks = Asks {
        contrasts: vec!["firmware=1.0,1.1".parse().unwrap()],
        ..Asks::default()
    };
    survey(&asks, sessions, skipped).unwrap()
}

#[test]
fn every_shape_is_compared_whole() {
    let found = two_firmwares();
    insta::assert_snapshot!("survey_text", text(&found));
    insta::assert_snapshot!("survey_csv", crate::text::csv(lines(&found)));
    insta::assert_snapshot!(
        "survey_contrasts_csv",
        crate::text::csv(contrast_lines(&found))
    );
    insta::assert_snapshot!(
        "survey_questions_csv",
        crate::text::csv(question_lines(&found))
    );
    insta::assert_snapshot!("survey_markdown", markdown(&found));
}

/// Every head that is new has its figure.
#[test]
fn every_head_of_a_contrast_is_explained() {
    use crate::analysis::catalogue::named;
    let found = two_firmwares();
    let grids = [
        compared::contrasts(&found),
        compared::tests(&found),
        compared::ladder(&found),
    ];
    let heads = grids
        .iter()
        .flat_map(|grid| grid.heads.iter().map(|head| head.name.clone()));
    let heads = heads.filter(|head| !["contrast", "firmware"].contains(&head.as_str()));
    let columns = CONTRAST_COLUMNS[6..23]
        .iter()
        .map(|column| (*column).to_owned());
    for name in heads.chain(columns) {
        let bare = name.replace("_lower", "").replace("_upper", "");
        assert!(!named(&bare).is_empty(), "{name}");
    }
    for name in ["s_r", "s_L", "s_R", "questions by unit"] {
        assert!(!named(name).is_empty(), "{name}");
    }
}

/// A row a unit under each set point; kinds are not joined, and nothing is.
#[test]
fn the_picture_is_a_forest_under_each_set_point() {
    use crate::picture::parts::{Layer, Mark, Ticks};
    let drawn = set_points(&two_firmwares()).unwrap();
    let Ticks::Rows(rows) = &drawn.y.ticks else {
        panic!("no rows");
    };
    let names: Vec<&str> = rows.iter().map(|row| row.name.trim()).collect();
    let expected = [
        "150 W, steady-block",
        "firmware 1.0",
        "firmware 1.1",
        "250 W, steady-block",
        "firmware 1.0",
        "firmware 1.1",
    ];
    assert_eq!(names, expected);
    let means = drawn.layers.iter().filter_map(|layer| match layer {
        Layer::Points { points, mark, .. } if *mark != Mark::Dot => Some(points[0]),
        _ => None,
    });
    let means: Vec<[f64; 2]> = means.collect();
    assert_eq!(means.len(), 4, "one a unit and set point");
    // By hand: the sessions' means 1.1 and 2.1.
    assert!((means[0][0] - 1.6).abs() < 1e-12 && means[0][1] == 1.0);
    for layer in &drawn.layers {
        if let Layer::Line { points, .. } = layer {
            assert!(points.len() == 2 && points[0][1] == points[1][1]);
        }
    }
    assert!(!svg(&drawn, 800, Backdrop::Light).unwrap().contains("NaN"));
    assert!(set_points(&Survey::default()).is_err());
}

#[test]
fn questions_and_contrasts_are_pictures_too() {
    let found = two_firmwares();
    let questions = svg(&questions_picture(&found).unwrap(), 1200, Backdrop::Light).unwrap();
    assert!(questions.contains("accuracy") && questions.contains("1 fault"));
    let contrasts = svg(&contrasts_picture(&found).unwrap(), 1200, Backdrop::Light).unwrap();
    assert!(contrasts.contains("firmware 1.0 - 1.1") && !contrasts.contains("NaN"));
    assert!(questions_picture(&Survey::default()).is_err());
    assert!(contrasts_picture(&Survey::default()).is_err());
}

#[test]
fn the_page_answers_first_and_is_sound() {
    let found = two_firmwares();
    let page = page(&found);
    let order = [
        "<h1",
        "class=\"matrix\"",
        "id=\"alike\"",
        "id=\"where\"",
        "<details>",
    ];
    let places: Vec<usize> = order.iter().map(|part| page.find(part).unwrap()).collect();
    assert!(places.windows(2).all(|two| two[0] < two[1]), "{places:?}");
    for forbidden in ["<script", "http", "src=", "url(", "@import", "NaN", "<th>"] {
        assert!(!page.contains(forbidden), "{forbidden}");
    }
    let mut reader = quick_xml::Reader::from_str(&page);
    loop {
        match reader.read_event().unwrap() {
            quick_xml::events::Event::Eof => break,
            quick_xml::events::Event::Start(start) => {
                start
                    .attributes()
                    .for_each(|attribute| drop(attribute.unwrap()));
            }
            _ => {}
        }
    }
    // A gauge is for the eye: beside each stands its figure, and the sign in words.
    assert!(page.matches("class=\"gauge\" aria-hidden=\"true\"").count() >= 6);
    assert!(page.contains("<span class=\"hide\">fault</span>"));
}

#[test]
fn names_of_others_do_no_harm() {
    const HARM: &str = "</title><script>alert(1)</script>\u{202e}";
    let sessions = ["3", HARM].map(|unit| Surveyed {
        ..ride(
            unit,
            &[("unit", unit), ("origin", HARM)],
            &[(150.0, 1.0), (200.0, 1.1)],
        )
    });
    let asks = Asks {
        contrasts: vec!["unit".parse().unwrap()],
        ..Asks::default()
    };
    let page = page(&survey(&asks, sessions.to_vec(), Vec::new()).unwrap());
    assert!(!page.contains("<script") && !page.contains('\u{202e}'));
    assert!(page.contains("&lt;script"));
}
