//! A quick look at one data file: the columns that play a role in it.

use std::path::Path;

use super::Loaded;
use super::cell::{Cell, keep};
use super::gathered::gathered;
use super::layout::Layout;
use super::opened::{FileKind, bytes, open};
use super::plausible;
use super::table::{Column, DataTable};
use crate::finding::{Finding, Place};
use crate::response::MOST_REPLICATES;
use crate::trial::{Columns, InputFile, MissingYield};

/// Which headers of a data file play which role.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ColumnRoles {
    /// N rate.
    pub rate: String,
    /// Yield.
    pub yields: String,
    /// Block, where there are blocks.
    pub block: Option<String>,
    /// The factor that splits the file into groups.
    pub by: Option<String>,
    /// The factor whose levels are compared.
    pub factor: Option<String>,
    /// Plots behind each row, where rows are treatment means.
    pub replicates: Option<String>,
    /// How the file is laid out.
    pub layout: Layout,
}

/// The columns of one data file, and the file.
#[derive(Clone, Debug, PartialEq)]
pub struct DataFile {
    /// What was read.
    pub columns: Columns,
    /// The file with its digest.
    pub input: InputFile,
}

/// Reads the columns of a data file that play a role. Rows without a yield are counted by group and left out.
///
/// # Errors
/// Every fault of the file: not readable, no text, ragged, a header that is missing (with the nearest one), a cell that is no
/// number, a negative rate or yield, a missing rate, block or level, replicates that are no whole number from 1 up, no yield at all; a
/// layout that has no meaning for such a file; one column in two roles.
pub fn load_columns(path: &Path, roles: &ColumnRoles) -> Result<Loaded<DataFile>, Vec<Finding>> {
    let file = path.display().to_string();
    let layout = &roles.layout;
    let one = |finding| vec![finding];
    check_layout(&file, layout).map_err(one)?;
    let (bytes, sha256) = bytes(path, &file).map_err(one)?;
    let opened = open(&file, bytes, layout).map_err(one)?;
    let table = DataTable::new(&file, opened, layout).map_err(gathered)?;
    let mut findings = roles_given_twice(&table, roles);
    let columns = columns(&table, roles, &mut findings);
    match columns {
        Some(columns) if findings.is_empty() => {
            let input = InputFile { file, sha256 };
            Ok(Loaded { value: DataFile { columns, input }, warnings: Vec::new() })
        }
        _ => Err(gathered(findings)),
    }
}

/// Refuses what is declared and has no meaning for such a file.
fn check_layout(file: &str, layout: &Layout) -> Result<(), Finding> {
    let Ok(kind) = FileKind::of(file) else { return Ok(()) };
    let standard = Layout::default();
    let declared = [
        ("sheet", layout.sheet.is_some()),
        ("header_row", layout.header_row != standard.header_row),
        ("header_rows", layout.header_rows != standard.header_rows),
        ("separator", layout.separator.is_some()),
        ("encoding", layout.encoding.is_some()),
    ];
    let unsuited =
        declared.iter().filter(|(_, declared)| *declared).find_map(|(key, _)| Some((key, kind.unsuited(key)?)));
    unsuited.map_or(Ok(()), |(key, text)| {
        let flag = format!("--{}", key.replace('_', "-"));
        Err(Finding::error("unsuited-key", Place::file(file), text).remedy(format!("leave {flag} out")))
    })
}

