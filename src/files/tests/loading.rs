//! What a sound programme, trial or file becomes.

use std::fs;
use std::path::Path;

use jiff::civil::date;

use super::{OSIER, UPPER, UPPER_PLOTS, load, valid, written};
use crate::files::{ColumnRoles, Kind, kind_of, load_columns, load_programme, load_trial};
use crate::trial::{
    Columns, Design, Excluded, Harvest, Instrument, LodgingLoss, MissingYield, NeedFrom, Outside, PassCost,
    PremiumStep, PriceSpread, SameDay, Timing,
};
use crate::units::{AreaUnit, NRateUnit, Yield, YieldUnit};

#[test]
fn a_programme_keeps_its_quantities_as_typed_and_its_trials_in_order_of_harvest() {
    let loaded = load(&valid()).unwrap();
    let programme = loaded.value;
    assert_eq!(loaded.warnings, []);
    assert_eq!((programme.title.as_str(), programme.currency.as_str()), ("Larkwater valley winter wheat", "USD"));
    assert_eq!(programme.units.standard_moisture.unwrap().percent(), 13.5, "the crop's standard");
    assert_eq!(programme.prices.unwrap().other_price_ratios, [0.05, 0.15]);
    assert_eq!((programme.decisions.standard_topdress, programme.decisions.level), (Some(80.0), 0.95));
    let table = &programme.tables[0];
    assert_eq!((table.index.lowest, table.index.highest, table.index.step), (700, 1000, 50));
    assert_eq!((table.relation, table.outside, table.share_plots), (None, Outside::NoRate, true));
    let folders: Vec<&str> = programme.trials.iter().map(|trial| trial.folder.as_str()).collect();
    assert_eq!(folders, ["upper-2024", "osier-2025"]);
    assert_eq!(programme.left_out[0].reason, "hail, 3 June");
}

#[test]
fn a_table_keeps_the_yields_of_plots_to_itself_where_that_is_asked() {
    let mut files = valid();
    files.insert("programme.toml", super::PROGRAMME.replace("outside =", "share_plots = false\noutside ="));
    assert!(!load(&files).unwrap().value.tables[0].share_plots);
}

#[test]
fn prices_may_say_what_is_uncertain_and_what_else_counts() {
    let programme = super::PROGRAMME
        .replace("per = \"bu\" }", "per = \"bu\", lowest = 5, highest = 8 }")
        .replace("n_percent = 46 }", "n_percent = 46, sd = 60 }")
        .replace(
            "[decisions]",
            "pass_cost = { price = 8, per = \"ac\" }\n\
             protein_premium = { moisture_percent = 12, steps = [{ from = 0, add = -0.4 }, { from = 11, add = 0 }] }\n\
             lodging_loss = { yield_percent = 30, at_score = 100 }\n[decisions]",
        );
    let mut files = valid();
    files.insert("programme.toml", programme);
    let prices = load(&files).unwrap().value.prices.unwrap();
    assert_eq!(prices.grain.spread, Some(PriceSpread::Triangular { lowest: 5.0, highest: 8.0 }));
    assert_eq!(prices.nitrogen.spread, Some(PriceSpread::Normal { standard_deviation: 60.0 }));
    assert_eq!(prices.pass_cost, Some(PassCost { price: 8.0, per: AreaUnit::Acre }));
    let premium = prices.protein_premium.unwrap();
    assert_eq!(premium.moisture.map(|moisture| moisture.percent()), Some(12.0));
    assert_eq!(premium.steps, [PremiumStep { from: 0.0, add: -0.4 }, PremiumStep { from: 11.0, add: 0.0 }]);
    assert_eq!(prices.lodging_loss, Some(LodgingLoss { yield_percent: 30.0, at_score: 100.0 }));
}

#[test]
fn every_file_that_was_read_is_named_with_its_digest() {
    let programme = load(&valid()).unwrap().value;
    let files: Vec<&str> = programme.inputs.iter().map(|input| input.file.as_str()).collect();
    let expected = [
        "osier-2025/plots.csv",
        "osier-2025/readings.csv",
        "osier-2025/trial.toml",
        "programme.toml",
        "upper-2024/plots.csv",
        "upper-2024/trial.toml",
    ];
    assert_eq!(files, expected);
    let mut files = valid();
    files.insert("upper-2024/trial.toml", format!("{UPPER}\n"));
    let changed = load(&files).unwrap().value;
    let differing = changed.inputs.iter().zip(&programme.inputs).filter(|(a, b)| a.sha256 != b.sha256);
    assert_eq!(differing.map(|(input, _)| input.file.as_str()).collect::<Vec<_>>(), ["upper-2024/trial.toml"]);
}

