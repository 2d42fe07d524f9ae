//! The season's folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use calamine::{Data, Reader as _, Xlsx};

use crate::run::{command, finish, package, stook_in, trials};

fn season(place: &Path, threads: &str) -> crate::run::Run {
    let programme = trials();
    finish(command(place, ["season", programme.to_str().unwrap(), "--out", "season"]).env("RAYON_NUM_THREADS", threads))
}

/// One season that the tests which only read it share, in the build's own folder for such things.
fn shared() -> (&'static Path, &'static crate::run::Run) {
    static SHARED: OnceLock<(PathBuf, crate::run::Run)> = OnceLock::new();
    let (place, run) = SHARED.get_or_init(|| {
        let place = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("command_line");
        // An earlier build may have left a season of another form.
        let _ = std::fs::remove_dir_all(&place);
        std::fs::create_dir_all(&place).unwrap();
        let run = season(&place, "2");
        assert_eq!(run.status, 0, "{}", run.stderr);
        (place, run)
    });
    (place, run)
}

fn content(folder: &Path, prefix: &str, found: &mut BTreeMap<String, Vec<u8>>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = format!("{prefix}{}", path.file_name().unwrap().to_str().unwrap());
        if path.is_dir() {
            content(&path, &format!("{name}/"), found);
        } else {
            found.insert(name, std::fs::read(&path).unwrap());
        }
    }
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    content(folder, "", &mut found);
    found
}

#[test]
fn a_season_twice_over_the_same_folder_gives_the_same_bytes() {
    let place = tempfile::tempdir().unwrap();
    let first = season(place.path(), "1");
    assert_eq!(first.status, 0, "{}", first.stderr);
    let before = files(&place.path().join("season"));
    let second = season(place.path(), "2");
    assert_eq!(second.status, 0, "{}", second.stderr);
    assert_eq!(first.stdout, second.stdout);
    let after = files(&place.path().join("season"));
    assert_eq!(before.keys().collect::<Vec<_>>(), after.keys().collect::<Vec<_>>());
    for (name, bytes) in &before {
        assert!(after.get(name) == Some(bytes), "{name} differs");
    }
    assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 1, "nothing is left beside the folder");
}

#[test]
fn the_folder_holds_what_the_season_found() {
    let (place, _) = shared();
    let found = files(&place.join("season"));
    let always = [
        "summary.txt",
        "findings.csv",
        "provenance.json",
        "data/yields.csv",
        "data/anova.csv",
        "data/curves.json",
        "data/optimum.json",
        "data/index.csv",
        "data/need.csv",
        "data/site_years.csv",
        "data/validation.json",
        "tables/leaf-jointing.json",
        "tables/leaf-jointing.csv",
        "tables/leaf-jointing.schema.json",
        "tables/leaf-jointing.vectors.csv",
        "report/report.html",
        "report/tables.xlsx",
        "report/tables/treatment-means.csv",
        "report/tables/rates-leaf-jointing.csv",
    ];
    for name in always {
        assert!(found.contains_key(name), "{name} in {:?}", found.keys());
    }
    assert_eq!(found.contains_key("report/report.pdf"), cfg!(feature = "pdf"));
    let provenance: serde_json::Value = serde_json::from_slice(&found["provenance.json"]).unwrap();
    let listed: Vec<&str> = provenance["files"].as_array().unwrap().iter().filter_map(|file| file.as_str()).collect();
    let others: Vec<&str> = found.keys().map(String::as_str).filter(|name| *name != "provenance.json").collect();
    let mut sorted = listed.clone();
    sorted.sort_unstable();
    assert_eq!(sorted, others);
    assert_eq!((&provenance["schema"], &provenance["seed"]), (&"stook/season/1".into(), &1.into()));
    assert!(provenance["inputs"].as_array().unwrap().iter().any(|input| input["file"] == "programme.toml"));
}

#[test]
fn the_captions_that_the_demo_shows_are_those_of_the_season() {
    let found = files(&shared().0.join("season"));
    let shown = files(&package().join("reports/demo"));
    let captions = || shown.iter().filter(|(name, _)| name.ends_with(".txt"));
    assert!(captions().count() > 10, "{:?}", shown.keys());
    for (name, caption) in captions() {
        let own = found.get(&format!("figures/{name}")).unwrap_or_else(|| panic!("no figure {name}"));
        assert_eq!(String::from_utf8_lossy(caption), String::from_utf8_lossy(own), "{name}");
    }
}

#[test]
fn the_summary_fits_one_screen() {
    let (place, run) = shared();
    let summary = String::from_utf8(files(&place.join("season"))["summary.txt"].clone()).unwrap();
    assert_eq!(run.stdout, summary);
    assert!(summary.lines().count() <= 40, "{}", summary.lines().count());
    for line in summary.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    for word in ["Table leaf-jointing", "site-years not seen", "Warnings:", "adviser"] {
        assert!(summary.contains(word), "{word}");
    }
}

