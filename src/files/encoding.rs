//! Bytes of a text file → text: byte-order marks, UTF-8, and encodings that the user declares.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use crate::finding::{Finding, Place};

use super::layout::Layout;

/// The encoding of a text file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct TextEncoding(Form);

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Form {
    Named(&'static Encoding),
    /// UTF-16 in the byte order that the file shows.
    Utf16,
}

impl TextEncoding {
    /// The encoding of that name, such as `utf-8`, `utf-16`, `latin-1` or `windows-1252`.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        match name.trim().to_ascii_lowercase().as_str() {
            "utf-16" | "utf16" => Some(Self(Form::Utf16)),
            // The superset of Latin-1 that spreadsheets write and every browser reads for it.
            "latin-1" => Some(Self(Form::Named(WINDOWS_1252))),
            name => Encoding::for_label(name.as_bytes()).map(|encoding| Self(Form::Named(encoding))),
        }
    }

    /// Its usual name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self.0 {
            Form::Named(encoding) => encoding.name(),
            Form::Utf16 => "UTF-16",
        }
    }
}

/// A file's text and the name of the encoding it was in.
pub(super) struct Decoded {
    pub(super) text: String,
    pub(super) encoding: &'static str,
}

/// The text of a file without its byte-order mark, its lines ended by line feeds.
///
/// # Errors
/// Bytes that are no text in the encoding declared or seen: the row, the byte and what to declare.
pub(super) fn decode(file: &str, bytes: Vec<u8>, layout: &Layout) -> Result<Decoded, Finding> {
    let fault = |text: String| Finding::error("not-text", Place::file(file), text);
    if bytes.starts_with(b"PK\x03\x04") {
        let text = "this is a workbook or a compressed file, not text".to_owned();
        return Err(fault(text).remedy("give a workbook a name that ends in .xlsx"));
    }
    let (encoding, skipped) = match (Encoding::for_bom(&bytes), layout.encoding) {
        (Some((marked, length)), declared) => {
            let agrees = match declared.map(|declared| declared.0) {
                None => true,
                Some(Form::Utf16) => marked == UTF_16LE || marked == UTF_16BE,
                Some(Form::Named(declared)) => declared == marked,
            };
            if !agrees {
                let text = format!("the byte-order mark at its start says that the file is {}", marked.name());
                return Err(fault(text).remedy("leave the encoding out: the mark is certain"));
            }
            (marked, length)
        }
        (None, Some(TextEncoding(Form::Named(declared)))) => (declared, 0),
        (None, Some(TextEncoding(Form::Utf16))) => (utf_16_by_zeros(&bytes), 0),
        (None, None) => (UTF_8, 0),
    };
    let text = if encoding == UTF_8 {
        utf_8(file, bytes, skipped, layout)?
    } else {
        let body = bytes.get(skipped..).unwrap_or_default();
        match encoding.decode_without_bom_handling_and_without_replacement(body) {
            Some(text) => text.into_owned(),
            None => {
                let text = format!("the file holds bytes that are no {} text", encoding.name());
                return Err(fault(text).remedy("declare the encoding it was saved in, or save it as UTF-8 text"));
            }
        }
    };
    if memchr::memchr(0, text.as_bytes()).is_some() {
        let text = "the file holds zero bytes: it is UTF-16 text without its mark, or no text at all".to_owned();
        let remedy = if is_descriptor(file) {
            "save it as UTF-8 text".to_owned()
        } else {
            format!("declare {}, or save it as UTF-8 text", layout.declaration("encoding", "\"utf-16\""))
        };
        return Err(fault(text).remedy(remedy));
    }
    // Some spreadsheets end lines with a carriage return alone; rows are counted by line feeds.
    let text = if text.contains('\n') { text } else { text.replace('\r', "\n") };
    Ok(Decoded { text, encoding: encoding.name() })
}

