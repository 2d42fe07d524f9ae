//! How figures and reports are to look: flags that both take.

use clap::{Args, ValueEnum};

use super::failure::Failure;
use super::source::bushel_unknown;
use crate::figures::{Colours, DecimalMark, Style, UnitForm, UnitSystem, Width, Wording, WordingOptions};
use crate::trial::Programme;

/// Units and numbers.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Units and numbers")]
pub(super) struct WordingFlags {
    /// Units of rates, yields, price ratios and returns
    #[arg(long, value_enum, default_value = "programme")]
    units: UnitsFlag,
    /// How a unit over another is written
    #[arg(long, value_enum, default_value = "slash")]
    unit_form: UnitFormFlag,
    /// What stands before the decimals
    #[arg(long, value_enum, default_value = "point")]
    decimal_mark: DecimalMarkFlag,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum UnitsFlag {
    /// Those of the programme
    Programme,
    /// lb/ac of N, bu/ac of yield
    Us,
    /// kg/ha of N, Mg/ha of yield
    Si,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum UnitFormFlag {
    /// kg/ha
    Slash,
    /// kg ha⁻¹
    Exponent,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum DecimalMarkFlag {
    /// 0.95
    Point,
    /// 0,95
    Comma,
}

impl WordingFlags {
    /// The wording of a programme's results.
    ///
    /// # Errors
    /// Yields that go from or to bushels of a crop without a bushel weight.
    pub(super) fn wording(self, programme: &Programme) -> Result<Wording, Failure> {
        let options = WordingOptions {
            units: match self.units {
                UnitsFlag::Programme => UnitSystem::Programme,
                UnitsFlag::Us => UnitSystem::UnitedStates,
                UnitsFlag::Si => UnitSystem::International,
            },
            unit_form: match self.unit_form {
                UnitFormFlag::Slash => UnitForm::Slash,
                UnitFormFlag::Exponent => UnitForm::Exponent,
            },
            decimal_mark: match self.decimal_mark {
                DecimalMarkFlag::Point => DecimalMark::Point,
                DecimalMarkFlag::Comma => DecimalMark::Comma,
            },
        };
        Ok(Wording::new(programme, options).map_err(|error| bushel_unknown(&error, &programme.crop.name))?)
    }
}

/// Size and colours.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Paper")]
pub(super) struct StyleFlags {
    /// Width in print: single (85 mm), one-and-a-half (130 mm), double (175 mm), slide (254 mm, large type), or millimetres from
    /// 70 to 300 [default: the one that each figure is made for]
    #[arg(long, value_parser = width, allow_negative_numbers = true)]
    width: Option<Width>,
    /// Dots per inch of the PNG, 72 to 1200
    #[arg(long, value_name = "NUMBER", default_value_t = 300, value_parser = clap::value_parser!(u32).range(72..=1200))]
    dpi: u32,
    /// Grey instead of colours
    #[arg(long)]
    grey: bool,
    /// A title above each figure, which journals do not want
    #[arg(long)]
    titles: bool,
}

impl StyleFlags {
    /// The style, and the width asked for.
    pub(super) fn style(self, wording: &Wording) -> (Option<Width>, Style) {
        let style = Style {
            dots_per_inch: self.dpi,
            colours: if self.grey { Colours::Grey } else { Colours::Palette },
            decimal_mark: wording.options().decimal_mark,
            with_title: self.titles,
            ..Style::default()
        };
        (self.width, style)
    }
}

fn width(text: &str) -> Result<Width, String> {
    Ok(match text {
        "single" => Width::SingleColumn,
        "one-and-a-half" => Width::OneAndAHalfColumns,
        "double" => Width::DoubleColumn,
        "slide" => Width::Slide,
        _ => {
            let number = text.strip_suffix("mm").unwrap_or(text).trim().parse::<f64>().ok();
            let width = number.map(Width::Millimetres).filter(|width| width.is_taken());
            width.ok_or("single, one-and-a-half, double, slide, or a number of millimetres from 70 to 300")?
        }
    })
}
