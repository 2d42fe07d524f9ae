//! The whole chain once: from a programme to rate tables. Returns results, writes nothing.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rayon::prelude::*;

use crate::calibration::{
    ClassOptions, ClassRow, Classifier, FittedTrial, Gathered, NeedPoint, NoClassifier, NoReliability, Reliability,
    ReliabilityOptions, ReplicatedIndex, Together, gather, together,
};
use crate::economics::{Economy, PriceRatio, Tolerance, price_per_yield_unit, price_ratio, price_ratio_unit};
use crate::experiment::anova::{Analysed, AnovaOptions, analyses_of_programme};
use crate::experiment::{
    FitOptions, Fitted, FittedGroup, GroupOptimum, QualityGroup, Response, groups_of_trial, quality_groups_of_trial,
};
use crate::finding::{Finding, Place};
use crate::harvest::{PlotYield, TrialHarvest};
use crate::quality::check_programme;
use crate::recommend::{Derived, derive, heading, settings};
use crate::response::{Family, IntervalMethod, OptimumStatus, TestedBy};
use crate::sensing::{
    Asked, Crowded, LowBecause, PlateDay, PlotIndex, ShowsN, Study, Verdict, choose_date, indices, plate_days,
    sensings, shows_n,
};
use crate::site_years::{self, Across, Member, across};
use crate::trial::{
    Instrument, LARGEST_PRICE_RATIO, NearOptimumWithin, Programme, TableSpecification, Trial, is_same_price_ratio,
};
use crate::units::BushelUnknown;

/// What a season is asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeasonOptions {
    /// Seed of permutations and resampling.
    pub seed: u64,
    /// Permutations of each response test.
    pub permutations: usize,
    /// Resamples of site-years.
    pub replicates: u64,
    /// A price ratio instead of the programme's prices.
    pub price_ratio: Option<f64>,
    /// The curve family to take where it is estimable; the best one where `None`.
    pub family: Option<Family>,
    /// Method of the intervals of join, plateau and optimum.
    pub interval: IntervalMethod,
    /// N need above which a treatment counts as deficient for the critical index, in the programme's rate unit.
    pub deficient_above: f64,
}

/// Why there is no season.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SeasonError {
    /// Yields or prices cannot be brought to the programme's units.
    #[error(transparent)]
    Bushel(#[from] BushelUnknown),
    /// The price ratio is no number, or no price of N over a price of yield.
    #[error("the prices make a price ratio of {0:e}, which is no price of N over a price of yield")]
    AbsurdPrices(f64),
}

/// Seed where none is given.
pub const DEFAULT_SEED: u64 = 1;

impl Default for SeasonOptions {
    fn default() -> Self {
        Self {
            seed: DEFAULT_SEED,
            permutations: crate::experiment::PERMUTATIONS,
            replicates: crate::calibration::REPLICATES,
            price_ratio: None,
            family: None,
            interval: IntervalMethod::default(),
            deficient_above: 0.0,
        }
    }
}

/// One season's results.
#[derive(Clone, Debug)]
pub struct Season {
    /// The programme they come from.
    pub programme: Programme,
    /// What was asked.
    pub options: SeasonOptions,
    /// The price ratio of every optimum; `None` where neither prices nor a ratio were given.
    pub price_ratio: Option<PriceRatio>,
    /// Every price ratio that tables are derived at, the base first; empty without one.
    pub price_ratios: Vec<f64>,
    /// One result a trial, in the order of the programme's trials.
    pub trials: Vec<TrialResult>,
    /// One result a table wanted.
    pub tables: Vec<TableResult>,
    /// What the input and the results give to know.
    pub warnings: Vec<Finding>,
}

