//! Quantities as typed, with their declared unit.
//!
//! A quantity keeps the value and unit it was typed in and is converted once, where a result is brought to the programme's
//! units; asked for in the unit it already has, it returns the very number that was typed.
//!
//! Sources: 1 lb = 0.45359237 kg and 1 ft = 0.3048 m exactly (NIST SP 811); the international acre is 43 560 ft².

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Kilograms in a pound (NIST SP 811, exact).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// Square metres in an international acre (NIST SP 811, exact).
pub const SQUARE_METRES_PER_ACRE: f64 = 4_046.856_422_4;
const SQUARE_METRES_PER_HECTARE: f64 = 10_000.0;
const POUNDS_PER_SHORT_TON: f64 = 2_000.0;
const METRES_PER_FOOT: f64 = 0.3048;
/// Cubic metres in a US bushel: 2 150.42 in³ exactly (NIST SP 811).
const CUBIC_METRES_PER_BUSHEL: f64 = 2_150.42 * 0.0254 * 0.0254 * 0.0254;
const CUBIC_METRES_PER_HECTOLITRE: f64 = 0.1;

/// A unit with the one text it is written as.
pub trait Unit: Copy + PartialEq + fmt::Debug + Sized + 'static {
    /// Every unit of this kind.
    const ALL: &'static [Self];

    /// The text a unit is written and typed as.
    fn symbol(self) -> &'static str;

    /// The unit typed as `text`, if there is one.
    fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|unit| unit.symbol() == text.trim())
    }

    /// What may be typed, for a message.
    fn choices() -> String {
        Self::ALL.iter().map(|unit| unit.symbol()).collect::<Vec<_>>().join(", ")
    }
}

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $symbol:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
        pub enum $name { $($(#[$variant_doc])* #[serde(rename = $symbol)] $variant),+ }

        impl Unit for $name {
            const ALL: &'static [Self] = &[$(Self::$variant),+];
            fn symbol(self) -> &'static str {
                match self { $(Self::$variant => $symbol),+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str(self.symbol())
            }
        }
    };
}

unit! {
    /// Mass of N over an area.
    NRateUnit {
        /// Pounds an acre.
        PoundsPerAcre = "lb/ac",
        /// Kilograms a hectare.
        KilogramsPerHectare = "kg/ha",
    }
}

unit! {
    /// Mass or volume of harvested product over an area.
    YieldUnit {
        /// Bushels an acre, by the crop's legal bushel weight.
        BushelsPerAcre = "bu/ac",
        /// Kilograms a hectare.
        KilogramsPerHectare = "kg/ha",
        /// Megagrams (metric tons) a hectare.
        MegagramsPerHectare = "Mg/ha",
        /// Pounds an acre.
        PoundsPerAcre = "lb/ac",
        /// Short tons (2 000 lb) an acre.
        ShortTonsPerAcre = "short ton/ac",
    }
}

unit! {
    /// Mass, as weighed or as priced.
    MassUnit {
        /// Pounds.
        Pound = "lb",
        /// Kilograms.
        Kilogram = "kg",
        /// Grams.
        Gram = "g",
        /// Short tons of 2 000 lb.
        ShortTon = "short ton",
        /// Megagrams (metric tons).
        Megagram = "Mg",
        /// Bushels, by the crop's legal bushel weight.
        Bushel = "bu",
    }
}

unit! {
    /// A field's area, as work on it is priced.
    AreaUnit {
        /// International acres.
        Acre = "ac",
        /// Hectares.
        Hectare = "ha",
    }
}

unit! {
    /// A length: a harvested plot's side, the distance between rows, the depth of a soil sample.
    LengthUnit {
        /// Feet.
        Foot = "ft",
        /// Inches.
        Inch = "in",
        /// Metres.
        Metre = "m",
        /// Centimetres.
        Centimetre = "cm",
    }
}

unit! {
    /// Plants or tillers counted over an area or along a row.
    CountUnit {
        /// A square foot.
        PerSquareFoot = "per ft2",
        /// A square metre.
        PerSquareMetre = "per m2",
        /// A foot of row.
        PerFootOfRow = "per ft of row",
        /// A metre of row.
        PerMetreOfRow = "per m of row",
    }
}

unit! {
    /// Weight of a volume of grain.
    TestWeightUnit {
        /// Pounds a bushel (of 2 150.42 in³).
        PoundsPerBushel = "lb/bu",
        /// Kilograms a hectolitre.
        KilogramsPerHectolitre = "kg/hL",
    }
}

/// A unit that cannot be converted without the weight of a bushel of the crop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the weight of a bushel of this crop is not known")]
pub struct BushelUnknown;

impl NRateUnit {
    /// Kilograms a hectare in one unit.
    #[must_use]
    pub fn kilograms_per_hectare(self) -> f64 {
        match self {
            Self::PoundsPerAcre => KILOGRAMS_PER_POUND * SQUARE_METRES_PER_HECTARE / SQUARE_METRES_PER_ACRE,
            Self::KilogramsPerHectare => 1.0,
        }
    }

    /// The mass part of the unit, for a price ratio's unit.
    #[must_use]
    pub fn mass_symbol(self) -> &'static str {
        match self {
            Self::PoundsPerAcre => "lb",
            Self::KilogramsPerHectare => "kg",
        }
    }

    /// Whether the area is the acre.
    #[must_use]
    pub fn is_per_acre(self) -> bool {
        self == Self::PoundsPerAcre
    }
}

