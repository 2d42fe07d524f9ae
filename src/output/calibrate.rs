//! N need against the index, and what the relation says of site-years it has not seen.

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::long::{Long, number, text};
use super::optimum::status_name;
use crate::calibration::{
    Bound, Calibration, HeldOut, NeedPoint, NoRelation, Prediction, Proven, Relation, Validation,
};
use crate::files::export::{Cell, Table};
use crate::season::{Season, TableResult};
use crate::trial::{NeedFrom, RelationKind};

/// The calibration of every table of a programme.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Calibrations {
    /// Unit of needs and rates.
    pub rate_unit: String,
    /// Unit of the price ratios.
    pub price_ratio_unit: Option<String>,
    /// One entry a table.
    pub tables: Vec<TableCalibration>,
}

/// The calibration of one table.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TableCalibration {
    /// Name of the table.
    pub table: String,
    /// Kind of instrument.
    pub instrument: &'static str,
    /// First growth stage.
    pub first_stage: String,
    /// Last growth stage.
    pub last_stage: String,
    /// The kind of relation that the table is made from.
    pub relation: &'static str,
    /// Site-years with a point at the base price ratio.
    pub site_years: usize,
    /// Points and relations, one entry a price ratio, the base first.
    pub at_prices: Vec<CalibrationAt>,
    /// Held-out site-years at the base price ratio, one entry a kind of relation; empty for a single site-year.
    pub validation: Vec<ValidationOf>,
    /// Resampled site-years; null where there are too few.
    pub resampled: Option<ResampledOf>,
}

/// Points and relations at one price ratio.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CalibrationAt {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// Points, each the mean of its plots.
    pub points: Vec<Point>,
    /// What gives no point, with the reason.
    pub set_aside: Vec<Aside>,
    /// One entry a kind of relation.
    pub relations: Vec<RelationOf>,
}

/// One treatment of a site-year.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Point {
    /// Trial folder.
    pub trial: String,
    /// Site-year.
    pub site_year: String,
    /// Variety.
    pub variety: Option<String>,
    /// How the need was found.
    pub need_from: NeedFrom,
    /// N already on.
    pub n_on: f64,
    /// Mean index.
    pub index: f64,
    /// Plots it is the mean of.
    pub plots: usize,
    /// N need; negative where more was on than the optimum.
    pub need: f64,
    /// Lower limit of the need.
    pub low: Option<f64>,
    /// Upper limit of the need.
    pub high: Option<f64>,
    /// `exact`, `at-most` or `at-least`.
    pub bound: &'static str,
    /// Family of the optimum.
    pub family: &'static str,
    /// Status of the optimum.
    pub optimum_status: &'static str,
}

/// A trial, or plots of it, that give no point.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Aside {
    /// Trial folder.
    pub trial: String,
    /// Plots.
    pub plots: usize,
    /// Why.
    pub reason: String,
}

/// A relation, or why there is none.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RelationOf {
    /// Kind.
    pub kind: &'static str,
    /// Coefficients of need = c₀ + c₁·index (+ c₂·index²); empty where there is no relation.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the needs about it.
    pub sigma: Option<f64>,
    /// Lowest index of its points.
    pub lowest_index: Option<f64>,
    /// Highest index of its points.
    pub highest_index: Option<f64>,
    /// Points whose need is a number.
    pub exact: usize,
    /// Points whose need is this or less.
    pub at_most: usize,
    /// Points whose need is this or more.
    pub at_least: usize,
    /// Why there is no relation.
    pub reason: Option<String>,
}

/// A relation on site-years it has not seen.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ValidationOf {
    /// Kind.
    pub kind: &'static str,
    /// Errors of the rule over all held-out site-years.
    pub rule: Errors,
    /// Errors of one rate for all.
    pub one_rate: Errors,
    /// Every site-year in turn.
    pub site_years: Vec<HeldOutSiteYear>,
}

/// Rate minus the need that could be met, in the rate unit: needs that are numbers, and apart from them those that are bounds.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct Errors {
    /// Root mean square over needs that are numbers, each site-year counting the same.
    pub rmse: Option<f64>,
    /// Mean over the same.
    pub bias: Option<f64>,
    /// Rates beside needs of *at least* so much: those below are proven to fall short.
    pub shortfalls: ProvenOf,
    /// Rates beside needs of *at most* so much: those above are proven to be too high.
    pub excesses: ProvenOf,
}

/// Rates beside needs that are bounds on one side.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct ProvenOf {
    /// Needs that are such bounds.
    pub bounds: usize,
    /// Rates on their wrong side.
    pub missed: usize,
    /// The mean of how much those miss at least, in the rate unit.
    pub mean_at_least: Option<f64>,
}

