//! A TrueType font with the outlines of a few glyphs only, for embedding in a PDF.
//!
//! Glyphs keep their numbers, so that nothing else in the font changes: those that aren't wanted become empty (OpenType
//! specification: *glyf*, *loca* and *head*; PDF 32000-1, 9.9, has the tables that a reader needs).

use std::collections::BTreeSet;

/// What a reader needs, in the order of their tags.
const TABLES: [&[u8; 4]; 9] = [b"cvt ", b"fpgm", b"glyf", b"head", b"hhea", b"hmtx", b"loca", b"maxp", b"prep"];
/// Where the form of *loca* stands in *head*.
const LOCA_FORM: usize = 50;
/// Where the checksum of the whole file stands in *head*.
const FILE_CHECKSUM: usize = 8;
const CHECKSUM_OF_ALL: u32 = 0xB1B0_AFBA;
/// Flags of a part of a composite glyph.
const WORDS: u16 = 0x0001;
const SCALE: u16 = 0x0008;
const MORE: u16 = 0x0020;
const TWO_SCALES: u16 = 0x0040;
const FOUR_SCALES: u16 = 0x0080;

/// The font with these glyphs, those that they are composed of, and the one that stands for what is missing; `None` where the bytes are
/// no TrueType font.
pub(super) fn subset(font: &[u8], glyphs: &BTreeSet<u16>) -> Option<Vec<u8>> {
    let (glyf, loca, head) = (table(font, b"glyf")?, table(font, b"loca")?, table(font, b"head")?);
    let long = u16_at(head, LOCA_FORM)? == 1;
    let outline = |glyph: u16| -> Option<&[u8]> {
        let glyph = usize::from(glyph);
        let place = |position: usize| {
            if long { u32_at(loca, 4 * position) } else { Some(2 * u32::from(u16_at(loca, 2 * position)?)) }
        };
        glyf.get(place(glyph)? as usize..place(glyph + 1)? as usize)
    };
    let mut wanted: BTreeSet<u16> = BTreeSet::new();
    let mut waiting: Vec<u16> = glyphs.iter().copied().chain([0]).collect();
    while let Some(glyph) = waiting.pop() {
        if wanted.insert(glyph) {
            waiting.extend(parts(outline(glyph)?)?);
        }
    }
    let count = u16_at(table(font, b"maxp")?, 4)?;
    let (mut outlines, mut places) = (Vec::new(), 0_u32.to_be_bytes().to_vec());
    for glyph in 0..count {
        if wanted.contains(&glyph) {
            outlines.extend_from_slice(outline(glyph)?);
            outlines.resize(outlines.len().next_multiple_of(4), 0);
        }
        places.extend(u32::try_from(outlines.len()).ok()?.to_be_bytes());
    }
    let mut head = head.to_vec();
    head.get_mut(LOCA_FORM..LOCA_FORM + 2)?.copy_from_slice(&1_u16.to_be_bytes());
    head.get_mut(FILE_CHECKSUM..FILE_CHECKSUM + 4)?.fill(0);
    let tables: Vec<(&[u8; 4], Vec<u8>)> = TABLES
        .into_iter()
        .filter_map(|tag| match tag {
            b"glyf" => Some((tag, outlines.clone())),
            b"loca" => Some((tag, places.clone())),
            b"head" => Some((tag, head.clone())),
            _ => Some((tag, table(font, tag)?.to_vec())),
        })
        .collect();
    file(&tables)
}

/// The glyphs that an outline is composed of; none where it is one of its own.
fn parts(outline: &[u8]) -> Option<Vec<u16>> {
    let mut parts = Vec::new();
    // A negative number of contours.
    if outline.is_empty() || u16_at(outline, 0)? < 0x8000 {
        return Some(parts);
    }
    let mut position = 10;
    loop {
        let flags = u16_at(outline, position)?;
        parts.push(u16_at(outline, position + 2)?);
        let scales = match flags {
            _ if flags & FOUR_SCALES != 0 => 8,
            _ if flags & TWO_SCALES != 0 => 4,
            _ if flags & SCALE != 0 => 2,
            _ => 0,
        };
        position += 4 + if flags & WORDS == 0 { 2 } else { 4 } + scales;
        if flags & MORE == 0 {
            return Some(parts);
        }
    }
}

