//! Dates: year-month-day, or as a file declares them.

use jiff::civil::Date;

/// Days of a workbook are counted from here; 1 is 31 December 1899 and the count is true from 1 March 1900 on.
const DAY_0: Date = jiff::civil::date(1899, 12, 30);
/// 1 March 1900: before it, spreadsheets count a 29 February that never was.
const FIRST_TRUE_DAY: f64 = 61.0;
/// 31 December 9999.
const LAST_DAY: f64 = 2_958_465.0;

/// How the dates of a file are written.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct DateFormat(Form);

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Form {
    /// The number of days that a spreadsheet counts.
    Serial,
    /// Day, month and year in some order.
    Written { typed: String, pieces: Vec<Piece> },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Piece {
    Day,
    /// As a number, or as its English name or the first three letters of it.
    Month,
    Year,
    /// Two digits, of 2000 to 2099.
    ShortYear,
    Sign(char),
}

const WORDS: [(&str, Piece); 4] =
    [("day", Piece::Day), ("month", Piece::Month), ("year", Piece::Year), ("yy", Piece::ShortYear)];

/// The months of the year, in lower case.
pub const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

impl DateFormat {
    /// The name that declares days counted by a spreadsheet.
    pub const SERIAL: &str = "spreadsheet-serial";

    /// The format typed as `spreadsheet-serial`, or as the words `day`, `month` and `year` with the signs between them, as in
    /// `day/month/year`; `yy` in the stead of `year` for years of two digits.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if text == Self::SERIAL {
            return Some(Self(Form::Serial));
        }
        let mut pieces = Vec::new();
        let mut rest = text;
        while let Some(first) = rest.chars().next() {
            let word = WORDS.iter().find(|(word, _)| rest.starts_with(word));
            let (piece, length) = match word {
                Some((word, piece)) => (*piece, word.len()),
                None if "/-. ,".contains(first) => (Piece::Sign(first), first.len_utf8()),
                None => return None,
            };
            pieces.push(piece);
            rest = rest.get(length..)?;
        }
        let count = |wanted: &[Piece]| pieces.iter().filter(|piece| wanted.contains(piece)).count();
        let complete =
            count(&[Piece::Day]) == 1 && count(&[Piece::Month]) == 1 && count(&[Piece::Year, Piece::ShortYear]) == 1;
        complete.then(|| Self(Form::Written { typed: text.to_owned(), pieces }))
    }

    /// As typed.
    #[must_use]
    pub fn name(&self) -> &str {
        match &self.0 {
            Form::Serial => Self::SERIAL,
            Form::Written { typed, .. } => typed,
        }
    }

    /// The date that `text` is in this format.
    #[must_use]
    pub fn read(&self, text: &str) -> Option<Date> {
        let pieces = match &self.0 {
            Form::Serial => return serial(text.parse().ok()?),
            Form::Written { pieces, .. } => pieces,
        };
        let (mut year, mut month, mut day) = (None, None, None);
        let mut rest = text;
        for piece in pieces {
            if let Piece::Sign(sign) = piece {
                rest = rest.strip_prefix(*sign)?;
                continue;
            }
            let length = rest.find(|character: char| !character.is_alphanumeric()).unwrap_or(rest.len());
            let (word, after) = rest.split_at_checked(length)?;
            rest = after;
            match piece {
                Piece::Day => day = Some(digits(word, 1..=2)?),
                Piece::Month => month = Some(digits(word, 1..=2).or_else(|| month_named(word))?),
                Piece::Year => year = Some(digits(word, 4..=4)?),
                Piece::ShortYear => year = Some(2000 + digits(word, 2..=2)?),
                Piece::Sign(_) => {}
            }
        }
        if !rest.is_empty() {
            return None;
        }
        date(year?, month?, day?)
    }
}

/// The date typed as year-month-day, alone or with a time of day behind it.
pub(super) fn iso(text: &str) -> Option<Date> {
    let (day, time) = text.split_at_checked(10)?;
    let is_time = |rest: &str| rest.starts_with(['T', ' ']) && rest.get(1..).is_some_and(is_time_of_day);
    if !time.is_empty() && !is_time(time) {
        return None;
    }
    let mut parts = day.splitn(3, '-');
    let (year, month, day) =
        (digits(parts.next()?, 4..=4)?, digits(parts.next()?, 2..=2)?, digits(parts.next()?, 2..=2)?);
    date(year, month, day)
}

fn is_time_of_day(text: &str) -> bool {
    let mut parts = text.trim_end_matches('Z').splitn(3, ':');
    let below = |part: Option<&str>, limit: f64| {
        part.is_some_and(|part| {
            part.len() >= 2
                && part.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
                && part.parse::<f64>().is_ok_and(|value| value < limit)
        })
    };
    let (hour, minute, second) = (parts.next(), parts.next(), parts.next());
    below(hour, 24.0) && below(minute, 60.0) && (second.is_none() || below(second, 61.0))
}

/// The date of a number of days as a spreadsheet counts them; a fraction is the time of day.
pub(super) fn serial(days: f64) -> Option<Date> {
    if !(FIRST_TRUE_DAY..LAST_DAY + 1.0).contains(&days) {
        return None;
    }
    // Whole and within the calendar, so nothing is lost.
    let span = jiff::Span::new().try_days(days.floor() as i64).ok()?;
    DAY_0.checked_add(span).ok()
}

