//! One fault at a time in a sound programme: one error that names file, line or row, key or column and the value as typed.

use super::{load, valid, written};
use crate::files::load_programme;
use crate::finding::Severity;

/// What is done to one file of the sound programme, and the error that must follow.
struct Fault {
    file: &'static str,
    replace: (&'static str, &'static str),
    code: &'static str,
    at: &'static str,
    row: Option<u64>,
    column: Option<&'static str>,
    value: Option<&'static str>,
}

const PROGRAMME: &str = "programme.toml";
const UPPER: &str = "upper-2024/trial.toml";
const UPPER_PLOTS: &str = "upper-2024/plots.csv";
const OSIER: &str = "osier-2025/trial.toml";
const OSIER_PLOTS: &str = "osier-2025/plots.csv";
const READINGS: &str = "osier-2025/readings.csv";

/// A fault that is reported in the file where it is.
fn here(
    file: &'static str,
    replace: (&'static str, &'static str),
    code: &'static str,
    row: u64,
    column: &'static str,
    value: &'static str,
) -> Fault {
    Fault { file, replace, code, at: file, row: Some(row), column: Some(column), value: Some(value) }
}

/// A fault that is reported in another file than where it is.
fn elsewhere(fault: Fault, at: &'static str) -> Fault {
    Fault { at, ..fault }
}

