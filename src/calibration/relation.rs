//! N need as a function of the index, fitted to needs whose errors are known.

use super::points::NeedPoint;
use super::shortfall::{NeedCurve, NeedSpline, NoShortfall, Power};
use crate::stats::clustered::{Cluster, Clustered, ClusteredError, Group, Point, Prepared};
use crate::stats::least_squares::solve;
use crate::stats::quantile::quantile;
use crate::stats::random_effects::Known;
use crate::trial::RelationKind;

/// A relation of need and index, at the price ratio of its needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Relation {
    /// Its kind.
    pub kind: RelationKind,
    /// Need by index.
    pub form: Form,
    /// Standard deviation of needs between site-years about it, in the rate unit; NaN where it was not asked for or can't be told.
    pub between: f64,
    /// Standard deviation of needs within a site-year about it, beyond the errors of the optima, in the rate unit; NaN likewise.
    pub within: f64,
    /// The largest log-likelihood; of a one-stage relation that of the yields.
    pub log_likelihood: f64,
    /// Lowest and highest index of its points: beyond them it says nothing.
    pub domain: (f64, f64),
    /// Whether the need had to be kept from rising with the index somewhere.
    pub held_from_rising: bool,
}

/// Need by index, in the rate unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// c₀ + c₁·index (+ c₂·index²).
    Polynomial(Vec<f64>),
    /// need at the reference + slope·(e^(shape·s) − 1)/shape with s = 1 − index.
    Exponential {
        /// Need where the stand reads as its reference.
        at_reference: f64,
        /// Need per unit of s there.
        slope: f64,
        /// Shape, per unit of s; 0 is a straight line.
        shape: f64,
    },
    /// The need less what is worth leaving: that of the shortfall model at a price ratio.
    Shortfall {
        /// The need where N costs nothing.
        need: NeedCurve,
        /// The power of the shortfall that yield falls with.
        power: Power,
        /// c: yield lost by one unit of shortfall.
        loss: f64,
        /// The price ratio.
        price_ratio: f64,
    },
}

/// Names of a spline's knots, in s = 1 − index, and of its ordinates.
const KNOTS: [&str; 5] = ["lowest_s", "knot_1", "knot_2", "knot_3", "highest_s"];
const ORDINATES: [&str; 6] = ["ordinate_1", "ordinate_2", "ordinate_3", "ordinate_4", "ordinate_5", "ordinate_6"];