#[test]
fn a_digest_is_that_of_the_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("abc");
    fs::write(&path, "abc").unwrap();
    let (_, digest) = crate::files::opened::bytes(&path, "abc").unwrap();
    // The example of FIPS 180-2, appendix B.1.
    assert_eq!(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

#[test]
fn a_product_is_counted_in_n_and_missing_cells_are_missing() {
    let programme = load(&valid()).unwrap().value;
    let trial = &programme.trials[0];
    assert_eq!(
        (trial.design.clone(), trial.need_from),
        (Design::RandomisedCompleteBlock, NeedFrom::DifferenceFromOptimum)
    );
    let rates: Vec<f64> = trial.plots.iter().map(|plot| plot.rates[0].in_unit(NRateUnit::PoundsPerAcre)).collect();
    assert_eq!(rates, [0.0, 179.86, 179.86, 0.0], "391 lb of a 46 % product");
    assert_eq!(trial.plots.iter().map(|plot| plot.is_reference).collect::<Vec<_>>(), [false, true, true, false]);
    assert_eq!(trial.plots[2].harvest, None);
    let Some(Harvest::Yield { quantity, moisture }) = trial.plots[0].harvest else { panic!("a yield") };
    assert_eq!((quantity, moisture.unwrap().percent()), (Yield::new(41.5, YieldUnit::BushelsPerAcre), 12.0));
    assert_eq!(trial.plots[3].excluded(Excluded::Yield), Some("combine plugged"));
    assert_eq!(trial.plots[3].excluded(Excluded::Readings), None);
    assert_eq!((trial.plots[0].variety.as_deref(), trial.plots[0].block.as_deref()), (Some("Pale Heron"), Some("1")));
    assert_eq!(trial.readings.len(), 3, "an empty cell is no reading");
}

#[test]
fn readings_a_row_each_are_joined_by_every_part_of_the_key_and_ordered() {
    let programme = load(&valid()).unwrap().value;
    let trial = &programme.trials[1];
    assert_eq!(trial.design, Design::SplitPlot { main_plot: vec!["variety".to_owned()] });
    let applications: Vec<_> = trial.applications.iter().map(|it| (it.name.as_str(), it.timing)).collect();
    assert_eq!(applications, [("early", Timing::BeforeSensing), ("topdress", Timing::DecidedBySensing)], "by date");
    assert_eq!(
        trial.plots[2].rates.iter().map(|rate| rate.in_unit(NRateUnit::KilogramsPerHectare)).collect::<Vec<_>>(),
        [20.0, 90.0]
    );
    assert_eq!(trial.plots.iter().map(|plot| plot.id.as_str()).collect::<Vec<_>>(), ["1-1", "1-2", "2-1", "2-2"]);
    assert_eq!(trial.plots[0].row, 3);
    let readings: Vec<_> =
        trial.readings.iter().map(|it| (it.instrument, it.plot, it.leaf, it.value, it.row)).collect();
    let (canopy, leaf) = (Instrument::CanopyNdvi, Instrument::LeafChlorophyll);
    let expected = [
        (canopy, 0, None, 0.61, 2),
        (canopy, 1, None, 0.83, 3),
        (canopy, 2, None, 0.60, 4),
        (canopy, 3, None, 0.84, 5),
        (leaf, 0, Some(1), 43.9, 7),
        (leaf, 0, Some(2), 44.1, 6),
        (leaf, 1, Some(1), 55.0, 8),
    ];
    assert_eq!(readings, expected);
    assert_eq!(trial.readings[0].date, date(2025, 4, 4));
}

#[test]
fn a_weight_becomes_kilograms_from_square_metres() {
    let programme = load(&valid()).unwrap().value;
    let plot = &programme.trials[1].plots[0];
    let Some(Harvest::Weight { kilograms, square_metres, moisture, .. }) = plot.harvest else { panic!("a weight") };
    // 8.40 lb and 20 ft × 5 ft by the definitions of NIST SP 811.
    approx::assert_relative_eq!(kilograms, 8.40 * 0.453_592_37, max_relative = 1e-12);
    approx::assert_relative_eq!(square_metres, 100.0 * 0.3048 * 0.3048, max_relative = 1e-12);
    assert_eq!(moisture.unwrap().percent(), 14.2);
    let protein = plot.protein.unwrap();
    assert_eq!((protein.percent, protein.moisture.unwrap().percent()), (9.5, 12.0));
    assert!(programme.trials[1].plots[2].protein.is_none());
}

#[test]
fn byte_order_mark_and_line_ends_change_nothing_but_the_digest() {
    let plain = load(&valid()).unwrap().value;
    for line_end in ["\r\n", "\r"] {
        let mut files = valid();
        for text in files.values_mut() {
            *text = format!("\u{feff}{}", text.replace('\n', line_end));
        }
        let changed = load(&files).unwrap().value;
        assert_eq!(changed.trials, plain.trials);
        assert_eq!(changed.tables, plain.tables);
    }
}

#[test]
fn readings_may_be_columns_of_a_file_of_their_own_with_its_own_headers_for_the_plot() {
    let mut files = valid();
    let sections = "columns = [{ column = \"ndvi_apr02\"";
    let own = "file = \"canopy.csv\"\nplot = \"Plot no.\"\ncolumns = [{ column = \"Apr 2\"";
    files.insert("upper-2024/trial.toml", UPPER.replace(sections, own));
    files.insert("upper-2024/canopy.csv", "Apr 2,Plot no.\n0.7,104\n0.5,101\n".to_owned());
    let programme = load(&files).unwrap().value;
    let readings: Vec<_> = programme.trials[0].readings.iter().map(|it| (it.plot, it.value, it.row)).collect();
    assert_eq!(readings, [(0, 0.5, 3), (3, 0.7, 2)]);
}

#[test]
fn n_on_the_day_of_sensing_is_on_only_if_it_went_on_first() {
    for (typed, same_day, is_on) in [("before", SameDay::Before, true), ("after", SameDay::After, false)] {
        let mut files = valid();
        let text = OSIER.replace("date = 2025-04-09", &format!("date = 2025-04-04\nsame_day = \"{typed}\""));
        files.insert("osier-2025/trial.toml", text);
        match load(&files) {
            Ok(loaded) => {
                let topdress = &loaded.value.trials[1].applications[1];
                assert_eq!((topdress.same_day, topdress.is_on(date(2025, 4, 4))), (Some(same_day), is_on));
            }
            // A topdress before the only sensing can't have been decided by it.
            Err(findings) => assert!(is_on && findings[0].code == "timing-contradicts-dates", "{findings:#?}"),
        }
    }
}

#[test]
fn n_that_may_not_show_yet_draws_one_warning_for_each_sensing() {
    let mut files = valid();
    files.insert("osier-2025/trial.toml", OSIER.replace("date = 2025-02-24", "date = 2025-03-22"));
    let loaded = load(&files).unwrap();
    let warnings: Vec<_> = loaded.warnings.iter().map(|warning| (warning.code, warning.place.row)).collect();
    assert_eq!(warnings, [("young-nitrogen", Some(21))]);
    assert!(loaded.warnings[0].text.contains("13 days before the sensing of 2025-04-04"));
}

#[test]
fn what_a_trial_can_do_without_is_a_warning() {
    let codes = |text: String| {
        let mut files = valid();
        files.insert("upper-2024/trial.toml", text);
        let loaded = load(&files).unwrap_or_else(|findings| panic!("{findings:#?}"));
        loaded.warnings.iter().map(|warning| warning.code).collect::<Vec<_>>()
    };
    let from = |start: &str, end: &str| {
        let (start, end) = (UPPER.find(start).unwrap(), UPPER.find(end).unwrap());
        format!("{}{}", &UPPER[..start], &UPPER[end..])
    };
    assert_eq!(codes(from("[harvest]", "[[exclude]]")), ["no-harvest"]);
    assert_eq!(codes(from("[reference]", "[[readings]]")), ["no-reference"]);
    assert_eq!(codes(UPPER.replace(", moisture_percent = 12.0", "")), ["no-moisture"]);
    assert_eq!(codes(UPPER.replace("harvest_year = 2024", "harvest_year = 2026")), ["other-season", "other-season"]);
}

#[test]
fn a_trial_is_read_with_its_programmes_units_even_if_it_is_left_out() {
    let mut files = valid();
    files.insert("programme.toml", super::PROGRAMME.replace("\"hailed-2023\"", "\"upper-2024\""));
    let folder = written(&files);
    let programme = load_trial(&folder.path().join("upper-2024")).unwrap().value;
    assert_eq!(programme.trials.len(), 1);
    assert_eq!((programme.trials[0].folder.as_str(), programme.left_out.len()), ("upper-2024", 0));
    assert_eq!(programme.units.n_rate, NRateUnit::PoundsPerAcre);
    let descriptor = load_trial(&folder.path().join("upper-2024/trial.toml")).unwrap().value;
    assert_eq!(descriptor, programme);
}

#[test]
fn a_trial_without_a_programme_says_what_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("upper-2024")).unwrap();
    fs::write(folder.path().join("upper-2024/trial.toml"), UPPER).unwrap();
    let findings = load_trial(&folder.path().join("upper-2024")).unwrap_err();
    assert_eq!((findings[0].code, findings[0].place.file.as_str()), ("cannot-read", "programme.toml"));
    assert!(load_trial(Path::new("no-such-trial")).is_err());
}