/// Tables behind their directory, with the checksums of each and of all.
fn file(tables: &[(&[u8; 4], Vec<u8>)]) -> Option<Vec<u8>> {
    let count = u16::try_from(tables.len()).ok()?;
    let power = count.checked_ilog2()?;
    let range = 16 << power;
    let mut bytes = 0x0001_0000_u32.to_be_bytes().to_vec();
    for field in [count, range, u16::try_from(power).ok()?, 16 * count - range] {
        bytes.extend(field.to_be_bytes());
    }
    let mut place = bytes.len() + 16 * tables.len();
    let mut head_at = None;
    for (tag, table) in tables {
        bytes.extend(*tag);
        for field in [checksum(table), u32::try_from(place).ok()?, u32::try_from(table.len()).ok()?] {
            bytes.extend(field.to_be_bytes());
        }
        if *tag == b"head" {
            head_at = Some(place);
        }
        place += table.len().next_multiple_of(4);
    }
    for (_, table) in tables {
        bytes.extend(table);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
    }
    let all = CHECKSUM_OF_ALL.wrapping_sub(checksum(&bytes));
    let head_at = head_at? + FILE_CHECKSUM;
    bytes.get_mut(head_at..head_at + 4)?.copy_from_slice(&all.to_be_bytes());
    Some(bytes)
}

/// The sum of a table's words.
fn checksum(table: &[u8]) -> u32 {
    let word =
        |bytes: &[u8]| bytes.iter().chain([0; 4].iter()).take(4).fold(0_u32, |sum, byte| sum << 8 | u32::from(*byte));
    table.chunks(4).map(word).fold(0, u32::wrapping_add)
}

fn table<'f>(font: &'f [u8], tag: &[u8; 4]) -> Option<&'f [u8]> {
    let count = usize::from(u16_at(font, 4)?);
    let record = (0..count).map(|i| 12 + 16 * i).find(|at| font.get(*at..at + 4) == Some(tag))?;
    let (place, length) = (u32_at(font, record + 8)? as usize, u32_at(font, record + 12)? as usize);
    font.get(place..place + length)
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::{CHECKSUM_OF_ALL, checksum, parts, subset, table, u16_at};
    use crate::figures::typeface::INTER;
    use ab_glyph::{Font as _, FontRef, GlyphId};
    use std::collections::BTreeSet;

    #[test]
    fn a_subset_draws_its_glyphs_as_the_whole_font_does_and_no_others() {
        let whole = FontRef::try_from_slice(INTER).unwrap();
        let wanted: BTreeSet<u16> = "Nitrogen ÷ Äö 0.927".chars().map(|c| whole.glyph_id(c).0).collect();
        let bytes = subset(INTER, &wanted).unwrap();
        assert!(bytes.len() < INTER.len() / 5, "{}", bytes.len());
        // Readers of fonts refuse one without a character map, which a PDF doesn't need: the outlines are compared byte by byte.
        let outline = |font: &[u8], glyph: u16| -> Vec<u8> {
            let loca = table(font, b"loca").unwrap();
            let long = u16_at(table(font, b"head").unwrap(), 50).unwrap() == 1;
            let place = |i: usize| {
                if long {
                    u32::from_be_bytes(loca[4 * i..4 * i + 4].try_into().unwrap()) as usize
                } else {
                    2 * usize::from(u16_at(loca, 2 * i).unwrap())
                }
            };
            table(font, b"glyf").unwrap()[place(glyph.into())..place(usize::from(glyph) + 1)].to_vec()
        };
        let composed = whole.glyph_id('Ä').0;
        assert!(!parts(&outline(INTER, composed)).unwrap().is_empty(), "a composed letter is among them");
        for glyph in wanted.iter().copied().chain(parts(&outline(INTER, composed)).unwrap()) {
            let (drawn, full) = (outline(&bytes, glyph), outline(INTER, glyph));
            assert_eq!(drawn[..full.len()], full[..], "{glyph}");
            assert!(drawn[full.len()..].iter().all(|byte| *byte == 0) && drawn.len() < full.len() + 4);
        }
        assert!(outline(&bytes, whole.glyph_id('Q').0).is_empty());
        assert!(whole.outline(GlyphId(composed)).is_some());
        assert_eq!(checksum(&bytes), CHECKSUM_OF_ALL);
    }

    #[test]
    fn what_is_no_font_gives_none() {
        let wanted = BTreeSet::from([3]);
        assert_eq!(subset(b"", &wanted), None);
        assert_eq!(subset(b"hello", &wanted), None);
        for length in (0..4096).step_by(13).chain([INTER.len() / 2]) {
            assert_eq!(subset(&INTER[..length], &wanted), None, "{length}");
        }
        assert_eq!(subset(INTER, &BTreeSet::from([u16::MAX])), None);
    }
}
