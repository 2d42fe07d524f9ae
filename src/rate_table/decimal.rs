//! Decimal numbers as people type them, in whole millionths, and the index as a whole number.

use std::fmt;
use std::str::FromStr;
use thiserror::Error;

const DECIMALS: usize = 6;
const MILLION: i64 = 1_000_000;
/// Digits before the point: 2000 times a number of millionths then stays under 2⁵³.
const WHOLE_DIGITS: usize = 6;

/// A decimal number in whole millionths, less than a million in size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Decimal {
    millionths: i64,
}

/// Why text is not a [`Decimal`].
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum DecimalError {
    /// Nothing but spaces.
    #[error("nothing was given: type a number such as 55.1")]
    Empty,
    /// Anything but an optional sign, digits and at most one point.
    #[error("\"{0}\" is not a number: type digits with a decimal point, such as 55.1")]
    NotANumber(String),
    /// A million or more.
    #[error("{0} is too large: a reading has at most six digits before the point")]
    TooLarge(String),
}

impl Decimal {
    /// A number of millionths; `None` if it is a million or more in size.
    pub fn from_millionths(millionths: i64) -> Option<Decimal> {
        (millionths.unsigned_abs() < (MILLION * MILLION) as u64).then_some(Decimal { millionths })
    }

    /// A number of hundredths, of at most 65 535.
    pub(super) fn hundredths(hundredths: u16) -> Decimal {
        Decimal { millionths: i64::from(hundredths) * MILLION / 100 }
    }

    /// The number in millionths.
    pub fn millionths(self) -> i64 {
        self.millionths
    }

    /// The number that the shortest decimal form of `value` says.
    ///
    /// # Errors
    /// [`DecimalError`] if `value` is not finite or a million or more.
    pub fn from_f64(value: f64) -> Result<Decimal, DecimalError> {
        // Display writes the shortest form, never with an exponent.
        value.to_string().parse()
    }
}

impl FromStr for Decimal {
    type Err = DecimalError;

    fn from_str(text: &str) -> Result<Decimal, DecimalError> {
        let typed = text.trim_matches([' ', '\t']);
        if typed.is_empty() {
            return Err(DecimalError::Empty);
        }
        let shown = || typed.chars().take(40).collect::<String>();
        let (negative, unsigned) = match typed.strip_prefix(['-', '+']) {
            Some(rest) => (typed.starts_with('-'), rest),
            None => (false, typed),
        };
        let (whole, decimals) = unsigned.split_once('.').unwrap_or((unsigned, ""));
        let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if whole.len() + decimals.len() == 0 || !digits(whole) || !digits(decimals) {
            return Err(DecimalError::NotANumber(shown()));
        }
        let whole = whole.trim_start_matches('0');
        if whole.len() > WHOLE_DIGITS {
            return Err(DecimalError::TooLarge(shown()));
        }
        let places = decimals.bytes().chain(std::iter::repeat(b'0'));
        let digit = |byte: u8| i64::from(byte - b'0');
        let size = whole.bytes().chain(places.clone().take(DECIMALS)).fold(0, |value, byte| value * 10 + digit(byte));
        let raised = places.clone().nth(DECIMALS).is_some_and(|byte| byte >= b'5');
        let size = size + i64::from(raised);
        Decimal::from_millionths(if negative { -size } else { size }).ok_or_else(|| DecimalError::TooLarge(shown()))
    }
}

/// Plain digits, as many decimals as are needed: `55.1`, `0.927`, `58`.
impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.millionths.abs();
        let sign = if self.millionths < 0 { "-" } else { "" };
        let decimals = format!("{:06}", size % MILLION);
        let decimals = decimals.trim_end_matches('0');
        let point = if decimals.is_empty() { "" } else { "." };
        write!(f, "{sign}{}{point}{decimals}", size / MILLION)
    }
}

