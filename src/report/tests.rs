//! Reports of the demo and of parts of it.

use std::path::Path;
use std::sync::OnceLock;

use super::draft::Numerals;
use super::material::Material;
use super::{Block, Report, Section, Table, in_units, season_report};
use crate::experiment::anova::Analysed;
use crate::figures::{DecimalMark, UnitForm, UnitSystem, Wording, WordingOptions, draw_figures, season_figures};
use crate::files::{load_programme, load_trial};
use crate::output::SeasonReports;
use crate::response::IntervalMethod;
use crate::season::{Season, SeasonOptions};
use crate::trial::Programme;

/// Permutations and replicates: enough for every sentence and number to be there.
const FEW: SeasonOptions = SeasonOptions {
    seed: 1,
    permutations: 39,
    replicates: 20,
    price_ratio: None,
    family: None,
    interval: IntervalMethod::Profile,
    deficient_above: 0.0,
};

fn demo() -> Programme {
    load_programme(&Path::new(env!("CARGO_MANIFEST_DIR")).join("trials")).unwrap().value
}

/// The demo with the named trials alone.
fn part(of: &[&str]) -> Programme {
    let mut programme = demo();
    programme.trials.retain(|trial| of.contains(&trial.folder.as_str()));
    programme
}

struct Run {
    season: Season,
    analysed: Vec<Analysed>,
    reports: SeasonReports,
}

impl Run {
    fn of(programme: Programme, options: SeasonOptions) -> Self {
        let season = Season::run(programme, Vec::new(), options, &|_| {}).unwrap();
        let analysed = season.analyses().unwrap();
        let reports = SeasonReports::of(&season, &analysed);
        Self { season, analysed, reports }
    }

    fn wording(&self, options: WordingOptions) -> Wording {
        Wording::new(&self.season.programme, options).unwrap()
    }

    /// Without figures, which take longest.
    fn report(&self, options: WordingOptions) -> Report {
        season_report(&self.season, &self.reports, &[], &[], &self.wording(options))
    }
}

/// The demo's season, run once for all tests that only read it.
fn whole() -> &'static Run {
    static WHOLE: OnceLock<Run> = OnceLock::new();
    WHOLE.get_or_init(|| Run::of(demo(), FEW))
}

const AS_IS: WordingOptions =
    WordingOptions { units: UnitSystem::Programme, unit_form: UnitForm::Slash, decimal_mark: DecimalMark::Point };

fn section<'r>(report: &'r Report, name: &str) -> &'r Section {
    report.sections.iter().find(|section| section.name == name).unwrap_or_else(|| panic!("no section {name}"))
}

fn table<'r>(report: &'r Report, name: &str) -> &'r Table {
    report.tables().find(|table| table.name == name).unwrap_or_else(|| panic!("no table {name}"))
}

fn words(section: &Section) -> String {
    let of = |block: &Block| match block {
        Block::Heading(text) => format!("## {text}\n"),
        Block::Paragraph(text) => format!("{text}\n"),
        Block::List(points) | Block::Cautions(points) => points.iter().map(|point| format!("- {point}\n")).collect(),
        Block::Table(table) => format!("{}\n", plain(table)),
        Block::Figure(figure) => format!("[{}] {}\n", figure.name, figure.caption),
    };
    section.blocks.iter().map(of).collect()
}

fn plain(table: &Table) -> String {
    let line = |cells: Vec<&str>| cells.join(" | ") + "\n";
    let mut text = format!("{}: {}\n", table.name, table.title);
    text += &line(table.columns.iter().map(|column| column.head.as_str()).collect());
    text += &table.rows.iter().map(|row| line(row.iter().map(|cell| cell.text.as_str()).collect())).collect::<String>();
    text + &table.notes.iter().map(|note| format!("  {note}\n")).collect::<String>()
}