#[test]
fn the_tables_of_a_season_answer_lookups_as_their_vectors_say() {
    let (place, _) = shared();
    let table = "season/tables/leaf-jointing.json";
    let look = |reading: &str, reference: &str| {
        let arguments =
            ["lookup", "--table", table, "--reading", reading, "--reference", reference, "--format", "json"];
        stook_in(place, arguments)
    };
    // 51 ÷ 55 = 0.92727…, whole thousandths 927.
    let run = look("51", "55");
    assert_eq!(run.status, 0, "{}", run.stderr);
    let json = run.json();
    assert_eq!((&json["index"], &json["status"]), (&0.927.into(), &"in-domain".into()));
    let document: serde_json::Value = serde_json::from_slice(&std::fs::read(place.join(table)).unwrap()).unwrap();
    let row = &document["rows"][json["row"].as_u64().unwrap() as usize];
    assert_eq!((&row["index_from"], &row["rates"][0]["rate"]), (&900.into(), &json["rate"]));
    assert_eq!(json["table_digest"], document["digest"]);
    // About half the N-rich reading: below every row.
    let run = look("28", "55");
    assert_eq!(run.status, 1);
    let json = run.json();
    assert_eq!((&json["rate"], &json["status"]), (&serde_json::Value::Null, &"below-domain".into()));
    for (reading, reference) in [("abc", "55"), ("51", "0"), ("-3", "55"), ("", "")] {
        let run = look(reading, reference);
        assert_eq!((run.status, &run.json()["status"]), (1, &"unusable".into()), "{reading} {reference}");
    }
}

#[test]
fn a_figure_that_cannot_be_drawn_is_left_out_with_a_warning() {
    let copy = crate::run::programme_copy();
    let long = "Pale Heron ".repeat(20);
    let file = copy.path().join("trials/upper-terrace-2024/plots.csv");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("Pale Heron", long.trim())).unwrap();
    let run = stook_in(copy.path(), ["season", "trials/upper-terrace-2024"]);
    assert!(run.status < 2, "{}", run.stderr);
    let found = files(&copy.path().join("season"));
    let findings = String::from_utf8(found["findings.csv"].clone()).unwrap();
    assert!(findings.contains("figure-left-out"), "{findings}");
    assert!(!found.contains_key("figures/upper-terrace-2024-response.svg"), "{:?}", found.keys());
    assert!(found.contains_key("data/curves.json"));
}

#[test]
fn a_folder_of_something_else_is_left_as_it_is() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("season");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(folder.join("thesis.txt"), "mine").unwrap();
    let run = season(place.path(), "2");
    assert_eq!((run.status, run.stdout.as_str()), (3, ""));
    assert!(run.stderr.contains("season"), "{}", run.stderr);
    let found = files(&folder);
    assert_eq!(found.into_iter().collect::<Vec<_>>(), [("thesis.txt".to_owned(), b"mine".to_vec())]);
    assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 1, "nothing is left beside the folder");
}

#[test]
fn a_table_of_the_command_is_the_table_of_the_season() {
    let (place, _) = shared();
    let programme = trials();
    let table = |format: &str| {
        let arguments = ["table", programme.to_str().unwrap(), "--name", "leaf-jointing", "--format", format];
        stook_in(place, arguments).stdout.into_bytes()
    };
    let found = files(&place.join("season"));
    assert!(table("json") == found["tables/leaf-jointing.json"]);
    assert!(table("csv") == found["tables/leaf-jointing.csv"]);
}

#[test]
fn the_workbook_of_a_season_says_what_it_is_and_holds_the_cells_of_its_csv() {
    let (place, _) = shared();
    let found = files(&place.join("season"));
    let mut workbook: Xlsx<_> = Xlsx::new(std::io::Cursor::new(&found["report/tables.xlsx"])).unwrap();
    let names = workbook.sheet_names();
    assert_eq!(names[0], "about");
    let about: Vec<String> = workbook.worksheet_range("about").unwrap().rows().map(|row| format!("{row:?}")).collect();
    for (item, what) in [("title", "Larkwater"), ("made by", "stook"), ("seed", "1"), ("caution", "adviser")] {
        assert!(about.iter().any(|row| row.contains(item) && row.contains(what)), "{item}: {about:?}");
    }
    for name in names.iter().skip(1) {
        assert!(about.iter().any(|row| row.contains("sheet") && row.contains(name.as_str())), "{name}");
    }
    for (sheet, file) in [("yields", "data/yields.csv"), ("index", "data/index.csv"), ("findings", "findings.csv")] {
        let range = workbook.worksheet_range(sheet).unwrap();
        let mut csv = csv::ReaderBuilder::new().has_headers(false).from_reader(found[file].as_slice());
        let fields: Vec<Vec<String>> =
            csv.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
        assert_eq!(range.height(), fields.len(), "{sheet}");
        for (row, expected) in range.rows().zip(&fields) {
            for (cell, field) in row.iter().zip(expected) {
                match cell {
                    Data::Float(number) => assert_eq!(number.to_string(), *field, "{sheet}"),
                    Data::String(text) => assert_eq!(text, field, "{sheet}"),
                    Data::Empty => assert_eq!("", field, "{sheet}"),
                    other => panic!("{sheet}: {other:?}"),
                }
            }
        }
    }
}

#[test]
fn a_workbook_and_parquet_need_a_file_to_go_to() {
    let place = tempfile::tempdir().unwrap();
    let programme = trials();
    let programme = programme.to_str().unwrap();
    for (format, begins) in [("xlsx", b"PK".as_slice()), ("parquet", b"PAR1")] {
        let run = stook_in(place.path(), ["yields", programme, "--format", format]);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{format}");
        assert!(run.stderr.contains("--out"), "{}", run.stderr);
        for command in ["yields", "table", "curves", "check"] {
            let run = stook_in(place.path(), [command, programme, "--format", format, "--out", "result"]);
            assert_eq!((run.status, run.stdout.as_str()), (0, ""), "{command}: {}", run.stderr);
            assert!(std::fs::read(place.path().join("result")).unwrap().starts_with(begins), "{command} {format}");
        }
    }
    let run = stook_in(place.path(), ["season", programme, "--format", "xlsx"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("report/tables.xlsx"), "{}", run.stderr);
}
