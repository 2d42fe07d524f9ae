//! The confidence band of a curve.

use super::curve::Curve;
use super::family::Family;
use super::observations::Observations;
use super::plateau::{Plateau, SAME_JOIN};
use super::{linear, quadratic, square_root};
use crate::stats::least_squares::{Factor, dot};
use serde::{Deserialize, Serialize};

/// Joins looked at between two tested rates: the band's edge is drawn, not tested.
const GRID: usize = 24;

/// A curve and its pointwise confidence limits at one rate, in yield units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// The rate.
    pub rate: f64,
    /// f(rate).
    pub value: f64,
    /// The lower limit; `None` where none could be computed.
    pub low: Option<f64>,
    /// The upper limit; `None` where none could be computed.
    pub high: Option<f64>,
}

impl Observations {
    /// Pointwise profile limits of f(N) at the rates `at`, which should lie inside the tested range.
    ///
    /// For a family that is linear in its parameters these are the t limits f ± t·s·√v, exactly. For a plateau family they are the
    /// envelope of value ± √((cutoff − RSS(J))·v(N; J)) over a grid of the joins J under the cutoff. v is the variance of f(N) in units
    /// of the error variance, the intercept being the unweighted mean of the group intercepts.
    pub fn band(&self, curve: &Curve, at: &[f64], level: f64) -> Vec<Band> {
        let limits = self.band_columns(curve, level);
        let band = |rate: &f64| {
            let value = curve.value(*rate);
            let ends = limits.iter().map(|column| column.limits(*rate / self.highest_rate()));
            let (low, high) = ends.fold((value, value), |(low, high), [l, h]| (low.min(l), high.max(h)));
            let known = !limits.is_empty();
            Band { rate: *rate, value, low: known.then_some(low), high: known.then_some(high) }
        };
        at.iter().map(band).collect()
    }

    fn band_columns(&self, curve: &Curve, level: f64) -> Vec<Limits<'_>> {
        let Some(cutoff) = self.cutoff(curve, level) else { return Vec::new() };
        let of = |basis: Vec<Basis>| Limits::new(self, basis, cutoff);
        match curve.family {
            Family::Mean => of(Vec::new()).into_iter().collect(),
            Family::Linear => of(linear::BASIS.map(Basis::Power).into()).into_iter().collect(),
            Family::Quadratic => of(quadratic::BASIS.map(Basis::Power).into()).into_iter().collect(),
            Family::SquareRoot => of(square_root::BASIS.map(Basis::Power).into()).into_iter().collect(),
            Family::LinearPlateau | Family::QuadraticPlateau | Family::ExponentialRise => {
                let Some(region) = self.region(curve, level) else { return Vec::new() };
                let joins = region.pieces.iter().flat_map(|piece| self.joins(*piece, region.plateau));
                let shapes = joins.map(|join| region.plateau.shape(join)).chain(self.best_shape(curve));
                let lowest = self.reduced().lowest();
                shapes.filter_map(|shape| of(vec![Basis::Plateau(region.plateau, shape, lowest)])).collect()
            }
        }
    }

    fn best_shape(&self, curve: &Curve) -> Option<f64> {
        let plateau = Plateau::of(curve.family)?;
        let join = match curve.coefficients.rate_constant {
            Some(k) => 1.0 / k,
            // Yields so large that the rise is lost in their rounding imply no join.
            None => curve.implied_join().filter(|join| *join > self.lowest_rate() + SAME_JOIN * self.highest_rate())?,
        };
        Some(plateau.shape(join / self.highest_rate()))
    }

    /// Joins of a piece of the region, dense between every two tested rates and, by their inverse, beyond the top.
    fn joins(&self, [from, to]: [f64; 2], plateau: Plateau) -> Vec<f64> {
        let rates = self.reduced().rates();
        let lowest = plateau.lowest_join(self.reduced());
        let start = from.max(lowest);
        let mut cuts: Vec<f64> = rates.iter().copied().filter(|rate| *rate > start + SAME_JOIN && *rate < to).collect();
        cuts.insert(0, start);
        cuts.push(to);
        let share = |step: usize| step as f64 / GRID as f64;
        let mut joins = Vec::new();
        for ends in cuts.windows(2) {
            let (low, high) = (ends[0], ends[1]);
            if low >= 1.0 {
                let (least, most) = (1.0 / high, 1.0 / low);
                joins.extend((0..=GRID).map(|step| 1.0 / (least + share(step) * (most - least))));
            } else {
                // A join at the lowest rate is no curve: its slope is without bound.
                let first = if low <= lowest { 1 } else { 0 };
                joins.extend((first..=GRID).map(|step| low + share(step) * (high - low)));
            }
        }
        joins
    }
}

/// A column besides the intercept, as a function of rates divided by the highest.
enum Basis {
    Power(fn(f64) -> f64),
    /// With its shape and the lowest tested rate.
    Plateau(Plateau, f64, f64),
}

impl Basis {
    fn at(&self, rate: f64) -> f64 {
        match self {
            Basis::Power(g) => g(rate),
            Basis::Plateau(plateau, shape, lowest) => plateau.basis(rate, *shape, *lowest),
        }
    }
}

/// The limits that one set of columns gives.
struct Limits<'a> {
    observations: &'a Observations,
    basis: Vec<Basis>,
    means: Vec<f64>,
    slopes: Vec<f64>,
    factor: Factor,
    /// cutoff − RSS.
    room: f64,
}

impl<'a> Limits<'a> {
    /// `None` where the columns are not independent or their best curve is over the cutoff.
    fn new(observations: &'a Observations, basis: Vec<Basis>, cutoff: f64) -> Option<Self> {
        let reduced = observations.reduced();
        let columns: Vec<Vec<f64>> = basis.iter().map(|g| reduced.curve(|rate| g.at(rate))).collect();
        let factor = Factor::new(&columns, reduced.z().len()).ok()?;
        let projected = factor.project(reduced.z());
        let residuals = factor.residuals(reduced.z(), &projected);
        let room = cutoff - (dot(&residuals, &residuals) + reduced.pure_error());
        let slopes: Option<Vec<f64>> = factor.solve(&projected).into_iter().collect();
        let means = basis.iter().map(|g| observations.mean_of_curve(|rate| g.at(rate))).collect();
        (room >= 0.0).then_some(Self { observations, means, slopes: slopes?, basis, factor, room })
    }

    fn limits(&self, rate: f64) -> [f64; 2] {
        let contrast: Vec<f64> = self.basis.iter().zip(&self.means).map(|(g, mean)| g.at(rate) - mean).collect();
        let value = self.observations.mean_of_groups() + dot(&contrast, &self.slopes);
        let factor = self.observations.mean_of_groups_factor() + self.factor.variance_factor(&contrast).unwrap_or(0.0);
        let half = (self.room * factor).sqrt();
        [value - half, value + half]
    }
}
