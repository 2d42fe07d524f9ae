//! The one layout of every text table, and of the lines around it.

use comfy_table::{CellAlignment, LineStyle, Table, TableStyle};

/// Widest line of running text.
pub(super) const WIDTH: usize = 100;

/// A rule under the heads, two spaces between columns, nothing else.
const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('-'));

/// On which side a column is aligned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A text table under construction.
#[derive(Debug)]
pub(super) struct TextTable {
    sides: Vec<Side>,
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
    /// Rows before which a section begins, with its name.
    sections: Vec<(usize, String)>,
}

/// How far rows stand in from the names of their sections.
const SECTION_INDENT: usize = 2;

impl TextTable {
    /// A table without columns.
    pub(super) fn new() -> Self {
        Self { sides: Vec::new(), heads: Vec::new(), rows: Vec::new(), sections: Vec::new() }
    }

    /// With a column of words.
    pub(super) fn words(mut self, head: impl Into<String>) -> Self {
        self.sides.push(Side::Left);
        self.heads.push(head.into());
        self
    }

    /// With a column of numbers.
    pub(super) fn numbers(mut self, head: impl Into<String>) -> Self {
        self.sides.push(Side::Right);
        self.heads.push(head.into());
        self
    }

    /// Adds a row; a cell a column. Labels come from files: a line feed or an escape sequence in one would break the layout.
    pub(super) fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells.into_iter().map(|cell| cell.replace(char::is_control, " ")).collect());
    }

    /// Begins a section of rows, unless its name is that of the section before.
    pub(super) fn section(&mut self, name: &str) {
        let name = name.replace(char::is_control, " ");
        if self.sections.last().is_none_or(|(_, last)| *last != name) {
            self.sections.push((self.rows.len(), name));
        }
    }

    /// The table, each line indented by `indent` spaces, with a line feed at the end. Columns that are empty throughout are left
    /// out; without rows there is no table.
    pub(super) fn render(&self, indent: usize) -> String {
        if self.rows.is_empty() {
            return String::new();
        }
        let filled = |column: &usize| self.rows.iter().any(|row| row.get(*column).is_some_and(|cell| !cell.is_empty()));
        let columns: Vec<usize> = (0..self.heads.len()).filter(filled).collect();
        let pick = |cells: &[String]| -> Vec<String> {
            columns.iter().map(|column| cells.get(*column).cloned().unwrap_or_default()).collect()
        };
        let mut table = Table::new();
        table.load_style(STYLE).set_header(pick(&self.heads));
        for row in &self.rows {
            table.add_row(pick(row));
        }
        let last = columns.len().saturating_sub(1);
        for (position, (column, source)) in table.column_iter_mut().zip(&columns).enumerate() {
            column.set_padding((0, if position == last { 0 } else { 2 }));
            if self.sides.get(*source) == Some(&Side::Right) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        let margin = " ".repeat(indent);
        let inner = if self.sections.is_empty() { 0 } else { SECTION_INDENT };
        let lines: Vec<String> = table.lines().collect();
        // No cell has a line feed, so every row is one line; heads may have several.
        let heads = lines.len().saturating_sub(self.rows.len());
        let mut text = String::new();
        for (position, line) in lines.iter().enumerate() {
            let row = position.checked_sub(heads);
            for (_, name) in self.sections.iter().filter(|(first, _)| Some(*first) == row) {
                text += &format!("{margin}{name}\n");
            }
            text += format!("{margin}{}{line}", " ".repeat(inner)).trim_end();
            text.push('\n');
        }
        text
    }
}

/// A head with its unit: *N rate, lb/ac*; without a unit the head alone.
pub(super) fn with_unit(head: &str, unit: Option<&str>) -> String {
    unit.map_or_else(|| head.to_owned(), |unit| format!("{head}, {unit}"))
}

/// A quantity with its unit: *40 lb/ac*; without a unit the quantity alone.
pub(super) fn quantity(text: &str, unit: Option<&str>) -> String {
    unit.map_or_else(|| text.to_owned(), |unit| format!("{text} {unit}"))
}

/// A paragraph broken at spaces to the text width, its first line after `first`, the others after as many spaces.
pub(super) fn paragraph(first: &str, text: &str) -> String {
    let hang = " ".repeat(first.chars().count());
    let mut lines = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            lines += line.trim_end();
            lines.push('\n');
            line.clone_from(&hang);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line += word;
        empty = false;
    }
    lines + line.trim_end() + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_right_under_their_heads() {
        let mut table = TextTable::new().words("trial").numbers("N rate, lb/ac").words("note").numbers("SE");
        table.row(["upper-terrace-2024", "96", "", "1.2"].map(str::to_owned).to_vec());
        table.row(["osier", "104.5", "", "–"].map(str::to_owned).to_vec());
        let expected = "  trial               N rate, lb/ac   SE\n  \
                        --------------------------------------\n  \
                        upper-terrace-2024             96  1.2\n  \
                        osier                       104.5    –\n";
        assert_eq!(table.render(2), expected);
    }

    #[test]
    fn sections_name_their_rows_once() {
        let mut table = TextTable::new().words("variety").numbers("net return,\nbu/ac");
        for (trial, variety) in [("osier", "Pale Heron"), ("osier", "Dark Sedge"), ("chalk", "Pale Heron")] {
            table.section(trial);
            table.row(vec![variety.to_owned(), "80.1".to_owned()]);
        }
        let expected = "    variety     net return,\n                      bu/ac\n    -----------------------\n  \
                        osier\n    Pale Heron         80.1\n    Dark Sedge         80.1\n  chalk\n    Pale Heron         80.1\n";
        assert_eq!(table.render(2), expected);
    }

    #[test]
    fn without_rows_there_is_no_table() {
        assert_eq!(TextTable::new().words("trial").render(0), "");
    }

    #[test]
    fn paragraphs_hang_under_their_first_word() {
        let text = "word ".repeat(30);
        let broken = paragraph("- ", &text);
        assert!(broken.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(broken.lines().skip(1).all(|line| line.starts_with("  word")));
    }
}
