//! The house's order, read from the sources: each folder of `src/` uses only those before it, and
//! within a folder no two files need each other.
#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

/// Each folder uses only those before it.
const ORDER: [&str; 14] = [
    "text",
    "stats",
    "recording",
    "session",
    "timeline",
    "analysis",
    "plan",
    "suggest",
    "picture",
    "rehearse",
    "export",
    "workbench",
    "commands",
    "main",
];

/// A path of modules or of what stands in them, from the crate's root.
type Path = Vec<String>;

/// Every file of `src/` by its module path, with the code in it that is not for tests.
fn sources() -> BTreeMap<Path, String> {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut folders, mut out, mut for_tests) = (vec![root.clone()], BTreeMap::new(), Vec::new());
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let file = entry.unwrap().path();
            if file.is_dir() {
                folders.push(file);
            } else if file.extension().is_some_and(|e| e == "rs") {
                let inside = file.strip_prefix(&root).unwrap().with_extension("");
                let parts = inside.iter().map(|part| part.to_str().unwrap().to_owned());
                let mut path: Path = parts.collect();
                path.pop_if(|last| last == "mod");
                let text = std::fs::read_to_string(&file).unwrap();
                let (code, modules) = without_tests(&text);
                for_tests.extend(modules.iter().map(|name| joined(&path, &[name])));
                out.insert(path, code);
            }
        }
    }
    out.retain(|path, _| !for_tests.iter().any(|test| path.starts_with(test)));
    out.remove(&joined(&[], &["lib"]));
    out
}

fn joined(path: &[String], rest: &[&str]) -> Path {
    let rest = rest.iter().map(|&part| part.to_owned());
    path.iter().cloned().chain(rest).collect()
}

/// The code without comments, names of its modules, and what is compiled for tests only, and the names of the
/// files that are for tests only.
fn without_tests(text: &str) -> (String, Vec<&str>) {
    let indent = |line: &str| line.len() - line.trim_start().len();
    let (mut code, mut modules) = (String::new(), Vec::new());
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let declares = line.ends_with(';') && line.contains("mod ");
        if declares {
            continue;
        }
        if line.trim() != "#[cfg(test)]" {
            code.push_str(line.split("//").next().unwrap_or_default());
            code.push('\n');
            continue;
        }
        // To the end of the item: a brace that closes it, or a line that is all of it.
        let is_end = |l: &str| indent(l) == indent(line) && l.ends_with([';', '}']);
        let last = lines.by_ref().find(|l| is_end(l)).unwrap_or_default();
        let module = last.trim_end_matches(';').split_once("mod ");
        modules.extend(module.map(|(_, name)| name));
    }
    (code, modules)
}

/// Every path written in `code`, groups taken apart: `a::{b, c::D}` is `a::b` and `a::c::D`.
fn paths(code: &str) -> Vec<Path> {
    let mut out = Vec::new();
    let mut rest = code;
    while let Some(start) = rest.find(|c: char| c.is_alphabetic() || c == '_') {
        rest = &rest[start..];
        let end = tree(rest, &[], &mut out);
        rest = &rest[end..];
    }
    out
}

/// Reads the paths that begin with `before` and go on with `text`; where that ends.
fn tree(text: &str, before: &[String], out: &mut Vec<Path>) -> usize {
    let mut path = before.to_vec();
    let mut at = 0;
    loop {
        let rest = &text[at..];
        let is_word = |c: char| c.is_alphanumeric() || c == '_' || c == '*';
        let length = rest.find(|c| !is_word(c)).unwrap_or(rest.len());
        if length == 0 && rest.starts_with('{') && at > 0 {
            return at + group(rest, &path, out);
        }
        path.extend((length > 0).then(|| rest[..length].to_owned()));
        at += length;
        if length == 0 || !text[at..].starts_with("::") {
            out.push(path);
            return at.max(1);
        }
        at += 2;
    }
}

fn group(text: &str, before: &[String], out: &mut Vec<Path>) -> usize {
    let mut at = 1;
    while let Some(skipped) = text[at..].find(|c: char| !c.is_whitespace() && c != ',') {
        at += skipped;
        if text[at..].starts_with('}') {
            return at + 1;
        }
        at += tree(&text[at..], before, out);
        // What it is called here does not matter.
        at += text[at..].find([',', '}']).unwrap_or(0);
    }
    text.len()
}

/// `path`, written in the file `from`, from the root; `None` where it leads out of the crate.
fn absolute(from: &[String], path: &[String], files: &BTreeMap<Path, String>) -> Option<Path> {
    // A word alone is no way to another file.
    let (first, rest) = path.split_first().filter(|(_, rest)| !rest.is_empty())?;
    let mut at = from.to_vec();
    match first.as_str() {
        "crate" => at.clear(),
        "self" => {}
        "super" => {
            at.pop();
            // More of them may follow.
            let again = rest.first().is_some_and(|next| next == "super");
            return match again {
                true => absolute(&at, rest, files),
                false => Some([at, rest.to_vec()].concat()),
            };
        }
        name if files.contains_key(&joined(from, &[name])) => at.push(first.clone()),
        _ => return None,
    }
    Some([at, rest.to_vec()].concat())
}

