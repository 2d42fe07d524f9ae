//! A table's file: read, and said what it lacks; and files of pictures of it.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use super::failure::Failure;
use crate::finding::{Finding, Place};
use crate::output::{digest, is_same_file};
use crate::rate_table::RateTable;
use crate::trial::InputFile;

/// A table with its file's name and digest.
///
/// # Errors
/// Why it is none.
pub(super) fn read_table(file: &Path) -> Result<(RateTable, InputFile), Failure> {
    let name = file.display().to_string();
    let refused = |text: String, remedy: &str| -> Failure {
        Finding::error("not-a-table", Place::file(&name), text).remedy(remedy).into()
    };
    let remedy = "name a table file that `stook season` or `stook table --format json` has written";
    let text = fs::read_to_string(file).map_err(|error| {
        let text = match error.kind() {
            ErrorKind::NotFound => "there is no such file".to_owned(),
            ErrorKind::IsADirectory => "it is a folder, not a file".to_owned(),
            ErrorKind::InvalidData => "it is no text: the bytes are not UTF-8".to_owned(),
            _ => format!("it can't be read: {error}"),
        };
        refused(text, remedy)
    })?;
    if text.starts_with('\u{feff}') {
        let text = "it begins with an invisible byte-order mark, which an editor has put there".to_owned();
        return Err(refused(text, "take the table as it was written, or save it as UTF-8 without the mark"));
    }
    let table = RateTable::read(&text).map_err(|error| refused(error.to_string(), remedy))?;
    Ok((table, InputFile { file: name, sha256: digest(text.as_bytes()) }))
}

/// What a table of an older version lacks.
pub(super) fn warn_of_version(table: &RateTable, file: &Path) -> Option<Finding> {
    let version = table.converted_from()?;
    let text = format!(
        "it is {version}: a reading can be looked up in it, but it carries neither what it could be repriced from nor the range of \
         new site-years' optima"
    );
    Some(
        Finding::warning("older-table", Place::file(file.display().to_string()), text)
            .remedy("derive it again from its trials"),
    )
}

/// What can't be told of a table that was published without its plots' yields.
pub(super) fn warn_of_no_plots(table: &RateTable, file: &Path) -> Option<Finding> {
    if table.document().evidence.is_some() {
        return None;
    }
    let text = "it carries no plot yields: its rates are compared, but neither what moved them nor whether observations were \
                corrected can be told";
    Some(
        Finding::warning("no-plot-yields", Place::file(file.display().to_string()), text)
            .remedy("take a table that carries them, or derive it again from its trials: stook table FOLDER"),
    )
}

/// Where a picture goes, and its ending, which is one of those given.
///
/// # Errors
/// A usage error for another ending, or for one of the inputs.
pub(super) fn picture<'f>(
    file: &'f Path,
    endings: &[&'static str],
    inputs: &[&Path],
) -> Result<(&'f Path, &'static str), Failure> {
    if inputs.iter().any(|input| is_same_file(file, input)) {
        return Err(Failure::usage(format!("{} is one of the files read: name another", file.display())));
    }
    let typed = file.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let known = endings.iter().find(|ending| **ending == typed);
    known.map(|ending| (file, *ending)).ok_or_else(|| {
        let (last, others) = endings.split_last().map_or(("", Vec::new()), |(last, others)| (*last, others.to_vec()));
        let others: Vec<String> = others.iter().map(|ending| format!(".{ending}")).collect();
        Failure::usage(format!("{}: a picture's file ends in {} or .{last}", file.display(), others.join(", ")))
    })
}
