//! The sums of squares and products of the centred squared shortfalls, with exact derivatives.
//!
//! With d = max(0, p − topdress), p the curve at an early level, a cell's squared shortfall is h = d² (or the cube); p's own floor at 0 needs no word
//! of its own because no topdress is below 0. Under the finer nuisance h is counted from that of the early level's highest topdress, which
//! the nuisance absorbs: so nothing cancels where all needs lie far beyond the topdress.

use super::data::{Cells, Observed, Pattern, ShortfallData};
use super::{NoShortfall, Nuisance, Power, newton};

/// The retained site-years, scaled: topdress by the highest, 1 − index to 0 … 1.
#[derive(Clone, Debug)]
pub(super) struct Problem {
    /// 1 − index, 0 at the highest index and 1 at the lowest.
    pub z: Vec<f64>,
    level_ends: Vec<usize>,
    pub topdress: Vec<f64>,
    plots: Vec<f64>,
    yields: Vec<f64>,
    strata: Vec<Stratum>,
    from_highest: bool,
    /// Which power of the shortfall h is.
    pub power: Power,
    /// Lowest and highest 1 − index.
    pub shortness: (f64, f64),
    /// Highest topdress.
    pub highest: f64,
    /// Plots, each site-year counted once whatever its weight.
    pub count: usize,
    /// Nuisance levels, each site-year counted once.
    pub levels: usize,
    /// Weighted sum of squares of the yields within nuisance levels.
    pub total: f64,
    /// Below this a sum of squares is rounding.
    pub rounding: f64,
    /// Site-years with a weight.
    pub site_years: usize,
    retained: Vec<Retained>,
}

#[derive(Clone, Debug)]
struct Retained {
    weight: f64,
    first_cell: usize,
    first_pattern: usize,
    observed: Vec<Observed>,
}

#[derive(Clone, Debug)]
struct Stratum {
    level_end: usize,
    patterns: Vec<Pattern>,
    /// Whether every nuisance level has one plot in each cell.
    is_complete: bool,
}

/// B and A: the products of yields and squared shortfalls h, and the squares of h, both within nuisance levels and weighted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sums {
    pub b: f64,
    pub a: f64,
}

/// The sums with their first and second derivatives by K numbers that the polynomial is linear in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Derived<const K: usize> {
    pub sums: Sums,
    pub b1: [f64; K],
    pub a1: [f64; K],
    pub b2: [[f64; K]; K],
    pub a2: [[f64; K]; K],
    /// Products of the first derivatives of h, within nuisance levels.
    pub gram: [[f64; K]; K],
}

/// A polynomial at every early level: `base` + Σ columns·numbers.
#[derive(Clone, Debug)]
pub(super) struct Basis<const K: usize> {
    pub base: Vec<f64>,
    pub columns: Vec<[f64; K]>,
}

impl<const K: usize> Basis<K> {
    /// Without base, from the columns at z.
    pub fn of(problem: &Problem, columns: impl Fn(f64) -> [f64; K]) -> Self {
        Self { base: vec![0.0; problem.z.len()], columns: problem.z.iter().map(|z| columns(*z)).collect() }
    }

    fn values(&self, numbers: &[f64; K]) -> impl Iterator<Item = f64> {
        self.base.iter().zip(&self.columns).map(move |(base, columns)| at(*base, columns, numbers))
    }
}

/// The polynomial at an early level.
fn at<const K: usize>(base: f64, columns: &[f64; K], numbers: &[f64; K]) -> f64 {
    columns.iter().zip(numbers).fold(base, |sum, (column, number)| sum + column * number)
}

impl<const K: usize> Derived<K> {
    /// Whether some of the numbers, and c, change the curve in ways that follow from each other.
    pub fn is_dependent(&self, numbers: &[bool; K]) -> bool {
        let positions: Vec<usize> = (0..K).filter(|i| numbers[*i]).collect();
        let products: Vec<Vec<f64>> = positions
            .iter()
            .map(|i| {
                let row = positions.iter().map(|j| self.gram[*i][*j]);
                row.chain([0.5 * self.a1[*i]]).collect()
            })
            .chain([positions.iter().map(|i| 0.5 * self.a1[*i]).chain([self.sums.a]).collect()])
            .collect();
        newton::is_dependent(&products)
    }
}

