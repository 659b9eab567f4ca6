//! References: every two streams against each other along the ride, E_n, and the noisy one.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::super::state::State;
use super::super::super::study::references::Compared;
use super::super::super::text::{plain, signed};
use super::super::page::Page;
use super::super::paint;
use super::super::pen::Text;
use super::shared::{first, interval, rest, wrapped};
use crate::picture::tone::Tone;
use crate::text::field;

pub fn page<'a>(state: &'a State, found: &'a Compared, area: Rect) -> Page<'a> {
    let out = lines(state, found, area.width);
    let wanted = (out.len() as u16).min(area.height.saturating_sub(5).max(area.height / 2));
    let picture = first(area, area.height - wanted);
    Page::new(move |pen| paint::picture(&found.picture, picture, true, pen))
        .with(out, rest(area, picture.height))
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
    for (index, pair) in found.pairs.iter().enumerate() {
        let ink = look.of(Tone::Line(index));
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
                .with(format!("{} ", look.glyph('━', '-')), ink)
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