fn columns(table: &DataTable, roles: &ColumnRoles, findings: &mut Vec<Finding>) -> Option<Columns> {
    let mut named = |name: &String| keep(column(table, name), findings);
    let rate = named(&roles.rate);
    let yields = named(&roles.yields);
    let block = roles.block.as_ref().map(&mut named);
    let by = roles.by.as_ref().map(&mut named);
    let factor = roles.factor.as_ref().map(&mut named);
    let replicates = roles.replicates.as_ref().map(&mut named);
    let label = |what: &'static str| move |cell: Cell| cell.label(what).map(str::to_owned);
    let rates = rate.and_then(|rate| {
        rate.values(findings, |cell| {
            plausible::any(&cell, cell.non_negative("an N rate")?)?
                .ok_or_else(|| cell.error("missing-cell", "the N rate is missing").remedy("write 0 where no N went on"))
        })
    });
    let yields =
        yields.and_then(|yields| yields.values(findings, |cell| plausible::any(&cell, cell.non_negative("a yield")?)));
    let blocks = block.map(|column| column?.values(findings, label("block")));
    let levels = by.map(|column| column?.values(findings, label("group")));
    let factor_levels = factor.map(|column| column?.values(findings, label("level of the factor")));
    let replicates = replicates.map(|column| column?.values(findings, replicates_of));
    // A role that was asked for and could not be read ends here; its faults are told.
    let (rates, yields) = (rates?, yields?);
    let blocks = if let Some(blocks) = blocks { Some(blocks?) } else { None };
    let levels = if let Some(levels) = levels { Some(levels?) } else { None };
    let factor_levels = if let Some(levels) = factor_levels { Some(levels?) } else { None };
    let replicates = if let Some(replicates) = replicates { Some(replicates?) } else { None };
    let kept: Vec<bool> = yields.iter().map(Option::is_some).collect();
    if !kept.contains(&true) {
        let place = table.header_place().column(&roles.yields);
        findings.push(Finding::error("no-yields", place, "no row has a yield").remedy("name the column of yields"));
        return None;
    }
    let missing = table.lines().zip(&kept).enumerate().filter(|(_, (_, kept))| !**kept);
    let level =
        |of: &Option<Vec<String>>, row: usize| of.as_ref().and_then(|of| of.get(row)).cloned().unwrap_or_default();
    let missing = missing.map(|(row, (line, _))| MissingYield {
        row: line,
        level: level(&levels, row),
        factor_level: level(&factor_levels, row),
    });
    let missing = missing.collect();
    Some(Columns {
        file: table.file().to_owned(),
        rates: of_kept(rates, &kept),
        yields: yields.into_iter().flatten().collect(),
        blocks: blocks.map(|blocks| of_kept(blocks, &kept)),
        by: roles.by.clone().zip(levels).map(|(name, levels)| (name, of_kept(levels, &kept))),
        factor: roles.factor.clone().zip(factor_levels).map(|(name, levels)| (name, of_kept(levels, &kept))),
        replicates: replicates.map(|replicates| of_kept(replicates, &kept)),
        rows: of_kept(table.lines().collect(), &kept),
        missing,
    })
}

/// The plots behind a treatment mean.
fn replicates_of(cell: Cell) -> Result<usize, Finding> {
    // What is missing or no number fails the test as well.
    let number = cell.plain_number().unwrap_or(0.0);
    if number.fract() == 0.0 && (1.0..=MOST_REPLICATES as f64).contains(&number) {
        return Ok(number as usize);
    }
    let text = if cell.is_missing() {
        "the number of replicates is missing".to_owned()
    } else {
        format!("{:?} is no number of replicates", cell.text)
    };
    let remedy = format!("write the number of plots that the mean is of: a whole number from 1 to {MOST_REPLICATES}");
    Err(cell.error("not-replicates", text).remedy(remedy))
}

/// A column that plays two roles: one of them was meant to be another column.
fn roles_given_twice(table: &DataTable, roles: &ColumnRoles) -> Vec<Finding> {
    let mut given = vec![("--rate", &roles.rate), ("--yield", &roles.yields)];
    given.extend(roles.block.as_ref().map(|block| ("--block", block)));
    given.extend(roles.by.as_ref().map(|by| ("--by", by)));
    given.extend(roles.factor.as_ref().map(|factor| ("--factor", factor)));
    given.extend(roles.replicates.as_ref().map(|replicates| ("--replicates", replicates)));
    let twice = given.iter().enumerate().filter_map(|(position, (flag, name))| {
        let (earlier, _) = given.get(..position)?.iter().find(|(_, earlier)| earlier.trim() == name.trim())?;
        let text = format!("the column {name:?} is given as {earlier} and as {flag}");
        let place = table.header_place().column(name.as_str());
        Some(Finding::error("two-roles", place, text).remedy("name a column of its own for each role"))
    });
    twice.collect()
}

fn of_kept<T>(values: Vec<T>, kept: &[bool]) -> Vec<T> {
    values.into_iter().zip(kept).filter(|(_, kept)| **kept).map(|(value, _)| value).collect()
}

fn column<'t>(table: &'t DataTable, name: &str) -> Result<Column<'t>, Finding> {
    table.column(name).map_err(|missing| {
        let place = table.header_place().column(name).value(name);
        Finding::error(missing.code, place, format!("the file {}", missing.text)).remedy(missing.remedy)
    })
}