#[test]
fn a_path_is_known_for_what_it_leads_to() {
    let folder = written(&valid());
    let kind = |path: &str| kind_of(&folder.path().join(path)).map_err(|finding| finding.code);
    assert_eq!(kind(""), Ok(Kind::Programme));
    assert_eq!(kind("programme.toml"), Ok(Kind::Programme));
    assert_eq!(kind("upper-2024"), Ok(Kind::Trial));
    assert_eq!(kind("upper-2024/plots.csv"), Ok(Kind::Data));
    assert_eq!(kind("nowhere"), Err("cannot-read"));
    assert!(load_programme(&folder.path().join("programme.toml")).is_ok());
}

fn roles() -> ColumnRoles {
    ColumnRoles {
        rate: "urea_lb_ac".to_owned(),
        yields: "yield".to_owned(),
        block: Some("rep".to_owned()),
        by: None,
        factors: Vec::new(),
        design: Design::RandomisedCompleteBlock,
        site_year: None,
        replicates: None,
        layout: crate::files::Layout::default(),
    }
}

/// Code, row and column of a finding.
type Told = (&'static str, Option<u64>, Option<String>);

fn quick_look(text: &str, roles: &ColumnRoles) -> Result<Columns, Vec<Told>> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plots.csv");
    fs::write(&path, text).unwrap();
    match load_columns(&path, roles) {
        Ok(loaded) => Ok(loaded.value.columns),
        Err(findings) => Err(findings.into_iter().map(|it| (it.code, it.place.row, it.place.column)).collect()),
    }
}

