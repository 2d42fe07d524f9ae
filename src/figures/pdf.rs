//! The scene as a PDF page: shapes as paths, text as text in the compiled-in font, of which only the glyphs in use are embedded.
//!
//! Nothing in it depends on the clock or on an order of chance: the same scene gives the same bytes.

use std::collections::BTreeMap;

use flate2::Compression;
use flate2::write::ZlibEncoder;
use pdf_writer::types::{CidFontType, FontFlags, LineJoinStyle, SystemInfo, UnicodeCmap};
use pdf_writer::{Content, Filter, Name, Pdf, Rect, Ref, Str, TextStr};
use std::io::Write as _;

use super::FigureError;
use super::font_subset::subset;
use super::scene::{Anchor, Colour, INK, Place, Scene, Shape};
use super::typeface::{CAPITAL_HEIGHT, INTER, MM_PER_POINT, Typeface};

/// The typeface's name, after six letters that say it is a part of it.
const FONT: Name<'static> = Name(b"STUKAA+Inter-Regular");
/// What the page calls it.
const TYPE: Name<'static> = Name(b"F");
const SYSTEM: SystemInfo<'static> = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
/// Distance of the handles of a quarter of a circle from its ends, for a radius of 1: 4/3·(√2 − 1).
const QUARTER: f64 = 0.552_284_749_830_793_4;
/// Thousandths of the type size, which a PDF measures glyphs in.
const EM: f64 = 1000.0;
/// Width of upright stems, for readers that put another typeface in: that of Inter Regular's l, as a share of the type size.
const STEM: f32 = 84.0;

/// The scene as a document of one page with a title.
pub(super) fn write(scene: &Scene, title: &str, typeface: &Typeface) -> Result<Vec<u8>, FigureError> {
    let used: BTreeMap<u16, char> =
        scene.texts.iter().flat_map(|text| text.content.chars()).map(|c| (typeface.glyph(c), c)).collect();
    let font = subset(INTER, &used.keys().copied().collect())
        .ok_or_else(|| FigureError::Drawing("the font can't be embedded".to_owned()))?;
    let [catalog, pages, page, content, composite, glyphs, descriptor, file, unicode, info] = IDS.map(Ref::new);
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(pages).lang(TextStr("en"));
    pdf.document_info(info).title(TextStr(title)).producer(TextStr(concat!("stook ", env!("CARGO_PKG_VERSION"))));
    pdf.pages(pages).kids([page]).count(1);
    let mut sheet = pdf.page(page);
    sheet.parent(pages).contents(content);
    sheet.media_box(Rect::new(0.0, 0.0, points(scene.width), points(scene.height)));
    sheet.resources().fonts().pair(TYPE, composite);
    drop(sheet);
    pdf.stream(content, &compressed(&drawn(scene, typeface))?).filter(Filter::FlateDecode);
    pdf.type0_font(composite)
        .base_font(FONT)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(glyphs)
        .to_unicode(unicode);
    let mut cid_font = pdf.cid_font(glyphs);
    cid_font.subtype(CidFontType::Type2).base_font(FONT).system_info(SYSTEM).font_descriptor(descriptor);
    cid_font.cid_to_gid_map_predefined(Name(b"Identity")).default_width(0.0);
    let mut widths = cid_font.widths();
    for (glyph, character) in &used {
        widths.consecutive(*glyph, [(typeface.ems(*character) * EM) as f32]);
    }
    drop(widths);
    drop(cid_font);
    let [ascent, descent] = typeface.ascent_and_descent().map(|share| (share * EM) as f32);
    pdf.font_descriptor(descriptor)
        .name(FONT)
        .flags(FontFlags::NON_SYMBOLIC)
        .bbox(Rect::new(0.0, descent, EM as f32, ascent))
        .italic_angle(0.0)
        .ascent(ascent)
        .descent(descent)
        .cap_height((CAPITAL_HEIGHT * EM) as f32)
        .stem_v(STEM)
        .font_file2(file);
    let length = i32::try_from(font.len()).map_err(|error| FigureError::Drawing(error.to_string()))?;
    pdf.stream(file, &compressed(&font)?).filter(Filter::FlateDecode).pair(Name(b"Length1"), length);
    let mut map = UnicodeCmap::new(Name(b"Stook-Unicode"), SYSTEM);
    for (glyph, character) in &used {
        map.pair(*glyph, *character);
    }
    pdf.cmap(unicode, &map.finish());
    Ok(pdf.finish())
}

