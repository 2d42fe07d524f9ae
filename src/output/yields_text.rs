//! Yields for a reader: counts, what is not used, treatment means, and for one trial every plot.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::group::{factor_text, factors, group_text, level_text};
use super::layout::{TextTable, paragraph};
use super::numbers::{self, NONE, count, decimals_of_rates, fixed, plain};
use super::yields::{MeanOf, TreatmentYields, TrialYields, YieldOfPlot, Yields};

/// Decimals of yields in the list of plots.
const PLOT_DECIMALS: usize = 2;
/// Decimals of protein: laboratories report one.
const PROTEIN_DECIMALS: usize = 1;
/// Decimals of recovery, a part of 1.
const RECOVERY_DECIMALS: usize = 2;

/// What is not known where there is nothing to know: a plot without N has no efficiency, a plot without yield has nothing.
const BY_ITS_NATURE: [&str; 3] = ["no N was applied", "no yield in the file", "the yield is left out"];

pub(super) fn text(yields: &Yields) -> String {
    let moisture = yields
        .moisture_percent
        .map_or_else(|| "moisture as it stood".to_owned(), |moisture| format!("at {} % moisture", plain(moisture)));
    let mut text =
        format!("Plot yields, in {}, {moisture}\n\n{}{}", yields.yield_unit, counts(yields), not_used(yields));
    for trial in &yields.trials {
        text += &treatments(yields, trial);
    }
    text += &legend(yields);
    if let [trial] = yields.trials.as_slice() {
        text += &format!("\nPlots, with the N that went on\n\n{}", plots(trial));
    } else {
        let elsewhere = "Every plot is in --format csv and json, and in the text of a single trial.";
        text += &format!("\n{}", paragraph("", elsewhere));
    }
    text
}

fn counts(yields: &Yields) -> String {
    let mut table = TextTable::new()
        .words("trial")
        .words("site")
        .numbers("harvest")
        .numbers("plots read")
        .numbers("= used")
        .numbers("+ missing")
        .numbers("+ excluded");
    for trial in &yields.trials {
        table.row(vec![
            trial.trial.clone(),
            trial.site.clone(),
            trial.harvest_year.to_string(),
            trial.plots.len().to_string(),
            trial.used.to_string(),
            trial.missing.to_string(),
            trial.excluded.to_string(),
        ]);
    }
    table.render(2)
}

fn not_used(yields: &Yields) -> String {
    let mut table =
        TextTable::new().words("trial").words("plot").numbers("row").words("status").numbers("yield").words("reason");
    for trial in &yields.trials {
        for plot in trial.plots.iter().filter(|plot| plot.status != "used") {
            table.row(vec![
                trial.trial.clone(),
                plot.plot.clone(),
                plot.row.to_string(),
                plot.status.to_owned(),
                plot.excluded_yield.map_or_else(String::new, |value| fixed(value, PLOT_DECIMALS)),
                plot.reason.clone().unwrap_or_default(),
            ]);
        }
    }
    let rendered = table.render(2);
    if rendered.is_empty() { rendered } else { format!("\nNot used\n\n{rendered}") }
}

/// The value of a row in one column.
type ValueOf<R> = Box<dyn Fn(&R) -> Option<f64>>;

/// A column of a table: its head, the value of a row, and its decimals where they do not follow from the values.
struct Measure<R> {
    head: &'static str,
    value: ValueOf<R>,
    decimals: Option<usize>,
}

impl<R> Measure<R> {
    fn new(head: &'static str, value: impl Fn(&R) -> Option<f64> + 'static) -> Self {
        Self { head, value: Box::new(value), decimals: None }
    }

    fn decimals(self, decimals: usize) -> Self {
        Self { decimals: Some(decimals), ..self }
    }
}

