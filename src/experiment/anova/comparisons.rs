//! Means against each other: protected LSD, Tukey, Dunnett against the zero rate, and the letters.

use std::collections::BTreeSet;

use super::engine::Engine;
use super::experiment::Experiment;
use super::means::{combinations, level_names, names, weights};
use super::result::{Comparison, ComparisonFamily, Pair, SourceRow, VarianceOf};
use super::terms::{Cells, coding};
use crate::stats::distribution::{t_quantile, t_two_sided};
use crate::stats::dunnett::dunnett_survival;
use crate::stats::letters::compact_letters;
use crate::stats::studentized_range::{studentized_range_quantile, studentized_range_survival};

/// Differences whose standard errors and degrees of freedom agree to this share are compared by one least significant difference.
const SAME: f64 = 1e-9;
/// Families of more means than this are not compared pair by pair.
const MOST_MEANS: usize = 60;

/// Families of one analysis: the levels of each factor, and of each factor at every level of another.
pub(super) fn comparison_families(
    experiment: &Experiment,
    cells: &Cells,
    engine: &dyn Engine,
    rows: &[SourceRow],
    level: f64,
) -> Vec<ComparisonFamily> {
    let mut families = Vec::new();
    for term in &cells.terms {
        match term.factors.as_slice() {
            [factor] => {
                let protecting = rows.iter().find(|row| row.part_of.is_none() && row.source == term.name);
                let p = protecting.and_then(|row| row.p);
                families.extend(family(experiment, cells, engine, *factor, None, p, level));
            }
            [one, other] => {
                for (factor, at) in [(*one, *other), (*other, *one)] {
                    for fixed in combinations(cells, &[at]).into_iter().flatten() {
                        let p = simple_effect(experiment, cells, engine, factor, at, fixed);
                        families.extend(family(experiment, cells, engine, factor, Some((at, fixed)), p, level));
                    }
                }
            }
            _ => {}
        }
    }
    families
}

/// p of the effect of a factor at one level of another.
fn simple_effect(
    experiment: &Experiment,
    cells: &Cells,
    engine: &dyn Engine,
    factor: usize,
    at: usize,
    fixed: usize,
) -> Option<f64> {
    let means: Vec<Vec<f64>> = combinations(cells, &[factor])
        .into_iter()
        .flatten()
        .map(|level| weights(cells, &[factor, at], &[level, fixed]))
        .collect();
    let row = |code: &Vec<f64>| {
        let mut row = vec![0.0; cells.number()];
        for (weight, mean) in code.iter().zip(&means) {
            row.iter_mut().zip(mean).for_each(|(value, one)| *value += weight * one);
        }
        row
    };
    let rows: Vec<Vec<f64>> = coding(experiment.treatments.get(factor)?).iter().map(row).collect();
    Some(engine.test(&rows)?.p)
}

/// The levels of a factor, at one level of another or over all of them. `None` for levels too many, or where none can be compared.
fn family(
    experiment: &Experiment,
    cells: &Cells,
    engine: &dyn Engine,
    factor: usize,
    within: Option<(usize, usize)>,
    protecting_p: Option<f64>,
    level: f64,
) -> Option<ComparisonFamily> {
    let compared = experiment.treatments.get(factor)?;
    let number = compared.levels.len();
    if number > MOST_MEANS {
        return None;
    }
    let at = |level: usize| match within {
        None => weights(cells, &[factor], &[level]),
        Some((other, fixed)) => weights(cells, &[factor, other], &[level, fixed]),
    };
    let rows: Vec<Vec<f64>> = (0..number).map(at).collect();
    // What matters is whether levels differ: a difference may be estimable where the means are not. They are told by their distance from
    // the level that most can be compared with; those without one take no part.
    let from = |reference: &Vec<f64>| -> Vec<Option<f64>> {
        let less = |row: &Vec<f64>| -> Vec<f64> { row.iter().zip(reference).map(|(a, b)| a - b).collect() };
        rows.iter()
            .map(|row| if row == reference { Some(0.0) } else { Some(engine.estimate(&less(row))?.estimate) })
            .collect()
    };
    let known = |distances: &[Option<f64>]| distances.iter().flatten().count();
    let mut distances: Vec<Option<f64>> = Vec::new();
    for reference in &rows {
        if known(&distances) == number {
            break;
        }
        let found = from(reference);
        if known(&found) > known(&distances) {
            distances = found;
        }
    }
    let kept: Vec<usize> = (0..number).filter(|level| distances.get(*level).is_some_and(Option::is_some)).collect();
    let (rows, means): (Vec<&Vec<f64>>, Vec<f64>) =
        kept.iter().filter_map(|level| Some((rows.get(*level)?, distances.get(*level).copied().flatten()?))).unzip();
    let zero = compared.rates.as_ref().and_then(|rates| kept.iter().position(|level| rates.get(*level) == Some(&0.0)));
    let mut pairs = Vec::new();
    for (first, one) in rows.iter().enumerate() {
        for (second, other) in rows.iter().enumerate().skip(first + 1) {
            let difference: Vec<f64> = one.iter().zip(*other).map(|(a, b)| a - b).collect();
            let Some(found) = engine.estimate(&difference) else { continue };
            let (Some(standard_error), Some(df)) = (found.standard_error, found.df) else { continue };
            let t = found.estimate / standard_error;
            let Some(p_lsd) = t_two_sided(t, df) else { continue };
            pairs.push(Pair {
                first,
                second,
                difference: found.estimate,
                standard_error,
                df,
                p_lsd,
                p_tukey: studentized_range_survival(t.abs() * std::f64::consts::SQRT_2, rows.len(), df),
                p_dunnett: None,
            });
        }
    }
    if pairs.is_empty() {
        return None;
    }
    if let Some(zero) = zero {
        against_zero(&mut pairs, zero);
    }
    let sed = |pick: fn(f64, f64) -> f64| pairs.iter().map(|pair| pair.standard_error).reduce(pick).unwrap_or(0.0);
    let mean = pairs.iter().map(|pair| pair.standard_error).sum::<f64>() / pairs.len() as f64;
    let alpha = 1.0 - level;
    let procedures = procedures(&pairs, &means, protecting_p, alpha, zero.is_some());
    Some(ComparisonFamily {
        factors: names(experiment, &[factor]),
        within: within.map_or_else(Vec::new, |(other, fixed)| {
            names(experiment, &[other]).into_iter().zip(level_names(experiment, &[other], &[fixed])).collect()
        }),
        levels: kept.iter().map(|level| level_names(experiment, &[factor], &[*level])).collect(),
        protecting_p,
        sed: Some(VarianceOf { mean, lowest: sed(f64::min), highest: sed(f64::max) }),
        procedures,
        pairs,
    })
}

