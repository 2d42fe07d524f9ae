//! The words of a header: split where people split them, and what they say of units and dates.

use jiff::civil::Date;

use crate::files::MONTHS;

/// The words of a header in lower case: split at every sign, between `camelCase` words, and between letters and digits.
pub(super) fn words(header: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut word = String::new();
    let letters: Vec<char> = header.chars().collect();
    for (position, letter) in letters.iter().enumerate() {
        if !letter.is_alphanumeric() {
            if *letter == '%' {
                push(&mut words, &mut word);
                words.push("%".to_owned());
            }
            push(&mut words, &mut word);
            continue;
        }
        let before = position.checked_sub(1).and_then(|before| letters.get(before));
        let after = letters.get(position + 1);
        let camel = letter.is_uppercase()
            && before.is_some_and(|before| {
                before.is_lowercase() || (before.is_uppercase() && after.is_some_and(|after| after.is_lowercase()))
            });
        let digits = before.is_some_and(|before| before.is_ascii_digit() != letter.is_ascii_digit());
        if camel || digits {
            push(&mut words, &mut word);
        }
        word.extend(letter.to_lowercase());
    }
    push(&mut words, &mut word);
    words
}

fn push(words: &mut Vec<String>, word: &mut String) {
    if !word.is_empty() {
        words.push(std::mem::take(word));
    }
}

/// Whether any of the words is one of those asked for.
pub(super) fn any(words: &[String], wanted: &[&str]) -> bool {
    words.iter().any(|word| wanted.contains(&word.as_str()))
}

/// Whether words stand one after the other, each as asked for.
pub(super) fn in_a_row(words: &[String], wanted: &[&str]) -> bool {
    words.windows(wanted.len()).any(|window| window.iter().zip(wanted).all(|(word, wanted)| word == wanted))
}

const POUNDS: &[&str] = &["lb", "lbs", "pound", "pounds"];
const KILOGRAMS: &[&str] = &["kg", "kgs", "kilogram", "kilograms"];
const MEGAGRAMS: &[&str] = &["mg", "t", "tonne", "tonnes", "ton"];
const BUSHELS: &[&str] = &["bu", "bushel", "bushels"];
const TONS: &[&str] = &["ton", "tons"];
const ACRE: &[&str] = &["ac", "acre", "acres", "a"];
const HECTARE: &[&str] = &["ha", "hectare", "hectares"];
/// Words that stand between a mass and its area.
const BETWEEN: &[&str] = &["per", "n", "of", "nitrogen", "grain", "urea", "dm", "1"];

/// Whether a mass word is followed by an area word, nothing but small words between them.
fn mass_over_area(words: &[String], mass: &[&str], area: &[&str]) -> bool {
    words.iter().enumerate().any(|(position, word)| {
        let mut rest = words.iter().skip(position + 1).skip_while(|word| BETWEEN.contains(&word.as_str()));
        mass.contains(&word.as_str()) && rest.next().is_some_and(|word| area.contains(&word.as_str()))
    })
}

/// Unit of an N rate that a header names.
pub(super) fn rate_unit(words: &[String]) -> Option<&'static str> {
    if mass_over_area(words, POUNDS, ACRE) {
        Some("lb/ac")
    } else if mass_over_area(words, KILOGRAMS, HECTARE) {
        Some("kg/ha")
    } else {
        None
    }
}

/// Unit of a yield that a header names.
pub(super) fn yield_unit(words: &[String]) -> Option<&'static str> {
    let is = |mass, area| mass_over_area(words, mass, area);
    if is(BUSHELS, ACRE) || any(words, &["buac", "bupac", "bpa"]) {
        Some("bu/ac")
    } else if is(KILOGRAMS, HECTARE) {
        Some("kg/ha")
    } else if is(MEGAGRAMS, HECTARE) {
        Some("Mg/ha")
    } else if is(POUNDS, ACRE) {
        Some("lb/ac")
    } else if is(TONS, ACRE) {
        Some("short ton/ac")
    } else {
        None
    }
}

/// A unit over an area that people use and stook has no name for, with what to do.
pub(super) fn foreign_yield_unit(words: &[String]) -> Option<&'static str> {
    let decitonnes = &["dt", "qx", "q", "quintal", "quintals", "quintaux", "qq"];
    mass_over_area(words, decitonnes, HECTARE).then_some("100 kg a hectare: multiply by 100 and call it kg/ha")
}

/// Unit of a weight that a header names.
pub(super) fn mass_unit(words: &[String]) -> Option<&'static str> {
    if any(words, POUNDS) {
        Some("lb")
    } else if any(words, KILOGRAMS) {
        Some("kg")
    } else if any(words, &["g", "gram", "grams"]) {
        Some("g")
    } else {
        None
    }
}

/// The month, from 1, that a word of three letters or more begins or is.
fn month(word: &str) -> Option<i8> {
    let is = |month: &&str| *month == word || (word.len() == 3 || word == "sept") && month.starts_with(word);
    MONTHS.iter().position(is).and_then(|month| i8::try_from(month + 1).ok())
}

