//! The sign and the tone of what an answer says.

use ratatui::style::Style;

use super::super::theme::Look;
use crate::analysis::questions::Finding;
use crate::export::findings;

/// Its sign; in ASCII where nothing else may be shown.
pub fn sign(look: Look, finding: Finding) -> char {
    let plain = match finding {
        Finding::Fault => 'X',
        Finding::CannotTell => '?',
        Finding::Fine => 'v',
        Finding::NotRidden => '.',
    };
    look.glyph(findings::sign(finding), plain)
}

/// Its tone.
pub fn ink(look: Look, finding: Finding) -> Style {
    match finding {
        Finding::Fault => look.fault(),
        Finding::CannotTell => look.open(),
        Finding::Fine => look.fine(),
        Finding::NotRidden => look.mute(),
    }
}
