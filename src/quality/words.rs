//! Numbers and lists as the findings write them.

/// A list names at most so many; the others are counted.
const LISTED: usize = 4;
/// Digits after which a number that was converted and back again is the one that was typed.
const TYPED_DIGITS: f64 = 1e6;

/// A number as typed: what a conversion and its way back left at the end is rounded off.
pub(super) fn typed(value: f64) -> String {
    let rounded = (value * TYPED_DIGITS).round() / TYPED_DIGITS;
    // Beyond the doubles that hold such decimals the number itself is what was typed.
    if rounded.is_finite() { rounded.to_string() } else { value.to_string() }
}

/// A computed number with three significant digits, and whole from a thousand on.
pub(super) fn rounded(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = (2 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.decimals$}")
}

/// `p = 0.004`, `p < 0.0001`.
pub(super) fn p_value(p: f64) -> String {
    if p < 0.0001 { "p < 0.0001".to_owned() } else { format!("p = {p:.4}") }
}

/// *1 plot*, *3 plots*.
pub(super) fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// *a*, *a and b*, *a, b and c*; from the fifth on they are counted.
pub(super) fn list<T: AsRef<str>>(items: &[T]) -> String {
    let items: Vec<&str> = items.iter().map(AsRef::as_ref).collect();
    match items.split_at_checked(LISTED) {
        Some((shown, others)) if others.len() > 1 => format!("{} and {} more", shown.join(", "), others.len()),
        _ => match items.split_last() {
            None => "none".to_owned(),
            Some((only, [])) => (*only).to_owned(),
            Some((last, others)) => format!("{} and {last}", others.join(", ")),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_that_was_converted_and_back_is_written_as_it_was_typed() {
        assert_eq!(typed(29.9 / 0.46), "65");
        assert_eq!(typed(72.3), "72.3");
    }

    #[test]
    fn a_computed_number_has_three_digits() {
        for (value, expected) in [(73.149, "73.1"), (0.021_34, "0.0213"), (4_707.57, "4708"), (0.0, "0")] {
            assert_eq!(rounded(value), expected);
        }
    }

    #[test]
    fn a_long_list_is_cut_short() {
        assert_eq!(list(&["a"]), "a");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(list(&["a", "b", "c", "d", "e"]), "a, b, c, d and e");
        assert_eq!(list(&["a", "b", "c", "d", "e", "f"]), "a, b, c, d and 2 more");
    }
}