/// Why there is no relation.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoRelation {
    /// No trial gives a point.
    #[error("no trial gives a calibration point")]
    NoPoints,
    /// The index does not vary.
    #[error("every treatment has the same index, {0:.3}: nothing can be related to it")]
    IndexConstant(f64),
    /// No need is a number.
    #[error("no need is a number: every optimum is a bound or is not shown")]
    NoNumbers,
    /// The points do not determine it.
    #[error("{0}")]
    NotDetermined(#[from] ClusteredError),
    /// The shortfall model has no fit.
    #[error("{0}")]
    Shortfall(#[from] NoShortfall),
}

impl Form {
    /// The need at an index; negative where more is on than needed.
    #[must_use]
    pub fn need(&self, index: f64) -> f64 {
        match self {
            Self::Polynomial(coefficients) => coefficients.iter().rev().fold(0.0, |sum, c| sum * index + c),
            Self::Exponential { at_reference, slope, shape } => at_reference + slope * exponential(*shape, 1.0 - index),
            Self::Shortfall { need, power, loss, price_ratio } => {
                need.value(index) - power.worth_leaving(*loss, *price_ratio)
            }
        }
    }

    /// Its numbers with their names.
    #[must_use]
    pub fn coefficients(&self) -> Vec<(&'static str, f64)> {
        match self {
            Self::Polynomial(coefficients) => {
                ["intercept", "index", "index_squared"].into_iter().zip(coefficients.iter().copied()).collect()
            }
            Self::Exponential { at_reference, slope, shape } => {
                vec![("need_at_reference", *at_reference), ("slope_at_reference", *slope), ("shape", *shape)]
            }
            Self::Shortfall { need: NeedCurve::Polynomial(coefficients), loss, .. } => {
                let names = ["need_at_reference", "shortfall", "shortfall_squared"];
                let named = names.into_iter().zip(coefficients.iter().copied());
                named.chain([("loss", *loss)]).collect()
            }
            Self::Shortfall { need: NeedCurve::Spline(NeedSpline { knots, ordinates }), power, loss, .. } => {
                let knots = KNOTS.into_iter().zip(knots.iter().copied());
                let ordinates = ORDINATES.into_iter().zip(ordinates.iter().copied());
                let power = ("loss_power", f64::from(power.exponent()));
                knots.chain(ordinates).chain([("loss", *loss), power]).collect()
            }
        }
    }
}

/// (e^(shape·s) − 1)/shape, s where the shape is 0.
fn exponential(shape: f64, s: f64) -> f64 {
    if shape == 0.0 { s } else { (shape * s).exp_m1() / shape }
}

impl Relation {
    /// The need at an index, in the rate unit; negative where more is on than needed.
    #[must_use]
    pub fn need(&self, index: f64) -> f64 {
        self.form.need(index)
    }

    /// The rate that the rule gives at an index: the need, never below zero.
    #[must_use]
    pub fn rate(&self, index: f64) -> f64 {
        self.need(index).max(0.0)
    }

    /// The polynomial of a degree through pairs of index and need by ordinary least squares: every need a number, all of one weight, nothing
    /// held from rising. It is what a plain analysis would do, to compare with.
    ///
    /// # Errors
    /// [`NoRelation`] where the pairs do not determine it.
    pub fn plain(kind: RelationKind, pairs: &[(f64, f64)]) -> Result<Self, NoRelation> {
        let powers = if kind == RelationKind::Quadratic { 3 } else { 2 };
        let column = |power: i32| -> Vec<f64> { pairs.iter().map(|(index, _)| index.powi(power)).collect() };
        let needs: Vec<f64> = pairs.iter().map(|(_, need)| *need).collect();
        let not_determined = || ClusteredError::NotDetermined { exact: pairs.len(), columns: powers };
        let solved =
            solve(&(0..powers as i32).map(column).collect::<Vec<_>>(), &needs).map_err(|_| not_determined())?;
        let coefficients: Option<Vec<f64>> = solved.coefficients.iter().copied().collect();
        let indices = || pairs.iter().map(|(index, _)| *index);
        Ok(Self {
            kind,
            form: Form::Polynomial(coefficients.ok_or_else(not_determined)?),
            between: 0.0,
            within: solved.variance().ok_or_else(not_determined)?.sqrt(),
            log_likelihood: f64::NAN,
            domain: (indices().fold(f64::INFINITY, f64::min), indices().fold(f64::NEG_INFINITY, f64::max)),
            held_from_rising: false,
        })
    }

    /// The two-stage relation of a kind through points.
    ///
    /// # Errors
    /// [`NoRelation`] where the points do not determine it.
    pub fn fit(kind: RelationKind, points: &[NeedPoint]) -> Result<Self, NoRelation> {
        let site_years: Vec<String> = super::site_years(points).into_iter().map(str::to_owned).collect();
        Candidate::new(kind, points, &site_years)?.fit(None, None)
    }
}

/// A kind of relation made ready for points whose site-years may count more than once, or not at all.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    kind: RelationKind,
    /// One a site-year, the index for the only column.
    clusters: Vec<Cluster>,
    domain: (f64, f64),
    /// The kind's own columns; `None` of an exponential, whose columns depend on its shape.
    own: Option<Design>,
}

/// Columns of a relation that keep to a sign, or to none.
#[derive(Clone, Debug)]
struct Design {
    columns: Columns,
    prepared: Result<Prepared, ClusteredError>,
}

/// A regression on columns, or why there is none.
type Fitted = Result<(Columns, Clustered), NoRelation>;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Columns {
    /// 1 alone: a need that does not depend on the index.
    Level,
    /// 1 and the index.
    Line,
    /// 1 and two parabolas of which one falls towards either end of the domain and is level at the other: their coefficients are minus the
    /// slopes at the ends. So the slope is nowhere above 0 where both are at least 0.
    Parabola,
    /// 1 and the one that is steepest at the lowest index.
    ParabolaLevelAtHighest,
    /// 1 and the one that is steepest at the highest index.
    ParabolaLevelAtLowest,
    /// 1 and the exponential of a shape.
    Exponential(f64),
}

