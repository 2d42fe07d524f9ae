//! Two rate tables and why they differ.

use schemars::JsonSchema;
use serde::Serialize;

use super::compare_text::text;
use super::envelope::Report;
use super::long::{Long, number};
use crate::compare::{Cell, Comparison, Parts};
use crate::files::export::Table;
use crate::rate_table::{RateTable, RowInterval};
use crate::stats::interval::Interval;

/// A comparison as scripts read it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ComparisonOf {
    /// The old table.
    pub old: ComparedTable,
    /// The new table.
    pub new: ComparedTable,
    /// Unit of every rate and move.
    pub rate_unit: String,
    /// Unit of the price ratios.
    pub price_ratio_unit: String,
    /// What differs between what they were made of.
    pub changed: ChangedOf,
    /// Price ratios of the old table alone.
    pub price_ratios_of_old_alone: Vec<f64>,
    /// Price ratios of the new table alone.
    pub price_ratios_of_new_alone: Vec<f64>,
    /// Every place of index and price ratio.
    pub cells: Vec<CellOf>,
    /// The mean move over the cells with a rate in both at the base price ratios, and what it is made of.
    pub mean_move: Option<PartsOf>,
    /// Why moves are not split, or not wholly.
    pub not_explained: Vec<String>,
    /// Site-years that were left out of both tables in turn for the intervals of the differences.
    pub differences_over_site_years: Option<usize>,
    /// Why there are no such intervals.
    pub no_differences: Option<String>,
}

/// One of the tables compared.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ComparedTable {
    /// Name.
    pub table: String,
    /// Title of its programme.
    pub title: String,
    /// Digest.
    pub digest: String,
    /// Site-years of its calibration.
    pub site_years: usize,
    /// The verdict of its held-out site-years, in words.
    pub verdict: Option<String>,
}

/// What differs.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ChangedOf {
    /// Site-years of the new table alone.
    pub site_years_added: Vec<String>,
    /// Site-years of the old table alone.
    pub site_years_left: Vec<String>,
    /// Site-years of both with other observations; null where a table carries none.
    pub site_years_corrected: Option<Vec<String>>,
    /// Site-years of both.
    pub site_years_kept: usize,
    /// Everything else.
    pub settings: Vec<SettingOf>,
}

/// A setting that differs.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SettingOf {
    /// Which.
    pub name: &'static str,
    /// In the old table.
    pub old: String,
    /// In the new one.
    pub new: String,
}

/// A place of index and price ratio.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CellOf {
    /// The old table's price ratio.
    pub price_ratio_old: f64,
    /// The new table's.
    pub price_ratio_new: f64,
    /// Whether they are the bases.
    pub base: bool,
    /// Where it begins, in thousandths of the index.
    pub index_from: u32,
    /// Where it ends.
    pub index_below: u32,
    /// Rate of the old table.
    pub old_rate: Option<f64>,
    /// Rate of the new one.
    pub new_rate: Option<f64>,
    /// What the move is made of.
    #[serde(flatten)]
    pub parts: PartsOf,
    /// Interval of the old row.
    pub old_interval: Option<RowInterval>,
    /// Interval of the new row.
    pub new_interval: Option<RowInterval>,
    /// New minus old return-maximising rate, before limits and rounding.
    pub difference: Option<Interval>,
    /// Whether the move is more than the tables' own uncertainty.
    pub verdict: &'static str,
}

/// A move and its parts; null where not known.
#[derive(Clone, Copy, Debug, Default, Serialize, JsonSchema)]
pub struct PartsOf {
    /// New minus old rate.
    pub moved: Option<f64>,
    /// The old table at the new prices, minus the old table.
    pub from_prices: Option<f64>,
    /// The old table with the new site-years, minus the old table.
    pub from_site_years: Option<f64>,
    /// The old table with the new settings, minus the old table.
    pub from_settings: Option<f64>,
    /// What another version of stook makes of the same.
    pub from_program: Option<f64>,
    /// What these do only together.
    pub together: Option<f64>,
}

impl PartsOf {
    fn of(moved: Option<f64>, parts: Option<Parts>) -> Self {
        Self {
            moved,
            from_prices: parts.map(|parts| parts.prices),
            from_site_years: parts.map(|parts| parts.site_years),
            from_settings: parts.map(|parts| parts.settings),
            from_program: parts.map(|parts| parts.program),
            together: parts.map(|parts| parts.together),
        }
    }

    /// Move, then its parts.
    pub(crate) fn values(self) -> [Option<f64>; 6] {
        [self.moved, self.from_prices, self.from_site_years, self.from_settings, self.from_program, self.together]
    }
}

