//! The scene as SVG. Shapes go through the drawing library on a canvas of [`UNITS`] a millimetre, because it rounds to whole
//! units; the texts are written here, because the library would change their size, family and baseline.

use std::fmt::Write as _;

use plotters::backend::{DrawingBackend, SVGBackend};
use plotters::style::{Color, RGBColor};

use super::scene::{Anchor, INK, Place, Scene, Shape};
use super::typeface::{FAMILY, MM_PER_POINT};
use super::{FigureError, Words};

/// Canvas units in a millimetre.
const UNITS: f64 = 200.0;

pub(super) fn write(scene: &Scene, words: &Words) -> Result<String, FigureError> {
    let (width, height) = (units(scene.width), units(scene.height));
    let shapes = shapes(scene, (width.unsigned_abs(), height.unsigned_abs()))?;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {width} {height}\" \
         role=\"img\" stroke-linejoin=\"round\" font-family=\"{FAMILY}, sans-serif\">\n",
        decimal(scene.width),
        decimal(scene.height),
    );
    let Words { title, caption, finding } = words;
    let description = [finding, caption].map(|text| text.trim()).join(" ");
    for (element, text) in [("title", title.trim()), ("desc", description.trim())] {
        if !text.is_empty() {
            let _ = writeln!(svg, "<{element}>{}</{element}>", escape(text));
        }
    }
    let _ = writeln!(svg, "<rect width=\"{width}\" height=\"{height}\" fill=\"#FFFFFF\"/>");
    svg.push_str(&shapes);
    let (r, g, b) = INK;
    let _ = writeln!(svg, "<g fill=\"#{r:02X}{g:02X}{b:02X}\">");
    for text in &scene.texts {
        let anchor = match text.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let (x, y) = (decimal(text.place.x * UNITS), decimal(text.place.y * UNITS));
        let turn = if text.upright { format!(" transform=\"rotate(-90 {x} {y})\"") } else { String::new() };
        let _ = writeln!(
            svg,
            "<text x=\"{x}\" y=\"{y}\"{turn} font-size=\"{}\" text-anchor=\"{anchor}\" textLength=\"{}\" \
             lengthAdjust=\"spacingAndGlyphs\">{}</text>",
            decimal(text.points * MM_PER_POINT * UNITS),
            decimal(text.length * UNITS),
            escape(&text.content),
        );
    }
    svg.push_str("</g>\n</svg>\n");
    Ok(svg)
}

/// The shape elements alone, without the document that the library opens and closes around them.
fn shapes(scene: &Scene, size: (u32, u32)) -> Result<String, FigureError> {
    let mut document = String::new();
    let mut backend = SVGBackend::with_string(&mut document, size);
    for shape in &scene.shapes {
        match shape {
            Shape::Line { places, width, colour: (r, g, b) } => backend.draw_path(
                places.iter().map(coordinates),
                &RGBColor(*r, *g, *b).stroke_width(units(*width).unsigned_abs()),
            ),
            Shape::Area { places, colour: (r, g, b) } => {
                backend.fill_polygon(places.iter().map(coordinates), &RGBColor(*r, *g, *b).filled())
            }
            Shape::Disc { centre, radius, colour: (r, g, b) } => backend.draw_circle(
                coordinates(centre),
                units(*radius).unsigned_abs(),
                &RGBColor(*r, *g, *b).filled(),
                true,
            ),
        }
        .map_err(|error| FigureError::Drawing(error.to_string()))?;
    }
    backend.present().map_err(|error| FigureError::Drawing(error.to_string()))?;
    drop(backend);
    Ok(document
        .lines()
        .filter(|line| !line.starts_with("<svg") && !line.starts_with("</svg"))
        .map(|line| format!("{}\n", line.replace(" opacity=\"1\"", "")))
        .collect())
}

fn units(millimetres: f64) -> i32 {
    (millimetres * UNITS).round() as i32
}

fn coordinates(place: &Place) -> (i32, i32) {
    (units(place.x), units(place.y))
}

/// At most two decimals, without trailing zeros.
fn decimal(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Text made safe for XML; characters that XML forbids become spaces.
fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '\n' | '\t' => safe.push(c),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => safe.push(' '),
            c => safe.push(c),
        }
    }
    safe
}
