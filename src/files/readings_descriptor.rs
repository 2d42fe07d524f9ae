//! `[[readings]]` of `trial.toml`: which columns hold the readings of an instrument.

use jiff::civil::Date;

use super::descriptor::{Item, Section, Supplied, Typed};
use super::file_reference::{FileReference, file_reference, with_file_keys};
use super::trial_descriptor::{COLUMN_OR_SAME, Condition, condition};
use super::values::{instrument, stage};
use super::walk::{WalkOrder, WalkSection};
use crate::trial::{GrowthStage, Instrument};

pub(super) const READINGS: &[&str] = with_file_keys![
    "instrument",
    "columns",
    "plot",
    "walk",
    "where",
    "date",
    "stage",
    "leaf",
    "pass",
    "position",
    "value",
    "red",
    "near_infrared"
];
const WALK: &[&str] = &["order", "along", "readings_per_plot"];
const READING_COLUMN: &[&str] = &["column", "red", "near_infrared", "date", "stage", "pass"];

pub(super) struct ReadingsSection {
    pub(super) instrument: Instrument,
    /// The file, where it is not the plots file.
    pub(super) file: Option<FileReference>,
    /// The columns that name the plot, where they are not called as in the plots file.
    pub(super) plot: Option<Vec<Typed<String>>>,
    pub(super) form: ReadingForm,
}

pub(super) enum ReadingForm {
    /// One column a sensing date, one row a plot.
    Wide(Vec<ReadingColumn>),
    /// One row a reading.
    Long(Box<LongForm>),
    /// One row a reading, its plot told by the order of the rows.
    Walk(Box<LongForm>, Box<WalkSection>),
}

impl ReadingForm {
    /// The columns of values.
    pub(super) fn columns(&self) -> Vec<&Typed<String>> {
        match self {
            Self::Wide(columns) => columns.iter().flat_map(|form| form.value.columns()).collect(),
            Self::Long(form) | Self::Walk(form, _) => form.value.columns().collect(),
        }
    }
}

/// The columns that the value of a reading stands in.
pub(super) enum ValueColumns {
    /// The reading itself.
    Value(Typed<String>),
    /// Reflectances that give an NDVI.
    Reflectance { red: Typed<String>, near_infrared: Typed<String> },
}

impl ValueColumns {
    /// The columns, one or two.
    pub(super) fn columns(&self) -> impl Iterator<Item = &Typed<String>> {
        let (first, second) = match self {
            Self::Value(value) => (value, None),
            Self::Reflectance { red, near_infrared } => (red, Some(near_infrared)),
        };
        std::iter::once(first).chain(second)
    }

    /// What findings call them: the header, or both with *and* between.
    pub(super) fn header(&self) -> String {
        self.columns().map(|column| column.value.trim()).collect::<Vec<_>>().join(" and ")
    }
}

pub(super) struct ReadingColumn {
    pub(super) value: ValueColumns,
    pub(super) date: Date,
    pub(super) stage: Option<GrowthStage>,
    /// Which pass of that day it is, where there were several.
    pub(super) pass: Option<u32>,
}

pub(super) struct LongForm {
    pub(super) condition: Option<Condition>,
    pub(super) date: Supplied<Date>,
    pub(super) stage: Option<Supplied<GrowthStage>>,
    /// The column that numbers the leaves, or the passes of a canopy sensor.
    pub(super) leaf: Option<Typed<String>>,
    /// The column that tells where on the plant a leaf sat.
    pub(super) position: Option<Typed<String>>,
    pub(super) value: ValueColumns,
}

