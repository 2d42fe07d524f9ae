//! What a trial knows beside its rates, readings and yields: every key is read, and a fault of each is told where it is.

use std::collections::BTreeMap;

use approx::assert_relative_eq;
use jiff::civil::date;

use super::{PROGRAMME, load};
use crate::finding::{Finding, Severity};
use crate::trial::{Design, Trial};
use crate::units::{NRate, NRateUnit, TestWeightUnit};

const DESCRIPTOR: &str = "upper-2024/trial.toml";
const PLOTS: &str = "upper-2024/plots.csv";

/// A trial that uses every key. Lines are counted by the tests: add at the end of a table.
const TRIAL: &str = r#"format = 1
site = "Upper Terrace"
harvest_year = 2024
design = "split-plot"
main_plot = ["fungicide"]
factors = ["fungicide", "sowing"]
need_from = "topdress-response"
planting_date = 2023-10-04
preceding_crop = "soybean"
manure_credit = { n = 20, unit = "lb/ac" }
spring_soil_nitrate = { n = 35, depth = 24, depth_unit = "in" }
weather_notes = "Dry in April; 22 mm of rain on the day after the topdress"
[plots]
file = "plots.csv"
plot = "plot"
block = "rep"
main_plot = "mp"
variety = { same = "Pale Heron" }
plants = { column = "plants", unit = "per m2" }
tillers = { column = "tillers", unit = "per ft of row", row_spacing = 7.5, row_spacing_unit = "in" }
[[application]]
name = "early"
product = "ammonium nitrate"
planned = { same = 30 }
date = 2024-02-20
stage = "Feekes 3"
timing = "before-sensing"
[[application]]
name = "topdress"
product = "urea"
n = { column = "urea", unit = "lb/ac", n_percent = 46 }
planned = { column = "n_plan", unit = "kg/ha" }
date = 2024-04-09
stage = "Feekes 5"
timing = "decided-by-sensing"
[[readings]]
instrument = "canopy-ndvi"
columns = [{ column = "ndvi", date = 2024-04-02, stage = "Feekes 5" }]
[harvest]
yield = { column = "yield", moisture_percent = 12.0 }
test_weight = { column = "tw", unit = "lb/bu" }
lodging = "lodged"
"#;

const ROWS: &str = "\
plot,rep,mp,fungicide,sowing,urea,n_plan,plants,tillers,ndvi,yield,tw,lodged
101,1,1,none,early,0,0,201,44,0.55,41.5,60.1,0
102,1,1,none,late,100,50,NA,.,0.56,58,59.5,2.5
103,1,2,treated,early,102,50,210,51,0.58,60,,
104,1,2,treated,late,0,,190,47,0.57,43,58.8,1
";

fn files() -> BTreeMap<&'static str, String> {
    let programme = PROGRAMME.replace("leave_out = { \"hailed-2023\" = \"hail, 3 June\" }\n", "");
    [("programme.toml", programme), (DESCRIPTOR, TRIAL.to_owned()), (PLOTS, ROWS.to_owned())].into()
}

fn trial() -> Trial {
    load(&files()).unwrap().value.trials.remove(0)
}

fn with(file: &'static str, from: &str, to: &str) -> Result<Vec<Finding>, Vec<Finding>> {
    let mut files = files();
    assert!(files[file].contains(from), "{from:?} is not in {file}");
    let text = files[file].replacen(from, to, 1);
    files.insert(file, text);
    load(&files).map(|loaded| loaded.warnings)
}

/// The conversions are by the definitions of NIST SP 811, so only their rounding is left.
const EXACT: f64 = 1e-12;

#[test]
fn the_background_of_a_site_year_is_kept_as_typed() {
    let background = trial().background;
    assert_eq!(background.planting_date, Some(date(2023, 10, 4)));
    assert_eq!(background.preceding_crop.as_deref(), Some("soybean"));
    assert_eq!(background.manure_credit, Some(NRate::new(20.0, NRateUnit::PoundsPerAcre)));
    let nitrate = background.spring_soil_nitrate.unwrap();
    assert_eq!(nitrate.n, NRate::new(35.0, NRateUnit::PoundsPerAcre), "without a unit in the programme's");
    assert_relative_eq!(nitrate.depth_metres, 24.0 * 0.0254, max_relative = EXACT);
    assert!(background.weather_notes.unwrap().starts_with("Dry in April"));
}

