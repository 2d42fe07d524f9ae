//! Files as people keep them, each read through a descriptor beside `tests/messy`, or refused with one clear error.
//!
//! The files are of the shared data: published trials of Rothamsted Research (Broadbalk yields, 10.23637/rbk1-yldS10115-01 and those of
//! Fisher 1921), of the agridat collection, and of a maize trial at five sites (Dryad, 2022). Expected values were counted and summed
//! in Python, from the CSV and from the workbooks' own XML.

use std::fs;
use std::path::Path;

use approx::assert_relative_eq;
use stook::files::{Format, Layout, load_trial, sheets};
use stook::finding::Finding;
use stook::trial::{Harvest, Plot, Trial};
use stook::units::{NRateUnit, YieldUnit};
use tempfile::TempDir;

use crate::data::shared;

/// Sums of some thousand doubles, added in another order.
const ADDED: f64 = 1e-12;

/// The descriptor of that name with its data file in a trial folder; `None` where the shared data are not here.
fn folder(descriptor: &str, data: &str, change: impl FnOnce(String) -> String) -> Option<TempDir> {
    let source = shared(&format!("messy/{data}"))?;
    let messy = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/messy");
    let folder = tempfile::tempdir().unwrap();
    let trial = folder.path().join("trial");
    fs::create_dir(&trial).unwrap();
    fs::copy(messy.join("programme.toml"), folder.path().join("programme.toml")).unwrap();
    let text = fs::read_to_string(messy.join(format!("{descriptor}.trial.toml"))).unwrap();
    fs::write(trial.join("trial.toml"), change(text)).unwrap();
    fs::copy(source, trial.join(data)).unwrap();
    Some(folder)
}

fn read(descriptor: &str, data: &str) -> Option<Trial> {
    let folder = folder(descriptor, data, |text| text)?;
    let loaded = load_trial(&folder.path().join("trial")).unwrap_or_else(|findings| panic!("{findings:#?}"));
    loaded.value.trials.into_iter().next()
}

/// What a reader is told, line by line.
fn refused(descriptor: &str, data: &str, change: impl FnOnce(String) -> String) -> Option<String> {
    let folder = folder(descriptor, data, change)?;
    let findings = load_trial(&folder.path().join("trial")).expect_err("a fault");
    let line = |finding: &Finding| format!("{finding}\n  → {}\n", finding.remedy.as_deref().unwrap_or_default());
    Some(findings.iter().map(line).collect())
}

/// The yield of a plot in the unit that its file has it in.
fn typed(plot: &Plot, unit: YieldUnit) -> Option<f64> {
    match plot.harvest? {
        Harvest::Yield { quantity, .. } => quantity.in_unit(unit, Some(60.0)).ok(),
        Harvest::Weight { .. } => None,
    }
}

const MG_HA: YieldUnit = YieldUnit::MegagramsPerHectare;
const BU_AC: YieldUnit = YieldUnit::BushelsPerAcre;

fn plot<'t>(trial: &'t Trial, id: &str) -> &'t Plot {
    trial.plots.iter().find(|plot| plot.id == id).unwrap()
}

#[test]
fn a_byte_order_mark_is_no_part_of_the_first_header() {
    let Some(trial) = read("agridat_little.rcbrepeated_BOM", "agridat_little.rcbrepeated_BOM.csv") else { return };
    assert_eq!(trial.plots.len(), 80);
    assert_eq!(typed(plot(&trial, "H2-B2-V1"), MG_HA), Some(1.91));
    assert_eq!(plot(&trial, "H2-B2-V1").row, 23);
}

#[test]
fn a_sheet_whose_headers_are_years_is_read_to_the_last_bit() {
    let Some(trial) = read("agridat_payne.wheat", "agridat_payne.wheat.xlsx") else { return };
    assert_eq!(trial.plots.len(), 24);
    // Stored as 3.84 and as 7.49.
    assert_eq!((typed(plot(&trial, "AB-0"), MG_HA), typed(plot(&trial, "AB-140"), MG_HA)), (Some(3.84), Some(7.49)));
    assert_eq!(plot(&trial, "AB-140").rates[0].in_unit(NRateUnit::KilogramsPerHectare), 140.0);
}

#[test]
fn a_workbook_of_several_sheets_asks_which() {
    let without = |text: String| text.replace("sheet = \"Sheet1\"\n", "");
    let Some(told) = refused("agridat_payne.wheat", "agridat_payne.wheat.xlsx", without) else { return };
    insta::assert_snapshot!(told);
}

