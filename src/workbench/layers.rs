//! No file of the workbench leads back to itself: each uses only files that do not use it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Modules by their path from the folder of the workbench, each with its source without tests.
fn sources(folder: &Path, module: &[String], found: &mut BTreeMap<Vec<String>, String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let stem = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let mut inner = module.to_vec();
        if stem != "mod" {
            inner.push(stem.clone());
        }
        let is_test = ["tests", "bench", "layers"].contains(&&*stem) || stem.ends_with("_tests");
        if path.is_dir() {
            sources(&path, &inner, found);
        } else if path.extension().is_some_and(|e| e == "rs") && !is_test {
            let text = std::fs::read_to_string(&path).unwrap();
            let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
            let lines = code.lines().filter(|l| !l.trim_start().starts_with("//"));
            found.insert(inner, lines.collect::<Vec<_>>().join("\n"));
        }
    }
}

/// The paths that a source names, in words: `a::{b::c, d}` is two.
fn paths(source: &str) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    let (mut stack, mut path, mut word) = (Vec::new(), Vec::<String>::new(), String::new());
    let spaced = source.replace("::", "\u{1}");
    for c in spaced.chars().chain([' ']) {
        match c {
            c if c.is_alphanumeric() || c == '_' => word.push(c),
            '\u{1}' => path.push(std::mem::take(&mut word)),
            '{' if !path.is_empty() && word.is_empty() => stack.push(path.clone()),
            _ => {
                path.push(std::mem::take(&mut word));
                out.push(std::mem::take(&mut path));
                if c == '{' {
                    stack.push(Vec::new());
                } else if c == '}' {
                    stack.pop();
                }
                if [',', '{'].contains(&c) || c.is_whitespace() {
                    path = stack.last().cloned().unwrap_or_default();
                }
            }
        }
    }
    out
}

#[test]
fn no_file_leads_back_to_itself() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/workbench");
    let mut files = BTreeMap::new();
    sources(&root, &[], &mut files);
    let uses = |module: &Vec<String>| -> BTreeSet<Vec<String>> {
        let real = |path: &Vec<String>| path.len() > 1 && !path.ends_with(&[String::new()]);
        let named = paths(&files[module]).into_iter().filter(real);
        let named = named.filter_map(|path| {
            let ups = path.iter().take_while(|word| *word == "super").count();
            let mut full = match path.iter().map(String::as_str).collect::<Vec<_>>()[..] {
                ["crate", "workbench", ..] => path[2..].to_vec(),
                _ if ups > module.len() || path[0] == "crate" => return None,
                _ => [&module[..module.len() - ups], &path[ups..]].concat(),
            };
            // The file that holds it: the longest beginning that is one.
            while !files.contains_key(&full) {
                full.pop()?;
            }
            (full != *module && !full.is_empty()).then_some(full)
        });
        named.collect()
    };
    let graph: BTreeMap<_, _> = files.keys().map(|module| (module, uses(module))).collect();
    assert!(graph.values().map(BTreeSet::len).sum::<usize>() > 100);
    // What uses nothing that is left is taken away; a circle stays.
    let mut left: BTreeSet<&Vec<String>> = graph.keys().copied().collect();
    loop {
        let free = |m: &&&Vec<String>| !graph[**m].iter().any(|used| left.contains(used));
        let free: Vec<_> = left.iter().filter(free).copied().collect();
        if free.is_empty() {
            break;
        }
        left.retain(|module| !free.contains(module));
    }
    let circle = left.iter().map(|module| {
        let used = graph[*module].iter().filter(|used| left.contains(used));
        let used: Vec<String> = used.map(|used| used.join("/")).collect();
        format!("{} uses {}", module.join("/"), used.join(", "))
    });
    let circle: Vec<String> = circle.collect();
    assert!(circle.is_empty(), "a circle among\n{}", circle.join("\n"));
}
