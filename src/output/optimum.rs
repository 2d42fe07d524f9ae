//! The economic optimum of every group.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::across::AcrossOf;
use super::economy::{AtPrices, EconomyOf, WithQuality};
use super::envelope::Report;
use super::group::{factors, group_object, level_fields};
use super::long::{Long, number, text};
use crate::economics::{Economy, NearOptimum, PriceRatio, Tolerance};
use crate::experiment::{FittedGroup, GroupOptimum, QualityGroup, Response};
use crate::files::export::{Cell, Table};
use crate::response::{self, AveragedOptimum, Disagreement, Family, Fit, OptimumStatus};
use crate::site_years::Across;
use crate::stats::interval::Limits;

/// The optimum of every group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Optima {
    /// One entry a group.
    pub groups: Vec<OptimumGroup>,
    /// What site-years give together, an entry for each kind of N rate; empty where there are not two like site-years.
    pub across: Vec<AcrossOf>,
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
    /// `detected`, `not-detected`, or `negligible`; null where a response cannot be tested: the optimum is then the family's own.
    pub response: Option<&'static str>,
    /// What tested it: `permutation` or `f`, as in `curves`.
    pub response_test: Option<&'static str>,
    /// Why a response is not tested.
    pub untested: Option<String>,
    /// What chose the family that the optimum is read from; a line is passed over, as it has no optimum of its own.
    pub chosen_by: Option<&'static str>,
    /// Why there is no optimum.
    pub reason: Option<String>,
    /// The optimum of the family that stands for the group.
    pub optimum: OptimumOf,
    /// The optimum of the family that stands for the group with the yields that are left out put back in; null where none is left out
    /// that was measured.
    pub with_excluded: Option<WithExcluded>,
    /// The optimum of every family that answers to N.
    pub by_family: Vec<OptimumOf>,
    /// The optimum at every price ratio, the base first.
    pub by_price: Vec<AtPrice>,
    /// Net return at the optimum, in yield units.
    pub net_return: Option<f64>,
    /// Rates about as good.
    pub near_optimum: Option<NearOptimum>,
    /// How far families that fit about equally well disagree on the optimum; null where a response is not shown or one family stands out.
    pub disagreement: Option<Disagreement>,
    /// The optimum averaged over families by their weights; null where a response is not shown or families have no weights.
    pub averaged: Option<AveragedOptimum>,
    /// What is asked beside the optimum.
    #[serde(flatten)]
    pub economy: EconomyOf,
}

/// The optimum of a group with the yields that are left out put back in.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WithExcluded {
    /// Yields put back in.
    pub put_in: usize,
    /// As in the group.
    pub response: Option<&'static str>,
    /// The optimum of the family that then stands for the group.
    #[serde(flatten)]
    pub optimum: OptimumOf,
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
    /// Why there is no optimum, or no interval.
    pub reason: Option<String>,
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
    /// Prices in money, and what is asked beside the optimum.
    pub economy: Economy,
}

impl Optima {
    /// The optima of groups.
    pub fn of<'a>(groups: impl IntoIterator<Item = &'a FittedGroup>, prices: &Prices) -> Self {
        Self { groups: groups.into_iter().map(|group| OptimumGroup::of(group, prices)).collect(), across: Vec::new() }
    }

    /// With what site-years give together.
    #[must_use]
    pub fn with_across(self, across: &[Across]) -> Self {
        Self { across: across.iter().map(AcrossOf::of).collect(), ..self }
    }

    /// The same with the optimum beside it of yields that are worth what the quality of their grain makes them worth.
    #[must_use]
    pub fn with_quality<'a>(mut self, groups: impl IntoIterator<Item = &'a QualityGroup>, prices: &Prices) -> Self {
        for valued in groups {
            let key = group_object(&valued.fitted.group.key);
            if let Some(group) = self.groups.iter_mut().find(|group| group.group == key) {
                group.economy.with_quality = Some(WithQuality::of(valued, prices));
            }
        }
        self
    }

    /// Whether any group has an optimum, *not shown* included.
    #[must_use]
    pub fn any(&self) -> bool {
        self.groups.iter().any(|group| group.optimum.rate.is_some())
    }
}