/// Numbers of the document's objects.
const IDS: [i32; 10] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];

fn points(millimetres: f64) -> f32 {
    (millimetres / MM_PER_POINT) as f32
}

fn compressed(bytes: &[u8]) -> Result<Vec<u8>, FigureError> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    let written = encoder.write_all(bytes).and_then(|()| encoder.finish());
    written.map_err(|error| FigureError::Drawing(error.to_string()))
}

/// The drawing operators of a page, whose origin is the lower left.
fn drawn(scene: &Scene, typeface: &Typeface) -> Vec<u8> {
    let mut page = Content::new();
    let place = |Place { x, y }: Place| (points(x), points(scene.height - y));
    page.set_line_join(LineJoinStyle::RoundJoin);
    for shape in &scene.shapes {
        match shape {
            Shape::Line { places, width, colour } => {
                let [r, g, b] = shares(*colour);
                page.set_stroke_rgb(r, g, b).set_line_width(points(*width));
                path(&mut page, places.iter().map(|each| place(*each)));
                page.stroke();
            }
            Shape::Area { places, colour } => {
                fill(&mut page, *colour);
                path(&mut page, places.iter().map(|each| place(*each)));
                page.close_path().fill_even_odd();
            }
            Shape::Disc { centre, radius, colour } => {
                fill(&mut page, *colour);
                circle(&mut page, place(*centre), points(*radius));
                page.fill_nonzero();
            }
        }
    }
    fill(&mut page, INK);
    for text in &scene.texts {
        let back = match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => text.length / 2.0,
            Anchor::End => text.length,
        };
        let Place { x, y } = text.place;
        let start = if text.upright { Place { x, y: y + back } } else { Place { x: x - back, y } };
        let (left, base) = place(start);
        let turned = if text.upright { [0.0, 1.0, -1.0, 0.0] } else { [1.0, 0.0, 0.0, 1.0] };
        let [a, b, c, d] = turned;
        let glyphs: Vec<u8> = text.content.chars().flat_map(|c| typeface.glyph(c).to_be_bytes()).collect();
        page.begin_text().set_font(TYPE, text.points as f32).set_text_matrix([a, b, c, d, left, base]);
        page.show(Str(&glyphs)).end_text();
    }
    page.finish().to_vec()
}

fn shares((r, g, b): Colour) -> [f32; 3] {
    [r, g, b].map(|channel| f32::from(channel) / 255.0)
}

fn fill(page: &mut Content, colour: Colour) {
    let [r, g, b] = shares(colour);
    page.set_fill_rgb(r, g, b);
}

fn path(page: &mut Content, mut places: impl Iterator<Item = (f32, f32)>) {
    if let Some((x, y)) = places.next() {
        page.move_to(x, y);
    }
    for (x, y) in places {
        page.line_to(x, y);
    }
}

/// Four quarters of a circle.
fn circle(page: &mut Content, (x, y): (f32, f32), radius: f32) {
    let handle = radius * QUARTER as f32;
    page.move_to(x + radius, y);
    page.cubic_to(x + radius, y + handle, x + handle, y + radius, x, y + radius);
    page.cubic_to(x - handle, y + radius, x - radius, y + handle, x - radius, y);
    page.cubic_to(x - radius, y - handle, x - handle, y - radius, x, y - radius);
    page.cubic_to(x + handle, y - radius, x + radius, y - handle, x + radius, y);
    page.close_path();
}
