//! N need against the index, and what the relation says of site-years it has not seen.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::calibrate_index::{CriticalIndexOf, FeaturesOf, ReliabilityOf};
use super::envelope::Report;
use super::optimum::status_name;
use crate::calibration::{
    Bound, Calibration, HeldOut, NeedPoint, NoRelation, Performance, Prediction, Relation, Rule, Scored, SetAside,
    Tried, Validation, Verdict,
};
use crate::files::export::Table;
use crate::season::{Season, TableResult};
use crate::stats::interval::Interval;
use crate::stats::random_effects::Known;
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
    /// Several readings of the same treatments at once; one entry a stage window and variety group.
    pub features: Vec<FeaturesOf>,
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
    /// The kind of relation that was asked for; null where validation chooses.
    pub relation_asked: Option<&'static str>,
    /// The kind that the table is made from; null where there is none.
    pub relation: Option<&'static str>,
    /// Why there is no relation; null where there is one.
    pub reason: Option<String>,
    /// What each kind forgoes on held-out site-years, where validation chose; empty where one was asked for.
    pub tried: Vec<TriedOf>,
    /// Site-years with a point at the base price ratio.
    pub site_years: usize,
    /// Site-years that take part in the relation: all of them, or those with early × topdress trials.
    pub relation_site_years: usize,
    /// Unit of forgone returns and gains.
    pub return_unit: String,
    /// Points and relations, one entry a price ratio, the base first.
    pub at_prices: Vec<CalibrationAt>,
    /// Site-years, seasons and sites held out in turn at the base price ratio, whichever are two or more.
    pub validation: Vec<ValidationOf>,
    /// What the held-out site-years say of the sensor; null with fewer than two.
    pub verdict: Option<VerdictOf>,
    /// Resampled site-years; null where there are too few.
    pub resampled: Option<ResampledOf>,
    /// How reliable the index of its treatments is.
    pub reliability: ReliabilityOf,
    /// The index as a classifier.
    pub critical_index: CriticalIndexOf,
}

/// A kind of relation that was tried.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TriedOf {
    /// Kind.
    pub relation: &'static str,
    /// Mean forgone return of its rates on held-out site-years.
    pub forgone: Option<f64>,
    /// Why it has none.
    pub reason: Option<String>,
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
    /// N need; negative where more was on than the optimum. Of a bound the limit.
    pub need: f64,
    /// Standard error of a need that is a number; points of one trial and variety may share the error.
    pub standard_error: Option<f64>,
    /// Lower limit of the need.
    pub low: Option<f64>,
    /// Upper limit of the need.
    pub high: Option<f64>,
    /// What a relation takes for known of the need: `exact`, `at-most`, `at-least`, `within` or `open`.
    pub bound: &'static str,
    /// The lower limit that a relation takes; null where there is none.
    pub known_low: Option<f64>,
    /// The upper limit that a relation takes; null where there is none.
    pub known_high: Option<f64>,
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
    /// Its numbers by name, in the rate unit and with the index as a fraction; empty where there is no relation.
    pub coefficients: BTreeMap<&'static str, f64>,
    /// Standard deviation between site-years about it.
    pub between: Option<f64>,
    /// Standard deviation within a site-year about it, beyond the errors of the optima.
    pub within: Option<f64>,
    /// Lowest index of its points.
    pub lowest_index: Option<f64>,
    /// Highest index of its points.
    pub highest_index: Option<f64>,
    /// Whether the need had to be kept from rising with the index.
    pub held_from_rising: Option<bool>,
    /// Why there is no relation.
    pub reason: Option<String>,
}

/// Rules on what they have not seen.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ValidationOf {
    /// What is held out together: `site-year`, `season` or `site`.
    pub held_out: &'static str,
    /// In how many parts.
    pub parts: usize,
    /// How each rule did over all site-years, each counting the same.
    pub rules: Vec<PerformanceOf>,
    /// Every site-year.
    pub site_years: Vec<HeldOutSiteYear>,
}

/// How a rule did.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PerformanceOf {
    /// The rule.
    pub rule: &'static str,
    /// Root mean square of its rates minus the needs that could be met, over needs that are numbers.
    pub rmse: Option<f64>,
    /// Mean of the same: above 0 is too much N.
    pub bias: Option<f64>,
    /// Mean rate.
    pub rate: f64,
    /// Mean forgone return.
    pub forgone: f64,
    /// Site-years.
    pub site_years: usize,
    /// Site-years in which the forgone return is a lower bound for some point, its optimum not being reached.
    pub lower_bounds: usize,
}