/// Shapes tried first, over the domain of the index: e^6 is a need that is all but a step at its end.
const SHAPES: [f64; 7] = [-6.0, -3.0, -1.5, 0.0, 1.5, 3.0, 6.0];
/// The shape is then narrowed down to this, over the domain of the index: a need moves by less than a hundredth of its range.
const SHAPE_TOLERANCE: f64 = 0.1;

impl Candidate {
    /// Points of the named site-years, in the order of the names.
    ///
    /// # Errors
    /// [`NoRelation`] where the points determine none.
    pub(super) fn new(kind: RelationKind, points: &[NeedPoint], site_years: &[String]) -> Result<Self, NoRelation> {
        let indices = || points.iter().map(|point| point.index);
        let domain = (indices().fold(f64::INFINITY, f64::min), indices().fold(f64::NEG_INFINITY, f64::max));
        if points.is_empty() {
            return Err(NoRelation::NoPoints);
        }
        if domain.0 >= domain.1 {
            return Err(NoRelation::IndexConstant(domain.0));
        }
        let clusters = site_years.iter().map(|site_year| cluster(kind, points, site_year)).collect();
        let mut candidate = Self { kind, clusters, domain, own: None };
        if candidate.kind == RelationKind::Exponential {
            return Ok(candidate);
        }
        let own = match kind {
            RelationKind::Quadratic => Columns::Parabola,
            _ => Columns::Line,
        };
        let design = candidate.design(own);
        if let Err(reason) = &design.prepared {
            return Err(if points.iter().any(|point| matches!(point.known, Known::Exact(_))) {
                reason.clone().into()
            } else {
                NoRelation::NoNumbers
            });
        }
        candidate.own = Some(design);
        Ok(candidate)
    }

    /// How many site-years it was made ready for.
    pub(super) fn site_years(&self) -> usize {
        self.clusters.len()
    }

    fn row(&self, columns: Columns, index: f64) -> Vec<f64> {
        let (lowest, highest) = self.domain;
        let width = highest - lowest;
        let at_lowest = (highest - index).powi(2) / (2.0 * width);
        let at_highest = -(index - lowest).powi(2) / (2.0 * width);
        match columns {
            Columns::Level => vec![1.0],
            Columns::Line => vec![1.0, index],
            Columns::Parabola => vec![1.0, at_lowest, at_highest],
            Columns::ParabolaLevelAtHighest => vec![1.0, at_lowest],
            Columns::ParabolaLevelAtLowest => vec![1.0, at_highest],
            Columns::Exponential(shape) => vec![1.0, exponential(shape / width, 1.0 - index)],
        }
    }

    fn design(&self, columns: Columns) -> Design {
        let group = |group: &Group| Group {
            variance: group.variance,
            points: group.points.iter().map(|point| self.point(columns, point)).collect(),
        };
        let clusters: Vec<Cluster> = self.clusters.iter().map(|cluster| cluster.iter().map(group).collect()).collect();
        Design { columns, prepared: Prepared::new(&clusters) }
    }

    fn point(&self, columns: Columns, point: &Point) -> Point {
        let index = point.x.first().copied().unwrap_or(0.0);
        Point { x: self.row(columns, index), known: point.known }
    }

