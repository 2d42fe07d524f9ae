//! `stook compare`

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::Map;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::OutputFlags;
use super::table_file::{picture, read_table, warn_of_no_plots, warn_of_version};
use crate::compare::compare;
use crate::figures::{Figure, Style, rate_figure, render};
use crate::finding::{Finding, Place};
use crate::output::{ComparisonOf, Provenance, write_file};

/// This season's rate table against an earlier one: what moved, why, and whether it is more than chance
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// The earlier table's JSON file
    old: PathBuf,
    /// The later table's JSON file
    new: PathBuf,
    /// Also draw both tables, to a file that ends in .svg, .pdf or .png
    #[arg(long, value_name = "FILE")]
    figure: Option<PathBuf>,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str =
    "The old table is derived again with the new prices alone, the new site-years alone and the new settings alone.

Examples:
  stook compare last-season/tables/leaf-jointing.json season/tables/leaf-jointing.json
  stook compare old.json new.json --figure moved.svg --format csv --out moved.csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let (old, old_input) = read_table(&flags.old)?;
    let (new, new_input) = read_table(&flags.new)?;
    for file in [&flags.old, &flags.new] {
        flags.output.spares(file, Some(&[]))?;
    }
    let drawn_to = flags
        .figure
        .as_deref()
        .map(|file| picture(file, &["svg", "pdf", "png"], &[&flags.old, &flags.new]))
        .transpose()?;
    let comparison = compare(&old, &new).map_err(|refused| {
        let place = Place::file(flags.new.display().to_string());
        Finding::error("not-comparable", place, refused.to_string()).remedy("name two tables for the same use")
    })?;
    if let Some((file, ending)) = drawn_to {
        draw(&rate_figure(&new, Some(&old), None), file, ending)?;
    }
    let tables = [(&old, &flags.old), (&new, &flags.new)].into_iter();
    let warnings =
        tables.filter_map(|(table, file)| warn_of_version(table, file).or_else(|| warn_of_no_plots(table, file)));
    let provenance = Provenance {
        inputs: vec![old_input, new_input],
        options: Map::new(),
        seed: None,
        warnings: warnings.collect(),
    };
    Answer::report(&ComparisonOf::of(&old, &new, &comparison), &provenance, true, &flags.output)
}

fn draw(figure: &Figure, file: &Path, ending: &str) -> Result<(), Failure> {
    let style = Style { width: figure.usual_width(), ..Style::default() };
    let rendered = render(figure, &style).map_err(|error| {
        let place = Place::file(file.display().to_string());
        Finding::error("not-drawn", place, error.to_string()).remedy("leave --figure out")
    })?;
    let bytes = match ending {
        "svg" => rendered.svg.into_bytes(),
        "pdf" => rendered.pdf,
        _ => rendered.png,
    };
    Ok(write_file(file, &bytes)?)
}
