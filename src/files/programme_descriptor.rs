//! `programme.toml`: title, crop, units, prices, decisions, tables.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::descriptor::{Document, Item, Section, Typed};
use super::prices_descriptor::prices;
use super::values::{instrument, moisture, stage, unit};
use crate::crop::Crop;
use crate::trial::{
    Decisions, FlaggedLeaves, GrowthStage, IndexRange, NearOptimumWithin, Outside, Prices, RateLimits, RelationKind,
    ResultUnits, TableSpecification,
};
use crate::units::{CountUnit, Density, MoisturePercent, NRateUnit, YieldUnit};

const ROOT: &[&str] = &["format", "title", "crop", "currency", "leave_out", "units", "prices", "decisions", "table"];
const UNITS: &[&str] = &["n_rate", "yield", "moisture_percent", "pounds_per_bushel"];
const DECISIONS: &[&str] = &[
    "near_optimum_within",
    "standard_topdress",
    "days_to_show_in_canopy",
    "level",
    "site_year_weights",
    "flagged_leaves",
    "thin_stand_below",
];
const THIN_STAND: &[&str] = &["tillers", "unit"];
const NEAR_OPTIMUM: &[&str] = &["percent", "money"];
const TABLE: &[&str] = &[
    "name",
    "instrument",
    "stages",
    "index",
    "rate",
    "outside",
    "relation",
    "sensing_dates",
    "varieties",
    "share_plots",
];
const INDEX: &[&str] = &["lowest", "highest", "step"];
const RATE: &[&str] = &["round_to", "highest", "smallest"];

/// An index is counted in these.
const THOUSANDTHS: f64 = 1000.0;
/// The highest index edge; readings never reach twice their N-rich reference.
const HIGHEST_INDEX: f64 = 2.0;
/// Another crop's name is less like a known one than this; a misspelt one is more.
const NEARLY_A_CROP: f64 = 0.7;
/// A decimal fraction typed in thousandths is this near a whole number of them.
const WHOLE: f64 = 1e-9;

/// What a programme descriptor says. A piece that is missing or wrong is `None`, and a finding of the document.
pub(super) struct ProgrammeDescriptor {
    pub(super) title: Option<String>,
    pub(super) crop: Option<Crop>,
    pub(super) currency: Option<String>,
    /// Folder and reason.
    pub(super) leave_out: Vec<(Typed<String>, String)>,
    pub(super) units: Option<ResultUnits>,
    pub(super) prices: Option<Prices>,
    pub(super) decisions: Decisions,
    /// Trial folder and weight.
    pub(super) site_year_weights: Vec<(Typed<String>, f64)>,
    pub(super) tables: Vec<TableSection>,
}

pub(super) struct TableSection {
    pub(super) name: Typed<String>,
    pub(super) specification: TableSpecification,
    /// The chosen dates where they were typed, each with its trial folder.
    pub(super) sensing_dates: Vec<(Typed<String>, Typed<Date>)>,
}

/// Reads every key of a programme descriptor; `None` where it is no descriptor of this format at all.
pub(super) fn read(document: &Document) -> Option<ProgrammeDescriptor> {
    let table = document.parse()?;
    let root = document.root(&table, ROOT)?;
    let text = |key: &str| root.required(key).and_then(|item| item.text()).map(|text| text.value);
    let (title, currency) = (text("title"), text("currency"));
    let crop = root.required("crop").and_then(|item| item.text());
    if let Some(crop) = &crop {
        suggest_crop(document, crop);
    }
    let crop = crop.map(|crop| crop.value);
    let units = root.required("units").and_then(|item| item.section(UNITS));
    let mut crop = crop.map(|name| Crop::named(name.trim()));
    let bushel = units.as_ref().and_then(|units| units.get("pounds_per_bushel")).and_then(|item| positive(&item));
    if let (Some(crop), Some(bushel)) = (&mut crop, bushel) {
        crop.pounds_per_bushel = Some(bushel);
    }
    let units = units.and_then(|section| result_units(document, &section, crop.as_ref()));
    let prices = root.get("prices").and_then(|item| prices(document, &item, crop.as_ref()));
    let decisions = root.get("decisions").and_then(|item| item.section(DECISIONS));
    let tables: Vec<TableSection> = root.sections("table", TABLE).iter().filter_map(table_section).collect();
    check_names(document, &tables);
    Some(ProgrammeDescriptor {
        title,
        crop,
        currency,
        leave_out: root
            .get("leave_out")
            .and_then(|item| item.names())
            .map(|names| leave_out(&names))
            .unwrap_or_default(),
        units,
        prices,
        site_year_weights: decisions.as_ref().map(site_year_weights).unwrap_or_default(),
        decisions: decisions.map(|section| self::decisions(&section)).unwrap_or_default(),
        tables,
    })
}