/// Values with as many decimals as the largest in its column asks for; a dash where there is none.
fn cells<R>(rows: &[R], measures: &[Measure<R>]) -> Vec<Vec<String>> {
    let column = |measure: &Measure<R>| {
        let value = &measure.value;
        let known = rows.iter().any(|row| value(row).is_some());
        let decimals = measure.decimals.unwrap_or_else(|| decimals_of_rates(largest(rows.iter().filter_map(value))));
        let cell = |row: &R| match value(row) {
            Some(value) => fixed(value, decimals),
            None if known => NONE.to_owned(),
            None => String::new(),
        };
        rows.iter().map(cell).collect::<Vec<_>>()
    };
    let columns: Vec<Vec<String>> = measures.iter().map(column).collect();
    let row = |position: usize| columns.iter().filter_map(|column| column.get(position).cloned()).collect();
    (0..rows.len()).map(row).collect()
}

fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.map(f64::abs).fold(0.0, f64::max)
}

/// One table for each variety and combination of factors, told in its heading.
fn treatments(yields: &Yields, trial: &TrialYields) -> String {
    let mut text = String::new();
    let mut rest = trial.treatments.as_slice();
    while let Some(first) = rest.first() {
        let group = beside_n(first);
        let rows = rest.iter().take_while(|means| beside_n(means) == group).count();
        let (together, others) = rest.split_at(rows);
        let group = if group.is_empty() { String::new() } else { format!(", {}", group_text(&group, None)) };
        text += &format!("\nTreatments of {}{group}\n\n{}", trial.trial, treatment_table(trial, together));
        rest = others;
    }
    text + &credit(yields, trial) + &compared_with(trial) + &not_known(trial)
}

/// Rates of N that tell treatments apart, with their heads.
const RATES: [(&str, &str); 3] = [("early_n", "early N"), ("topdress_n", "topdress"), ("n", "N")];

/// Variety and factors of a treatment.
fn beside_n(means: &TreatmentYields) -> Map<String, Value> {
    let is_rate = |name: &String| RATES.iter().any(|(rate, _)| rate == name);
    means
        .treatment
        .iter()
        .filter(|(name, _)| !is_rate(name))
        .map(|(name, level)| (name.clone(), level.clone()))
        .collect()
}

fn treatment_table(trial: &TrialYields, treatments: &[TreatmentYields]) -> String {
    let rate = |means: &TreatmentYields, name: &str| means.treatment.get(name).and_then(Value::as_f64);
    let parts = |means: &TreatmentYields| Some(rate(means, "early_n")? + rate(means, "topdress_n")?);
    // Early N and topdress tell the total where there is no other N; rates of another unit are summed to the billionth.
    let is_told = |means| parts(means).zip(rate(means, "n")).is_some_and(|(parts, n)| (parts - n).abs() < 1e-6);
    let all_told = treatments.iter().all(is_told);
    let rates: Vec<_> = RATES.into_iter().filter(|(name, _)| !(all_told && *name == "n")).collect();
    let whole =
        trial.treatments.iter().all(|means| RATES.iter().all(|(name, _)| rate(means, name).is_none_or(is_whole)));
    let decimals = if whole { 0 } else { 1 };
    let of_yield = decimals_of_rates(largest(trial.treatments.iter().filter_map(|means| means.yields.mean)));
    let with_all = |row: &TreatmentYields| row.yield_with_excluded.and_then(|with| with.mean);
    let mean = |head: &'static str, value: fn(&TreatmentYields) -> MeanOf| {
        Measure::new(head, move |row: &TreatmentYields| value(row).mean)
    };
    let measures: [Measure<TreatmentYields>; 9] = [
        mean("yield", |row| row.yields).decimals(of_yield),
        Measure::new("SD", |row: &TreatmentYields| row.yields.sd).decimals(of_yield),
        Measure::new("with all", with_all).decimals(of_yield),
        mean("protein", |row| row.protein_percent).decimals(PROTEIN_DECIMALS),
        mean("grain N", |row| row.grain_n),
        mean("AE", |row| row.agronomic_efficiency),
        mean("RE", |row| row.recovery).decimals(RECOVERY_DECIMALS),
        mean("PFP", |row| row.partial_factor_productivity),
        mean("surplus", |row| row.n_surplus),
    ];
    let table = rates.iter().fold(TextTable::new(), |table, (_, head)| table.numbers(*head)).words("").numbers("n");
    let mut table = measures.iter().fold(table, |table, measure| table.numbers(measure.head));
    for (means, mut values) in treatments.iter().zip(cells(treatments, &measures)) {
        // Where nothing is left out there is no second mean to miss.
        if let Some(with_all) = values.get_mut(2).filter(|_| means.yield_with_excluded.is_none()) {
            with_all.clear();
        }
        let level = |(name, _): &(&str, &str)| {
            rate(means, name).map_or_else(String::new, |found| numbers::rate(found, decimals))
        };
        let mut row: Vec<String> = rates.iter().map(level).collect();
        row.push(if means.reference_only { "N-rich" } else { "" }.to_owned());
        row.push(means.yields.n.to_string());
        row.extend(values);
        table.row(row);
    }
    table.render(2)
}