#[test]
fn an_application_has_its_product_stage_plan_and_what_went_on() {
    let trial = trial();
    let [early, topdress] = trial.applications.as_slice() else { panic!("two applications") };
    assert_eq!((early.product.as_deref(), topdress.product.as_deref()), (Some("ammonium nitrate"), Some("urea")));
    assert_eq!(topdress.stage.as_ref().map(ToString::to_string).as_deref(), Some("Feekes 5"));
    assert_eq!(topdress.n_percent, Some(46.0));
    let pounds = |value| NRate::new(value, NRateUnit::PoundsPerAcre);
    let kilograms = |value| Some(NRate::new(value, NRateUnit::KilogramsPerHectare));
    assert_eq!(trial.plots[2].rates, [pounds(30.0), pounds(46.92)], "the plan stands in where only it is given");
    assert_eq!(trial.plots[2].planned_rates, [Some(pounds(30.0)), kilograms(50.0)]);
    assert_eq!(trial.planned_rate(&trial.plots[2], 1), kilograms(50.0));
    assert_eq!(trial.plots[3].planned_rates[1], None, "an empty cell of a plan is no plan");
    assert_eq!(trial.planned_rate(&trial.plots[3], 1), Some(pounds(0.0)), "what went on stands in for it");
    assert_eq!(trial.planned_rate(&trial.plots[3], 2), None);
    let unit = NRateUnit::KilogramsPerHectare;
    let planned: Vec<f64> =
        trial.plots.iter().map(|plot| trial.planned_n_where(plot, unit, |it| it.name == "topdress")).collect();
    assert_eq!(planned, [0.0, 50.0, 50.0, 0.0]);
}

#[test]
fn a_plot_has_its_main_plot_factors_counts_test_weight_and_lodging() {
    let trial = trial();
    assert_eq!(trial.factors, ["fungicide", "sowing"]);
    assert_eq!(trial.design, Design::SplitPlot { main_plot: vec!["fungicide".to_owned()] });
    let [first, second, third, _] = trial.plots.as_slice() else { panic!("four plots") };
    assert_eq!((first.main_plot.as_deref(), third.main_plot.as_deref()), (Some("1"), Some("2")));
    assert_eq!(third.factor_levels, ["treated", "early"]);
    assert_eq!(first.plants.unwrap().per_square_metre(), 201.0);
    // Computed with NumPy: 44 a foot of row at 7.5 inches are 70.4 a square foot.
    assert_relative_eq!(first.tillers.unwrap().per_square_foot(), 70.4, max_relative = EXACT);
    assert_eq!((second.plants, second.tillers), (None, None), "what was not counted is missing, not 0");
    assert_eq!(first.test_weight.unwrap().in_unit(TestWeightUnit::PoundsPerBushel), 60.1);
    assert_eq!((third.test_weight, third.lodging), (None, None));
    assert_eq!((first.lodging, second.lodging), (Some(0.0), Some(2.5)));
}

#[test]
fn a_strip_plot_names_its_strips_as_a_split_plot_its_main_plots() {
    let mut files = files();
    let strips = TRIAL.replace("split-plot", "strip-plot").replace("main_plot =", "strip =");
    files.insert(DESCRIPTOR, strips);
    let trial = load(&files).unwrap().value.trials.remove(0);
    assert_eq!(trial.design, Design::StripPlot { strip: vec!["fungicide".to_owned()] });
    let third = &trial.plots[2];
    assert_eq!((third.strip.as_deref(), third.main_plot.as_deref()), (Some("2"), None));
    assert_eq!((trial.plot_columns.strip.as_deref(), trial.whole_plot(third)), (Some("mp"), Some("2")));
}

#[test]
fn the_columns_of_a_plots_file_are_known_by_their_roles() {
    let columns = trial().plot_columns;
    let named = |name: &str| Some(name.to_owned());
    assert_eq!(columns.main_plot, named("mp"));
    assert_eq!(columns.factors, ["fungicide", "sowing"]);
    assert_eq!(columns.rates, [None, named("urea")]);
    assert_eq!(columns.planned_rates, [None, named("n_plan")]);
    assert_eq!((columns.plants, columns.tillers), (named("plants"), named("tillers")));
    assert_eq!((columns.test_weight, columns.lodging), (named("tw"), named("lodged")));
}

