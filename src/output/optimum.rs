//! The economic optimum of every group.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::envelope::Report;
use super::group::{factors, group_object, level_fields};
use super::interval_words::limits_name;
use super::long::{Long, number, text};
use crate::economics::{NearOptimum, PriceRatio, Tolerance};
use crate::experiment::{FittedGroup, GroupOptimum};
use crate::files::export::{Cell, Table};
use crate::response::{self, Family, Fit, OptimumStatus};
use crate::stats::interval::Limits;

/// The optimum of every group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Optima {
    /// One entry a group.
    pub groups: Vec<OptimumGroup>,
}

/// The optimum of one group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OptimumGroup {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// Unit of rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of yields, where it is known.
    pub yield_unit: Option<String>,
    /// Highest tested rate.
    pub highest_tested_rate: Option<f64>,
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// Its unit, where it is known.
    pub price_ratio_unit: Option<String>,
    /// `detected`, `not-detected`, or `negligible`; null where no family is estimable.
    pub response: Option<&'static str>,
    /// What chose the family that the optimum is read from; a line is passed over, as it has no optimum of its own.
    pub chosen_by: Option<&'static str>,
    /// Why there is no optimum.
    pub reason: Option<String>,
    /// The optimum of the family that stands for the group.
    pub optimum: OptimumOf,
    /// The optimum of every family that answers to N.
    pub by_family: Vec<OptimumOf>,
    /// The optimum at every price ratio, the base first.
    pub by_price: Vec<AtPrice>,
    /// Net return at the optimum, in yield units.
    pub net_return: Option<f64>,
    /// Rates about as good.
    pub near_optimum: Option<NearOptimum>,
}

/// The optimum of one family.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OptimumOf {
    /// Family; null where none is estimable.
    pub family: Option<&'static str>,
    /// The rate, always within the tested range.
    pub rate: Option<f64>,
    /// Lower limit, which may lie past the tested range.
    pub low: Option<f64>,
    /// Upper limit, which may lie past the tested range.
    pub high: Option<f64>,
    /// Level of the interval.
    pub level: f64,
    /// Method of the interval.
    pub method: Option<String>,
    /// Which limits the data give.
    pub limits: Limits,
    /// Pieces of the interval.
    pub segments: Vec<[Option<f64>; 2]>,
    /// What kind of rate it is.
    pub status: OptimumStatus,
}

/// The optimum at one price ratio.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AtPrice {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// As in the group, at this price ratio.
    pub response: Option<&'static str>,
    /// The optimum of the family that stands for the group.
    pub optimum: OptimumOf,
    /// Net return at the optimum, in yield units.
    pub net_return: Option<f64>,
    /// Rates about as good.
    pub near_optimum: Option<NearOptimum>,
}

/// What optima are asked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// The base price ratio.
    pub base: PriceRatio,
    /// Further price ratios, in the same unit.
    pub others: Vec<f64>,
    /// How far from the best net return a rate may be to count as near-optimum.
    pub tolerance: Tolerance,
    /// Level of the intervals.
    pub level: f64,
}

impl Optima {
    /// The optima of groups.
    pub fn of<'a>(groups: impl IntoIterator<Item = &'a FittedGroup>, prices: &Prices) -> Self {
        Self { groups: groups.into_iter().map(|group| OptimumGroup::of(group, prices)).collect() }
    }

    /// Whether any group has an optimum, *not shown* included.
    #[must_use]
    pub fn any(&self) -> bool {
        self.groups.iter().any(|group| group.response.is_some())
    }
}

impl OptimumGroup {
    fn of(fitted: &FittedGroup, prices: &Prices) -> Self {
        let group = &fitted.group;
        let at = |ratio: f64| fitted.outcome.as_ref().ok()?.optimum(ratio, prices.tolerance);
        let base = at(prices.base.value);
        let ratios = std::iter::once(prices.base.value).chain(prices.others.iter().copied());
        Self {
            group: group_object(&group.key),
            rate_unit: group.rate_unit.clone(),
            yield_unit: group.yield_unit.clone(),
            highest_tested_rate: group.rates.iter().copied().reduce(f64::max),
            price_ratio: prices.base.value,
            price_ratio_unit: prices.base.unit.clone(),
            response: base.as_ref().map(|optimum| optimum.response.name()),
            chosen_by: fitted.outcome.as_ref().ok().and_then(|fitted| fitted.best_for_optimum).map(|choice| choice.by),
            reason: match (&fitted.outcome, &base) {
                (Err(error), _) => Some(error.to_string()),
                (Ok(_), None) => Some("no family that answers to N is estimable".to_owned()),
                (Ok(_), Some(_)) => None,
            },
            by_family: by_family(fitted, base.as_ref(), prices.level),
            by_price: ratios.map(|ratio| AtPrice::of(ratio, at(ratio), prices.level)).collect(),
            net_return: base.as_ref().and_then(|optimum| optimum.net_return),
            near_optimum: base.as_ref().and_then(|optimum| optimum.near_optimum),
            optimum: OptimumOf::of_group(base.as_ref(), prices.level),
        }
    }
}