#[test]
fn a_quick_look_keeps_the_rows_with_a_yield_and_lists_the_others() {
    let columns = quick_look(UPPER_PLOTS, &ColumnRoles { by: Some("plot".to_owned()), ..roles() }).unwrap();
    assert_eq!(columns.rates, [0.0, 391.0, 0.0]);
    assert_eq!(columns.yields, [41.5, 78.0, 39.25]);
    assert_eq!(columns.blocks.unwrap(), ["1", "1", "2"]);
    assert_eq!(columns.by.unwrap(), ("plot".to_owned(), vec!["101".to_owned(), "102".to_owned(), "104".to_owned()]));
    assert_eq!(columns.missing, [MissingYield { row: 4, level: "103".to_owned(), factor_levels: Vec::new() }]);
}

#[test]
fn a_quick_look_tells_every_fault_of_its_file() {
    let misnamed = ColumnRoles { yields: "yeild".to_owned(), block: Some("block".to_owned()), ..roles() };
    let expected = |column: &str| ("missing-column", Some(1), Some(column.to_owned()));
    assert_eq!(quick_look(UPPER_PLOTS, &misnamed), Err(vec![expected("yeild"), expected("block")]));
    let faulty = "rep,urea_lb_ac,yield\n1,,40\n,30,-1\n1,x,y\n";
    let at = |code: &'static str, row: u64, column: &str| (code, Some(row), Some(column.to_owned()));
    let expected = vec![
        at("missing-cell", 2, "urea_lb_ac"),
        at("not-a-number", 4, "urea_lb_ac"),
        at("out-of-range", 3, "yield"),
        at("not-a-number", 4, "yield"),
        at("missing-cell", 3, "rep"),
    ];
    assert_eq!(quick_look(faulty, &roles()), Err(expected));
    let without = "rep,urea_lb_ac,yield\n1,0,NA\n";
    assert_eq!(quick_look(without, &roles()), Err(vec![at("no-yields", 1, "yield")]));
}

#[test]
fn a_format_that_cannot_be_read_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("oats.ods");
    fs::write(&path, "PK").unwrap();
    let finding = load_columns(&path, &roles()).unwrap_err().remove(0);
    assert_eq!((finding.code, finding.remedy.as_deref()), ("unknown-format", Some("save the workbook as .xlsx")));
}
