//! A table under construction: numbers in their column's form, what is missing as a dash that its notes explain.

use super::content::{Block, Cell, Column, Table};
use crate::figures::DecimalMark;
use crate::output::interval_words::limits_text;
use crate::output::numbers::{NONE, decimals_of_error, fixed, or_dash};
use crate::stats::interval::{Interval, Limits};

/// Below each table with a dash in it.
const DASH: &str = "–: not applicable, or not known.";
/// What marks an interval of several pieces.
const IN_PIECES: &str = "†";

/// How numbers are written: the decimal mark, and a true minus sign.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Numerals {
    mark: DecimalMark,
}

impl Numerals {
    pub(super) fn new(mark: DecimalMark) -> Self {
        Self { mark }
    }

    /// Text that was made of words and numbers here, its numbers in this form: `-` before a number or between the terms of a formula is a
    /// minus, a point between digits the decimal mark. Not for what users typed.
    pub(super) fn set(self, text: &str) -> String {
        let letters: Vec<char> = text.chars().collect();
        let at = |position: Option<usize>| position.and_then(|position| letters.get(position)).copied();
        let is_digit = |letter: Option<char>| letter.is_some_and(|letter| letter.is_ascii_digit());
        let set = |(position, letter): (usize, &char)| {
            let (before, after) = (at(position.checked_sub(1)), at(position.checked_add(1)));
            match letter {
                '-' if is_digit(after) && before.is_none_or(|before| !before.is_alphanumeric()) => '−',
                // Between two terms of a formula.
                '-' if before == Some(' ') && after == Some(' ') => '−',
                '.' if self.mark == DecimalMark::Comma && is_digit(before) && is_digit(after) => ',',
                other => *other,
            }
        };
        letters.iter().enumerate().map(set).collect()
    }

    /// A number with so many decimals.
    pub(super) fn fixed(self, value: f64, decimals: usize) -> String {
        self.set(&fixed(value, decimals))
    }
}

/// A cell of words; what users typed is one line of data.
pub(super) fn word(text: &str) -> Cell {
    let text: String = text.replace(char::is_control, " ").trim().to_owned();
    Cell { text: if text.is_empty() { NONE.to_owned() } else { text }, number: None }
}

/// A whole number.
pub(super) fn count(number: usize) -> Cell {
    Cell { text: number.to_string(), number: Some(number as f64) }
}

/// What is not there.
pub(super) fn dash() -> Cell {
    Cell { text: NONE.to_owned(), number: None }
}

impl Numerals {
    /// A number with so many decimals; a dash for what is missing or no number.
    pub(super) fn cell(self, value: impl Into<Option<f64>>, decimals: usize) -> Cell {
        self.written(value, |value| fixed(value, decimals))
    }

    /// The same as `text` has it.
    pub(super) fn written(self, value: impl Into<Option<f64>>, text: impl Fn(f64) -> String) -> Cell {
        let value = value.into().filter(|value| value.is_finite());
        Cell { text: self.set(&or_dash(value, text)), number: value }
    }

    /// Words that hold numbers, such as *at least 150*; with the number behind them where they are one.
    pub(super) fn told(self, text: &str, number: Option<f64>) -> Cell {
        Cell { text: self.set(if text.is_empty() { NONE } else { text }), number: number.filter(|of| of.is_finite()) }
    }

    /// An estimate and its standard error: that with two significant digits, the estimate with the same decimals. `decimals` are the
    /// estimate's where there is no error.
    pub(super) fn with_error(self, estimate: Option<f64>, error: Option<f64>, decimals: usize) -> [Cell; 2] {
        let decimals = error.and_then(decimals_of_error).unwrap_or(decimals);
        [self.cell(estimate, decimals), self.cell(error, decimals)]
    }

    /// The lower and the upper limit of an interval.
    pub(super) fn limits(self, interval: Option<&Interval>, decimals: usize) -> [Cell; 2] {
        match interval {
            Some(found) => self.ends(found.limits, [found.low, found.high], &found.segments, decimals),
            None => [dash(), dash()],
        }
    }

    /// The same from the parts of an interval. An end that the data leave open is *open*; of several pieces these are the ends of all,
    /// marked.
    pub(super) fn ends(
        self,
        limits: Limits,
        [low, high]: [Option<f64>; 2],
        segments: &[[Option<f64>; 2]],
        decimals: usize,
    ) -> [Cell; 2] {
        match limits {
            Limits::NotComputed => [dash(), dash()],
            Limits::Disjoint => {
                let pieces = limits_text(limits, low, high, segments, decimals);
                let [lower, mut upper] = [low, high].map(|end| self.end(end, decimals));
                upper.text += &format!(" {IN_PIECES} ({})", self.set(&pieces));
                [lower, upper]
            }
            _ => [low, high].map(|end| self.end(end, decimals)),
        }
    }

    fn end(self, end: Option<f64>, decimals: usize) -> Cell {
        match end {
            Some(_) => self.cell(end, decimals),
            None => Cell { text: "open".to_owned(), number: None },
        }
    }
}

/// A table under construction.
#[derive(Debug)]
pub(super) struct Draft {
    table: Table,
}

impl Draft {
    /// A table without columns.
    pub(super) fn new(name: impl Into<String>, title: impl Into<String>) -> Self {
        let table =
            Table { name: name.into(), title: title.into(), columns: Vec::new(), rows: Vec::new(), notes: Vec::new() };
        Self { table }
    }

    /// With a column of words.
    pub(super) fn words(mut self, head: impl Into<String>) -> Self {
        self.table.columns.push(Column { head: head.into(), is_number: false });
        self
    }