/// What each file hands on from another, by the name it then has.
type HandedOn = BTreeMap<Path, Path>;

/// Takes the statements that hand on out of the code.
fn take_handed_on(files: &mut BTreeMap<Path, String>) -> HandedOn {
    let mut out = HandedOn::new();
    let known = files.clone();
    for (from, code) in files {
        let mut own = String::new();
        for statement in code.split_inclusive(';') {
            let used = statement.rsplit_once(" use ").filter(|(head, _)| {
                let head = head.lines().last().unwrap_or_default().trim();
                head.starts_with("pub") && !head.contains(' ')
            });
            let Some((_, used)) = used else {
                own.push_str(statement);
                continue;
            };
            for path in paths(used) {
                let target = absolute(from, &path, &known);
                if let (Some(name), Some(target)) = (path.last(), target) {
                    out.insert(joined(from, &[name]), target);
                }
            }
        }
        *code = own;
    }
    out
}

/// The file in which `path` stands.
fn file_of(path: &[String], files: &BTreeMap<Path, String>, handed_on: &HandedOn) -> Option<Path> {
    let length = (1..=path.len())
        .rev()
        .find(|&n| files.contains_key(&path[..n]))?;
    let (file, name) = (&path[..length], path.get(length));
    let named = name.and_then(|name| handed_on.get(&joined(file, &[name])));
    match named {
        Some(target) if target != path => file_of(target, files, handed_on),
        _ => Some(file.to_vec()),
    }
}

/// Which file uses which.
fn uses() -> BTreeMap<Path, BTreeSet<Path>> {
    let mut files = sources();
    let handed_on = take_handed_on(&mut files);
    let of = |from: &Path, code: &String| {
        let written = paths(code).into_iter();
        let used = written.filter_map(|path| {
            let path = absolute(from, &path, &files)
                .or_else(|| handed_on.get(&joined(from, &[&path[0]])).cloned())?;
            file_of(&path, &files, &handed_on)
        });
        used.filter(|file| file != from).collect()
    };
    files
        .iter()
        .map(|(from, code)| (from.clone(), of(from, code)))
        .collect()
}

/// Every file that `from` needs, directly or not.
fn reach(from: &Path, uses: &BTreeMap<Path, BTreeSet<Path>>) -> BTreeSet<Path> {
    let (mut found, mut open) = (BTreeSet::new(), vec![from]);
    while let Some(file) = open.pop() {
        open.extend(
            uses[file]
                .iter()
                .filter(|used| found.insert((*used).clone())),
        );
    }
    found
}

#[test]
fn each_folder_uses_only_those_before_it() {
    let place = |path: &Path| ORDER.iter().position(|folder| *folder == path[0]);
    for (from, used) in uses() {
        let own = place(&from).unwrap_or_else(|| panic!("{} has no place in ORDER", from[0]));
        for file in used {
            let (from, file_name) = (from.join("::"), file.join("::"));
            assert!(
                place(&file) <= Some(own),
                "{from} uses {file_name}, which comes after it"
            );
        }
    }
}

#[test]
fn no_files_need_each_other() {
    let uses = uses();
    let reach: BTreeMap<&Path, BTreeSet<Path>> =
        uses.keys().map(|file| (file, reach(file, &uses))).collect();
    let circle = |file: &&Path| -> BTreeSet<String> {
        let mutual = reach[file]
            .iter()
            .filter(|other| reach[other].contains(*file));
        mutual.map(|file| file.join("::")).collect()
    };
    let found: BTreeSet<BTreeSet<String>> = uses
        .keys()
        .map(|file| circle(&file))
        .filter(|c| !c.is_empty())
        .collect();
    assert!(found.is_empty(), "files that need each other: {found:#?}");
}

#[test]
fn paths_are_read_as_the_compiler_reads_them() {
    let code = "use super::{a::{B, c}, d as e};\nlet x = crate::f::g(H::i);\npub use j::*;";
    let read: Vec<String> = paths(code).iter().map(|path| path.join("::")).collect();
    for path in [
        "super::a::B",
        "super::a::c",
        "super::d",
        "crate::f::g",
        "H::i",
        "j::*",
    ] {
        assert!(
            read.iter().any(|read| read == path),
            "{path} is not in {read:?}"
        );
    }
    let text = "a\n#[cfg(test)]\nmod tests {\n    b;\n}\n#[cfg(test)]\nmod vectors;\nc // d\n";
    assert_eq!(without_tests(text), ("a\nc \n".to_owned(), vec!["vectors"]));
    let uses = uses();
    let (store, parse) = (
        joined(&[], &["session", "store"]),
        joined(&[], &["session", "parse"]),
    );
    assert!(uses[&store].contains(&parse), "{:?}", uses[&store]);
}
