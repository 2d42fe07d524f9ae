//! Net returns on the curve of each point's own trial: what any rule would have brought there.

use super::basis::Basis;
use super::points::NeedPoint;
use crate::experiment::OptimumCurve;
use crate::response::OptimumStatus;
use crate::trial::NeedFrom;

/// Flat rates are compared in steps of one rate unit.
const STEP: f64 = 1.0;

/// Scores rates on the curves of a basis.
#[derive(Clone, Copy, Debug)]
pub struct Scoring<'a> {
    /// The curves.
    pub basis: &'a Basis,
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// The largest rate of any rule, in the rate unit.
    pub highest: f64,
    /// The programme's standard rate, where it has one.
    pub standard: Option<f64>,
}

impl Scoring<'_> {
    fn curve(&self, point: &NeedPoint) -> Option<&OptimumCurve> {
        self.basis.curve(point.curve)
    }

    /// Net return of a rate on top of `n_on` on the curve of a point, in yield units; beyond the tested rates the yield of the last
    /// tested one. Where needs are the difference from the optimum, topdress N is taken to work as early N.
    #[must_use]
    pub fn net_return(&self, point: &NeedPoint, n_on: f64, rate: f64) -> Option<f64> {
        let curve = &self.curve(point)?.curve;
        let already = if point.need_from == NeedFrom::TopdressResponse { 0.0 } else { n_on };
        let total = (already + rate).clamp(curve.lowest_rate, curve.highest_rate);
        Some(curve.value(total) - self.price_ratio * rate)
    }

    /// The largest net return that a rate could have had on the curve of a point, and that rate.
    #[must_use]
    pub fn in_hindsight(&self, point: &NeedPoint) -> Option<(f64, f64)> {
        let curve = &self.curve(point)?.curve;
        let already = if point.need_from == NeedFrom::TopdressResponse { 0.0 } else { point.n_on };
        let candidates = [0.0, curve.best_tested_rate(self.price_ratio) - already, curve.highest_rate - already];
        let of = |rate: f64| Some((rate, self.net_return(point, point.n_on, rate)?));
        let returns = candidates.into_iter().map(|rate| rate.max(0.0)).filter_map(of);
        // Of equals the smallest rate.
        returns.reduce(
            |best, found| if found.1 > best.1 || (found.1 == best.1 && found.0 < best.0) { found } else { best },
        )
    }

    /// Whether the best rate in hindsight is only a lower bound, so that what a smaller rate forgoes is one too.
    #[must_use]
    pub fn is_bounded_below(&self, point: &NeedPoint) -> bool {
        let status = self.curve(point).map(|basis| basis.observations.best_rate(&basis.curve, self.price_ratio).1);
        status == Some(OptimumStatus::AtHighestTestedRate)
    }

    /// The rates that flat rules are chosen from.
    #[must_use]
    pub fn grid(&self) -> Vec<f64> {
        let steps = (self.highest / STEP).floor().max(0.0) as usize;
        (0..=steps).map(|step| step as f64 * STEP).collect()
    }
}

/// Net returns at the rates of a grid, of every point: each from its own curve alone.
#[derive(Clone, Debug)]
pub(super) struct Returns {
    grid: Vec<f64>,
    /// Totals of early and topdress N.
    totals: Vec<f64>,
    site_years: Vec<SiteYearReturns>,
}

#[derive(Clone, Debug)]
struct SiteYearReturns {
    name: String,
    points: Vec<NeedPoint>,
    /// Mean over its points at each rate of the grid, and at each total.
    flat: Vec<f64>,
    total: Vec<f64>,
}

impl Returns {
    pub(super) fn new(points: &[NeedPoint], scoring: &Scoring<'_>) -> Self {
        let grid = scoring.grid();
        let most_on = points.iter().map(|point| point.n_on).fold(0.0, f64::max);
        let totals: Vec<f64> =
            (0..=((most_on + scoring.highest) / STEP).floor() as usize).map(|step| step as f64 * STEP).collect();
        let of = |name: &str| {
            let own: Vec<NeedPoint> = points.iter().filter(|point| point.site_year == name).cloned().collect();
            let mean = |rates: &[f64], rate_at: &dyn Fn(&NeedPoint, f64) -> f64| -> Vec<f64> {
                let at = |rate: &f64| {
                    let found: Vec<f64> = own
                        .iter()
                        .filter_map(|point| scoring.net_return(point, point.n_on, rate_at(point, *rate)))
                        .collect();
                    found.iter().sum::<f64>() / found.len().max(1) as f64
                };
                rates.iter().map(at).collect()
            };
            let flat = mean(&grid, &|_, rate| rate);
            let total = mean(&totals, &|point, total| (total - point.n_on).clamp(0.0, scoring.highest));
            SiteYearReturns { name: name.to_owned(), flat, total, points: own }
        };
        let site_years = super::site_years(points).into_iter().map(of).collect();
        Self { grid, totals, site_years }
    }

    /// The single flat topdress, and the flat total, with the best mean net return over the site-years that `counts` takes.
    pub(super) fn best_flat(&self, counts: &dyn Fn(&str) -> bool) -> Option<[f64; 2]> {
        let over = |rates: &[f64], of: &dyn Fn(&SiteYearReturns) -> &[f64]| {
            let mut sums = vec![0.0; rates.len()];
            let mut any = false;
            for site_year in self.site_years.iter().filter(|site_year| counts(&site_year.name)) {
                any = true;
                sums.iter_mut().zip(of(site_year)).for_each(|(sum, value)| *sum += value);
            }
            any.then(|| best_of(rates, &sums)).flatten()
        };
        Some([over(&self.grid, &|of| &of.flat)?, over(&self.totals, &|of| &of.total)?])
    }

    /// The rate with the best mean net return over those site-years *given* N already on: each speaks by its treatments whose N on is nearest
    /// to it; where needs are the difference from the optimum, by its curves from that N on.
    pub(super) fn best_given(&self, n_on: f64, scoring: &Scoring<'_>, counts: &dyn Fn(&str) -> bool) -> Option<f64> {
        let mut sums = vec![0.0; self.grid.len()];
        let mut any = false;
        for site_year in self.site_years.iter().filter(|site_year| counts(&site_year.name)) {
            let distance = |point: &NeedPoint| (point.n_on - n_on).abs();
            let nearest = site_year.points.iter().map(distance).fold(f64::INFINITY, f64::min);
            let near: Vec<&NeedPoint> = site_year.points.iter().filter(|point| distance(point) <= nearest).collect();
            let speakers = near.len() as f64;
            for point in near {
                let from = if point.need_from == NeedFrom::TopdressResponse { point.n_on } else { n_on };
                for (sum, rate) in sums.iter_mut().zip(&self.grid) {
                    if let Some(value) = scoring.net_return(point, from, *rate) {
                        any = true;
                        *sum += value / speakers;
                    }
                }
            }
        }
        any.then(|| best_of(&self.grid, &sums)).flatten()
    }
}

/// Two net returns are the same if they differ by less than this, relative to their size: of equals the smallest rate.
const SAME_VALUE: f64 = 1e-12;

fn best_of(rates: &[f64], values: &[f64]) -> Option<f64> {
    let best = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let close = |value: f64| value >= best - SAME_VALUE * best.abs();
    rates.iter().zip(values).find(|(_, value)| close(**value)).map(|(rate, _)| *rate)
}
