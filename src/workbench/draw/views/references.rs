//! References: every two streams against each other along the ride, E_n, and the noisy one.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::super::state::State;
use super::super::super::study::references::{Compared, Pair};
use super::super::super::text::{plain, signed};
use super::super::chart::{Axis, Chart, round_ends};
use super::super::page::Page;
use super::super::pen::{Pen, Text};
use super::shared::{first, interval, nothing, rest, time_number, wrapped};
use crate::text::field;

/// Share of the stretches that the scale takes in; the others are drawn at the edge.
const SHARE: f64 = 0.95;

pub fn page<'a>(state: &'a State, found: &'a Compared, area: Rect) -> Page<'a> {
    let out = lines(state, found, area.width);
    let wanted = (out.len() as u16).min(area.height.saturating_sub(5).max(area.height / 2));
    let picture = first(area, area.height - wanted);
    Page::new(move |pen| along(state, found, picture, pen)).with(out, rest(area, picture.height))
}

fn mark(index: usize) -> char {
    char::from_digit((index + 1) as u32, 36).unwrap_or('*')
}

fn along(state: &State, found: &Compared, area: Rect, pen: &mut Pen<'_>) {
    let points = || found.pairs.iter().flat_map(|pair| &pair.along);
    let mut sizes: Vec<f64> = points()
        .map(|(_, w)| w.abs())
        .filter(|w| w.is_finite())
        .collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes
        .get((sizes.len() as f64 * SHARE) as usize)
        .or(sizes.last());
    let ends = usual.and_then(|usual| round_ends([-usual, *usual].into_iter(), 2.0));
    let span = state.scope_span().0;
    let Some((low, high)) = ends else {
        nothing("No two streams have a second in common here.", area, pen);
        return;
    };
    let mut chart = Chart::new(
        area,
        Axis {
            low: span.from_s,
            high: span.to_s,
            title: "session time",
            number: time_number(state),
        },
        Axis {
            low,
            high,
            title: "differ.",
            number: |v| format!("{v:+.0} W"),
        },
    );
    let held = |pair: &Pair| -> Vec<(f64, f64)> {
        let along = pair.along.iter();
        along.map(|(t_s, w)| (*t_s, w.clamp(low, high))).collect()
    };
    let styles = state.look.lines(found.pairs.len());
    for (owner, pair) in found.pairs.iter().enumerate() {
        chart.line(&held(pair), owner as u8);
    }
    chart.paint(pen, &styles);
    chart.level(0.0, state.look.glyph('─', '-'), state.look.faint(), pen);
    chart.axes(pen);
    for (index, pair) in found.pairs.iter().enumerate() {
        let mut next = chart.plot().x + 2 + 3 * index as u16;
        for (t_s, w) in held(pair) {
            if let Some((x, y)) = chart.cell(t_s, w).filter(|(x, _)| *x >= next) {
                let style = styles.get(index).copied().unwrap_or_default();
                pen.dot(x, y, mark(index), style.add_modifier(Modifier::BOLD));
                next = x + 20;
            }
        }
    }
}

fn lines(state: &State, found: &Compared, width: u16) -> Vec<Text> {
    let look = state.look;
    let label = |index: usize| {
        let stream = state.session().streams.get(index);
        look.text(stream.map_or("", |s| s.label.as_str()))
    };
    let mut out = vec![Text::default().with(
        "  difference                 mean W       %     E_n  seconds",
        look.faint(),
    )];
    let inks = look.lines(found.pairs.len());
    for ((index, pair), ink) in found.pairs.iter().enumerate().zip(inks) {
        let name = field(
            &format!("{} - {}", label(pair.first), label(pair.second)),
            24,
            look.cut(),
        );
        let between = pair.between;
        let en_number = between.and_then(|b| b.en_number);
        let apart = en_number.is_some_and(|en| en.abs() > 1.0);
        let (word, style) = match en_number {
            Some(_) if apart => ("  ! apart", look.warning()),
            Some(_) => ("  not apart", Style::new()),
            None => ("", Style::new()),
        };
        let ink = ink.add_modifier(Modifier::BOLD);
        out.push(
            Text::default()
                .with(format!("{} ", mark(index)), ink)
                .with(
                    format!(
                        "{name} {} {} {} {:>8}",
                        signed(between.map(|b| b.difference_w), 8, 1),
                        signed(between.and_then(|b| b.difference_percent), 7, 2),
                        signed(en_number, 7, 2),
                        between.map_or(0, |b| b.n)
                    ),
                    Style::new(),
                )
                .with(word, style),
        );
    }
    if let Some(references) = &found.references {
        let style = match references.agree {
            Some(false) => look.warning(),
            _ => look.strong(),
        };
        out.extend(wrapped(&references.note, width, style));
    }
    if let Some(noise) = &found.noise {
        out.push(Text::default().with(
            "  error of each stream       sd W   variance, 95 % CI",
            look.faint(),
        ));
        for stream in &noise.streams {
            let noisiest = noise.noisiest.as_ref() == Some(&stream.label);
            let (word, style) = if noisiest {
                ("  ! the noisy one", look.warning())
            } else {
                ("", Style::new())
            };
            out.push(
                Text::default()
                    .with(
                        format!(
                            "  {} {}   {}",
                            field(&look.text(&stream.label), 24, look.cut()),
                            plain(stream.error_sd_w, 6, 1),
                            interval(stream.error_variance_ci95_w2, 1, "W²")
                        ),
                        Style::new(),
                    )
                    .with(word, style),
            );
        }
        out.extend(wrapped(&noise.note, width, look.faint()));
    }
    out
}
