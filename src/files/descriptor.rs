//! A descriptor's text and a typed reader of it that reports every fault, not only the first.

use std::cell::RefCell;
use std::ops::Range;
use std::sync::Arc;

use jiff::civil::{Date, Time};
use serde_spanned::Spanned;
use toml::de::{DeArray, DeString, DeTable, DeValue};

use super::nearest::{list, nearest, suggestion};
use super::plates::read_time;
use crate::finding::{Excerpt, Finding, Place, Severity};

/// A descriptor and the faults found in it so far.
pub(super) struct Document {
    file: String,
    text: Arc<str>,
    findings: RefCell<Vec<Finding>>,
}

/// A value with its key, its text as typed and where that stands.
#[derive(Clone, Debug)]
pub(super) struct Typed<T> {
    pub(super) value: T,
    key: String,
    typed: String,
    span: Range<usize>,
}

impl<T> Typed<T> {
    /// The same place with another value.
    pub(super) fn map<U>(self, value: impl FnOnce(T) -> U) -> Typed<U> {
        Typed { value: value(self.value), key: self.key, typed: self.typed, span: self.span }
    }

    /// The text as typed.
    pub(super) fn typed(&self) -> &str {
        &self.typed
    }
}

impl Document {
    pub(super) fn new(file: &str, text: String) -> Self {
        Self { file: file.to_owned(), text: text.into(), findings: RefCell::default() }
    }

    /// The file's name in findings.
    pub(super) fn file(&self) -> &str {
        &self.file
    }

    /// Parses the text. Only the first fault of syntax is reported: the ones after it follow from it.
    pub(super) fn parse(&self) -> Option<Spanned<DeTable<'_>>> {
        match DeTable::parse(&self.text) {
            Ok(table) => Some(table),
            Err(error) => {
                let span = error.span().unwrap_or_default();
                let place = match self.typed(&span) {
                    nothing if nothing.trim().is_empty() => self.place(&span),
                    typed => self.place(&span).value(typed),
                };
                let finding = Finding::error("toml-syntax", place, error.message());
                self.report(finding.remedy("a descriptor is TOML text").excerpt(self.excerpt(&span)));
                None
            }
        }
    }

    /// The whole document as a section, if its `format` is the one this version reads.
    pub(super) fn root<'d>(
        &'d self,
        table: &'d Spanned<DeTable<'d>>,
        keys: &'static [&'static str],
    ) -> Option<Section<'d>> {
        let root = Section { document: self, table: table.get_ref(), key: String::new(), span: 0..0, keys };
        let Some(format) = root.required("format") else {
            // Misspelt, it is told as a key that is not known.
            if self.is_sound() {
                root.check_keys();
            }
            return None;
        };
        let format = format.integer()?;
        if format.value != 1 {
            let text = format!("this version reads format 1, not {}", format.typed);
            self.report(self.fault("format-version", &format, text).remedy("write format = 1"));
            return None;
        }
        root.check_keys();
        Some(root)
    }

    /// Adds a finding.
    pub(super) fn report(&self, finding: Finding) {
        self.findings.borrow_mut().push(finding);
    }

    /// Whether no fault was found so far.
    pub(super) fn is_sound(&self) -> bool {
        self.findings.borrow().is_empty()
    }

    /// The findings in the order of their lines.
    pub(super) fn into_findings(self) -> Vec<Finding> {
        let mut findings = self.findings.into_inner();
        findings.sort_by_key(|finding| finding.place.row);
        findings
    }

    /// An error at a value.
    pub(super) fn fault<T>(&self, code: &'static str, at: &Typed<T>, text: impl Into<String>) -> Finding {
        Finding::error(code, self.place_of(at), text).excerpt(self.excerpt(&at.span))
    }

    /// A warning at a value.
    pub(super) fn warning<T>(&self, code: &'static str, at: &Typed<T>, text: impl Into<String>) -> Finding {
        Finding { severity: Severity::Warning, ..self.fault(code, at, text) }
    }

    /// The place of a value.
    pub(super) fn place_of<T>(&self, at: &Typed<T>) -> Place {
        self.place(&at.span).column(&at.key).value(&at.typed)
    }

    fn place(&self, span: &Range<usize>) -> Place {
        let before = self.text.as_bytes().get(..span.start).unwrap_or(self.text.as_bytes());
        Place::file(&self.file).row(1 + before.iter().filter(|byte| **byte == b'\n').count() as u64)
    }

    fn excerpt(&self, span: &Range<usize>) -> Excerpt {
        Excerpt { text: Arc::clone(&self.text), start: span.start, length: span.len() }
    }

    fn typed(&self, span: &Range<usize>) -> String {
        self.text.get(span.clone()).unwrap_or_default().to_owned()
    }
}

