use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use super::*;

fn package() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder, as paths inside it.
fn files_below(folder: &Path) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut folders: Vec<PathBuf> = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).expect("a readable folder") {
            let path = entry.expect("a readable entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let inside = path.strip_prefix(folder).expect("a path below the folder");
                let parts: Vec<_> = inside.iter().map(|part| part.to_string_lossy()).collect();
                found.insert(parts.join("/"));
            }
        }
    }
    found
}

/// With STOOK_REWRITE=1 in the environment this writes the programme and its truth instead; look at the difference.
#[test]
fn the_committed_demo_programme_is_what_simulate_writes_from_its_seed() {
    let (trials, truth) = (package().join("trials"), package().join("tests/demo/truth.json"));
    let written = demo(DEMO_SEED);
    if std::env::var_os("STOOK_REWRITE").is_some_and(|value| value == "1") {
        for file in &written.files {
            let path = trials.join(&file.path);
            fs::create_dir_all(path.parent().expect("a folder")).expect("a writable folder");
            fs::write(path, &file.text).expect("a writable file");
        }
        fs::create_dir_all(truth.parent().expect("a folder")).expect("a writable folder");
        fs::write(&truth, &written.truth).expect("a writable file");
    }
    let expected: BTreeSet<String> = written.files.iter().map(|file| file.path.clone()).collect();
    assert_eq!(files_below(&trials), expected);
    for file in &written.files {
        let committed = fs::read_to_string(trials.join(&file.path)).expect("a committed file");
        assert!(committed == file.text, "{} differs", file.path);
    }
    let committed = fs::read_to_string(truth).expect("the committed truth");
    assert!(committed == written.truth, "the truth differs");
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_gives_others() {
    assert_eq!(demo(7), demo(7));
    let (one, other) = (demo(7), demo(8));
    let plots = "upper-terrace-2023/plots.csv";
    assert_ne!(text_of(&one, plots), text_of(&other, plots));
}

#[test]
fn a_site_year_added_at_the_end_changes_none_before_it() {
    let site_years = demo_site_years();
    let (all, first) = (programme(7, &site_years), programme(7, &site_years[..3]));
    for file in first.files.iter().skip(1) {
        assert_eq!(file.text, text_of(&all, &file.path), "{}", file.path);
    }
}

#[test]
fn more_leaves_change_no_yield() {
    let mut site_years = demo_site_years();
    let before = programme(7, &site_years);
    for site_year in &mut site_years {
        site_year.sensing.leaves = 10;
    }
    let after = programme(7, &site_years);
    for file in before.files.iter().filter(|file| file.path.ends_with("plots.csv")) {
        assert_eq!(file.text, text_of(&after, &file.path), "{}", file.path);
    }
}

#[test]
fn the_truth_is_not_among_the_files_of_the_programme() {
    let simulated = demo(DEMO_SEED);
    assert!(simulated.files.iter().all(|file| !file.path.contains("truth")));
    assert!(!files_below(&package().join("trials")).contains("truth.json"));
}

#[test]
fn every_row_of_a_table_has_as_many_fields_as_its_header() {
    for file in demo(DEMO_SEED).files {
        if file.path.ends_with(".csv") {
            let mut lines = file.text.lines().map(|line| line.split(',').count());
            let header = lines.next();
            assert!(lines.all(|fields| Some(fields) == header), "{}", file.path);
        }
    }
}

#[test]
fn every_descriptor_is_toml_and_the_truth_is_json() {
    let simulated = demo(DEMO_SEED);
    for file in simulated.files.iter().filter(|file| file.path.ends_with(".toml")) {
        let parsed: Result<toml::Table, _> = file.text.parse();
        assert!(parsed.is_ok(), "{}: {parsed:?}", file.path);
    }
    let truth: serde_json::Value = serde_json::from_str(&simulated.truth).expect("JSON");
    let site_years = truth["site_years"].as_array().map(Vec::len);
    assert_eq!(site_years, Some(demo_site_years().len()));
}

/// Decimals typed: yields of 40 to 100 bu/ac to 0.1, so half a unit of the last decimal, and a little for the binary.
const TYPED_YIELD: f64 = 0.05 + 1e-9;

#[test]
fn without_chance_a_plot_yields_exactly_what_the_truth_says() {
    let site_year = SiteYear {
        scatter: Scatter::none(),
        typed_rate: TypedRate::NitrogenPounds,
        rates: Rates::DifferenceFromOptimum { rates: vec![0.0, 90.0] },
        harvest: Harvest::Bushels { moisture_percent: 13.5 },
        mishaps: Vec::new(),
        ..demo_site_years().swap_remove(0)
    };
    let simulated = programme(7, std::slice::from_ref(&site_year));
    let table = text_of(&simulated, "upper-terrace-2023/plots.csv");
    let rows: Vec<Vec<&str>> = table.lines().skip(1).map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 8);
    for row in rows {
        let rate: f64 = row[2].parse().expect("a rate");
        let typed: f64 = row[5].parse().expect("a yield");
        let growth = &site_year.growth;
        let supply = growth.soil_supply + growth.early_efficiency * rate;
        let true_yield = growth.grain_yield(&site_year.varieties[0], supply, 1.0);
        assert!((typed - true_yield).abs() <= TYPED_YIELD, "{typed} at {rate}");
    }
}

#[test]
fn a_site_year_without_blocks_or_varieties_gives_a_trial_without_plots() {
    for nothing in [
        SiteYear { blocks: 0, ..demo_site_years().swap_remove(3) },
        SiteYear { varieties: Vec::new(), ..demo_site_years().swap_remove(3) },
    ] {
        let simulated = programme(7, &[nothing]);
        assert_eq!(text_of(&simulated, "osier-bend-2023/plots.csv").lines().count(), 1);
        assert_eq!(text_of(&simulated, "osier-bend-2023/readings.csv").lines().count(), 1);
    }
}

#[test]
fn a_thin_stand_lowers_the_canopy_and_not_the_leaf() {
    let growth = &demo_site_years()[7].growth;
    let variety = &demo_site_years()[7].varieties[0];
    let seen = |stand| {
        let status = growth.status(60.0, 0.0, stand, growth::Progress::AT_SENSING);
        (variety.canopy_ndvi(status, stand, 1.0, growth::Progress::AT_SENSING), variety.leaf_reading(status))
    };
    let (full, thin) = (seen(1.0), seen(0.5));
    assert!(thin.0 < 0.9 * full.0, "canopy {} against {}", thin.0, full.0);
    assert!(thin.1 >= full.1, "leaf {} against {}", thin.1, full.1);
}

#[test]
fn names_with_quotes_are_written_so_that_they_can_be_read_again() {
    let mut site_year = demo_site_years().swap_remove(1);
    site_year.varieties[0].name = "Heron, \"pale\"".to_string();
    site_year.site = "The \"Bend\"".to_string();
    let folder = site_year.folder();
    let simulated = programme(7, &[site_year]);
    assert!(text_of(&simulated, &format!("{folder}/trial.toml")).contains(r#"site = "The \"Bend\"""#));
    assert!(text_of(&simulated, &format!("{folder}/plots.csv")).contains(r#","Heron, ""pale""","#));
}

fn text_of<'a>(simulated: &'a Simulated, path: &str) -> &'a str {
    let file = simulated.files.iter().find(|file| file.path == path);
    &file.expect("a file of that path").text
}
