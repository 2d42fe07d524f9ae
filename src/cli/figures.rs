//! `stook figures`

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::deliver::Answer;
use super::drawn_season::{DrawnSeason, DrawnSeasonFlags};
use super::failure::Failure;
use super::flags::FormatFlag;
use super::paper::StyleFlags;
use crate::figures::{DrawnFigure, Style, draw_figures};
use crate::output::{FigureOf, FiguresDrawn, OutputFile, WriteError, provenance_of, render, write_into};

/// Every figure of a programme, fit to print, each with its caption
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    drawn: DrawnSeasonFlags,
    /// Folder to write into; files of the same names there are replaced
    #[arg(long, value_name = "DIR", default_value = "figures")]
    out: PathBuf,
    /// Only figures with this in their name; may be given several times
    #[arg(long, value_name = "PART")]
    only: Vec<String>,
    /// Kinds of files to write
    #[arg(long, value_enum, value_delimiter = ',', default_values = ["svg", "pdf", "png"])]
    files: Vec<FileKind>,
    /// Format of the list of figures on standard output
    #[arg(long, value_enum, default_value = "text")]
    format: FormatFlag,
    #[command(flatten)]
    style: StyleFlags,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FileKind {
    /// Vector, text as text
    Svg,
    /// Vector, its font embedded
    Pdf,
    /// Dots
    Png,
}

const EXAMPLES: &str = "Beside each figure NAME.txt holds its caption: n, design, what bars and bands are.

Examples:
  stook figures trials
  stook figures trials --only response --width single --files pdf --units si --unit-form exponent
  stook figures trials --only calibration --width slide --titles --files png --out slides
  stook figures trials --only change --earlier last-season/tables/leaf-jointing.json";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    if matches!(flags.format, FormatFlag::Xlsx | FormatFlag::Parquet) {
        return Err(Failure::usage("the list of figures is text, json or csv"));
    }
    let DrawnSeason { mut season, wording, figures: all, .. } = flags.drawn.run(&flags.out)?;
    let wanted = |name: &str| flags.only.is_empty() || flags.only.iter().any(|part| name.contains(part.as_str()));
    if let Some(part) = flags.only.iter().find(|part| !all.iter().any(|figure| figure.name.contains(part.as_str()))) {
        let names: Vec<&str> = all.iter().map(|figure| figure.name.as_str()).collect();
        return Err(Failure::usage(format!("no figure has “{part}” in its name; there are {}", names.join(", "))));
    }
    let chosen: Vec<_> = all.into_iter().filter(|figure| wanted(&figure.name)).collect();
    let (width, style) = flags.style.style(&wording);
    let style = Style { with_png: flags.files.contains(&FileKind::Png), ..style };
    let (drawn, left_out) = draw_figures(&chosen, width, &style);
    season.warnings.extend(left_out);
    let mut listed = FiguresDrawn { folder: flags.out.display().to_string(), figures: Vec::new() };
    let mut files = Vec::new();
    for DrawnFigure { name, rendered } in drawn {
        let drawings = flags.files.iter().map(|kind| match kind {
            FileKind::Svg => OutputFile::text(format!("{name}.svg"), rendered.svg.clone()),
            FileKind::Pdf => OutputFile { path: format!("{name}.pdf"), bytes: rendered.pdf.clone() },
            FileKind::Png => OutputFile { path: format!("{name}.png"), bytes: rendered.png.clone() },
        });
        let caption = OutputFile::text(format!("{name}.txt"), rendered.words.caption.clone() + "\n");
        let own: Vec<OutputFile> = drawings.chain([caption]).collect();
        listed.figures.push(FigureOf {
            files: own.iter().map(|file| file.path.clone()).collect(),
            name,
            width_mm: rendered.width,
            title: rendered.words.title,
            caption: rendered.words.caption,
            finding: rendered.words.finding,
        });
        files.extend(own);
    }
    write_into(&flags.out, &files)?;
    let answered = !listed.figures.is_empty();
    let bytes = render(&listed, &provenance_of(&season), flags.format.into()).map_err(WriteError::from)?;
    Ok(Answer::bytes(bytes, answered, None))
}