/// A table of the descriptor.
pub(super) struct Section<'d> {
    document: &'d Document,
    table: &'d DeTable<'d>,
    key: String,
    span: Range<usize>,
    /// The keys it may have; none where they are names of the user's.
    keys: &'static [&'static str],
}

impl<'d> Section<'d> {
    /// Reports every key that it may not have.
    fn check_keys(&self) {
        let keys = self.keys;
        for (name, value) in self.table.iter().filter(|(name, _)| !keys.contains(&name.get_ref().as_ref())) {
            let item = self.item(name.get_ref(), value);
            let place = self.document.place(&name.span()).column(&item.key).value(name.get_ref().as_ref());
            let what =
                if self.key.is_empty() { "the keys are".to_owned() } else { format!("the keys of {} are", self.key) };
            let finding = Finding::error("unknown-key", place, format!("there is no key {:?} here", name.get_ref()));
            let remedy = suggestion(name.get_ref(), &what, keys.iter().copied());
            self.document.report(finding.remedy(remedy).excerpt(self.document.excerpt(&name.span())));
        }
    }

    fn item(&self, name: &str, value: &'d Spanned<DeValue<'d>>) -> Item<'d> {
        let key = if self.key.is_empty() { name.to_owned() } else { format!("{}.{name}", self.key) };
        Item { document: self.document, value, key }
    }

    /// The value of a key, if it is there.
    pub(super) fn get(&self, key: &str) -> Option<Item<'d>> {
        self.table.get(key).map(|value| self.item(key, value))
    }

    /// The value of a key that must be there.
    pub(super) fn required(&self, key: &str) -> Option<Item<'d>> {
        let found = self.get(key);
        if self.lacks(key) {
            let text = format!("the key {key:?} is missing");
            self.report("missing-key", key, text, format!("add {key} = …"));
        }
        found
    }

    /// Whether a key is not there, nor misspelt: that is told where it stands.
    pub(super) fn lacks(&self, key: &str) -> bool {
        let names = self.table.iter().map(|(name, _)| name.get_ref().as_ref());
        self.table.get(key).is_none() && nearest(key, names.filter(|name| !self.keys.contains(name))).is_none()
    }

    /// Reports a fault of the section as a whole, about one of its keys.
    pub(super) fn report(&self, code: &'static str, key: &str, text: String, remedy: String) {
        let key = if self.key.is_empty() { key.to_owned() } else { format!("{}.{key}", self.key) };
        let place = self.document.place(&self.span).column(key);
        self.document
            .report(Finding::error(code, place, text).remedy(remedy).excerpt(self.document.excerpt(&self.span)));
    }

    /// The tables under `[[key]]`, none where the key is absent.
    pub(super) fn sections(&self, key: &str, keys: &'static [&'static str]) -> Vec<Section<'d>> {
        let items = self.get(key).and_then(|item| item.list()).unwrap_or_default();
        items.into_iter().filter_map(|item| item.section(keys)).collect()
    }

    /// Every key with its value, for a table whose keys are names of the user's.
    pub(super) fn entries(&self) -> Vec<(Typed<String>, Item<'d>)> {
        let entry = |(name, value): (&'d Spanned<DeString<'d>>, &'d Spanned<DeValue<'d>>)| {
            let text = name.get_ref().to_string();
            let item = self.item(&text, value);
            (Typed { value: text.clone(), key: self.key.clone(), typed: text, span: name.span() }, item)
        };
        self.table.iter().map(entry).collect()
    }
}

