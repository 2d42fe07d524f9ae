//! Numbers as people type them: read where they are certain, and named for what they look like where they are not.

use super::date_format::{in_words, iso, slashed};
use super::layout::{Decimal, Layout};

/// What a spreadsheet shows where a formula has no value.
const FORMULA_ERRORS: [&str; 9] =
    ["#N/A", "#DIV/0!", "#REF!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#DATA!"];

/// So many digits make a whole number that an `f64` holds exactly.
const MOST_DIGITS: usize = 15;
const POWERS_OF_TEN: [f64; MOST_DIGITS + 1] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// The finite number that is typed, with this decimal sign and nothing else.
pub(super) fn parse(text: &str, decimal: Decimal) -> Option<f64> {
    if let Some(value) = short(text, decimal) {
        return Some(value);
    }
    // `f64::from_str` also takes "inf" and "nan", which no one measures.
    let plain = text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.,eE".contains(&byte));
    let value = match decimal {
        _ if !plain => None,
        Decimal::Point => text.parse::<f64>().ok(),
        Decimal::Comma if text.contains('.') => None,
        Decimal::Comma => text.replacen(',', ".", 1).parse::<f64>().ok(),
    };
    value.filter(|value| value.is_finite())
}

/// The usual numbers: at most 15 digits, without an exponent. Those digits as a whole number and the power of ten are both exact, so their
/// quotient is rounded once and is the nearest number, as `f64::from_str` finds it (Clinger, PLDI 1990).
fn short(text: &str, decimal: Decimal) -> Option<f64> {
    let (sign, unsigned) = match text.as_bytes() {
        [b'-', rest @ ..] => (-1.0, rest),
        [b'+', rest @ ..] | rest => (1.0, rest),
    };
    let mut whole = 0_u64;
    let mut digits = 0;
    let mut digits_before_sign = None;
    for byte in unsigned {
        if byte.is_ascii_digit() && digits < MOST_DIGITS {
            whole = whole * 10 + u64::from(byte - b'0');
            digits += 1;
        } else if char::from(*byte) == decimal.sign() && digits_before_sign.is_none() {
            digits_before_sign = Some(digits);
        } else {
            return None;
        }
    }
    let decimals = digits - digits_before_sign.unwrap_or(digits);
    let power = POWERS_OF_TEN.get(decimals).filter(|_| digits > 0)?;
    Some(sign * (whole as f64 / power))
}

/// Whether a text is what a spreadsheet shows where a formula has no value.
pub(super) fn is_formula_error(text: &str) -> bool {
    text.starts_with('#') && FORMULA_ERRORS.contains(&text)
}

/// What a text that [`parse`] refuses looks like, and what would be right.
pub(super) fn explain(text: &str, layout: &Layout) -> (String, String) {
    let plain = (format!("{text:?} is not a number"), not_a_number(layout.decimal));
    if is_formula_error(text) {
        return (
            format!("the formula in this cell gives {text}"),
            "mend the formula, or leave the cell empty".to_owned(),
        );
    }
    if iso(text).is_some() || slashed(text).is_some() || in_words(text).is_some() {
        let remedy =
            "a spreadsheet turns numbers such as 4-2 into dates: type the number into a cell formatted as a number";
        return (format!("{text:?} is a date, not a number"), remedy.to_owned());
    }
    if let Some(rest) = text.strip_prefix(['<', '>', '≤', '≥', '~', '≈']) {
        if rest.chars().any(|character| character.is_ascii_digit()) {
            let remedy = "write the number that was measured, or leave the cell empty";
            return (format!("{text:?} is a bound, not a measured number"), remedy.to_owned());
        }
        return plain;
    }
    if let Some(rest) = text.strip_prefix(['−', '–']) {
        return (format!("{text:?} has a typographic minus"), format!("write -{rest}"));
    }
    let is_number_letter =
        |letter: char| letter.is_ascii_digit() || letter.is_whitespace() || ".,'’+-".contains(letter);
    let length = text.find(|letter| !is_number_letter(letter)).unwrap_or(text.len());
    let (body, behind) = text.split_at_checked(length).unwrap_or((text, ""));
    let body = body.trim();
    if !body.contains(|letter: char| letter.is_ascii_digit()) {
        return plain;
    }
    let is_digit = |letter: char| letter.is_ascii_digit();
    if !behind.is_empty() {
        // Digits right behind a letter are more likely a slip of typing than a unit.
        if !text.contains(char::is_whitespace) && behind.contains(is_digit) && !behind.starts_with(['e', 'E']) {
            return plain;
        }
        let exponent = behind.strip_prefix(['e', 'E']).is_some_and(|digits| digits.parse::<i32>().is_ok());
        return match parse(body, layout.decimal) {
            Some(_) if exponent => (format!("{text:?} is too large"), "write a number that can be measured".to_owned()),
            Some(_) => {
                let remedy = format!("write {body} alone; a unit is declared once, for the whole column");
                (format!("{text:?} has {behind:?} behind its number"), remedy)
            }
            None => plain,
        };
    }
    if body.trim_start_matches(['-', '+']).contains('-') {
        return (format!("{text:?} is a range, not a number"), "write the one number that was measured".to_owned());
    }
    grouped(body, layout).unwrap_or(plain)
}

fn not_a_number(decimal: Decimal) -> String {
    format!("write a number such as 72{}5, or leave the cell empty if it is missing", decimal.sign())
}