    /// The relation; `weights` count each site-year so many times, `near` is that of like points.
    pub(super) fn fit(&self, weights: Option<&[f64]>, near: Option<&Relation>) -> Result<Relation, NoRelation> {
        if self.kind == RelationKind::Exponential {
            return self.fit_exponential(weights, near);
        }
        let Some(design) = &self.own else { return Err(NoRelation::NoPoints) };
        let found = design.prepared.as_ref().map_err(Clone::clone)?.fit(weights, None)?;
        let falls = |columns: Columns, coefficients: &[f64]| match columns {
            Columns::Level => true,
            Columns::Line => coefficients.iter().skip(1).all(|slope| *slope <= 0.0),
            _ => coefficients.iter().skip(1).all(|slope| *slope >= 0.0),
        };
        if falls(design.columns, &found.coefficients) {
            return Ok(self.relation(design.columns, &found, false));
        }
        let held: &[Columns] = match design.columns {
            Columns::Parabola => &[Columns::ParabolaLevelAtHighest, Columns::ParabolaLevelAtLowest, Columns::Level],
            _ => &[Columns::Level],
        };
        let mut best: Option<(Columns, Clustered)> = None;
        let mut refused = NoRelation::NoPoints;
        for &columns in held {
            match self.design(columns).prepared.and_then(|prepared| prepared.fit(weights, None)) {
                Ok(found) if falls(columns, &found.coefficients) => {
                    if best.as_ref().is_none_or(|(_, best)| found.log_likelihood > best.log_likelihood) {
                        best = Some((columns, found));
                    }
                }
                Ok(_) => {}
                Err(reason) => refused = reason.into(),
            }
        }
        best.map(|(columns, found)| self.relation(columns, &found, true)).ok_or(refused)
    }

    /// The likelihood is maximised at each shape; the shape is searched over a grid, then between the neighbours of its best.
    fn fit_exponential(&self, weights: Option<&[f64]>, near: Option<&Relation>) -> Result<Relation, NoRelation> {
        let width = self.domain.1 - self.domain.0;
        let at = |shape: f64| -> Fitted {
            let columns = Columns::Exponential(shape);
            let found = self.design(columns).prepared?.fit(weights, None)?;
            Ok((columns, found))
        };
        let near_shape = near.and_then(|near| match near.form {
            Form::Exponential { shape, .. } => Some((shape * width).clamp(-6.0, 6.0)),
            _ => None,
        });
        let shapes: Vec<f64> = match near_shape {
            Some(shape) => [-1.0, 0.0, 1.0].map(|by| (shape + by).clamp(-6.0, 6.0)).to_vec(),
            None => SHAPES.to_vec(),
        };
        let value = |found: &Fitted| found.as_ref().map_or(f64::NEG_INFINITY, |(_, found)| found.log_likelihood);
        let tried: Vec<(f64, Fitted)> = shapes.iter().map(|shape| (*shape, at(*shape))).collect();
        let best = tried.iter().enumerate().max_by(|(_, a), (_, b)| value(&a.1).total_cmp(&value(&b.1)));
        let Some((position, (shape, found))) = best else { return Err(NoRelation::NoPoints) };
        let mut found = (*shape, found.clone()?);
        let end = |position: Option<usize>| position.and_then(|position| tried.get(position)).map(|(shape, _)| *shape);
        let (mut low, mut high) =
            (end(position.checked_sub(1)).unwrap_or(found.0), end(Some(position + 1)).unwrap_or(found.0));
        // Golden section about the best of the grid.
        let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
        while high - low > SHAPE_TOLERANCE {
            let (left, right) = (high - golden * (high - low), low + golden * (high - low));
            let trial = if found.0 - low > high - found.0 { left } else { right };
            let trial = if trial == found.0 { 0.5 * (low + high) } else { trial };
            match at(trial) {
                Ok(tried) if tried.1.log_likelihood > found.1.1.log_likelihood => {
                    if trial < found.0 {
                        high = found.0
                    } else {
                        low = found.0
                    }
                    found = (trial, tried);
                }
                _ if trial < found.0 => low = trial,
                _ => high = trial,
            }
        }
        let (_, (columns, regression)) = found;
        if regression.coefficients.get(1).is_some_and(|slope| *slope >= 0.0) {
            return Ok(self.relation(columns, &regression, false));
        }
        let level = self.design(Columns::Level).prepared?.fit(weights, None)?;
        Ok(self.relation(Columns::Level, &level, true))
    }

