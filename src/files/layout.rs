//! How a data file is laid out: what its descriptor, or the flags of a quick look, declare about it.

use super::date_format::DateFormat;
use super::encoding::TextEncoding;

/// Texts that stand for a missing value where a file declares none of its own, in any case.
pub const MISSING: [&str; 6] = ["", "NA", "N/A", ".", "*", "-"];

/// What is declared about a data file; what is not declared is seen from the file, where that is certain.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Layout {
    /// The sheet of a workbook; `None` for the only one that holds anything.
    pub sheet: Option<String>,
    /// Row of the column headers, counted from 1; 0 where there are none, and columns are called *column 1*, *column 2* …
    pub header_row: u64,
    /// Rows that the headers take, from `header_row` downward, at least 1.
    pub header_rows: u64,
    /// The last row that belongs to the data, where notes stand below it.
    pub last_row: Option<u64>,
    /// What stands between the cells of a text file; `None` to see it from the file.
    pub separator: Option<Separator>,
    /// The decimal sign of numbers that are kept as text.
    pub decimal: Decimal,
    /// Encoding of a text file; `None` for UTF-8, or what its byte-order mark says.
    pub encoding: Option<TextEncoding>,
    /// Texts that stand for a missing value in the stead of [`MISSING`]; an empty cell is missing in any case.
    pub missing: Option<Vec<String>>,
    /// How dates are written, where not as year-month-day.
    pub date_format: Option<DateFormat>,
    /// Where a user declares all this.
    pub declared_by: DeclaredBy,
}

/// What stands between cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Separator {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tab character.
    Tab,
    /// `|`
    Bar,
}

/// The sign between the whole and the fraction of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Decimal {
    /// `72.5`
    Point,
    /// `72,5`
    Comma,
}

/// Where a layout is declared, which is where its remedies point to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DeclaredBy {
    /// The keys beside `file = …` in a trial's descriptor.
    Descriptor,
    /// Flags of the command line.
    Flags,
}

impl Default for Layout {
    fn default() -> Self {
        Self {
            sheet: None,
            header_row: 1,
            header_rows: 1,
            last_row: None,
            separator: None,
            decimal: Decimal::Point,
            encoding: None,
            missing: None,
            date_format: None,
            declared_by: DeclaredBy::Descriptor,
        }
    }
}

impl Layout {
    /// How a user declares something: `decimal = ","` in a descriptor, `--decimal ","` on the command line. `value` is as typed in
    /// a descriptor.
    pub(super) fn declaration(&self, key: &str, value: &str) -> String {
        match self.declared_by {
            DeclaredBy::Descriptor => format!("{key} = {value}"),
            DeclaredBy::Flags => format!("--{} {value}", key.replace('_', "-")),
        }
    }

    /// Whether a cell of this text says that nothing was measured.
    pub(super) fn is_missing(&self, text: &str) -> bool {
        match &self.missing {
            // Most cells are a number, which none of these begins like.
            None if text.starts_with(|letter: char| letter.is_ascii_digit()) => false,
            None => text.len() <= 3 && MISSING.iter().any(|missing| text.eq_ignore_ascii_case(missing)),
            Some(missing) => text.is_empty() || missing.iter().any(|missing| text.eq_ignore_ascii_case(missing.trim())),
        }
    }
}

impl Separator {
    /// Every separator.
    pub const ALL: [Self; 4] = [Self::Comma, Self::Semicolon, Self::Tab, Self::Bar];

    /// The separator typed as its sign, or as `tab`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        if text == "\t" {
            return Some(Self::Tab);
        }
        Self::ALL.into_iter().find(|separator| separator.name() == text)
    }

    /// Its sign, or `tab`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Comma => ",",
            Self::Semicolon => ";",
            Self::Tab => "tab",
            Self::Bar => "|",
        }
    }

    /// Its plural, for messages.
    pub(super) fn plural(self) -> &'static str {
        match self {
            Self::Comma => "commas",
            Self::Semicolon => "semicolons",
            Self::Tab => "tabs",
            Self::Bar => "bars",
        }
    }

    pub(super) fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Bar => b'|',
        }
    }
}

impl Decimal {
    /// The decimal sign typed as `.` or `,`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        [Self::Point, Self::Comma].into_iter().find(|decimal| decimal.name() == text)
    }

    /// The sign itself.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Point => ".",
            Self::Comma => ",",
        }
    }

    pub(super) fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_declaration_is_told_where_it_is_made() {
        let flags = Layout { declared_by: DeclaredBy::Flags, ..Layout::default() };
        assert_eq!(Layout::default().declaration("header_row", "4"), "header_row = 4");
        assert_eq!(flags.declaration("header_row", "4"), "--header-row 4");
    }

    #[test]
    fn declared_texts_for_missing_replace_the_usual_ones() {
        let layout = Layout { missing: Some(vec!["-99".to_owned(), "none".to_owned()]), ..Layout::default() };
        for (text, missing) in [("-99", true), ("None", true), ("", true), ("NA", false), (".", false)] {
            assert_eq!(layout.is_missing(text), missing, "{text:?}");
        }
    }

    #[test]
    fn every_separator_is_found_by_its_name() {
        for separator in Separator::ALL {
            assert_eq!(Separator::parse(separator.name()), Some(separator));
        }
        assert_eq!(Separator::parse("\t"), Some(Separator::Tab));
        assert_eq!(Separator::parse(" "), None);
    }
}
