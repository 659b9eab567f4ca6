//! The few pieces of HTML that the report is made of. Every text is escaped here; the page is also
//! well-formed XML, which a test can check.

use std::fmt::Write as _;

use crate::text::{Edge, Grid, one_line};

/// `text` as content or attribute: neither mark-up nor steering characters survive.
pub(super) fn escaped(text: &str) -> String {
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

/// A paragraph.
pub(super) fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", escaped(text))
}

/// A list; empty for no items.
pub(super) fn list<S: AsRef<str>>(items: impl IntoIterator<Item = S>) -> String {
    let inner: String = items
        .into_iter()
        .map(|item| format!("<li>{}</li>\n", escaped(item.as_ref())))
        .collect();
    if inner.is_empty() {
        inner
    } else {
        format!("<ul>\n{inner}</ul>\n")
    }
}

/// A list of terms with what they are; empty for no items.
pub(super) fn terms(items: &[(String, String)]) -> String {
    let inner: String = items
        .iter()
        .map(|(term, value)| {
            format!(
                "<div><dt>{}</dt><dd>{}</dd></div>\n",
                escaped(term),
                escaped(value)
            )
        })
        .collect();
    if inner.is_empty() {
        inner
    } else {
        format!("<dl>\n{inner}</dl>\n")
    }
}

/// A link within the page.
pub(super) fn link(id: &str, text: &str) -> String {
    format!("<a href=\"#{id}\">{}</a>", escaped(text))
}

/// A table with a caption; the first cell of each row is its head. Empty for no rows.
pub(super) fn table(caption: &str, grid: &Grid) -> String {
    if grid.rows.is_empty() {
        return String::new();
    }
    let mut out = format!(
        "<div class=\"wide\"><table>\n<caption>{}</caption>\n<thead><tr>",
        escaped(caption)
    );
    for head in &grid.heads {
        let name = escaped(&head.with_unit(", ", ""));
        let _ = write!(out, "<th scope=\"col\">{name}</th>");
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &grid.rows {
        out.push_str("<tr>");
        for (index, (cell, head)) in row.iter().zip(&grid.heads).enumerate() {
            let cell = match head.edge {
                Edge::Right => escaped(&cell.replace('-', "−")),
                Edge::Left => escaped(cell),
            };
            if index == 0 {
                let _ = write!(out, "<th scope=\"row\">{cell}</th>");
            } else {
                let _ = write!(out, "<td>{cell}</td>");
            }
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n");
    out
}

/// A section with its heading; nothing where the body is empty.
pub(super) fn section(id: &str, title: &str, body: &str) -> String {
    if body.is_empty() {
        return String::new();
    }
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-head\">\n<h2 id=\"{id}-head\">{}</h2>\n{body}</section>\n",
        escaped(title)
    )
}
