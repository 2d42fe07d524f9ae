//! Does the sensor pay?
//!
//! The rule by the reading is compared with the better of two that take no reading but know the N already on: against a single flat rate alone
//! any sensor looks better than it is. The unit is the site-year.

use rand::RngExt as _;

use super::validation::{Rule, Validation};
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Interval;
use crate::stats::stream::stream;

/// What validation says of the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// It gains over the better flat rule.
    Pays,
    /// The site-years do not tell.
    CannotTellYet,
    /// It loses against the better flat rule.
    DoesNotPay,
}

impl Word {
    /// As it is said.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pays => "pays",
            Self::CannotTellYet => "cannot tell yet",
            Self::DoesNotPay => "does not pay",
        }
    }
}

/// The verdict on the sensor, in yield units.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The word.
    pub word: Word,
    /// The flat rule compared with: the better of the best rate given early N and the best total less early N.
    pub against: Rule,
    /// Mean over site-years of what the flat rule forgoes more than the sensor, with Student's t interval.
    pub gain: Interval,
    /// p of the exchange of the two rules within site-years, one-sided: how often chance alone would gain as much.
    pub p_value: f64,
    /// Site-years compared.
    pub site_years: usize,
    /// How many more site-years like these it would take to tell, where they do not tell yet and that is within reason.
    pub more_site_years: Option<usize>,
}

/// p at or below this, the sensor's gain is not put down to chance.
const ALPHA: f64 = 0.05;
/// Exchanges are counted one by one up to so many site-years, drawn at random beyond.
const ALL_EXCHANGES: usize = 16;
/// Exchanges drawn.
const DRAWN: u64 = 9_999;
/// Nobody grows more site-years than this to find out.
const MOST_SITE_YEARS: usize = 1_000;

/// Student's t interval over site-years.
const METHOD: &str = "t-over-site-years";

/// The verdict of a validation at a level; `None` with fewer than two site-years to compare.
#[must_use]
pub fn verdict(validation: &Validation, level: f64, seed: u64) -> Option<Verdict> {
    let performance = |rule| validation.performance(rule).map(|found| (rule, found.forgone));
    let (against, _) = [Rule::GivenEarly, Rule::FlatTotal]
        .into_iter()
        .filter_map(performance)
        .reduce(|best, other| if other.1 < best.1 { other } else { best })?;
    let gains: Vec<f64> = validation
        .held_out
        .iter()
        .filter_map(|held_out| Some(held_out.forgone(against)? - held_out.forgone(Rule::Sensor)?))
        .collect();
    let count = gains.len();
    if count < 2 {
        return None;
    }
    let n = count as f64;
    let mean = gains.iter().sum::<f64>() / n;
    let deviation = (gains.iter().map(|gain| (gain - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let half = |n: f64| t_quantile(0.5 * (1.0 + level), n - 1.0).map(|t| t * deviation / n.sqrt());
    let gain = match half(n) {
        Some(half) => Interval::between(Some(mean), Some(mean - half), Some(mean + half), level, METHOD),
        None => Interval::not_computed(Some(mean), level, METHOD),
    };
    let p_value = exchanged(&gains, seed);
    let word = match (gain.low, gain.high) {
        (Some(low), _) if low > 0.0 && p_value <= ALPHA => Word::Pays,
        (_, Some(high)) if high < 0.0 => Word::DoesNotPay,
        _ => Word::CannotTellYet,
    };
    let tells = |n: &usize| half(*n as f64).is_some_and(|half| half < mean.abs());
    let more = (word == Word::CannotTellYet && deviation > 0.0)
        .then(|| (count + 1..=MOST_SITE_YEARS).find(tells).map(|n| n - count))
        .flatten();
    Some(Verdict { word, against, gain, p_value, site_years: count, more_site_years: more })
}

/// The share of exchanges of the two rules within site-years, which turn the sign of a gain, whose sum is at least the one found.
fn exchanged(gains: &[f64], seed: u64) -> f64 {
    let found: f64 = gains.iter().sum();
    // A sum that differs by rounding is the same.
    let size: f64 = gains.iter().map(|gain| gain.abs()).sum();
    let reaches = |sum: f64| sum >= found - 1e-12 * size;
    if gains.len() <= ALL_EXCHANGES {
        let all = 1_u64 << gains.len();
        let sum_of = |signs: u64| -> f64 {
            gains
                .iter()
                .enumerate()
                .map(|(position, gain)| if signs >> position & 1 == 1 { -gain } else { *gain })
                .sum()
        };
        return (0..all).filter(|signs| reaches(sum_of(*signs))).count() as f64 / all as f64;
    }
    let drawn = |index: u64| -> f64 {
        let mut random = stream(seed, index);
        gains.iter().map(|gain| if random.random::<bool>() { -gain } else { *gain }).sum()
    };
    let reached = (0..DRAWN).filter(|index| reaches(drawn(*index))).count();
    (reached + 1) as f64 / (DRAWN + 1) as f64
}