/// One held-out site-year.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct HeldOutSiteYear {
    /// Site-year.
    pub site_year: String,
    /// The kind of relation that the others chose; null where they give none.
    pub relation: Option<&'static str>,
    /// Why the others give no relation.
    pub reason: Option<String>,
    /// How each rule did on it.
    pub rules: Vec<PerformanceOf>,
    /// Its points as the others predict them.
    pub predictions: Vec<PredictionOf>,
}

/// One predicted point.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PredictionOf {
    /// The point.
    pub point: Point,
    /// The need that the relation of the others gives; below 0 where it says so.
    pub need: f64,
    /// Whether its index lies within those of the others.
    pub in_domain: bool,
    /// Whether forgone returns are lower bounds, its optimum not being reached.
    pub is_lower_bound: bool,
    /// Rate and forgone return of each rule.
    pub rules: Vec<RateOf>,
}

/// A rule's rate for a point.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RateOf {
    /// The rule.
    pub rule: &'static str,
    /// Its rate.
    pub rate: f64,
    /// What it forgoes.
    pub forgone: f64,
}

/// What held-out site-years say of the sensor.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct VerdictOf {
    /// `pays`, `cannot tell yet` or `does not pay`.
    pub verdict: &'static str,
    /// The rule that it is compared with: the better of the best rate given early N and the best total less early N.
    pub against: &'static str,
    /// Mean gain over that rule, in the return unit, with its interval over site-years.
    pub gain: Interval,
    /// How often chance alone would gain as much: the two rules exchanged within site-years.
    pub p_value: f64,
    /// Site-years compared.
    pub site_years: usize,
    /// How many more site-years like these it would take to tell; null where they tell, or where it is beyond reason.
    pub more_site_years: Option<usize>,
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
    pub fn of(season: &Season, tables: &[TableResult]) -> Self {
        Self {
            rate_unit: season.programme.units.n_rate.to_string(),
            price_ratio_unit: season.price_ratio.as_ref().and_then(|ratio| ratio.unit.clone()),
            tables: tables.iter().map(TableCalibration::of).collect(),
            features: season.together(tables).iter().map(FeaturesOf::of).collect(),
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
        let derived = &result.derived;
        let base = derived.calibrations.first();
        let chosen = base.and_then(|base| base.chosen.as_ref().ok());
        let factor = derived.return_factor;
        let resampled = base.and_then(|base| base.resampled.as_ref());
        Self {
            table: specification.name.clone(),
            instrument: specification.instrument.name(),
            first_stage: specification.stages.0.to_string(),
            last_stage: specification.stages.1.to_string(),
            relation_asked: specification.relation.map(RelationKind::name),
            relation: chosen.map(|chosen| chosen.kind.name()),
            reason: base.and_then(|base| base.relation().err()).map(|reason| reason.to_string()),
            tried: chosen
                .map_or(&[][..], |chosen| &chosen.tried)
                .iter()
                .map(|tried| TriedOf::of(tried, factor))
                .collect(),
            site_years: base.map_or(0, |base| base.site_years().len()),
            relation_site_years: base.map_or(0, |base| base.taking_part.len()),
            return_unit: derived.return_unit.clone(),
            at_prices: derived
                .calibrations
                .iter()
                .map(|calibration| CalibrationAt::of(calibration, &result.gathered.set_aside))
                .collect(),
            validation: derived.validations.iter().map(|validation| ValidationOf::of(validation, factor)).collect(),
            verdict: derived.verdict.as_ref().map(|verdict| VerdictOf::of(verdict, factor)),
            resampled: resampled.map(|resampled| ResampledOf {
                site_years: resampled.site_years(),
                attempted: resampled.attempted,
                failed: resampled.failed(),
            }),
            reliability: ReliabilityOf::of(&result.reliability),
            critical_index: CriticalIndexOf::of(result.deficient_above, &result.classifier),
        }
    }

    /// The calibration at the base price ratio.
    #[must_use]
    pub fn base(&self) -> Option<&CalibrationAt> {
        self.at_prices.first()
    }
}

impl CalibrationAt {
    fn of(calibration: &Calibration, without_price: &[SetAside]) -> Self {
        let set_aside = without_price.iter().chain(&calibration.set_aside);
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
            standard_error: point.variance.map(f64::sqrt),
            low: point.low,
            high: point.high,
            bound: bound_name(point.bound()),
            known_low: match point.known {
                Known::Exact(need) => Some(need),
                Known::Between { low, .. } => Some(low).filter(|low| low.is_finite()),
            },
            known_high: match point.known {
                Known::Exact(need) => Some(need),
                Known::Between { high, .. } => Some(high).filter(|high| high.is_finite()),
            },
            family: point.family.name(),
            optimum_status: status_name(point.optimum_status),
        }
    }
}

