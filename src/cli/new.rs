//! `stook new`

use std::fs;
use std::io::{self, BufRead, IsTerminal as _, Write};
use std::path::{Component, Path, PathBuf};

use clap::Args;

use super::check::of_programme;
use super::deliver::Answer;
use super::failure::Failure;
use super::flags::FormatFlag;
use super::source::read_programme;
use crate::files::{Layout, TextEncoding, sheets};
use crate::finding::{Finding, Place};
use crate::output::{Findings, NewTrial, Provenance, WriteError, WrittenFile, render, write_file};
use crate::proposal::{Chosen, Confidence, Proposal, RawSheet, Role, propose};
use crate::trial::InputFile;

const TRIAL: &str = "trial.toml";
/// The encoding of text files that are no UTF-8.
const LATIN: &str = "latin-1";
const PROGRAMME: &str = "programme.toml";

/// Propose a trial's descriptor from the spreadsheets you have: the role of each column, how sure, and why
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Files of one trial: plots first, then readings (CSV and its like, XLSX, Parquet)
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Folder of the trial: made where it is not there, and the files are copied into it [default: where the first file is]
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Format of what is said on standard output
    #[arg(long, value_enum, default_value = "text")]
    format: FormatFlag,
}

const EXAMPLES: &str = "Writes trial.toml into the folder, and programme.toml beside the folder where there is none; never over one that is there.
What no file can tell, such as the day an application went on, is left in them for you to fill in.

Examples:
  stook new osier-bend-2025/plots.xlsx
  stook new plots.csv readings.csv --out trials/osier-bend-2025";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    if matches!(flags.format, FormatFlag::Xlsx | FormatFlag::Parquet) {
        return Err(Failure::usage("what new says is text, json or csv"));
    }
    let place = TrialPlace::of(flags)?;
    place.must_be_free()?;
    let mut raw = Vec::new();
    let mut findings = Vec::new();
    let mut inputs = Vec::new();
    for file in &flags.files {
        match read(file) {
            Ok((sheets, input)) => {
                raw.extend(sheets);
                inputs.push(input);
            }
            Err(mut found) => findings.append(&mut found),
        }
    }
    if !findings.is_empty() {
        return Err(findings.into());
    }
    let folder = place.name();
    let mut proposal = propose(&raw, folder.as_deref(), &[]).ok_or_else(|| no_table(&flags.files))?;
    if io::stdin().is_terminal() && io::stdout().is_terminal() {
        let chosen = ask(&proposal, &mut io::stdin().lock(), &mut io::stdout().lock());
        proposal = propose(&raw, folder.as_deref(), &chosen).unwrap_or(proposal);
    }
    let written = place.write(&proposal, &flags.files)?;
    let mut to_fill_in = proposal.to_fill_in.clone();
    if written.iter().any(|file| file.file.ends_with(PROGRAMME)) {
        to_fill_in.extend(proposal.programme_to_fill_in.iter().map(|what| format!("{PROGRAMME}: {what}")));
    }
    let check = match read_programme(&place.folder) {
        Ok(loaded) => of_programme(loaded),
        Err(Failure::Input(found)) => Findings::of(&found),
        Err(failure) => return Err(failure),
    };
    let report = NewTrial::of(&proposal, place.folder.display().to_string(), written, to_fill_in, check);
    let provenance = Provenance { inputs, ..Provenance::default() };
    let bytes = render(&report, &provenance, flags.format.into()).map_err(WriteError::from)?;
    Ok(Answer::bytes(bytes, true, None))
}

fn no_table(files: &[PathBuf]) -> Failure {
    let name = files.first().map(|file| file.display().to_string()).unwrap_or_default();
    let text = "there is no table in it: no row of headers with rows of values below";
    Finding::error("no-rows", Place::file(name), text).remedy("name the file that has one row for each plot").into()
}

