//! One cell of a data file: what was typed, where, and what it means.

use jiff::civil::Date;

use crate::finding::{Finding, Place};
use crate::trial::GrowthStage;

/// Texts that stand for a missing value, in any case.
const MISSING: [&str; 6] = ["", "NA", "N/A", ".", "*", "-"];

/// A cell, trimmed, with its place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell<'t> {
    pub(super) file: &'t str,
    pub(super) row: u64,
    pub(super) column: &'t str,
    pub(super) text: &'t str,
}

impl<'t> Cell<'t> {
    /// Whether nothing was measured.
    pub(super) fn is_missing(&self) -> bool {
        MISSING.iter().any(|missing| self.text.eq_ignore_ascii_case(missing))
    }

    /// An error here.
    pub(super) fn error(&self, code: &'static str, text: impl Into<String>) -> Finding {
        let place = Place::file(self.file).row(self.row).column(self.column).value(self.text);
        Finding::error(code, place, text)
    }

    /// A finite number; `None` where it is missing.
    pub(super) fn number(&self) -> Result<Option<f64>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        // `f64::from_str` also takes "inf" and "nan", which no one measures.
        let plain = self.text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte));
        match self.text.parse::<f64>() {
            Ok(value) if plain && value.is_finite() => Ok(Some(value)),
            _ => {
                let remedy = if self.text.contains(',') {
                    "write a number with a decimal point and without thousands separators"
                } else {
                    "write a number such as 72.5, or leave the cell empty if it is missing"
                };
                Err(self.error("not-a-number", format!("{:?} is not a number", self.text)).remedy(remedy))
            }
        }
    }

    /// A number of at least 0; `None` where it is missing.
    pub(super) fn non_negative(&self, what: &str) -> Result<Option<f64>, Finding> {
        match self.number()? {
            Some(value) if value < 0.0 => Err(self
                .error("out-of-range", format!("{what} of {} is negative", self.text))
                .remedy("0 or more; leave the cell empty if it is missing")),
            value => Ok(value),
        }
    }

    /// A text that must be there.
    pub(super) fn label(&self, what: &str) -> Result<&'t str, Finding> {
        if self.is_missing() {
            let text = format!("the {what} is missing");
            return Err(self.error("missing-cell", text).remedy("fill in the cell; every row needs one"));
        }
        Ok(self.text)
    }

    /// An ISO date that must be there.
    pub(super) fn date(&self) -> Result<Date, Finding> {
        parse_date(self.text).ok_or_else(|| {
            self.error("not-a-date", format!("{:?} is not a date", self.text))
                .remedy("write dates as year-month-day, such as 2024-04-02")
        })
    }

    /// A growth stage; `None` where it is missing.
    pub(super) fn stage(&self) -> Result<Option<GrowthStage>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        GrowthStage::parse(self.text).map(Some).ok_or_else(|| {
            self.error("not-a-stage", format!("{:?} is not a growth stage", self.text))
                .remedy("write the scale and the number, such as \"Feekes 5\" or \"Zadoks 31\"")
        })
    }

    /// A counting number; `None` where it is missing.
    pub(super) fn count(&self) -> Result<Option<u32>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        self.text.parse().map(Some).map_err(|_| {
            self.error("not-a-number", format!("{:?} is not a whole number", self.text))
                .remedy("number the leaves 1, 2, 3 …")
        })
    }
}

/// The date typed as `YYYY-MM-DD`, and nothing else.
fn parse_date(text: &str) -> Option<Date> {
    let mut parts = text.splitn(3, '-');
    let mut part = |digits: usize| {
        let part = parts.next()?;
        (part.len() == digits && part.bytes().all(|byte| byte.is_ascii_digit())).then(|| part.parse::<i16>().ok())?
    };
    let (year, month, day) = (part(4)?, part(2)?, part(2)?);
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

/// Keeps the value, or its finding.
pub(super) fn keep<T>(result: Result<T, Finding>, findings: &mut Vec<Finding>) -> Option<T> {
    result.map_err(|finding| findings.push(finding)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(text: &str) -> Cell<'_> {
        Cell { file: "plots.csv", row: 7, column: "yield", text }
    }

    #[test]
    fn a_cell_is_missing_where_people_say_so() {
        for text in ["", "NA", "na", "N/A", ".", "*", "-"] {
            assert_eq!(cell(text).number(), Ok(None), "{text:?}");
        }
    }

    #[test]
    fn a_number_is_taken_as_typed_and_what_is_no_finite_number_is_refused() {
        for (text, value) in [("72.5", 72.5), ("-3", -3.0), ("1e2", 100.0), ("+5", 5.0)] {
            assert_eq!(cell(text).number(), Ok(Some(value)), "{text:?}");
        }
        for text in ["inf", "NaN", "1e999", "72,5", "7 2", "twelve", "0x10", "--1"] {
            let finding = cell(text).number().unwrap_err();
            assert_eq!(finding.code, "not-a-number", "{text:?}");
            assert_eq!(finding.place.value.as_deref(), Some(text));
            assert_eq!(finding.place.row, Some(7));
        }
    }

    #[test]
    fn only_year_month_day_is_a_date() {
        assert_eq!(cell("2024-02-29").date(), Ok(jiff::civil::date(2024, 2, 29)));
        for text in ["", "2023-02-29", "2024-2-9", "02/29/2024", "2024-02-29T00:00", "20240229", "3 June", "2024-02"] {
            assert_eq!(cell(text).date().unwrap_err().code, "not-a-date", "{text:?}");
        }
    }

    #[test]
    fn a_leaf_number_counts() {
        assert_eq!(cell("12").count(), Ok(Some(12)));
        for text in ["-1", "1.5", "first"] {
            assert_eq!(cell(text).count().unwrap_err().code, "not-a-number", "{text:?}");
        }
    }
}