    /// With a column of numbers.
    pub(super) fn numbers(mut self, head: impl Into<String>) -> Self {
        self.table.columns.push(Column { head: head.into(), is_number: true });
        self
    }

    /// With the two columns of an interval.
    pub(super) fn limits(self, of: &str) -> Self {
        self.numbers(format!("{of}: low")).numbers(format!("{of}: high"))
    }

    /// Adds a row, a cell a column.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.table.rows.push(cells.into_iter().collect());
    }

    /// Adds a note; the same is said once.
    pub(super) fn note(&mut self, note: impl Into<String>) {
        let note = note.into();
        if !note.is_empty() && !self.table.notes.contains(&note) {
            self.table.notes.push(note);
        }
    }

    /// The table without its columns of dashes alone; `None` without rows.
    pub(super) fn finish(mut self) -> Option<Table> {
        let table = &mut self.table;
        let is_told =
            |column: usize| table.rows.iter().any(|row| row.get(column).is_some_and(|cell| cell.text != NONE));
        let told: Vec<bool> = (0..table.columns.len()).map(is_told).collect();
        let keep = |position: usize| told.get(position).copied().unwrap_or(false);
        table.columns = kept(std::mem::take(&mut table.columns), keep);
        for row in &mut table.rows {
            *row = kept(std::mem::take(row), keep);
        }
        let cells = || table.rows.iter().flatten();
        let (dashed, pieces) =
            (cells().any(|cell| cell.text == NONE), cells().any(|cell| cell.text.contains(IN_PIECES)));
        if pieces {
            self.note(format!(
                "{IN_PIECES}: an interval of several pieces, the ends of all; the pieces stand in brackets."
            ));
        }
        if dashed {
            self.note(DASH);
        }
        (!self.table.rows.is_empty()).then_some(self.table)
    }

    /// The same as a block.
    pub(super) fn block(self) -> Option<Block> {
        self.finish().map(Block::Table)
    }
}

fn kept<T>(all: Vec<T>, keep: impl Fn(usize) -> bool) -> Vec<T> {
    all.into_iter().enumerate().filter(|(position, _)| keep(*position)).map(|(_, one)| one).collect()
}

/// A head with its unit in brackets.
pub(super) fn with_unit(head: &str, unit: Option<&str>) -> String {
    unit.map_or_else(|| head.to_owned(), |unit| format!("{head} ({unit})"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: Numerals = Numerals { mark: DecimalMark::Point };
    const COMMA: Numerals = Numerals { mark: DecimalMark::Comma };

    #[test]
    fn an_estimate_ends_at_the_decimal_of_its_standard_error() {
        let texts = |estimate, error| POINT.with_error(Some(estimate), Some(error), 1).map(|cell| cell.text);
        assert_eq!(texts(79.3889, 6.123), ["79.4", "6.1"]);
        assert_eq!(texts(-79.3889, 0.6123), ["−79.39", "0.61"]);
        assert_eq!(texts(79.3889, 61.23), ["79", "61"]);
        assert_eq!(texts(-0.00251269, 0.00041), ["−0.00251", "0.00041"]);
        assert_eq!(POINT.with_error(Some(79.3889), None, 1).map(|cell| cell.text), ["79.4", "–"]);
        assert_eq!(POINT.with_error(Some(79.3889), Some(f64::NAN), 1).map(|cell| cell.number), [Some(79.3889), None]);
    }

    #[test]
    fn numbers_take_the_mark_and_the_minus_and_words_keep_their_hyphens() {
        assert_eq!(
            COMMA.set("at least 150.5 lb/ac, -0.25 to 1.5 (quadratic-plateau)"),
            "at least 150,5 lb/ac, −0,25 to 1,5 (quadratic-plateau)"
        );
        assert_eq!(POINT.set("2024-04-02"), "2024-04-02");
        assert_eq!(COMMA.set("380.6 - 422.3·(e^(-0.5·s) - 1)"), "380,6 − 422,3·(e^(−0,5·s) − 1)");
        assert_eq!(COMMA.cell(-0.001, 2).text, "0,00");
    }

    #[test]
    fn an_open_end_is_said_and_pieces_are_named() {
        let ends = |segments| {
            let interval = Interval::from_segments(Some(90.0), segments, 0.95, "profile");
            POINT.limits(Some(&interval), 1).map(|cell| cell.text)
        };
        assert_eq!(ends(vec![[Some(71.5), None]]), ["71.5", "open"]);
        assert_eq!(ends(vec![[Some(0.0), Some(0.0)], [Some(60.0), None]]), ["0.0", "open † (0 and 60.0 to open)"]);
        assert_eq!(ends(vec![]), ["–", "–"]);
    }

    #[test]
    fn a_column_of_dashes_is_left_out_and_other_dashes_are_explained() {
        let mut draft = Draft::new("means", "Means").words("variety").numbers("n").numbers("SE");
        draft.row([word("Pale Heron"), count(4), dash()]);
        draft.row([word(""), count(4), dash()]);
        let table = draft.finish().unwrap();
        assert_eq!(table.columns.iter().map(|column| column.head.as_str()).collect::<Vec<_>>(), ["variety", "n"]);
        assert_eq!(table.notes, [DASH]);
        assert_eq!(Draft::new("none", "None").words("variety").finish(), None);
    }

    #[test]
    fn what_users_typed_is_one_line() {
        assert_eq!(word("=1+1\u{1b}[2J\nnext").text, "=1+1 [2J next");
    }
}
