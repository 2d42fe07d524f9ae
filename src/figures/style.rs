//! The decimal mark.

/// What stands between a number's whole part and its decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DecimalMark {
    /// 0.95
    #[default]
    Point,
    /// 0,95
    Comma,
}

impl DecimalMark {
    /// A number with so many decimals, with a true minus sign and none before zero.
    #[must_use]
    pub fn number(self, value: f64, decimals: usize) -> String {
        let text = format!("{:.decimals$}", value.abs());
        let is_zero = !text.chars().any(|c| c.is_ascii_digit() && c != '0');
        let text = match self {
            DecimalMark::Point => text,
            DecimalMark::Comma => text.replace('.', ","),
        };
        if value < 0.0 && !is_zero { format!("\u{2212}{text}") } else { text }
    }
}