/// The sheets of a file under its bare name, which is how the descriptor beside it names it.
fn read(file: &Path) -> Result<(Vec<RawSheet>, InputFile), Vec<Finding>> {
    let name = file_name(file);
    // A file that is no UTF-8 is taken for what spreadsheets write in its stead; the descriptor says so.
    let ((found, input), encoding) = match sheets(file, &Layout::default()) {
        Err(findings) if findings.iter().any(|finding| finding.code == "not-utf8") => {
            let layout = Layout { encoding: TextEncoding::parse(LATIN), ..Layout::default() };
            (sheets(file, &layout)?, Some(LATIN.to_owned()))
        }
        found => (found?, None),
    };
    let several = found.iter().filter(|sheet| !sheet.rows.is_empty()).count() > 1;
    let raw = found.into_iter().map(|sheet| RawSheet {
        file: name.clone(),
        // The only sheet that holds anything needs no name.
        sheet: sheet.name.filter(|_| several),
        encoding: encoding.clone(),
        rows: sheet.rows,
    });
    Ok((raw.collect(), input))
}

fn file_name(file: &Path) -> String {
    file.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Where the trial's files are, or go.
struct TrialPlace {
    folder: PathBuf,
    /// Whether the data files are copied there.
    copies: bool,
}

impl TrialPlace {
    fn of(flags: &Flags) -> Result<Self, Failure> {
        let parent = |file: &Path| match file.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let first = flags.files.first().map(|file| parent(file)).unwrap_or_default();
        let folder = flags.out.clone().unwrap_or_else(|| first.clone());
        let full = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let elsewhere = flags.files.iter().any(|file| full(&parent(file)) != full(&folder));
        if elsewhere && flags.out.is_none() {
            return Err(Failure::usage(
                "the files are in several folders, and a trial is one: name it with --out, and they are copied there",
            ));
        }
        let mut names: Vec<String> = flags.files.iter().map(|file| file_name(file)).collect();
        names.sort();
        if let Some([name, _]) = names.array_windows().find(|[a, b]| a == b) {
            return Err(Failure::usage(format!("two of the files are called {name}: give one another name")));
        }
        Ok(Self { folder, copies: elsewhere })
    }

    /// The folder's own name.
    fn name(&self) -> Option<String> {
        let full = std::path::absolute(&self.folder).unwrap_or_else(|_| self.folder.clone());
        let full = full.canonicalize().unwrap_or(full);
        full.file_name().map(|name| name.to_string_lossy().into_owned())
    }

    fn must_be_free(&self) -> Result<(), Failure> {
        let there = |file: &Path, what: &str| {
            WriteError::new(file.display().to_string(), io::Error::new(io::ErrorKind::AlreadyExists, what))
        };
        let trial = self.folder.join(TRIAL);
        if trial.exists() {
            return Err(there(&trial, "there is one already, which is left as it is (stook check reads it)").into());
        }
        if self.folder.join(PROGRAMME).exists() {
            let text = "this folder holds programme.toml, and a trial needs a folder of its own: name it with --out";
            return Err(Failure::usage(format!("{}: {text}", self.folder.display())));
        }
        Ok(())
    }

    /// Writes the descriptors, after the data files that they speak of.
    fn write(&self, proposal: &Proposal, files: &[PathBuf]) -> Result<Vec<WrittenFile>, Failure> {
        let mut written = Vec::new();
        if self.copies {
            fs::create_dir_all(&self.folder)
                .map_err(|error| WriteError::new(self.folder.display().to_string(), error))?;
            for file in files {
                let to = self.folder.join(file_name(file));
                let bytes = fs::read(file).map_err(|error| WriteError::new(to.display().to_string(), error))?;
                if fs::read(&to).is_ok_and(|there| there == bytes) {
                    continue;
                }
                if to.exists() {
                    let error =
                        io::Error::new(io::ErrorKind::AlreadyExists, "another file of that name is there already");
                    return Err(WriteError::new(to.display().to_string(), error).into());
                }
                write_file(&to, &bytes)?;
                written.push(WrittenFile { file: to.display().to_string(), what: "a copy of your file" });
            }
        }
        let full =
            self.folder.canonicalize().map_err(|error| WriteError::new(self.folder.display().to_string(), error))?;
        if let Some(parent) = full.parent().filter(|parent| !parent.join(PROGRAMME).exists()) {
            let programme = parent.join(PROGRAMME);
            write_file(&programme, proposal.programme.as_bytes())?;
            let what = "what your trials share: crop, units, prices, tables";
            written.push(WrittenFile { file: self.shown(&programme), what });
        }
        let trial = self.folder.join(TRIAL);
        write_file(&trial, proposal.trial.as_bytes())?;
        written.push(WrittenFile { file: plain(&trial), what: "which column plays which role, dates, design" });
        Ok(written)
    }

    /// A path beside the folder, as short as the user named the folder.
    fn shown(&self, beside: &Path) -> String {
        let name = file_name(beside);
        match self.folder.parent() {
            Some(parent) if self.folder.file_name().is_some() => parent.join(name).display().to_string(),
            _ => plain(&self.folder.join("..").join(name)),
        }
    }
}

/// A path without the steps that stay where they are.
fn plain(path: &Path) -> String {
    path.components().filter(|step| *step != Component::CurDir).collect::<PathBuf>().display().to_string()
}

/// Asks about every column whose role is unsure; an empty answer leaves it for later.
fn ask(proposal: &Proposal, answers: &mut impl BufRead, questions: &mut impl Write) -> Vec<Chosen> {
    let mut chosen = Vec::new();
    let names: Vec<&str> = Role::ALL.iter().map(|role| role.name()).collect();
    for column in proposal.columns.iter().filter(|column| column.confidence == Confidence::Unsure) {
        let question = format!(
            "{:?} may be {}: {}.\nIts role (Enter leaves it for later, ? lists the roles): ",
            column.column,
            column.role.name(),
            column.reason
        );
        let mut answer = String::new();
        loop {
            answer.clear();
            // A terminal that is gone answers nothing more.
            let asked = questions.write_all(question.as_bytes()).and_then(|()| questions.flush());
            if asked.is_err() || answers.read_line(&mut answer).unwrap_or(0) == 0 {
                return chosen;
            }
            if answer.trim().is_empty() {
                break;
            }
            if let Some(role) = Role::named(&answer) {
                let (file, sheet) = (column.file.clone(), column.sheet.clone());
                chosen.push(Chosen { file, sheet, column: column.column.clone(), role });
                break;
            }
            let _ = writeln!(questions, "The roles are {}.", names.join(", "));
        }
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_yields() -> Vec<RawSheet> {
        let rows = ["block,nitro,cyield,myield", "B1,0,259,2121", "B1,40,614,3055", "B2,0,355,3922", "B2,40,609,4129"];
        let rows = (1..).zip(rows).map(|(number, row)| (number, row.split(',').map(str::to_owned).collect()));
        vec![RawSheet { file: "plots.csv".to_owned(), sheet: None, encoding: None, rows: rows.collect() }]
    }

    fn answered(answers: &str) -> (Vec<Chosen>, String) {
        let mut questions = Vec::new();
        let proposal = propose(&two_yields(), None, &[]).unwrap();
        let chosen = ask(&proposal, &mut answers.as_bytes(), &mut questions);
        (chosen, String::from_utf8(questions).unwrap())
    }

    #[test]
    fn an_unsure_role_is_asked_for_and_an_empty_answer_leaves_it() {
        let (chosen, questions) = answered("\n\n");
        assert_eq!(chosen, []);
        assert!(questions.contains("\"cyield\" may be yield: several columns could be the yield"), "{questions}");
        assert_eq!(questions.matches("Its role (Enter leaves it for later").count(), 2);
        assert_eq!(answered("").1.matches("Its role").count(), 1);
    }

    #[test]
    fn a_typed_role_is_taken_and_a_wrong_one_asked_for_again() {
        let (chosen, questions) = answered("grain\nnone\nyield\n");
        let roles: Vec<(&str, Role)> = chosen.iter().map(|chosen| (chosen.column.as_str(), chosen.role)).collect();
        assert_eq!(roles, [("cyield", Role::None), ("myield", Role::Yield)]);
        assert!(questions.contains("The roles are plot, block"), "{questions}");
        let proposal = propose(&two_yields(), None, &chosen).unwrap();
        assert!(
            proposal.trial.contains("column = \"myield\"") && !proposal.trial.contains("cyield"),
            "{}",
            proposal.trial
        );
    }
}
