//! The report as one HTML file that needs no script, no network and no other file.
//!
//! Written by hand, not from a template: a dozen elements, each made in one place, and one function that every text goes through.
//! No typeface is embedded: figures state the length of every text, and tables need figures of one width, which any system's
//! typeface has and a subset without its layout tables would lose.

mod inlined;
#[cfg(test)]
mod tests;

use std::collections::HashSet;
use std::fmt::Write as _;

use super::{Block, Illustration, Report, Section, Table};
use crate::figures::palette::{BRICK, Colour, INK, MIST, PAPER, SAND, SEA};

/// Everything but the colours.
const STYLESHEET: &str = include_str!("html/report.css");
/// The colours that the stylesheet names.
const COLOURS: [(&str, Colour); 6] =
    [("ink", INK), ("paper", PAPER), ("sea", SEA), ("brick", BRICK), ("mist", MIST), ("sand", SAND)];
/// Nothing runs and nothing is fetched, whatever a text may hold.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";
/// Longest cell, in characters, that is kept on one line.
const SHORT: usize = 28;
/// Most columns that a phone may show whole; beyond, the box of a table can be reached from the keyboard.
const NARROW_COLUMNS: usize = 3;
/// Widest drawing that a phone shows whole, mm.
const NARROW_DRAWING: f64 = 86.0;
/// Columns beyond which print takes smaller type.
const WIDE_COLUMNS: usize = 9;

/// The report as an HTML document. The same report gives the same bytes.
///
/// Texts stand in it as they are, whatever characters they hold: none can become markup. A drawing is inlined if it holds only shapes and
/// texts, otherwise it is embedded as an image of its own, in which a browser runs nothing. Names are taken for the anchors of links, changed
/// where they are not unique.
pub fn html(report: &Report) -> String {
    let mut writer = Writer::default();
    writer.document(report);
    writer.text
}

/// The document as far as it is written.
#[derive(Default)]
struct Writer {
    text: String,
    taken: HashSet<String>,
    tables: usize,
    figures: usize,
}