/// What is known of a need, as it is written.
fn bound_name(bound: Bound) -> &'static str {
    match bound {
        Bound::Exact => "exact",
        Bound::AtMost => "at-most",
        Bound::AtLeast => "at-least",
        Bound::Within => "within",
        Bound::Open => "open",
    }
}

impl TriedOf {
    fn of(tried: &Tried, factor: f64) -> Self {
        Self {
            relation: tried.kind.name(),
            forgone: tried.forgone.as_ref().ok().map(|forgone| forgone * factor),
            reason: tried.forgone.as_ref().err().map(ToString::to_string),
        }
    }
}

impl RelationOf {
    fn of(kind: RelationKind, relation: &Result<Relation, NoRelation>) -> Self {
        let found = relation.as_ref().ok();
        Self {
            kind: kind.name(),
            coefficients: found
                .map_or_else(BTreeMap::new, |relation| relation.form.coefficients().into_iter().collect()),
            between: found.map(|relation| relation.between),
            within: found.map(|relation| relation.within),
            lowest_index: found.map(|relation| relation.domain.0),
            highest_index: found.map(|relation| relation.domain.1),
            held_from_rising: found.map(|relation| relation.held_from_rising),
            reason: relation.as_ref().err().map(ToString::to_string),
        }
    }
}

impl PerformanceOf {
    fn all(validation: &Validation, factor: f64) -> Vec<Self> {
        let of = |found: &Performance| Self {
            rule: found.rule.name(),
            rmse: found.root_mean_square_error,
            bias: found.bias,
            rate: found.rate,
            forgone: found.forgone * factor,
            site_years: found.site_years,
            lower_bounds: found.lower_bounds,
        };
        validation.performances().iter().map(of).collect()
    }
}

impl ValidationOf {
    fn of(validation: &Validation, factor: f64) -> Self {
        Self {
            held_out: validation.by.name(),
            parts: validation.parts,
            rules: PerformanceOf::all(validation, factor),
            site_years: validation
                .held_out
                .iter()
                .map(|held_out| HeldOutSiteYear::of(validation, held_out, factor))
                .collect(),
        }
    }

    /// How a rule did over all site-years.
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&PerformanceOf> {
        self.rules.iter().find(|performance| performance.rule == name)
    }
}

impl HeldOutSiteYear {
    fn of(validation: &Validation, held_out: &HeldOut, factor: f64) -> Self {
        let alone = Validation { held_out: vec![held_out.clone()], ..*validation };
        Self {
            site_year: held_out.site_year.clone(),
            relation: held_out.kind.as_ref().ok().map(|kind| kind.name()),
            reason: held_out.kind.as_ref().err().map(ToString::to_string),
            rules: PerformanceOf::all(&alone, factor),
            predictions: held_out.predictions.iter().map(|prediction| PredictionOf::of(prediction, factor)).collect(),
        }
    }
}

impl PredictionOf {
    fn of(prediction: &Prediction, factor: f64) -> Self {
        let rate = |(rule, scored): (&Rule, &Scored)| RateOf {
            rule: rule.name(),
            rate: scored.rate,
            forgone: scored.forgone * factor,
        };
        Self {
            point: Point::of(&prediction.point),
            need: prediction.need,
            in_domain: prediction.in_domain,
            is_lower_bound: prediction.is_lower_bound,
            rules: prediction.scores.iter().map(rate).collect(),
        }
    }
}

impl VerdictOf {
    fn of(verdict: &Verdict, factor: f64) -> Self {
        let mut gain = verdict.gain.clone();
        let ends = gain.segments.iter_mut().flatten();
        for end in ends.chain([&mut gain.estimate, &mut gain.low, &mut gain.high]).flatten() {
            *end *= factor;
        }
        Self {
            verdict: verdict.word.name(),
            against: verdict.against.name(),
            gain,
            p_value: verdict.p_value,
            site_years: verdict.site_years,
            more_site_years: verdict.more_site_years,
        }
    }
}

impl Report for Calibrations {
    const COMMAND: &'static str = "calibrate";

    fn text(&self) -> String {
        super::calibrate_text::text(self)
    }

    /// One value a record: `record` says of what.
    fn table(&self) -> Table {
        super::calibrate_csv::long(self)
    }
}

/// How a need was found, as it is written.
pub(super) fn need_from_name(need_from: NeedFrom) -> &'static str {
    match need_from {
        NeedFrom::DifferenceFromOptimum => "difference-from-optimum",
        NeedFrom::TopdressResponse => "topdress-response",
    }
}
