//! What things stand for in a picture, and the colours of that: ink is the source under test, blue
//! the references, orange-red a fault, green what is allowed, and all else is grey.

/// What is behind a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backdrop {
    /// Dark.
    Dark,
    /// Light.
    Light,
}

/// What a line, a mark or a word stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tone {
    /// The source under test with this number from 0.
    Source(usize),
    /// The reference with this number from 0; 0 also for the mean of them.
    Reference(usize),
    /// What is neither.
    Context,
    /// One of several lines that are no single stream's, by number from 0.
    Line(usize),
    /// What is fitted or modelled.
    Model,
    /// A fault.
    Fault,
    /// What is fine or allowed.
    Fine,
    /// What cannot be told; plain words.
    Open,
    /// What is read second.
    Mute,
    /// Labels of ticks.
    Faint,
    /// Rules and axes.
    Rule,
    /// The grid.
    Grid,
    /// Lowest and highest behind a mean.
    Spread,
    /// The hair line at a limit.
    Edge,
    /// Ground of what is allowed.
    AllowedGround,
    /// Ground of a fault.
    FaultGround,
    /// Ground of what is selected.
    QuietGround,
    /// The page itself.
    Page,
}

impl Tone {
    /// Its colour as 0xRRGGBB.
    pub const fn rgb(self, backdrop: Backdrop) -> u32 {
        let (dark, light) = self.pair();
        match backdrop {
            Backdrop::Dark => dark,
            Backdrop::Light => light,
        }
    }

    const fn pair(self) -> (u32, u32) {
        match self {
            Tone::Source(n) => match n % 2 {
                0 => (0xFFFFFF, 0x000000),
                _ => (0x8C9299, 0x8C9299),
            },
            // Blues by lightness, so that they part without hue as well.
            Tone::Reference(n) => match n % 3 {
                0 => (0x56B4E9, 0x1C86C4),
                1 => (0xB4DCF5, 0x0A4A72),
                _ => (0x33698A, 0x7FB2D4),
            },
            Tone::Line(n) => match n % 4 {
                0 => (0x56B4E9, 0x1C86C4),
                1 => (0xFFFFFF, 0x000000),
                2 => (0x8C9299, 0x8C9299),
                _ => (0xB4DCF5, 0x0A4A72),
            },
            Tone::Context => (0x8C9299, 0x8C9299),
            Tone::Model => (0x8F969F, 0x5F666F),
            Tone::Fault => (0xF2854A, 0xBF4E00),
            Tone::Fine => (0x35BE97, 0x007A59),
            Tone::Open => (0xD3D7DC, 0x24282D),
            Tone::Mute => (0x8F969F, 0x5F666F),
            Tone::Faint => (0x6B737D, 0x757D86),
            Tone::Rule => (0x4A525C, 0xB3BAC2),
            Tone::Grid => (0x2A2F36, 0xE2E5E8),
            Tone::Spread => (0x3F464F, 0xC9CED4),
            Tone::Edge => (0x2F7A68, 0x7DB8A6),
            Tone::AllowedGround => (0x0F2B26, 0xDFF2EB),
            Tone::FaultGround => (0x452312, 0xFADCC8),
            Tone::QuietGround => (0x22272E, 0xEBEEF1),
            Tone::Page => (0x101216, 0xFFFFFF),
        }
    }

    /// Whether its turn in the colours comes again, so that it has to be dashed.
    pub const fn comes_again(self) -> bool {
        match self {
            Tone::Source(n) => n >= 2,
            Tone::Reference(n) => n >= 3,
            Tone::Line(n) => n >= 4,
            _ => false,
        }
    }
}
