//! The command line: arguments → library → print. One file a command; nothing is computed here.
//!
//! Exit status: 0 answered (*not shown* is an answer); 1 nothing that was asked could be answered, or no rate, with the reasons on
//! standard output in the chosen format; 2 usage or input, with standard output empty; 3 cannot write. A closed pipe is quiet.

mod anova;
mod calibrate;
mod check;
mod compare;
mod curves;
mod deliver;
mod drawn_season;
mod earlier;
mod failure;
mod figures;
mod fitting;
mod flags;
mod lookup;
mod new;
mod optimum;
mod paper;
mod pricing;
mod report;
mod roles;
mod season;
mod sense;
mod source;
mod table;
mod table_file;
mod yields;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use deliver::Answer;
use failure::Failure;

/// From nitrogen-rate trials and canopy or leaf readings to a sensor-to-rate table.
#[derive(Debug, Parser)]
#[command(name = "stook", version, after_help = EXAMPLES, max_term_width = 100, propagate_version = false)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "Examples:
  stook season trials                     the whole job over a programme of trials
  stook check trials                      every finding in its files
  stook new plots.xlsx                    a descriptor proposed from a spreadsheet
  stook anova oats.csv --rate nitrogen --yield yield --block block --main-plot variety
  stook curves oats.csv --rate nitrogen --yield yield --block block --by variety
  stook optimum trials/upper-terrace-2024 --price-ratio 0.1
  stook lookup --table season/tables/leaf-jointing.json --reading 51 --reference 55
  stook compare last-season/tables/leaf-jointing.json season/tables/leaf-jointing.json
  stook figures trials --width single --units si";

#[derive(Debug, Subcommand)]
enum Command {
    Season(season::Flags),
    Check(check::Flags),
    New(new::Flags),
    Yields(yields::Flags),
    Anova(Box<anova::Flags>),
    Curves(curves::Flags),
    Optimum(Box<optimum::Flags>),
    Sense(sense::Flags),
    Calibrate(calibrate::Flags),
    Table(table::Flags),
    Lookup(lookup::Flags),
    Compare(compare::Flags),
    Figures(Box<figures::Flags>),
    Report(Box<report::Flags>),
}

impl Command {
    fn run(self) -> Result<Answer, Failure> {
        match self {
            Self::Season(flags) => season::run(&flags),
            Self::Check(flags) => check::run(&flags),
            Self::New(flags) => new::run(&flags),
            Self::Yields(flags) => yields::run(&flags),
            Self::Anova(flags) => anova::run(&flags),
            Self::Curves(flags) => curves::run(&flags),
            Self::Optimum(flags) => optimum::run(&flags),
            Self::Sense(flags) => sense::run(&flags),
            Self::Calibrate(flags) => calibrate::run(&flags),
            Self::Table(flags) => table::run(&flags),
            Self::Lookup(flags) => lookup::run(&flags),
            Self::Compare(flags) => compare::run(&flags),
            Self::Figures(flags) => figures::run(&flags),
            Self::Report(flags) => report::run(&flags),
        }
    }
}

/// Runs one command; `arguments` begin with the name of the program.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let answer = Cli::try_parse_from(arguments).map_err(Failure::from).and_then(|cli| cli.command.run());
    answer.and_then(Answer::deliver).unwrap_or_else(|failure| failure.report())
}
