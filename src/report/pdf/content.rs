//! The report as the layout reads it: JSON in which every text is a string.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{Paper, PdfError};
use crate::figures::palette::{BRICK, Colour, INK, MIST, SAND};
use crate::report::{Block, Cell, Illustration, Report, Section, Table};

/// Longest text, in characters, of the lines above and below a page.
const RUNNING: usize = 80;
/// Cells of a column whose width is measured: those with the most letters, each text once.
const MEASURED: usize = 16;

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Content {
    title: String,
    subtitle: String,
    running_head: String,
    running_subtitle: String,
    running_foot: String,
    paper: &'static str,
    colours: BTreeMap<&'static str, String>,
    sections: Vec<Part>,
}

#[derive(Serialize)]
struct Part {
    title: String,
    blocks: Vec<Shown>,
}

#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
enum Shown {
    Heading { text: String },
    Paragraph { text: String },
    List { points: Vec<String> },
    Cautions { points: Vec<String> },
    Table { title: String, columns: Vec<Head>, rows: Vec<Vec<String>>, notes: Vec<String> },
    Figure { svg: String, width: f64, alternative: String, caption: String },
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Head {
    head: String,
    is_number: bool,
    /// Its texts with the most letters.
    longest: Vec<String>,
}

/// The report and the paper as the text of `report.json`.
pub(super) fn json(report: &Report, paper: Paper) -> Result<String, PdfError> {
    let content = Content {
        title: clean(&report.title),
        subtitle: clean(&report.subtitle),
        running_head: shortened(&report.title, RUNNING),
        running_subtitle: shortened(&report.subtitle, RUNNING / 2),
        running_foot: shortened(&report.made_by, RUNNING),
        paper: match paper {
            Paper::A4 => "a4",
            Paper::UsLetter => "us-letter",
        },
        colours: [("ink", INK), ("brick", BRICK), ("mist", MIST), ("sand", SAND)].map(named).into(),
        sections: report.sections.iter().map(part).collect(),
    };
    serde_json::to_string(&content).map_err(|error| PdfError::Typesetting(error.to_string()))
}

fn named((name, (r, g, b)): (&'static str, Colour)) -> (&'static str, String) {
    (name, format!("#{r:02X}{g:02X}{b:02X}"))
}

fn part(section: &Section) -> Part {
    Part { title: clean(&section.title), blocks: section.blocks.iter().filter_map(shown).collect() }
}

/// A block; `None` if there is nothing in it to be shown.
fn shown(block: &Block) -> Option<Shown> {
    Some(match block {
        Block::Heading(text) => Shown::Heading { text: clean(text) },
        Block::Paragraph(text) => Shown::Paragraph { text: clean(text) },
        Block::List(points) | Block::Cautions(points) if points.is_empty() => return None,
        Block::List(points) => Shown::List { points: all_clean(points) },
        Block::Cautions(points) => Shown::Cautions { points: all_clean(points) },
        Block::Table(table) => shown_table(table),
        Block::Figure(figure) => shown_figure(figure),
    })
}

fn shown_table(table: &Table) -> Shown {
    let width = table.width();
    let rows: Vec<Vec<String>> = if table.rows.is_empty() && width > 0 {
        let first = "No rows.".to_owned();
        vec![std::iter::once(first).chain(std::iter::repeat_n(String::new(), width - 1)).collect()]
    } else {
        let cell = |row: &[Cell], column: usize| row.get(column).map_or_else(String::new, |cell| clean(&cell.text));
        table.rows.iter().map(|row| (0..width).map(|column| cell(row, column)).collect()).collect()
    };
    let columns = (0..width)
        .map(|place| {
            let column = table.columns.get(place);
            let texts: BTreeSet<&String> = rows.iter().filter_map(|row| row.get(place)).collect();
            let mut longest: Vec<&String> = texts.into_iter().collect();
            longest.sort_by_key(|text| Reverse(text.chars().count()));
            Head {
                head: column.map_or_else(String::new, |column| clean(&column.head)),
                is_number: column.is_some_and(|column| column.is_number),
                longest: longest.into_iter().take(MEASURED).cloned().collect(),
            }
        })
        .collect();
    Shown::Table { title: clean(&table.title), columns, rows, notes: all_clean(&table.notes) }
}

fn shown_figure(figure: &Illustration) -> Shown {
    let words = if figure.alternative.trim().is_empty() { &figure.caption } else { &figure.alternative };
    Shown::Figure {
        svg: figure.svg.clone(),
        width: figure.printed_width(),
        alternative: clean(words),
        caption: clean(&figure.caption),
    }
}

/// Text on one line: what cannot be printed, line ends among it, becomes a space; *p = 0.05* is not broken.
fn clean(text: &str) -> String {
    let printed = |c: char| if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}') { ' ' } else { c };
    let text: String = text.chars().map(printed).collect();
    ["=", "<", ">", "≤", "≥"]
        .iter()
        .fold(text, |text, sign| text.replace(&format!(" {sign} "), &format!("\u{a0}{sign}\u{a0}")))
}

fn all_clean(texts: &[String]) -> Vec<String> {
    texts.iter().map(|text| clean(text)).collect()
}

/// The text with no more than so many characters.
fn shortened(text: &str, most: usize) -> String {
    let text = clean(text);
    if text.chars().count() <= most {
        return text;
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}
