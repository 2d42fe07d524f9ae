//! What the plots file says was harvested.

use super::cell::{Cell, keep};
use super::descriptor::{Document, Supplied, Typed};
use super::harvest_descriptor::{HarvestSection, Measure};
use super::plausible;
use super::plots::{Exclusions, FromProgramme, column, values};
use super::programme_descriptor::check_bushel;
use super::table::DataTable;
use crate::finding::Finding;
use crate::trial::{Excluded, Exclusion, Harvest, Protein};
use crate::units::{MassUnit, MoisturePercent, Yield, YieldUnit};

/// The harvest of every row, `None` where its yield or weight is missing.
pub(super) fn harvests(
    document: &Document,
    table: &DataTable,
    section: &HarvestSection,
    exclusions: Option<&Exclusions>,
    programme: FromProgramme,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<Harvest>>> {
    let moistures = section.moisture.as_ref().map(|role| moistures(document, table, role, findings));
    let name = match &section.measure {
        Measure::Yield { column, unit } => {
            if let Some(unit) = unit {
                check_bushel(document, unit, unit.value == YieldUnit::BushelsPerAcre, programme.crop);
            }
            column
        }
        Measure::Weight { column, unit, .. } => {
            check_bushel(document, unit, unit.value == MassUnit::Bushel, programme.crop);
            column
        }
    };
    let cells = keep(column(document, table, name), findings)?;
    let bushel = programme.crop.and_then(|crop| crop.pounds_per_bushel);
    let amounts = cells.values(findings, |cell| {
        let amount = cell.non_negative("a harvest")?;
        // Kilograms a square metre are tens of Mg/ha.
        let megagrams = amount.and_then(|amount| match &section.measure {
            Measure::Yield { unit, .. } => {
                let unit = unit.as_ref().map(|unit| unit.value).or(programme.yields)?;
                Yield::new(amount, unit).in_unit(YieldUnit::MegagramsPerHectare, bushel).ok()
            }
            Measure::Weight { unit, square_metres, .. } => {
                Some(amount * unit.value.kilograms(bushel).ok()? / square_metres * 10.0)
            }
        });
        match megagrams.map_or(Ok(()), plausible::harvested) {
            Ok(()) => Ok(amount),
            Err((text, remedy)) => Err(cell.error("out-of-range", text).remedy(remedy)),
        }
    })?;
    let moistures = match moistures {
        Some(moistures) => moistures?,
        None => vec![None; amounts.len()],
    };
    // Where it is not known what is left out, nothing is asked for.
    if let (Some(Supplied::Column(name)), Some(exclusions)) = (&section.moisture, exclusions) {
        let wanting = |(row, (amount, moisture)): (usize, (&Option<f64>, &Option<MoisturePercent>))| {
            (amount.is_some() && moisture.is_none() && !yield_left_out(exclusions, row)).then_some(row)
        };
        let rows = amounts.iter().zip(&moistures).enumerate().filter_map(wanting);
        let column = column(document, table, name).ok();
        findings.extend(rows.filter_map(|row| Some(missing_moisture(&column?.cell(row)?))));
    }
    let harvest = |amount: f64, moisture: Option<MoisturePercent>| match &section.measure {
        Measure::Yield { unit, .. } => {
            let unit = unit.as_ref().map(|unit| unit.value).or(programme.yields)?;
            Some(Harvest::Yield { quantity: Yield::new(amount, unit), moisture })
        }
        Measure::Weight { unit, square_metres, .. } => {
            let bushel = programme.crop.and_then(|crop| crop.pounds_per_bushel);
            let kilograms = amount * unit.value.kilograms(bushel).ok()?;
            Some(Harvest::Weight { typed: amount, kilograms, square_metres: *square_metres, moisture })
        }
    };
    let of_row = |(amount, moisture): (Option<f64>, Option<MoisturePercent>)| match amount {
        Some(amount) => harvest(amount, moisture).map(Some),
        None => Some(None),
    };
    amounts.into_iter().zip(moistures).map(of_row).collect()
}

fn moisture(cell: Cell) -> Result<Option<MoisturePercent>, Finding> {
    let Some(percent) = cell.number()? else { return Ok(None) };
    let refused = || {
        cell.error("out-of-range", format!("a moisture of {} % is impossible", cell.text))
            .remedy("write per cent of the weight as it stands, from 0 to below 100")
    };
    MoisturePercent::new(percent).map(Some).ok_or_else(refused)
}

fn moistures(
    document: &Document,
    table: &DataTable,
    role: &Supplied<MoisturePercent>,
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<MoisturePercent>>> {
    match role {
        Supplied::Column(name) => values(document, table, name, findings, moisture),
        Supplied::Same(same) => Some(vec![Some(same.value); table.len()]),
    }
}

fn yield_left_out(exclusions: &Exclusions, row: usize) -> bool {
    let concerns_yield = |exclusion: &Exclusion| matches!(exclusion.what, Excluded::Yield | Excluded::Plot);
    exclusions.get(&row).is_some_and(|exclusions| exclusions.iter().any(concerns_yield))
}

/// A weight without its moisture can't be brought to standard moisture; taken as it stands it would be a wrong yield.
fn missing_moisture(cell: &Cell) -> Finding {
    cell.error("missing-cell", "the moisture of a harvested plot is missing")
        .remedy("fill in the cell, or leave the plot's yield out with [[exclude]] and a reason")
}

/// The grain protein of every row, `None` where it was not analysed.
pub(super) fn proteins(
    document: &Document,
    table: &DataTable,
    (name, stated): &(Typed<String>, Option<MoisturePercent>),
    findings: &mut Vec<Finding>,
) -> Option<Vec<Option<Protein>>> {
    let percents = values(document, table, name, findings, |cell| match cell.number()? {
        Some(percent) if !(0.0..=100.0).contains(&percent) => Err(cell
            .error("out-of-range", format!("a protein of {} % is impossible", cell.text))
            .remedy("write per cent of the grain, from 0 to 100")),
        percent => Ok(percent),
    })?;
    let protein = |percent| Protein { percent, moisture: *stated };
    Some(percents.into_iter().map(|percent| percent.map(protein)).collect())
}
