//! The keys of `trial.toml` that tell what a trial knows beside its N rates, readings and yields: the site-year's background, factors,
//! the main plot, counts, test weight.

use jiff::civil::Date;

use super::descriptor::{Item, Section, Typed};
use super::values::unit;
use crate::units::{CountUnit, LengthUnit, NRateUnit, TestWeightUnit, Unit};

/// The keys of the root that [`background`] reads are among its own; these are the keys within them.
const AMOUNT: &[&str] = &["n", "unit"];
const SOIL_NITRATE: &[&str] = &["n", "unit", "depth", "depth_unit"];
const COUNT: &[&str] = &["column", "unit", "row_spacing", "row_spacing_unit"];
const TEST_WEIGHT: &[&str] = &["column", "unit"];

/// What is known of the site-year beside its plots.
#[derive(Default)]
pub(super) struct BackgroundSection {
    pub(super) planting_date: Option<Typed<Date>>,
    pub(super) preceding_crop: Option<String>,
    pub(super) manure_credit: Option<Amount>,
    /// The amount, and the depth in metres.
    pub(super) spring_soil_nitrate: Option<(Amount, f64)>,
    pub(super) weather_notes: Option<String>,
}

/// N over an area; without a unit, in the programme's.
pub(super) struct Amount {
    pub(super) n: f64,
    pub(super) unit: Option<NRateUnit>,
}

/// A column of plants or tillers counted.
pub(super) struct CountSection {
    pub(super) column: Typed<String>,
    pub(super) unit: CountUnit,
    /// For counts along a row.
    pub(super) row_spacing_metres: Option<f64>,
}

/// A column of test weights.
pub(super) struct TestWeightSection {
    pub(super) column: Typed<String>,
    pub(super) unit: TestWeightUnit,
}

pub(super) fn background(root: &Section) -> BackgroundSection {
    let text = |key| root.get(key).and_then(|item: Item| item.text()).map(|text| text.value.trim().to_owned());
    BackgroundSection {
        planting_date: root.get("planting_date").and_then(|item| item.date()),
        preceding_crop: text("preceding_crop"),
        manure_credit: root
            .get("manure_credit")
            .and_then(|item| item.section(AMOUNT))
            .and_then(|section| amount(&section)),
        spring_soil_nitrate: root
            .get("spring_soil_nitrate")
            .and_then(|item| item.section(SOIL_NITRATE))
            .and_then(|section| soil_nitrate(&section)),
        weather_notes: text("weather_notes"),
    }
}

/// The factors beside N and variety: the headers of their columns.
pub(super) fn factors(root: &Section) -> Vec<Typed<String>> {
    let names = root.get("factors").and_then(|item| item.labels()).unwrap_or_default();
    names
        .into_iter()
        .map(|name| {
            let trimmed = name.value.trim().to_owned();
            name.map(|_| trimmed)
        })
        .collect()
}

fn amount(section: &Section) -> Option<Amount> {
    let n = section.required("n").and_then(|item| item.number_within("of 0 or more", |n| n >= 0.0));
    let unit = section.get("unit").map(|item| unit(&item));
    let unit = match unit {
        Some(unit) => Some(unit?.value),
        None => None,
    };
    Some(Amount { n: n?.value, unit })
}

fn soil_nitrate(section: &Section) -> Option<(Amount, f64)> {
    let amount = amount(section);
    let depth = length(section, "depth", "depth_unit");
    Some((amount?, depth?))
}

/// A length and its unit, both of which must be there, in metres.
fn length(section: &Section, key: &str, unit_key: &str) -> Option<f64> {
    let length = section.required(key).and_then(|item| item.number_within("above 0", |length| length > 0.0));
    let unit = section.required(unit_key).and_then(|item| unit::<LengthUnit>(&item));
    Some(length?.value * unit?.value.metres())
}

/// A column with a unit that no programme sets, so that a bare column does not say what its numbers are.
fn with_unit<'d, U: Unit>(item: &Item<'d>, keys: &'static [&'static str]) -> Option<(Section<'d>, Typed<String>, U)> {
    if !item.is_table() {
        let column = item.text()?;
        let text = format!("the unit of column {:?} is not given", column.value);
        item.fault(
            "missing-key",
            text,
            format!("write {{ column = {:?}, unit = … }}, with one of {}", column.value, U::choices()),
        );
        return None;
    }
    let section = item.section(keys)?;
    let column = section.required("column").and_then(|item| item.text());
    let unit = section.required("unit").and_then(|item| unit::<U>(&item));
    Some((section, column?, unit?.value))
}

pub(super) fn count(item: &Item) -> Option<CountSection> {
    let (section, column, unit) = with_unit::<CountUnit>(item, COUNT)?;
    let along_a_row = matches!(unit, CountUnit::PerFootOfRow | CountUnit::PerMetreOfRow);
    let row_spacing_metres = if along_a_row {
        Some(length(&section, "row_spacing", "row_spacing_unit")?)
    } else {
        for key in ["row_spacing", "row_spacing_unit"] {
            if let Some(item) = section.get(key) {
                let text = format!("a count {unit} needs no distance between rows");
                item.fault("conflicting-keys", text, format!("remove {key}, or give the unit along a row"));
                return None;
            }
        }
        None
    };
    Some(CountSection { column, unit, row_spacing_metres })
}

pub(super) fn test_weight(item: &Item) -> Option<TestWeightSection> {
    let (_, column, unit) = with_unit::<TestWeightUnit>(item, TEST_WEIGHT)?;
    Some(TestWeightSection { column, unit })
}