impl From<Proven> for ProvenOf {
    fn from(found: Proven) -> Self {
        Self { bounds: found.bounds, missed: found.missed, mean_at_least: found.mean }
    }
}

/// One held-out site-year.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct HeldOutSiteYear {
    /// Site-year.
    pub site_year: String,
    /// Errors of the rule.
    pub rule: Errors,
    /// Errors of one rate for all.
    pub one_rate: Errors,
    /// Its points as the other site-years predict them.
    pub predictions: Vec<PredictionOf>,
    /// Why the other site-years give no relation.
    pub reason: Option<String>,
}

/// One predicted point.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PredictionOf {
    /// The point.
    pub point: Point,
    /// Rate of the rule.
    pub rate: f64,
    /// One rate for all; null where the needs of all other site-years are bounds.
    pub one_rate: Option<f64>,
    /// Whether its index lies within those of the other site-years.
    pub in_domain: bool,
}

/// Resampled site-years.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct ResampledOf {
    /// Site-years.
    pub site_years: usize,
    /// Resamples drawn.
    pub attempted: u64,
    /// Resamples that gave no relation.
    pub failed: u64,
}

impl Calibrations {
    /// The calibrations of a season's tables.
    pub fn of<'a>(season: &Season, tables: impl IntoIterator<Item = &'a TableResult>) -> Self {
        Self {
            rate_unit: season.programme.units.n_rate.to_string(),
            price_ratio_unit: season.price_ratio.as_ref().and_then(|ratio| ratio.unit.clone()),
            tables: tables.into_iter().map(TableCalibration::of).collect(),
        }
    }

    /// Whether any table has a point.
    #[must_use]
    pub fn any(&self) -> bool {
        self.tables.iter().any(|table| table.site_years > 0)
    }
}

impl TableCalibration {
    fn of(result: &TableResult) -> Self {
        let specification = &result.specification;
        Self {
            table: specification.name.clone(),
            instrument: specification.instrument.name(),
            first_stage: specification.stages.0.to_string(),
            last_stage: specification.stages.1.to_string(),
            relation: specification.relation.unwrap_or(crate::trial::RelationKind::LinearWithFloor).name(),
            site_years: result.calibrations.first().map_or(0, |base| base.site_years().len()),
            at_prices: result.calibrations.iter().map(CalibrationAt::of).collect(),
            validation: result.validation.iter().map(ValidationOf::of).collect(),
            resampled: result.resampled.as_ref().map(|resampled| ResampledOf {
                site_years: resampled.site_years,
                attempted: resampled.attempted,
                failed: resampled.failed(),
            }),
        }
    }

    /// The calibration at the base price ratio.
    #[must_use]
    pub fn base(&self) -> Option<&CalibrationAt> {
        self.at_prices.first()
    }
}

impl CalibrationAt {
    fn of(calibration: &Calibration) -> Self {
        let set_aside = calibration.set_aside.iter();
        Self {
            price_ratio: calibration.price_ratio,
            points: calibration.points.iter().map(Point::of).collect(),
            set_aside: set_aside
                .map(|aside| Aside { trial: aside.trial.clone(), plots: aside.plots, reason: aside.reason.clone() })
                .collect(),
            relations: calibration.relations.iter().map(|(kind, relation)| RelationOf::of(*kind, relation)).collect(),
        }
    }

    /// Plots that are points, and plots that are set aside.
    #[must_use]
    pub fn plots(&self) -> (usize, usize) {
        (self.points.iter().map(|point| point.plots).sum(), self.set_aside.iter().map(|aside| aside.plots).sum())
    }
}

impl Point {
    fn of(point: &NeedPoint) -> Self {
        Self {
            trial: point.trial.clone(),
            site_year: point.site_year.clone(),
            variety: point.variety.clone(),
            need_from: point.need_from,
            n_on: point.n_on,
            index: point.index,
            plots: point.plots,
            need: point.need,
            low: point.low,
            high: point.high,
            bound: match point.bound {
                Bound::Exact => "exact",
                Bound::AtMost => "at-most",
                Bound::AtLeast => "at-least",
            },
            family: point.family.name(),
            optimum_status: status_name(point.optimum_status),
        }
    }
}