/// What is done to a file of the sound trial, and the code, row, column and value of the one error that must follow.
type Fault = (&'static str, (&'static str, &'static str), (&'static str, u64, &'static str, &'static str));

fn faults() -> Vec<Fault> {
    let nitrate = "spring_soil_nitrate = { n = 35, depth = 24, depth_unit = \"in\" }";
    let spacing = "row_spacing = 7.5, row_spacing_unit = \"in\"";
    vec![
        (DESCRIPTOR, ("planting_date", "plantng_date"), ("unknown-key", 8, "plantng_date", "plantng_date")),
        (DESCRIPTOR, ("2023-10-04", "\"2023-10-04\""), ("wrong-type", 8, "planting_date", "2023-10-04")),
        (DESCRIPTOR, ("2023-10-04", "2024-05-01"), ("planted-after-sensing", 8, "planting_date", "2024-05-01")),
        (DESCRIPTOR, ("\"soybean\"", "\" \""), ("empty-text", 9, "preceding_crop", " ")),
        (DESCRIPTOR, ("{ n = 20,", "{ n = -20,"), ("out-of-range", 10, "manure_credit.n", "-20")),
        (
            DESCRIPTOR,
            ("unit = \"lb/ac\" }\nspring", "unit = \"lb\" }\nspring"),
            ("unknown-value", 10, "manure_credit.unit", "lb"),
        ),
        (DESCRIPTOR, ("{ n = 20, unit", "{ kg = 20, n = 1, unit"), ("unknown-key", 10, "manure_credit.kg", "kg")),
        (DESCRIPTOR, ("depth = 24,", "depth = 0,"), ("out-of-range", 11, "spring_soil_nitrate.depth", "0")),
        (
            DESCRIPTOR,
            (nitrate, "spring_soil_nitrate = { n = 35, depth = 24 }"),
            ("missing-key", 11, "spring_soil_nitrate.depth_unit", ""),
        ),
        (DESCRIPTOR, ("weather_notes = \"Dry", "weather_notes = [] #"), ("wrong-type", 12, "weather_notes", "[]")),
        (
            DESCRIPTOR,
            ("[\"fungicide\", \"sowing\"]", "[\"fungicide\", \"soing\"]"),
            ("missing-column", 6, "factors", "soing"),
        ),
        (
            DESCRIPTOR,
            ("[\"fungicide\", \"sowing\"]", "[\"fungicide\", \"rep\"]"),
            ("duplicate-name", 6, "factors", "rep"),
        ),
        (
            DESCRIPTOR,
            ("[\"fungicide\", \"sowing\"]", "[\"fungicide\", \"urea\"]"),
            ("duplicate-name", 6, "factors", "urea"),
        ),
        (DESCRIPTOR, ("name = \"topdress\"", "name = \"sowing\""), ("duplicate-name", 6, "factors", "sowing")),
        (
            DESCRIPTOR,
            ("[\"fungicide\", \"sowing\"]", "[\"fungicide\", \"fungicide\"]"),
            ("duplicate-name", 6, "factors", "fungicide"),
        ),
        (
            DESCRIPTOR,
            ("main_plot = [\"fungicide\"]", "main_plot = [\"fungicid\"]"),
            ("unknown-factor", 5, "main_plot", "fungicid"),
        ),
        (
            DESCRIPTOR,
            ("design = \"split-plot\"\nmain_plot = [\"fungicide\"]", "design = \"randomised-complete-block\"\n"),
            ("conflicting-keys", 17, "plots.main_plot", "mp"),
        ),
        (
            DESCRIPTOR,
            ("main_plot = \"mp\"", "main_plot = \"mainplot\""),
            ("missing-column", 17, "plots.main_plot", "mainplot"),
        ),
        (
            DESCRIPTOR,
            ("{ column = \"plants\", unit = \"per m2\" }", "\"plants\""),
            ("missing-key", 19, "plots.plants", "plants"),
        ),
        (DESCRIPTOR, ("\"per m2\"", "\"per plot\""), ("unknown-value", 19, "plots.plants.unit", "per plot")),
        (
            DESCRIPTOR,
            ("unit = \"per m2\"", "unit = \"per m2\", row_spacing = 18"),
            ("conflicting-keys", 19, "plots.plants.row_spacing", "18"),
        ),
        (
            DESCRIPTOR,
            ("column = \"tillers\"", "column = \"tiller\""),
            ("missing-column", 20, "plots.tillers.column", "tiller"),
        ),
        (DESCRIPTOR, ("row_spacing = 7.5", "row_spacing = 0"), ("out-of-range", 20, "plots.tillers.row_spacing", "0")),
        (DESCRIPTOR, (spacing, "row_spacing = 7.5"), ("missing-key", 20, "plots.tillers.row_spacing_unit", "")),
        (DESCRIPTOR, ("product = \"urea\"", "product = 46"), ("wrong-type", 30, "application.product", "46")),
        (DESCRIPTOR, ("planned = { same = 30 }\n", "\n"), ("missing-key", 21, "application.n", "")),
        (
            DESCRIPTOR,
            ("planned = { same = 30 }", "planned = { same = -30 }"),
            ("out-of-range", 24, "application.planned.same", "-30"),
        ),
        (
            DESCRIPTOR,
            ("column = \"n_plan\", unit = \"kg/ha\"", "column = \"n_plan\", units = \"kg/ha\""),
            ("unknown-key", 32, "application.planned.units", "units"),
        ),
        (DESCRIPTOR, ("\"n_plan\"", "\"plan\""), ("missing-column", 32, "application.planned.column", "plan")),
        (
            DESCRIPTOR,
            ("stage = \"Feekes 3\"", "stage = \"jointing\""),
            ("unknown-value", 26, "application.stage", "jointing"),
        ),
        (
            DESCRIPTOR,
            ("{ column = \"tw\", unit = \"lb/bu\" }", "\"tw\""),
            ("missing-key", 41, "harvest.test_weight", "tw"),
        ),
        (DESCRIPTOR, ("\"lb/bu\"", "\"lb/ac\""), ("unknown-value", 41, "harvest.test_weight.unit", "lb/ac")),
        (
            DESCRIPTOR,
            ("lodging = \"lodged\"", "lodging = \"lodge\""),
            ("missing-column", 42, "harvest.lodging", "lodge"),
        ),
        (PLOTS, ("101,1,1,none", "101,1,,none"), ("missing-cell", 2, "mp", "")),
        (PLOTS, ("101,1,1,none", "101,1,1,NA"), ("missing-cell", 2, "fungicide", "NA")),
        (PLOTS, ("100,50,NA", "100,-50,NA"), ("out-of-range", 3, "n_plan", "-50")),
        (PLOTS, ("201,44", "-201,44"), ("out-of-range", 2, "plants", "-201")),
        (PLOTS, ("201,44", "201,many"), ("not-a-number", 2, "tillers", "many")),
        (PLOTS, ("41.5,60.1", "41.5,0"), ("out-of-range", 2, "tw", "0")),
        (PLOTS, ("58.8,1\n", "58.8,-1\n"), ("out-of-range", 5, "lodged", "-1")),
    ]
}

#[test]
fn each_fault_is_one_error_with_its_place_and_what_would_be_right() {
    let mut failures = Vec::new();
    for (file, (from, to), (code, row, column, value)) in faults() {
        let found = match with(file, from, to) {
            Ok(warnings) => warnings,
            Err(findings) => findings,
        };
        let errors: Vec<&Finding> = found.iter().filter(|finding| finding.severity == Severity::Error).collect();
        let fits = |error: &Finding| {
            error.code == code
                && error.place.file == file
                && error.place.row == Some(row)
                && error.place.column.as_deref() == Some(column)
                && error.place.value.as_deref().unwrap_or_default() == value
                && error.remedy.is_some()
        };
        if !matches!(errors.as_slice(), [error] if fits(error)) {
            failures.push(format!("{to:?} in {file}: expected {code} at {row}, {column:?}; found {found:#?}"));
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn a_date_of_planting_in_another_season_draws_a_warning() {
    let warnings = with(DESCRIPTOR, "2023-10-04", "2013-10-04").unwrap();
    let about: Vec<_> = warnings.iter().filter(|warning| warning.code == "other-season").collect();
    assert!(matches!(about.as_slice(), [warning] if warning.text.contains("planted on 2013-10-04")), "{warnings:#?}");
}