fn faults() -> Vec<Fault> {
    vec![
        // programme.toml
        here(PROGRAMME, ("format = 1", "format = 2"), "format-version", 1, "format", "2"),
        here(PROGRAMME, ("title = ", "titel = \"x\"\ntitle = "), "unknown-key", 2, "titel", "titel"),
        here(PROGRAMME, ("crop = \"wheat\"", "crop = 7"), "wrong-type", 3, "crop", "7"),
        here(PROGRAMME, ("\"hailed-2023\"", "\"haled-2023\""), "unknown-folder", 5, "leave_out", "haled-2023"),
        here(PROGRAMME, ("\"lb/ac\"", "\"lbs/acre\""), "unknown-value", 7, "units.n_rate", "lbs/acre"),
        here(PROGRAMME, ("crop = \"wheat\"", "crop = \"sugarcane\""), "no-bushel-weight", 8, "units.yield", "bu/ac"),
        here(PROGRAMME, ("price = 6.00", "price = \"6\""), "wrong-type", 10, "prices.grain.price", "6"),
        here(PROGRAMME, ("n_percent = 46", "n_percent = 146"), "out-of-range", 11, "prices.nitrogen.n_percent", "146"),
        here(PROGRAMME, ("\"short ton\"", "\"bu\""), "unknown-value", 11, "prices.nitrogen.per", "bu"),
        here(PROGRAMME, ("[0.05, 0.15]", "[0.05, -1]"), "out-of-range", 12, "prices.other_price_ratios", "-1"),
        here(
            PROGRAMME,
            ("per = \"bu\" }", "per = \"bu\", lowest = 6.5, highest = 8 }"),
            "out-of-range",
            10,
            "prices.grain",
            "{ price = 6.00, per = \"bu\", lowest = 6.5, highest = 8 }",
        ),
        here(
            PROGRAMME,
            ("per = \"bu\" }", "per = \"bu\", lowest = 5 }"),
            "conflicting-keys",
            10,
            "prices.grain",
            "{ price = 6.00, per = \"bu\", lowest = 5 }",
        ),
        here(
            PROGRAMME,
            ("n_percent = 46", "n_percent = 46, sd = -40"),
            "out-of-range",
            11,
            "prices.nitrogen.sd",
            "-40",
        ),
        here(PROGRAMME, ("n_percent = 46", "n_percent = 46, st = 40"), "unknown-key", 11, "prices.nitrogen.st", "st"),
        here(
            PROGRAMME,
            ("n_percent = 46", "n_percent = 46, lowest = 450, higest = 700"),
            "unknown-key",
            11,
            "prices.nitrogen.higest",
            "higest",
        ),
        here(
            PROGRAMME,
            ("n_percent = 46", "n_percent = 46, lowest = 450, highest = 700000"),
            "out-of-range",
            11,
            "prices.nitrogen",
            "{ price = 560, per = \"short ton\", n_percent = 46, lowest = 450, highest = 700000 }",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "pass_cost = { price = 8, per = \"acre\" }\n[decisions]"),
            "unknown-value",
            13,
            "prices.pass_cost.per",
            "acre",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "pass_cost = { price = 0, per = \"ac\" }\n[decisions]"),
            "out-of-range",
            13,
            "prices.pass_cost.price",
            "0",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "protein_premium = { steps = [] }\n[decisions]"),
            "out-of-range",
            13,
            "prices.protein_premium.steps",
            "[]",
        ),
        here(
            PROGRAMME,
            (
                "[decisions]",
                "protein_premium = { steps = [{ from = 12, add = 0.3 }, { from = 11, add = 0.1 }] }\n[decisions]",
            ),
            "out-of-range",
            13,
            "prices.protein_premium.steps",
            "{ from = 11, add = 0.1 }",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "protein_premium = { steps = [{ from = 12, add = -6 }] }\n[decisions]"),
            "out-of-range",
            13,
            "prices.protein_premium.steps.add",
            "-6",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "lodging_loss = { yield_percent = 30, at_score = 0 }\n[decisions]"),
            "out-of-range",
            13,
            "prices.lodging_loss.at_score",
            "0",
        ),
        here(
            PROGRAMME,
            ("[decisions]", "lodging_loss = { yield_percent = 100, at_score = 9 }\n[decisions]"),
            "out-of-range",
            13,
            "prices.lodging_loss.yield_percent",
            "100",
        ),
        here(
            PROGRAMME,
            ("{ percent = 1 }", "{ percent = 1, money = 1 }"),
            "conflicting-keys",
            14,
            "decisions.near_optimum_within",
            "{ percent = 1, money = 1 }",
        ),
        here(PROGRAMME, ("standard_topdress = 80", "level = 95"), "out-of-range", 15, "decisions.level", "95"),
        here(
            PROGRAMME,
            ("standard_topdress = 80", "site_year_weights = { \"osier-2025\" = -1 }"),
            "out-of-range",
            15,
            "decisions.site_year_weights.osier-2025",
            "-1",
        ),
        here(
            PROGRAMME,
            ("standard_topdress = 80", "site_year_weights = { \"osier-2052\" = 2 }"),
            "unknown-folder",
            15,
            "decisions.site_year_weights",
            "osier-2052",
        ),
        here(
            PROGRAMME,
            ("\"canopy-jointing\"", "\"canopy/jointing\""),
            "unsafe-name",
            17,
            "table.name",
            "canopy/jointing",
        ),
        here(PROGRAMME, ("\"canopy-ndvi\"", "\"canopy-nvdi\""), "unknown-value", 18, "table.instrument", "canopy-nvdi"),
        here(
            PROGRAMME,
            ("[\"Feekes 5\", \"Feekes 6\"]", "[\"Feekes 5\", \"Zadoks 31\"]"),
            "out-of-range",
            19,
            "table.stages",
            "[\"Feekes 5\", \"Zadoks 31\"]",
        ),
        here(PROGRAMME, ("lowest = 0.70", "lowest = 0.7005"), "out-of-range", 20, "table.index.lowest", "0.7005"),
        here(
            PROGRAMME,
            ("step = 0.05", "step = 0.07"),
            "out-of-range",
            20,
            "table.index",
            "{ lowest = 0.70, highest = 1.00, step = 0.07 }",
        ),
        here(
            PROGRAMME,
            ("round_to = 5", "round_to = 25"),
            "out-of-range",
            21,
            "table.rate",
            "{ round_to = 25, highest = 120 }",
        ),
        here(PROGRAMME, ("\"no-rate\"", "\"none\""), "unknown-value", 22, "table.outside", "none"),
        here(PROGRAMME, ("outside =", "share_plots = \"no\"\noutside ="), "wrong-type", 22, "table.share_plots", "no"),
        here(
            PROGRAMME,
            ("outside =", "sensing_dates = { upper-2024 = 2024-04-03 }\noutside ="),
            "unknown-value",
            22,
            "table.sensing_dates.upper-2024",
            "2024-04-03",
        ),
        here(
            PROGRAMME,
            ("outside =", "sensing_dates = { uper-2024 = 2024-04-02 }\noutside ="),
            "unknown-folder",
            22,
            "table.sensing_dates",
            "uper-2024",
        ),
        // upper-2024/trial.toml
        here(UPPER, ("harvest_year = 2024", "harvest_year = \"2024\""), "wrong-type", 3, "harvest_year", "2024"),
        here(
            UPPER,
            ("-complete-block", "-complete-blocks"),
            "unknown-value",
            4,
            "design",
            "randomised-complete-blocks",
        ),
        here(
            UPPER,
            ("difference-from-optimum", "topdress-response"),
            "no-topdress",
            5,
            "need_from",
            "topdress-response",
        ),
        here(UPPER, ("block = \"rep\"\n", ""), "design-needs-blocks", 4, "design", "randomised-complete-block"),
        here(UPPER, ("need_from", "main_plot = \"variety\"\nneed_from"), "conflicting-keys", 5, "main_plot", "variety"),
        here(
            UPPER,
            ("block = \"rep\"", "block = \"rep\"\nstrip = \"rep\""),
            "conflicting-keys",
            10,
            "plots.strip",
            "rep",
        ),
        here(UPPER, ("file = \"plots.csv\"", "file = \"plot.csv\""), "cannot-read", 7, "plots.file", "plot.csv"),
        here(UPPER, ("file = \"plots.csv\"", "file = \"plots.xls\""), "unknown-format", 7, "plots.file", "plots.xls"),
        here(UPPER, ("plot = \"plot\"", "sheet = \"2024\"\nplot = \"plot\""), "unsuited-key", 8, "plots.sheet", "2024"),
        here(
            UPPER,
            ("file = \"plots.csv\"", "file = \"../../plots.csv\""),
            "outside-programme",
            7,
            "plots.file",
            "../../plots.csv",
        ),
        here(UPPER, ("block = \"rep\"", "block = \"block\""), "missing-column", 9, "plots.block", "block"),
        here(
            UPPER,
            ("{ column = \"urea_lb_ac\", unit", "{ column = \"urea\", unit"),
            "missing-column",
            13,
            "application.n.column",
            "urea",
        ),
        here(UPPER, ("date = 2024-02-20", "date = \"2024-02-20\""), "wrong-type", 14, "application.date", "2024-02-20"),
        here(
            UPPER,
            ("date = 2024-02-20", "date = 2024-02-20T08:00:00"),
            "wrong-type",
            14,
            "application.date",
            "2024-02-20T08:00:00",
        ),
        here(
            UPPER,
            ("date = 2024-02-20", "date = 2024-05-01"),
            "timing-contradicts-dates",
            15,
            "application.timing",
            "before-sensing",
        ),
        here(UPPER, ("date = 2024-02-20", "date = 2024-04-02"), "same-day", 14, "application.date", "2024-04-02"),
        here(
            UPPER,
            ("\"before-sensing\"", "\"after-sensing\""),
            "timing-contradicts-dates",
            15,
            "application.timing",
            "after-sensing",
        ),
        here(
            UPPER,
            ("{ column = \"urea_lb_ac\", unit = \"lb/ac\", n_percent = 46 }", "{ same = -5 }"),
            "out-of-range",
            13,
            "application.n.same",
            "-5",
        ),
        here(UPPER, ("equals = 391", "equals = 390"), "no-reference", 17, "reference.where.equals", "390"),
        here(
            UPPER,
            ("also_treatment = true", "also_treatment = \"yes\""),
            "wrong-type",
            18,
            "reference.also_treatment",
            "yes",
        ),
        here(UPPER, ("[\"variety\"]", "[\"varieties\"]"), "unknown-value", 19, "reference.shared_within", "varieties"),
        here(UPPER, ("\"Feekes 5\"", "\"jointing\""), "unknown-value", 22, "readings.columns.stage", "jointing"),
        here(
            UPPER,
            ("moisture_percent = 12.0", "moisture_percent = 120"),
            "out-of-range",
            24,
            "harvest.yield.moisture_percent",
            "120",
        ),
        here(UPPER, ("plot = 104", "plot = 140"), "unknown-plot", 26, "exclude.plot", "140"),
        here(UPPER, ("\"combine plugged\"", "\"\""), "empty-text", 28, "exclude.reason", ""),
        here(UPPER, ("what = \"yield\"", "what = \"yields\""), "unknown-value", 27, "exclude.what", "yields"),
        // upper-2024/plots.csv
        here(UPPER_PLOTS, ("102,1,391,", "102,1,x391,"), "not-a-number", 3, "urea_lb_ac", "x391"),
        here(UPPER_PLOTS, ("102,1,391,", "102,1,-391,"), "out-of-range", 3, "urea_lb_ac", "-391"),
        here(UPPER_PLOTS, ("101,1,0,", "101,1,,"), "missing-cell", 2, "urea_lb_ac", ""),
        here(UPPER_PLOTS, ("104,2,", "104,,"), "missing-cell", 5, "rep", ""),
        here(UPPER_PLOTS, ("103,2,", "102,2,"), "duplicate-plot", 4, "plot", "102"),
        here(UPPER_PLOTS, ("0.55", "55"), "out-of-range", 2, "ndvi_apr02", "55"),
        here(UPPER_PLOTS, ("0.55", "o.55"), "not-a-number", 2, "ndvi_apr02", "o.55"),
        here(UPPER_PLOTS, ("41.5", "-41.5"), "out-of-range", 2, "yield", "-41.5"),
        here(UPPER_PLOTS, ("41.5", "inf"), "not-a-number", 2, "yield", "inf"),
        Fault { column: None, value: None, ..here(UPPER_PLOTS, (",41.5", ""), "ragged-row", 2, "", "") },
        // osier-2025
        here(
            OSIER,
            ("main_plot = [\"variety\"]", "main_plot = [\"cultivar\"]"),
            "unknown-factor",
            5,
            "main_plot",
            "cultivar",
        ),
        here(OSIER, ("main_plot = [\"variety\"]\n", ""), "missing-key", 4, "design", "split-plot"),
        here(
            OSIER,
            ("\"split-plot\"\nmain_plot = [\"variety\"]", "\"strip-plot\"\nstrip = [\"varieti\"]"),
            "unknown-factor",
            5,
            "strip",
            "varieti",
        ),
        here(
            OSIER,
            ("\"split-plot\"\nmain_plot = [\"variety\"]", "\"strip-plot\""),
            "missing-key",
            4,
            "design",
            "strip-plot",
        ),
        here(
            OSIER,
            ("\"split-plot\"\nmain_plot", "\"split-plot\"\nstrip = [\"topdress\"]\nmain_plot"),
            "conflicting-keys",
            5,
            "strip",
            "topdress",
        ),
        here(OSIER, ("name = \"early\"", "name = \"topdress\""), "duplicate-name", 14, "application.name", "topdress"),
        here(
            OSIER,
            ("timing = \"before-sensing\"", "timing = \"decided-by-sensing\""),
            "several-topdresses",
            17,
            "application.timing",
            "decided-by-sensing",
        ),
        here(OSIER, ("header_row = 2", "header_row = -1"), "out-of-range", 9, "plots.header_row", "-1"),
        here(
            OSIER,
            ("{ column = \"tool\", equals = \"leaf\" }", "{ column = \"tool\", equals = \"meter\" }"),
            "no-such-row",
            37,
            "readings.where.equals",
            "meter",
        ),
        elsewhere(here(OSIER, ("leaf = \"leaf\"\n", ""), "duplicate-reading", 7, "value", "1-1"), READINGS),
        here(OSIER, ("plot = [2, 1]", "plot = 1"), "unknown-plot", 48, "exclude.plot", "1"),
        here(OSIER, ("length = 20", "length = 0"), "out-of-range", 44, "harvest.area.length", "0"),
        here(OSIER, ("unit = \"ft\"", "unit = \"feet\""), "unknown-value", 44, "harvest.area.unit", "feet"),
        here(OSIER, (", unit = \"lb\" }", " }"), "missing-key", 43, "harvest.weight.unit", ""),
        here(OSIER, ("moisture = \"moist\"", "moisture = 13"), "wrong-type", 45, "harvest.moisture", "13"),
        here(OSIER_PLOTS, ("8.40,14.2", "8.40,100"), "out-of-range", 3, "moist", "100"),
        here(OSIER_PLOTS, ("8.40,14.2", "8.40,NA"), "missing-cell", 3, "moist", "NA"),
        here(OSIER_PLOTS, ("14.2,9.5", "14.2,950"), "out-of-range", 3, "protein", "950"),
        here(READINGS, ("2,2,ndvi,2025-04-04", "2,2,ndvi,4 April"), "not-a-date", 5, "date", "4 April"),
        here(READINGS, ("Feekes 5,,0.61", "F5,,0.61"), "not-a-stage", 2, "stage", "F5"),
        here(READINGS, ("1,55.0", "first,55.0"), "not-a-number", 8, "leaf", "first"),
        here(READINGS, ("2,1,ndvi", "2,3,ndvi"), "unknown-plot", 4, "plot", "2-3"),
        here(READINGS, ("Feekes 5,1,43.9", "Feekes 5,2,43.9"), "duplicate-reading", 7, "value", "1-1"),
        here(READINGS, ("43.9", "-43.9"), "out-of-range", 7, "value", "-43.9"),
        elsewhere(
            here(READINGS, ("leaf,value", "leaf,reading"), "missing-column", 33, "readings.value", "value"),
            OSIER,
        ),
    ]
}