#[test]
fn the_demo_has_every_section_and_no_cell_that_is_empty_or_no_number() {
    let report = whole().report(AS_IS);
    let names: Vec<&str> = report.sections.iter().map(|section| section.name.as_str()).collect();
    let expected = [
        "summary",
        "trials",
        "findings",
        "weather",
        "yields",
        "analysis-of-variance",
        "curves",
        "economics",
        "sensing",
        "calibration",
        "rate-tables",
        "methods",
        "provenance",
    ];
    assert_eq!(names, expected);
    let mut tables = 0;
    for table in report.tables() {
        tables += 1;
        assert!(!table.rows.is_empty() && table.columns.len() > 1, "{}", table.name);
        for row in &table.rows {
            assert_eq!(row.len(), table.columns.len(), "{}", table.name);
            for cell in row {
                assert!(!cell.text.trim().is_empty(), "an empty cell in {}", table.name);
                assert!(cell.number.is_none_or(f64::is_finite), "{}: {cell:?}", table.name);
                let is_bare =
                    |name: &str| cell.text.split(|letter: char| !letter.is_alphanumeric()).any(|word| word == name);
                assert!(!is_bare("NaN") && !is_bare("inf"), "{}: {cell:?}", table.name);
            }
        }
        let dashed = table.rows.iter().flatten().any(|cell| cell.text == "–");
        assert_eq!(dashed, table.notes.iter().any(|note| note.starts_with('–')), "{}", table.name);
    }
    assert!(tables > 50, "{tables}");
    for section in &report.sections {
        assert!(!section.blocks.is_empty(), "{}", section.name);
    }
}

#[test]
fn names_are_unique_and_fit_for_files() {
    let report = whole().report(AS_IS);
    let tables = report.tables().map(|table| &table.name);
    let names: Vec<&String> = report.sections.iter().map(|section| &section.name).chain(tables).collect();
    let mut once = names.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), names.len());
    let is_fit = |name: &&String| name.chars().all(|letter| letter.is_alphanumeric() || letter == '-');
    assert!(names.iter().all(is_fit), "{names:?}");
}

#[test]
fn methods_say_what_was_done() {
    let report = whole().report(AS_IS);
    insta::assert_snapshot!("methods", words(section(&report, "methods")));
}

#[test]
fn the_summary_fits_one_page() {
    let report = whole().report(AS_IS);
    let summary = section(&report, "summary");
    insta::assert_snapshot!("summary", words(summary));
    /// Characters of a printed line, lines of a printed page.
    const LINE: usize = 85;
    const PAGE: usize = 50;
    let lines = |text: &str| text.chars().count().div_ceil(LINE) + 1;
    let of = |block: &Block| match block {
        Block::Heading(_) => 2,
        Block::Paragraph(text) => lines(text),
        Block::List(points) | Block::Cautions(points) => points.iter().map(|point| lines(point)).sum(),
        Block::Table(table) => table.rows.len() + 4 + table.notes.iter().map(|note| lines(note)).sum::<usize>(),
        Block::Figure(_) => PAGE,
    };
    let needed: usize = summary.blocks.iter().map(of).sum();
    assert!(needed <= PAGE, "{needed} lines");
}

#[test]
fn a_table_of_means_reads_as_a_paper_has_it() {
    let report = whole().report(AS_IS);
    let means = plain(table(&report, "means-trials"));
    let of_trial: Vec<&str> = means
        .lines()
        .filter(|line| !line.contains('|') || line.starts_with("chalk-rise-2023") || line.starts_with("trial"))
        .collect();
    insta::assert_snapshot!("means", of_trial.join("\n"));
}

