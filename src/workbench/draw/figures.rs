//! Figures as the panel writes them: label, decimals, sign and unit are those of the catalogue.

use crate::analysis::catalogue;
use crate::analysis::figure::Figure;

/// Columns of a name and its value: what the narrowest panel has.
pub const WIDTH: usize = 31;

/// The figure with this id; one without a name where there is none, which a test tells.
pub fn figure(id: &str) -> &'static Figure {
    catalogue::figure(id).unwrap_or(&Figure::PLAIN)
}

/// A value of `figure` in `width` columns, without its unit; a dash where there is none.
pub fn written(figure: &Figure, value: Option<f64>, width: usize) -> String {
    let text = value.map_or_else(|| "-".to_owned(), |value| figure.print(value));
    format!("{text:>width$}")
}

/// A value of `figure` with its unit.
pub fn with_unit(figure: &Figure, value: Option<f64>, width: usize) -> String {
    let text = format!("{} {}", written(figure, value, width), figure.unit);
    text.trim_end().to_owned()
}

/// A name and its value, in columns that stay where they are.
pub fn row(id: &str, value: Option<f64>) -> (String, String) {
    let figure = figure(id);
    let value = with_unit(figure, value, 8);
    let wide = WIDTH.saturating_sub(value.chars().count()).min(15);
    (format!("{:<wide$}", figure.short()), value)
}

/// The ends of an interval, below the figure that it is of; the unit where there is room.
pub fn interval(id: &str, ends: Option<[f64; 2]>) -> (String, String) {
    let figure = figure(id);
    let [low, high] = ends.map_or([None, None], |ends| ends.map(Some));
    let (low, high) = (written(figure, low, 7), written(figure, high, 6));
    let mut value = format!("{low} to {high}");
    let name = "95 % CI";
    let room = WIDTH.saturating_sub(name.len() + value.len() + 1);
    if figure.unit.chars().count() <= room {
        value.push_str(&format!(" {}", figure.unit));
    }
    let wide = WIDTH.saturating_sub(value.chars().count()).min(13);
    (format!("{name:<wide$}"), value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::kinds;

    /// Every id written in the panel's sources is a figure's, and its label is a term.
    #[test]
    fn every_label_of_the_panel_is_that_of_a_figure() {
        let mut found = 0;
        for source in [
            include_str!("kind.rs"),
            include_str!("panel.rs"),
            include_str!("values.rs"),
        ] {
            let strings = source.split('"').skip(1).step_by(2);
            for id in
                strings.filter(|text| text.starts_with("segments.") || text.starts_with("session."))
            {
                let figure = catalogue::figure(id);
                let figure = figure.unwrap_or_else(|| panic!("no figure {id}"));
                assert!(catalogue::named(figure.short()).contains(&figure), "{id}");
                found += 1;
            }
        }
        assert!(found > 15, "{found}");
    }

    #[test]
    fn every_line_that_a_kind_lists_is_a_figure() {
        for own in kinds::ALL {
            for line in own.panel {
                let id = format!("{}.{}", own.root, line.field);
                let figure = catalogue::figure(&id);
                let figure = figure.unwrap_or_else(|| panic!("no figure {id}"));
                assert!(catalogue::named(figure.short()).contains(&figure), "{id}");
            }
        }
    }
}
