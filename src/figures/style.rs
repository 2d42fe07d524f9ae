//! How a figure is put on paper: size, resolution, colours, and how numbers and units are written.

use super::FigureError;

/// Width of a figure in print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Width {
    /// One column of a journal page, 85 mm.
    SingleColumn,
    /// One and a half columns, 130 mm.
    OneAndAHalfColumns,
    /// The whole text width of a journal page, 175 mm.
    DoubleColumn,
    /// The text area of a slide, 254 mm, with type of twice the size.
    Slide,
    /// A width in millimetres, 70 to 300.
    Millimetres(f64),
}

/// How much larger a slide's type is than that of print.
const SLIDE: f64 = 2.0;
/// Narrowest and widest figure, mm.
const WIDTHS: [f64; 2] = [70.0, 300.0];

impl Width {
    /// The width in millimetres.
    #[must_use]
    pub fn millimetres(self) -> f64 {
        match self {
            Width::SingleColumn => 85.0,
            Width::OneAndAHalfColumns => 130.0,
            Width::DoubleColumn => 175.0,
            Width::Slide => 254.0,
            Width::Millimetres(width) => width,
        }
    }

    /// How much larger than in print everything is.
    pub(super) fn magnification(self) -> f64 {
        if self == Width::Slide { SLIDE } else { 1.0 }
    }

    /// Whether figures can be as wide.
    #[must_use]
    pub fn is_taken(self) -> bool {
        (WIDTHS[0]..=WIDTHS[1]).contains(&self.millimetres())
    }

    pub(super) fn check(self) -> Result<(), FigureError> {
        if self.is_taken() { Ok(()) } else { Err(FigureError::Width(self.millimetres().to_string())) }
    }
}

/// Colours of a figure. Shapes and line patterns carry the meaning in both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Colours {
    /// The palette.
    #[default]
    Palette,
    /// Greys as light as the palette's colours.
    Grey,
}

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

/// How a figure is put on paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Width in print.
    pub width: Width,
    /// Pixels per inch of the PNG, 72 to 1200.
    pub dots_per_inch: u32,
    /// Whether there is a PNG at all: it takes most of the time.
    pub with_png: bool,
    /// Colours.
    pub colours: Colours,
    /// The decimal mark of axes; words are written by whoever describes the figure.
    pub decimal_mark: DecimalMark,
    /// Whether the title stands above the figure: journals want none.
    pub with_title: bool,
}

impl Default for Style {
    /// A single column with a PNG of 300 dots per inch, in colour, without a title.
    fn default() -> Self {
        Style {
            width: Width::SingleColumn,
            dots_per_inch: 300,
            with_png: true,
            colours: Colours::Palette,
            decimal_mark: DecimalMark::Point,
            with_title: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::DecimalMark;

    #[test]
    fn numbers_take_the_mark_and_a_minus_only_below_zero() {
        assert_eq!(DecimalMark::Point.number(-3.25, 1), "\u{2212}3.2");
        assert_eq!(DecimalMark::Comma.number(1234.5, 2), "1234,50");
        assert_eq!(DecimalMark::Point.number(-0.004, 2), "0.00");
        assert_eq!(DecimalMark::Comma.number(-12.0, 0), "\u{2212}12");
    }
}
