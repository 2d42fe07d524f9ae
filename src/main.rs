//! The `stook` command.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    stook::cli::run(std::env::args_os())
}