/// The value of one key.
pub(super) struct Item<'d> {
    document: &'d Document,
    value: &'d Spanned<DeValue<'d>>,
    key: String,
}

impl<'d> Item<'d> {
    fn with<T>(&self, value: T) -> Typed<T> {
        let span = self.value.span();
        let typed = match self.value.get_ref() {
            DeValue::String(text) => text.to_string(),
            _ => self.document.typed(&span),
        };
        Typed { value, key: self.key.clone(), typed, span }
    }

    /// The place of the value.
    pub(super) fn typed(&self) -> Typed<()> {
        self.with(())
    }

    /// Reports a fault of the value.
    pub(super) fn fault(&self, code: &'static str, text: impl Into<String>, remedy: impl Into<String>) {
        self.document.report(self.document.fault(code, &self.with(()), text).remedy(remedy));
    }

    fn expected<T>(&self, what: &str, remedy: &str) -> Option<T> {
        let found = match self.value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.fault("wrong-type", format!("expected {what}, found {found}"), remedy);
        None
    }

    /// Whether the value is a table.
    pub(super) fn is_table(&self) -> bool {
        self.value.get_ref().is_table()
    }

    /// Whether the value is a number.
    pub(super) fn is_number(&self) -> bool {
        self.value.get_ref().is_integer() || self.value.get_ref().is_float()
    }

