//! Colours and glyphs: how many colours there are, on which ground, and whether only ASCII may be
//! shown. Meaning never rests on hue alone: see the letters, signs and reverse video in `draw`.

use ratatui::style::{Color, Modifier, Style};

use crate::picture::tone::{Backdrop, Tone};
use crate::session::{Role, Stream};

/// How many colours the terminal shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// None: reverse video, bold and underline only.
    None,
    /// The sixteen named ones.
    Sixteen,
    /// The palette of 256.
    TwoHundredFiftySix,
    /// Any.
    True,
}

/// What the screen's own background is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// Dark.
    Dark,
    /// Light.
    Light,
}

/// The whole look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Colours.
    pub depth: Depth,
    /// Background.
    pub ground: Ground,
    /// Nothing outside ASCII is drawn.
    pub ascii: bool,
}

/// A colour of the set of Okabe & Ito (Color Universal Design, 2008), chosen so that people with
/// any colour vision tell them apart; with its nearest neighbours in smaller palettes.
#[derive(Clone, Copy)]
struct Ink {
    rgb: (u8, u8, u8),
    indexed: u8,
    named: Color,
}

/// A tone for dark and for light screens.
const fn tone(dark: u32, light: u32, indexed: [u8; 2], named: Color) -> [Ink; 2] {
    const fn ink(rgb: u32, indexed: u8, named: Color) -> Ink {
        let [_, r, g, b] = rgb.to_be_bytes();
        Ink {
            rgb: (r, g, b),
            indexed,
            named,
        }
    }
    [ink(dark, indexed[0], named), ink(light, indexed[1], named)]
}

/// A tone that pictures on paper have as well.
const fn shared(own: Tone, indexed: [u8; 2], named: Color) -> [Ink; 2] {
    let [dark, light] = [own.rgb(Backdrop::Dark), own.rgb(Backdrop::Light)];
    tone(dark, light, indexed, named)
}

const SOURCE: [Ink; 2] = shared(Tone::Source(0), [231, 16], Color::White);
const BOTH: [Ink; 2] = tone(0xB4DCF5, 0x0A4A72, [153, 24], Color::LightCyan);
const GRID: [Ink; 2] = shared(Tone::Grid, [236, 254], Color::DarkGray);
const FAULT: [Ink; 2] = shared(Tone::Fault, [209, 130], Color::LightRed);
const FINE: [Ink; 2] = shared(Tone::Fine, [36, 29], Color::Green);
const REFERENCE: [Ink; 2] = shared(Tone::Reference(0), [74, 32], Color::Indexed(12));
const MUTE: [Ink; 2] = shared(Tone::Mute, [246, 242], Color::Gray);
const EDGE: [Ink; 2] = shared(Tone::Edge, [29, 72], Color::Green);
const ALLOWED: [Ink; 2] = shared(Tone::AllowedGround, [22, 194], Color::Reset);
const HILL: [Ink; 2] = tone(0x3A424B, 0xC9CFD5, [238, 251], Color::DarkGray);
const LIT: [Ink; 2] = tone(0x9AA2AB, 0x7A828B, [247, 245], Color::Gray);
const CURSOR: [Ink; 2] = tone(0x343B44, 0xDDE1E6, [237, 254], Color::Reset);
const CHOSEN: [Ink; 2] = shared(Tone::QuietGround, [235, 255], Color::Reset);

/// The nearest of the sixteen named colours: what a tone stands for keeps its hue.
const fn named(tone: Tone) -> Color {
    match tone {
        Tone::Source(_) => Color::White,
        Tone::Reference(n) => match n % 3 {
            0 => Color::Indexed(12),
            1 => Color::Cyan,
            _ => Color::Blue,
        },
        Tone::Line(n) => match n % 4 {
            0 => Color::Indexed(12),
            1 => Color::White,
            2 => Color::Gray,
            _ => Color::Cyan,
        },
        Tone::Fault | Tone::FaultGround => Color::LightRed,
        Tone::Fine | Tone::Edge | Tone::AllowedGround => Color::Green,
        Tone::Open | Tone::Page => Color::Reset,
        Tone::Model | Tone::Mute | Tone::Context => Color::Gray,
        Tone::Faint | Tone::Rule | Tone::Grid | Tone::Spread | Tone::QuietGround => Color::DarkGray,
    }
}

