//! Rooms use only the floors below their own: the table in DEVELOPERS.md, held against every path in `src/`.

mod rooms;
mod ways;

use std::fs;
use std::path::{Path, PathBuf};

use rooms::Rooms;
use ways::ways_of;

const DEVELOPERS: &str = include_str!("../../DEVELOPERS.md");

fn rooms() -> Rooms {
    Rooms::from_table(DEVELOPERS).expect("DEVELOPERS.md has the table of floors")
}

fn source_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("src can be read") {
        let path = entry.expect("src can be read").path();
        if path.is_dir() {
            source_files(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Every rule that the text of one file breaks; `module` is its path below `src`, as in `response/join.rs`.
fn violations(rooms: &Rooms, module: &str, text: &str) -> Vec<String> {
    let file = syn::parse_file(text).unwrap_or_else(|error| panic!("{module}: {error}"));
    let ways = ways_of(module, &file);
    let broken = ways.iter().filter_map(|way| rooms.broken_by(module, way));
    broken.map(|rule| format!("{module}: {rule}")).collect()
}

#[test]
fn no_room_uses_its_own_floor_or_one_above() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    source_files(&source, &mut files);
    assert!(files.len() > 20, "src was found");
    let rooms = rooms();
    let mut broken = Vec::new();
    for path in files {
        let module = path.strip_prefix(&source).expect("below src").to_string_lossy().replace('\\', "/");
        let text = fs::read_to_string(&path).expect("source is text");
        broken.extend(violations(&rooms, &module, &text));
    }
    assert!(broken.is_empty(), "ways up or sideways:\n{}", broken.join("\n"));
}

#[test]
fn every_room_of_the_source_stands_in_the_table() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let rooms = rooms();
    for entry in fs::read_dir(source).expect("src can be read") {
        let path = entry.expect("src can be read").path();
        let room = path.file_stem().expect("named").to_string_lossy().into_owned();
        assert!(
            room == "lib" || room == "main" || rooms.floor(&room).is_some(),
            "{room} has no floor in DEVELOPERS.md"
        );
    }
}

#[test]
fn a_way_up_is_found_however_it_is_written() {
    let rooms = rooms();
    for (module, text) in [
        ("response/join.rs", "use crate::season::Season;"),
        ("response/join.rs", "use crate::{stats::interval, economics::{Optimum}};"),
        ("response/join.rs", "use super::super::economics;"),
        ("response/mod.rs", "use super::economics::Optimum;"),
        ("response/join.rs", "fn f() { crate::calibration::calibrate(); }"),
        ("response/join.rs", "fn f() { assert!(crate::files::x() == 1); }"),
        ("response/join.rs", "fn f(x: &crate::trial::Trial) {}"),
        ("harvest.rs", "use crate::sensing::index;"),
        ("units.rs", "mod tests { use super::super::crop::Crop; }"),
        ("output/text.rs", "use plotters::prelude::*;"),
        ("season.rs", "fn f() { polars::prelude::df!(); }"),
        ("calibration/mod.rs", "use argmin::core::Executor;"),
        ("season.rs", "#[derive(clap::Parser)] struct X;"),
    ] {
        assert!(!violations(&rooms, module, text).is_empty(), "{module} {text}");
    }
}

#[test]
fn a_way_down_or_inside_a_room_is_allowed() {
    let rooms = rooms();
    for (module, text) in [
        (
            "response/join.rs",
            "use crate::stats::interval::Interval; use super::curve::Curve; use crate::response::Fit;",
        ),
        ("season.rs", "use crate::{recommend::derive_table, trial::Trial}; mod tests { use super::*; }"),
        ("files/csv.rs", "use polars::prelude::*;"),
        ("stats/censored.rs", "use argmin::core::Executor;"),
        ("cli/mod.rs", "use clap::Parser; use crate::season::Season;"),
    ] {
        assert_eq!(violations(&rooms, module, text), Vec::<String>::new(), "{module} {text}");
    }
}