impl YieldUnit {
    /// Kilograms a hectare in one unit.
    ///
    /// # Errors
    /// [`BushelUnknown`] for bushels of a crop without a bushel weight.
    pub fn kilograms_per_hectare(self, pounds_per_bushel: Option<f64>) -> Result<f64, BushelUnknown> {
        let per_acre = SQUARE_METRES_PER_HECTARE / SQUARE_METRES_PER_ACRE;
        Ok(match self {
            Self::BushelsPerAcre => pounds_per_bushel.ok_or(BushelUnknown)? * KILOGRAMS_PER_POUND * per_acre,
            Self::KilogramsPerHectare => 1.0,
            Self::MegagramsPerHectare => 1_000.0,
            Self::PoundsPerAcre => KILOGRAMS_PER_POUND * per_acre,
            Self::ShortTonsPerAcre => POUNDS_PER_SHORT_TON * KILOGRAMS_PER_POUND * per_acre,
        })
    }

    /// The mass part of the unit, for a price ratio's unit.
    #[must_use]
    pub fn mass_symbol(self) -> &'static str {
        match self {
            Self::BushelsPerAcre => "bu",
            Self::KilogramsPerHectare => "kg",
            Self::MegagramsPerHectare => "Mg",
            Self::PoundsPerAcre => "lb",
            Self::ShortTonsPerAcre => "short ton",
        }
    }

    /// The area a yield is counted on, as in *40 USD/ac*.
    #[must_use]
    pub fn area_symbol(self) -> &'static str {
        if self.is_per_acre() { "ac" } else { "ha" }
    }

    /// Whether the area is the acre.
    #[must_use]
    pub fn is_per_acre(self) -> bool {
        matches!(self, Self::BushelsPerAcre | Self::PoundsPerAcre | Self::ShortTonsPerAcre)
    }
}

impl MassUnit {
    /// Kilograms in one unit.
    ///
    /// # Errors
    /// [`BushelUnknown`] for bushels of a crop without a bushel weight.
    pub fn kilograms(self, pounds_per_bushel: Option<f64>) -> Result<f64, BushelUnknown> {
        Ok(match self {
            Self::Pound => KILOGRAMS_PER_POUND,
            Self::Kilogram => 1.0,
            Self::Gram => 0.001,
            Self::ShortTon => POUNDS_PER_SHORT_TON * KILOGRAMS_PER_POUND,
            Self::Megagram => 1_000.0,
            Self::Bushel => pounds_per_bushel.ok_or(BushelUnknown)? * KILOGRAMS_PER_POUND,
        })
    }
}

