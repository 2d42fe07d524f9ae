//! A quick look at one data file: the columns that play a role in it.

use std::path::Path;

use super::Loaded;
use super::cell::{Cell, keep};
use super::gathered::gathered;
use super::layout::Layout;
use super::opened::{FileKind, bytes, open};
use super::plausible;
use super::plots::optional;
use super::table::{Column, DataTable};
use crate::finding::{Finding, Place};
use crate::response::MOST_REPLICATES;
use crate::trial::{Columns, Design, InputFile, MissingYield};

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
    /// The factors whose levels are compared.
    pub factors: Vec<String>,
    /// How treatments were randomised, its factors by header; the N rate and the factors of other roles may be among them.
    pub design: Design,
    /// The site-year, where the file holds several.
    pub site_year: Option<String>,
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
/// layout that has no meaning for such a file; one column in two roles (the factors of a design may be the N rate and others of its factors).
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
    let design = roles.design.clone().renamed(|name| header(table, &name));
    let mut named = |name: &String| keep(column(table, name), findings);
    let rate = named(&roles.rate);
    let yields = named(&roles.yields);
    let block = roles.block.as_ref().map(&mut named);
    let by = roles.by.as_ref().map(&mut named);
    let factors: Vec<Option<Column>> = roles.factors.iter().map(&mut named).collect();
    let of_design: Vec<Option<Column>> =
        design.named_factors().iter().filter(|name| !is_factor(table, roles, name)).map(&mut named).collect();
    let site_years = roles.site_year.as_ref().map(&mut named);
    let replicates = roles.replicates.as_ref().map(&mut named);
    let rates = rate.and_then(|rate| {
        rate.values(findings, |cell| {
            plausible::any(&cell, cell.non_negative("an N rate")?)?
                .ok_or_else(|| cell.error("missing-cell", "the N rate is missing").remedy("write 0 where no N went on"))
        })
    });
    let yields =
        yields.and_then(|yields| yields.values(findings, |cell| plausible::any(&cell, cell.non_negative("a yield")?)));
    let mut levels = |column: Option<Column>, what: &'static str| {
        let column = column?;
        let levels = column.values(findings, |cell| cell.label(what).map(str::to_owned))?;
        Some((column.name().to_owned(), levels))
    };
    let blocks = block.map(|column| levels(column, "block"));
    let by = by.map(|column| levels(column, "group"));
    let mut levels_of_all = |columns: Vec<Option<Column>>| -> Vec<Option<(String, Vec<String>)>> {
        columns.into_iter().map(|column| levels(column, "level of the factor")).collect()
    };
    let (factors, of_design) = (levels_of_all(factors), levels_of_all(of_design));
    let site_years = site_years.map(|column| levels(column, "site-year"));
    let replicates = replicates.map(|column| column?.values(findings, replicates_of));
    // A role that was asked for and could not be read ends here; its faults are told.
    let (rates, yields) = (rates?, yields?);
    let (blocks, by, site_years) = (optional(blocks)?, optional(by)?, optional(site_years)?);
    let factors: Vec<(String, Vec<String>)> = factors.into_iter().collect::<Option<_>>()?;
    let of_design: Vec<(String, Vec<String>)> = of_design.into_iter().collect::<Option<_>>()?;
    let replicates = optional(replicates)?;
    let kept: Vec<bool> = yields.iter().map(Option::is_some).collect();
    if !kept.contains(&true) {
        let place = table.header_place().column(&roles.yields);
        findings.push(Finding::error("no-yields", place, "no row has a yield").remedy("name the column of yields"));
        return None;
    }
    let level = |(_, levels): &(String, Vec<String>), row: usize| levels.get(row).cloned().unwrap_or_default();
    let missing = table.lines().zip(&kept).enumerate().filter(|(_, (_, kept))| !**kept);
    let missing = missing.map(|(row, (line, _))| MissingYield {
        row: line,
        level: by.as_ref().map(|by| level(by, row)).unwrap_or_default(),
        factor_levels: factors.iter().map(|factor| level(factor, row)).collect(),
    });
    let missing = missing.collect();
    let kept_of = |(name, levels): (String, Vec<String>)| (name, of_kept(levels, &kept));
    Some(Columns {
        file: table.file().to_owned(),
        rate_name: header(table, &roles.rate),
        yield_name: header(table, &roles.yields),
        rates: of_kept(rates, &kept),
        yields: yields.into_iter().flatten().collect(),
        design,
        blocks: blocks.map(|(_, blocks)| of_kept(blocks, &kept)),
        by: by.map(kept_of),
        factors: factors.into_iter().map(kept_of).collect(),
        design_factors: of_design.into_iter().map(kept_of).collect(),
        site_years: site_years.map(kept_of),
        replicates: replicates.map(|replicates| of_kept(replicates, &kept)),
        rows: of_kept(table.lines().collect(), &kept),
        missing,
    })
}

/// The header that a name stands for; the name itself where there is none.
fn header(table: &DataTable, name: &str) -> String {
    table.column(name).map_or_else(|_| name.trim().to_owned(), |column| column.name().to_owned())
}

/// Whether a header is that of the N rate or of a factor in another role: its levels are read there.
fn is_factor(table: &DataTable, roles: &ColumnRoles, name: &str) -> bool {
    let factors = std::iter::once(&roles.rate).chain(&roles.by).chain(&roles.factors);
    factors.into_iter().any(|factor| header(table, factor) == name)
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

/// A column that plays two roles: one of them was meant to be another column. The factors of a design may be the N rate, and factors of
/// other roles.
fn roles_given_twice(table: &DataTable, roles: &ColumnRoles) -> Vec<Finding> {
    let of_design = if matches!(roles.design, Design::StripPlot { .. }) { "--strip" } else { "--main-plot" };
    let mut given = vec![("--rate", &roles.rate), ("--yield", &roles.yields)];
    given.extend(roles.block.as_ref().map(|block| ("--block", block)));
    given.extend(roles.by.as_ref().map(|by| ("--by", by)));
    given.extend(roles.factors.iter().map(|factor| ("--factor", factor)));
    given.extend(roles.site_year.as_ref().map(|site_year| ("--site-year", site_year)));
    given.extend(roles.replicates.as_ref().map(|replicates| ("--replicates", replicates)));
    given.extend(roles.design.named_factors().iter().map(|factor| (of_design, factor)));
    let twice = given.iter().enumerate().filter_map(|(position, (flag, name))| {
        let is_other =
            |(earlier, _): &&(&str, &String)| *flag != of_design || !matches!(*earlier, "--rate" | "--by" | "--factor");
        let same = |(_, earlier): &&(&str, &String)| header(table, earlier) == header(table, name);
        let (earlier, _) = given.get(..position)?.iter().filter(is_other).find(same)?;
        let text = if earlier == flag {
            format!("the column {name:?} is given twice as {flag}")
        } else {
            format!("the column {name:?} is given as {earlier} and as {flag}")
        };
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
