//! `trial.toml`: what its keys say, before any data file is read.

use jiff::civil::Date;

use super::descriptor::{Document, Item, Section, Supplied, Typed};
use super::file_reference::{FileReference, file_reference, with_file_keys};
use super::harvest_descriptor::{self, HarvestSection};
use super::knowledge_descriptor::{self as knowledge, BackgroundSection, CountSection};
use super::plate_descriptor::{self, PlateSection};
use super::readings_descriptor::{READINGS, ReadingsSection, readings};
use super::values::{n_percent, stage, unit};
use crate::trial::{Design, Excluded, GrowthStage, NeedFrom, SameDay, SharedWithin, Timing};
use crate::units::NRateUnit;

const ROOT: &[&str] = &[
    "format",
    "site",
    "harvest_year",
    "design",
    "main_plot",
    "strip",
    "factors",
    "need_from",
    "planting_date",
    "preceding_crop",
    "manure_credit",
    "spring_soil_nitrate",
    "weather_notes",
    "plots",
    "application",
    "reference",
    "readings",
    "plate_check",
    "harvest",
    "exclude",
];
const PLOTS: &[&str] =
    with_file_keys!["plot", "block", "main_plot", "strip", "position", "variety", "plants", "tillers"];
const POSITION: &[&str] = &["row", "column"];
const APPLICATION: &[&str] = &["name", "product", "n", "planned", "date", "stage", "timing", "same_day"];
const N: &[&str] = &["column", "same", "unit", "n_percent"];
const REFERENCE: &[&str] = &["where", "also_treatment", "shared_within"];
const WHERE: &[&str] = &["column", "equals"];
const EXCLUDE: &[&str] = &["plot", "what", "reason"];
pub(super) const COLUMN_OR_SAME: &[&str] = &["column", "same"];

/// What a trial descriptor says. A piece that is missing or wrong is `None` or left out, and a finding of the document.
pub(super) struct TrialDescriptor {
    pub(super) site: Option<String>,
    pub(super) harvest_year: Option<Typed<i16>>,
    pub(super) design: Option<Typed<Design>>,
    /// Factors on main plots.
    pub(super) main_plot: Vec<Typed<String>>,
    /// Factors on the strips that run one way.
    pub(super) strip: Vec<Typed<String>>,
    /// Columns of the factors beside N and variety.
    pub(super) factors: Vec<Typed<String>>,
    pub(super) background: BackgroundSection,
    pub(super) need_from: Option<Typed<NeedFrom>>,
    pub(super) plots: Option<PlotsSection>,
    /// In order of date.
    pub(super) applications: Vec<ApplicationSection>,
    pub(super) reference: Option<ReferenceSection>,
    pub(super) readings: Vec<ReadingsSection>,
    pub(super) plates: Vec<PlateSection>,
    pub(super) harvest: Option<HarvestSection>,
    pub(super) exclusions: Vec<ExclusionSection>,
}

pub(super) struct PlotsSection {
    pub(super) file: FileReference,
    pub(super) plot: Vec<Typed<String>>,
    pub(super) block: Option<Typed<String>>,
    pub(super) main_plot: Option<Typed<String>>,
    pub(super) strip: Option<Typed<String>>,
    /// Row of a plot in the field, and its place in the row.
    pub(super) position: Option<[Typed<String>; 2]>,
    pub(super) variety: Option<Supplied<String>>,
    pub(super) plants: Option<CountSection>,
    pub(super) tillers: Option<CountSection>,
}

pub(super) struct ApplicationSection {
    pub(super) name: Typed<String>,
    pub(super) product: Option<String>,
    /// As it went on; what was planned, where only that is given.
    pub(super) n: RateSection,
    /// As planned, where it is given beside `n`.
    pub(super) planned: Option<RateSection>,
    /// Whether `n` is what was planned.
    pub(super) only_planned: bool,
    pub(super) date: Typed<Date>,
    pub(super) stage: Option<GrowthStage>,
    pub(super) timing: Typed<Timing>,
    pub(super) same_day: Option<SameDay>,
}

