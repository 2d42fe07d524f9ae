//! The plots file: keys, blocks, varieties, N rates, reference plots, harvest, exclusions.

use std::collections::{HashMap, HashSet};

use super::cell::Cell;
use super::descriptor::{Document, Supplied, Typed};
use super::harvest_descriptor::Measure;
use super::harvested::{harvests, proteins};
use super::join::KeyIndex;
use super::nearest::{list, nearest};
use super::plausible;
use super::plot_details::PlotDetails;
use super::table::{Column, DataTable};
use super::trial_descriptor::{ApplicationSection, Condition, ExclusionSection, RateSection, TrialDescriptor};
use crate::crop::Crop;
use crate::finding::Finding;
use crate::trial::{Exclusion, FlaggedLeaves, Plot, PlotColumns};
use crate::units::{MoisturePercent, NRate, NRateUnit, YieldUnit};

/// What a trial takes from its programme. A piece that the programme got wrong is `None`: its fault is reported there.
#[derive(Clone, Copy)]
pub(super) struct FromProgramme<'p> {
    pub(super) crop: Option<&'p Crop>,
    pub(super) n_rate: Option<NRateUnit>,
    pub(super) yields: Option<YieldUnit>,
    pub(super) standard_moisture: Option<MoisturePercent>,
    pub(super) days_to_show_in_canopy: i32,
    pub(super) flagged_leaves: FlaggedLeaves,
}

/// The column that a descriptor names.
pub(super) fn column<'t>(
    document: &Document,
    table: &'t DataTable,
    name: &Typed<String>,
) -> Result<Column<'t>, Finding> {
    table.column(&name.value).map_err(|missing| {
        let text = format!("{} {}", table.file(), missing.text);
        document.fault(missing.code, name, text).remedy(missing.remedy)
    })
}

/// What `read` makes of every cell of a named column.
pub(super) fn values<'t, T>(
    document: &Document,
    table: &'t DataTable,
    name: &Typed<String>,
    findings: &mut Vec<Finding>,
    read: impl Fn(Cell<'t>) -> Result<T, Finding>,
) -> Option<Vec<T>> {
    let column = super::cell::keep(column(document, table, name), findings)?;
    column.values(findings, read)
}

/// What `read` makes of every cell of a column, or the one value for every row.
pub(super) fn supplied<'t, T: Clone>(
    document: &Document,
    table: &'t DataTable,
    role: &Supplied<T>,
    findings: &mut Vec<Finding>,
    read: impl Fn(Cell<'t>) -> Result<T, Finding>,
) -> Option<Vec<T>> {
    match role {
        Supplied::Column(name) => values(document, table, name, findings, read),
        Supplied::Same(value) => Some(vec![value.value.clone(); table.len()]),
    }
}

/// Every plot's key; `None` where keys do not name every plot once.
pub(super) fn plot_keys(
    document: &Document,
    descriptor: &TrialDescriptor,
    table: &DataTable,
    findings: &mut Vec<Finding>,
) -> Option<KeyIndex> {
    let names = &descriptor.plots.as_ref()?.plot;
    let index = KeyIndex::of(keys(document, table, names, findings)?);
    if index.has_repeated() {
        findings.extend(duplicates(table, names, index.parts()));
        return None;
    }
    Some(index)
}