#[test]
fn each_fault_is_one_error_at_its_place_with_the_value_as_typed() {
    let mut failures = Vec::new();
    for fault in faults() {
        let mut files = valid();
        let text = files.get_mut(fault.file).unwrap();
        assert!(text.contains(fault.replace.0), "{} is not in {}", fault.replace.0, fault.file);
        *text = text.replacen(fault.replace.0, fault.replace.1, 1);
        let found = match load(&files) {
            Ok(_) => Vec::new(),
            Err(findings) => findings,
        };
        let errors: Vec<_> = found.iter().filter(|finding| finding.severity == Severity::Error).collect();
        let expected = |error: &&crate::finding::Finding| {
            let place = &error.place;
            error.code == fault.code
                && place.file == fault.at
                && place.row == fault.row
                && place.column.as_deref() == fault.column
                && place.value.as_deref().unwrap_or_default() == fault.value.unwrap_or_default()
                && error.to_string().contains(&fault.value.unwrap_or_default().replace('"', "\\\""))
                && error.remedy.is_some()
        };
        // Two sections may read one column: the same fault in both is told for each.
        if !errors.first().is_some_and(expected) || errors.iter().any(|error| error.code != fault.code) {
            let found: Vec<_> = errors.iter().map(|error| (error.code, error.to_string(), &error.remedy)).collect();
            failures.push(format!(
                "{:?} in {}: expected {} at {:?}, {:?}; found {found:#?}",
                fault.replace, fault.file, fault.code, fault.row, fault.column
            ));
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn the_nearest_name_is_suggested_for_a_key_a_folder_a_column_a_value_and_a_plot() {
    let cases = [
        (PROGRAMME, ("[units]", "[untis]"), "\"units\""),
        (PROGRAMME, ("\"hailed-2023\"", "\"uper-2024\""), "\"upper-2024\""),
        (UPPER, ("file = \"plots.csv\"", "file = \"plots.csv\"\nvarety = \"x\""), "\"variety\""),
        (UPPER, ("column = \"yield\"", "column = \"yeild\""), "\"yield\""),
        (UPPER, ("timing = \"before-sensing\"", "timing = \"before\""), "\"before-sensing\""),
        (UPPER, ("plot = 104", "plot = 1044"), "\"104\""),
        (UPPER, ("equals = 391", "equals = 319"), "\"391.0\""),
        (READINGS, ("2,1,ndvi", "2,11,ndvi"), "\"2-1\""),
    ];
    for (file, (from, to), suggested) in cases {
        let mut files = valid();
        let text = files[file].replacen(from, to, 1);
        files.insert(file, text);
        let findings = load(&files).unwrap_err();
        let remedies: Vec<_> = findings.iter().filter_map(|finding| finding.remedy.as_deref()).collect();
        assert!(remedies.iter().any(|remedy| remedy.contains(suggested)), "{to}: {remedies:?}");
    }
}

#[test]
fn the_faults_of_all_files_are_told_together() {
    let mut files = valid();
    for (file, from, to) in [
        (PROGRAMME, "per = \"bu\"", "per = \"bushel\""),
        (UPPER, "design", "desing"),
        (UPPER_PLOTS, "41.5", "forty"),
        (OSIER, "timing = \"before-sensing\"", "timing = \"first\""),
        (OSIER_PLOTS, "8.40", "8,40"),
        (READINGS, "0.61", "6.1"),
    ] {
        let text = files[file].replacen(from, to, 1);
        files.insert(file, text);
    }
    let findings = load(&files).unwrap_err();
    for file in [PROGRAMME, UPPER, UPPER_PLOTS, OSIER, OSIER_PLOTS] {
        assert!(findings.iter().any(|finding| finding.place.file == file), "{file}: {findings:#?}");
    }
}

#[test]
fn an_error_in_a_descriptor_shows_the_text_it_is_about() {
    let mut files = valid();
    files.insert(UPPER, super::UPPER.replace("\"Feekes 5\"", "\"jointing\""));
    let finding = load(&files).unwrap_err().remove(0);
    let excerpt = finding.excerpt.unwrap();
    assert_eq!(&excerpt.text[excerpt.start..excerpt.start + excerpt.length], "\"jointing\"");
}

#[test]
fn a_descriptor_error_is_shown_with_its_line_and_what_would_be_right() {
    let mut files = valid();
    files.insert(UPPER, super::UPPER.replace("\"bu/ac\"", "\"bushels\""));
    let finding = load(&files).unwrap_err().remove(0);
    let mut shown = String::new();
    let plain = miette::GraphicalReportHandler::new_themed(miette::GraphicalTheme::none()).with_width(100);
    plain.render_report(&mut shown, &crate::finding::FindingDiagnostic::from(finding)).unwrap();
    insta::assert_snapshot!(shown, @r#"
    unknown-value

      x upper-2024/trial.toml, line 24, harvest.yield.unit = "bushels": "bushels" is not a unit that
      | is known here
        ,-[upper-2024/trial.toml:24:36]
     23 | [harvest]
     24 | yield = { column = "yield", unit = "bushels", moisture_percent = 12.0 }
        :                                    ^^^^|^^^^
        :                                        `-- here
     25 | [[exclude]]
        `----
      help: write one of bu/ac, kg/ha, Mg/ha, lb/ac, short ton/ac
    "#);
}

#[test]
fn several_sensing_dates_in_a_tables_window_wait_for_a_choice() {
    let mut files = valid();
    let columns = "{ column = \"ndvi_apr02\", date = 2024-04-10, stage = \"Feekes 6\" }, { column";
    files.insert(UPPER, super::UPPER.replacen("{ column = \"ndvi_apr02\"", &format!("{columns} = \"ndvi_apr02\""), 1));
    let finding = load(&files).unwrap_err().remove(0);
    assert_eq!(
        (finding.code, finding.place.file.as_str(), finding.place.row),
        ("several-sensing-dates", PROGRAMME, Some(17))
    );
    assert!(finding.text.contains("2024-04-02, 2024-04-10"));
    let chosen = "sensing_dates = { upper-2024 = 2024-04-10 }\noutside";
    files.insert(PROGRAMME, super::PROGRAMME.replace("outside", chosen));
    assert!(load(&files).is_ok());
}

#[test]
fn n_after_the_decided_topdress_must_not_vary_among_the_plots_of_the_response() {
    let late = |n: &str| {
        let section = format!(
            "[[application]]\nname = \"late\"\nn = {n}\ndate = 2025-05-02\ntiming = \"after-sensing\"\n[reference]"
        );
        let mut files = valid();
        files.insert(
            OSIER,
            super::OSIER
                .replace("[reference]", &section)
                .replace("plot = [2, 1]\nwhat = \"plot\"", "plot = [2, 1]\nwhat = \"readings\""),
        );
        let plots = super::OSIER_PLOTS
            .replace(",moist,", ",moist,late,")
            .replace("14.2,9.5", "14.2,30,9.5")
            .replace("14.0,12.1", "14.0,0,12.1");
        files.insert(
            OSIER_PLOTS,
            plots
                .replace("10.9,,\n", "10.9,14,40,\n")
                .replace("13.8,11.9", "13.8,0,11.9")
                .replace(",,,,,,,,", ",,,,,,,,,"),
        );
        load(&files).map_err(|findings| findings.into_iter().map(|finding| finding.code).collect::<Vec<_>>())
    };
    assert!(late("{ same = 30 }").is_ok());
    assert_eq!(late("\"late\"").unwrap_err(), ["late-nitrogen-varies"]);
}

#[test]
fn what_is_no_text_and_what_is_no_folder_is_told() {
    let code = |path: &str, bytes: &[u8]| {
        let mut files = valid()
            .into_iter()
            .map(|(path, text)| (path, text.into_bytes()))
            .collect::<std::collections::BTreeMap<_, _>>();
        files.insert(path, bytes.to_vec());
        let findings = load(&files).unwrap_err();
        findings.into_iter().map(|finding| (finding.code, finding.place.file, finding.place.row)).collect::<Vec<_>>()
    };
    assert_eq!(code(UPPER_PLOTS, b"plot,rep\n101,\xff\n"), [("not-utf8", UPPER_PLOTS.to_owned(), Some(2))]);
    assert_eq!(code(UPPER, b"\xff"), [("not-utf8", UPPER.to_owned(), Some(1))]);
    assert_eq!(code(UPPER_PLOTS, b""), [("empty-file", UPPER_PLOTS.to_owned(), None)]);
    assert_eq!(code(UPPER, b"site = \n"), [("toml-syntax", UPPER.to_owned(), Some(1))]);
    let folder = written(&valid());
    let findings = load_programme(&folder.path().join("hailed-2023")).unwrap_err();
    assert_eq!((findings[0].code, findings[0].place.file.as_str()), ("cannot-read", PROGRAMME));
    let mut alone = valid();
    alone.retain(|path, _| *path == PROGRAMME || path.starts_with("hailed"));
    assert_eq!(load(&alone).unwrap_err()[0].code, "no-trials");
}