impl AreaUnit {
    /// Hectares in one unit.
    #[must_use]
    pub fn hectares(self) -> f64 {
        match self {
            Self::Acre => SQUARE_METRES_PER_ACRE / SQUARE_METRES_PER_HECTARE,
            Self::Hectare => 1.0,
        }
    }
}

impl LengthUnit {
    /// Metres in one unit.
    #[must_use]
    pub fn metres(self) -> f64 {
        match self {
            Self::Foot => METRES_PER_FOOT,
            Self::Inch => METRES_PER_FOOT / 12.0,
            Self::Metre => 1.0,
            Self::Centimetre => 0.01,
        }
    }
}

/// Plants or tillers over an area, from a count as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Density {
    per_square_metre: f64,
}

impl Density {
    /// `count` in `unit`; `None` for a count along a row whose distance to the next, `row_spacing_metres`, is not known.
    #[must_use]
    pub fn new(count: f64, unit: CountUnit, row_spacing_metres: Option<f64>) -> Option<Self> {
        let per_square_metre = match unit {
            CountUnit::PerSquareMetre => count,
            CountUnit::PerSquareFoot => count / (METRES_PER_FOOT * METRES_PER_FOOT),
            CountUnit::PerMetreOfRow => count / row_spacing_metres?,
            CountUnit::PerFootOfRow => count / METRES_PER_FOOT / row_spacing_metres?,
        };
        Some(Self { per_square_metre })
    }

    /// Plants or tillers a square metre.
    #[must_use]
    pub fn per_square_metre(self) -> f64 {
        self.per_square_metre
    }

    /// Plants or tillers a square foot.
    #[must_use]
    pub fn per_square_foot(self) -> f64 {
        self.per_square_metre * METRES_PER_FOOT * METRES_PER_FOOT
    }
}

/// Weight of a volume of grain, as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestWeight {
    value: f64,
    unit: TestWeightUnit,
}

impl TestWeight {
    /// A test weight of `value` in `unit`.
    #[must_use]
    pub fn new(value: f64, unit: TestWeightUnit) -> Self {
        Self { value, unit }
    }

    /// The number as typed.
    #[must_use]
    pub fn typed(self) -> f64 {
        self.value
    }

    /// The number in `unit`: as typed where that is its own unit.
    #[must_use]
    pub fn in_unit(self, unit: TestWeightUnit) -> f64 {
        if unit == self.unit {
            self.value
        } else {
            self.value * self.unit.kilograms_per_cubic_metre() / unit.kilograms_per_cubic_metre()
        }
    }
}

impl TestWeightUnit {
    fn kilograms_per_cubic_metre(self) -> f64 {
        match self {
            Self::PoundsPerBushel => KILOGRAMS_PER_POUND / CUBIC_METRES_PER_BUSHEL,
            Self::KilogramsPerHectolitre => 1.0 / CUBIC_METRES_PER_HECTOLITRE,
        }
    }
}

/// N applied to an area, as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NRate {
    value: f64,
    unit: NRateUnit,
}

impl NRate {
    /// A rate of `value` in `unit`.
    #[must_use]
    pub fn new(value: f64, unit: NRateUnit) -> Self {
        Self { value, unit }
    }

    /// The number in `unit`: as typed where that is its own unit.
    #[must_use]
    pub fn in_unit(self, unit: NRateUnit) -> f64 {
        if unit == self.unit {
            self.value
        } else {
            self.value * self.unit.kilograms_per_hectare() / unit.kilograms_per_hectare()
        }
    }
}

/// Harvested product over an area, as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Yield {
    value: f64,
    unit: YieldUnit,
}

impl Yield {
    /// A yield of `value` in `unit`.
    #[must_use]
    pub fn new(value: f64, unit: YieldUnit) -> Self {
        Self { value, unit }
    }

    /// The number as typed.
    #[must_use]
    pub fn typed(self) -> f64 {
        self.value
    }

    /// The unit it was typed in.
    #[must_use]
    pub fn unit(self) -> YieldUnit {
        self.unit
    }