fn utf_8(file: &str, mut bytes: Vec<u8>, skipped: usize, layout: &Layout) -> Result<String, Finding> {
    bytes.drain(..skipped);
    String::from_utf8(bytes).map_err(|error| {
        let sound = error.utf8_error().valid_up_to();
        let bytes = error.as_bytes();
        let row = 1 + bytes.iter().take(sound).filter(|byte| **byte == b'\n').count() as u64;
        let byte = bytes.get(sound).map_or_else(String::new, |byte| format!(" (byte 0x{byte:02x})"));
        let text = format!("the text is not UTF-8{byte}");
        let remedy = if is_descriptor(file) {
            "save the file as UTF-8 text; most editors offer it under \"Save as\"".to_owned()
        } else {
            let latin = layout.declaration("encoding", "\"latin-1\"");
            format!(
                "save the file as UTF-8 (a spreadsheet calls it \"CSV UTF-8\"), or declare what it is, such as {latin}"
            )
        };
        Finding::error("not-utf8", Place::file(file).row(row), text).remedy(remedy)
    })
}

/// Whether there is nowhere to declare how a file is encoded: it is what declares.
fn is_descriptor(file: &str) -> bool {
    file.ends_with(".toml")
}

/// The byte order of UTF-16 text without a mark: separators, digits and line ends have a zero as their high byte.
fn utf_16_by_zeros(bytes: &[u8]) -> &'static Encoding {
    let zeros = |first: usize| bytes.iter().skip(first).step_by(2).filter(|byte| **byte == 0).count();
    if zeros(0) > zeros(1) { UTF_16BE } else { UTF_16LE }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(bytes: &[u8], encoding: Option<&str>) -> Result<(String, &'static str), &'static str> {
        let encoding = encoding.map(|name| TextEncoding::parse(name).unwrap());
        decode("plots.csv", bytes.to_vec(), &Layout { encoding, ..Layout::default() })
            .map(|decoded| (decoded.text, decoded.encoding))
            .map_err(|finding| finding.code)
    }

    fn utf_16(text: &str, bytes: impl Fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(bytes).collect()
    }

    #[test]
    fn a_byte_order_mark_is_certain() {
        let marked = |mark: &[u8], rest: Vec<u8>| [mark.to_vec(), rest].concat();
        assert_eq!(decoded(b"\xef\xbb\xbfa\xc3\xa9", None), Ok(("aé".to_owned(), "UTF-8")));
        let little = marked(b"\xff\xfe", utf_16("aé", u16::to_le_bytes));
        let big = marked(b"\xfe\xff", utf_16("aé", u16::to_be_bytes));
        assert_eq!(decoded(&little, None), Ok(("aé".to_owned(), "UTF-16LE")));
        assert_eq!(decoded(&big, Some("utf-16")), Ok(("aé".to_owned(), "UTF-16BE")));
        assert_eq!(decoded(&big, Some("latin-1")), Err("not-text"));
    }

    #[test]
    fn without_a_mark_text_is_utf_8_or_what_is_declared() {
        assert_eq!(decoded(b"a\xe9", None), Err("not-utf8"));
        assert_eq!(decoded(b"a\xe9", Some("latin-1")), Ok(("aé".to_owned(), "windows-1252")));
        assert_eq!(decoded(&utf_16("a,b\n", u16::to_le_bytes), None), Err("not-text"));
        for bytes in [utf_16("a,b\n", u16::to_le_bytes), utf_16("a,b\n", u16::to_be_bytes)] {
            assert_eq!(decoded(&bytes, Some("utf-16")).map(|(text, _)| text), Ok("a,b\n".to_owned()));
        }
        assert_eq!(decoded(b"a\0", Some("utf-16be")).map_err(|_| ()), Ok(("愀".to_owned(), "UTF-16BE")));
        assert_eq!(decoded(b"abc", Some("utf-16")), Err("not-text"), "half a character");
    }

    #[test]
    fn carriage_returns_alone_end_lines() {
        assert_eq!(decoded(b"a\rb\r", None).map(|(text, _)| text), Ok("a\nb\n".to_owned()));
        assert_eq!(decoded(b"a\r\nb", None).map(|(text, _)| text), Ok("a\r\nb".to_owned()));
    }
}
