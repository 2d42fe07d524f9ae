//! How numbers are written in text.

/// Significant digits of a standard error; the estimate beside it ends at the same decimal.
const ERROR_DIGITS: i32 = 2;
/// A rate is written so that this part of the tested range is seen: about a pound in 150, or 0.01 in 0.6.
const RATE_STEPS: f64 = 300.0;
/// From here on a double holds no more digits than are written.
const LARGEST_WRITTEN_OUT: f64 = 1e15;
/// Longer numbers were computed, not typed.
const LONGEST_TYPED: usize = 7;
/// More decimals than this say nothing.
const MOST_DECIMALS: i32 = 9;

/// Decimals that show a standard error with two significant digits; `None` where it is not a positive number.
pub(crate) fn decimals_of_error(standard_error: f64) -> Option<usize> {
    (standard_error.is_finite() && standard_error > 0.0)
        .then(|| decimals(ERROR_DIGITS - 1 - standard_error.log10().floor() as i32))
}

/// Decimals of rates in a trial whose highest tested rate is `highest`.
pub(crate) fn decimals_of_rates(highest: f64) -> usize {
    if highest.is_finite() && highest > 0.0 { decimals(-(highest / RATE_STEPS).log10().floor() as i32) } else { 0 }
}

fn decimals(wanted: i32) -> usize {
    wanted.clamp(0, MOST_DECIMALS) as usize
}

/// With a fixed number of decimals, and no minus before a zero.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    if value.abs() >= LARGEST_WRITTEN_OUT {
        return format!("{value:.3e}");
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|digit| matches!(digit, '0' | '.')) => zero.to_owned(),
        _ => text,
    }
}

/// A rate with a fixed number of decimals; exactly zero is `0`.
pub(crate) fn rate(value: f64, decimals: usize) -> String {
    if value == 0.0 { "0".to_owned() } else { fixed(value, decimals) }
}

/// A price ratio: as typed where that is short, else with up to four significant digits.
pub(crate) fn price_ratio(value: f64) -> String {
    let typed = value.to_string();
    if typed.len() <= LONGEST_TYPED {
        return typed;
    }
    let text = significant(value, 4);
    // It is a setting, no estimate: a zero at the end says nothing.
    if text.contains('.') && !text.contains('e') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// With a number of significant digits.
pub(crate) fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let wanted = digits - 1 - value.abs().log10().floor() as i32;
    if wanted > MOST_DECIMALS {
        return format!("{value:.*e}", decimals(digits - 1));
    }
    fixed(value, decimals(wanted))
}

/// As typed where that is short; a number that was converted from another unit with two decimals.
pub(crate) fn plain(value: f64) -> String {
    let typed = value.to_string();
    if typed.len() <= LONGEST_TYPED {
        typed
    } else {
        fixed(value, 2).trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}

/// `p = 0.012`, `p < 0.001`.
pub(super) fn p_value(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".to_owned()
    } else if p > 0.999 {
        "p > 0.999".to_owned()
    } else {
        format!("p = {p:.3}")
    }
}

/// A level as a whole percentage where it is one: `95 %`.
pub(crate) fn percent(level: f64) -> String {
    format!("{} %", plain((level * 1e6).round() / 1e4))
}

/// What stands for a value that is not there.
pub(crate) const NONE: &str = "–";

/// The text of a value, or a dash.
pub(crate) fn or_dash(value: Option<f64>, text: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| NONE.to_owned(), text)
}

/// *1 plot*, *3 plots*.
pub(crate) fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_estimate_ends_where_its_standard_error_has_two_digits() {
        for (error, expected) in [(6.1, "79.4"), (0.61, "79.39"), (61.0, "79"), (0.0123, "79.389")] {
            assert_eq!(fixed(79.3889, decimals_of_error(error).unwrap()), expected);
        }
        assert_eq!(decimals_of_error(0.0), None);
        assert_eq!(decimals_of_error(f64::NAN), None);
    }

    #[test]
    fn rates_carry_the_decimals_of_their_range() {
        for (highest, expected) in [(150.0, 1), (391.0, 0), (0.6, 3), (0.0, 0)] {
            assert_eq!(decimals_of_rates(highest), expected, "{highest}");
        }
    }

    #[test]
    fn significant_digits_are_counted_from_the_first() {
        for (value, expected) in [(-0.002281746, "-0.002282"), (0.578928, "0.5789"), (1234.5, "1234"), (0.0, "0")] {
            assert_eq!(significant(value, 4), expected);
        }
        assert_eq!(significant(1.5e-12, 3), "1.50e-12");
        assert_eq!(significant(1.5e40, 3), "1.500e40");
    }

    #[test]
    fn what_was_typed_stays_and_what_was_converted_is_rounded() {
        for (value, expected) in
            [(120.0, "120"), (0.6, "0.6"), (44.608_956_080_985_22, "44.61"), (39.999_999_999_999_98, "40")]
        {
            assert_eq!(plain(value), expected);
        }
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(fixed(-0.006, 2), "-0.01");
    }

    #[test]
    fn small_p_values_are_bounds() {
        assert_eq!(p_value(0.0005), "p < 0.001");
        assert_eq!(p_value(0.0123), "p = 0.012");
        assert_eq!(p_value(1.0), "p > 0.999");
    }

    #[test]
    fn levels_are_percentages() {
        assert_eq!(percent(0.95), "95 %");
        assert_eq!(percent(0.999), "99.9 %");
    }
}