    /// A text that says something.
    pub(super) fn text(&self) -> Option<Typed<String>> {
        match self.value.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => {
                self.fault("empty-text", "the text is empty", "write something between the quotes");
                None
            }
            DeValue::String(text) => Some(self.with(text.to_string())),
            _ => self.expected("a text", "put it between quotes"),
        }
    }

    /// A text or number as it would stand in a cell.
    pub(super) fn label(&self) -> Option<Typed<String>> {
        match self.value.get_ref() {
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) => Some(self.with(self.with(()).typed)),
            DeValue::String(_) => self.text(),
            _ => self.expected("a text or a number", "write the value as it stands in the data"),
        }
    }

    /// A finite number.
    pub(super) fn number(&self) -> Option<Typed<f64>> {
        let value = match self.value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().parse::<f64>().ok(),
            DeValue::Float(float) => float.as_str().parse::<f64>().ok(),
            _ => return self.expected("a number", "write a number without quotes"),
        };
        match value.filter(|value| value.is_finite()) {
            Some(value) => Some(self.with(value)),
            None => {
                self.fault("out-of-range", "the number is not finite", "write a finite decimal number");
                None
            }
        }
    }

    /// A number that `allowed` accepts, described by `range`.
    pub(super) fn number_within(&self, range: &str, allowed: impl Fn(f64) -> bool) -> Option<Typed<f64>> {
        let number = self.number()?;
        if allowed(number.value) {
            return Some(number);
        }
        self.fault("out-of-range", format!("{} is out of range", number.typed), format!("write a number {range}"));
        None
    }

    /// A whole number.
    pub(super) fn integer(&self) -> Option<Typed<i64>> {
        match self.value.get_ref() {
            DeValue::Integer(integer) => match i64::from_str_radix(integer.as_str(), integer.radix()) {
                Ok(value) => Some(self.with(value)),
                Err(_) => {
                    self.fault("out-of-range", "the number is too large", "write a smaller whole number");
                    None
                }
            },
            _ => self.expected("a whole number", "write a whole number without quotes"),
        }
    }

    /// A whole number from `lowest` to `highest`.
    pub(super) fn integer_within(&self, lowest: i64, highest: i64) -> Option<Typed<i64>> {
        let integer = self.integer()?;
        if (lowest..=highest).contains(&integer.value) {
            return Some(integer);
        }
        let text = format!("{} is out of range", integer.typed);
        self.fault("out-of-range", text, format!("write a whole number from {lowest} to {highest}"));
        None
    }

    /// `true` or `false`.
    pub(super) fn boolean(&self) -> Option<bool> {
        self.value.get_ref().as_bool().or_else(|| self.expected("true or false", "write true or false without quotes"))
    }

    /// A calendar date.
    pub(super) fn date(&self) -> Option<Typed<Date>> {
        let remedy = "write a date without quotes, such as 2024-04-02";
        let DeValue::Datetime(datetime) = self.value.get_ref() else {
            return self.expected("a date", remedy);
        };
        let (Some(date), None) = (datetime.date, datetime.time) else {
            return self.expected("a date without a time", remedy);
        };
        let parts = i16::try_from(date.year).ok().zip(i8::try_from(date.month).ok()).zip(i8::try_from(date.day).ok());
        match parts.and_then(|((year, month), day)| Date::new(year, month, day).ok()) {
            Some(date) => Some(self.with(date)),
            None => self.expected("a date of the calendar", remedy),
        }
    }

    /// A time of day, with or without quotes.
    pub(super) fn time(&self) -> Option<Time> {
        let remedy = "write hours and minutes, such as \"9:05\" or \"14:30\"";
        let time = match self.value.get_ref() {
            DeValue::String(text) => read_time(text.trim()),
            DeValue::Datetime(datetime) if datetime.date.is_none() && datetime.offset.is_none() => datetime
                .time
                .and_then(|time| Some((i8::try_from(time.hour).ok()?, i8::try_from(time.minute).ok()?)))
                .and_then(|(hour, minute)| Time::new(hour, minute, 0, 0).ok()),
            _ => None,
        };
        time.or_else(|| self.expected("a time of day", remedy))
    }

    /// One of a few named values.
    pub(super) fn choice<T: Clone>(&self, choices: &[(&'static str, T)]) -> Option<Typed<T>> {
        let text = self.text()?;
        let found = choices.iter().find(|(name, _)| *name == text.value.trim()).map(|(_, value)| value.clone());
        if found.is_none() {
            let remedy = suggestion(&text.value, "it may be", choices.iter().map(|(name, _)| *name));
            self.fault("unknown-value", format!("{:?} is not known here", text.value), remedy);
        }
        found.map(|value| text.map(|_| value))
    }

    /// A growth stage, a unit or anything else that is written as one text: what `parse` makes of it.
    pub(super) fn parsed<T>(&self, what: &str, right: &str, parse: impl Fn(&str) -> Option<T>) -> Option<Typed<T>> {
        let text = self.text()?;
        let Some(value) = parse(&text.value) else {
            self.fault("unknown-value", format!("{:?} is not {what}", text.value), right);
            return None;
        };
        Some(text.map(|_| value))
    }

    /// As [`Item::parsed`], for a text that may be white space.
    pub(super) fn parsed_as_typed<T>(
        &self,
        what: &str,
        right: &str,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Option<Typed<T>> {
        match self.value.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => match parse(text) {
                Some(value) => Some(self.with(value)),
                None => self.parsed(what, right, parse),
            },
            _ => self.parsed(what, right, parse),
        }
    }

    /// The elements of a list.
    pub(super) fn list(&self) -> Option<Vec<Item<'d>>> {
        let array: &'d DeArray<'d> = match self.value.get_ref() {
            DeValue::Array(array) => array,
            _ => return self.expected("a list", "write a list in brackets, or [[…]] above each table"),
        };
        let element = |value| Item { document: self.document, value, key: self.key.clone() };
        Some(array.iter().map(element).collect())
    }

    /// One text or a list of them.
    pub(super) fn labels(&self) -> Option<Vec<Typed<String>>> {
        if !self.value.get_ref().is_array() {
            return Some(vec![self.label()?]);
        }
        let items = self.list()?;
        if items.is_empty() {
            return self.expected("at least one text", "name at least one");
        }
        let labels: Vec<Option<Typed<String>>> = items.iter().map(Item::label).collect();
        labels.into_iter().collect()
    }

    /// A table with these keys and no others.
    pub(super) fn section(&self, keys: &'static [&'static str]) -> Option<Section<'d>> {
        let section = Section { keys, ..self.names()? };
        section.check_keys();
        Some(section)
    }

    /// A table whose keys are names of the user's.
    pub(super) fn names(&self) -> Option<Section<'d>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            return self.expected("a table", "write { key = value }, or [key] above its values");
        };
        Some(Section { document: self.document, table, key: self.key.clone(), span: self.value.span(), keys: &[] })
    }
}