pub(super) fn readings(section: &Section) -> Option<ReadingsSection> {
    let instrument = section.required("instrument").and_then(|item| instrument(&item));
    let plot = section.get("plot").map(|item| item.labels());
    let (file, form) = match section.get("columns") {
        Some(columns) => {
            for key in ["where", "date", "stage", "leaf", "pass", "position", "value", "red", "near_infrared", "walk"] {
                if let Some(item) = section.get(key) {
                    let text = format!("{key:?} is for one row a reading, columns for one row a plot");
                    item.fault("conflicting-keys", text, "use columns, or file, date and value");
                }
            }
            let file = match section.get("file") {
                Some(_) => Some(file_reference(section)?),
                None => None,
            };
            let read =
                |item: &Item| reading_column(item, instrument.is_none_or(|known| known == Instrument::CanopyNdvi));
            let columns: Vec<Option<ReadingColumn>> = columns.list()?.iter().map(read).collect();
            (file, ReadingForm::Wide(columns.into_iter().collect::<Option<Vec<_>>>()?))
        }
        None => {
            let file = file_reference(section);
            let form = long_form(section, instrument.is_none_or(|known| known == Instrument::CanopyNdvi));
            let walk = section.get("walk").map(|item| walk(&item));
            if let (Some(item), Some(_)) = (section.get("plot"), &walk) {
                let text = "a walk tells the plots by their order, and here they are named too";
                item.fault("conflicting-keys", text, "remove plot, or remove walk");
            }
            let form = Box::new(form?);
            let form = match walk {
                Some(walk) => ReadingForm::Walk(form, Box::new(walk?)),
                None => ReadingForm::Long(form),
            };
            (Some(file?), form)
        }
    };
    let plot = match plot {
        Some(labels) => Some(labels?),
        None => None,
    };
    Some(ReadingsSection { instrument: instrument?, file, plot, form })
}

fn reading_column(item: &Item, is_canopy: bool) -> Option<ReadingColumn> {
    let section = item.section(READING_COLUMN)?;
    let value = value_columns(&section, "column", is_canopy);
    let date = section.required("date").and_then(|item| item.date());
    let stage = section.get("stage").and_then(|item| stage(&item)).map(|stage| stage.value);
    let pass = section.get("pass").map(|item| item.integer_within(1, 1_000));
    let pass = match pass {
        Some(pass) => u32::try_from(pass?.value).ok(),
        None => None,
    };
    Some(ReadingColumn { value: value?, date: date?.value, stage, pass })
}

/// The column of the reading, under the key `key`, or those of red and near-infrared reflectance, which only a canopy sensor has.
fn value_columns(section: &Section, key: &str, is_canopy: bool) -> Option<ValueColumns> {
    let reflectance = ["red", "near_infrared"].map(|key| section.get(key));
    let [red, near_infrared] = &reflectance;
    let Some(first) = red.as_ref().or(near_infrared.as_ref()) else {
        return section.required(key)?.text().map(ValueColumns::Value);
    };
    if section.get(key).is_some() {
        let text = format!("{key:?} is a reading, red and near_infrared are what one is computed from");
        first.fault("conflicting-keys", text, format!("use {key}, or red and near_infrared"));
        return None;
    }
    if !is_canopy {
        first.fault("conflicting-keys", "a leaf meter gives no reflectance", format!("use {key} = …"));
        return None;
    }
    let [red, near_infrared] = ["red", "near_infrared"].map(|key| section.required(key).and_then(|item| item.text()));
    Some(ValueColumns::Reflectance { red: red?, near_infrared: near_infrared? })
}

fn walk(item: &Item) -> Option<WalkSection> {
    let section = item.section(WALK)?;
    let orders = [("plots-file", WalkOrder::PlotsFile), ("serpentine", WalkOrder::Serpentine)];
    let order = section.required("order").and_then(|item| item.choice(&orders));
    let along = section.get("along").map(|item| item.text());
    let readings_per_plot = section.required("readings_per_plot").and_then(|item| item.integer_within(1, 10_000));
    let along = match along {
        Some(along) => Some(along?),
        None => None,
    };
    Some(WalkSection { order: order?, along, readings_per_plot: readings_per_plot? })
}

fn long_form(section: &Section, is_canopy: bool) -> Option<LongForm> {
    let where_ = section.get("where").map(|item| condition(&item));
    let date = section.required("date").and_then(|item| item.supplied(COLUMN_OR_SAME, Item::date));
    let stage = section.get("stage").and_then(|item| item.supplied(COLUMN_OR_SAME, stage));
    if let (Some(pass), Some(_)) = (section.get("pass"), section.get("leaf")) {
        pass.fault("conflicting-keys", "both number the readings of a plot", "keep leaf or pass");
    }
    let leaf = section.get("leaf").or_else(|| section.get("pass")).and_then(|item| item.text());
    let position = section.get("position").and_then(|item| item.text());
    let value = value_columns(section, "value", is_canopy);
    let condition = match where_ {
        Some(condition) => Some(condition?),
        None => None,
    };
    let stage = stage.map(|(supplied, _)| supplied);
    Some(LongForm { condition, date: date?.0, stage, leaf, position, value: value? })
}
