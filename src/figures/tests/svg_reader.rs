//! Reads back from an SVG what these tests measure. It knows only the elements that figures are made of.

use ab_glyph::{Font as _, FontRef};

use crate::figures::typeface::Typeface;
use crate::figures::{Colours, Figure, FigureError, Style, svg};

/// A text with the box it takes on the page, mm.
#[derive(Debug, Clone)]
pub(super) struct TextBox {
    pub content: String,
    /// Anchor point, mm.
    pub x: f64,
    pub y: f64,
    pub points: f64,
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    /// Length that the file states and length measured here, mm.
    pub stated: f64,
    pub measured: f64,
}

pub(super) struct Page {
    pub width: f64,
    pub height: f64,
    pub texts: Vec<TextBox>,
    /// Circles as x, y, radius in mm and fill.
    pub circles: Vec<(f64, f64, f64, String)>,
    /// Polygons and polylines as corners in mm and colour.
    pub polygons: Vec<(Vec<[f64; 2]>, String)>,
    pub lines: Vec<(Vec<[f64; 2]>, String)>,
}

/// Units in a millimetre, as the files are written.
const UNITS: f64 = 200.0;

fn attribute<'a>(element: &'a str, name: &str) -> Option<&'a str> {
    let start = element.find(&format!(" {name}=\""))? + name.len() + 3;
    element[start..].split('"').next()
}

fn number(element: &str, name: &str) -> f64 {
    attribute(element, name)
        .and_then(|text| text.parse().ok())
        .unwrap_or_else(|| panic!("no number {name} in {element}"))
}

fn corners(element: &str) -> Vec<[f64; 2]> {
    attribute(element, "points")
        .unwrap()
        .split_whitespace()
        .map(|pair| {
            let (x, y) = pair.split_once(',').unwrap();
            [x, y].map(|text| text.parse::<f64>().unwrap() / UNITS)
        })
        .collect()
}

/// A figure as its SVG draws it, without the time that PDF and PNG take.
pub(super) fn drawn(figure: &Figure, style: &Style) -> Result<Page, FigureError> {
    let description = figure.description();
    description.validate()?;
    let mut scene = description.lay_out(style.width.millimetres(), &Typeface::load(style.decimal_mark)?);
    if style.colours == Colours::Grey {
        scene.grey();
    }
    Ok(read(&svg::write(&scene, description.words())?))
}

pub(super) fn read(svg: &str) -> Page {
    let font = FontRef::try_from_slice(include_bytes!("../font/Inter-Regular.ttf")).unwrap();
    let em = f64::from(font.units_per_em().unwrap());
    let millimetres = |name| {
        let text = attribute(svg, name).unwrap();
        text.strip_suffix("mm").unwrap().parse::<f64>().unwrap()
    };
    let mut page = Page {
        width: millimetres("width"),
        height: millimetres("height"),
        texts: Vec::new(),
        circles: Vec::new(),
        polygons: Vec::new(),
        lines: Vec::new(),
    };
    for line in svg.lines() {
        if line.starts_with("<circle") {
            page.circles.push((
                number(line, "cx") / UNITS,
                number(line, "cy") / UNITS,
                number(line, "r") / UNITS,
                attribute(line, "fill").unwrap().to_owned(),
            ));
        } else if line.starts_with("<polygon") {
            let fill = attribute(line, "fill").unwrap().to_owned();
            page.polygons.push((corners(line), fill));
        } else if line.starts_with("<polyline") {
            let stroke = attribute(line, "stroke").unwrap().to_owned();
            page.lines.push((corners(line), stroke));
        } else if line.starts_with("<text") {
            let content = line
                .split_once('>')
                .and_then(|(_, rest)| rest.strip_suffix("</text>"))
                .unwrap()
                .replace("&lt;", "<")
                .replace("&gt;", ">")
                .replace("&amp;", "&");
            let (x, y) = (number(line, "x") / UNITS, number(line, "y") / UNITS);
            let size = number(line, "font-size") / UNITS;
            let advances: f32 = content.chars().map(|c| font.h_advance_unscaled(font.glyph_id(c))).sum();
            let measured = f64::from(advances) / em * size;
            let upright = line.contains("rotate(-90");
            let back = match attribute(line, "text-anchor").unwrap() {
                "start" => 0.0,
                "middle" => measured / 2.0,
                "end" => measured,
                other => panic!("anchor {other}"),
            };
            // Tall letters and brackets reach 0.76 em up, tails 0.2 em down.
            let (above, below) = (0.76 * size, 0.2 * size);
            let (left, right, top, bottom) = if upright {
                (x - above, x + below, y + back - measured, y + back)
            } else {
                (x - back, x - back + measured, y - above, y + below)
            };
            page.texts.push(TextBox {
                content,
                x,
                y,
                points: size / (25.4 / 72.0),
                left,
                right,
                top,
                bottom,
                stated: number(line, "textLength") / UNITS,
                measured,
            });
        }
    }
    page
}

/// From a yield label's baseline up to its tick: half the height of capitals, 0.7275 em (OS/2 table) at 7 pt.
const HALF_CAPITAL: f64 = 0.7275 * 7.0 * 25.4 / 72.0 / 2.0;

/// The line through the outermost of some (number, place) pairs.
fn line(mut pairs: Vec<(f64, f64)>) -> impl Fn(f64) -> f64 {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (pairs[0], pairs[pairs.len() - 1]);
    assert!(last.0 > first.0, "two ticks at least");
    move |value| first.1 + (value - first.0) / (last.0 - first.0) * (last.1 - first.1)
}

/// Places of numbers, read from the tick labels alone.
pub(super) fn scales(page: &Page) -> (impl Fn(f64) -> f64, impl Fn(f64) -> f64) {
    let numbers: Vec<(f64, &TextBox)> = page
        .texts
        .iter()
        .filter_map(|text| Some((text.content.replace('\u{2212}', "-").parse().ok()?, text)))
        .collect();
    let floor = numbers.iter().map(|(_, text)| text.y).fold(0.0, f64::max);
    let across = numbers.iter().filter(|(_, text)| (text.y - floor).abs() < 1e-9);
    let up = numbers.iter().filter(|(_, text)| text.y < floor - 1.0);
    (
        line(across.map(|(value, text)| (*value, text.x)).collect()),
        line(up.map(|(value, text)| (*value, text.y - HALF_CAPITAL)).collect()),
    )
}
