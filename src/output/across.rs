//! What several site-years give together.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::envelope::Warning;
use super::long::{Long, number, text};
use super::numbers::count;
use crate::files::export::Table;
use crate::site_years::{self, Across, FEW_SITE_YEARS, FEWEST_RESAMPLED, SetAsideFrom, SiteYear};
use crate::stats::interval::{Interval, Limits};
use crate::stats::random_effects::{Estimation, Known};

/// Site-years whose rates mean the same, put together.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AcrossOf {
    /// What the rates are: `all` of the N, or the `topdress` onto an early level.
    pub varies: &'static str,
    /// The early levels that a topdress is onto; null where the rate is all of the N.
    pub early_n: Option<EarlyN>,
    /// Unit of rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of yields, where it is known.
    pub yield_unit: Option<String>,
    /// Every site-year of the kind.
    pub site_years: Vec<SiteYearOf>,
    /// Groups that are not part of one or both of the results.
    pub set_aside: Vec<AsideOf>,
    /// The rate that would have been best for all site-years together.
    pub common_rate: CommonRateOf,
    /// The mean of their optima.
    pub mean_optimum: MeanOptimumOf,
    /// What a reader should keep in mind.
    pub cautions: Vec<Warning>,
}

/// Early levels that count as one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct EarlyN {
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
}

/// One site-year.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SiteYearOf {
    /// Its name.
    pub site_year: String,
    /// Trial folders it comes from.
    pub trials: Vec<String>,
    /// Groups that it is the mean of.
    pub groups: usize,
    /// Its weight in the best common rate.
    pub weight: f64,
    /// What is known of its optimum: `number`, `at-least`, `at-most`, `between`, `nothing`, or `none` where it has none.
    pub optimum_is: &'static str,
    /// Its optimum; null where that is no number.
    pub optimum: Option<f64>,
    /// Standard error of the optimum.
    pub standard_error: Option<f64>,
    /// The optimum is at least this; null where it is a number, or nothing is known.
    pub at_least: Option<f64>,
    /// The optimum is at most this.
    pub at_most: Option<f64>,
    /// The best rate of its mean curve within its own tested rates.
    pub best_rate: Option<f64>,
    /// Net return that the common rate gives up against that, in yield units.
    pub forgone_return: Option<f64>,
}

/// A group that is not part of a result.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AsideOf {
    /// Its site-year.
    pub site_year: String,
    /// What tells it from the other groups of its site-year.
    pub group: Map<String, Value>,
    /// What it is not part of: `both` results, or the `mean-optimum`.
    pub from: &'static str,
    /// Why.
    pub reason: String,
}

/// The best common rate.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CommonRateOf {
    /// Site-years it is best for.
    pub site_years: usize,
    /// The rate, with its interval over resampled site-years; null where there is none.
    pub rate: Option<Interval>,
    /// The lowest rate within the tested rates of all.
    pub lowest_rate: Option<f64>,
    /// The highest such rate.
    pub highest_rate: Option<f64>,
    /// Weighted mean of the net return that it gives up against each site-year's own best rate, in yield units.
    pub mean_forgone_return: Option<f64>,
    /// Resamples of site-years; 0 where there are too few site-years.
    pub resamples: u64,
    /// Resamples that gave no rate.
    pub failed: u64,
    /// Why there is no rate, or no interval.
    pub reason: Option<String>,
}

/// The random-effects mean of the optima.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct MeanOptimumOf {
    /// `reml`, or `ml-interval-censored` where an optimum is known within limits only; null where there is no mean.
    pub estimation: Option<&'static str>,
    /// Site-years whose optimum is a number.
    pub numbers: usize,
    /// Site-years whose optimum is known within limits.
    pub bounds: usize,
    /// The mean.
    pub mean: Option<Interval>,
    /// Standard deviation of the optima between site-years.
    pub sd_between: Option<Interval>,
    /// Where the optimum of a new site-year would lie.
    pub new_site_year: Option<Interval>,
    /// Cochran's Q; null where an optimum is no number.
    pub q: Option<f64>,
    /// Its degrees of freedom.
    pub q_df: Option<usize>,
    /// The share of the variation of the optima that their errors do not make; null where an optimum is no number.
    pub i_squared: Option<f64>,
    /// Why there is no mean.
    pub reason: Option<String>,
}