impl RelationOf {
    fn of(kind: RelationKind, relation: &Result<Relation, NoRelation>) -> Self {
        let found = relation.as_ref().ok();
        Self {
            kind: kind.name(),
            coefficients: found.map_or_else(Vec::new, |relation| relation.coefficients.clone()),
            sigma: found.map(|relation| relation.sigma),
            lowest_index: found.map(|relation| relation.domain.0),
            highest_index: found.map(|relation| relation.domain.1),
            exact: found.map_or(0, |relation| relation.exact),
            at_most: found.map_or(0, |relation| relation.at_most),
            at_least: found.map_or(0, |relation| relation.at_least),
            reason: relation.as_ref().err().map(ToString::to_string),
        }
    }
}

fn errors(validation: &Validation, rate: impl Fn(&Prediction) -> Option<f64>) -> Errors {
    let found = validation.root_mean_square_and_bias(|one| one.error(rate(one)?));
    Errors {
        rmse: found.map(|(rmse, _)| rmse),
        bias: found.map(|(_, bias)| bias),
        shortfalls: validation.proven(|one| one.shortfall(rate(one)?)).into(),
        excesses: validation.proven(|one| one.excess(rate(one)?)).into(),
    }
}

impl ValidationOf {
    fn of(validation: &Validation) -> Self {
        Self {
            kind: validation.kind.name(),
            rule: errors(validation, |one| Some(one.rate)),
            one_rate: errors(validation, |one| one.one_rate),
            site_years: validation
                .held_out
                .iter()
                .map(|held_out| HeldOutSiteYear::of(validation.kind, held_out))
                .collect(),
        }
    }
}

impl HeldOutSiteYear {
    fn of(kind: RelationKind, held_out: &HeldOut) -> Self {
        let alone = Validation { kind, held_out: vec![held_out.clone()] };
        let predictions = held_out.predictions.iter().flatten();
        Self {
            site_year: held_out.site_year.clone(),
            rule: errors(&alone, |one| Some(one.rate)),
            one_rate: errors(&alone, |one| one.one_rate),
            predictions: predictions
                .map(|prediction| PredictionOf {
                    point: Point::of(&prediction.point),
                    rate: prediction.rate,
                    one_rate: prediction.one_rate,
                    in_domain: prediction.in_domain,
                })
                .collect(),
            reason: held_out.predictions.as_ref().err().map(ToString::to_string),
        }
    }
}

impl Report for Calibrations {
    const COMMAND: &'static str = "calibrate";

    fn text(&self) -> String {
        super::calibrate_text::text(self)
    }

    /// One record a point at each price ratio, and one for what is set aside.
    fn table(&self) -> Table {
        let mut long = Long::new([
            "table",
            "instrument",
            "price_ratio",
            "price_ratio_unit",
            "trial",
            "site_year",
            "variety",
            "need_from",
            "n_on",
            "index",
            "plots",
            "need",
            "low",
            "high",
            "rate_unit",
            "bound",
            "family",
            "optimum_status",
            "status",
            "reason",
        ]);
        for table in &self.tables {
            for at in &table.at_prices {
                let head = || {
                    [
                        table.table.as_str().into(),
                        table.instrument.into(),
                        number(at.price_ratio),
                        text(self.price_ratio_unit.as_deref()),
                    ]
                };
                for point in &at.points {
                    long.row(head().into_iter().chain(self.point_fields(point)));
                }
                for aside in &at.set_aside {
                    long.row(head().into_iter().chain(self.aside_fields(aside)));
                }
            }
        }
        long.finish()
    }
}

/// How a need was found, as it is written.
pub(super) fn need_from_name(need_from: NeedFrom) -> &'static str {
    match need_from {
        NeedFrom::DifferenceFromOptimum => "difference-from-optimum",
        NeedFrom::TopdressResponse => "topdress-response",
    }
}

impl Calibrations {
    fn point_fields(&self, point: &Point) -> [Cell; 16] {
        [
            point.trial.as_str().into(),
            point.site_year.as_str().into(),
            text(point.variety.as_deref()),
            need_from_name(point.need_from).into(),
            number(point.n_on),
            number(point.index),
            point.plots.into(),
            number(point.need),
            number(point.low),
            number(point.high),
            self.rate_unit.as_str().into(),
            point.bound.into(),
            point.family.into(),
            point.optimum_status.into(),
            "used".into(),
            text(None),
        ]
    }

    fn aside_fields(&self, aside: &Aside) -> [Cell; 16] {
        [
            aside.trial.as_str().into(),
            text(None),
            text(None),
            text(None),
            number(None),
            number(None),
            aside.plots.into(),
            number(None),
            number(None),
            number(None),
            self.rate_unit.as_str().into(),
            text(None),
            text(None),
            text(None),
            "set-aside".into(),
            aside.reason.as_str().into(),
        ]
    }
}
