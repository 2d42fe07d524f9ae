//! Units and numbers in the words of figures and reports: results in the programme's units, shown in those asked for.

use super::style::DecimalMark;
use crate::economics::price_ratio_unit;
use crate::trial::{Programme, ResultUnits};
use crate::units::{AreaUnit, BushelUnknown, NRateUnit, Unit as _, YieldUnit};

/// The units that results are shown in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// Those of the programme.
    #[default]
    Programme,
    /// Those of the programme where they are over an acre; else lb/ac of N, and bu/ac of yield or lb/ac where the crop has no
    /// bushel weight.
    UnitedStates,
    /// Those of the programme where they are over a hectare; else kg/ha of N, and Mg/ha of yield.
    International,
}

impl UnitSystem {
    fn shown(self, units: &ResultUnits, pounds_per_bushel: Option<f64>) -> (NRateUnit, YieldUnit) {
        let ResultUnits { n_rate, yields, .. } = *units;
        match self {
            UnitSystem::Programme => (n_rate, yields),
            UnitSystem::UnitedStates => {
                let sold =
                    if pounds_per_bushel.is_some() { YieldUnit::BushelsPerAcre } else { YieldUnit::PoundsPerAcre };
                (NRateUnit::PoundsPerAcre, if yields.is_per_acre() { yields } else { sold })
            }
            UnitSystem::International => {
                let yields = if yields.is_per_acre() { YieldUnit::MegagramsPerHectare } else { yields };
                (NRateUnit::KilogramsPerHectare, yields)
            }
        }
    }
}

/// How a unit over another is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitForm {
    /// kg/ha
    #[default]
    Slash,
    /// kg ha⁻¹
    Exponent,
}

impl UnitForm {
    /// A unit as typed, such as `kg/ha`, in this form; its parts stay on one line.
    #[must_use]
    pub fn unit(self, typed: &str) -> String {
        match (self, typed.split_once('/')) {
            (UnitForm::Exponent, Some((of, over))) => format!("{of} {over}\u{207b}\u{b9}").replace(' ', "\u{a0}"),
            _ => typed.replace(' ', "\u{a0}"),
        }
    }
}

/// What is asked of the words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WordingOptions {
    /// Units.
    pub units: UnitSystem,
    /// Their form.
    pub unit_form: UnitForm,
    /// Decimal mark.
    pub decimal_mark: DecimalMark,
}

/// Brings results from a programme's units to those they are shown in, and writes them. Where these are the same the
/// numbers are.
#[derive(Debug, Clone, PartialEq)]
pub struct Wording {
    options: WordingOptions,
    rate: Shown,
    yields: Shown,
    price_ratio: Shown,
    /// Of what is counted over the area of yields; the unit is that area.
    over_area: Shown,
    /// The programme's unit of yields, as typed.
    typed_yields: &'static str,
}

/// A unit, and how many of it are one of the programme's.
#[derive(Debug, Clone, PartialEq)]
struct Shown {
    factor: f64,
    unit: String,
    /// Decimals of a number in running text.
    decimals: usize,
}

impl Wording {
    /// The wording of a programme's results.
    ///
    /// # Errors
    /// [`BushelUnknown`] where yields go from bushels of a crop without a bushel weight to another unit.
    pub fn new(programme: &Programme, options: WordingOptions) -> Result<Self, BushelUnknown> {
        let (units, bushel) = (programme.units, programme.crop.pounds_per_bushel);
        let (n_rate, yields) = options.units.shown(&units, bushel);
        // What one of `from` is in `to`: exactly 1 where they are the same.
        let yield_factor = |from: YieldUnit, to: YieldUnit| {
            let each = |unit: YieldUnit| unit.kilograms_per_hectare(bushel);
            if from == to { Ok(1.0) } else { Ok(each(from)? / each(to)?) }
        };
        let rate_factor = units.n_rate.kilograms_per_hectare() / n_rate.kilograms_per_hectare();
        // Common practice: a price ratio of megagrams a kilogram is given as kilograms a kilogram.
        let priced = if yields == units.yields { yields } else { counted_in_kilograms(yields) };
        let area = |unit: YieldUnit| if unit.is_per_acre() { AreaUnit::Acre } else { AreaUnit::Hectare };
        let form = options.unit_form;
        Ok(Self {
            options,
            rate: Shown { factor: rate_factor, unit: form.unit(n_rate.symbol()), decimals: 0 },
            yields: Shown {
                factor: yield_factor(units.yields, yields)?,
                unit: form.unit(yields.symbol()),
                decimals: yield_decimals(yields),
            },
            price_ratio: Shown {
                factor: yield_factor(units.yields, priced)? / rate_factor,
                unit: price_ratio_unit(&ResultUnits { n_rate, yields: priced, ..units }),
                decimals: 4,
            },
            over_area: Shown {
                factor: area(yields).hectares() / area(units.yields).hectares(),
                unit: yields.area_symbol().to_owned(),
                decimals: 2,
            },
            typed_yields: units.yields.symbol(),
        })
    }