/// The colour of the cube or of the greys of the palette of 256 that is nearest.
fn nearest(rgb: [u8; 3]) -> u8 {
    const STEPS: [u8; 6] = [0, 95, 135, 175, 215, 255];
    let far = |a: [u8; 3]| -> u32 {
        let parts = a
            .iter()
            .zip(rgb)
            .map(|(a, b)| u32::from(a.abs_diff(b)).pow(2));
        parts.sum()
    };
    let step = |channel: u8| {
        let steps = STEPS.iter().enumerate();
        let nearest = steps.min_by_key(|(_, step)| step.abs_diff(channel));
        nearest.map_or(0, |(index, _)| index)
    };
    let [r, g, b] = rgb.map(step);
    let cube = (16 + 36 * r + 6 * g + b) as u8;
    let cube_far = far([STEPS[r], STEPS[g], STEPS[b]]);
    let greys = (0..24u8).map(|i| (232 + i, far([8 + 10 * i; 3])));
    greys
        .fold(
            (cube, cube_far),
            |best, grey| if grey.1 < best.1 { grey } else { best },
        )
        .0
}

impl Look {
    /// The look for the environment variables that `get` knows: `NO_COLOR`, `COLORTERM`, `TERM`,
    /// and the locale's character set.
    pub fn from_environment(get: impl Fn(&str) -> Option<String>) -> Self {
        let set = |name: &str| get(name).filter(|value| !value.is_empty());
        let term = set("TERM").unwrap_or_default();
        let depth = if set("NO_COLOR").is_some() || term == "dumb" {
            Depth::None
        } else if set("COLORTERM").is_some_and(|c| c == "truecolor" || c == "24bit") {
            Depth::True
        } else if term.contains("256color") {
            Depth::TwoHundredFiftySix
        } else {
            Depth::Sixteen
        };
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
            .iter()
            .find_map(|name| set(name));
        let unicode = locale.is_none_or(|locale| {
            let locale = locale.to_ascii_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        });
        Self {
            depth,
            ground: Ground::Dark,
            ascii: !unicode || term == "dumb",
        }
    }

    fn ink(self, ink: Ink) -> Style {
        match self.depth {
            Depth::None => Style::new(),
            Depth::Sixteen => Style::new().fg(ink.named),
            Depth::TwoHundredFiftySix => Style::new().fg(Color::Indexed(ink.indexed)),
            Depth::True => Style::new().fg(Color::Rgb(ink.rgb.0, ink.rgb.1, ink.rgb.2)),
        }
    }

    /// Style of each stream, in session order: ink for sources under test, blue for references, grey
    /// for context.
    pub fn streams(self, streams: &[Stream]) -> Vec<Style> {
        let (mut sources, mut references) = (0.., 0..);
        streams
            .iter()
            .map(|stream| {
                self.of(match stream.role {
                    Role::UnderTest => Tone::Source(sources.next().unwrap_or_default()),
                    Role::Reference => Tone::Reference(references.next().unwrap_or_default()),
                    Role::Context => Tone::Context,
                })
            })
            .collect()
    }

    /// The style of a tone.
    pub fn of(self, tone: Tone) -> Style {
        let backdrop = match self.ground {
            Ground::Dark => Backdrop::Dark,
            Ground::Light => Backdrop::Light,
        };
        let [_, r, g, b] = tone.rgb(backdrop).to_be_bytes();
        let style = match self.depth {
            Depth::None => Style::new(),
            Depth::Sixteen => Style::new().fg(named(tone)),
            Depth::TwoHundredFiftySix => Style::new().fg(Color::Indexed(nearest([r, g, b]))),
            Depth::True => Style::new().fg(Color::Rgb(r, g, b)),
        };
        match tone {
            Tone::Source(0) => style.add_modifier(Modifier::BOLD),
            Tone::Faint | Tone::Grid | Tone::Rule | Tone::Spread if self.depth == Depth::None => {
                style.add_modifier(Modifier::DIM)
            }
            _ => style,
        }
    }

    /// The background of a tone; colourless where the palette has no quiet tone.
    fn behind(self, tone: Tone) -> Style {
        match (self.depth, self.of(tone).fg) {
            (Depth::TwoHundredFiftySix | Depth::True, Some(colour)) => Style::new().bg(colour),
            _ => Style::new(),
        }
    }

    /// Ground of a gap between what ought to be one.
    pub fn gap(self) -> Style {
        self.behind(Tone::FaultGround)
    }

    /// Ground of what a tone stands for.
    pub fn ground_of(self, tone: Tone) -> Style {
        match tone {
            Tone::Fine => self.allowed(),
            Tone::Fault => self.gap(),
            _ => self.tint(),
        }
    }