#[test]
fn si_units_convert_every_number_once_and_the_rate_table_stands_in_both() {
    let run = whole();
    let options = WordingOptions {
        units: UnitSystem::International,
        unit_form: UnitForm::Exponent,
        decimal_mark: DecimalMark::Comma,
    };
    let (report, own) = (run.report(options), run.report(AS_IS));
    // 1 lb/ac = 1.1208511 kg/ha; a bushel of wheat an acre is 67.251069 kg/ha (NIST SP 811, 60 lb).
    const RATE: f64 = 1.120_851_156_5;
    const YIELD: f64 = 0.067_251_069_4;
    let number = |report: &Report, name: &str, row: usize, head: &str| {
        let table = table(report, name);
        let column = table.columns.iter().position(|column| column.head.starts_with(head));
        let column = column.unwrap_or_else(|| panic!("{head} in {:?}", table.columns));
        table.rows[row][column].number.unwrap()
    };
    for (name, row, head, factor) in [
        ("treatment-means", 1, "mean (", YIELD),
        ("treatment-means", 1, "N (", RATE),
        ("optimum-rates", 1, "EONR", RATE),
        ("common-rate", 1, "best common rate", RATE),
        ("points-leaf-jointing", 1, "N on", RATE),
        ("means-trials", 0, "mean (", YIELD),
        ("anova-trials", 0, "SS", YIELD * YIELD),
        ("coefficients", 0, "estimate", YIELD),
        ("coefficients", 1, "estimate", YIELD / RATE),
        ("rules-leaf-jointing", 0, "RMSE", RATE),
    ] {
        let ratio = number(&report, name, row, head) / number(&own, name, row, head);
        assert!((ratio / factor - 1.0).abs() < 1e-7, "{name}, {head}: {ratio}");
    }
    // Money over an area: an acre is 0.40468564224 ha.
    let money = |report: &Report| {
        let table = table(report, "optimum-rates");
        let column = table.columns.iter().position(|column| column.head.starts_with("net return (USD")).unwrap();
        (table.columns[column].head.clone(), table.rows[1][column].number.unwrap())
    };
    let ((head, shown), (_, was)) = (money(&report), money(&own));
    assert_eq!(head, "net return (USD\u{a0}ha⁻¹)");
    assert!((shown / was * 0.404_685_642_24 - 1.0).abs() < 1e-9, "{shown} {was}");
    insta::assert_snapshot!("rates_si", plain(table(&report, "rates-leaf-jointing")));
    let texts: Vec<&str> =
        report.tables().flat_map(|table| &table.rows).flatten().map(|cell| cell.text.as_str()).collect();
    let is_number = |text: &&&str| {
        text.chars().all(|letter| letter.is_ascii_digit() || ".,−".contains(letter)) && text.contains('.')
    };
    let points: Vec<&&str> = texts.iter().filter(is_number).collect();
    assert!(points.is_empty(), "{points:?}");
    // In running text neither, but in the version, in what the checks told and in what was typed.
    let told = report.sections.iter().filter(|section| !["findings", "provenance"].contains(&section.name.as_str()));
    let text: String = told.map(words).collect::<String>().replace(concat!("stook ", env!("CARGO_PKG_VERSION")), "");
    let letters: Vec<char> = text.chars().collect();
    for (place, around) in letters.windows(3).enumerate() {
        let is_point = around[1] == '.' && around[0].is_ascii_digit() && around[2].is_ascii_digit();
        assert!(
            !is_point,
            "{}",
            letters[place.saturating_sub(60)..letters.len().min(place + 60)].iter().collect::<String>()
        );
    }
    for other in ["USD/ac", "bu/ac", "lb/ac", "USD/ha", "kg/ha"] {
        assert!(!text.contains(other), "{other}");
    }
}

#[test]
fn a_relation_is_the_same_in_any_units() {
    let run = whole();
    let wording = run.wording(WordingOptions { units: UnitSystem::International, ..AS_IS });
    let shown = in_units::in_units(&run.reports, &wording, &run.season.programme);
    let (own, shown) = (&run.reports.calibrations.tables[0], &shown.calibrations.tables[0]);
    let (own_base, shown_base) = (own.base().unwrap(), shown.base().unwrap());
    for (before, after) in own_base.relations.iter().zip(&shown_base.relations) {
        let Some(loss) = before.coefficients.get("loss") else { continue };
        let power = before.coefficients.get("loss_power").copied().unwrap_or(2.0);
        // Yield lost by a shortfall of 10 kg/ha, in both units.
        let lost = loss * (10.0 / wording.rate(1.0)).powf(power);
        let lost_shown = after.coefficients["loss"] * 10.0_f64.powf(power);
        assert!((lost_shown / wording.yields(lost) - 1.0).abs() < 1e-12, "{}", before.kind);
    }
}

#[test]
fn methods_leave_out_what_was_not_done() {
    let with = words(section(&whole().report(AS_IS), "methods"));
    for said in [
        "profile intervals",
        "Sensing",
        "canopy NDVI",
        "Calibration and rate tables",
        "held out in turn",
        "Site-years together",
    ] {
        assert!(with.contains(said), "{said}");
    }
    let mut bare = part(&["upper-terrace-2024"]);
    bare.tables.clear();
    bare.trials.iter_mut().for_each(|trial| trial.readings.clear());
    let report = Run::of(bare, SeasonOptions { interval: IntervalMethod::Wald, ..FEW }).report(AS_IS);
    let without = words(section(&report, "methods"));
    for absent in [
        "profile",
        "Sensing",
        "NDVI",
        "Calibration",
        "held out",
        "Site-years together",
        "mixed model",
        "Kenward",
        "Youden",
        "jackknife",
        "split-plot",
    ] {
        assert!(!without.contains(absent), "{absent}: {without}");
    }
    for said in ["Wald", "delta method", "39 permutations"] {
        assert!(without.contains(said), "{said}: {without}");
    }
    insta::assert_snapshot!("methods_of_one_trial", without);
    assert!(words(section(&report, "sensing")).contains("No trial has readings"));
    assert!(words(section(&report, "summary")).contains("Economic optimum N rates"));
}

