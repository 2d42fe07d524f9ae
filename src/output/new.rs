//! What `new` has proposed and written.

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::findings::Findings;
use super::layout::paragraph;
use super::long::{Long, text};
use super::numbers::count;
use crate::files::export::Table;
use crate::proposal::{Proposal, ProposedColumn, QuickLook, ReadSheet, Role, Use};

/// A proposed descriptor: the role of each column, what was written, what is left to fill in, and what a check says.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct NewTrial {
    /// Folder of the trial.
    pub trial_folder: String,
    /// Files written.
    pub written: Vec<WrittenFile>,
    /// Every sheet or file that holds a table.
    pub sheets: Vec<SheetOf>,
    /// Every column of the sheets that are used.
    pub columns: Vec<ColumnOf>,
    /// What the user must fill in or choose before the trial can be analysed.
    pub to_fill_in: Vec<String>,
    /// What `stook check` says of the trial as it stands.
    pub check: Findings,
    #[serde(skip)]
    quick_look: Option<QuickLook>,
}

/// A file that was written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WrittenFile {
    /// Path.
    pub file: String,
    /// What it is.
    pub what: &'static str,
}

/// How a sheet was read.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SheetOf {
    /// File.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// `plots`, `readings` or `not used`.
    pub taken_for: &'static str,
    /// Row of its first header; 0 where it has none.
    pub header_row: u64,
    /// Rows that its headers take.
    pub header_rows: u64,
    /// Rows below.
    pub rows: usize,
}

/// A column with its proposed role.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ColumnOf {
    /// File.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// Header.
    pub column: String,
    /// Role; null where it plays none.
    pub role: Option<&'static str>,
    /// `sure`, `likely` or `unsure`.
    pub confidence: String,
    /// Why.
    pub reason: String,
}

impl NewTrial {
    /// A proposal, the files written for it, what is to be filled in, and what a check says.
    #[must_use]
    pub fn of(
        proposal: &Proposal,
        trial_folder: String,
        written: Vec<WrittenFile>,
        to_fill_in: Vec<String>,
        check: Findings,
    ) -> Self {
        Self {
            trial_folder,
            written,
            sheets: proposal.sheets.iter().map(SheetOf::of).collect(),
            columns: proposal.columns.iter().map(ColumnOf::of).collect(),
            to_fill_in,
            check,
            quick_look: proposal.quick_look.clone(),
        }
    }
}

impl SheetOf {
    fn of(sheet: &ReadSheet) -> Self {
        Self {
            file: sheet.file.clone(),
            sheet: sheet.sheet.clone(),
            taken_for: match sheet.use_of {
                Use::Plots => "plots",
                Use::Readings => "readings",
                Use::None => NOT_USED,
            },
            header_row: sheet.header_row,
            header_rows: sheet.header_rows,
            rows: sheet.rows,
        }
    }

    fn place(&self) -> String {
        place(&self.file, self.sheet.as_deref())
    }
}

impl ColumnOf {
    fn of(column: &ProposedColumn) -> Self {
        Self {
            file: column.file.clone(),
            sheet: column.sheet.clone(),
            column: column.column.clone(),
            role: (column.role != Role::None).then(|| column.role.name()),
            confidence: column.confidence.to_string(),
            reason: column.reason.clone(),
        }
    }
}

fn place(file: &str, sheet: Option<&str>) -> String {
    sheet.map_or_else(|| file.to_owned(), |sheet| format!("{file}, sheet {sheet}"))
}

/// What a sheet is taken for that is neither plots nor readings.
const NOT_USED: &str = "not used";
/// Letters of a header that a line shows.
const HEADER_SHOWN: usize = 28;

impl Report for NewTrial {
    const COMMAND: &'static str = "new";

    fn text(&self) -> String {
        let mut text = String::new();
        for sheet in self.sheets.iter().filter(|sheet| sheet.taken_for != NOT_USED) {
            text += &self.sheet_text(sheet);
        }
        let unused: Vec<String> =
            self.sheets.iter().filter(|sheet| sheet.taken_for == NOT_USED).map(SheetOf::place).collect();
        if !unused.is_empty() {
            text += &format!("{}\n", paragraph("Not used: ", &unused.join("; ")));
        }
        text += "Written\n";
        let width = self.written.iter().map(|file| file.file.chars().count()).max().unwrap_or(0);
        for file in &self.written {
            text += &format!("  {:<width$}  {}\n", file.file, file.what);
        }
        if !self.to_fill_in.is_empty() {
            text += "\nFor you to fill in or choose, where the files say \"fill in\" or \"choose\"\n";
            for what in &self.to_fill_in {
                text += &paragraph("  - ", what);
            }
        }
        text += &format!("\nstook check {} says now\n\n", shell(&self.trial_folder));
        text += &self.check.text();
        if let Some(look) = &self.quick_look {
            text += &format!("\nA first look needs no descriptor:\n  {}\n", look_text(look, &self.trial_folder));
        }
        text
    }

    fn table(&self) -> Table {
        let mut long = Long::new(["file", "sheet", "column", "role", "confidence", "reason"]);
        for column in &self.columns {
            long.row([
                column.file.as_str().into(),
                text(column.sheet.as_deref()),
                column.column.as_str().into(),
                text(column.role),
                column.confidence.as_str().into(),
                column.reason.as_str().into(),
            ]);
        }
        long.finish()
    }
}

impl NewTrial {
    fn sheet_text(&self, sheet: &SheetOf) -> String {
        let headers = match (sheet.header_row, sheet.header_rows) {
            (0, _) => "without headers".to_owned(),
            (row, 1) => format!("headers on row {row}"),
            (row, rows) => format!("headers on rows {row} to {}", row + rows - 1),
        };
        let mut text =
            format!("{}: {}, {headers}, {} below\n", sheet.place(), sheet.taken_for, count(sheet.rows, "row"));
        let columns: Vec<&ColumnOf> =
            self.columns.iter().filter(|column| column.file == sheet.file && column.sheet == sheet.sheet).collect();
        let shown = |column: &ColumnOf| -> String {
            let name = column.column.replace(char::is_control, " ");
            if name.chars().count() <= HEADER_SHOWN {
                return name;
            }
            name.chars().take(HEADER_SHOWN - 1).chain(['…']).collect()
        };
        let width = columns.iter().map(|column| shown(column).chars().count()).max().unwrap_or(0);
        let role_width = columns.iter().map(|column| column.role.unwrap_or("–").chars().count()).max().unwrap_or(0);
        for column in columns {
            let confidence = if column.role.is_some() { column.confidence.as_str() } else { "" };
            let role = column.role.unwrap_or("–");
            let first = format!("  {:<width$}  {role:<role_width$}  {confidence:<6}  ", shown(column));
            text += &paragraph(&first, &column.reason);
        }
        text + "\n"
    }
}

/// A word as a shell takes it.
fn shell(word: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || "-_./".contains(letter);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

fn look_text(look: &QuickLook, folder: &str) -> String {
    let file = if folder == "." { look.file.clone() } else { format!("{folder}/{}", look.file) };
    let mut text =
        format!("stook curves {} --rate {} --yield {}", shell(&file), shell(&look.rate), shell(&look.yields));
    for (flag, column) in [("--block", &look.block), ("--by", &look.by)] {
        if let Some(column) = column {
            text += &format!(" {flag} {}", shell(column));
        }
    }
    text
}
