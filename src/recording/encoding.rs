//! Text in other encodings than UTF-8: UTF-16, and those that spreadsheets still save in.
//!
//! A mark at the beginning, or zeros in every other place, tell of UTF-16. For the rest nothing in
//! the file says which encoding it is: the one in which most of the header line makes sense is
//! taken, and that is reported.

use std::borrow::Cow;

use encoding_rs::{
    BIG5, EUC_JP, Encoding, GB18030, SHIFT_JIS, UTF_16BE, UTF_16LE, WINDOWS_1250, WINDOWS_1252,
};

use super::file::UTF8_MARK;
use super::names::meaning;
use super::vocabulary::{time_rank, words};

/// Encodings tried where text is no UTF-8, the likeliest first: western, central European,
/// Japanese, Chinese.
const LEGACY: [&Encoding; 6] = [WINDOWS_1252, WINDOWS_1250, SHIFT_JIS, GB18030, EUC_JP, BIG5];
/// Where the header line is looked for, bytes.
const HEAD_BYTES: usize = 16 * 1024;

/// Text in UTF-8, without a mark before it, and what was assumed.
pub(super) struct Decoded<'a> {
    pub(super) text: Cow<'a, [u8]>,
    pub(super) remark: Option<String>,
}

/// `bytes` as UTF-8.
pub(super) fn decode(bytes: &[u8]) -> Decoded<'_> {
    if let Some(encoding) = utf16(bytes) {
        let (text, _) = encoding.decode_with_bom_removal(bytes);
        return Decoded {
            text: Cow::Owned(text.into_owned().into_bytes()),
            remark: None,
        };
    }
    let text = bytes.strip_prefix(UTF8_MARK).unwrap_or(bytes);
    let as_it_is = Decoded {
        text: Cow::Borrowed(text),
        remark: None,
    };
    // A file that is cut off, or cut here for its head, may end within a character.
    let is_utf8 = std::str::from_utf8(text).map_or_else(|e| e.error_len().is_none(), |_| true);
    if is_utf8 || text.contains(&0) {
        return as_it_is;
    }
    let (encoding, why) = match declared(text) {
        Some(encoding) => (encoding, "as it says"),
        None => match by_header(text) {
            (encoding, 0) => (encoding, "though nothing in its header line tells"),
            (encoding, _) => (encoding, "in which its header line makes sense"),
        },
    };
    let (decoded, _) = encoding.decode_without_bom_handling(text);
    Decoded {
        text: Cow::Owned(decoded.into_owned().into_bytes()),
        remark: Some(format!(
            "the text is in another encoding than UTF-8: read as {}, {why}",
            encoding.name()
        )),
    }
}

/// Which UTF-16 `bytes` are, by their mark or by the zeros that plain letters have there.
fn utf16(bytes: &[u8]) -> Option<&'static Encoding> {
    if bytes.starts_with(&[0xFF, 0xFE]) {
        return Some(UTF_16LE);
    }
    if bytes.starts_with(&[0xFE, 0xFF]) {
        return Some(UTF_16BE);
    }
    let head = bytes.get(..HEAD_BYTES).unwrap_or(bytes);
    let zeros = |from: usize| {
        head.iter()
            .skip(from)
            .step_by(2)
            .filter(|b| **b == 0)
            .count()
    };
    let (even, odd, half) = (zeros(0), zeros(1), head.len() / 2);
    let most = |one: usize, other: usize| half >= 4 && one * 10 >= half * 6 && other == 0;
    if most(odd, even) {
        Some(UTF_16LE)
    } else if most(even, odd) {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// The encoding that an XML declaration names.
fn declared(text: &[u8]) -> Option<&'static Encoding> {
    const DECLARATION: usize = 200;
    let head = text.get(..DECLARATION).unwrap_or(text);
    let head = String::from_utf8_lossy(head);
    let (declaration, _) = head.trim_start().strip_prefix("<?xml")?.split_once("?>")?;
    let (_, after) = declaration.split_once("encoding")?;
    let label = after.split(['"', '\'']).nth(1)?;
    Encoding::for_label(label.as_bytes()).or(Some(WINDOWS_1252))
}

/// The encoding in which most cells of a line have a meaning, and how much; the first of several,
/// even where none has any: letters without a meaning do no harm.
fn by_header(text: &[u8]) -> (&'static Encoding, usize) {
    let head = text.get(..HEAD_BYTES).unwrap_or(text);
    let mut best = (WINDOWS_1252, 0);
    for encoding in LEGACY {
        let decoded = encoding.decode_without_bom_handling(head).0;
        let known = understood(&decoded);
        if known > best.1 {
            best = (encoding, known);
        }
    }
    best
}

/// How much one of the first lines of `text` says of what its cells hold: by name or by unit alone.
fn understood(text: &str) -> usize {
    const LINES: usize = 60;
    const CELLS: usize = 200;
    let lines = text.lines().take(LINES).filter(|line| !line.is_ascii());
    let cells = |line: &str| {
        let cells = line.split([',', ';', '\t', '|']).take(CELLS);
        let heads = cells.map(|cell| cell.trim().trim_matches('"'));
        let said = heads.map(|head| match meaning(head, None) {
            Some(meaning) => 1 + usize::from(meaning.named),
            None => 2 * usize::from(time_rank(&words(head)).is_some()),
        });
        said.sum()
    };
    lines.map(cells).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_header_line_tells_the_encoding() {
        for (encoding, head) in [
            (WINDOWS_1252, "Zeit;Leistung (W);Höhe;Geschwindigkeit\n"),
            (WINDOWS_1250, "Czas;Moc (W);Prędkość (km/h);Tętno\n"),
            (SHIFT_JIS, "時間,パワー,ケイデンス,速度\n"),
            (EUC_JP, "時間,パワー,ケイデンス,速度\n"),
            (GB18030, "时间,功率,踏频,速度,心率\n"),
            (BIG5, "時間,功率,踏頻,速度,心率\n"),
        ] {
            let text = format!("{head}0,200,90,30\n1,201,90,30\n");
            let (bytes, _, lost) = encoding.encode(&text);
            assert!(!lost);
            let decoded = decode(&bytes);
            assert_eq!(decoded.text, text.as_bytes(), "{}", encoding.name());
            assert!(decoded.remark.unwrap().contains(encoding.name()));
        }
    }

    #[test]
    fn utf16_is_known_by_its_mark_and_by_its_zeros() {
        let text = "time_s,power_w\n0,200\n";
        let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        for bytes in [
            little.clone(),
            big.clone(),
            [&[0xFF, 0xFE][..], &little].concat(),
            [&[0xFE, 0xFF][..], &big].concat(),
        ] {
            assert_eq!(decode(&bytes).text, text.as_bytes());
        }
        assert_eq!(decode(text.as_bytes()).text, text.as_bytes());
        assert_eq!(&*decode(b"a,b\n0\0,1\n").text, b"a,b\n0\0,1\n");
    }
}
