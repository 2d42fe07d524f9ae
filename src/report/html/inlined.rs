//! A drawing made part of the page: only shapes and texts, under ids of its own.

use std::collections::HashMap;
use std::fmt::Write as _;

use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use super::escape;

/// What a drawing may be made of.
const ELEMENTS: &[&str] = &[
    "svg",
    "g",
    "path",
    "rect",
    "circle",
    "ellipse",
    "line",
    "polyline",
    "polygon",
    "text",
    "tspan",
    "defs",
    "clipPath",
    "mask",
    "pattern",
    "marker",
    "linearGradient",
    "radialGradient",
    "stop",
];
/// What is left out with all that is in it: the page gives the one alternative.
const LEFT_OUT: &[&str] = &["title", "desc", "metadata"];
/// Attributes that say how something is drawn; none can run or fetch anything, once `url(…)` has been looked at.
#[rustfmt::skip]
const ATTRIBUTES: &[&str] = &[
    "baseline-shift", "clip-path", "clip-rule", "clipPathUnits", "color", "cx", "cy", "d", "display", "dominant-baseline", "dx", "dy", "fill",
    "fill-opacity", "fill-rule", "font-family", "font-size", "font-style", "font-weight", "fx", "fy", "gradientTransform", "gradientUnits",
    "height", "letter-spacing", "lengthAdjust", "marker-end", "marker-mid", "marker-start", "markerHeight", "markerUnits", "markerWidth",
    "mask", "maskContentUnits", "maskUnits", "offset", "opacity", "orient", "paint-order", "patternContentUnits", "patternTransform",
    "patternUnits", "points", "preserveAspectRatio", "r", "refX", "refY", "rotate", "rx", "ry", "shape-rendering", "stop-color",
    "stop-opacity", "stroke", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin", "stroke-miterlimit",
    "stroke-opacity", "stroke-width", "text-anchor", "text-rendering", "textLength", "transform", "vector-effect", "viewBox",
    "visibility", "width", "x", "x1", "x2", "xml:space", "y", "y1", "y2",
];
/// What the page says in its own way, or need not say.
const DROPPED: &[&str] = &[
    "role",
    "version",
    "aria-label",
    "aria-labelledby",
    "aria-describedby",
    "aria-hidden",
    "focusable",
    "xml:lang",
    "lang",
];

/// The drawing as an element of the page, `width` mm wide, with its ids under the anchor; hidden from readers, who are told by what stands around
/// it. `None` if it is not well-formed, has no `viewBox`, or holds anything but shapes and texts.
pub(super) fn inlined(svg: &str, anchor: &str, width: f64) -> Option<String> {
    let mut reader = Reader::from_str(svg);
    let mut drawing = Drawing { text: String::with_capacity(svg.len()), anchor, width, ids: HashMap::new() };
    let mut depth = 0_usize;
    let mut is_done = false;
    loop {
        match reader.read_event().ok()? {
            Event::Start(start) if LEFT_OUT.contains(&start.name().as_ref()) && depth > 0 => {
                reader.read_to_end(start.name()).ok()?;
            }
            Event::Empty(start) if LEFT_OUT.contains(&start.name().as_ref()) && depth > 0 => {}
            Event::Start(start) => {
                drawing.element(&start, depth, is_done)?;
                drawing.text.push('>');
                depth += 1;
            }
            Event::Empty(start) => {
                drawing.element(&start, depth, is_done)?;
                drawing.text.push_str("/>");
                is_done |= depth == 0;
            }
            Event::End(end) => {
                let _ = write!(drawing.text, "</{}>", end.name().as_ref());
                depth = depth.checked_sub(1)?;
                is_done |= depth == 0;
            }
            Event::Text(text) if depth > 0 => drawing.text.push_str(&escape(&text)),
            Event::CData(text) if depth > 0 => drawing.text.push_str(&escape(&text)),
            Event::GeneralRef(reference) if depth > 0 => {
                let named = quick_xml::escape::resolve_predefined_entity(&reference).map(str::to_owned);
                let text = match reference.resolve_char_ref().ok()? {
                    Some(character) => character.to_string(),
                    None => named?,
                };
                drawing.text.push_str(&escape(&text));
            }
            Event::Text(text) if text.trim().is_empty() => {}
            Event::Decl(_) | Event::Comment(_) | Event::PI(_) => {}
            Event::Eof => return is_done.then_some(drawing.text),
            Event::Text(_) | Event::CData(_) | Event::GeneralRef(_) | Event::DocType(_) => return None,
        }
    }
}

/// The drawing as an address of its own: a browser shows it as an image and runs nothing in it.
pub(super) fn address(svg: &str) -> String {
    let mut address = String::from("data:image/svg+xml,");
    for byte in svg.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            address.push(char::from(byte));
        } else {
            let _ = write!(address, "%{byte:02X}");
        }
    }
    address
}

struct Drawing<'a> {
    text: String,
    anchor: &'a str,
    width: f64,
    /// Ids of the drawing, each with its number.
    ids: HashMap<String, usize>,
}

impl Drawing<'_> {
    /// Begins an element; `None` where it may not stand in the page.
    fn element(&mut self, start: &BytesStart, depth: usize, is_done: bool) -> Option<()> {
        let name = start.name();
        let name = name.as_ref();
        // One drawing, which is all of the document.
        if !ELEMENTS.contains(&name) || (name == "svg") != (depth == 0) || is_done {
            return None;
        }
        let _ = write!(self.text, "<{name}");
        let mut has_view = false;
        for attribute in start.attributes() {
            let attribute = attribute.ok()?;
            let key = attribute.key.as_ref();
            let value = attribute.normalized_value(XmlVersion::Implicit1_0).ok()?;
            has_view |= key == "viewBox";
            let sizes_page = depth == 0 && matches!(key, "width" | "height" | "x" | "y" | "id");
            if sizes_page || DROPPED.contains(&key) || key == "xmlns" || key.starts_with("xmlns:") {
                continue;
            }
            let value = if key == "id" {
                self.id(&value)
            } else if !ATTRIBUTES.contains(&key) || value.contains('\\') {
                // A backslash could spell what is looked for below.
                return None;
            } else if value.to_ascii_lowercase().contains("url") {
                let target = value.strip_prefix("url(#")?.strip_suffix(')')?;
                format!("url(#{})", self.id(target))
            } else {
                value.into_owned()
            };
            let _ = write!(self.text, " {key}=\"{}\"", escape(&value));
        }
        if depth == 0 {
            let _ = write!(self.text, " aria-hidden=\"true\" style=\"width:{}mm\"", self.width);
            return has_view.then_some(());
        }
        Some(())
    }

    /// What an id of the drawing is called on the page.
    fn id(&mut self, id: &str) -> String {
        let next = self.ids.len() + 1;
        let number = *self.ids.entry(id.to_owned()).or_insert(next);
        format!("{}-part-{number}", self.anchor)
    }
}