/// N rates; without a unit, in the programme's.
pub(super) struct RateSection {
    pub(super) rates: Supplied<f64>,
    pub(super) unit: Option<NRateUnit>,
    pub(super) n_percent: Option<f64>,
}

/// Rows whose cell in a column has this value.
pub(super) struct Condition {
    pub(super) column: Typed<String>,
    pub(super) equals: Typed<String>,
}

pub(super) struct ReferenceSection {
    pub(super) condition: Condition,
    pub(super) also_treatment: bool,
    pub(super) shared_within: SharedWithin,
    /// The names in `shared_within`, where they were typed.
    pub(super) shared_names: Vec<Typed<String>>,
}

pub(super) struct ExclusionSection {
    pub(super) plot: Typed<Vec<String>>,
    pub(super) what: Excluded,
    pub(super) reason: String,
}

/// Reads every key of a trial descriptor; `None` where it is no descriptor of this format at all.
pub(super) fn read(document: &Document) -> Option<TrialDescriptor> {
    let table = document.parse()?;
    let root = document.root(&table, ROOT)?;
    let designs = [
        ("completely-randomised", Design::CompletelyRandomised),
        ("randomised-complete-block", Design::RandomisedCompleteBlock),
        ("split-plot", Design::SplitPlot { main_plot: Vec::new() }),
        ("strip-plot", Design::StripPlot { strip: Vec::new() }),
    ];
    let needs = [
        ("difference-from-optimum", NeedFrom::DifferenceFromOptimum),
        ("topdress-response", NeedFrom::TopdressResponse),
    ];
    let year = root.required("harvest_year").and_then(|item| item.integer_within(1800, 2200));
    let mut applications: Vec<ApplicationSection> =
        root.sections("application", APPLICATION).iter().filter_map(application).collect();
    applications.sort_by_key(|application| application.date.value);
    if root.lacks("application") {
        let remedy = "add [[application]] with name, n, date and timing".to_owned();
        root.report("missing-key", "application", "there is no N application".to_owned(), remedy);
    }
    Some(TrialDescriptor {
        site: root.required("site").and_then(|item| item.text()).map(|site| site.value),
        harvest_year: year.and_then(|year| i16::try_from(year.value).ok().map(|value| year.map(|_| value))),
        design: root.required("design").and_then(|item| item.choice(&designs)),
        main_plot: root.get("main_plot").and_then(|item| item.labels()).unwrap_or_default(),
        strip: root.get("strip").and_then(|item| item.labels()).unwrap_or_default(),
        factors: knowledge::factors(&root),
        background: knowledge::background(&root),
        need_from: root.required("need_from").and_then(|item| item.choice(&needs)),
        plots: root.required("plots").and_then(|item| item.section(PLOTS)).and_then(|section| plots(&section)),
        applications,
        reference: root
            .get("reference")
            .and_then(|item| item.section(REFERENCE))
            .and_then(|section| reference(&section)),
        readings: root.sections("readings", READINGS).iter().filter_map(readings).collect(),
        plates: plate_descriptor::plates(&root),
        harvest: root.get("harvest").and_then(|item| harvest_descriptor::harvest(&item)),
        exclusions: root.sections("exclude", EXCLUDE).iter().filter_map(exclusion).collect(),
    })
}

fn plots(section: &Section) -> Option<PlotsSection> {
    let file = file_reference(section);
    let plot = section.required("plot").and_then(|item| item.labels());
    let block = section.get("block").and_then(|item| item.text());
    let main_plot = section.get("main_plot").and_then(|item| item.text());
    let strip = section.get("strip").and_then(|item| item.text());
    let position = section.get("position").and_then(|item| position(&item));
    let variety = section.get("variety").and_then(|item| item.supplied(COLUMN_OR_SAME, Item::label));
    let variety = variety.map(|(supplied, _)| supplied);
    let plants = section.get("plants").and_then(|item| knowledge::count(&item));
    let tillers = section.get("tillers").and_then(|item| knowledge::count(&item));
    Some(PlotsSection { file: file?, plot: plot?, block, main_plot, strip, position, variety, plants, tillers })
}

