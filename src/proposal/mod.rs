//! From the spreadsheets people have to a proposed descriptor.
//!
//! Headers and values of every column are judged together: each gets a role, how sure it is, and the reason in words. What is sure is
//! written; what is likely is written with the reason beside it; what is unsure, and what no file can tell, such as the day an
//! application went on, is left as a comment for the user to fill in. Nothing is taken for granted silently, and a plain check of the
//! written descriptor says what is still missing.

mod facts;
mod judge;
mod lines;
mod programme;
mod readings;
mod role;
mod sensed;
mod settle;
mod sheet;
mod trial;
mod units;
mod words;

#[cfg(test)]
mod tests;

pub use role::{Confidence, Role};
pub use sheet::RawSheet;

use facts::Facts;
use settle::Settled;
use sheet::Sheet;

/// A column with its proposed role.
#[derive(Clone, Debug, PartialEq)]
pub struct ProposedColumn {
    /// File, as in the descriptor.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// Header, as a descriptor names it.
    pub column: String,
    /// What it is.
    pub role: Role,
    /// How sure that is.
    pub confidence: Confidence,
    /// Why, in words.
    pub reason: String,
}

/// How a sheet was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadSheet {
    /// File, as in the descriptor.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// What it was taken for.
    pub use_of: Use,
    /// Row of its first header; 0 where it has none.
    pub header_row: u64,
    /// Rows that its headers take.
    pub header_rows: u64,
    /// Rows below.
    pub rows: usize,
}

/// What a sheet was taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    /// One row a plot.
    Plots,
    /// Readings of the plots.
    Readings,
    /// Nothing.
    None,
}

/// A proposed trial.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Every sheet that holds a table.
    pub sheets: Vec<ReadSheet>,
    /// Every column of the sheets that are used.
    pub columns: Vec<ProposedColumn>,
    /// Text of `trial.toml`.
    pub trial: String,
    /// Text of a `programme.toml` for a user who has none.
    pub programme: String,
    /// What the user must fill in or choose in `trial.toml`.
    pub to_fill_in: Vec<String>,
    /// What the user must fill in or choose in `programme.toml`.
    pub programme_to_fill_in: Vec<String>,
    /// The columns of a first look without a descriptor: rate, yield, block and the factor of curves of their own.
    pub quick_look: Option<QuickLook>,
}

/// Roles of a first look at the plots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuickLook {
    /// File.
    pub file: String,
    /// Column of the N rate.
    pub rate: String,
    /// Column of the yield.
    pub yields: String,
    /// Column of the block.
    pub block: Option<String>,
    /// Column of the factor that has curves of its own.
    pub by: Option<String>,
}

/// A role that a user has typed for a column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// File.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// Header.
    pub column: String,
    /// Its role.
    pub role: Role,
}

/// Proposes a trial from the sheets of its files. `folder` is the name of the trial's folder; `chosen` are roles that the user has
/// typed. `None` where no sheet holds a table.
#[must_use]
pub fn propose(raw: &[RawSheet], folder: Option<&str>, chosen: &[Chosen]) -> Option<Proposal> {
    let settle = |sheet: Sheet| {
        let (file, name) = (sheet.file.clone(), sheet.sheet.clone());
        let typed = move |column: &str| {
            let this = |chosen: &&Chosen| chosen.file == file && chosen.sheet == name && chosen.column == column;
            chosen.iter().find(this).map(|chosen| chosen.role)
        };
        Settled::of(sheet, &typed)
    };
    let settled: Vec<Settled> = raw.iter().filter_map(Sheet::of).map(settle).collect();
    // The first of those that look most like plots.
    let plots_position =
        (0..settled.len()).rev().max_by_key(|position| settled.get(*position).map(Settled::plots_score))?;
    let plots = settled.get(plots_position)?;
    let is_readings = |settled: &Settled| {
        settled.is_long()
            || settled.plots_score() < 4
                && (!settled.reflectances.is_empty()
                    || [Role::CanopyNdvi, Role::LeafChlorophyll]
                        .iter()
                        .any(|role| !settled.positions(*role).is_empty()))
    };
    let use_of = |position: usize, settled: &Settled| match () {
        () if position == plots_position => Use::Plots,
        () if is_readings(settled) => Use::Readings,
        () => Use::None,
    };
    let used = || settled.iter().enumerate().map(|(position, settled)| (use_of(position, settled), settled));
    let readings: Vec<&Settled> =
        used().filter(|(use_of, _)| *use_of == Use::Readings).map(|(_, settled)| settled).collect();
    let facts = Facts::of(plots, folder);
    let (trial, to_fill_in) = trial::write(plots, &readings, &facts);
    let (programme, programme_to_fill_in) = programme::write(plots, &facts);
    let columns = used().filter(|(use_of, _)| *use_of != Use::None).flat_map(|(_, settled)| {
        settled.sheet.columns.iter().zip(&settled.judged).map(|(column, judged)| ProposedColumn {
            file: settled.sheet.file.clone(),
            sheet: settled.sheet.sheet.clone(),
            column: column.name.clone(),
            role: judged.role,
            confidence: judged.confidence,
            reason: judged.reason.clone(),
        })
    });
    let sheets = used().map(|(use_of, settled)| ReadSheet {
        file: settled.sheet.file.clone(),
        sheet: settled.sheet.sheet.clone(),
        use_of,
        header_row: settled.sheet.header_row,
        header_rows: settled.sheet.header_rows,
        rows: settled.sheet.rows,
    });
    Some(Proposal {
        sheets: sheets.collect(),
        columns: columns.collect(),
        trial,
        programme,
        to_fill_in,
        programme_to_fill_in,
        quick_look: quick_look(plots),
    })
}

fn quick_look(plots: &Settled) -> Option<QuickLook> {
    let name = |role: Role| plots.known(role).map(|column| column.name.clone());
    let any = |role: Role| plots.with_role(role).next().map(|(column, _)| column.name.clone());
    let varies = |column: &&sheet::Column| column.levels().len() > 1;
    let sheet = &plots.sheet;
    let plain = sheet.header_row == 1 && sheet.header_rows == 1 && sheet.sheet.is_none() && !sheet.decimal_comma;
    plain.then_some(())?;
    Some(QuickLook {
        file: plots.sheet.file.clone(),
        rate: name(Role::NRate)?,
        yields: any(Role::Yield)?,
        block: name(Role::Block),
        by: plots
            .known(Role::Site)
            .filter(varies)
            .or_else(|| plots.known(Role::Variety))
            .filter(varies)
            .map(|column| column.name.clone())
            .or_else(|| name(Role::Factor)),
    })
}