    /// An N rate of the programme, as shown.
    #[must_use]
    pub fn rate(&self, rate: f64) -> f64 {
        rate * self.rate.factor
    }

    /// The unit of N rates.
    #[must_use]
    pub fn rate_unit(&self) -> &str {
        &self.rate.unit
    }

    /// A yield of the programme, as shown.
    #[must_use]
    pub fn yields(&self, yields: f64) -> f64 {
        yields * self.yields.factor
    }

    /// The unit of yields.
    #[must_use]
    pub fn yield_unit(&self) -> &str {
        &self.yields.unit
    }

    /// A price ratio of the programme, as shown.
    #[must_use]
    pub fn price_ratio(&self, price_ratio: f64) -> f64 {
        price_ratio * self.price_ratio.factor
    }

    /// The unit of price ratios, as in *bu per lb N*.
    #[must_use]
    pub fn price_ratio_unit(&self) -> &str {
        &self.price_ratio.unit
    }

    /// A return of the programme, as shown with its unit: money over an area goes to the area of the shown yields; a return in the
    /// programme's unit of yields is an amount of yield.
    #[must_use]
    pub fn returns(&self, value: f64, unit: &str) -> (f64, String) {
        match unit.split_once('/') {
            Some((money, _)) if unit != self.typed_yields => {
                let shown = format!("{money}/{}", self.over_area.unit);
                (value * self.over_area.factor, self.options.unit_form.unit(&shown))
            }
            _ => (self.yields(value), self.yield_unit().to_owned()),
        }
    }

    /// A number with so many decimals.
    #[must_use]
    pub fn number(&self, value: f64, decimals: usize) -> String {
        self.options.decimal_mark.number(value, decimals)
    }

    /// Decimals of a shown yield that plots are told apart by.
    #[must_use]
    pub fn yield_decimals(&self) -> usize {
        self.yields.decimals
    }

    /// A shown yield with its unit, to as many decimals as plots are told apart by.
    #[must_use]
    pub fn yield_text(&self, shown: f64) -> String {
        format!("{} {}", self.number(shown, self.yield_decimals()), self.yields.unit)
    }

    /// An N rate of the programme that is given as text, as shown, to three digits; any other text as it is.
    #[must_use]
    pub fn rate_of_text(&self, text: &str) -> String {
        text.parse().map_or_else(|_| text.to_owned(), |rate| self.significant(self.rate(rate), 3))
    }

    /// A number with so many significant digits, without zeros at its end.
    #[must_use]
    pub fn significant(&self, value: f64, digits: u8) -> String {
        let size = if value == 0.0 { 0.0 } else { value.abs().log10().floor() };
        let decimals = (f64::from(digits) - 1.0 - size).clamp(0.0, 12.0) as usize;
        let text = self.number(value, decimals);
        if decimals == 0 { text } else { text.trim_end_matches('0').trim_end_matches(['.', ',']).to_owned() }
    }

    /// What was asked.
    #[must_use]
    pub fn options(&self) -> WordingOptions {
        self.options
    }
}