impl Writer {
    fn document(&mut self, report: &Report) {
        let title = escape(&report.title);
        self.line("<!DOCTYPE html>");
        self.line("<html lang=\"en\">");
        self.line("<head>");
        self.line("<meta charset=\"utf-8\">");
        self.line("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
        self.line(&format!("<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">"));
        self.line(&format!("<meta name=\"generator\" content=\"{}\">", escape(&report.made_by)));
        self.line(&format!("<title>{title}</title>"));
        self.line(&format!("<style>\n{}{STYLESHEET}</style>", colours()));
        self.line("</head>");
        self.line("<body>");
        self.line(&format!("<header>\n<h1>{title}</h1>"));
        self.paragraph(" class=\"subtitle\"", &report.subtitle);
        self.paragraph(" class=\"made\"", &report.made_by);
        self.line("</header>");
        let anchors: Vec<String> = report.sections.iter().map(|section| self.anchor(&section.name)).collect();
        if !anchors.is_empty() {
            let label = self.anchor("contents");
            self.line(&format!(
                "<nav aria-labelledby=\"{label}\">\n<p class=\"label\" id=\"{label}\">Contents</p>\n<ul>"
            ));
            for (section, anchor) in report.sections.iter().zip(&anchors) {
                self.line(&format!("<li><a href=\"#{anchor}\">{}</a></li>", escape(&section.title)));
            }
            self.line("</ul>\n</nav>");
        }
        self.line("<main>");
        for (section, anchor) in report.sections.iter().zip(&anchors) {
            self.section(section, anchor);
        }
        self.line("</main>");
        self.line(&format!("<footer>{}</footer>", escape(&report.made_by)));
        self.line("</body>\n</html>");
    }

    fn section(&mut self, section: &Section, anchor: &str) {
        let heading = self.anchor(&format!("{anchor}-heading"));
        self.line(&format!("<section id=\"{anchor}\" aria-labelledby=\"{heading}\">"));
        self.line(&format!("<h2 id=\"{heading}\">{}</h2>", escape(&section.title)));
        for block in &section.blocks {
            match block {
                Block::Heading(text) => self.line(&format!("<h3>{}</h3>", escape(text))),
                Block::Paragraph(text) => self.paragraph("", text),
                Block::List(points) => self.list("", points),
                Block::Cautions(points) => self.cautions(points),
                Block::Table(table) => self.table(table),
                Block::Figure(figure) => self.figure(figure),
            }
        }
        self.line("</section>");
    }

    fn cautions(&mut self, points: &[String]) {
        if points.is_empty() {
            return;
        }
        let label = self.anchor("cautions");
        self.line(&format!("<div class=\"cautions\" role=\"note\" aria-labelledby=\"{label}\">"));
        self.line(&format!(
            "<p class=\"label\" id=\"{label}\">{}</p>",
            if points.len() == 1 { "Caution" } else { "Cautions" }
        ));
        self.list("", points);
        self.line("</div>");
    }

    fn table(&mut self, table: &Table) {
        self.tables += 1;
        let anchor = self.anchor(&format!("table-{}", table.name));
        let caption = self.anchor(&format!("{anchor}-caption"));
        let columns = table.width();
        let wide = if columns > WIDE_COLUMNS { " wide" } else { "" };
        let reach = if columns > NARROW_COLUMNS { " tabindex=\"0\"" } else { "" };
        let title = format!("<b>Table {}.</b> {}", self.tables, escape(&table.title));
        self.line(&format!("<div class=\"table{wide}\" id=\"{anchor}\">"));
        if columns == 0 {
            self.line(&format!("<p>{title}</p>"));
        } else {
            self.line(&format!("<div class=\"scroll\" role=\"region\" aria-labelledby=\"{caption}\"{reach}>"));
            self.line(&format!("<table>\n<caption><span id=\"{caption}\">{title}</span></caption>"));
            let classes: Vec<&str> = (0..columns).map(|column| class(table, column)).collect();
            self.line("<thead>\n<tr>");
            for (column, class) in classes.iter().enumerate() {
                let head = table.columns.get(column).map_or("", |column| &column.head);
                self.line(&format!("<th scope=\"col\" class=\"{class}\">{}</th>", escape(head)));
            }
            self.line("</tr>\n</thead>\n<tbody>");
            for row in &table.rows {
                self.text.push_str("<tr>");
                for (column, class) in classes.iter().enumerate() {
                    let text = row.get(column).map_or("", |cell| &cell.text);
                    // A row is known by its first cell, if that is a name.
                    let (start, end) =
                        if column == 0 && *class != "number" { ("th scope=\"row\"", "th") } else { ("td", "td") };
                    let _ = write!(self.text, "<{start} class=\"{class}\">{}</{end}>", escape(text));
                }
                self.line("</tr>");
            }
            if table.rows.is_empty() {
                self.line(&format!("<tr><td colspan=\"{columns}\">No rows.</td></tr>"));
            }
            self.line("</tbody>\n</table>\n</div>");
        }
        self.list(" class=\"notes\"", &table.notes);
        self.line("</div>");
    }

    fn figure(&mut self, figure: &Illustration) {
        self.figures += 1;
        let anchor = self.anchor(&format!("figure-{}", figure.name));
        let words = if figure.alternative.trim().is_empty() { &figure.caption } else { &figure.alternative };
        let (alternative, width) = (escape(words), figure.printed_width());
        let reach = if width > NARROW_DRAWING { " tabindex=\"0\"" } else { "" };
        self.line(&format!("<figure id=\"{anchor}\">"));
        // The box is the image: it scrolls, so it must be reached, and what is reached needs a name; the drawing would give it a second time.
        self.line(&format!("<div class=\"drawing\" role=\"img\" aria-label=\"{alternative}\"{reach}>"));
        match inlined::inlined(&figure.svg, &anchor, width) {
            Some(drawing) => self.line(&drawing),
            None => {
                let address = inlined::address(&figure.svg);
                self.line(&format!(
                    "<img style=\"width:{width}mm\" alt=\"{alternative}\" aria-hidden=\"true\" src=\"{address}\">"
                ));
            }
        }
        self.line("</div>");
        self.line(&format!("<figcaption><b>Figure {}.</b> {}</figcaption>", self.figures, escape(&figure.caption)));
        self.line("</figure>");
    }

    fn paragraph(&mut self, attributes: &str, text: &str) {
        self.line(&format!("<p{attributes}>{}</p>", escape(text)));
    }

    fn list(&mut self, attributes: &str, points: &[String]) {
        if points.is_empty() {
            return;
        }
        self.line(&format!("<ul{attributes}>"));
        for point in points {
            self.line(&format!("<li>{}</li>", escape(point)));
        }
        self.line("</ul>");
    }

    fn line(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push('\n');
    }

    /// An anchor that no other element has, as near to the name as an address may be.
    fn anchor(&mut self, name: &str) -> String {
        let plain: String = name
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() || c == '-' { c.to_ascii_lowercase() } else { '-' })
            .collect();
        let plain = if plain.starts_with(|c: char| c.is_ascii_lowercase()) { plain } else { format!("part-{plain}") };
        let mut anchor = plain.clone();
        let mut count = 1;
        while !self.taken.insert(anchor.clone()) {
            count += 1;
            anchor = format!("{plain}-{count}");
        }
        anchor
    }
}

/// How the cells of a column stand.
fn class(table: &Table, column: usize) -> &'static str {
    if table.columns.get(column).is_some_and(|column| column.is_number) {
        "number"
    } else if table.rows.iter().filter_map(|row| row.get(column)).all(|cell| cell.text.chars().count() <= SHORT) {
        "short"
    } else {
        "long"
    }
}

/// The colours as the stylesheet names them.
fn colours() -> String {
    let named = COLOURS.map(|(name, (r, g, b))| format!("--{name}: #{r:02X}{g:02X}{b:02X};"));
    format!(":root {{ {} }}\n", named.join(" "))
}

/// Text made safe for HTML, in elements and in quoted attributes. Characters that HTML forbids become spaces.
fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\n' | '\t' => safe.push(c),
            c if c.is_control() || is_noncharacter(c) => safe.push(' '),
            c => safe.push(c),
        }
    }
    safe
}

/// What Unicode keeps from interchange: the last two places of every plane and 32 in the first.
fn is_noncharacter(c: char) -> bool {
    u32::from(c) & 0xFFFE == 0xFFFE || matches!(c, '\u{FDD0}'..='\u{FDEF}')
}