impl Problem {
    /// The site-years of positive weight; each of weight 1 where none are given.
    pub fn new(data: &ShortfallData, nuisance: Nuisance, weights: Option<&[f64]>) -> Result<Self, NoShortfall> {
        let site_years = data.site_years.len();
        if let Some(weights) = weights {
            let fit = |weight: &f64| (0.0..1e30).contains(weight);
            if weights.len() != site_years || !weights.iter().all(fit) {
                return Err(NoShortfall::Weights { site_years });
            }
        }
        let weight = |position: usize| weights.and_then(|weights| weights.get(position)).copied().unwrap_or(1.0);
        let kept: Vec<(f64, &Cells)> = (0..site_years)
            .map(|position| (weight(position), data.site_years[position].cells(nuisance)))
            .filter(|(weight, _)| *weight > 0.0)
            .collect();
        if kept.is_empty() {
            return Err(NoShortfall::NoTrials);
        }
        let mut problem = Self {
            z: Vec::new(),
            level_ends: Vec::new(),
            topdress: Vec::new(),
            plots: Vec::new(),
            yields: Vec::new(),
            strata: Vec::new(),
            from_highest: nuisance == Nuisance::BlockByEarlyLevel,
            power: Power::Square,
            shortness: (f64::INFINITY, f64::NEG_INFINITY),
            highest: 0.0,
            count: 0,
            levels: 0,
            total: 0.0,
            rounding: 0.0,
            site_years: kept.len(),
            retained: Vec::new(),
        };
        for (weight, cells) in kept {
            problem.add(weight, cells);
        }
        let (low, high) = problem.shortness;
        if high - low <= low.abs().max(high.abs()) * 1e-9 {
            return Err(NoShortfall::IndexConstant { index: 1.0 - low });
        }
        let compared = problem.strata.iter().scan(0, |start, stratum| {
            let first = std::mem::replace(start, stratum.level_end);
            Some((first, stratum))
        });
        let differs = |(first, stratum): (usize, &Stratum)| problem.compares_topdress(first, stratum);
        if problem.highest <= 1e-30 || !compared.into_iter().any(differs) {
            return Err(NoShortfall::OneTopdress);
        }
        let highest = problem.highest;
        problem.topdress.iter_mut().for_each(|topdress| *topdress /= highest);
        problem.z.iter_mut().for_each(|z| *z = (*z - low) / (high - low));
        Ok(problem)
    }

    fn add(&mut self, weight: f64, cells: &Cells) {
        let (first_cell, first_level) = (self.topdress.len(), self.z.len());
        let first_pattern = self.strata.iter().map(|stratum| stratum.patterns.len()).sum();
        self.z.extend(&cells.shortness);
        self.level_ends.extend(cells.level_ends.iter().map(|end| end + first_cell));
        self.topdress.extend(&cells.topdress);
        self.plots.extend(cells.plots.iter().map(|plots| plots * weight));
        self.yields.extend(cells.yields.iter().map(|sum| sum * weight));
        self.strata.extend(cells.strata.iter().map(|stratum| {
            Stratum {
                level_end: stratum.level_end + first_level,
                is_complete: stratum.patterns.iter().all(|pattern| pattern.counts.is_empty()),
                patterns: stratum
                    .patterns
                    .iter()
                    .map(|pattern| Pattern { weight: pattern.weight * weight, counts: pattern.counts.clone() })
                    .collect(),
            }
        }));
        for shortness in &cells.shortness {
            self.shortness = (self.shortness.0.min(*shortness), self.shortness.1.max(*shortness));
        }
        self.highest = cells.topdress.iter().copied().fold(self.highest, f64::max);
        self.count += cells.observed.len();
        self.levels += cells.levels;
        self.total += weight * cells.observed.iter().map(|plot| plot.centred * plot.centred).sum::<f64>();
        self.rounding += weight * cells.observed.len() as f64 * (8.0 * f64::EPSILON * cells.largest).powi(2);
        self.retained.push(Retained { weight, first_cell, first_pattern, observed: cells.observed.clone() });
    }

    /// Whether two plots of one nuisance level of a stratum have different topdress.
    fn compares_topdress(&self, first_level: usize, stratum: &Stratum) -> bool {
        let (from, to) = self.cells_of(first_level, stratum);
        stratum.patterns.iter().any(|pattern| {
            let present = |cell: &usize| pattern.counts.get(*cell - from).is_none_or(|count| *count > 0.0);
            let mut rates = (from..to).filter(present).map(|cell| self.topdress[cell]);
            let first = rates.next();
            rates.any(|rate| Some(rate) != first)
        })
    }