#[test]
fn a_label_merged_over_its_rows_is_refused_where_it_is_missing() {
    let Some(told) = refused("agridat_payne.wheat_raw", "agridat_payne.wheat.xlsx", |text| text) else { return };
    insta::assert_snapshot!(told);
}

#[test]
fn a_file_without_headers_is_read_by_the_numbers_of_its_columns() {
    let name = "agridat_rothamsted.oats_noheader_tab";
    let Some(trial) = read(name, &format!("{name}.txt")) else { return };
    assert_eq!(trial.plots.len(), 96);
    assert_eq!(
        (trial.plots[0].id.as_str(), typed(&trial.plots[0], YieldUnit::PoundsPerAcre), trial.plots[0].row),
        ("x-oa", Some(61.375), 1)
    );
}

#[test]
fn rows_of_borders_have_no_yield_and_are_plots_all_the_same() {
    let name = "dryad_hips2022_allplots_NA_border";
    let Some(trial) = read(name, &format!("{name}.csv")) else { return };
    let yields: Vec<f64> = trial.plots.iter().filter_map(|plot| typed(plot, BU_AC)).collect();
    assert_eq!((trial.plots.len(), yields.len()), (2291, 2131));
    assert_relative_eq!(yields.iter().sum::<f64>(), 259_773.77, max_relative = ADDED);
    assert_eq!(trial.plots.iter().filter(|plot| plot.rates[0].in_unit(NRateUnit::PoundsPerAcre) == 75.0).count(), 663);
}

#[test]
fn one_sheet_of_nine_is_read_with_a_star_for_what_was_not_weighed() {
    let name = "rothamsted_BKS1YLD2001-15_multisheet";
    let Some(trial) = read(name, &format!("{name}.xlsx")) else { return };
    assert_eq!(trial.plots.len(), 285);
    assert_eq!(trial.plots.iter().filter_map(|plot| typed(plot, MG_HA)).count(), 284);
    assert_eq!(typed(plot(&trial, "2001-2.1"), MG_HA), Some(3.63));
    assert_eq!(
        (plot(&trial, "2011-8").row, plot(&trial, "2011-8").rates[0].in_unit(NRateUnit::KilogramsPerHectare)),
        (102, 144.0)
    );
}

#[test]
fn titles_above_notes_below_and_an_old_encoding_are_declared() {
    let name = "rothamsted_fisher1921_title_rows";
    let Some(trial) = read(name, &format!("{name}.csv")) else { return };
    assert_eq!(trial.plots.len(), 67, "1852 to 1918");
    assert_eq!((typed(plot(&trial, "1854"), BU_AC), plot(&trial, "1854").row), (Some(34.13), 8));
    assert_eq!(trial.plots.last().map(|plot| plot.id.as_str()), Some("1918"));
}

#[test]
fn what_is_not_declared_of_it_is_told_one_thing_at_a_time() {
    let name = "rothamsted_fisher1921_title_rows";
    let data = format!("{name}.csv");
    let told = ["encoding = \"latin-1\"\n", "header_row = 4\nheader_rows = 2\n"]
        .map(|declared| refused(name, &data, |text| text.replace(declared, "")));
    let [Some(encoding), Some(header)] = told else { return };
    insta::assert_snapshot!(format!("{encoding}\n{header}"));
}

#[test]
fn the_mark_of_an_open_workbook_is_not_taken_for_one() {
    let name = "agridat_excel_lockfile_not_a_workbook";
    let Some(told) = refused(name, &format!("{name}.xlsx"), |text| text) else { return };
    insta::assert_snapshot!(told);
}

#[test]
fn every_file_opens_as_it_stands_or_says_why_not() {
    let Some(folder) = shared("messy") else { return };
    let mut told = Vec::new();
    let mut paths: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    for path in paths {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        match sheets(&path, &Layout::default()) {
            Ok((sheets, _)) => told.extend(sheets.iter().map(|sheet| {
                let format = match &sheet.format {
                    Format::Text { separator, encoding } => format!("{} in {encoding}", separator.name()),
                    other => format!("{other:?}"),
                };
                format!("{name} {:?}: {format}, {} rows", sheet.name, sheet.rows.len())
            })),
            Err(findings) => told.extend(findings.iter().map(|finding| {
                format!("{name}: {}\n  → {}", finding.text, finding.remedy.as_deref().unwrap_or_default())
            })),
        }
    }
    insta::assert_snapshot!(told.join("\n"));
}