impl OptimumGroup {
    fn of(fitted: &FittedGroup, prices: &Prices) -> Self {
        let group = &fitted.group;
        let at = |ratio: f64| fitted.outcome.as_ref().ok()?.optimum(ratio, prices.tolerance);
        let base = at(prices.base.value);
        let curves = fitted.outcome.as_ref().ok();
        let test = curves.map(|curves| &curves.response);
        let reason = match &fitted.outcome {
            Err(error) => Some(error.to_string()),
            Ok(fitted) => fitted.why_none_chosen().map(str::to_owned),
        };
        let ratios = std::iter::once(prices.base.value).chain(prices.others.iter().copied());
        Self {
            group: group_object(&group.key),
            rate_unit: group.rate_unit.clone(),
            yield_unit: group.yield_unit.clone(),
            highest_tested_rate: group.rates.iter().copied().reduce(f64::max),
            price_ratio: prices.base.value,
            price_ratio_unit: prices.base.unit.clone(),
            response: base.as_ref().and_then(|optimum| optimum.response).map(Response::name),
            response_test: test.and_then(|test| test.p.map(|_| test.by.name())),
            untested: test.and_then(|test| test.untested.clone()),
            chosen_by: curves.and_then(|curves| curves.best_for_optimum).map(|choice| choice.by),
            with_excluded: WithExcluded::of(fitted, prices.base.value, prices.tolerance, prices.level),
            by_family: by_family(fitted, prices),
            by_price: ratios.map(|ratio| AtPrice::of(ratio, at(ratio), prices.level, reason.as_deref())).collect(),
            net_return: base.as_ref().and_then(|optimum| optimum.net_return),
            near_optimum: base.as_ref().and_then(|optimum| optimum.near_optimum),
            disagreement: curves.and_then(|curves| curves.disagreement(prices.base.value)),
            averaged: curves.and_then(|curves| curves.averaged_optimum(prices.base.value)),
            optimum: OptimumOf::of_group(base.as_ref(), prices.level, reason.as_deref()),
            economy: EconomyOf::of(fitted, base.as_ref(), prices, reason.as_deref()),
            reason,
        }
    }
}

impl WithExcluded {
    /// Of a group where a yield is left out that was measured.
    pub(super) fn of(fitted: &FittedGroup, price_ratio: f64, tolerance: Tolerance, level: f64) -> Option<Self> {
        let refitted = fitted.with_excluded.as_deref()?;
        let curves = refitted.outcome.as_ref().ok();
        let optimum = curves.and_then(|fitted| fitted.optimum(price_ratio, tolerance));
        let reason = curves.and_then(|fitted| fitted.why_none_chosen());
        Some(Self {
            put_in: fitted.group.left_out.len() - refitted.group.left_out.len(),
            response: optimum.as_ref().and_then(|optimum| optimum.response).map(Response::name),
            optimum: OptimumOf::of_group(optimum.as_ref(), level, reason),
        })
    }
}

