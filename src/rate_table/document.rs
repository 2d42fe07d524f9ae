//! The fields of a published rate table. Their comments become the descriptions of the JSON schema.

use crate::experiment::Evidence;
use crate::stats::interval::Interval;
use crate::trial::{GrowthStage, InputFile, Instrument, NeedFrom, Outside, RelationKind};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A rate table: for an index (reading ÷ N-rich reference), the N rate to topdress.
///
/// Every index in it is in whole thousandths: 927 means 0.927.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "stook rate table")]
pub struct Document {
    /// What this document is; filled in when the table is made.
    #[schemars(extend("const" = "stook/table/2"))]
    pub schema: String,
    /// SHA-256, in hexadecimal, of this document as published (two spaces a level, a line feed at the
    /// end) with this value empty; filled in when the table is made.
    #[schemars(regex(pattern = "^[0-9a-f]{64}$"))]
    pub digest: String,
    /// Version of stook that made the table.
    pub version: String,
    /// Name of the table within its programme.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Title of the programme of trials.
    pub title: String,
    /// The crop.
    #[schemars(length(min = 1))]
    pub crop: String,
    /// The kind of instrument that takes the readings.
    pub instrument: Instrument,
    /// Growth stages within which a reading may be taken.
    pub stages: Stages,
    /// The variety group: varieties of the calibration; empty where the trials don't name any.
    pub varieties: Vec<String>,
    /// How to make and read the N-rich reference.
    pub reference: String,
    /// Readings that can be used at all.
    pub usable: UsableReadings,
    /// How readings become a rate, step by step; filled in when the table is made.
    pub lookup_rule: Vec<String>,
    /// Unit of every rate.
    #[schemars(length(min = 1))]
    pub rate_unit: String,
    /// Unit of the yields that the rates pay for.
    #[schemars(length(min = 1))]
    pub yield_unit: String,
    /// Currency of the prices, where prices were given.
    pub currency: Option<String>,
    /// Price ratios that have rates, one of them the base.
    #[schemars(length(min = 1))]
    pub prices: Vec<Price>,
    /// What was asked for, and how it was carried out.
    #[serde(rename = "options")]
    pub settings: Settings,
    /// Seed of everything that is left to chance; null where it is not known.
    pub seed: Option<u64>,
    /// Rows, by rising index, each beginning where the one before ends.
    #[schemars(length(min = 1))]
    pub rows: Vec<Row>,
    /// Lowest and highest index of the calibration.
    pub domain: Domain,
    /// N need by index, as fitted, one for each price ratio it was fitted at.
    pub relations: Vec<Relation>,
    /// Site-years of the calibration.
    #[schemars(length(min = 1))]
    pub site_years: Vec<SiteYear>,
    /// What the rule is worth in site-years that it has not seen; null where none could be held out.
    pub verdict: Option<Verdict>,
    /// What a user must know; the first of them, which every table carries, are filled in when it is made.
    pub cautions: Vec<String>,
    /// What the analysis warned of.
    pub warnings: Vec<Warning>,
    /// Files that the table was made from.
    pub inputs: Vec<InputFile>,
    /// What the table can be derived from again, at other prices: yields of plots and indices of treatments; null where it was published
    /// without them.
    pub evidence: Option<Evidence>,
}

/// Growth stages, both on one scale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stages {
    /// First stage, such as "Feekes 5" or "Zadoks 30".
    pub first: GrowthStage,
    /// Last stage.
    pub last: GrowthStage,
}

/// Limits of readings, and of the reference, that can be used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct UsableReadings {
    /// A reading, and its reference, must be above this.
    pub above: f64,
    /// A reading, and its reference, must not be above this.
    pub up_to: f64,
    /// An index above this, in thousandths, is a slip: reading and reference were swapped, say.
    pub index_up_to: u32,
}

impl UsableReadings {
    /// Common practice, no source: NDVI is at most 1 by definition and a crop's is above 0; leaf
    /// chlorophyll meters show some 0 to 100, so above 200 a decimal point was lost; a stand a fifth
    /// above its own N-rich reference means that the two were swapped, or the reference failed.
    pub fn of(instrument: Instrument) -> UsableReadings {
        let up_to = match instrument {
            Instrument::CanopyNdvi => 1.0,
            Instrument::LeafChlorophyll => 200.0,
        };
        UsableReadings { above: 0.0, up_to, index_up_to: 1200 }
    }
}

/// What the rows of the index span, in thousandths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct IndexRows {
    /// Where the first row begins.
    pub lowest: u32,
    /// Where the last row ends.
    pub highest: u32,
    /// Width of a row; the last one may be narrower.
    #[schemars(range(min = 1))]
    pub step: u32,
}

/// How rates were limited and rounded, in the rate unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RateRule {
    /// Every rate is a multiple of this.
    pub round_to: f64,
    /// The largest single rate.
    pub highest: f64,
    /// The smallest rate worth a pass: what would be less is a rate of 0. Itself 0 where every rate is worth one.
    pub smallest: f64,
}

/// What was asked for, and how it was carried out: with the evidence and the prices, all that a table follows from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// What the rows span.
    pub index: IndexRows,
    /// How rates are limited and rounded.
    pub rate: RateRule,
    /// What happens to an index outside the rows that have a rate.
    pub outside: Outside,
    /// Varieties whose points were asked for, as typed; empty takes all.
    pub varieties: Vec<String>,
    /// The relation that was asked for; null leaves the choice to validation on held-out site-years.
    pub relation: Option<RelationKind>,
    /// Name of the relation that the rates come from.
    pub relation_taken: String,
    /// How the intervals of the rows are made.
    pub interval_method: String,
    /// Their level.
    pub level: f64,
    /// The share of new site-years whose optima a row's range is expected to hold.
    pub new_site_years: f64,
    /// Resamples of site-years; 0 where intervals come from site-years left out in turn.
    pub replicates: u64,
    /// Permutations of each response test.
    pub permutations: u64,
}