/// The results of one trial.
#[derive(Clone, Debug)]
pub struct TrialResult {
    /// What was harvested, plot by plot and treatment by treatment.
    pub harvest: TrialHarvest,
    /// The curves.
    pub groups: Vec<FittedGroup>,
    /// The curves of yields that are worth what the grain's quality makes them worth; empty where nothing of it is priced or measured.
    pub with_quality: Vec<QualityGroup>,
    /// One result a sensing.
    pub sensings: Vec<Sensing>,
    /// How the instruments kept to their reference plates.
    pub plates: Vec<PlateDay>,
}

/// The readings of one instrument on one date.
#[derive(Clone, Debug)]
pub struct Sensing {
    /// Instrument.
    pub instrument: Instrument,
    /// Date.
    pub date: Date,
    /// Index of every plot read.
    pub indices: Vec<PlotIndex>,
    /// Whether the readings show the N already on, by variety.
    pub shows_n: Vec<ShowsN>,
    /// How leaves and plots differ, whether reference and canopy can be trusted, and what of a low reading is the stand.
    pub study: Study,
}

/// The results of one table wanted.
#[derive(Clone, Debug)]
pub struct TableResult {
    /// What was wanted.
    pub specification: TableSpecification,
    /// What it rests on, and what gave nothing to rest on.
    pub gathered: Gathered,
    /// Calibrations, validations and the table.
    pub derived: Derived,
    /// How reliable the index of its treatments is.
    pub reliability: Result<Reliability, NoReliability>,
    /// N need above which a treatment counts as deficient.
    pub deficient_above: f64,
    /// What the index tells of whether N is needed, at the base price ratio.
    pub classifier: Result<Classifier, NoClassifier>,
}