/// Reads the plots of a trial; every fault goes to `findings`.
pub(super) fn read(
    document: &Document,
    descriptor: &TrialDescriptor,
    table: &DataTable,
    keys: Option<&[Vec<String>]>,
    programme: FromProgramme,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Plot>> {
    let section = descriptor.plots.as_ref()?;
    let label = |what: &'static str| move |cell: Cell| cell.label(what).map(str::to_owned);
    let blocks = optional(section.block.as_ref().map(|block| values(document, table, block, findings, label("block"))));
    let varieties =
        optional(section.variety.as_ref().map(|role| supplied(document, table, role, findings, label("variety"))));
    let rates: Vec<Option<Vec<NRate>>> = descriptor
        .applications
        .iter()
        .map(|application| rates(document, table, application, programme.n_rate, findings))
        .collect();
    let reference = optional(
        descriptor.reference.as_ref().map(|reference| reference_plots(document, table, &reference.condition, findings)),
    );
    let exclusions = exclusions(document, descriptor, keys, findings);
    let harvest = optional(
        descriptor
            .harvest
            .as_ref()
            .map(|harvest| harvests(document, table, harvest, exclusions.as_ref(), programme, findings)),
    );
    let protein = optional(
        descriptor
            .harvest
            .as_ref()
            .and_then(|harvest| harvest.protein.as_ref())
            .map(|protein| proteins(document, table, protein, findings)),
    );
    let details = PlotDetails::read(document, descriptor, table, programme, findings);
    let (keys, blocks, varieties, details) = (keys?, blocks?, varieties?, details?);
    let rates = rates.into_iter().collect::<Option<Vec<_>>>()?;
    let (reference, harvest, protein, exclusions) = (reference?, harvest?, protein?, exclusions?);
    table
        .lines()
        .enumerate()
        .map(|(row, line)| {
            let details = details.of_row(row);
            let applied = rates.iter().map(|rates| rates.get(row).copied()).collect::<Option<Vec<_>>>()?;
            Some(Plot {
                id: keys.iter().map(|part| part.get(row).cloned()).collect::<Option<Vec<_>>>()?.join("-"),
                row: line,
                block: of_row(blocks.as_ref(), row)?,
                main_plot: details.main_plot,
                strip: details.strip,
                variety: of_row(varieties.as_ref(), row)?,
                factor_levels: details.factor_levels,
                planned_rates: planned(descriptor, &applied, details.planned_rates),
                rates: applied,
                is_reference: of_row(reference.as_ref(), row)?.unwrap_or(false),
                position: details.position,
                harvest: of_row(harvest.as_ref(), row)?.flatten(),
                protein: of_row(protein.as_ref(), row)?.flatten(),
                test_weight: details.test_weight,
                lodging: details.lodging,
                plants: details.plants,
                tillers: details.tillers,
                exclusions: exclusions.get(&row).cloned().unwrap_or_default(),
            })
        })
        .collect()
}

/// The headers that play a role, for findings that come later.
pub(super) fn plot_columns(descriptor: &TrialDescriptor) -> PlotColumns {
    let name = |typed: &Typed<String>| typed.value.trim().to_owned();
    let plots = descriptor.plots.as_ref();
    let harvest = descriptor.harvest.as_ref();
    let applications = descriptor.applications.iter();
    let planned_column = |application: &ApplicationSection| {
        let planned = if application.only_planned { Some(&application.n) } else { application.planned.as_ref() };
        planned?.rates.column().map(name)
    };
    PlotColumns {
        plot: plots.map(|plots| plots.plot.iter().map(name).collect()).unwrap_or_default(),
        block: plots.and_then(|plots| plots.block.as_ref()).map(name),
        main_plot: plots.and_then(|plots| plots.main_plot.as_ref()).map(name),
        strip: plots.and_then(|plots| plots.strip.as_ref()).map(name),
        position: plots.and_then(|plots| plots.position.as_ref()).map(|both| both.each_ref().map(name)),
        variety: plots.and_then(|plots| plots.variety.as_ref()?.column()).map(name),
        factors: descriptor.factors.iter().map(name).collect(),
        rates: applications.clone().map(|application| application.n.rates.column().map(name)).collect(),
        planned_rates: applications.map(planned_column).collect(),
        harvest: harvest.map(|harvest| match &harvest.measure {
            Measure::Yield { column, .. } | Measure::Weight { column, .. } => name(column),
        }),
        moisture: harvest.and_then(|harvest| harvest.moisture.as_ref()?.column()).map(name),
        protein: harvest.and_then(|harvest| harvest.protein.as_ref()).map(|(column, _)| name(column)),
        test_weight: harvest.and_then(|harvest| harvest.test_weight.as_ref()).map(|section| name(&section.column)),
        lodging: harvest.and_then(|harvest| harvest.lodging.as_ref()).map(name),
        plants: plots.and_then(|plots| plots.plants.as_ref()).map(|section| name(&section.column)),
        tillers: plots.and_then(|plots| plots.tillers.as_ref()).map(|section| name(&section.column)),
    }
}

/// The planned rates of a plot: what went on is the plan where only the plan is given.
fn planned(descriptor: &TrialDescriptor, applied: &[NRate], planned: Vec<Option<NRate>>) -> Vec<Option<NRate>> {
    let of_application = |((application, applied), planned): ((&ApplicationSection, &NRate), Option<NRate>)| {
        if application.only_planned { Some(*applied) } else { planned }
    };
    descriptor.applications.iter().zip(applied).zip(planned).map(of_application).collect()
}

/// A role that was not asked for is no fault: `Some(None)`.
pub(super) fn optional<T>(role: Option<Option<T>>) -> Option<Option<T>> {
    match role {
        Some(values) => values.map(Some),
        None => Some(None),
    }
}

/// The value of a row where the role is played, `Some(None)` where it is not.
fn of_row<T: Clone>(values: Option<&Vec<T>>, row: usize) -> Option<Option<T>> {
    match values {
        Some(values) => values.get(row).cloned().map(Some),
        None => Some(None),
    }
}

/// The parts of every row's plot key: one list a key column.
pub(super) fn keys(
    document: &Document,
    table: &DataTable,
    names: &[Typed<String>],
    findings: &mut Vec<Finding>,
) -> Option<Vec<Vec<String>>> {
    let part = |name| values(document, table, name, findings, |cell| cell.label("plot").map(str::to_owned));
    let parts: Vec<Option<Vec<String>>> = names.iter().map(part).collect();
    parts.into_iter().collect()
}

fn duplicates(table: &DataTable, names: &[Typed<String>], keys: &[Vec<String>]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut first: HashMap<Vec<&str>, u64> = HashMap::new();
    let Some(column) = names.last().and_then(|name| table.column(&name.value).ok()) else { return findings };
    for (row, cell) in column.cells().enumerate() {
        let key: Vec<&str> = keys.iter().filter_map(|part| part.get(row)).map(String::as_str).collect();
        if let Some(earlier) = first.get(&key) {
            let id = key.join("-");
            let finding = cell.error("duplicate-plot", format!("plot {id} is on row {earlier} already"));
            findings.push(
                finding.remedy("every plot has one row; list all columns that together name a plot in plot = […]"),
            );
        } else {
            first.insert(key, cell.row);
        }
    }
    findings
}

fn rates(
    document: &Document,
    table: &DataTable,
    application: &ApplicationSection,
    unit: Option<NRateUnit>,
    findings: &mut Vec<Finding>,
) -> Option<Vec<NRate>> {
    let believed = |typed: f64| {
        let unit = application.n.unit.or(unit);
        unit.map_or(Ok(()), |unit| plausible::n_rate(rate(typed, &application.n, unit)))
    };
    if let Supplied::Same(same) = &application.n.rates
        && let Err((text, remedy)) = believed(same.value)
    {
        document.report(document.fault("out-of-range", same, text).remedy(remedy));
    }
    let typed = supplied(document, table, &application.n.rates, findings, |cell| {
        let typed = cell.non_negative("an N rate")?.ok_or_else(|| {
            let text = format!("the N rate of {:?} is missing", application.name.value);
            cell.error("missing-cell", text).remedy("write 0 where no N went on")
        })?;
        believed(typed).map_err(|(text, remedy)| cell.error("out-of-range", text).remedy(remedy))?;
        Ok(typed)
    })?;
    let unit = application.n.unit.or(unit)?;
    Some(typed.into_iter().map(|typed| rate(typed, &application.n, unit)).collect())
}

/// The planned rates of every row, `None` where no plan is recorded.
pub(super) fn planned_rates(
    document: &Document,
    table: &DataTable,
    section: &RateSection,
    unit: Option<NRateUnit>,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<NRate>>> {
    let typed = match &section.rates {
        Supplied::Column(name) => {
            values(document, table, name, findings, |cell| cell.non_negative("a planned N rate"))?
        }
        Supplied::Same(same) => vec![Some(same.value); table.len()],
    };
    let unit = section.unit.or(unit)?;
    Some(typed.into_iter().map(|typed| typed.map(|typed| rate(typed, section, unit))).collect())
}

/// The N in a rate as typed, of N or of a product.
fn rate(typed: f64, section: &RateSection, unit: NRateUnit) -> NRate {
    let n = match section.n_percent {
        // A product of N alone keeps its numbers exactly as typed.
        Some(percent) if percent < 100.0 => typed * percent / 100.0,
        _ => typed,
    };
    NRate::new(n, unit)
}

/// Whether a cell says what `equals` was typed as: the same text, or the same number written another way.
fn says(cell: &Cell, equals: &str) -> bool {
    let equals = equals.trim();
    let number = |text: &str| text.parse::<f64>().ok().filter(|value| value.is_finite());
    cell.text == equals || cell.plain_number().zip(number(equals)).is_some_and(|(cell, equals)| cell == equals)
}

/// Which rows meet a condition.
///
/// # Errors
/// A column that is not there; no row that meets it, with the values that were seen.
pub(super) fn rows_that_meet(
    document: &Document,
    table: &DataTable,
    condition: &Condition,
) -> Result<Vec<bool>, Finding> {
    let column = column(document, table, &condition.column)?;
    let met: Vec<bool> = column.cells().map(|cell| says(&cell, &condition.equals.value)).collect();
    if met.contains(&true) {
        return Ok(met);
    }
    let mut seen = Vec::new();
    let mut known = HashSet::new();
    for cell in column.cells().filter(|cell| known.insert(cell.text)) {
        seen.push(cell.text);
    }
    let text = format!("no row of {} has {:?} in column {:?}", table.file(), condition.equals.value, column.name());
    Err(document.fault("no-such-row", &condition.equals, text).remedy(format!("the values there are: {}", list(&seen))))
}

fn reference_plots(
    document: &Document,
    table: &DataTable,
    condition: &Condition,
    findings: &mut Vec<Finding>,
) -> Option<Vec<bool>> {
    let met = rows_that_meet(document, table, condition).map_err(|mut finding| {
        if finding.code == "no-such-row" {
            finding.code = "no-reference";
            finding.text = format!("no N-rich reference plot: {}", finding.text);
        }
        finding
    });
    super::cell::keep(met, findings)
}

/// What is left out of each row.
pub(super) type Exclusions = HashMap<usize, Vec<Exclusion>>;

fn exclusions(
    document: &Document,
    descriptor: &TrialDescriptor,
    keys: Option<&[Vec<String>]>,
    findings: &mut Vec<Finding>,
) -> Option<Exclusions> {
    let keys = keys?;
    let before = findings.len();
    let mut exclusions = Exclusions::new();
    let rows = keys.first().map_or(0, Vec::len);
    let key_of = |row: usize| keys.iter().filter_map(|part| part.get(row)).map(String::as_str).collect::<Vec<_>>();
    for section in &descriptor.exclusions {
        let wanted = &section.plot.value;
        let has_key = |row: &usize| keys.iter().map(|part| part.get(*row)).eq(wanted.iter().map(Some));
        match (0..rows).find(has_key) {
            Some(row) => exclusions.entry(row).or_default().push(exclusion(section)),
            None => findings.push(no_such_plot(document, section, wanted.len() == keys.len(), (0..rows).map(key_of))),
        }
    }
    (findings.len() == before).then_some(exclusions)
}

fn exclusion(section: &ExclusionSection) -> Exclusion {
    Exclusion { what: section.what, reason: section.reason.clone() }
}

fn no_such_plot<'k>(
    document: &Document,
    section: &ExclusionSection,
    has_all_parts: bool,
    keys: impl Iterator<Item = Vec<&'k str>>,
) -> Finding {
    let id = section.plot.value.join("-");
    let ids: Vec<String> = keys.map(|key| key.join("-")).collect();
    let remedy = if !has_all_parts {
        "name a value for each key column, in the order of [plots] plot".to_owned()
    } else {
        match nearest(&id, ids.iter().map(String::as_str)) {
            Some(meant) => format!("did you mean {meant:?}?"),
            None => "name a plot of the plots file".to_owned(),
        }
    };
    document.fault("unknown-plot", &section.plot, format!("there is no plot {id:?}")).remedy(remedy)
}
