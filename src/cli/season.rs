//! `stook season`

use std::io::{IsTerminal as _, Write as _};
use std::path::PathBuf;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{FormatFlag, PriceFlags, SeedFlag};
use super::report::{PaperFlag, report_files};
use super::source::{bushel_unknown, holds, read_programme, run_season, season_failure};
use crate::figures::{Card, DrawnFigure, Style, Wording, WordingOptions, draw_figures, season_cards, season_figures};
use crate::output::{OutputFile, SeasonReports, Summary, provenance_of, season_files, season_provenance, write_folder};
use crate::season::{SeasonOptions, Step};
use crate::trial::Programme;

/// The whole job: from a programme of trials to rate tables, with everything in between
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    /// Folder to write; an earlier season there is replaced as long as nothing in it was changed, anything else is left alone
    #[arg(long, value_name = "DIR", default_value = "season")]
    out: PathBuf,
    /// Format of the summary on standard output
    #[arg(long, value_enum, default_value = "text")]
    format: FormatFlag,
    #[command(flatten)]
    prices: PriceFlags,
    #[command(flatten)]
    seed: SeedFlag,
}

const EXAMPLES: &str = "Examples:
  stook season trials
  stook season trials --out winter-2026 --price-ratio 0.12";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    if matches!(flags.format, FormatFlag::Xlsx | FormatFlag::Parquet) {
        return Err(Failure::usage(
            "the summary is text, json or csv; the season's tables are in report/tables.xlsx of its folder",
        ));
    }
    let price_ratio = flags.prices.ratio()?;
    let loaded = read_programme(&flags.path)?;
    if holds(&flags.out, &flags.path) {
        return Err(Failure::usage(format!(
            "--out {} is or holds the programme, which a season's folder would replace: name another folder",
            flags.out.display(),
        )));
    }
    let bar = progress_bar(&loaded.value);
    let options = SeasonOptions { seed: flags.seed.seed, price_ratio, ..SeasonOptions::default() };
    let mut season = run_season(loaded, options, &|step| {
        let (Step::Trial(name) | Step::Table(name)) = step;
        bar.set_message(name.to_owned());
        bar.inc(1);
    })?;
    bar.set_message("analysis of variance");
    let analysed = season.analyses().map_err(|error| season_failure(&error, &season.programme.crop.name))?;
    bar.set_message("figures");
    let wording = Wording::new(&season.programme, WordingOptions::default())
        .map_err(|error| bushel_unknown(&error, &season.programme.crop.name))?;
    let (figures, left_out) = draw_figures(&season_figures(&season, &analysed, &wording), None, &Style::default());
    let (cards, cards_left_out) = season_cards(&season);
    season.warnings.extend(left_out.into_iter().chain(cards_left_out));
    let reports = SeasonReports::of(&season, &analysed);
    let mut files = season_files(&season, &reports);
    bar.set_message("report");
    let report = report_files(&season, &reports, &figures, &[], &wording, PaperFlag::default())?;
    files.extend(report.into_iter().map(|file| OutputFile { path: format!("report/{}", file.path), ..file }));
    files.extend(figures.into_iter().flat_map(figure_files));
    files.extend(cards.into_iter().flat_map(card_files));
    files.push(season_provenance(&season, &files));
    write_folder(&flags.out, &files)?;
    bar.finish_and_clear();
    // Standard error may be closed; there is then nobody to tell.
    let _ = writeln!(std::io::stderr(), "{} files written to {}", files.len(), flags.out.display());
    let summary = Summary::of(&season, &reports);
    let answered = season.tables.is_empty() || season.tables.iter().any(|result| result.derived.table.is_ok());
    Answer::summary(&summary, &provenance_of(&season), answered, flags.format)
}

/// A figure's drawings and its caption.
fn figure_files(figure: DrawnFigure) -> [OutputFile; 4] {
    let DrawnFigure { name, rendered } = figure;
    let path = |ending: &str| format!("figures/{name}.{ending}");
    [
        OutputFile::text(path("svg"), rendered.svg),
        OutputFile { path: path("pdf"), bytes: rendered.pdf },
        OutputFile { path: path("png"), bytes: rendered.png },
        OutputFile::text(path("txt"), rendered.words.caption + "\n"),
    ]
}

/// A table's card, to look at and to print.
fn card_files((name, card): (String, Card)) -> [OutputFile; 2] {
    [
        OutputFile::text(format!("tables/{name}.card.svg"), card.svg),
        OutputFile { path: format!("tables/{name}.card.pdf"), bytes: card.pdf },
    ]
}

/// A bar on standard error where that is a terminal, and nothing elsewhere.
fn progress_bar(programme: &Programme) -> ProgressBar {
    let steps = (programme.trials.len() + programme.tables.len()) as u64;
    let target =
        if std::io::stderr().is_terminal() { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
    let bar = ProgressBar::with_draw_target(Some(steps), target);
    // The template is fixed text that a test renders; were it wrong, the plain bar would serve.
    match ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