/// One entry for each family that answers to N, in the order of the families.
fn by_family(fitted: &FittedGroup, base: Option<&GroupOptimum>, level: f64) -> Vec<OptimumOf> {
    let families: Vec<Family> = match &fitted.outcome {
        Ok(fitted) => fitted.fits.iter().map(Fit::family).collect(),
        Err(_) => Family::ALL.to_vec(),
    };
    let answering = families.into_iter().filter(|family| *family != Family::Mean);
    answering
        .map(|family| {
            let found = base.and_then(|base| base.by_family.iter().find(|optimum| optimum.family == family));
            found.map_or_else(|| OptimumOf::not_estimable(Some(family), level), OptimumOf::of)
        })
        .collect()
}

impl OptimumOf {
    fn of(optimum: &response::Optimum) -> Self {
        let interval = &optimum.interval;
        Self {
            family: Some(optimum.family.name()),
            rate: optimum.rate,
            low: interval.low,
            high: interval.high,
            level: interval.level,
            method: Some(interval.method.clone()),
            limits: interval.limits,
            segments: interval.segments.clone(),
            status: optimum.status,
        }
    }

    fn of_group(optimum: Option<&GroupOptimum>, level: f64) -> Self {
        optimum.map_or_else(|| Self::not_estimable(None, level), |optimum| Self::of(&optimum.optimum))
    }

    fn not_estimable(family: Option<Family>, level: f64) -> Self {
        Self {
            family: family.map(Family::name),
            rate: None,
            low: None,
            high: None,
            level,
            method: None,
            limits: Limits::NotComputed,
            segments: Vec::new(),
            status: OptimumStatus::NotEstimable,
        }
    }
}

impl AtPrice {
    fn of(price_ratio: f64, optimum: Option<GroupOptimum>, level: f64) -> Self {
        Self {
            price_ratio,
            response: optimum.as_ref().map(|optimum| optimum.response.name()),
            optimum: OptimumOf::of_group(optimum.as_ref(), level),
            net_return: optimum.as_ref().and_then(|optimum| optimum.net_return),
            near_optimum: optimum.and_then(|optimum| optimum.near_optimum),
        }
    }
}

/// A status as it is written.
pub(super) fn status_name(status: OptimumStatus) -> &'static str {
    match status {
        OptimumStatus::Interior => "interior",
        OptimumStatus::AtZero => "at-zero",
        OptimumStatus::AtHighestTestedRate => "at-highest-tested-rate",
        OptimumStatus::BeforeFirstRate => "before-first-rate",
        OptimumStatus::NotShown => "not-shown",
        OptimumStatus::NotEstimable => "not-estimable",
    }
}

const COLUMNS: [&str; 18] = [
    "price_ratio",
    "price_ratio_unit",
    "rate_unit",
    "yield_unit",
    "response",
    "chosen",
    "family",
    "status",
    "reason",
    "rate",
    "low",
    "high",
    "level",
    "method",
    "limits",
    "net_return",
    "near_optimum_low",
    "near_optimum_high",
];

impl Report for Optima {
    const COMMAND: &'static str = "optimum";

    fn text(&self) -> String {
        super::optimum_text::text(self)
    }

    /// One record for each family at the base price ratio, and one for the chosen family at every other.
    fn table(&self) -> Table {
        let factors = factors(self.groups.iter().map(|group| &group.group));
        let mut long = Long::new(factors.iter().map(String::as_str).chain(COLUMNS));
        for group in &self.groups {
            let mut row = |ratio: f64, optimum: &OptimumOf, chosen: Option<&AtPrice>| {
                long.row(level_fields(&group.group, &factors).into_iter().chain(fields(group, ratio, optimum, chosen)));
            };
            for at_price in &group.by_price {
                row(at_price.price_ratio, &at_price.optimum, Some(at_price));
            }
            for optimum in group.by_family.iter().filter(|optimum| optimum.family != group.optimum.family) {
                row(group.price_ratio, optimum, None);
            }
        }
        long.finish()
    }
}

fn fields(group: &OptimumGroup, ratio: f64, optimum: &OptimumOf, chosen: Option<&AtPrice>) -> [Cell; 18] {
    let near = chosen.and_then(|chosen| chosen.near_optimum);
    [
        number(ratio),
        text(group.price_ratio_unit.as_deref()),
        text(group.rate_unit.as_deref()),
        text(group.yield_unit.as_deref()),
        text(group.response),
        if chosen.is_some() { "yes" } else { "no" }.into(),
        text(optimum.family),
        status_name(optimum.status).into(),
        text(group.reason.as_deref()),
        number(optimum.rate),
        number(optimum.low),
        number(optimum.high),
        number(optimum.level),
        text(optimum.method.as_deref()),
        limits_name(optimum.limits).into(),
        number(chosen.and_then(|chosen| chosen.net_return)),
        number(near.map(|near| near.low)),
        number(near.map(|near| near.high)),
    ]
}