    fn cells_of(&self, first_level: usize, stratum: &Stratum) -> (usize, usize) {
        let start = |level: usize| level.checked_sub(1).map_or(0, |before| self.level_ends[before]);
        (start(first_level), start(stratum.level_end))
    }

    /// The sums at numbers of a basis; `squares` is room for h.
    pub fn sums<const K: usize>(&self, basis: &Basis<K>, numbers: &[f64; K], squares: &mut Vec<f64>) -> Sums {
        let (mut a, mut b, mut first_level, mut cell) = (0.0, 0.0, 0, 0);
        for stratum in &self.strata {
            squares.clear();
            let levels = first_level..stratum.level_end;
            let columns = basis.base[levels.clone()].iter().zip(&basis.columns[levels.clone()]);
            let mut sum = 0.0;
            for (p, end) in columns.map(|(base, columns)| at(*base, columns, numbers)).zip(&self.level_ends[levels]) {
                let last = if self.from_highest { (p - self.topdress[*end - 1]).max(0.0) } else { 0.0 };
                let rates = self.topdress[cell..*end].iter();
                for ((topdress, plots), yields) in rates.zip(&self.plots[cell..*end]).zip(&self.yields[cell..*end]) {
                    let h = self.power.beyond((p - topdress).max(0.0), last);
                    a += plots * h * h;
                    b += yields * h;
                    sum += h;
                    if !stratum.is_complete {
                        squares.push(h);
                    }
                }
                cell = *end;
            }
            if stratum.is_complete {
                stratum.patterns.iter().for_each(|pattern| a -= pattern.weight * sum * sum);
            } else {
                for pattern in &stratum.patterns {
                    let sum = pattern.sum(squares);
                    a -= pattern.weight * sum * sum;
                }
            }
            first_level = stratum.level_end;
        }
        Sums { b, a: a.max(0.0) }
    }

    /// The sums and their derivatives at numbers of a basis.
    pub fn derived<const K: usize>(&self, basis: &Basis<K>, numbers: &[f64; K]) -> Derived<K> {
        let zero = [[0.0; K]; K];
        let mut all =
            Derived { sums: Sums { a: 0.0, b: 0.0 }, b1: [0.0; K], a1: [0.0; K], b2: zero, a2: zero, gram: zero };
        let mut h_of = Vec::with_capacity(self.topdress.len());
        // Of each cell the first and second derivative of h by p.
        let mut slopes = Vec::with_capacity(self.topdress.len());
        let mut cell = 0;
        for ((p, columns), end) in basis.values(numbers).zip(&basis.columns).zip(&self.level_ends) {
            let beyond = if self.from_highest { p - self.topdress[*end - 1] } else { -1.0 };
            let (last, last_is) = (beyond.max(0.0), if beyond > 0.0 { 1.0 } else { 0.0 });
            let [mut b1, mut b2, mut a1, mut a2, mut g] = [0.0; 5];
            for position in cell..*end {
                let short = p - self.topdress[position];
                let (d, is) = (short.max(0.0), if short > 0.0 { 1.0 } else { 0.0 });
                let h = self.power.beyond(d, last);
                let (h1, h2) = match self.power {
                    Power::Square => (2.0 * (d - last), 2.0 * (is - last_is)),
                    Power::Cube => (3.0 * Power::Square.beyond(d, last), 6.0 * (d - last)),
                };
                let (plots, yields) = (self.plots[position], self.yields[position]);
                all.sums.a += plots * h * h;
                all.sums.b += yields * h;
                b1 += yields * h1;
                b2 += yields * h2;
                a1 += plots * h * h1;
                a2 += plots * h * h2;
                g += plots * h1 * h1;
                h_of.push(h);
                slopes.push([h1, h2]);
            }
            for i in 0..K {
                all.b1[i] += b1 * columns[i];
                all.a1[i] += 2.0 * a1 * columns[i];
                for j in 0..K {
                    let product = columns[i] * columns[j];
                    all.b2[i][j] += b2 * product;
                    all.a2[i][j] += 2.0 * a2 * product;
                    all.gram[i][j] += g * product;
                }
            }
            cell = *end;
        }
        self.take_out_means(basis, &h_of, &slopes, &mut all);
        for (second, gram) in all.a2.iter_mut().flatten().zip(all.gram.iter().flatten()) {
            *second += 2.0 * gram;
        }
        all.sums.a = all.sums.a.max(0.0);
        all
    }