/// Warns of a name that is nearly a known crop's: an unknown crop has no bushel weight and no standard moisture.
fn suggest_crop(document: &Document, crop: &Typed<String>) {
    let name = crop.value.trim();
    let likeness = |known: &str| strsim::normalized_damerau_levenshtein(&name.to_lowercase(), known);
    let meant = Crop::known().filter(|known| likeness(known) >= NEARLY_A_CROP);
    if let Some(meant) = meant.max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        && !meant.eq_ignore_ascii_case(name)
    {
        let text =
            format!("{name:?} is not a crop that is known here: it has no bushel weight and no standard moisture");
        document.report(document.warning("unknown-crop", crop, text).remedy(format!("did you mean {meant:?}?")));
    }
}

pub(super) fn positive(item: &Item) -> Option<f64> {
    item.number_within("above 0", |number| number > 0.0).map(|number| number.value)
}

fn leave_out(names: &Section) -> Vec<(Typed<String>, String)> {
    let entries = names.entries().into_iter();
    entries.filter_map(|(folder, reason)| reason.text().map(|reason| (folder, reason.value))).collect()
}

/// Reports bushels of a crop whose bushel weight is not known; without a crop there is another finding already.
pub(super) fn check_bushel<T>(document: &Document, unit: &Typed<T>, is_bushel: bool, crop: Option<&Crop>) {
    if let Some(crop) = crop.filter(|crop| is_bushel && crop.pounds_per_bushel.is_none()) {
        let text = format!("the weight of a bushel of {:?} is not known", crop.name);
        let remedy = "add pounds_per_bushel = … to [units] of programme.toml, or use another unit";
        document.report(document.fault("no-bushel-weight", unit, text).remedy(remedy));
    }
}

fn result_units(document: &Document, section: &Section, crop: Option<&Crop>) -> Option<ResultUnits> {
    let n_rate = section.required("n_rate").and_then(|item| unit::<NRateUnit>(&item));
    let yields = section.required("yield").and_then(|item| {
        let yields = unit::<YieldUnit>(&item)?;
        check_bushel(document, &yields, yields.value == YieldUnit::BushelsPerAcre, crop);
        Some(yields)
    });
    let standard = crop.and_then(|crop| crop.standard_moisture_percent).and_then(MoisturePercent::new);
    let standard_moisture = match section.get("moisture_percent") {
        Some(item) => moisture(&item).map(|moisture| moisture.value),
        None => standard,
    };
    Some(ResultUnits { n_rate: n_rate?.value, yields: yields?.value, standard_moisture })
}

fn decisions(section: &Section) -> Decisions {
    let usual = Decisions::default();
    let near = section.get("near_optimum_within").and_then(|item| near_optimum(&item));
    let not_negative = |item: Item| item.number_within("of 0 or more", |number| number >= 0.0);
    let standard = section.get("standard_topdress").and_then(not_negative).map(|number| number.value);
    let days = section.get("days_to_show_in_canopy").and_then(|item| item.integer_within(0, 366));
    let level = section
        .get("level")
        .and_then(|item| item.number_within("above 0 and below 1, such as 0.95", |level| level > 0.0 && level < 1.0));
    let kept = [("keep", FlaggedLeaves::Keep), ("leave-out", FlaggedLeaves::LeaveOut)];
    let flagged_leaves = section.get("flagged_leaves").and_then(|item| item.choice(&kept));
    let thin_stand_below = section.get("thin_stand_below").and_then(|item| thin_stand(&item));
    Decisions {
        near_optimum_within: near.unwrap_or(usual.near_optimum_within),
        standard_topdress: standard,
        days_to_show_in_canopy: days
            .and_then(|days| i32::try_from(days.value).ok())
            .unwrap_or(usual.days_to_show_in_canopy),
        level: level.map_or(usual.level, |level| level.value),
        flagged_leaves: flagged_leaves.map_or(usual.flagged_leaves, |kept| kept.value),
        thin_stand_below,
    }
}