/// What `03/04/2024` may be, as (day first, month first); `None` where the text has no such form. The year may have two digits.
pub(super) fn slashed(text: &str) -> Option<(char, bool, Option<Date>, Option<Date>)> {
    let sign = text.chars().find(|character| !character.is_ascii_digit()).filter(|sign| "/-.".contains(*sign))?;
    let mut parts = text.splitn(3, sign);
    let (first, second) = (digits(parts.next()?, 1..=2)?, digits(parts.next()?, 1..=2)?);
    let year = parts.next()?;
    let is_short = year.len() == 2;
    let year = digits(year, 4..=4).or_else(|| digits(year, 2..=2).map(|year| 2000 + year))?;
    let (day_first, month_first) = (date(year, second, first), date(year, first, second));
    (day_first.is_some() || month_first.is_some()).then_some((sign, is_short, day_first, month_first))
}

/// A date with its month in words, such as `2 April 2024`.
pub(super) fn in_words(text: &str) -> Option<Date> {
    ["day month year", "day-month-year", "month day, year", "month day year", "day. month year"]
        .into_iter()
        .filter(|_| text.contains(|character: char| character.is_alphabetic()))
        .find_map(|format| DateFormat::parse(format)?.read(text))
}

/// A date as a reader says it: 3 April 2024.
pub(super) fn spoken(date: Date) -> String {
    let month = usize::try_from(date.month()).ok().and_then(|month| MONTHS.get(month.checked_sub(1)?));
    let month = month.map_or_else(String::new, |month| {
        let mut letters = month.chars();
        letters.next().map(|first| first.to_ascii_uppercase().to_string() + letters.as_str()).unwrap_or_default()
    });
    format!("{} {month} {}", date.day(), date.year())
}

fn digits(text: &str, lengths: std::ops::RangeInclusive<usize>) -> Option<i16> {
    let all_digits = lengths.contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    if all_digits { text.parse().ok() } else { None }
}

fn month_named(text: &str) -> Option<i16> {
    let text = text.to_ascii_lowercase();
    let position = MONTHS.iter().position(|month| *month == text || month.get(..3) == Some(text.as_str()))?;
    i16::try_from(position + 1).ok()
}

fn date(year: i16, month: i16, day: i16) -> Option<Date> {
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn read(format: &str, text: &str) -> Option<Date> {
        DateFormat::parse(format).unwrap().read(text)
    }

    #[test]
    fn a_declared_format_is_followed_to_the_letter() {
        for (format, text, expected) in [
            ("day/month/year", "03/04/2024", Some(date(2024, 4, 3))),
            ("month/day/year", "03/04/2024", Some(date(2024, 3, 4))),
            ("day/month/year", "3/4/2024", Some(date(2024, 4, 3))),
            ("day.month.yy", "29.02.24", Some(date(2024, 2, 29))),
            ("day-month-year", "2-Apr-2024", Some(date(2024, 4, 2))),
            ("month day, year", "April 2, 2024", Some(date(2024, 4, 2))),
            ("day/month/year", "03/04/24", None),
            ("day/month/yy", "03/04/2024", None),
            ("day/month/year", "04-03-2024", None),
            ("day/month/year", "31/02/2024", None),
            ("day/month/year", "03/04/2024x", None),
        ] {
            assert_eq!(read(format, text), expected, "{text:?} as {format}");
        }
    }

    #[test]
    fn a_format_names_day_month_and_year_once() {
        for text in ["", "day/month", "day/day/year", "dd/mm/yyyy", "day/month/year/yy", "day_month_year"] {
            assert_eq!(DateFormat::parse(text), None, "{text:?}");
        }
    }

    #[test]
    fn days_are_counted_as_a_spreadsheet_counts_them() {
        // 45 384 is 2 April 2024: what any spreadsheet shows for the number formatted as a date.
        assert_eq!(read("spreadsheet-serial", "45384"), Some(date(2024, 4, 2)));
        assert_eq!(read("spreadsheet-serial", "45384.75"), Some(date(2024, 4, 2)));
        assert_eq!(serial(61.0), Some(date(1900, 3, 1)));
        for days in [60.0, -1.0, f64::NAN, 1e300] {
            assert_eq!(serial(days), None, "{days}");
        }
    }

    #[test]
    fn year_month_day_may_carry_a_time() {
        for text in ["2024-02-29", "2024-02-29T08:30", "2024-02-29 08:30:15.5", "2024-02-29T00:00:00Z"] {
            assert_eq!(iso(text), Some(date(2024, 2, 29)), "{text:?}");
        }
        for text in
            ["", "2023-02-29", "2024-2-9", "02/29/2024", "2024-02-29x", "2024-02-29T25:00", "20240229", "2024-02"]
        {
            assert_eq!(iso(text), None, "{text:?}");
        }
    }

    #[test]
    fn a_date_is_said_with_its_month_in_words() {
        assert_eq!(spoken(date(2024, 4, 3)), "3 April 2024");
    }
}
