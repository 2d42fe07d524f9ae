//! Spreadsheets as people keep them, each with habits of its own: the proposal has the right roles, its descriptors parse, and once the
//! blanks are filled in a check finds nothing.

mod habits;
mod judged;

use std::fs;
use std::path::PathBuf;

use tempfile::TempDir;

use super::{Confidence, Proposal, RawSheet, Role, propose};
use crate::files::{Layout, load_trial, sheets};
use crate::finding::Finding;
use crate::trial::Programme;

/// A trial's folder with data files in it, and what is proposed for them.
struct Proposed {
    root: TempDir,
    folder: String,
    proposal: Proposal,
}

fn proposed(folder: &str, files: &[(&str, Vec<u8>)]) -> Proposed {
    let root = tempfile::tempdir().unwrap();
    let within: PathBuf = root.path().join(folder);
    fs::create_dir(&within).unwrap();
    let mut raw = Vec::new();
    for (name, bytes) in files {
        let path = within.join(name);
        fs::write(&path, bytes).unwrap();
        let (found, _) = sheets(&path, &Layout::default()).unwrap();
        raw.extend(found.into_iter().map(|sheet| RawSheet {
            file: (*name).to_owned(),
            sheet: None,
            encoding: None,
            rows: sheet.rows,
        }));
    }
    let proposal = propose(&raw, Some(folder), &[]).unwrap();
    Proposed { root, folder: folder.to_owned(), proposal }
}

impl Proposed {
    /// The role of a column, and how sure it is.
    fn role(&self, column: &str) -> (Role, Confidence) {
        let found = self.proposal.columns.iter().find(|found| found.column == column);
        let found = found.unwrap_or_else(|| panic!("{column:?} in {:?}", self.proposal.columns));
        (found.role, found.confidence)
    }

    /// Every column that plays a role, with it.
    fn roles(&self) -> Vec<(&str, Role)> {
        let columns = self.proposal.columns.iter().filter(|column| column.role != Role::None);
        columns.map(|column| (column.column.as_str(), column.role)).collect()
    }

    /// What a check finds of the proposal as it is.
    fn as_it_is(&self) -> Vec<Finding> {
        self.filled(&[], &[]).map_or_else(|findings| findings, |(_, warnings)| warnings)
    }

    /// The trial with blanks filled in, each once and in order.
    fn filled(
        &self,
        trial: &[(&str, &str)],
        programme: &[(&str, &str)],
    ) -> Result<(Programme, Vec<Finding>), Vec<Finding>> {
        let fill = |text: &str, blanks: &[(&str, &str)]| {
            blanks.iter().fold(text.to_owned(), |text, (blank, value)| {
                assert!(text.contains(blank), "{blank:?} in\n{text}");
                text.replacen(blank, value, 1)
            })
        };
        let folder = self.root.path().join(&self.folder);
        fs::write(folder.join("trial.toml"), fill(&self.proposal.trial, trial)).unwrap();
        // No file tells the currency.
        let with_currency = fill(&self.proposal.programme, &[("# currency", "currency")]);
        fs::write(self.root.path().join("programme.toml"), fill(&with_currency, programme)).unwrap();
        load_trial(&folder).map(|loaded| (loaded.value, loaded.warnings))
    }

    /// The same, with nothing found.
    fn clean(&self, trial: &[(&str, &str)], programme: &[(&str, &str)]) -> Programme {
        let (programme, warnings) =
            self.filled(trial, programme).unwrap_or_else(|findings| panic!("{findings:#?}\n{}", self.proposal.trial));
        assert_eq!(warnings, [], "{}", self.proposal.trial);
        programme
    }
}

/// A made-up yield that rises with N and levels off, and differs by block.
fn grain(block: usize, rate: f64, plateau: f64) -> f64 {
    let missing = 1.0 - (rate / 110.0).min(1.0);
    plateau * (1.0 - 0.45 * missing * missing) * (1.0 + 0.013 * block as f64)
}