/// Gives pairs with the zero rate their Dunnett p. The differences share the mean of the zero rate: its share of their variance is the
/// square of λ, exactly so where means are independent.
fn against_zero(pairs: &mut [Pair], zero: usize) {
    let with_zero = |pair: &Pair| pair.first == zero || pair.second == zero;
    let other = |pair: &Pair| if pair.first == zero { pair.second } else { pair.first };
    let involved: Vec<(usize, f64)> =
        pairs.iter().filter(|pair| with_zero(pair)).map(|pair| (other(pair), pair.standard_error.powi(2))).collect();
    // The variance of the zero rate's mean from three differences: Var(0−i) + Var(0−j) − Var(i−j) = 2·Var(0) for independent means.
    let between = |i: usize, j: usize| {
        pairs
            .iter()
            .find(|pair| pair.first == i.min(j) && pair.second == i.max(j))
            .map(|pair| pair.standard_error.powi(2))
    };
    let mut of_zero = Vec::new();
    for (position, (i, of_i)) in involved.iter().enumerate() {
        for (j, of_j) in involved.iter().skip(position + 1) {
            of_zero.extend(between(*i, *j).map(|of_both| (of_i + of_j - of_both) / 2.0));
        }
    }
    let variance = of_zero.iter().sum::<f64>() / of_zero.len().max(1) as f64;
    let lambdas: Vec<f64> = if of_zero.is_empty() {
        vec![0.0; involved.len()]
    } else {
        involved.iter().map(|(_, of_one)| (variance / of_one).clamp(0.0, 1.0).sqrt()).collect()
    };
    for pair in pairs.iter_mut().filter(|pair| with_zero(pair)) {
        pair.p_dunnett = dunnett_survival((pair.difference / pair.standard_error).abs(), &lambdas, pair.df);
    }
}

fn procedures(pairs: &[Pair], means: &[f64], protecting_p: Option<f64>, alpha: f64, zero: bool) -> Vec<Comparison> {
    let first = pairs.first();
    let same = pairs.iter().all(|pair| {
        first.is_some_and(|first| {
            (pair.standard_error / first.standard_error - 1.0).abs() <= SAME && (pair.df / first.df - 1.0).abs() <= SAME
        })
    });
    let complete = pairs.len() == means.len() * means.len().saturating_sub(1) / 2;
    // On less than one degree of freedom a multiple of the standard error is a number without a meaning.
    let known = first.filter(|pair| pair.df >= 1.0);
    let difference = |multiple: Option<f64>| Some(multiple? * known?.standard_error).filter(|_| same);
    let lettered = |differ: &dyn Fn(&Pair) -> bool| {
        if !complete {
            return Vec::new();
        }
        let different: BTreeSet<(usize, usize)> =
            pairs.iter().filter(|pair| differ(pair)).map(|pair| (pair.first, pair.second)).collect();
        compact_letters(means, |one, other| different.contains(&(one.min(other), one.max(other))))
    };
    let protected = protecting_p.is_some_and(|p| p <= alpha);
    let lsd = Comparison {
        procedure: "protected-lsd",
        least_significant_difference: difference(first.and_then(|pair| t_quantile(1.0 - alpha / 2.0, pair.df))),
        letters: lettered(&|pair| protected && pair.p_lsd <= alpha),
        note: (!protected).then(|| match protecting_p {
            Some(_) => "the F test does not protect it: no pair is declared different".to_owned(),
            None => "there is no F test to protect it: no pair is declared different".to_owned(),
        }),
    };
    let range = first.and_then(|pair| studentized_range_quantile(1.0 - alpha, means.len(), pair.df));
    let tukey = Comparison {
        procedure: "tukey",
        least_significant_difference: difference(range.map(|q| q / std::f64::consts::SQRT_2)),
        letters: lettered(&|pair| pair.p_tukey.is_some_and(|p| p <= alpha)),
        note: (!same).then(|| "Tukey–Kramer: standard errors of differences are not equal".to_owned()),
    };
    let mut all = vec![lsd, tukey];
    if zero {
        all.push(Comparison {
            procedure: "dunnett",
            least_significant_difference: None,
            letters: Vec::new(),
            note: None,
        });
    }
    all
}