    /// The number in `unit`: as typed where that is its own unit.
    ///
    /// # Errors
    /// [`BushelUnknown`] where bushels are converted for a crop without a bushel weight.
    pub fn in_unit(self, unit: YieldUnit, pounds_per_bushel: Option<f64>) -> Result<f64, BushelUnknown> {
        if unit == self.unit {
            return Ok(self.value);
        }
        let from = self.unit.kilograms_per_hectare(pounds_per_bushel)?;
        Ok(self.value * from / unit.kilograms_per_hectare(pounds_per_bushel)?)
    }
}

/// Water in a harvested product, per cent of its weight as it stands.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct MoisturePercent(f64);

impl MoisturePercent {
    /// A moisture from 0 to below 100 %; `None` for anything else.
    #[must_use]
    pub fn new(percent: f64) -> Option<Self> {
        (0.0..100.0).contains(&percent).then_some(Self(percent))
    }

    /// Per cent of the weight as it stands.
    #[must_use]
    pub fn percent(self) -> f64 {
        self.0
    }

    /// Per cent of dry matter, above 0.
    #[must_use]
    pub fn dry_matter_percent(self) -> f64 {
        100.0 - self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// The references are printed to ten or eight significant digits.
    const PRINTED: f64 = 1e-8;

    #[test]
    fn pounds_an_acre_become_kilograms_a_hectare_as_nist_sp_811_has_it() {
        assert_relative_eq!(NRateUnit::PoundsPerAcre.kilograms_per_hectare(), 1.120_851_156_2, max_relative = 1e-10);
    }

    #[test]
    fn bushels_an_acre_follow_the_legal_bushel_weights() {
        // Computed from the legal bushel weights (USDA Agricultural Handbook 697, 1992) with NumPy.
        for (pounds, kilograms) in [(60.0, 67.251_069), (56.0, 62.767_665), (48.0, 53.800_855), (32.0, 35.867_237)] {
            let found = YieldUnit::BushelsPerAcre.kilograms_per_hectare(Some(pounds)).unwrap();
            assert_relative_eq!(found, kilograms, max_relative = PRINTED);
        }
    }

    #[test]
    fn a_quantity_in_its_own_unit_is_the_number_that_was_typed() {
        assert_eq!(NRate::new(120.1, NRateUnit::PoundsPerAcre).in_unit(NRateUnit::PoundsPerAcre), 120.1);
        assert_eq!(Yield::new(72.3, YieldUnit::BushelsPerAcre).in_unit(YieldUnit::BushelsPerAcre, None), Ok(72.3));
    }

    #[test]
    fn bushels_of_a_crop_without_a_bushel_weight_are_not_converted() {
        let cane = Yield::new(60.0, YieldUnit::ShortTonsPerAcre);
        assert_eq!(cane.in_unit(YieldUnit::BushelsPerAcre, None), Err(BushelUnknown));
    }

    #[test]
    fn tillers_along_a_row_become_tillers_over_an_area() {
        // Computed with NumPy: 44 a foot of row at 7.5 inches are 70.4 a square foot; 50 a square foot are 538.2 a square metre.
        let spacing = 7.5 * LengthUnit::Inch.metres();
        let along = Density::new(44.0, CountUnit::PerFootOfRow, Some(spacing)).unwrap();
        assert_relative_eq!(along.per_square_foot(), 70.4, max_relative = 1e-12);
        let over = Density::new(50.0, CountUnit::PerSquareFoot, None).unwrap();
        assert_relative_eq!(over.per_square_metre(), 538.195_520_8, max_relative = 1e-9);
        assert_eq!(Density::new(44.0, CountUnit::PerMetreOfRow, None), None);
    }

    #[test]
    fn a_test_weight_becomes_kilograms_a_hectolitre() {
        // From the bushel of 2 150.42 in³ and the pound of NIST SP 811, computed with Python: 60 lb/bu is 77.231159 kg/hL.
        let found =
            TestWeight::new(60.0, TestWeightUnit::PoundsPerBushel).in_unit(TestWeightUnit::KilogramsPerHectolitre);
        assert_relative_eq!(found, 77.231_158_685_8, max_relative = 1e-12);
    }
}
