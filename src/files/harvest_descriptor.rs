//! The `[harvest]` keys of `trial.toml`.

use super::descriptor::{Item, Supplied, Typed};
use super::knowledge_descriptor::{self as knowledge, TestWeightSection};
use super::plausible;
use super::values::{moisture, unit};
use crate::units::{LengthUnit, MassUnit, MoisturePercent, YieldUnit};

const HARVEST: &[&str] = &["yield", "weight", "area", "moisture", "protein", "test_weight", "lodging"];
const YIELD: &[&str] = &["column", "unit", "moisture_percent"];
const WEIGHT: &[&str] = &["column", "unit"];
const AREA: &[&str] = &["length", "width", "unit"];
const PROTEIN: &[&str] = &["column", "moisture_percent"];
const COLUMN_OR_SAME: &[&str] = &["column", "same"];

pub(super) struct HarvestSection {
    pub(super) measure: Measure,
    pub(super) moisture: Option<Supplied<MoisturePercent>>,
    pub(super) protein: Option<(Typed<String>, Option<MoisturePercent>)>,
    pub(super) test_weight: Option<TestWeightSection>,
    pub(super) lodging: Option<Typed<String>>,
}

pub(super) enum Measure {
    Yield { column: Typed<String>, unit: Option<Typed<YieldUnit>> },
    Weight { column: Typed<String>, unit: Typed<MassUnit>, square_metres: f64 },
}

/// The harvest, or the faults of its keys.
pub(super) fn harvest(item: &Item) -> Option<HarvestSection> {
    let section = item.section(HARVEST)?;
    let mut moisture_role =
        section.get("moisture").and_then(|item| item.supplied(COLUMN_OR_SAME, moisture)).map(|(supplied, _)| supplied);
    let protein = section.get("protein").and_then(|item| protein(&item));
    let test_weight = section.get("test_weight").and_then(|item| knowledge::test_weight(&item));
    let lodging = section.get("lodging").and_then(|item| item.text());
    let measure = match (section.get("yield"), section.get("weight")) {
        (Some(item), None) => {
            if let Some(area) = section.get("area") {
                area.fault(
                    "conflicting-keys",
                    "an area belongs to a weight, not to a yield",
                    "remove area, or give a weight",
                );
            }
            let (column, stated, unit) = yield_column(&item)?;
            if let Some((key, stated)) = stated {
                if moisture_role.is_some() {
                    let remedy = "keep the moisture that the yields are stated at";
                    key.fault("conflicting-keys", "the moisture is given twice", remedy);
                }
                moisture_role = Some(Supplied::Same(stated));
            }
            Measure::Yield { column, unit }
        }
        (None, Some(item)) => {
            let weight = item.section(WEIGHT);
            let column = weight.as_ref().and_then(|weight| weight.required("column")).and_then(|item| item.text());
            let mass = weight.as_ref().and_then(|weight| weight.required("unit")).and_then(|item| unit(&item));
            let square_metres = section.required("area").and_then(|item| area(&item));
            Measure::Weight { column: column?, unit: mass?, square_metres: square_metres? }
        }
        (Some(_), Some(item)) => {
            item.fault(
                "conflicting-keys",
                "a harvest is a yield or a weight, not both",
                "keep the one that was measured",
            );
            return None;
        }
        (None, None) => {
            let remedy = "add yield = …, or weight = … with area = …".to_owned();
            if section.lacks("yield") && section.lacks("weight") {
                section.report("missing-key", "yield", "there is no yield and no weight".to_owned(), remedy);
            }
            return None;
        }
    };
    Some(HarvestSection { measure, moisture: moisture_role, protein, test_weight, lodging })
}

type YieldColumn<'d> = (Typed<String>, Option<(Item<'d>, Typed<MoisturePercent>)>, Option<Typed<YieldUnit>>);

fn yield_column<'d>(item: &Item<'d>) -> Option<YieldColumn<'d>> {
    if !item.is_table() {
        return Some((item.text()?, None, None));
    }
    let section = item.section(YIELD)?;
    let column = section.required("column").and_then(|item| item.text());
    let unit = section.get("unit").and_then(|item| unit(&item));
    let stated = section.get("moisture_percent").and_then(|item| moisture(&item).map(|stated| (item, stated)));
    Some((column?, stated, unit))
}

/// Square metres of a harvested area.
fn area(item: &Item) -> Option<f64> {
    let section = item.section(AREA)?;
    let unit = section.required("unit").and_then(|item| unit::<LengthUnit>(&item));
    let side = |key: &str, extent: &str| {
        let item = section.required(key)?;
        let metres = item.number_within("above 0", |side| side > 0.0)?.value * unit.as_ref()?.value.metres();
        let (shortest, longest) = plausible::SIDE;
        if (shortest..=longest).contains(&metres) {
            return Some(metres);
        }
        let remedy = format!("a side of {shortest} to {longest} m is believed: correct the number or its unit");
        item.fault("out-of-range", format!("the plot is {metres} m {extent}"), remedy);
        None
    };
    let (length, width) = (side("length", "long"), side("width", "wide"));
    Some(length? * width?)
}

fn protein(item: &Item) -> Option<(Typed<String>, Option<MoisturePercent>)> {
    if !item.is_table() {
        return Some((item.text()?, None));
    }
    let section = item.section(PROTEIN)?;
    let column = section.required("column").and_then(|item| item.text());
    let stated = section.get("moisture_percent").and_then(|item| moisture(&item)).map(|stated| stated.value);
    Some((column?, stated))
}
