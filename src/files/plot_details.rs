//! What the plots file says of a plot beside its treatment, readings and yield: main plot or strip, position in the field, levels of factors,
//! planned rates, counts, test weight, lodging.

use std::collections::HashMap;

use super::cell::Cell;
use super::descriptor::{Document, Typed};
use super::knowledge_descriptor::{CountSection, TestWeightSection};
use super::plots::{FromProgramme, optional, planned_rates, values};
use super::table::DataTable;
use super::trial_descriptor::TrialDescriptor;
use crate::finding::Finding;
use crate::trial::Position;
use crate::units::{Density, NRate, TestWeight};

/// One value a row in each list; `None` where no column plays the role.
pub(super) struct PlotDetails {
    main_plots: Option<Vec<String>>,
    strips: Option<Vec<String>>,
    positions: Option<Vec<Position>>,
    /// One list a factor.
    factor_levels: Vec<Vec<String>>,
    /// One list an application.
    planned_rates: Vec<Option<Vec<Option<NRate>>>>,
    plants: Option<Vec<Option<Density>>>,
    tillers: Option<Vec<Option<Density>>>,
    test_weights: Option<Vec<Option<TestWeight>>>,
    lodging: Option<Vec<Option<f64>>>,
}

/// The details of one plot.
pub(super) struct DetailsOfPlot {
    pub(super) main_plot: Option<String>,
    pub(super) strip: Option<String>,
    pub(super) position: Option<Position>,
    pub(super) factor_levels: Vec<String>,
    pub(super) planned_rates: Vec<Option<NRate>>,
    pub(super) plants: Option<Density>,
    pub(super) tillers: Option<Density>,
    pub(super) test_weight: Option<TestWeight>,
    pub(super) lodging: Option<f64>,
}

impl PlotDetails {
    /// Reads every column; every fault goes to `findings`.
    pub(super) fn read(
        document: &Document,
        descriptor: &TrialDescriptor,
        table: &DataTable,
        programme: FromProgramme,
        findings: &mut Vec<Finding>,
    ) -> Option<Self> {
        let plots = descriptor.plots.as_ref()?;
        let harvest = descriptor.harvest.as_ref();
        let positions = optional(plots.position.as_ref().map(|both| positions(document, table, both, findings)));
        let mut labels = |name: &Typed<String>, what: &str| {
            values(document, table, name, findings, |cell| cell.label(what).map(str::to_owned))
        };
        let main_plots = optional(plots.main_plot.as_ref().map(|name| labels(name, "main plot")));
        let strips = optional(plots.strip.as_ref().map(|name| labels(name, "strip")));
        let factor_levels: Vec<Option<Vec<String>>> =
            descriptor.factors.iter().map(|factor| labels(factor, &factor.value)).collect();
        let planned: Vec<Option<Option<Vec<_>>>> = descriptor
            .applications
            .iter()
            .map(|application| {
                let planned = application.planned.as_ref();
                optional(planned.map(|planned| planned_rates(document, table, planned, programme.n_rate, findings)))
            })
            .collect();
        let mut counts = |section: &Option<CountSection>| {
            optional(section.as_ref().map(|section| densities(document, table, section, findings)))
        };
        let plants = counts(&plots.plants);
        let tillers = counts(&plots.tillers);
        let test_weight = harvest.and_then(|harvest| harvest.test_weight.as_ref());
        let test_weights = optional(test_weight.map(|section| test_weights(document, table, section, findings)));
        let lodging = harvest.and_then(|harvest| harvest.lodging.as_ref());
        let score = |cell: Cell| cell.non_negative("a lodging score");
        let lodging = optional(lodging.map(|name| values(document, table, name, findings, score)));
        Some(Self {
            main_plots: main_plots?,
            strips: strips?,
            positions: positions?,
            factor_levels: factor_levels.into_iter().collect::<Option<_>>()?,
            planned_rates: planned.into_iter().collect::<Option<_>>()?,
            plants: plants?,
            tillers: tillers?,
            test_weights: test_weights?,
            lodging: lodging?,
        })
    }

    /// The details of the plot in a row, counted from 0 without the header.
    pub(super) fn of_row(&self, row: usize) -> DetailsOfPlot {
        fn value<T: Clone>(values: Option<&Vec<Option<T>>>, row: usize) -> Option<T> {
            values.and_then(|values| values.get(row)?.clone())
        }
        DetailsOfPlot {
            main_plot: self.main_plots.as_ref().and_then(|labels| labels.get(row).cloned()),
            strip: self.strips.as_ref().and_then(|labels| labels.get(row).cloned()),
            position: self.positions.as_ref().and_then(|positions| positions.get(row).copied()),
            factor_levels: self.factor_levels.iter().filter_map(|levels| levels.get(row).cloned()).collect(),
            planned_rates: self.planned_rates.iter().map(|rates| value(rates.as_ref(), row)).collect(),
            plants: value(self.plants.as_ref(), row),
            tillers: value(self.tillers.as_ref(), row),
            test_weight: value(self.test_weights.as_ref(), row),
            lodging: value(self.lodging.as_ref(), row),
        }
    }
}

/// Where plots lie, no two at one place.
fn positions(
    document: &Document,
    table: &DataTable,
    [row, column]: &[Typed<String>; 2],
    findings: &mut Vec<Finding>,
) -> Option<Vec<Position>> {
    let rows = values(document, table, row, findings, |cell| cell.place("row of the plot"));
    let columns = values(document, table, column, findings, |cell| cell.place("place of the plot in its row"));
    let positions: Vec<Position> =
        rows?.into_iter().zip(columns?).map(|(row, column)| Position { row, column }).collect();
    let mut first: HashMap<Position, u64> = HashMap::new();
    let before = findings.len();
    for (position, cell) in positions.iter().zip(table.column(&column.value).ok()?.cells()) {
        if let Some(earlier) = first.insert(*position, cell.row) {
            let text = format!(
                "row {}, column {} of the field is the plot's on row {earlier} already",
                position.row, position.column
            );
            findings.push(cell.error("duplicate-position", text).remedy("give every plot a place of its own"));
            first.insert(*position, earlier);
        }
    }
    (findings.len() == before).then_some(positions)
}

/// Counts over an area, `None` where none was made.
fn densities(
    document: &Document,
    table: &DataTable,
    section: &CountSection,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<Density>>> {
    let counts = values(document, table, &section.column, findings, |cell| cell.non_negative("a count"))?;
    let density = |count: f64| Density::new(count, section.unit, section.row_spacing_metres);
    Some(counts.into_iter().map(|count| count.and_then(density)).collect())
}

/// Test weights, `None` where none was taken.
fn test_weights(
    document: &Document,
    table: &DataTable,
    section: &TestWeightSection,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<TestWeight>>> {
    let weights = values(document, table, &section.column, findings, |cell| match cell.number()? {
        Some(weight) if weight <= 0.0 => Err(cell
            .error("out-of-range", format!("a test weight of {} is impossible", cell.text))
            .remedy(format!("write it in {}; leave the cell empty if it is missing", section.unit))),
        weight => Ok(weight),
    })?;
    Some(weights.into_iter().map(|weight| weight.map(|value| TestWeight::new(value, section.unit))).collect())
}