    /// What the nuisance means take out of the sums of squares; the second derivative still without that of the products `gram`.
    fn take_out_means<const K: usize>(&self, basis: &Basis<K>, h: &[f64], slopes: &[[f64; 2]], all: &mut Derived<K>) {
        let (mut first_level, mut first_cell) = (0, 0);
        for stratum in &self.strata {
            let end = self.cells_of(first_level, stratum).1;
            for pattern in &stratum.patterns {
                let sum = pattern.sum(&h[first_cell..end]);
                let (mut s1, mut s2) = ([0.0; K], [[0.0; K]; K]);
                let mut cell = first_cell;
                for level in first_level..stratum.level_end {
                    let (mut h1, mut h2) = (0.0, 0.0);
                    for (position, [slope, bend]) in (cell..).zip(&slopes[cell..self.level_ends[level]]) {
                        let count = pattern.counts.get(position - first_cell).copied().unwrap_or(1.0);
                        h1 += count * slope;
                        h2 += count * bend;
                    }
                    let columns = &basis.columns[level];
                    for i in 0..K {
                        s1[i] += h1 * columns[i];
                        for j in 0..K {
                            s2[i][j] += h2 * columns[i] * columns[j];
                        }
                    }
                    cell = self.level_ends[level];
                }
                all.sums.a -= pattern.weight * sum * sum;
                for i in 0..K {
                    all.a1[i] -= 2.0 * pattern.weight * sum * s1[i];
                    for j in 0..K {
                        all.a2[i][j] -= 2.0 * pattern.weight * sum * s2[i][j];
                        all.gram[i][j] -= pattern.weight * s1[i] * s1[j];
                    }
                }
            }
            (first_level, first_cell) = (stratum.level_end, end);
        }
    }

    /// The weighted residual sum of squares of a polynomial and c (in yield per squared highest topdress), from the residuals themselves: where
    /// the fit is close, total − B²/A would have no digits.
    pub fn residual_sum_of_squares(&self, polynomial: impl Fn(f64) -> f64, c: f64) -> f64 {
        let mut h = Vec::with_capacity(self.topdress.len());
        for (z, end) in self.z.iter().zip(&self.level_ends) {
            let p = polynomial(*z);
            let last = if self.from_highest { (p - self.topdress[*end - 1]).max(0.0) } else { 0.0 };
            for topdress in &self.topdress[h.len()..*end] {
                h.push(self.power.beyond((p - topdress).max(0.0), last));
            }
        }
        let mut means = Vec::new();
        let (mut level, mut cell) = (0, 0);
        for stratum in &self.strata {
            let end = self.cells_of(level, stratum).1;
            for pattern in &stratum.patterns {
                let size = if pattern.counts.is_empty() { (end - cell) as f64 } else { pattern.counts.iter().sum() };
                means.push(pattern.sum(&h[cell..end]) / size);
            }
            (level, cell) = (stratum.level_end, end);
        }
        let mut rss = 0.0;
        for site_year in &self.retained {
            let residual = |plot: &Observed| {
                let mean = means[site_year.first_pattern + plot.pattern];
                plot.centred + c * (h[site_year.first_cell + plot.cell] - mean)
            };
            rss += site_year.weight * site_year.observed.iter().map(|plot| residual(plot).powi(2)).sum::<f64>();
        }
        rss
    }
}

impl Power {
    /// The power of a shortfall less that of another, without cancellation where they are alike.
    fn beyond(self, d: f64, last: f64) -> f64 {
        match self {
            Self::Square => (d - last) * (d + last),
            Self::Cube => (d - last) * (d * d + d * last + last * last),
        }
    }
}

impl Pattern {
    /// The sum of cells over the plots of one nuisance level.
    fn sum(&self, cells: &[f64]) -> f64 {
        if self.counts.is_empty() {
            return cells.iter().sum();
        }
        self.counts.iter().zip(cells).map(|(count, h)| count * h).sum()
    }
}
