//! The models that R fitted too.

use serde_json::Value;
use stook::stats::mixed_model::{MixedData, RandomTerm};

use std::ops::Range;

use super::compare::{list, number, oracle};
use crate::data::{Table, beside};

/// A column a level but the first.
pub fn indicators(groups: &[usize]) -> Vec<Vec<f64>> {
    let levels = groups.iter().max().map_or(0, |largest| largest + 1);
    (1..levels).map(|level| groups.iter().map(|group| f64::from(u8::from(*group == level))).collect()).collect()
}

/// Columns of an interaction, the first factor's running fastest, as R orders them.
pub fn interaction(one: &[Vec<f64>], other: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let product = |a: &Vec<f64>, b: &Vec<f64>| a.iter().zip(b).map(|(x, y)| x * y).collect();
    other.iter().flat_map(|b| one.iter().map(move |a| product(a, b))).collect()
}

pub fn both(one: &[usize], other: &[usize]) -> Vec<usize> {
    one.iter().zip(other).map(|(a, b)| 1000 * a + b).collect()
}

pub fn unit(count: usize, at: usize) -> Vec<f64> {
    (0..count).map(|i| f64::from(u8::from(i == at))).collect()
}

pub fn term(name: &str, group_of: &[usize], columns: &[Vec<f64>], correlated: bool) -> RandomTerm {
    RandomTerm { name: name.to_owned(), group_of: group_of.to_vec(), columns: columns.to_vec(), correlated }
}

/// A model with the columns of each fixed term after the intercept.
pub struct Case {
    pub data: MixedData,
    pub terms: Vec<Range<usize>>,
}

impl Case {
    pub fn new(y: Vec<f64>, terms: &[Vec<Vec<f64>>], random: Vec<RandomTerm>) -> Self {
        let mut fixed = vec![vec![1.0; y.len()]];
        let mut ranges = Vec::new();
        for term in terms {
            ranges.push(fixed.len()..fixed.len() + term.len());
            fixed.extend(term.clone());
        }
        Self { data: MixedData { y, fixed, random, residual_group: None }, terms: ranges }
    }
}

pub fn oats(file: &str, model: &str) -> Case {
    let table = Table::read(&beside(file));
    let (block, variety, rate) = (table.groups("block"), table.groups("variety"), table.groups("nitrogen"));
    let x = table.numbers("nitrogen");
    let square = x.iter().map(|x| x * x).collect();
    let (v, n) = (indicators(&variety), indicators(&rate));
    let terms = match model {
        "quadratic" => vec![v, vec![x], vec![square]],
        "line" => vec![v.clone(), vec![x.clone()], interaction(&v, &[x])],
        "additive" => vec![v, n],
        _ => vec![v.clone(), n.clone(), interaction(&v, &n)],
    };
    let random =
        vec![RandomTerm::intercept("block × variety", both(&block, &variety)), RandomTerm::intercept("block", block)];
    Case::new(table.numbers("yield"), &terms, random)
}

pub fn randomised_blocks(name: &str) -> Case {
    let table = Table::read(&beside(&format!("oracle/{name}.csv")));
    let rates = table.numbers("rate");
    let mut known = rates.clone();
    known.sort_by(f64::total_cmp);
    known.dedup();
    let level: Vec<usize> = rates.iter().map(|rate| known.iter().position(|other| other == rate).unwrap()).collect();
    let block = RandomTerm::intercept("B", table.groups("block"));
    Case::new(table.numbers("yield"), &[indicators(&level)], vec![block])
}

pub fn site_years(set: &str, model: &str) -> Case {
    let table = Table::read(&beside(&format!("oracle/{set}.csv")));
    let (site, block) = (table.groups("site"), table.groups("block"));
    let x: Vec<f64> = table.numbers("rate").iter().map(|rate| rate / 100.0).collect();
    let square: Vec<f64> = x.iter().map(|x| x * x).collect();
    // Rates are 0 to 200 by 40.
    let level: Vec<usize> = x.iter().map(|x| (x * 2.5).round() as usize).collect();
    let curve = [vec![1.0; x.len()], x.clone(), square.clone()];
    let mut random = match model {
        "quadratic_random_coef" | "correlated" => vec![term("site", &site, &curve, true)],
        "quadratic_random_coef_uncorrelated" | "uncorrelated" => vec![term("site", &site, &curve, false)],
        "quadratic_random_intercept" => vec![term("site", &site, &[], false)],
        _ => vec![term("site", &site, &[], false), term("site:rf", &both(&site, &level), &[], false)],
    };
    random.push(term("sb", &both(&site, &block), &[], false));
    let terms = if model == "factor_site_random" { vec![indicators(&level)] } else { vec![vec![x], vec![square]] };
    Case::new(table.numbers("yield"), &terms, random)
}

pub fn sorted_names(column: &[String]) -> (Vec<usize>, Vec<String>) {
    let mut names = column.to_vec();
    names.sort();
    names.dedup();
    (column.iter().map(|name| names.binary_search(name).unwrap()).collect(), names)
}

pub fn texts(rows: &Value, name: &str) -> Vec<String> {
    list(rows).iter().map(|row| row[name].as_str().unwrap().to_owned()).collect()
}

pub fn column(rows: &Value, name: &str) -> Vec<f64> {
    list(rows).iter().map(|row| number(&row[name])).collect()
}

/// Reaction times by days, and the names of the subjects.
pub fn sleep() -> (Case, Vec<String>) {
    let data = &oracle("mixed/mixed.json")["sleep"]["data"];
    let (subject, subjects) = sorted_names(&texts(data, "subject"));
    let days = column(data, "days");
    let random = vec![term("Subject", &subject, &[vec![1.0; days.len()], days.clone()], true)];
    (Case::new(column(data, "reaction"), &[vec![days]], random), subjects)
}
