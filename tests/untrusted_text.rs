//! Names and notes of others can steer neither the terminal nor a page nor a spreadsheet: escape
//! sequences, overrides of the writing direction, invisible characters, markup and formulas are
//! harmless on the screen, in HTML, SVG, Markdown, CSV and text.

use std::path::{Path, PathBuf};
use std::process::Command;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use truing::export::table;
use truing::session::{OpenOptions, OpenedSession};
use truing::timeline::Aligned;
use truing::workbench::draw::draw;
use truing::workbench::keymap::{Key, Keymap};
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};
use truing::workbench::update::{Action, update};

/// As TOML writes it: clear the screen, turn the writing round, hide, break the line and the table,
/// start a formula, open a tag.
const POISON: &str = r#"=cmd\u001B[2J\u202Egnp\u200B\u0007|x\r\nforged](x:y)<script>alert(1)</script>\u009B31m\u2066"#;

/// A session in which everything that can be a name is poisoned.
fn poisoned(folder: &Path) -> PathBuf {
    let recordings = folder.join("recordings");
    std::fs::create_dir_all(&recordings).unwrap();
    for (name, shift) in [("t", 0), ("p", 3)] {
        let rows: String = (0..600)
            .map(|t| format!("{t},{},{}\n", 200 + shift + t * 7 % 11, 85 + t % 5))
            .collect();
        let text = format!("time_s,power_w,cadence\n{rows}");
        // The file's own name as well.
        let file = recordings.join(format!("{name}\u{1b}[31m\u{202e}<b>.csv"));
        std::fs::write(file, text).unwrap();
    }
    let stream = |name: &str, role: &str, site: &str| {
        format!(
            "[[stream]]\nlabel = \"{name}{POISON}\"\nfile = \"recordings/{name}\\u001B[31m\\u202E<b>.csv\"\nrole = \"{role}\"\nsite = \"{site}\"\nclaim_percent = 1.0\n\n"
        )
    };
    let session = format!(
        "format = 1\ntitle = \"{POISON}\"\n\n[claim]\npercent = 2.0\nwatts = 0.0\n\n[facts]\nunit = \"{POISON}\"\n\n[words]\nsummary = \"{POISON}\"\nfor = [\"{POISON}\"]\nagainst = [\"{POISON}\"]\n\n{}{}[[segment]]\nkind = \"steady-block\"\nfrom_s = 0.0\nto_s = 300.0\nset_point_w = 200.0\nnote = \"{POISON}\"\n\n[[segment]]\nkind = \"open\"\nfrom_s = 310.0\nto_s = 500.0\nnote = \"{POISON}\"\n",
        stream("t", "under-test", "trainer"),
        stream("p", "reference", "pedal"),
    );
    std::fs::write(folder.join("session.toml"), session).unwrap();
    folder.to_owned()
}

fn is_harmful(c: char) -> bool {
    let steers = c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    let invisible = matches!(c,
        '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}');
    steers || invisible
}

fn assert_harmless(what: &str, text: &str) {
    if let Some((at, c)) = text.char_indices().find(|(_, c)| is_harmful(*c)) {
        let around: String = text[..at].chars().rev().take(40).collect();
        panic!(
            "{what}: {c:?} after {:?}",
            around.chars().rev().collect::<String>()
        );
    }
    assert!(text.contains("gnp"), "{what}: the name is not in it at all");
}

fn done(arguments: &[&str], folder: &Path) -> (String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(arguments)
        .current_dir(folder)
        .env("HOME", folder)
        .output()
        .unwrap();
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {errors}");
    (String::from_utf8(output.stdout).unwrap(), errors)
}