/// The index in whole thousandths, ⌊1000·reading ÷ reference + ½⌋, in whole numbers only; `None` if the
/// reading is below 0 or the reference is not above 0.
pub fn index_thousandths(reading: Decimal, reference: Decimal) -> Option<u64> {
    let reading = u64::try_from(reading.millionths).ok()?;
    let reference = u64::try_from(reference.millionths).ok()?;
    (2000 * reading + reference).checked_div(2 * reference)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn decimal_text_is_read_to_the_millionth() {
        for (text, millionths) in [
            ("55.1", 55_100_000),
            (" 58 ", 58_000_000),
            ("+.5", 500_000),
            ("5.", 5_000_000),
            ("-3", -3_000_000),
            ("0000000.25", 250_000),
            ("0.0000004999", 0),
            ("0.0000005", 1),
            ("0.30000000000000004", 300_000),
            ("0.7299999999999999", 730_000),
            ("999999.999999", 999_999_999_999),
        ] {
            assert_eq!(read(text).millionths(), millionths, "{text}");
        }
    }

    #[test]
    fn text_that_is_no_plain_number_is_refused() {
        for text in ["abc", "1e999", "NaN", "inf", "55,1", "1.2.3", "--3", "+", ".", "1 000", "0x10", "５"] {
            assert!(matches!(text.parse::<Decimal>(), Err(DecimalError::NotANumber(_))), "{text}");
        }
        assert_eq!("  ".parse::<Decimal>(), Err(DecimalError::Empty));
        for text in ["1000000", "999999.9999995", "123456789012345678901234567890"] {
            assert!(matches!(text.parse::<Decimal>(), Err(DecimalError::TooLarge(_))), "{text}");
        }
    }

    #[test]
    fn the_index_is_rounded_half_up_from_the_decimals_as_typed() {
        let index = |reading, reference| index_thousandths(read(reading), read(reference)).unwrap();
        // 55.1 ÷ 58 = 0.95 exactly; 51 ÷ 55 = 0.92727…; 0.4635 ÷ 0.5 = 0.927 exactly.
        assert_eq!(index("55.1", "58"), 950);
        assert_eq!(index("51", "55"), 927);
        assert_eq!(index("0.4635", "0.5"), 927);
        // 0.9275 exactly: half a thousandth goes up, a millionth less does not.
        assert_eq!(index("46.375", "50"), 928);
        assert_eq!(index("46.374999", "50"), 927);
        // 1.005 ÷ 1 and 0.0005 ÷ 1, which binary fractions put on the wrong side.
        assert_eq!(index("1.005", "1"), 1005);
        assert_eq!(index("0.0005", "1"), 1);
        assert_eq!(index_thousandths(read("1"), read("0")), None);
        assert_eq!(index_thousandths(read("-1"), read("1")), None);
    }

    #[test]
    fn no_step_of_the_index_leaves_the_whole_numbers_of_a_double() {
        let largest = read("999999.999999").millionths();
        assert!(2000 * largest + largest < 1 << 53);
    }

    proptest! {
        #[test]
        fn a_decimal_reads_back_from_its_text(millionths in -999_999_999_999_i64..=999_999_999_999) {
            let decimal = Decimal::from_millionths(millionths).unwrap();
            prop_assert_eq!(read(&decimal.to_string()), decimal);
        }

        #[test]
        fn a_float_means_its_shortest_text(hundredths in 0u32..20_000) {
            let value = f64::from(hundredths) / 100.0;
            prop_assert_eq!(Decimal::from_f64(value).unwrap().millionths(), i64::from(hundredths) * 10_000);
        }

        #[test]
        fn doubles_that_hold_whole_numbers_find_the_same_index(r in 0u64..1_000_000_000_000, m in 1u64..1_000_000_000_000) {
            let by_doubles = ((2000.0 * r as f64 + m as f64) / (2.0 * m as f64)).floor() as u64;
            let decimal = |x: u64| Decimal::from_millionths(x as i64).unwrap();
            prop_assert_eq!(index_thousandths(decimal(r), decimal(m)), Some(by_doubles));
        }

        #[test]
        fn any_text_and_any_float_is_a_number_or_an_error(text in ".*", value in any::<f64>()) {
            let _ = text.parse::<Decimal>();
            let _ = Decimal::from_f64(value);
        }
    }
}