/// Digits with other signs than the decimal one between them.
fn grouped(text: &str, layout: &Layout) -> Option<(String, String)> {
    let typed = format!("{text:?}");
    let unsigned = text.trim_start_matches(['+', '-']);
    let is_space = |letter: char| letter.is_whitespace() || letter == '\'' || letter == '’';
    let digits: String = text.chars().filter(|letter| !is_space(*letter)).collect();
    let signs: Vec<char> = unsigned.chars().filter(|letter| !letter.is_ascii_digit()).collect();
    let groups: Vec<&str> = unsigned.split(|letter: char| !letter.is_ascii_digit()).collect();
    let (first, last) = (groups.first()?, groups.last()?);
    let threes = |groups: &[&str]| groups.iter().all(|group| group.len() == 3);
    let leads = (1..=3).contains(&first.len());
    let whole = leads && threes(groups.get(1..)?);
    let (point, comma) = (signs.contains(&'.'), signs.contains(&','));
    let declare = layout.declaration("decimal", "\",\"");
    let written = |number: String| format!("write {number}");
    let separator = |typed: &str| format!("{typed} has a thousands separator");
    if signs.iter().any(|sign| is_space(*sign)) {
        // The decimal part, if any, is behind the last point or comma.
        let number = digits.replace([',', '.'], &layout.decimal.sign().to_string());
        let decimals = usize::from(signs.last().is_some_and(|sign| !is_space(*sign)));
        let grouped = leads && threes(groups.get(1..groups.len() - decimals)?);
        let what = if grouped { separator(&typed) } else { format!("{typed} is several numbers") };
        return Some((what, if grouped { written(number) } else { "write one number in a cell".to_owned() }));
    }
    match (point, comma, layout.decimal) {
        (false, true, Decimal::Point) if signs.len() == 1 => {
            let (number, other) = (text.replace(',', ""), text.replace(',', "."));
            Some(if whole {
                let what = format!("{typed} is {number} with a thousands separator, or {other} with a decimal comma");
                (what, format!("write {number} or {other}; or declare {declare} for the whole file"))
            } else {
                let what = format!("{typed} has a decimal comma");
                (what, format!("declare {declare} for the whole file, or write {other}"))
            })
        }
        (true, false, Decimal::Comma) if signs.len() == 1 => {
            let (number, other) = (text.replace('.', ""), text.replace('.', ","));
            Some(if whole {
                let what = format!("{typed} is {number} with a thousands separator, or {other} with a decimal point");
                (what, format!("write {number} or {other}: this file has decimal commas"))
            } else {
                (format!("{typed} has a decimal point, and this file has decimal commas"), written(other))
            })
        }
        (true, true, decimal) => {
            let comma_last = text.rfind(',') > text.rfind('.');
            let (group, sign) = if comma_last { ('.', ',') } else { (',', '.') };
            let bare = text.replace(group, "");
            let as_declared = bare.replace(sign, &decimal.sign().to_string());
            let sound = leads && threes(groups.get(1..groups.len() - 1)?) && !last.is_empty();
            sound.then(|| (separator(&typed), written(as_declared)))
        }
        _ if whole && signs.len() > 1 => Some((separator(&typed), written(text.replace([',', '.'], "")))),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn a_short_number_is_read_to_the_same_bits_as_a_long_one(
            text in r"[+-]?([0-9]{0,17}\.?[0-9]{0,17}|0{0,16}\.0{0,16}[0-9]{0,5}|[0-9]{1,3}\.[0-9]{1,4})",
        ) {
            let bits = text.parse::<f64>().ok().map(f64::to_bits);
            prop_assert_eq!(parse(&text, Decimal::Point).map(f64::to_bits), bits, "{}", text);
            let comma = text.replace('.', ",");
            prop_assert_eq!(parse(&comma, Decimal::Comma).map(f64::to_bits), bits, "{}", comma);
        }
    }

    fn explained(text: &str, decimal: Decimal) -> String {
        assert_eq!(parse(text, decimal), None, "{text:?}");
        let (what, remedy) = explain(text, &Layout { decimal, ..Layout::default() });
        format!("{what}: {remedy}")
    }

    #[test]
    fn a_number_is_taken_as_typed() {
        for (text, value) in [("72.5", 72.5), ("-3", -3.0), ("1e2", 100.0), ("+5", 5.0), (".5", 0.5)] {
            assert_eq!(parse(text, Decimal::Point), Some(value), "{text:?}");
        }
        for (text, value) in [("72,5", 72.5), ("-3", -3.0), ("1,5e2", 150.0), (",5", 0.5)] {
            assert_eq!(parse(text, Decimal::Comma), Some(value), "{text:?}");
        }
    }

    #[test]
    fn what_is_no_number_is_named_for_what_it_looks_like() {
        let lines: Vec<String> = [
            "72,5",
            "1,234",
            "1,234,567",
            "1 234",
            "1'234.5",
            "1.234,5",
            "1,234.5",
            "7 2",
            "72 bu/ac",
            "45%",
            ">90",
            "12 lb",
            "12-15",
            "72.5*",
            "#DIV/0!",
            "2024-04-02",
            "4/2/2024",
            "−3",
            "inf",
            "NaN",
            "1e999",
            "twelve",
            "0x10",
            "--1",
            "o.55",
        ]
        .iter()
        .map(|text| explained(text, Decimal::Point))
        .collect();
        insta::assert_snapshot!(lines.join("\n"));
    }

    #[test]
    fn a_point_among_decimal_commas_is_refused() {
        let lines: Vec<String> = ["72.5", "1.234", "1.234.567", "1.234,5", "1 234,5", "72,5 bu/ac", "72.5 bu/ac"]
            .iter()
            .map(|text| explained(text, Decimal::Comma))
            .collect();
        insta::assert_snapshot!(lines.join("\n"));
    }
}