#[test]
fn every_table_is_harmless() {
    let home = tempfile::tempdir().unwrap();
    poisoned(&home.path().join("s"));
    for command in ["table", "verdict", "align", "survey"] {
        for format in ["text", "markdown", "csv"] {
            let (text, errors) = done(&[command, "s", "--format", format], home.path());
            let what = format!("{command} as {format}");
            assert!(
                !errors.lines().any(|l| l.starts_with("forged")),
                "{what}: {errors}"
            );
            if command != "survey" {
                assert_harmless(&what, &text);
            }
            assert!(!text.chars().any(is_harmful), "{what}");
            assert!(!errors.chars().any(is_harmful), "{what}: {errors:?}");
        }
    }
    // JSON gives every name as it is, and no terminal takes it for its own.
    let (json, _) = done(&["table", "s", "--format", "json"], home.path());
    assert!(!json.chars().any(is_harmful), "{json}");
    let table: serde_json::Value = serde_json::from_str(&json).unwrap();
    let label = table["streams"][0]["label"].as_str().unwrap();
    assert!(label.contains("\u{1b}[2J\u{202e}gnp"), "{label:?}");
    let full = ["table", "s", "--full", "--format", "csv"];
    let (csv, _) = done(&full, home.path());
    for record in csv::Reader::from_reader(csv.as_bytes()).records() {
        for cell in &record.unwrap() {
            assert!(!cell.starts_with(['=', '@']), "{cell:?} would be run");
        }
    }
    for command in ["table", "verdict", "align", "suggest", "survey"] {
        let (page, _) = done(&[command, "s", "--format", "markdown"], home.path());
        assert!(!page.contains("<script"), "{command}: {page}");
        let links = page
            .match_indices("](")
            .map(|(at, _)| page[..at].ends_with('\\'));
        assert!(
            links.into_iter().all(|escaped| escaped),
            "{command}: {page}"
        );
        // A line break in a name begins no heading, row or sentence of its own.
        for format in ["text", "markdown"] {
            let (text, _) = done(&[command, "s", "--format", format], home.path());
            assert!(
                !text.lines().any(|l| l.starts_with("forged")),
                "{command}: {text}"
            );
        }
    }
}

/// The workbench writes its tables without a subcommand between.
#[test]
fn the_tables_themselves_are_harmless() {
    let home = tempfile::tempdir().unwrap();
    let folder = poisoned(home.path());
    let opened = OpenedSession::open(&folder, OpenOptions::default()).unwrap();
    let table = truing::analysis::table::table(&opened.session, &Aligned::new(&opened));
    assert_harmless("text", &table::text(&table));
    assert_harmless("markdown", &table::markdown(&table));
    assert_harmless("csv", &table::csv(&table));
    let none = truing::analysis::questions::Findings::default();
    assert_harmless("short text", &table::short_text(&table, &none));
    assert_harmless("short markdown", &table::short_markdown(&table, &none));
    assert_harmless("short csv", &table::short_csv(&table, &none));
}

#[test]
fn the_page_and_the_pictures_are_harmless() {
    let home = tempfile::tempdir().unwrap();
    poisoned(&home.path().join("s"));
    done(&["report", "s", "-o", "page.html"], home.path());
    let page = std::fs::read_to_string(home.path().join("page.html")).unwrap();
    assert_harmless("page", &page);
    assert!(!page.contains("<script") && !page.contains("<b>."));
    let picture = [
        "figure",
        "s",
        "--segment",
        "1",
        "--kind",
        "traces",
        "-o",
        "p.svg",
    ];
    done(&picture, home.path());
    let picture = std::fs::read_to_string(home.path().join("p.svg")).unwrap();
    assert_harmless("picture", &picture);
    assert!(!picture.contains("<script"));
}

#[test]
fn the_screen_is_harmless() {
    let home = tempfile::tempdir().unwrap();
    let folder = poisoned(&home.path().join("s"));
    let opened = OpenedSession::open(&folder, OpenOptions::default()).unwrap();
    assert!(opened.problems.is_empty(), "{:?}", opened.problems);
    for ascii in [false, true] {
        let look = Look {
            depth: Depth::None,
            ground: Ground::Dark,
            ascii,
        };
        let mut state = State::new(opened.clone(), look, Keymap::default(), (160, 50));
        // The segments with their notes, the dialog of streams, its claims and labels, the views.
        for key in
            "down down up E enter esc R C x esc esc M esc o c o a o e o f o h o v o p".split(' ')
        {
            update(&mut state, Action::Key(Key::parse(key).unwrap()));
            let area = Rect::new(0, 0, 160, 50);
            let mut buffer = Buffer::empty(area);
            draw(&state, area, &mut buffer);
            let shown: String = buffer.content.iter().map(|cell| cell.symbol()).collect();
            assert_harmless(&format!("the screen after {key}"), &shown);
            if ascii {
                assert!(shown.is_ascii(), "after {key}");
            }
        }
    }
}

#[test]
fn what_a_recording_is_called_is_harmless_in_messages() {
    let home = tempfile::tempdir().unwrap();
    let name = "gnp\u{1b}[31m\u{202e}\u{200b}.csv";
    std::fs::write(home.path().join(name), "time,power\n0,1\n").unwrap();
    for arguments in [vec!["probe", name], vec!["probe", "absent\u{1b}[2J.fit"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_truing"))
            .args(&arguments)
            .current_dir(home.path())
            .output()
            .unwrap();
        for bytes in [&output.stdout, &output.stderr] {
            let text = String::from_utf8_lossy(bytes);
            assert!(!text.chars().any(is_harmful), "{arguments:?}: {text:?}");
        }
    }
}