fn position(item: &Item) -> Option<[Typed<String>; 2]> {
    let section = item.section(POSITION)?;
    let row = section.required("row").and_then(|item| item.text());
    let column = section.required("column").and_then(|item| item.text());
    Some([row?, column?])
}

fn application(section: &Section) -> Option<ApplicationSection> {
    let timings = [
        (Timing::BeforeSensing.name(), Timing::BeforeSensing),
        (Timing::DecidedBySensing.name(), Timing::DecidedBySensing),
        (Timing::AfterSensing.name(), Timing::AfterSensing),
    ];
    let name = section.required("name").and_then(|item| item.text());
    let product = section.get("product").and_then(|item| item.text()).map(|product| product.value.trim().to_owned());
    let planned = section.get("planned");
    let only_planned = planned.is_some() && section.get("n").is_none();
    let planned = planned.map(|item| rates(&item));
    let n = match planned {
        // What was planned is taken for what went on where nothing else is known.
        Some(planned) if only_planned => planned.map(|planned| (planned, None)),
        Some(planned) => {
            section.get("n").and_then(|item| rates(&item)).zip(planned).map(|(n, planned)| (n, Some(planned)))
        }
        None => section.required("n").and_then(|item| rates(&item)).map(|n| (n, None)),
    };
    let date = section.required("date").and_then(|item| item.date());
    let stage = section.get("stage").and_then(|item| stage(&item)).map(|stage| stage.value);
    let timing = section.required("timing").and_then(|item| item.choice(&timings));
    let same_day = section.get("same_day").and_then(|item| {
        item.choice(&[("before", SameDay::Before), ("after", SameDay::After)]).map(|same_day| same_day.value)
    });
    let (n, planned) = n?;
    Some(ApplicationSection {
        name: name?,
        product,
        n,
        planned,
        only_planned,
        date: date?,
        stage,
        timing: timing?,
        same_day,
    })
}

fn rates(item: &Item) -> Option<RateSection> {
    let not_negative = |item: &Item| item.number_within("of 0 or more", |rate| rate >= 0.0);
    let (rates, keys) = item.supplied(N, not_negative)?;
    let unit = keys.as_ref().and_then(|keys| keys.get("unit")).and_then(|item| unit::<NRateUnit>(&item));
    let n_percent = keys.as_ref().and_then(|keys| keys.get("n_percent")).and_then(|item| n_percent(&item));
    Some(RateSection { rates, unit: unit.map(|unit| unit.value), n_percent })
}

pub(super) fn condition(item: &Item) -> Option<Condition> {
    let section = item.section(WHERE)?;
    let column = section.required("column").and_then(|item| item.text());
    let equals = section.required("equals").and_then(|item| item.label());
    Some(Condition { column: column?, equals: equals? })
}

fn reference(section: &Section) -> Option<ReferenceSection> {
    let condition = section.required("where").and_then(|item| condition(&item));
    let also_treatment = section.required("also_treatment").and_then(|item| item.boolean());
    let mut shared_within = SharedWithin::default();
    let shared_names = section.get("shared_within").and_then(|item| item.list()).unwrap_or_default();
    let shared_names: Vec<Typed<String>> = shared_names
        .iter()
        .filter_map(|item| {
            let chosen = item.choice(&[("variety", true), ("block", false)])?;
            if chosen.value {
                shared_within.variety = true
            } else {
                shared_within.block = true
            }
            item.text()
        })
        .collect();
    Some(ReferenceSection { condition: condition?, also_treatment: also_treatment?, shared_within, shared_names })
}

fn exclusion(section: &Section) -> Option<ExclusionSection> {
    let kinds = [("yield", Excluded::Yield), ("readings", Excluded::Readings), ("plot", Excluded::Plot)];
    let plot = section.required("plot").and_then(|item| {
        let parts = item.labels()?.into_iter().map(|label| label.value.trim().to_owned()).collect::<Vec<_>>();
        Some(item.typed().map(|()| parts))
    });
    let what = section.required("what").and_then(|item| item.choice(&kinds));
    let reason = section.required("reason").and_then(|item| item.text());
    Some(ExclusionSection { plot: plot?, what: what?.value, reason: reason?.value })
}