impl ComparisonOf {
    /// A comparison of two tables.
    #[must_use]
    pub fn of(old: &RateTable, new: &RateTable, comparison: &Comparison) -> Self {
        let changed = &comparison.changed;
        let setting = |change: &crate::compare::SettingChange| SettingOf {
            name: change.name,
            old: change.old.clone(),
            new: change.new.clone(),
        };
        let cell = |cell: &Cell| {
            let pair = comparison.prices.get(cell.pair);
            CellOf {
                price_ratio_old: pair.map_or(f64::NAN, |pair| pair.old),
                price_ratio_new: pair.map_or(f64::NAN, |pair| pair.new),
                base: pair.is_some_and(|pair| pair.base),
                index_from: cell.place.index_from,
                index_below: cell.place.index_below,
                old_rate: cell.old.as_ref().and_then(|side| side.rate),
                new_rate: cell.new.as_ref().and_then(|side| side.rate),
                parts: PartsOf::of(cell.moved(), cell.parts),
                old_interval: cell.old.as_ref().and_then(|side| side.interval.clone()),
                new_interval: cell.new.as_ref().and_then(|side| side.interval.clone()),
                difference: cell.difference.clone(),
                verdict: cell.verdict.name(),
            }
        };
        let [of_old_alone, of_new_alone] = comparison.price_ratios_alone.clone();
        Self {
            old: ComparedTable::of(old),
            new: ComparedTable::of(new),
            rate_unit: new.document().rate_unit.clone(),
            price_ratio_unit: new
                .document()
                .prices
                .first()
                .map_or_else(String::new, |price| price.price_ratio_unit.clone()),
            changed: ChangedOf {
                site_years_added: changed.site_years_added.clone(),
                site_years_left: changed.site_years_left.clone(),
                site_years_corrected: changed.site_years_corrected.clone(),
                site_years_kept: changed.site_years_kept,
                settings: changed.settings.iter().map(setting).collect(),
            },
            price_ratios_of_old_alone: of_old_alone,
            price_ratios_of_new_alone: of_new_alone,
            cells: comparison.cells.iter().map(cell).collect(),
            mean_move: comparison.mean.map(|mean| PartsOf::of(Some(mean.moved), Some(mean))),
            not_explained: comparison.unexplained.clone(),
            differences_over_site_years: comparison.uncertainty.as_ref().ok().copied(),
            no_differences: comparison.uncertainty.as_ref().err().cloned(),
        }
    }
}

impl ComparedTable {
    fn of(table: &RateTable) -> Self {
        let document = table.document();
        let mut site_years: Vec<(&str, i32)> =
            document.site_years.iter().map(|one| (one.site.as_str(), one.harvest_year)).collect();
        site_years.sort_unstable();
        site_years.dedup();
        Self {
            table: document.name.clone(),
            title: document.title.clone(),
            digest: table.digest().to_owned(),
            site_years: site_years.len(),
            verdict: document.verdict.as_ref().map(crate::rate_table::Verdict::in_words),
        }
    }
}

impl Report for ComparisonOf {
    const COMMAND: &'static str = "compare";

    fn text(&self) -> String {
        text(self)
    }

    fn table(&self) -> Table {
        let mut long = Long::new([
            "old_table",
            "new_table",
            "price_ratio_old",
            "price_ratio_new",
            "price_ratio_unit",
            "base_price_ratio",
            "index_from",
            "index_below",
            "old_rate",
            "new_rate",
            "rate_unit",
            "moved",
            "from_prices",
            "from_site_years",
            "from_settings",
            "from_program",
            "together",
            "old_low",
            "old_high",
            "new_low",
            "new_high",
            "interval_level",
            "difference",
            "difference_low",
            "difference_high",
            "difference_level",
            "verdict",
            "old_digest",
            "new_digest",
        ]);
        let low = |interval: Option<&Interval>| number(interval.and_then(|interval| interval.low));
        let high = |interval: Option<&Interval>| number(interval.and_then(|interval| interval.high));
        for cell in &self.cells {
            let [old, new] =
                [&cell.old_interval, &cell.new_interval].map(|noted| noted.as_ref().map(|noted| &noted.interval));
            let difference = cell.difference.as_ref();
            let [moved, prices, site_years, settings, program, together] = cell.parts.values().map(number);
            long.row([
                self.old.table.as_str().into(),
                self.new.table.as_str().into(),
                number(cell.price_ratio_old),
                number(cell.price_ratio_new),
                self.price_ratio_unit.as_str().into(),
                if cell.base { "yes" } else { "no" }.into(),
                number(f64::from(cell.index_from) / 1000.0),
                number(f64::from(cell.index_below) / 1000.0),
                number(cell.old_rate),
                number(cell.new_rate),
                self.rate_unit.as_str().into(),
                moved,
                prices,
                site_years,
                settings,
                program,
                together,
                low(old),
                high(old),
                low(new),
                high(new),
                number(new.or(old).map(|interval| interval.level)),
                number(difference.and_then(|interval| interval.estimate)),
                low(difference),
                high(difference),
                number(difference.map(|interval| interval.level)),
                cell.verdict.into(),
                self.old.digest.as_str().into(),
                self.new.digest.as_str().into(),
            ]);
        }
        long.finish()
    }
}