/// Decimals that tell plots apart: yields in tons are small numbers.
fn yield_decimals(yields: YieldUnit) -> usize {
    match yields {
        YieldUnit::MegagramsPerHectare | YieldUnit::ShortTonsPerAcre => 2,
        YieldUnit::BushelsPerAcre => 1,
        YieldUnit::KilogramsPerHectare | YieldUnit::PoundsPerAcre => 0,
    }
}

/// The same yield in the smaller unit that price ratios are given in.
fn counted_in_kilograms(yields: YieldUnit) -> YieldUnit {
    if yields == YieldUnit::MegagramsPerHectare { YieldUnit::KilogramsPerHectare } else { yields }
}

#[cfg(test)]
mod tests {
    use super::{UnitForm, UnitSystem, Wording, WordingOptions};
    use crate::files::load_programme;
    use crate::trial::Programme;
    use crate::units::YieldUnit;
    use approx::assert_relative_eq;
    use std::path::Path;

    fn demo() -> Programme {
        load_programme(&Path::new(env!("CARGO_MANIFEST_DIR")).join("trials")).unwrap().value
    }

    #[test]
    fn the_programmes_own_units_change_no_number() {
        let programme = demo();
        let own = Wording::new(&programme, WordingOptions::default()).unwrap();
        for value in [0.1, 1.0 / 3.0, 118.7] {
            assert_eq!([own.rate(value), own.yields(value), own.price_ratio(value)], [value; 3]);
            assert_eq!(own.returns(value, "USD/ac"), (value, "USD/ac".to_owned()));
            assert_eq!(own.returns(value, "bu/ac"), (value, "bu/ac".to_owned()));
        }
        assert_eq!((own.rate_unit(), own.yield_unit(), own.price_ratio_unit()), ("lb/ac", "bu/ac", "bu per lb N"));
    }

    #[test]
    fn international_units_follow_from_the_pound_the_acre_and_the_bushel() {
        let options = WordingOptions {
            units: UnitSystem::International,
            unit_form: UnitForm::Exponent,
            ..WordingOptions::default()
        };
        let shown = Wording::new(&demo(), options).unwrap();
        // NIST SP 811: 1 lb/acre is 1.120 851 kg/ha; a bushel of wheat is 60 lb, so 1 bu/ac is 67.251 07 kg/ha.
        assert_relative_eq!(shown.rate(100.0), 112.0851, max_relative = 1e-6);
        assert_relative_eq!(shown.yields(60.0), 4.035_064, max_relative = 1e-6);
        // 60 lb of grain a bushel: 0.1 bu of grain a pound of N is 6 kg a kilogram.
        assert_relative_eq!(shown.price_ratio(0.1), 6.0, max_relative = 1e-12);
        // One acre is 0.404 685 64 ha.
        let (money, unit) = shown.returns(40.0, "USD/ac");
        assert_relative_eq!(money, 40.0 / 0.404_685_642_24, max_relative = 1e-12);
        assert_eq!(unit, "USD\u{a0}ha\u{207b}\u{b9}");
        assert_eq!(shown.rate_unit(), "kg\u{a0}ha\u{207b}\u{b9}");
        assert_eq!((shown.yield_unit(), shown.price_ratio_unit()), ("Mg\u{a0}ha\u{207b}\u{b9}", "kg per kg N"));
        // A net return at a price ratio is the same amount in either units.
        let (yields, rate, ratio) = (71.3, 88.0, 0.13);
        let net = shown.yields(yields) * 1_000.0 - shown.price_ratio(ratio) * shown.rate(rate);
        assert_relative_eq!(net, shown.yields(yields - ratio * rate) * 1_000.0, max_relative = 1e-12);
    }

    #[test]
    fn bushels_of_a_crop_without_a_bushel_weight_are_not_converted() {
        let mut programme = demo();
        programme.crop.pounds_per_bushel = None;
        let of = |programme: &Programme, units| {
            Wording::new(programme, WordingOptions { units, ..WordingOptions::default() })
        };
        assert!(of(&programme, UnitSystem::International).is_err());
        assert!(of(&programme, UnitSystem::UnitedStates).is_ok());
        programme.units.yields = YieldUnit::MegagramsPerHectare;
        assert_eq!(of(&programme, UnitSystem::UnitedStates).unwrap().yield_unit(), "lb/ac");
    }
}