/// A number of tillers over an area.
fn thin_stand(item: &Item) -> Option<Density> {
    let section = item.section(THIN_STAND)?;
    let units = [("per ft2", CountUnit::PerSquareFoot), ("per m2", CountUnit::PerSquareMetre)];
    let tillers = section.required("tillers").and_then(|item| positive(&item));
    let unit = section.required("unit").and_then(|item| item.choice(&units));
    Density::new(tillers?, unit?.value, None)
}

fn site_year_weights(section: &Section) -> Vec<(Typed<String>, f64)> {
    let names = section.get("site_year_weights").and_then(|item| item.names());
    let entries = names.map(|names| names.entries()).unwrap_or_default().into_iter();
    let weight = |item: &Item| item.number_within("of 0 or more", |weight| weight >= 0.0);
    entries.filter_map(|(folder, item)| Some((folder, weight(&item)?.value))).collect()
}

fn near_optimum(item: &Item) -> Option<NearOptimumWithin> {
    let section = item.section(NEAR_OPTIMUM)?;
    match (section.get("percent"), section.get("money")) {
        (Some(percent), None) => percent
            .number_within("from 0 to below 100", |percent| (0.0..100.0).contains(&percent))
            .map(|percent| NearOptimumWithin::Percent(percent.value)),
        (None, Some(money)) => {
            money.number_within("of 0 or more", |money| money >= 0.0).map(|money| NearOptimumWithin::Money(money.value))
        }
        _ => {
            item.fault(
                "conflicting-keys",
                "needs one of \"percent\", \"money\"",
                "write { percent = 1 } or { money = 1.00 }",
            );
            None
        }
    }
}

fn table_section(section: &Section) -> Option<TableSection> {
    let relations = RelationKind::ALL.map(|relation| (relation.name(), relation));
    let outsides = [("no-rate", Outside::NoRate), ("nearest-row", Outside::NearestRow)];
    let name = section.required("name").and_then(|item| table_name(&item));
    let instrument = section.required("instrument").and_then(|item| instrument(&item));
    let stages = section.required("stages").and_then(|item| stages(&item));
    let index = section.required("index").and_then(|item| index(&item));
    let rate = section.required("rate").and_then(|item| rate(&item));
    let outside = section.required("outside").and_then(|item| item.choice(&outsides));
    let relation = section.get("relation").and_then(|item| item.choice(&relations));
    let chosen = section.get("sensing_dates").and_then(|item| item.names()).map(|names| names.entries());
    let sensing_dates: Vec<(Typed<String>, Typed<Date>)> =
        chosen.unwrap_or_default().into_iter().filter_map(|(folder, item)| Some((folder, item.date()?))).collect();
    let varieties = section.get("varieties").and_then(|item| varieties(&item)).unwrap_or_default();
    let share_plots = section.get("share_plots").and_then(|item| item.boolean());
    let name = name?;
    let specification = TableSpecification {
        name: name.value.clone(),
        instrument: instrument?,
        stages: stages?,
        index: index?,
        rate: rate?,
        outside: outside?.value,
        relation: relation.map(|relation| relation.value),
        varieties,
        sensing_dates: sensing_dates
            .iter()
            .map(|(folder, date)| (folder.value.clone(), date.value))
            .collect::<BTreeMap<_, _>>(),
        share_plots: share_plots.unwrap_or(true),
    };
    Some(TableSection { name, specification, sensing_dates })
}

/// Names of varieties; an empty list would be a table of nothing.
fn varieties(item: &Item) -> Option<Vec<String>> {
    let names: Vec<String> =
        item.list()?.iter().map(|name| name.text().map(|name| name.value.trim().to_owned())).collect::<Option<_>>()?;
    if names.is_empty() {
        item.fault("out-of-range", "no variety is named", "name one or more, or leave varieties out to take all");
        return None;
    }
    Some(names)
}