fn is_whole(rate: f64) -> bool {
    rate.fract() == 0.0
}

fn credit(yields: &Yields, trial: &TrialYields) -> String {
    trial.manure_credit.map_or_else(String::new, |credit| {
        paragraph("  ", &format!("The surplus counts {} {} of N credited to manure.", plain(credit), yields.rate_unit))
    })
}

/// Which zero-N plots AE and RE are against.
fn compared_with(trial: &TrialYields) -> String {
    let compared = |plot: &&YieldOfPlot| plot.nitrogen.agronomic_efficiency.is_some();
    let from = |wanted: &str| {
        let of = |plot: &&YieldOfPlot| plot.nitrogen.zero_n_yield.is_some_and(|zero| zero.from == wanted);
        trial.plots.iter().filter(compared).filter(of).count()
    };
    let (block, whole) = (from("block"), from("trial"));
    let text = match (block, whole) {
        (0, 0) => return String::new(),
        (_, 0) => "AE and RE: against the zero-N plot of the same block.".to_owned(),
        (0, _) => "AE and RE: against the mean zero-N plot of the trial.".to_owned(),
        _ => format!(
            "AE and RE: {} against the zero-N plot of the same block, {whole} against the mean zero-N plot of the \
             trial, as the block has none that is used.",
            count(block, "plot")
        ),
    };
    paragraph("  ", &text)
}

/// What is not known of used plots, and why.
fn not_known(trial: &TrialYields) -> String {
    let names = ["grain_n", "agronomic_efficiency", "recovery"];
    let mut reasons: BTreeMap<&str, [usize; 3]> = BTreeMap::new();
    for plot in trial.plots.iter().filter(|plot| plot.status == "used") {
        for (position, name) in names.iter().enumerate() {
            let reason = plot.nitrogen.not_known.get(name).filter(|reason| !BY_ITS_NATURE.contains(&reason.as_str()));
            if let Some(number) = reason.and_then(|reason| reasons.entry(reason).or_default().get_mut(position)) {
                *number += 1;
            }
        }
    }
    let line = |(reason, [grain_n, agronomic, recovery]): (&str, [usize; 3])| {
        // Without N in the grain there is no recovery: that needs no line of its own.
        let (what, plots) = match (grain_n, agronomic, recovery) {
            (1.., _, _) => ("Grain N is", grain_n),
            (0, 1.., 1..) => ("AE and RE are", agronomic.max(recovery)),
            (0, 1.., 0) => ("AE is", agronomic),
            _ => ("RE is", recovery),
        };
        let of = if plots == trial.used { String::new() } else { format!(" of {}", count(plots, "plot")) };
        paragraph("  ", &format!("{what} not known{of}: {reason}."))
    };
    reasons.into_iter().map(line).collect()
}

