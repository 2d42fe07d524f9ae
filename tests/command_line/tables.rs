//! Rate tables as files: derived, repriced, compared, drawn, and refused.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use serde_json::{Value, json};
use stook::output::{ComparisonOf, Envelope};
use stook::rate_table::{Document, RateTable, UsableReadings};
use stook::trial::Instrument;

use crate::contract::{holds, interval, level, number_or_null, object, or_null, text_or_null};
use crate::run::{Run, edit, programme_copy, stook_in};

const NOT_ANSWERED: i32 = 1;
const USAGE_OR_INPUT: i32 = 2;

/// A folder with the demo's leaf table at its own prices (`base.json`), at a price ratio of 0.2 (`dear.json`), and at its own prices without
/// the yields of plots (`private.json`), derived from its trials.
pub fn shared() -> &'static Path {
    static SHARED: OnceLock<PathBuf> = OnceLock::new();
    SHARED.get_or_init(|| {
        let place = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("tables");
        let _ = std::fs::remove_dir_all(&place);
        std::fs::create_dir_all(&place).unwrap();
        // One relation, so that none has to be chosen: that takes most of the time.
        let programme = programme_copy();
        edit(
            &programme.path().join("trials/programme.toml"),
            "name = \"leaf-jointing\"",
            "name = \"leaf-jointing\"\nrelation = \"linear-with-floor\"",
        );
        let programme = programme.path().join("trials");
        let derive = |file: &str, further: &[&str]| {
            let arguments =
                ["table", programme.to_str().unwrap(), "--name", "leaf-jointing", "--format", "json", "--out", file];
            let run = stook_in(&place, arguments.iter().chain(further));
            assert_eq!(run.status, 0, "{}", run.stderr);
        };
        derive("base.json", &[]);
        derive("dear.json", &["--price-ratio", "0.2"]);
        edit(
            &programme.join("programme.toml"),
            "name = \"leaf-jointing\"",
            "name = \"leaf-jointing\"\nshare_plots = false",
        );
        derive("private.json", &["--card", "private.svg"]);
        place
    })
}

fn table_at(arguments: &[&str]) -> Run {
    stook_in(shared(), arguments)
}

fn read(file: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(shared().join(file)).unwrap()).unwrap()
}

/// The base table with something else in it, under a digest of its own.
pub fn changed(file: &str, change: impl FnOnce(&mut Document)) {
    let text = std::fs::read_to_string(shared().join("base.json")).unwrap();
    let mut document = RateTable::read(&text).unwrap().document().clone();
    change(&mut document);
    std::fs::write(shared().join(file), RateTable::new(document).unwrap().write()).unwrap();
}