/// A step of the season, for a progress bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step<'a> {
    /// A trial is done.
    Trial(&'a str),
    /// A table is done.
    Table(&'a str),
}

impl Season {
    /// Runs the whole chain over a programme. `input_warnings` are carried along; `progress` is told of each step done, from any
    /// thread.
    ///
    /// # Errors
    /// [`SeasonError`] where yields or prices cannot be brought to the programme's units, or the prices are absurd.
    pub fn run(
        programme: Programme,
        input_warnings: Vec<Finding>,
        options: SeasonOptions,
        progress: &(dyn Fn(Step<'_>) + Sync),
    ) -> Result<Self, SeasonError> {
        let price_ratio = base_price_ratio(&programme, options.price_ratio)?;
        if let Some(absurd) = price_ratio.iter().find(|ratio| !(0.0..=LARGEST_PRICE_RATIO).contains(&ratio.value)) {
            return Err(SeasonError::AbsurdPrices(absurd.value));
        }
        let fit_options = FitOptions {
            permutations: options.permutations,
            family: options.family,
            interval: options.interval,
            ..FitOptions::new(programme.decisions.level, options.seed)
        };
        let run_trial = |trial: &Trial| {
            let result = trial_result(&programme, trial, &fit_options);
            progress(Step::Trial(&trial.folder));
            result
        };
        let trials: Vec<TrialResult> = programme.trials.par_iter().map(run_trial).collect::<Result<_, _>>()?;

        let mut price_ratios: Vec<f64> = price_ratio.iter().map(|ratio| ratio.value).collect();
        let mut warnings = input_warnings;
        if let (Some(prices), Some(base)) = (&programme.prices, price_ratios.first().copied()) {
            let (same, others): (Vec<f64>, Vec<f64>) =
                prices.other_price_ratios.iter().partition(|other| is_same_price_ratio(**other, base));
            price_ratios.extend(others);
            warnings.extend(same.into_iter().map(|other| same_ratio_warning(other, base)));
        }
        warnings.extend(check_programme(&programme));
        let mut season = Self { programme, options, price_ratio, price_ratios, trials, tables: Vec::new(), warnings };
        let tables = season.programme.tables.iter().map(|specification| {
            let result = season.table_result(specification);
            progress(Step::Table(&specification.name));
            result
        });
        season.tables = tables.collect();
        season.warnings.extend(season.result_warnings());
        Ok(season)
    }

    /// The optimum of a group at the base price ratio.
    #[must_use]
    pub fn optimum(&self, group: &FittedGroup) -> Option<GroupOptimum> {
        self.optimum_at(group, self.price_ratio.as_ref()?.value)
    }

    /// The optimum of a group at a price ratio, with the programme's near-optimum tolerance.
    #[must_use]
    pub fn optimum_at(&self, group: &FittedGroup, price_ratio: f64) -> Option<GroupOptimum> {
        group.outcome.as_ref().ok()?.optimum(price_ratio, self.tolerance())
    }

    /// The programme's near-optimum tolerance: money becomes yield units at the grain price.
    #[must_use]
    pub fn tolerance(&self) -> Tolerance {
        match self.programme.decisions.near_optimum_within {
            NearOptimumWithin::Percent(percent) => Tolerance::PercentOfNetReturn(percent),
            NearOptimumWithin::Money(money) => {
                Tolerance::YieldUnits(money / self.price_per_yield_unit().unwrap_or(f64::NAN))
            }
        }
    }

    /// What one yield unit brings, in the programme's currency; `None` without prices.
    #[must_use]
    pub fn price_per_yield_unit(&self) -> Option<f64> {
        let programme = &self.programme;
        price_per_yield_unit(programme.prices.as_ref()?, &programme.units, &programme.crop).ok()
    }

    /// What the programme's prices say beside their ratio.
    #[must_use]
    pub fn economy(&self) -> Economy {
        let price_ratio = self.price_ratio.as_ref().map_or(f64::NAN, |ratio| ratio.value);
        Economy::of_programme(&self.programme, price_ratio, self.options.price_ratio.is_none(), self.options.seed)
    }

    /// Trials with their fitted groups.
    pub fn fitted_trials(&self) -> impl Iterator<Item = FittedTrial<'_>> {
        let trials = self.programme.trials.iter().zip(&self.trials);
        trials.map(|(trial, result)| FittedTrial { trial, groups: &result.groups })
    }

    /// What the site-years give together at the base price ratio; empty without one, or with fewer than two like site-years. A
    /// site-year of several trials has the mean of their weights.
    #[must_use]
    pub fn across(&self) -> Vec<Across> {
        let Some(price_ratio) = &self.price_ratio else { return Vec::new() };
        let names: Vec<String> = self.programme.trials.iter().map(Trial::site_year).collect();
        let mut members = Vec::new();
        let mut weights: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        for ((trial, result), name) in self.programme.trials.iter().zip(&self.trials).zip(&names) {
            members.extend(result.groups.iter().map(|group| Member { site_year: name, group }));
            let weight = self.programme.site_year_weights.get(&trial.folder).copied().unwrap_or(1.0);
            weights.entry(name.clone()).or_default().push(weight);
        }
        let mean = |weights: Vec<f64>| weights.iter().sum::<f64>() / weights.len() as f64;
        across(
            &members,
            &site_years::Options {
                price_ratio: price_ratio.value,
                level: self.programme.decisions.level,
                replicates: self.options.replicates,
                seed: self.options.seed,
                weights: weights.into_iter().map(|(name, weights)| (name, mean(weights))).collect(),
            },
        )
    }

    /// The analysis of variance of each trial, then of those with like treatments together, with everything by default.
    ///
    /// # Errors
    /// [`SeasonError::Bushel`] where yields cannot be brought to the programme's unit.
    pub fn analyses(&self) -> Result<Vec<Analysed>, SeasonError> {
        Ok(analyses_of_programme(&self.programme, &AnovaOptions::new(self.programme.decisions.level))?)
    }

    fn table_result(&self, specification: &TableSpecification) -> TableResult {
        let trials: Vec<FittedTrial<'_>> = self.fitted_trials().collect();
        let gathered = gather(&trials, specification, self.programme.units.n_rate);
        let unit = self.price_ratio.as_ref().and_then(|ratio| ratio.unit.as_deref());
        let SeasonOptions { permutations, replicates, seed, .. } = self.options;
        let heading = heading(&self.programme, specification, &self.price_ratios, unit, seed);
        let settings = settings(&self.programme, specification, permutations);
        let derived = derive(&gathered.evidence, &gathered.set_aside, &heading, &settings);
        let level = self.programme.decisions.level;
        let readings = ReplicatedIndex::of_evidence(&gathered.evidence);
        let points = base_points(&derived);
        let rows: Vec<ClassRow> = points.iter().map(ClassRow::of_point).collect();
        let threshold = self.options.deficient_above;
        TableResult {
            specification: specification.clone(),
            reliability: Reliability::of(&readings, &ReliabilityOptions { level, replicates, seed }),
            deficient_above: threshold,
            classifier: Classifier::of(&rows, &ClassOptions { threshold, level, replicates, seed }),
            gathered,
            derived,
        }
    }

    /// What the readings of several tables say of N need together, at the base price ratio: one result a stage window and variety group.
    #[must_use]
    pub fn together<'a>(&self, tables: impl IntoIterator<Item = &'a TableResult>) -> Vec<Together> {
        let trials: Vec<FittedTrial<'_>> = self.fitted_trials().collect();
        let tables: Vec<(&TableSpecification, &[NeedPoint])> =
            tables.into_iter().map(|result| (&result.specification, base_points(&result.derived))).collect();
        together(&trials, &tables, self.programme.units.n_rate)
    }

    fn result_warnings(&self) -> Vec<Finding> {
        let mut warnings = Vec::new();
        for (trial, result) in self.programme.trials.iter().zip(&self.trials) {
            warnings.extend(self.curve_warnings(trial, result));
            warnings.extend(sensing_warnings(trial, result, &self.programme.tables));
        }
        warnings.extend(self.tables.iter().flat_map(table_warnings));
        warnings
    }

    fn curve_warnings(&self, trial: &Trial, result: &TrialResult) -> Vec<Finding> {
        let mut warnings = Vec::new();
        for group in &result.groups {
            let labels: Vec<String> =
                group.group.key.labels().into_iter().skip(1).map(|(name, level)| format!("{name} {level}")).collect();
            let place = Place::file(&trial.folder).column(if labels.is_empty() {
                "all plots".to_owned()
            } else {
                labels.join(", ")
            });
            let fitted = match &group.outcome {
                Ok(fitted) => fitted,
                Err(error) => {
                    warnings.push(Finding::warning("no-curve", place, format!("no curve can be fitted: {error}")));
                    continue;
                }
            };
            warnings.extend(test_warning(fitted, &place));
            if let Some(reason) = fitted.why_none_chosen() {
                warnings.push(Finding::warning("no-optimum", place, format!("no optimum: {reason}")));
                continue;
            }
            let Some(optimum) = self.optimum(group) else { continue };
            let (code, text) = match (optimum.response, optimum.optimum.status) {
                (Some(Response::NotDetected), _) => {
                    ("response-not-shown", "a response to N is not shown: the trial may be too small to see one")
                }
                (Some(Response::Negligible), _) => (
                    "response-not-shown",
                    "no response that would pay for the N: the upper limit of the gain is too small",
                ),
                (_, OptimumStatus::AtHighestTestedRate) => {
                    ("optimum-not-bracketed", "the optimum is not reached within the tested rates: it is a lower bound")
                }
                (_, OptimumStatus::BeforeFirstRate) => {
                    ("optimum-not-bracketed", "the optimum lies below the rates that tell it: it is an upper bound")
                }
                _ => continue,
            };
            warnings.push(Finding::warning(code, place, text));
        }
        warnings
    }
}

/// The points at the base price ratio.
fn base_points(derived: &Derived) -> &[NeedPoint] {
    derived.calibrations.first().map_or(&[], |base| &base.points)
}

/// What is to be said of how a response was tested, where it was not by permutations.
fn test_warning(fitted: &Fitted, place: &Place) -> Option<Finding> {
    let test = &fitted.response;
    if let Some(reason) = &test.untested {
        let text = format!("whether there is a response to N cannot be tested: {reason}");
        return Some(Finding::warning("response-not-tested", place.clone(), text));
    }
    let ways = test.permutations + 1;
    let text = format!(
        "the plots can be arranged in {ways} ways only, too few for a permutation test of the response: the F test of the rates stands in"
    );
    (test.by == TestedBy::F).then(|| Finding::warning("response-tested-by-f", place.clone(), text))
}

/// Code of the warning that one of the programme's other price ratios is left out.
pub const PRICE_RATIO_LEFT_OUT: &str = "price-ratio-left-out";

fn same_ratio_warning(other: f64, base: f64) -> Finding {
    let place = Place::file("programme.toml").column("prices.other_price_ratios").value(other.to_string());
    let text =
        format!("within 1 % of the price ratio in force, {base:.4}: it is left out, as a table can't tell them apart");
    Finding::warning(PRICE_RATIO_LEFT_OUT, place, text)
}

/// The base price ratio: as asked, or from the programme's prices.
fn base_price_ratio(programme: &Programme, asked: Option<f64>) -> Result<Option<PriceRatio>, BushelUnknown> {
    match (asked, &programme.prices) {
        (Some(value), _) => Ok(Some(PriceRatio { value, unit: Some(price_ratio_unit(&programme.units)) })),
        (None, Some(prices)) => price_ratio(prices, &programme.units, &programme.crop).map(Some),
        (None, None) => Ok(None),
    }
}

fn trial_result(programme: &Programme, trial: &Trial, options: &FitOptions) -> Result<TrialResult, BushelUnknown> {
    let harvest = TrialHarvest::of(trial, &programme.crop, &programme.units)?;
    let groups = groups_of_trial(trial, &programme.crop, &programme.units)?;
    let groups = groups.into_iter().map(|group| FittedGroup::fit(group, options)).collect();
    let yields: Vec<Option<f64>> = harvest.yields.iter().map(PlotYield::used).collect();
    let asked = Asked {
        unit: programme.units.n_rate,
        level: programme.decisions.level,
        thin_stand_below: programme.decisions.thin_stand_below,
        yields: &yields,
    };
    let sensings = sensings(trial)
        .into_iter()
        .map(|(instrument, date)| {
            let indices = indices(trial, instrument, date);
            let study = Study::of(trial, instrument, date, &indices, &asked);
            let shows_n = shows_n(trial, instrument, date, programme.units.n_rate);
            Sensing { instrument, date, indices, shows_n, study }
        })
        .collect();
    let priced = programme.prices.as_ref();
    let quality =
        priced.map(|prices| quality_groups_of_trial(trial, &programme.crop, &programme.units, prices, options));
    let plates = plate_days(trial);
    Ok(TrialResult { harvest, groups, sensings, plates, with_quality: quality.transpose()?.unwrap_or_default() })
}

fn sensing_warnings(trial: &Trial, result: &TrialResult, tables: &[TableSpecification]) -> Vec<Finding> {
    let mut warnings = Vec::new();
    // Readings that no table takes need no second look.
    let is_taken = |sensing: &Sensing| {
        let takes = |table: &TableSpecification| {
            table.instrument == sensing.instrument
                && choose_date(trial, table).is_ok_and(|chosen| chosen.date == sensing.date)
        };
        tables.is_empty() || tables.iter().any(takes)
    };
    for sensing in &result.sensings {
        let place = || Place::file(&trial.folder).column(format!("{} {}", sensing.instrument.name(), sensing.date));
        for shown in sensing.shows_n.iter().filter(|shown| !shown.is_shown()) {
            let variety = shown.variety.as_ref().map_or(String::new(), |variety| format!(" ({variety})"));
            let text = format!(
                "the readings do not show the N that is on{variety}: F test p = {:.3}, lowest ÷ highest N level {:.3}",
                shown.p_value, shown.lowest_to_highest
            );
            warnings.push(
                Finding::warning("readings-show-no-n", place(), text).remedy("sense later, or take another date"),
            );
        }
        let mut without: BTreeMap<String, usize> = BTreeMap::new();
        for reason in sensing.indices.iter().filter_map(|read| read.index.as_ref().err()) {
            *without.entry(reason.to_string()).or_default() += 1;
        }
        for (reason, plots) in without {
            warnings.push(Finding::warning("no-index", place(), format!("{plots} plots have no index: {reason}")));
        }
        if is_taken(sensing) {
            warnings.extend(study_warnings(trial, &sensing.study, &place()));
        }
    }
    warnings
}

/// What of a day's readings makes its index doubtful.
fn study_warnings(trial: &Trial, study: &Study, place: &Place) -> Vec<Finding> {
    let whose = |variety: &Option<String>| variety.as_ref().map_or(String::new(), |variety| format!(" of {variety}"));
    let mut warnings = Vec::new();
    for crowding in study.crowding.iter().filter(|crowding| crowding.crowded == Crowded::Yes) {
        let text = format!(
            "the canopy is crowded: the reference{} reads {:.3}, and near it a change in N no longer shows",
            whose(&crowding.variety),
            crowding.reference
        );
        let remedy = "sense earlier, before the canopy closes, or use a leaf meter";
        warnings.push(Finding::warning("canopy-crowded", place.clone(), text).remedy(remedy));
    }
    for reference in study.references.iter().filter(|reference| reference.verdict() == Verdict::Doubtful) {
        let text = format!(
            "it is doubtful whether the N-rich reference{} is sufficient: {} of {} plots read above it, mean index {:.3}",
            whose(&reference.variety),
            reference.above,
            reference.plots,
            reference.mean_index
        );
        let remedy =
            "`stook sense` says why; an index against a reference short of N is too high, and its need too low";
        warnings.push(Finding::warning("reference-doubtful", place.clone(), text).remedy(remedy));
    }
    if let Some(stand) = &study.stand {
        let thin = |because: &LowBecause| *because == LowBecause::ThinStand || *because == LowBecause::NotNitrogen;
        let plots: Vec<&str> = stand
            .low
            .iter()
            .filter(|low| thin(&low.because))
            .filter_map(|low| trial.plots.get(low.plot).map(|plot| plot.id.as_str()))
            .collect();
        if let Some(first) = plots.first() {
            let text = format!(
                "{} plots read low for their stand or another cause, not for N (the first is {first}): extra N there may not pay",
                plots.len()
            );
            let remedy = "take the rate of these plots from a leaf meter, or count the stand";
            warnings.push(Finding::warning("thin-stand", place.clone(), text).remedy(remedy));
        }
    }
    warnings
}

fn table_warnings(result: &TableResult) -> Vec<Finding> {
    let place = || Place::file(format!("table {}", result.specification.name));
    let mut warnings = Vec::new();
    if let Err(reason) = &result.derived.table {
        warnings.push(Finding::warning("no-table", place(), reason.to_string()));
    }
    if let Some(calibration) = result.derived.calibrations.first() {
        match calibration.site_years().len() {
            0 => {}
            1 => warnings.push(Finding::warning(
                "one-site-year",
                place(),
                "one site-year: nothing tells this rule from the conditions of that site-year, and no interval or validation can be given",
            )),
            few if few < crate::calibration::FEWEST_SITE_YEARS => warnings.push(Finding::warning(
                "few-site-years",
                place(),
                format!("{few} site-years: too few to resample, so no row has an interval"),
            )),
            _ => {}
        }
    }
    warnings
}