fn table_name(item: &Item) -> Option<Typed<String>> {
    let name = item.text()?;
    let safe = name.value.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_');
    if safe && name.value.len() <= 64 {
        return Some(name);
    }
    let text = format!("{:?} can't name a file everywhere", name.value);
    item.fault("unsafe-name", text, "use letters, digits, - and _, 64 of them at most");
    None
}

fn check_names(document: &Document, tables: &[TableSection]) {
    for (position, table) in tables.iter().enumerate() {
        let same = |other: &&TableSection| other.name.value.eq_ignore_ascii_case(&table.name.value);
        if tables.iter().take(position).find(same).is_some() {
            let text = format!("another table is called {:?}", table.name.value);
            document
                .report(document.fault("duplicate-name", &table.name, text).remedy("give every table its own name"));
        }
    }
}

fn stages(item: &Item) -> Option<(GrowthStage, GrowthStage)> {
    let right = "write the first and the last stage on one scale, such as [\"Feekes 5\", \"Feekes 6\"]";
    let items = item.list()?;
    let stages: Vec<Option<Typed<GrowthStage>>> = items.iter().map(stage).collect();
    let stages: Vec<GrowthStage> =
        stages.into_iter().map(|stage| stage.map(|stage| stage.value)).collect::<Option<_>>()?;
    let [first, last] = stages.as_slice() else {
        item.fault("wrong-type", format!("expected two stages, found {}", stages.len()), right);
        return None;
    };
    match last.is_within(first, last) {
        Some(true) if first.is_within(first, last) == Some(true) => Some((first.clone(), last.clone())),
        Some(_) => {
            item.fault("out-of-range", format!("{last} comes before {first}"), right);
            None
        }
        None => {
            item.fault("out-of-range", format!("{first} and {last} are on different scales"), right);
            None
        }
    }
}

fn index(item: &Item) -> Option<IndexRange> {
    let section = item.section(INDEX)?;
    let edge = |key: &str| section.required(key).and_then(|item| thousandths(&item));
    let (lowest, highest, step) = (edge("lowest"), edge("highest"), edge("step"));
    let (lowest, highest, step) = (lowest?, highest?, step?);
    let fault = |text: String, remedy: &str| {
        item.fault("out-of-range", text, remedy);
        None
    };
    if step == 0 || lowest >= highest {
        return fault("the rows have no height".to_owned(), "lowest lies below highest, and step is above 0");
    }
    if (highest - lowest) % step != 0 {
        return fault("step does not divide the range".to_owned(), "highest − lowest must be a whole number of steps");
    }
    Some(IndexRange { lowest, highest, step })
}

fn thousandths(item: &Item) -> Option<u32> {
    let number = item.number_within("from 0 to 2", |edge| (0.0..=HIGHEST_INDEX).contains(&edge))?;
    let scaled = number.value * THOUSANDTHS;
    if (scaled - scaled.round()).abs() > WHOLE * THOUSANDTHS {
        let text = format!("{} is not a whole number of thousandths", number.typed());
        item.fault("out-of-range", text, "write an index with at most three decimals");
        return None;
    }
    Some(scaled.round() as u32)
}

fn rate(item: &Item) -> Option<RateLimits> {
    let section = item.section(RATE)?;
    let limit = |key: &str| section.required(key).and_then(|item| positive(&item));
    let (round_to, highest) = (limit("round_to"), limit("highest"));
    let (round_to, highest) = (round_to?, highest?);
    let steps = highest / round_to;
    if steps < 1.0 || (steps - steps.round()).abs() > WHOLE * steps.abs() {
        let text = format!("the highest rate {highest} is not a multiple of {round_to}");
        item.fault("out-of-range", text, "rates are rounded to round_to, so highest must be a multiple of it");
        return None;
    }
    let smallest = section.get("smallest");
    let smallest = match smallest {
        Some(item) => item.number_within("from 0 to the highest rate", |rate| (0.0..=highest).contains(&rate))?.value,
        None => 0.0,
    };
    Some(RateLimits { round_to, highest, smallest })
}