    /// How far the needs lie from a relation of another kind: between site-years, and within them.
    pub(super) fn spread_about(&self, form: &Form) -> Option<[f64; 2]> {
        let about = |group: &Group| Group {
            variance: group.variance,
            points: group
                .points
                .iter()
                .map(|point| {
                    let by = form.need(point.x.first().copied().unwrap_or(0.0));
                    let known = match point.known {
                        Known::Exact(need) => Known::Exact(need - by),
                        Known::Between { low, high } => Known::Between { low: low - by, high: high - by },
                    };
                    Point { x: vec![1.0], known }
                })
                .collect(),
        };
        let clusters: Vec<Cluster> = self.clusters.iter().map(|cluster| cluster.iter().map(about).collect()).collect();
        let found = Prepared::new(&clusters).and_then(|prepared| prepared.fit(None, None)).ok()?;
        Some([found.between, found.within])
    }

    fn relation(&self, columns: Columns, found: &Clustered, held_from_rising: bool) -> Relation {
        let (lowest, highest) = self.domain;
        let width = highest - lowest;
        let c = |position: usize| found.coefficients.get(position).copied().unwrap_or(0.0);
        // −(slope at the lowest end) and −(slope at the highest) to powers of the index.
        let parabola = |level: f64, at_lowest: f64, at_highest: f64| {
            Form::Polynomial(vec![
                level + (at_lowest * highest * highest - at_highest * lowest * lowest) / (2.0 * width),
                (at_highest * lowest - at_lowest * highest) / width,
                (at_lowest - at_highest) / (2.0 * width),
            ])
        };
        let form = match (columns, self.kind) {
            (Columns::Level, RelationKind::Exponential) => {
                Form::Exponential { at_reference: c(0), slope: 0.0, shape: 0.0 }
            }
            (Columns::Level, RelationKind::Quadratic) => Form::Polynomial(vec![c(0), 0.0, 0.0]),
            (Columns::Level, _) => Form::Polynomial(vec![c(0), 0.0]),
            (Columns::Line, _) => Form::Polynomial(vec![c(0), c(1)]),
            (Columns::Parabola, _) => parabola(c(0), c(1), c(2)),
            (Columns::ParabolaLevelAtHighest, _) => parabola(c(0), c(1), 0.0),
            (Columns::ParabolaLevelAtLowest, _) => parabola(c(0), 0.0, c(1)),
            (Columns::Exponential(shape), _) => {
                Form::Exponential { at_reference: c(0), slope: c(1), shape: shape / width }
            }
        };
        Relation {
            kind: self.kind,
            form,
            between: found.between,
            within: found.within,
            log_likelihood: found.log_likelihood,
            domain: self.domain,
            held_from_rising,
        }
    }
}

/// The points of a site-year by the curve that their needs share, the index for their only column. Bounds carry the median variance of the
/// needs that are numbers.
fn cluster(kind: RelationKind, points: &[NeedPoint], site_year: &str) -> Cluster {
    let mut variances: Vec<f64> = points.iter().filter_map(|point| point.variance).collect();
    variances.sort_by(f64::total_cmp);
    let usual = quantile(&variances, 0.5).unwrap_or(0.0);
    let mut groups: Vec<([usize; 2], Group)> = Vec::new();
    for point in points.iter().filter(|point| point.site_year == site_year) {
        if groups.last().is_none_or(|(curve, _)| *curve != point.curve) {
            groups.push((point.curve, Group { variance: point.variance.unwrap_or(usual), points: Vec::new() }));
        }
        if let Some((_, group)) = groups.last_mut() {
            group.points.push(Point { x: vec![point.index], known: known(kind, point.known) });
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// Under a floor a need that is not positive is known to be zero or less, and no more: an index hardly rises any further once a crop has
/// enough, so that it cannot tell one surplus from another. Only the plain line takes surpluses as they are.
fn known(kind: RelationKind, known: Known) -> Known {
    if kind == RelationKind::Linear {
        return known;
    }
    let (low, high) = match known {
        Known::Exact(need) if need > 0.0 => return known,
        Known::Exact(need) => (need, need),
        Known::Between { low, high } => (low, high),
    };
    Known::Between { low: if low > 0.0 { low } else { f64::NEG_INFINITY }, high: high.max(0.0) }
}