fn legend(yields: &Yields) -> String {
    let any = |known: fn(&TreatmentYields) -> bool| yields.trials.iter().flat_map(|trial| &trial.treatments).any(known);
    let rate_unit = &yields.rate_unit;
    let mut text =
        format!("n: yields that are used; SD: standard deviation among them. N is in {rate_unit}, as planned.");
    if any(|means| means.yield_with_excluded.is_some()) {
        text += " With all: the mean with the yields that are left out put back in.";
    }
    if any(|means| means.grain_n.mean.is_some()) {
        text += &format!(
            " Protein is in %{}. Grain N and surplus are in {rate_unit}; surplus: N applied minus grain N.",
            stated_at(yields)
        );
    }
    if any(|means| means.agronomic_efficiency.mean.is_some()) {
        text += &format!(" AE: agronomic efficiency, the gain in yield for the N applied, {}.", yields.efficiency_unit);
    }
    if any(|means| means.recovery.mean.is_some()) {
        let mass = rate_unit.split('/').next().unwrap_or(rate_unit);
        text += &format!(" RE: recovery in the grain, the gain in grain N for the N applied, {mass}/{mass}.");
    }
    if any(|means| means.partial_factor_productivity.mean.is_some()) {
        text += &format!(" PFP: partial factor productivity, yield for the N applied, {}.", yields.efficiency_unit);
    }
    format!("\n{}", paragraph("", &text))
}

/// The moisture that every protein is stated at; nothing where they differ.
fn stated_at(yields: &Yields) -> String {
    let plots = yields.trials.iter().flat_map(|trial| &trial.plots).map(|plot| &plot.nitrogen);
    let mut stated = plots.filter(|nitrogen| nitrogen.protein_percent.is_some()).map(|it| it.protein_moisture_percent);
    let first = stated.next().flatten();
    let same = first.filter(|_| stated.all(|other| other == first));
    same.map_or_else(|| ", as typed".to_owned(), |moisture| format!(" at {} % moisture", plain(moisture)))
}

fn plots(trial: &TrialYields) -> String {
    let factors = factors(trial.plots.iter().map(|plot| &plot.factors));
    let several =
        trial.plots.iter().any(|plot| plot.variety != trial.plots.first().and_then(|one| one.variety.clone()));
    let table = TextTable::new().words("plot").words("block").words(if several { "variety" } else { "" });
    let table = factors.iter().fold(table, |table, factor| table.words(factor_text(factor)));
    let protein = |row: &YieldOfPlot| row.nitrogen.protein_percent.filter(|_| row.value.is_some());
    let measures: [Measure<YieldOfPlot>; 6] = [
        Measure::new("protein", protein).decimals(PROTEIN_DECIMALS),
        Measure::new("grain N", |row: &YieldOfPlot| row.nitrogen.grain_n),
        Measure::new("AE", |row: &YieldOfPlot| row.nitrogen.agronomic_efficiency),
        Measure::new("RE", |row: &YieldOfPlot| row.nitrogen.recovery).decimals(RECOVERY_DECIMALS),
        Measure::new("PFP", |row: &YieldOfPlot| row.nitrogen.partial_factor_productivity),
        Measure::new("surplus", |row: &YieldOfPlot| row.nitrogen.n_surplus),
    ];
    let table = table.numbers("N").words("").numbers("yield");
    let mut table = measures.iter().fold(table, |table, measure| table.numbers(measure.head));
    for (plot, values) in trial.plots.iter().zip(cells(&trial.plots, &measures)) {
        let mut row = vec![plot.plot.clone(), plot.block.clone().unwrap_or_default()];
        row.push(plot.variety.clone().filter(|_| several).unwrap_or_default());
        row.extend(factors.iter().map(|factor| plot.factors.get(factor).map_or_else(String::new, level_text)));
        row.push(plain(plot.nitrogen.n_applied));
        row.push(if plot.reference { "N-rich" } else { "" }.to_owned());
        row.push(plot.value.map_or_else(|| plot.status.to_owned(), |value| fixed(value, PLOT_DECIMALS)));
        row.extend(values);
        table.row(row);
    }
    table.render(2)
}
