//! `stook report`

use std::io::Write as _;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::deliver::Answer;
use super::drawn_season::{DrawnSeason, DrawnSeasonFlags};
use super::earlier::Change;
use super::failure::Failure;
use crate::figures::{DrawnFigure, Style, Wording, draw_figures};
use crate::output::{OutputFile, SeasonReports, WriteError, write_into};
use crate::report::{Report, html, is_in_report, season_report};
use crate::season::Season;

/// The season's report: a page of summary, then trials, yields, curves, economics, sensing, calibration, tables, methods and provenance
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    drawn: DrawnSeasonFlags,
    /// Folder to write into; files of the same names there are replaced
    #[arg(long, value_name = "DIR", default_value = "report")]
    out: PathBuf,
    /// Size of the PDF's pages
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperFlag,
}

/// A size of paper, as it is typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(super) enum PaperFlag {
    /// 210 × 297 mm
    #[default]
    A4,
    /// 8.5 × 11 in
    Letter,
}

const EXAMPLES: &str =
    "Writes report.html, tables.xlsx, tables/NAME.csv and, in a build with the feature pdf, report.pdf.

Examples:
  stook report trials
  stook report trials --earlier last-season/tables/leaf-jointing.json --out winter-2026
  stook report trials --units si --unit-form exponent --decimal-mark comma --paper a4";

/// What a build without the feature says.
const NO_PDF: &str =
    "report.pdf is left out: this build cannot make one (build with --features pdf, or print report.html to a file)";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let DrawnSeason { mut season, analysed, wording, changes, figures: mut described } = flags.drawn.run(&flags.out)?;
    // Those that are left out of a long report need not be drawn.
    described.retain(|figure| is_in_report(&figure.name, &season));
    let style = Style { decimal_mark: wording.options().decimal_mark, with_png: false, ..Style::default() };
    let (figures, left_out) = draw_figures(&described, None, &style);
    season.warnings.extend(left_out);
    let reports = SeasonReports::of(&season, &analysed);
    let files = report_files(&season, &reports, &figures, &changes, &wording, flags.paper)?;
    write_into(&flags.out, &files)?;
    if cfg!(not(feature = "pdf")) {
        // Standard error may be closed; there is then nobody to tell.
        let _ = writeln!(std::io::stderr(), "{NO_PDF}");
    }
    let list: Vec<String> = files.iter().map(|file| flags.out.join(&file.path).display().to_string() + "\n").collect();
    let answered = season.tables.is_empty() || season.tables.iter().any(|result| result.derived.table.is_ok());
    Ok(Answer::bytes(list.concat().into_bytes(), answered, None))
}

/// The files of a report.
///
/// # Errors
/// A table that is too large for the workbook.
pub(super) fn report_files(
    season: &Season,
    reports: &SeasonReports,
    figures: &[DrawnFigure],
    changes: &[Change],
    wording: &Wording,
    paper: PaperFlag,
) -> Result<Vec<OutputFile>, Failure> {
    let report = season_report(season, reports, figures, changes, wording);
    let workbook = report.workbook(season, reports).map_err(WriteError::from)?;
    let mut files = vec![OutputFile::text("report.html", html(&report))];
    files.extend(pdf_file(&report, paper)?);
    files.push(OutputFile { path: "tables.xlsx".to_owned(), bytes: workbook });
    files.extend(report.csv_files());
    Ok(files)
}

/// The report as a PDF.
///
/// # Errors
/// A report that can't be typeset.
#[cfg(feature = "pdf")]
fn pdf_file(report: &Report, paper: PaperFlag) -> Result<Option<OutputFile>, Failure> {
    use crate::report::{Paper, pdf};
    let paper = match paper {
        PaperFlag::A4 => Paper::A4,
        PaperFlag::Letter => Paper::UsLetter,
    };
    let bytes =
        pdf(report, paper).map_err(|error| WriteError::new("report.pdf", std::io::Error::other(error.to_string())))?;
    Ok(Some(OutputFile { path: "report.pdf".to_owned(), bytes }))
}

/// A build without the feature has none.
#[cfg(not(feature = "pdf"))]
fn pdf_file(_: &Report, _: PaperFlag) -> Result<Option<OutputFile>, Failure> {
    Ok(None)
}