#[test]
fn a_programme_without_prices_says_so() {
    let mut programme = part(&["chalk-rise-2023"]);
    programme.prices = None;
    let report = Run::of(programme, FEW).report(AS_IS);
    assert!(words(section(&report, "economics")).contains("Neither prices nor a price ratio are given"));
    assert!(words(section(&report, "summary")).contains("No price ratio is given"));
    assert!(!words(section(&report, "methods")).contains("EONR"));
}

#[test]
fn a_single_trial_of_a_programme_has_a_report() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("trials/osier-bend-2025");
    let report = Run::of(load_trial(&folder).unwrap().value, FEW).report(AS_IS);
    assert!(report.tables().count() > 20);
    let text = words(section(&report, "calibration"));
    assert!(
        text.contains("one site-year cannot be held out from itself") || text.contains("wants no rate table"),
        "{text}"
    );
}

#[test]
fn what_users_typed_is_data() {
    let mut programme = part(&["upper-terrace-2024"]);
    programme.title = "<script>alert(1)</script>\nsecond line".to_owned();
    let trial = programme.trials.first_mut().unwrap();
    trial.site = "=HYPERLINK(\"http://x\")".to_owned();
    trial.background.weather_notes = Some("#panic(\"run\") *bold* $x$".to_owned());
    for plot in &mut trial.plots {
        plot.variety = plot.variety.as_ref().map(|variety| format!("-1.5 {variety}"));
    }
    let run = Run::of(programme, FEW);
    let report = run.report(WordingOptions { decimal_mark: DecimalMark::Comma, ..AS_IS });
    assert_eq!(report.title, "<script>alert(1)</script> second line");
    let designs = table(&report, "trial-designs");
    assert_eq!(designs.rows[0][1].text, "=HYPERLINK(\"http://x\")");
    assert!(designs.rows[0].iter().any(|cell| cell.text.contains("-1.5 Dark Sedge")), "{designs:?}");
    assert_eq!(table(&report, "weather-notes").rows[0][1].text, "#panic(\"run\") *bold* $x$");
    // The numbers of a sentence take the comma, the label in it does not.
    let numerals = Numerals::new(DecimalMark::Comma);
    let wording = run.wording(AS_IS);
    let material = Material {
        season: &run.season,
        reports: run.reports.clone(),
        wording: &wording,
        numerals,
        typed: super::material::typed_labels(&run.season, numerals),
        changes: &[],
        figures: Vec::new(),
    };
    assert_eq!(material.set("variety -1.5 Dark Sedge reads -2.5"), "variety -1.5 Dark Sedge reads −2,5");
}

#[test]
fn figures_stand_in_their_sections_with_words_for_those_who_cannot_see_them() {
    let run = Run::of(part(&["upper-terrace-2024", "chalk-rise-2023"]), FEW);
    let wording = run.wording(AS_IS);
    let (figures, left_out) =
        draw_figures(&season_figures(&run.season, &run.analysed, &wording), None, &crate::figures::Style::default());
    assert!(left_out.is_empty(), "{left_out:?}");
    let report = season_report(&run.season, &run.reports, &figures, &[], &wording);
    let placed = report.sections.iter().flat_map(|section| &section.blocks).filter_map(|block| match block {
        Block::Figure(figure) => Some(figure),
        _ => None,
    });
    let mut placed: Vec<&str> = placed
        .map(|figure| {
            assert!(!figure.alternative.is_empty() && !figure.caption.is_empty(), "{}", figure.name);
            assert!(figure.width > 80.0 && figure.svg.starts_with("<svg"), "{}", figure.name);
            figure.name.as_str()
        })
        .collect();
    let mut drawn: Vec<&str> = figures.iter().map(|figure| figure.name.as_str()).collect();
    placed.sort_unstable();
    drawn.sort_unstable();
    assert_eq!(placed, drawn, "every figure stands once");
}

#[test]
fn tables_as_files_hold_what_the_report_does() {
    let report = whole().report(AS_IS);
    let files = report.csv_files();
    assert_eq!(files.len(), report.tables().count());
    for (table, file) in report.tables().zip(&files) {
        assert_eq!(file.path, format!("tables/{}.csv", table.name));
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(file.bytes.as_slice());
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(records.len(), table.rows.len() + 1, "{}", table.name);
        for (record, row) in records.iter().skip(1).zip(&table.rows) {
            for (field, cell) in record.iter().zip(row) {
                match (cell.number, cell.text.as_str()) {
                    (Some(number), _) => assert_eq!(field.parse::<f64>(), Ok(number), "{}", table.name),
                    (None, "–") => assert_eq!(field, "", "{}", table.name),
                    (None, text) => assert_eq!(field, text, "{}", table.name),
                }
            }
        }
    }
}