/// What a header says of a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum DayInHeader {
    /// A day with its year.
    Whole(Date),
    /// A month and a day, as in *Apr 2*.
    WithoutYear(i8, i8),
}

/// The day that a header names, where that is certain: *20240402*, *2024-04-02*, *2 Apr 2024*, *Apr 2*.
pub(super) fn day(words: &[String]) -> Option<DayInHeader> {
    let number = |position: usize| words.get(position).and_then(|word| word.parse::<i16>().ok());
    let small = |position: usize| number(position).and_then(|number| i8::try_from(number).ok());
    let whole = |year, month, day| Date::new(year, month, day).ok().map(DayInHeader::Whole);
    let is_year = |year: &i16| (1900..2100).contains(year);
    for (position, word) in words.iter().enumerate() {
        if word.len() == 8 && word.bytes().all(|byte| byte.is_ascii_digit()) {
            let part = |range: std::ops::Range<usize>| word.get(range).and_then(|digits| digits.parse::<i16>().ok());
            if let (Some(year), Some(month), Some(day)) = (part(0..4), part(4..6), part(6..8))
                && let Some(found) = whole(year, month as i8, day as i8).filter(|_| is_year(&year))
            {
                return Some(found);
            }
        }
        let iso = (number(position).filter(is_year), small(position + 1), small(position + 2));
        if let (Some(year), Some(month), Some(day)) = iso
            && let Some(found) = whole(year, month, day)
        {
            return Some(found);
        }
        if let Some(month) = month(word) {
            let before = position.checked_sub(1).and_then(small).filter(|day| (1..=31).contains(day));
            let after = small(position + 1).filter(|day| (1..=31).contains(day));
            let (day, next) = match (before, after) {
                (_, Some(day)) => (day, position + 2),
                (Some(day), None) => (day, position + 1),
                (None, None) => continue,
            };
            let year = number(next).or(number(position + 1)).filter(is_year);
            let found = match year {
                Some(year) => whole(year, month, day),
                // 2024 has every day that a year can have.
                None => Date::new(2024, month, day).ok().map(|_| DayInHeader::WithoutYear(month, day)),
            };
            if found.is_some() {
                return found;
            }
        }
    }
    None
}

/// The one year from 1950 to 2099 that a text names.
pub(super) fn year(text: &str) -> Option<i16> {
    let digits = text.split(|letter: char| !letter.is_ascii_digit());
    let mut years: Vec<i16> =
        digits.filter(|digits| digits.len() == 4).filter_map(|digits| digits.parse().ok()).collect();
    years.retain(|year| (1950..2100).contains(year));
    years.dedup();
    if let [year] = years.as_slice() { Some(*year) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(header: &str) -> Vec<String> {
        words(header)
    }

    #[test]
    fn headers_split_where_people_split_them() {
        for (header, expected) in [
            ("N_kg_ha", "n kg ha"),
            ("poundsOfNitrogenPerAcre", "pounds of nitrogen per acre"),
            ("kgN/ha", "kg n ha"),
            ("NDVI_Apr02", "ndvi apr 02"),
            ("Plot No.", "plot no"),
            ("Protein, %", "protein %"),
            ("GDDToAnthesis", "gdd to anthesis"),
        ] {
            assert_eq!(of(header).join(" "), expected);
        }
    }

    #[test]
    fn units_are_read_where_they_are_named() {
        for (header, expected) in [
            ("N (lb/ac)", Some("lb/ac")),
            ("poundsOfNitrogenPerAcre", Some("lb/ac")),
            ("kg N/ha", Some("kg/ha")),
            ("N kg ha-1", Some("kg/ha")),
            ("nitrogen", None),
            ("lb", None),
        ] {
            assert_eq!(rate_unit(&of(header)), expected, "{header}");
        }
        for (header, expected) in [
            ("Yield (bu/A)", Some("bu/ac")),
            ("grain t/ha", Some("Mg/ha")),
            ("yield_kg_ha", Some("kg/ha")),
            ("Yield Mg ha-1", Some("Mg/ha")),
            ("yieldPerAcre", None),
        ] {
            assert_eq!(yield_unit(&of(header)), expected, "{header}");
        }
    }

    #[test]
    fn days_are_read_where_they_are_certain() {
        let date = |year, month, day| Some(DayInHeader::Whole(Date::new(year, month, day).unwrap()));
        for (header, expected) in [
            ("ndvi_20170425", date(2017, 4, 25)),
            ("NDVI 2024-04-02", date(2024, 4, 2)),
            ("NDVI 2 April 2024", date(2024, 4, 2)),
            ("NDVI Apr 2, 2024", date(2024, 4, 2)),
            ("ndvi_apr02", Some(DayInHeader::WithoutYear(4, 2))),
            ("NDVI 4/2", None),
            ("ndvi_feb30", None),
            ("ndvi", None),
        ] {
            assert_eq!(day(&of(header)), expected, "{header}");
        }
    }

    #[test]
    fn a_year_is_taken_where_there_is_one() {
        assert_eq!(year("Osier Bend 2025, harvest"), Some(2025));
        assert_eq!(year("2001-2015"), None);
        assert_eq!(year("plot 12345"), None);
    }
}
