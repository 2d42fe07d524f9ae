//! Tables of earlier seasons, each beside the one of this season that it can be compared with.

use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::table_file::read_table;
use crate::compare::compare;
use crate::figures::{NamedFigure, Wording, rate_figure};
use crate::finding::{Finding, Place};
use crate::output::ComparisonOf;
use crate::rate_table::RateTable;
use crate::season::Season;
use crate::trial::InputFile;

#[derive(Debug, Args)]
pub(super) struct EarlierFlag {
    /// An earlier rate table's JSON file, to show what changed since; may be given several times
    #[arg(long, value_name = "TABLE")]
    earlier: Vec<PathBuf>,
}

/// What an earlier table is compared to, and the file that it stands in.
pub(super) type Change = (ComparisonOf, InputFile);

/// Earlier tables as they were read.
pub(super) struct EarlierTables(Vec<(RateTable, InputFile)>);

impl EarlierFlag {
    /// The tables, before anything is computed.
    ///
    /// # Errors
    /// A file that holds no table.
    pub(super) fn read(&self) -> Result<EarlierTables, Failure> {
        self.earlier.iter().map(|file| read_table(file)).collect::<Result<_, _>>().map(EarlierTables)
    }
}

impl EarlierTables {
    /// Each against the season's table of the same name, or else the first that it can be compared with, and a picture of both.
    ///
    /// # Errors
    /// A table that can be compared with none of them.
    pub(super) fn against(
        self,
        season: &Season,
        wording: &Wording,
    ) -> Result<(Vec<Change>, Vec<NamedFigure>), Failure> {
        let tables = || season.tables.iter().filter_map(|result| result.derived.table.as_ref().ok());
        let one = |(number, (old, file)): (usize, (RateTable, InputFile))| {
            let is_same = |new: &&RateTable| new.document().name == old.document().name;
            let candidates = tables().filter(is_same).chain(tables().filter(|new| !is_same(new)));
            let mut refused = None;
            for new in candidates {
                match compare(&old, new) {
                    Ok(comparison) => {
                        let name = format!("{}-change-{number}", new.document().name);
                        let figure = rate_figure(new, Some(&old), Some(wording));
                        return Ok(((ComparisonOf::of(&old, new, &comparison), file), NamedFigure { name, figure }));
                    }
                    Err(reason) => refused = refused.or(Some(reason.to_string())),
                }
            }
            let reason = refused.unwrap_or_else(|| "the season has no rate table".to_owned());
            let finding = Finding::error("not-comparable", Place::file(file.file), reason);
            Err(Failure::from(finding.remedy("name an earlier table for the same use, or leave --earlier out")))
        };
        let found: Result<Vec<_>, Failure> = (1..).zip(self.0).map(one).collect();
        Ok(found?.into_iter().unzip())
    }
}