#[test]
fn a_table_repriced_without_its_trials_has_the_rows_of_one_derived_from_them() {
    let run = table_at(&["table", "--reprice", "base.json", "--price-ratio", "0.2", "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let (repriced, full, base) = (run.json(), read("dear.json"), read("base.json"));
    assert_eq!(repriced["rows"], full["rows"]);
    assert_ne!(repriced["rows"], base["rows"]);
    for same in ["prices", "domain", "relations", "site_years", "options", "evidence"] {
        assert_eq!(repriced[same], full[same], "{same}");
    }
    // It says what it is: the original's file among its inputs, and its digest.
    let inputs = repriced["inputs"].as_array().unwrap();
    assert_eq!(inputs.len(), base["inputs"].as_array().unwrap().len() + 1);
    assert_eq!(inputs.last().unwrap()["file"], "base.json");
    let warnings = repriced["warnings"].to_string();
    assert!(warnings.contains("repriced") && warnings.contains(base["digest"].as_str().unwrap()), "{warnings}");
    // And back again: repricing forgets nothing.
    std::fs::write(shared().join("repriced.json"), &run.stdout).unwrap();
    let ratio = base["prices"][0]["price_ratio"].to_string();
    let back = table_at(&["table", "--reprice", "repriced.json", "--price-ratio", &ratio, "--format", "json"]);
    assert_eq!(back.json()["rows"], base["rows"]);
}

#[test]
fn a_repriced_table_says_in_words_what_changed() {
    let run = table_at(&["table", "--reprice", "base.json", "--grain-price", "4", "--n-price", "0.8"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    for words in ["Repriced: 0.1014 bu per lb N → 0.2 bu per lb N", "before", "now", "4 USD per bu", "0.8 USD per lb N"]
    {
        assert!(run.stdout.contains(words), "{words}: {}", run.stdout);
    }
    let csv = table_at(&["table", "--reprice", "base.json", "--price-ratio", "0.2", "--format", "csv"]);
    assert!(csv.stdout.contains("# price ratios: 0.2 (base)") && csv.stdout.contains("repriced"), "{}", csv.stdout);
}

#[test]
fn repricing_without_prices_or_of_what_cannot_be_repriced_is_refused() {
    let old = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/documents/leaf-jointing.version-1.json");
    changed("bare.json", |document| document.evidence = None);
    let old = old.to_str().unwrap();
    let cases: [(&[&str], &str); 8] = [
        (&["--reprice", "base.json"], "--price-ratio, or --grain-price with --n-price"),
        (&["--reprice", "base.json", "--price-ratio", "-0.1"], "at least 0"),
        (&["--reprice", "base.json", "--grain-price", "5"], "--n-price"),
        (&["--reprice", "base.json", "trials", "--price-ratio", "0.1"], "cannot be used with"),
        (&["--reprice", "none.json", "--price-ratio", "0.1"], "there is no such file"),
        (&["--reprice", old, "--price-ratio", "0.1"], "published without them"),
        (&["--reprice", "bare.json", "--price-ratio", "0.1"], "published without them"),
        (&["--reprice", "private.json", "--price-ratio", "0.1"], "stook table FOLDER"),
    ];
    for (further, words) in cases {
        let run = table_at(&[&["table"], further].concat());
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{further:?}");
        let said = run.stderr.split_whitespace().filter(|word| *word != "│").collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{further:?}: {said}");
    }
    assert_eq!(table_at(&["table"]).status, USAGE_OR_INPUT);
}

#[test]
fn a_table_without_the_yields_of_plots_is_the_same_in_everything_else() {
    let (private, base) = (read("private.json"), read("base.json"));
    let differs = |field: &&String| private[field.as_str()] != base[field.as_str()];
    let differing: Vec<&String> = base.as_object().unwrap().keys().filter(differs).collect();
    // The programme's descriptor is among the inputs.
    assert_eq!(differing, ["digest", "inputs", "evidence"]);
    assert!(private["evidence"].is_null() && !base["evidence"].is_null());
    holds(&serde_json::from_str(&RateTable::json_schema()).unwrap(), &private);
    let text = std::fs::read_to_string(shared().join("private.json")).unwrap();
    let table = RateTable::read(&text).unwrap();
    assert_eq!(table.write(), text);
    assert!(std::fs::read_to_string(shared().join("private.svg")).unwrap().starts_with("<svg"));
    let without_digests = |csv: String| -> Vec<String> {
        csv.lines().filter(|line| !line.contains("digest") && !line.contains("SHA-256")).map(str::to_owned).collect()
    };
    let original = RateTable::read(&std::fs::read_to_string(shared().join("base.json")).unwrap()).unwrap();
    assert_eq!(without_digests(table.to_csv()), without_digests(original.to_csv()));
    let ask = |file: &str| {
        let run = table_at(&["lookup", "--table", file, "--reading", "51", "--reference", "55", "--format", "json"]);
        assert_eq!(run.status, 0, "{}", run.stderr);
        let json = run.json();
        (json["rate"].clone(), json["interval"].clone())
    };
    assert_eq!(ask("private.json"), ask("base.json"));
}

#[test]
fn a_table_without_the_yields_of_plots_is_compared_cell_by_cell_and_its_moves_are_not_split() {
    for (old, new, whose) in [("private.json", "dear.json", "old"), ("base.json", "private.json", "new")] {
        let run = table_at(&["compare", old, new, "--format", "json"]);
        assert_eq!(run.status, 0, "{}", run.stderr);
        let json = run.json();
        let reason = format!("the {whose} table carries no plot yields to derive it from again");
        assert_eq!((&json["not_explained"], &json["no_differences"]), (&json!([reason]), &json!(reason)));
        assert!(json["changed"]["site_years_corrected"].is_null());
        let warning = &json["warnings"][0];
        assert_eq!((&warning["code"], json["warnings"].as_array().unwrap().len()), (&json!("no-plot-yields"), 1));
        assert!(warning["text"].as_str().unwrap().contains("private.json"), "{warning}");
        let published = |file: &str| read(file)["rows"].as_array().unwrap().clone();
        let (before, after) = (published(old), published(new));
        let base = json["cells"].as_array().unwrap().iter().filter(|cell| cell["base"] == true);
        for ((cell, before), after) in base.zip(before).zip(after) {
            assert_eq!(cell["old_rate"], before["rates"][0]["rate"]);
            assert_eq!(cell["new_rate"], after["rates"][0]["rate"]);
            assert!(cell["moved"].is_number() && cell["from_prices"].is_null() && cell["difference"].is_null());
        }
    }
    let text = table_at(&["compare", "private.json", "private.json"]).stdout;
    let said = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in ["the old table carries no plot yields", "the new table carries no plot yields", "stook table FOLDER"]
    {
        assert!(said.contains(words), "{words}: {text}");
    }
}

#[test]
fn a_card_is_drawn_as_pdf_or_svg_and_nowhere_else() {
    for (file, begins) in [("card.pdf", "%PDF"), ("card.svg", "<svg")] {
        let run = table_at(&["table", "--reprice", "base.json", "--price-ratio", "0.15", "--card", file]);
        assert_eq!(run.status, 0, "{}", run.stderr);
        assert!(std::fs::read(shared().join(file)).unwrap().starts_with(begins.as_bytes()), "{file}");
    }
    for (file, words) in [("card.png", ".pdf or .svg"), ("base.json", "one of the files read")] {
        let run = table_at(&["table", "--reprice", "base.json", "--price-ratio", "0.15", "--card", file]);
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{file}");
        assert!(run.stderr.contains(words), "{}", run.stderr);
    }
}

#[test]
fn a_table_compared_with_itself_has_not_moved() {
    let run = table_at(&["compare", "base.json", "base.json", "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let json = run.json();
    let cells = json["cells"].as_array().unwrap();
    assert!(cells.len() >= 18, "six rows at three price ratios");
    for cell in cells.iter().filter(|cell| cell["moved"].is_number()) {
        for part in ["moved", "from_prices", "from_site_years", "from_settings", "from_program", "together"] {
            assert_eq!(cell[part].as_f64(), Some(0.0), "{part}: {cell}");
        }
        assert_eq!(cell["verdict"], "unmoved");
    }
    assert_eq!((&json["changed"]["settings"], &json["not_explained"]), (&json!([]), &json!([])));
}

#[test]
fn what_only_prices_moved_comes_from_prices_alone() {
    let run = table_at(&["compare", "base.json", "dear.json", "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let json = run.json();
    let base: Vec<&Value> = json["cells"].as_array().unwrap().iter().filter(|cell| cell["base"] == true).collect();
    assert!(base.iter().any(|cell| cell["moved"].as_f64().unwrap_or(0.0) < 0.0), "dearer N lowers a rate");
    for cell in base {
        assert_eq!(cell["from_prices"], cell["moved"]);
        for part in ["from_site_years", "from_settings", "from_program", "together"] {
            assert_eq!(cell[part].as_f64().unwrap_or(0.0), 0.0, "{part}");
        }
    }
    assert_eq!(json["changed"]["site_years_corrected"], json!([]));
    let csv = table_at(&["compare", "base.json", "dear.json", "--format", "csv"]);
    assert_eq!(csv.stdout.lines().count(), 1 + json["cells"].as_array().unwrap().len());
    let text = table_at(&["compare", "base.json", "dear.json", "--figure", "moved.svg"]);
    for words in [
        "What changed",
        "price ratio: 0.1014 bu per lb N → 0.2 bu per lb N",
        "From prices, site-years, settings",
        "mean",
    ] {
        assert!(text.stdout.contains(words), "{words}: {}", text.stdout);
    }
    assert!(std::fs::read_to_string(shared().join("moved.svg")).unwrap().contains("Sufficiency index"));
}

#[test]
fn a_comparison_is_as_the_contract_says() {
    let setting = object(json!({"name": {"type": "string"}, "old": {"type": "string"}, "new": {"type": "string"}}));
    let names = json!({"type": "array", "items": {"type": "string"}});
    let table = object(json!({
        "table": {"type": "string"}, "title": {"type": "string"}, "digest": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
        "site_years": {"type": "integer"}, "verdict": text_or_null(),
    }));
    let cell = object(json!({
        "price_ratio_old": {"type": "number"}, "price_ratio_new": {"type": "number"}, "base": {"type": "boolean"},
        "index_from": {"type": "integer"}, "index_below": {"type": "integer"},
        "old_rate": number_or_null(), "new_rate": number_or_null(), "moved": number_or_null(),
        "from_prices": number_or_null(), "from_site_years": number_or_null(), "from_settings": number_or_null(),
        "from_program": number_or_null(), "together": number_or_null(),
        "old_interval": or_null(interval()), "new_interval": or_null(interval()),
        "difference": or_null(interval()),
        "verdict": {"enum": ["one-table-only", "unmoved", "within-uncertainty", "beyond-uncertainty", "inside-old-interval",
            "outside-old-interval", "cannot-tell"]},
    }));
    let schema = object(json!({
        "schema": {"const": "stook/compare/1"},
        "inputs": {"type": "array", "minItems": 2, "maxItems": 2},
        "old": table, "new": table, "rate_unit": {"const": "lb/ac"}, "price_ratio_unit": {"type": "string"},
        "changed": object(json!({
            "site_years_added": names, "site_years_left": names, "site_years_corrected": or_null(names.clone()),
            "site_years_kept": {"type": "integer"}, "settings": {"type": "array", "items": setting},
        })),
        "price_ratios_of_old_alone": {"type": "array"}, "price_ratios_of_new_alone": {"type": "array"},
        "cells": {"type": "array", "items": cell, "minItems": 1},
        "not_explained": names,
        "differences_over_site_years": {"type": ["integer", "null"]}, "no_differences": text_or_null(),
    }));
    let json = table_at(&["compare", "base.json", "dear.json", "--format", "json"]).json();
    holds(&schema, &json);
    holds(&serde_json::to_value(schemars::schema_for!(Envelope<'static, ComparisonOf>)).unwrap(), &json);
    let difference = json["cells"].as_array().unwrap().iter().find_map(|cell| cell["difference"].as_object());
    holds(&level(), &difference.expect("nine site-years give intervals of differences")["level"]);
}

#[test]
fn a_table_of_version_1_is_compared_without_causes_and_looked_up_with_a_warning() {
    let old = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/documents/leaf-jointing.version-1.json");
    let old = old.to_str().unwrap();
    let run = table_at(&["compare", old, "base.json", "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let json = run.json();
    assert!(json["cells"].as_array().unwrap().iter().all(|cell| cell["from_prices"].is_null()));
    assert!(json["not_explained"].to_string().contains("old table"), "{}", json["not_explained"]);
    assert!(json["warnings"].to_string().contains("older-table"));
    assert!(json["no_differences"].is_string());
    let text = table_at(&["compare", old, "base.json"]).stdout;
    assert!(text.contains("rough guide only"), "{text}");
    let run = table_at(&["lookup", "--table", old, "--reading", "51", "--reference", "55"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("N rate 25 lb/ac") && said.contains("it is stook/table/1"), "{said}");
}

#[test]
fn tables_for_other_uses_are_not_compared() {
    changed("canopy.json", |document| {
        document.instrument = Instrument::CanopyNdvi;
        document.usable = UsableReadings::of(Instrument::CanopyNdvi);
    });
    changed("barley.json", |document| document.crop = "barley".to_owned());
    changed("metric.json", |document| document.rate_unit = "kg/ha".to_owned());
    let cases: [(&[&str], &str); 6] = [
        (&["base.json", "canopy.json"], "instrument leaf-chlorophyll, the new one for canopy-ndvi"),
        (&["base.json", "barley.json"], "barley"),
        (&["base.json", "metric.json"], "kg/ha"),
        (&["base.json", "none.json"], "there is no such file"),
        (&["base.json", "dear.json", "--figure", "moved.gif"], "ends in .svg, .pdf or .png"),
        (&["base.json", "dear.json", "--out", "base.json"], "one of the files read"),
    ];
    for (further, words) in cases {
        let run = table_at(&[&["compare"], further].concat());
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{further:?}");
        let said = run.stderr.split_whitespace().filter(|word| *word != "│").collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{further:?}: {said}");
    }
}

#[test]
fn an_edited_cut_off_or_newer_table_is_refused() {
    let text = std::fs::read_to_string(shared().join("base.json")).unwrap();
    std::fs::write(
        shared().join("edited.json"),
        text.replacen("\"rate\": ", "\"rate\":  ", 1).replacen("\"highest\": 120.0", "\"highest\": 125.0", 1),
    )
    .unwrap();
    std::fs::write(shared().join("cut.json"), &text[..text.len() / 2]).unwrap();
    std::fs::write(shared().join("newer.json"), text.replacen("stook/table/2", "stook/table/3", 1)).unwrap();
    for (file, words) in
        [("edited.json", "edited after it was made"), ("cut.json", "cut off"), ("newer.json", "a newer one")]
    {
        let run = table_at(&["lookup", "--table", file, "--reading", "51", "--reference", "55"]);
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{file}");
        let said = run.stderr.split_whitespace().filter(|word| *word != "│").collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{file}: {said}");
    }
}

#[test]
fn a_reading_of_another_kind_has_no_rate_and_says_why() {
    for (further, words) in [
        (["--instrument", "canopy-ndvi"], "for leaf-chlorophyll readings, not canopy-ndvi"),
        (["--variety", "Grey Stint"], "not on Grey Stint"),
        (["--stage", "Feekes 8"], "Feekes 5 to Feekes 6, not Feekes 8"),
        (["--stage", "Zadoks 31"], "another scale"),
        (["--price-ratio", "0.33"], "no rates for a price ratio of 0.33"),
    ] {
        let arguments = ["lookup", "--table", "base.json", "--reading", "51", "--reference", "55"];
        let run = table_at(&[&arguments[..], &further].concat());
        assert_eq!(run.status, NOT_ANSWERED, "{}", run.stderr);
        let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words) && said.contains("adviser"), "{said}");
    }
    let run =
        table_at(&["lookup", "--table", "base.json", "--reading", "51", "--reference", "55", "--price-ratio", "-1"]);
    assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""));
}