    /// What stands back: grids, labels of axes.
    pub fn faint(self) -> Style {
        match (self.depth, self.ground) {
            (Depth::None, _) => Style::new().add_modifier(Modifier::DIM),
            (Depth::Sixteen, _) => Style::new().fg(Color::DarkGray),
            (_, Ground::Dark) => Style::new().fg(Color::Indexed(245)),
            (_, Ground::Light) => Style::new().fg(Color::Indexed(242)),
        }
    }

    /// The difference under test − reference.
    pub fn difference(self) -> Style {
        self.tone(SOURCE)
    }

    /// A fault. A sign or word always stands beside it.
    pub fn fault(self) -> Style {
        self.tone(FAULT)
    }

    /// What cannot be told: the screen's own ink, over whatever stood there.
    pub fn open(self) -> Style {
        self.strong().fg(Color::Reset)
    }

    /// What is fine.
    pub fn fine(self) -> Style {
        self.tone(FINE)
    }

    /// The references.
    pub fn reference(self) -> Style {
        self.tone(REFERENCE)
    }

    /// What is read second.
    pub fn mute(self) -> Style {
        self.tone(MUTE)
    }

    /// A hair line at a limit.
    pub fn edge(self) -> Style {
        self.tone(EDGE)
    }

    /// Ground of what is allowed; colourless where the palette has no quiet tone.
    pub fn allowed(self) -> Style {
        self.quiet(ALLOWED)
    }

    /// Ground of the selected row; colourless where the palette has no quiet tone.
    pub fn chosen(self) -> Style {
        self.quiet(CHOSEN)
    }

    /// The ride in the strip.
    pub fn hill(self) -> Style {
        self.standing_back(HILL)
    }

    /// What the view is about of it.
    pub fn lit(self) -> Style {
        match self.depth {
            Depth::None => self.strong(),
            _ => self.tone(LIT),
        }
    }

    /// Ground of the column at the cursor; reverse video where the palette has no quiet tone.
    pub fn at_cursor(self) -> Style {
        match self.depth {
            Depth::None | Depth::Sixteen => self.selected(),
            _ => self.quiet(CURSOR),
        }
    }

    /// Where curves of the source and of a reference share a cell.
    pub fn both(self) -> Style {
        self.tone(BOTH)
    }

    /// A line of the grid, in cells without data.
    pub fn grid(self) -> Style {
        self.standing_back(GRID)
    }

    /// A style stood back: half way to the screen's own ground.
    pub fn outside(self, style: Style) -> Style {
        let ground = match self.ground {
            Ground::Dark => [0x10, 0x12, 0x16],
            Ground::Light => [0xFF, 0xFF, 0xFF],
        };
        match style.fg {
            Some(Color::Rgb(r, g, b)) => {
                let mixed = |own: u8, ground: u8| ((u16::from(own) + u16::from(ground)) / 2) as u8;
                style.fg(Color::Rgb(
                    mixed(r, ground[0]),
                    mixed(g, ground[1]),
                    mixed(b, ground[2]),
                ))
            }
            _ => style.add_modifier(Modifier::DIM),
        }
    }

    fn of_ground(self, [dark, light]: [Ink; 2]) -> Ink {
        match self.ground {
            Ground::Dark => dark,
            Ground::Light => light,
        }
    }

    fn tone(self, tone: [Ink; 2]) -> Style {
        self.ink(self.of_ground(tone))
    }

    /// A tone that stands back; dim where there are no colours.
    fn standing_back(self, tone: [Ink; 2]) -> Style {
        match self.depth {
            Depth::None => Style::new().add_modifier(Modifier::DIM),
            _ => self.tone(tone),
        }
    }

    fn quiet(self, tone: [Ink; 2]) -> Style {
        match self.depth {
            Depth::None | Depth::Sixteen => Style::new(),
            _ => match self.tone(tone).fg {
                Some(colour) => Style::new().bg(colour),
                None => Style::new(),
            },
        }
    }

    /// The one accent: what is selected or in hand.
    pub fn selected(self) -> Style {
        Style::new().add_modifier(Modifier::REVERSED)
    }

    /// Heads and keys.
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What does not hold: outside a claim, a warning. A sign or word always stands beside it.
    pub fn warning(self) -> Style {
        self.tone(FAULT).add_modifier(Modifier::BOLD)
    }

    /// Background of the claim's band; colourless where the palette has no quiet tone.
    pub fn band(self) -> Style {
        match (self.depth, self.ground) {
            (Depth::None | Depth::Sixteen, _) => Style::new(),
            (_, Ground::Dark) => Style::new().bg(Color::Indexed(23)),
            (_, Ground::Light) => Style::new().bg(Color::Indexed(195)),
        }
    }

