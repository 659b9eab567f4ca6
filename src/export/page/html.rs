//! The few pieces of HTML that the report is made of. Every text is escaped here; the page is also
//! well-formed XML, which a test can check.

use std::fmt::Write as _;

use crate::text::{Edge, Grid, one_line};

/// `text` as content or attribute: neither mark-up nor steering characters survive.
pub(in crate::export) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in one_line(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(c),
        }
    }
    out
}

/// `text` as content, set: real minus signs, numbers that keep their unit on the line, E_n with its
/// index.
pub(in crate::export) fn set(text: &str) -> String {
    let escaped = escaped(text);
    let chars: Vec<char> = escaped.chars().collect();
    let mut out = String::with_capacity(escaped.len());
    let at = |index: Option<usize>| index.and_then(|i| chars.get(i)).copied().unwrap_or(' ');
    for (index, c) in chars.iter().enumerate() {
        let (before, after) = (at(index.checked_sub(1)), at(Some(index + 1)));
        let starts_word = !before.is_alphanumeric() && before != '-';
        match c {
            '-' if after.is_ascii_digit() && starts_word => out.push('−'),
            ' ' if after == '±' || before == '±' => out.push('\u{a0}'),
            ' ' if before.is_ascii_digit() && is_unit(&chars[index + 1..]) => out.push('\u{a0}'),
            _ => out.push(*c),
        }
    }
    out.replace("E_n", "E<sub>n</sub>")
}

/// Whether a unit begins here.
fn is_unit(rest: &[char]) -> bool {
    let word: String = rest
        .iter()
        .take(8)
        .take_while(|c| c.is_alphanumeric() || "%/°".contains(**c))
        .collect();
    let units = [
        "W", "%", "s", "min", "h", "m/s", "rpm", "points", "ppm", "°C", "N", "of",
    ];
    units.contains(&word.as_str())
}

/// A paragraph.
pub(in crate::export) fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", set(text))
}

/// A list; empty for no items.
pub(in crate::export) fn list<S: AsRef<str>>(items: impl IntoIterator<Item = S>) -> String {
    let inner: String = items
        .into_iter()
        .map(|item| format!("<li>{}</li>\n", set(item.as_ref())))
        .collect();
    if inner.is_empty() {
        inner
    } else {
        format!("<ul>\n{inner}</ul>\n")
    }
}

/// A list of terms with what they are; empty for no items.
pub(in crate::export) fn terms(items: &[(String, String)]) -> String {
    let inner: String = items
        .iter()
        .map(|(term, value)| format!("<div><dt>{}</dt><dd>{}</dd></div>\n", set(term), set(value)))
        .collect();
    if inner.is_empty() {
        inner
    } else {
        format!("<dl>\n{inner}</dl>\n")
    }
}

/// A table with a caption; the first cell of each row is its head. Empty for no rows.
pub(in crate::export) fn table(caption: &str, grid: &Grid) -> String {
    if grid.rows.is_empty() {
        return String::new();
    }
    let class = |edge: Edge| match edge {
        Edge::Right => " class=\"n\"",
        Edge::Left => "",
    };
    let caption = match caption {
        "" => String::new(),
        caption => format!("<caption>{}</caption>\n", set(caption)),
    };
    let mut out = format!("<div class=\"wide\"><table>\n{caption}<thead><tr>");
    for head in &grid.heads {
        let (name, unit) = (set(&head.name), set(head.unit));
        let unit = match head.unit {
            "" => String::new(),
            _ => format!("<span class=\"unit\">{unit}</span>"),
        };
        let _ = write!(
            out,
            "<th scope=\"col\"{}>{name}{unit}</th>",
            class(head.edge)
        );
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &grid.rows {
        out.push_str("<tr>");
        for (index, (cell, head)) in row.iter().zip(&grid.heads).enumerate() {
            let (cell, class) = (set(cell), class(head.edge));
            if index == 0 {
                let _ = write!(out, "<th scope=\"row\"{class}>{cell}</th>");
            } else {
                let _ = write!(out, "<td{class}>{cell}</td>");
            }
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n");
    out
}

/// What is folded away on a screen and left out on paper; nothing where the body is empty.
pub(in crate::export) fn folded(title: &str, body: &str) -> String {
    if body.is_empty() {
        return String::new();
    }
    format!(
        "<details>\n<summary>{}</summary>\n{body}</details>\n",
        set(title)
    )
}

/// The whole document: `foot` stands at the foot of every printed page.
pub(in crate::export) fn document(title: &str, foot: &str, head: &str, body: &str) -> String {
    let (foot, title) = (css_string(foot), escaped(title));
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <title>{title}</title>\n<style>\n{}@page {{ @bottom-left {{ content: \"{foot}\"; }} }}\n</style>\n</head>\n<body>\n<header>\n{head}</header>\n\
         <main>\n{body}</main>\n</body>\n</html>\n",
        include_str!("style.css"),
    )
}

/// A section with its heading; nothing where the body is empty.
pub(in crate::export) fn section(id: &str, title: &str, body: &str) -> String {
    if body.is_empty() {
        return String::new();
    }
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-head\">\n<h2 id=\"{id}-head\">{}</h2>\n{body}</section>\n",
        set(title)
    )
}

/// Text as a string of the style sheet.
fn css_string(text: &str) -> String {
    let mut out = String::new();
    for c in one_line(text).chars() {
        match c {
            '"' | '\\' | '<' | '>' | '&' | '\'' => {
                let _ = write!(out, "\\{:x} ", u32::from(c));
            }
            _ => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_set_with_their_units_and_a_real_minus() {
        assert_eq!(
            set("-2.9 ± 0.7 points, -3 W"),
            "−2.9\u{a0}±\u{a0}0.7\u{a0}points, −3\u{a0}W"
        );
        assert_eq!(
            set("steady-block 3-4, E_n <b>"),
            "steady-block 3-4, E<sub>n</sub> &lt;b&gt;"
        );
        assert_eq!(set("10 Watts of it"), "10 Watts of it");
    }
}