impl AcrossOf {
    pub(super) fn of(across: &Across) -> Self {
        let common = across.common_rate.as_ref().ok();
        let site_year = |site_year: &SiteYear| {
            let forgone = common.and_then(|common| common.forgone.iter().find(|of| of.site_year == site_year.name));
            SiteYearOf::of(site_year, forgone)
        };
        let aside = |aside: &site_years::SetAside| AsideOf {
            site_year: aside.site_year.clone(),
            group: aside.group.iter().map(|(factor, level)| (factor.clone(), level.as_str().into())).collect(),
            from: match aside.from {
                SetAsideFrom::Both => "both",
                SetAsideFrom::Optima => "mean-optimum",
            },
            reason: aside.reason.clone(),
        };
        Self {
            varies: if across.early_n.is_some() { "topdress" } else { "all" },
            early_n: across.early_n.map(|[low, high]| EarlyN { low, high }),
            rate_unit: across.rate_unit.clone(),
            yield_unit: across.yield_unit.clone(),
            site_years: across.site_years.iter().map(site_year).collect(),
            set_aside: across.set_aside.iter().map(aside).collect(),
            common_rate: CommonRateOf::of(across),
            mean_optimum: MeanOptimumOf::of(across),
            cautions: cautions(across),
        }
    }
}

impl SiteYearOf {
    fn of(site_year: &SiteYear, forgone: Option<&site_years::Forgone>) -> Self {
        let known = site_year.optimum.map(|optimum| optimum.known);
        let (optimum_is, optimum, ends) = match known {
            None => ("none", None, [None, None]),
            Some(Known::Exact(rate)) => ("number", Some(rate), [None, None]),
            Some(Known::Between { low, high }) => {
                let ends = [low, high].map(|end| Some(end).filter(|end| end.is_finite()));
                let name = match ends {
                    [Some(_), Some(_)] => "between",
                    [Some(_), None] => "at-least",
                    [None, Some(_)] => "at-most",
                    [None, None] => "nothing",
                };
                (name, None, ends)
            }
        };
        Self {
            site_year: site_year.name.clone(),
            trials: site_year.trials.clone(),
            groups: site_year.groups,
            weight: site_year.weight,
            optimum_is,
            optimum,
            standard_error: site_year.optimum.and_then(|optimum| optimum.variance).map(f64::sqrt),
            at_least: ends[0],
            at_most: ends[1],
            best_rate: forgone.map(|of| of.best_rate),
            forgone_return: forgone.map(|of| of.forgone),
        }
    }
}

impl CommonRateOf {
    fn of(across: &Across) -> Self {
        match &across.common_rate {
            Ok(common) => Self {
                site_years: common.forgone.len(),
                rate: Some(common.rate.clone()),
                lowest_rate: Some(common.lowest),
                highest_rate: Some(common.highest),
                mean_forgone_return: Some(common.mean_forgone),
                resamples: common.attempted,
                failed: common.failed,
                reason: (common.forgone.len() < FEWEST_RESAMPLED).then(|| {
                    format!(
                        "no interval: resampling {} says too little, it takes {FEWEST_RESAMPLED}",
                        count(common.forgone.len(), "site-year")
                    )
                }),
            },
            Err(reason) => Self {
                site_years: across.site_years.iter().filter(|site_year| site_year.groups > 0).count(),
                rate: None,
                lowest_rate: None,
                highest_rate: None,
                mean_forgone_return: None,
                resamples: 0,
                failed: 0,
                reason: Some(reason.to_string()),
            },
        }
    }
}