    /// Background of the window in the lanes; colourless where the palette has no quiet tone.
    pub fn tint(self) -> Style {
        match (self.depth, self.ground) {
            (Depth::None | Depth::Sixteen, _) => Style::new(),
            (_, Ground::Dark) => Style::new().bg(Color::Indexed(236)),
            (_, Ground::Light) => Style::new().bg(Color::Indexed(254)),
        }
    }

    /// `unicode` or, where only ASCII may be shown, `ascii`.
    pub fn glyph(self, unicode: char, ascii: char) -> char {
        if self.ascii { ascii } else { unicode }
    }

    /// The mark of a cut text.
    pub fn cut(self) -> char {
        self.glyph('…', '~')
    }

    /// Text for the screen: in ASCII mode every other character is replaced.
    pub fn text(self, text: &str) -> String {
        if !self.ascii {
            return text.to_owned();
        }
        let mut out = String::with_capacity(text.len());
        for c in text.chars() {
            match c {
                '\u{20}'..='\u{7e}' => out.push(c),
                '−' | '–' | '—' => out.push('-'),
                '±' => out.push_str("+-"),
                '…' => out.push('~'),
                '·' => out.push('-'),
                '°' => out.push_str("deg "),
                '“' | '”' => out.push('"'),
                '’' => out.push('\''),
                _ => out.push('?'),
            }
        }
        out
    }
}

/// One letter a stream, from its label where possible, so that traces and columns can be told
/// apart without colour.
pub fn letters(streams: &[Stream]) -> Vec<char> {
    let mut taken: Vec<char> = Vec::with_capacity(streams.len());
    for stream in streams {
        let is_name = char::is_ascii_alphanumeric as fn(&char) -> bool;
        // Initials first: they are what one looks for.
        let initials = stream
            .label
            .split(|c: char| !is_name(&c))
            .filter_map(|word| word.chars().next());
        let own = stream.label.chars().filter(is_name);
        let free = initials
            .chain(own)
            .map(|c| c.to_ascii_uppercase())
            .chain('A'..='Z')
            .chain('0'..='9')
            .find(|letter| !taken.contains(letter));
        taken.push(free.unwrap_or('*'));
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(vars: &[(&str, &str)]) -> Look {
        Look::from_environment(|name| {
            vars.iter()
                .find(|(key, _)| *key == name)
                .map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn the_environment_decides_colours_and_glyphs() {
        assert_eq!(look(&[("TERM", "xterm")]).depth, Depth::Sixteen);
        assert_eq!(
            look(&[("TERM", "xterm-256color")]).depth,
            Depth::TwoHundredFiftySix
        );
        let full = [("TERM", "xterm-256color"), ("COLORTERM", "truecolor")];
        assert_eq!(look(&full).depth, Depth::True);
        let none = [("COLORTERM", "truecolor"), ("NO_COLOR", "1")];
        assert_eq!(look(&none).depth, Depth::None);
        assert_eq!(
            look(&[("COLORTERM", "truecolor"), ("NO_COLOR", "")]).depth,
            Depth::True
        );
        assert!(look(&[("LANG", "C")]).ascii);
        assert!(!look(&[("LANG", "C"), ("LC_ALL", "C.UTF-8")]).ascii);
    }

    #[test]
    fn lines_differ_in_colour_as_long_as_there_are_colours() {
        for ground in [Ground::Dark, Ground::Light] {
            for depth in [Depth::Sixteen, Depth::TwoHundredFiftySix, Depth::True] {
                let look = Look {
                    depth,
                    ground,
                    ascii: false,
                };
                let lines: Vec<Style> = (0..4).map(|n| look.of(Tone::Line(n))).collect();
                for (index, line) in lines.iter().enumerate() {
                    assert!(
                        !lines[..index].contains(line),
                        "{depth:?} {ground:?} {index}"
                    );
                }
            }
        }
    }

    #[test]
    fn every_stream_has_its_own_letter() {
        let streams = ["trainer", "trainer 2", "TT", "日本"].map(|label| Stream::new(label, "f"));
        assert_eq!(letters(&streams), ['T', '2', 'A', 'B']);
        let streams = ["bench pedals", "bench trainer"].map(|label| Stream::new(label, "f"));
        assert_eq!(letters(&streams), ['B', 'T']);
    }

    #[test]
    fn ascii_mode_lets_nothing_else_through() {
        let look = Look {
            depth: Depth::None,
            ground: Ground::Dark,
            ascii: true,
        };
        assert_eq!(look.text("±2 % – “é”"), "+-2 % - \"?\"");
    }
}