/// One entry for each family that answers to N, in the order of the families.
fn by_family(fitted: &FittedGroup, prices: &Prices) -> Vec<OptimumOf> {
    let answering = Family::ALL.into_iter().filter(|family| *family != Family::Mean);
    match &fitted.outcome {
        Err(error) => {
            answering.map(|family| OptimumOf::none(Some(family), prices.level, Some(&error.to_string()))).collect()
        }
        Ok(fitted) => {
            let found = fitted.optimum_by_family(prices.base.value);
            let entry = |fit: &Fit| match (fit, found.iter().find(|optimum| optimum.family == fit.family())) {
                (_, Some(optimum)) => OptimumOf::of(optimum),
                (Fit::NotEstimable { reason, .. }, None) => {
                    OptimumOf::none(Some(fit.family()), prices.level, Some(reason))
                }
                (Fit::Estimated(_), None) => OptimumOf::none(Some(fit.family()), prices.level, None),
            };
            fitted.fits.iter().filter(|fit| fit.family() != Family::Mean).map(entry).collect()
        }
    }
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
            reason: optimum.interval.reason.clone(),
        }
    }

    pub(super) fn of_group(optimum: Option<&GroupOptimum>, level: f64, reason: Option<&str>) -> Self {
        optimum.map_or_else(|| Self::none(None, level, reason), |optimum| Self::of(&optimum.optimum))
    }

    fn none(family: Option<Family>, level: f64, reason: Option<&str>) -> Self {
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
            reason: reason.map(str::to_owned),
        }
    }
}

impl AtPrice {
    pub(super) fn of(price_ratio: f64, optimum: Option<GroupOptimum>, level: f64, reason: Option<&str>) -> Self {
        Self {
            price_ratio,
            response: optimum.as_ref().and_then(|optimum| optimum.response).map(Response::name),
            optimum: OptimumOf::of_group(optimum.as_ref(), level, reason),
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

const COLUMNS: [&str; 23] = [
    "price_ratio",
    "price_ratio_unit",
    "rate_unit",
    "yield_unit",
    "response",
    "response_test",
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
    "money_unit",
    "net_return_money",
    "grain_price",
    "n_price",
];

impl Report for Optima {
    const COMMAND: &'static str = "optimum";

    fn text(&self) -> String {
        super::optimum_text::text(self)
    }

    /// One record for each family at the base price ratio, and one for the chosen family at every other and at every pair of prices of a
    /// grid, with those prices.
    fn table(&self) -> Table {
        let factors = factors(self.groups.iter().map(|group| &group.group));
        let mut long = Long::new(factors.iter().map(String::as_str).chain(COLUMNS));
        for group in &self.groups {
            let mut row = |ratio: f64, optimum: &OptimumOf, chosen: Option<&AtPrice>, money: [Option<f64>; 3]| {
                let fields = fields(group, ratio, optimum, chosen).into_iter();
                let fields = fields.chain([text(group.economy.money_unit.as_deref())]).chain(money.map(number));
                long.row(level_fields(&group.group, &factors).into_iter().chain(fields));
            };
            for (position, at_price) in group.by_price.iter().enumerate() {
                let money = group.economy.net_return_money.filter(|_| position == 0);
                row(at_price.price_ratio, &at_price.optimum, Some(at_price), [money, None, None]);
            }
            for optimum in group.by_family.iter().filter(|optimum| optimum.family != group.optimum.family) {
                row(group.price_ratio, optimum, None, [None; 3]);
            }
            for AtPrices { grain_price, n_price, net_return_money, at } in &group.economy.price_grid {
                row(at.price_ratio, &at.optimum, Some(at), [*net_return_money, Some(*grain_price), Some(*n_price)]);
            }
        }
        long.finish()
    }
}

fn fields(group: &OptimumGroup, ratio: f64, optimum: &OptimumOf, chosen: Option<&AtPrice>) -> [Cell; 19] {
    let near = chosen.and_then(|chosen| chosen.near_optimum);
    [
        number(ratio),
        text(group.price_ratio_unit.as_deref()),
        text(group.rate_unit.as_deref()),
        text(group.yield_unit.as_deref()),
        text(group.response),
        text(group.response_test),
        if chosen.is_some() { "yes" } else { "no" }.into(),
        text(optimum.family),
        status_name(optimum.status).into(),
        text(optimum.reason.as_deref()),
        number(optimum.rate),
        number(optimum.low),
        number(optimum.high),
        number(optimum.level),
        text(optimum.method.as_deref()),
        optimum.limits.name().into(),
        number(chosen.and_then(|chosen| chosen.net_return)),
        number(near.map(|near| near.low)),
        number(near.map(|near| near.high)),
    ]
}