/// What plays a role: a column of the data, or one value for every row.
#[derive(Clone, Debug)]
pub(super) enum Supplied<T> {
    /// The header of a column.
    Column(Typed<String>),
    /// The same value in every row.
    Same(Typed<T>),
}

impl<T> Supplied<T> {
    /// The header, where a column plays the role.
    pub(super) fn column(&self) -> Option<&Typed<String>> {
        match self {
            Self::Column(name) => Some(name),
            Self::Same(_) => None,
        }
    }
}

impl<'d> Item<'d> {
    /// A bare string (a column), or a table with either `column` or `same` and these further `keys`, which are returned.
    /// `keys` must hold "column" and "same".
    pub(super) fn supplied<T>(
        &self,
        keys: &'static [&'static str],
        same: impl Fn(&Item<'d>) -> Option<Typed<T>>,
    ) -> Option<(Supplied<T>, Option<Section<'d>>)> {
        if !self.is_table() {
            let DeValue::String(_) = self.value.get_ref() else {
                return self
                    .expected("a column", "write the header in quotes, or { same = … } for one value in every row");
            };
            return Some((Supplied::Column(self.text()?), None));
        }
        let section = self.section(keys)?;
        let supplied = match (section.get("column"), section.get("same")) {
            (Some(column), None) => Supplied::Column(column.text()?),
            (None, Some(value)) => Supplied::Same(same(&value)?),
            _ => {
                let names = list(&["column", "same"]);
                self.fault(
                    "conflicting-keys",
                    format!("needs one of {names}"),
                    "name a column or give one value with same",
                );
                return None;
            }
        };
        Some((supplied, Some(section)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str, read: impl Fn(&Section)) -> Vec<(&'static str, Option<u64>, Option<String>)> {
        let document = Document::new("trial.toml", text.to_owned());
        if let Some(table) = document.parse()
            && let Some(root) = document.root(&table, &["format", "site", "plots", "readings"])
        {
            read(&root);
        }
        document
            .into_findings()
            .into_iter()
            .map(|finding| (finding.code, finding.place.row, finding.place.column))
            .collect()
    }

    #[test]
    fn every_unknown_and_mistyped_key_is_reported_once() {
        let text = "format = 1\nsiet = \"Upper Terrace\"\n[plots]\nfile = 3\nblok = \"rep\"\n";
        let found = faults(text, |root| {
            root.required("site");
            let plots = root.required("plots").and_then(|plots| plots.section(&["file", "block"]));
            plots.and_then(|plots| plots.required("file")).and_then(|file| file.text());
        });
        let expected = [
            ("unknown-key", Some(2), Some("siet")),
            ("wrong-type", Some(4), Some("plots.file")),
            ("unknown-key", Some(5), Some("plots.blok")),
        ];
        let found: Vec<_> = found.iter().map(|(code, row, key)| (*code, *row, key.as_deref())).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn another_format_is_refused_before_its_keys_are_read() {
        let found = faults("format = 2\nnew_key = 1\n", |_| {});
        assert_eq!(found, [("format-version", Some(1), Some("format".to_owned()))]);
    }

    #[test]
    fn broken_syntax_is_one_error_with_its_line() {
        let found = faults("format = 1\nsite = \"Upper\n[plots]\n", |_| {});
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].0, found[0].1), ("toml-syntax", Some(2)));
    }
}