/// A price ratio that the table has rates for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Price {
    /// Price of one rate unit of N ÷ price of one yield unit.
    #[schemars(range(min = 0))]
    pub price_ratio: f64,
    /// Its unit, such as "bu/lb N".
    pub price_ratio_unit: String,
    /// Whether it is the one that is used where none is asked for.
    pub base: bool,
    /// The prices that it is the ratio of, where they were given.
    pub money: Option<Money>,
}

/// Prices of the crop and of N.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Money {
    /// What the crop brings, in `crop_unit`.
    pub crop: f64,
    /// Such as "USD per bu".
    pub crop_unit: String,
    /// What N costs, in `nitrogen_unit`.
    pub nitrogen: f64,
    /// Such as "USD per lb N".
    pub nitrogen_unit: String,
}

/// One row: an interval of the index, and a rate for each price ratio.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// Lowest index of the row, in thousandths.
    pub index_from: u32,
    /// Index at which the row ends, in thousandths: not in the row, except in the last.
    pub index_below: u32,
    /// Rates, in the order of the price ratios.
    #[schemars(length(min = 1))]
    pub rates: Vec<RowRate>,
    /// What the row rests on.
    pub support: Support,
    /// What else a reader of the row should know.
    pub note: Option<String>,
}

/// The rate of a row at one price ratio.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RowRate {
    /// N rate at the middle of the row, limited and rounded; null where the calibration doesn't support one.
    pub rate: Option<f64>,
    /// Interval of the return-maximising rate at the middle of the row, over site-years, before it was limited and rounded.
    pub interval: Option<RowInterval>,
    /// The range that is expected to hold the optima of a share of new site-years at the middle of the row; its level is that share.
    pub new_site_years: Option<RowInterval>,
}

/// An interval or range at the middle of a row before rates are limited and rounded, in the rate unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RowInterval {
    /// The interval; its fields stand beside the note.
    #[serde(flatten)]
    pub interval: Interval,
    /// What is not known of it, such as that its coverage was not measured.
    pub note: Option<String>,
}

/// How much of the calibration lies in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Support {
    /// Site-years with a point in the row.
    pub site_years: u32,
    /// Calibration points in the row.
    pub points: u32,
    /// Plots of those points.
    pub plots: u32,
}

/// Lowest and highest index of the calibration, in thousandths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Domain {
    /// Lowest.
    pub lowest: u32,
    /// Highest.
    pub highest: u32,
}

/// N need as a function of the index as a fraction (0.927, not 927).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Relation {
    /// Name of the relation.
    pub kind: String,
    /// The price ratio at which the needs were optimal.
    pub price_ratio: f64,
    /// Its coefficients by name, in the rate unit.
    pub coefficients: BTreeMap<String, f64>,
    /// Standard deviation of the needs about it, in the rate unit.
    pub sigma: Option<f64>,
}

/// A site in a harvest year.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteYear {
    /// The site.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i32,
    /// The trial.
    pub trial: String,
    /// How its N need was found.
    pub need_from: NeedFrom,
}

/// What held-out site-years say of the rule: net return that it gives up against the best rate in hindsight, beside the best rule without
/// a sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    /// Whether reading the crop earns more than a rate that needs no reading.
    pub verdict: VerdictWord,
    /// Mean forgone return of the sensor rule, in `unit`.
    pub sensor_rule: f64,
    /// Mean forgone return of the best rule without a sensor, in `unit`.
    pub flat_rule: f64,
    /// Which rule without a sensor that is, in words.
    pub flat_rule_is: String,
    /// Unit of the forgone returns, such as "USD/ac".
    #[schemars(length(min = 1))]
    pub unit: String,
    /// Site-years that were held out.
    pub site_years: u32,
}

impl Verdict {
    /// The verdict in one line.
    pub fn in_words(&self) -> String {
        let Verdict { verdict, sensor_rule, flat_rule, flat_rule_is, unit, site_years } = self;
        format!(
            "{}: in {site_years} site-years, each held out in turn, the sensor rule gave up {} {unit} and the best rule without a sensor \
             ({flat_rule_is}) {} {unit} against the best rate in hindsight",
            verdict.words(),
            three_digits(*sensor_rule),
            three_digits(*flat_rule),
        )
    }
}

/// A number with three significant digits, whole ones in full.
fn three_digits(value: f64) -> String {
    let whole_digits = if value.abs() >= 1.0 { value.abs().log10().floor() as usize + 1 } else { 1 };
    format!("{value:.*}", 3_usize.saturating_sub(whole_digits))
}

/// The words of a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum VerdictWord {
    /// The sensor rule gives up less.
    Pays,
    /// The site-years are too few, or too unlike each other, to tell.
    CannotTellYet,
    /// The sensor rule gives up more.
    DoesNotPay,
}

impl VerdictWord {
    /// The verdict in words.
    pub fn words(self) -> &'static str {
        match self {
            VerdictWord::Pays => "pays",
            VerdictWord::CannotTellYet => "cannot tell yet",
            VerdictWord::DoesNotPay => "does not pay",
        }
    }
}

/// A warning of the analysis.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Warning {
    /// Which.
    pub code: String,
    /// In words.
    pub text: String,
}
