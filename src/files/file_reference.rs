//! The keys that name a data file and say how it is laid out.

use super::date_format::DateFormat;
use super::descriptor::{Item, Section, Typed};
use super::encoding::TextEncoding;
use super::layout::{Decimal, Layout, Separator};
use super::nearest::list;
use super::opened::FileKind;

/// A data file that a descriptor names.
pub(super) struct FileReference {
    pub(super) path: Typed<String>,
    pub(super) layout: Layout,
}

/// The keys of a table that names a file: those read here, and its own.
macro_rules! with_file_keys {
    ($($own:literal),+) => {
        &[
            "file", "sheet", "header_row", "header_rows", "last_row", "separator", "decimal", "encoding", "missing", "date_format",
            $($own),+
        ]
    };
}
pub(super) use with_file_keys;

/// Reads `file` and the keys of its layout.
pub(super) fn file_reference(section: &Section) -> Option<FileReference> {
    let item = section.required("file")?;
    let path = item.text()?;
    let kind = match FileKind::of(&path.value) {
        Ok(kind) => kind,
        Err((text, remedy)) => {
            item.fault("unknown-format", text, remedy);
            return None;
        }
    };
    let suited = |key: &'static str| {
        let item = section.get(key)?;
        match kind.unsuited(key) {
            Some(text) => {
                item.fault("unsuited-key", text, format!("remove {key}"));
                None
            }
            None => Some(item),
        }
    };
    let whole = |item: Item, lowest: i64, highest: i64| {
        item.integer_within(lowest, highest).and_then(|row| u64::try_from(row.value).ok())
    };
    let standard = Layout::default();
    let header_row = match suited("header_row") {
        Some(item) => whole(item, 0, 1_000_000)?,
        None => standard.header_row,
    };
    let header_rows = match suited("header_rows") {
        Some(item) => whole(item, 1, 10)?,
        None => standard.header_rows,
    };
    let last_row = match suited("last_row") {
        Some(item) => Some(whole(item, 1, 1_000_000_000)?),
        None => None,
    };
    let encodings = "write \"utf-8\", \"utf-16\", \"latin-1\" or the usual name of another encoding";
    let dates = "write \"spreadsheet-serial\", or day, month and year with the signs between them, as in \"day/month/year\" (yy for years of two digits)";
    let separators = format!("write one of {}", list(&Separator::ALL.map(Separator::name)));
    let separator = suited("separator").map(|item| item.parsed_as_typed("a separator", &separators, Separator::parse));
    let decimal = suited("decimal").map(|item| item.parsed("a decimal sign", "write \".\" or \",\"", Decimal::parse));
    let encoding =
        suited("encoding").map(|item| item.parsed("an encoding that is known here", encodings, TextEncoding::parse));
    let date_format = suited("date_format").map(|item| item.parsed("a way to write dates", dates, DateFormat::parse));
    let missing = suited("missing").map(|item| item.labels());
    Some(FileReference {
        path,
        layout: Layout {
            sheet: match suited("sheet") {
                Some(item) => Some(item.label()?.value),
                None => None,
            },
            header_row,
            header_rows,
            last_row,
            separator: optional(separator)?,
            decimal: optional(decimal)?.unwrap_or(standard.decimal),
            encoding: optional(encoding)?,
            missing: match missing {
                Some(texts) => Some(texts?.into_iter().map(|text| text.value).collect()),
                None => None,
            },
            date_format: optional(date_format)?,
            declared_by: standard.declared_by,
        },
    })
}

/// A key that is not there is no fault: `Some(None)`.
fn optional<T>(key: Option<Option<Typed<T>>>) -> Option<Option<T>> {
    match key {
        Some(value) => value.map(|typed| Some(typed.value)),
        None => Some(None),
    }
}