impl MeanOptimumOf {
    fn of(across: &Across) -> Self {
        let with = |is: fn(Known) -> bool| {
            let optima = across.site_years.iter().filter_map(|site_year| site_year.optimum);
            optima.filter(|optimum| is(optimum.known)).count()
        };
        let found = across.optima.as_ref().ok();
        let heterogeneity = found.and_then(|found| found.heterogeneity);
        Self {
            estimation: found.map(|found| found.estimation.name()),
            numbers: with(|known| matches!(known, Known::Exact(_))),
            bounds: with(|known| matches!(known, Known::Between { .. })),
            mean: found.map(|found| found.mean.clone()),
            sd_between: found.map(|found| found.between.clone()),
            new_site_year: found.map(|found| found.prediction.clone()),
            q: heterogeneity.map(|of| of.q),
            q_df: heterogeneity.map(|of| of.df),
            i_squared: heterogeneity.map(|of| of.i_squared),
            reason: across.optima.as_ref().err().map(ToString::to_string),
        }
    }
}

/// Code of what is said once, not under every kind: see [`GENERAL`].
const NOT_MEASURED: &str = "coverage-not-measured";
const ML: &str = "ml-few-site-years";
const NEW_SITE_YEAR: &str = "new-site-year-interval";

/// Codes of cautions that hold wherever such a result is given.
pub(crate) const GENERAL: [&str; 3] = [NOT_MEASURED, ML, NEW_SITE_YEAR];

fn cautions(across: &Across) -> Vec<Warning> {
    let mut cautions = Vec::new();
    let mut caution = |code: &'static str, text: String| cautions.push(Warning { code, text });
    if let Ok(common) = &across.common_rate {
        if common.rate.estimate >= Some(common.highest) {
            let text = "the best common rate is the highest that all site-years tested: a higher one may be better";
            caution("common-rate-at-highest-tested", text.to_owned());
        }
        if common.attempted > 0 {
            let text =
                "how often an interval from so few resampled site-years holds the best common rate was not measured";
            caution(NOT_MEASURED, text.to_owned());
        }
    }
    if let Ok(found) = &across.optima {
        if found.exact < FEW_SITE_YEARS {
            let text = format!(
                "only {}: how far site-years differ is hardly known, and a standard deviation near 0 doesn't show that they agree",
                match found.exact {
                    1 => "1 site-year has an optimum that is a number".to_owned(),
                    several => format!("{several} site-years have an optimum that is a number"),
                },
            );
            caution("few-site-years", text);
        }
        if found.estimation == Estimation::MlIntervalCensored {
            let text = "maximum likelihood, which bounds need, makes the differences between few site-years smaller than they are";
            caution(ML, text.to_owned());
        }
        if found.prediction.limits != Limits::NotComputed {
            let text = "the interval of a new site-year is too short where site-years differ about as much as their optima err: in \
                        simulation one of 95 % then held as few as 83 % of new optima";
            caution(NEW_SITE_YEAR, text.to_owned());
        }
    }
    cautions
}

const COLUMNS: [&str; 18] = [
    "varies",
    "early_n_low",
    "early_n_high",
    "site_year",
    "trials",
    "groups",
    "weight",
    "optimum_is",
    "optimum",
    "standard_error",
    "at_least",
    "at_most",
    "best_rate",
    "forgone_return",
    "common_rate",
    "mean_optimum",
    "rate_unit",
    "yield_unit",
];

/// A record for each site-year of each kind.
pub(super) fn table(across: &[AcrossOf]) -> Table {
    let mut long = Long::new(COLUMNS);
    for kind in across {
        for of in &kind.site_years {
            long.row([
                kind.varies.into(),
                number(kind.early_n.map(|early| early.low)),
                number(kind.early_n.map(|early| early.high)),
                text(Some(&of.site_year)),
                text(Some(&of.trials.join(" "))),
                of.groups.into(),
                number(of.weight),
                of.optimum_is.into(),
                number(of.optimum),
                number(of.standard_error),
                number(of.at_least),
                number(of.at_most),
                number(of.best_rate),
                number(of.forgone_return),
                number(kind.common_rate.rate.as_ref().and_then(|rate| rate.estimate)),
                number(kind.mean_optimum.mean.as_ref().and_then(|mean| mean.estimate)),
                text(kind.rate_unit.as_deref()),
                text(kind.yield_unit.as_deref()),
            ]);
        }
    }
    long.finish()
}
