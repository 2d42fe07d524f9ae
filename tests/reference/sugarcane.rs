//! A published field trial from readings to a table: sugarcane, N rate × canopy sensor, Ellendale 2017.
//!
//! Data: Gerald McCollam, USDA-SARE project FS14-282 (MIT licence), read where they lie. Reference values computed with NumPy.

use std::fs;

use approx::assert_relative_eq;
use stook::rate_table::{Asked, Status};
use stook::season::Season;
use stook::sensing::{Because, Crowded, Verdict};
use stook::trial::Instrument;
use tempfile::TempDir;

use crate::data::shared;
use crate::programme::{load, run, written};

/// The indices are printed to four decimals.
const PRINTED: f64 = 5e-5;

const PROGRAMME: &str = r#"
format = 1
title = "Sugarcane N rates and canopy readings"
crop = "sugarcane"
currency = "USD"
[units]
n_rate = "lb/ac"
yield = "short ton/ac"
[prices]
grain = { price = 30, per = "short ton" }
nitrogen = { price = 0.60, per = "lb", n_percent = 100 }
[[table]]
name = "canopy-tillering"
instrument = "canopy-ndvi"
stages = ["Week 5", "Week 6"]
index = { lowest = 0.65, highest = 1.00, step = 0.05 }
rate = { round_to = 5, highest = 120 }
outside = "no-rate"
"#;

const TRIAL: &str = r#"
format = 1
site = "Ellendale"
harvest_year = 2017
design = "randomised-complete-block"
need_from = "difference-from-optimum"
[plots]
file = "plots.csv"
plot = "plot"
block = "block_inferred"
[[application]]
name = "spring"
n = { column = "n_lb_ac", unit = "lb/ac" }
date = 2017-04-19
timing = "before-sensing"
[reference]
where = { column = "n_lb_ac", equals = 180 }
also_treatment = true
shared_within = []
[[readings]]
instrument = "canopy-ndvi"
columns = [
  { column = "ndvi_20170425", date = 2017-04-25, stage = "Week 1" },
  { column = "ndvi_20170510", date = 2017-05-10, stage = "Week 3" },
  { column = "ndvi_20170525", date = 2017-05-25, stage = "Week 5" },
]
[harvest]
yield = { column = "cane_short_ton_ac", unit = "short ton/ac" }
"#;

pub fn folder() -> Option<TempDir> {
    let plots = shared("field-trials/sugarcane-canopy-2017/sugarcane_sare2017_wide.csv")?;
    let plots = fs::read_to_string(plots).expect("the plots can be read");
    Some(written([
        ("programme.toml", PROGRAMME.to_owned()),
        ("ellendale-2017/trial.toml", TRIAL.to_owned()),
        ("ellendale-2017/plots.csv", plots),
    ]))
}

fn season() -> Option<Season> {
    folder().map(|folder| run(load(folder.path())))
}

#[test]
fn the_index_by_rate_is_that_of_the_published_readings() {
    let Some(season) = season() else { return };
    let points = &season.tables[0].derived.calibrations[0].points;
    let found: Vec<(f64, f64)> = points.iter().map(|point| (point.n_on, point.index)).collect();
    let expected = [(0.0, 0.6637), (40.0, 0.8732), (80.0, 0.9617), (120.0, 0.9971)];
    assert_eq!(found.len(), expected.len());
    for ((n_on, index), (expected_n, expected_index)) in found.into_iter().zip(expected) {
        assert_eq!(n_on, expected_n);
        assert_relative_eq!(index, expected_index, epsilon = PRINTED);
    }
}

#[test]
fn the_reference_plots_are_a_treatment_but_not_points() {
    let Some(season) = season() else { return };
    let group = &season.trials[0].groups[0].group;
    assert_eq!((group.rates.len(), group.left_out.len()), (30, 0));
    let aside: Vec<(usize, &str)> =
        season.tables[0].gathered.set_aside.iter().map(|aside| (aside.plots, aside.reason.as_str())).collect();
    assert_eq!(aside, [(6, "N-rich reference plot: not a calibration point under itself")]);
}

#[test]
fn need_is_the_optimum_minus_the_n_already_on() {
    let Some(season) = season() else { return };
    let optimum = season.optimum(&season.trials[0].groups[0]).and_then(|found| found.optimum.rate).expect("an optimum");
    for point in &season.tables[0].derived.calibrations[0].points {
        assert_eq!(point.need, optimum - point.n_on);
    }
}

#[test]
fn the_first_date_shows_no_n_and_the_output_says_so() {
    let Some(season) = season() else { return };
    let silent: Vec<&str> = season
        .warnings
        .iter()
        .filter(|warning| warning.code == "readings-show-no-n")
        .filter_map(|warning| warning.place.column.as_deref())
        .collect();
    assert_eq!(silent, ["canopy-ndvi 2017-04-25"]);
    assert!(season.trials[0].sensings.iter().all(|sensing| sensing.instrument == Instrument::CanopyNdvi));
}

#[test]
fn one_site_year_gives_a_table_that_says_what_it_cannot() {
    let Some(season) = season() else { return };
    let result = &season.tables[0];
    let table = result.derived.table.as_ref().expect("a table");
    assert!(season.warnings.iter().any(|warning| warning.code == "one-site-year"));
    assert!(table.document().warnings.iter().any(|warning| warning.text.contains("one site-year")));
    assert!(result.derived.validations.is_empty() && result.derived.calibrations[0].resampled.is_none());
    assert!(table.document().rows.iter().all(|row| row.rates.iter().all(|rate| rate.interval.is_none())));
    // The zero plots read 0.6637 of the reference: what lies below was never seen.
    let below = table.lookup("0.50", "0.90", &Asked::default());
    assert_eq!((below.status, below.rate), (Status::BelowDomain, None));
}

type OfDate = (&'static str, [f64; 2], [f64; 2], [f64; 3], usize);

/// What statsmodels gives for the NDVI of a date on level + block: slope of the index from 0 to 80 and from 80 to 180, p of each, the step
/// from 120 to 180 in per cent of the reference with its 95 % limits, and the plots that read above the mean reference.
const BY_DATE: [OfDate; 3] = [
    (
        "2017-04-25",
        [0.000_712_025_316_455_690_9, -0.000_291_472_351_765_494_15],
        [0.076_877_466_716, 0.348_118_973_463],
        [0.0, -6.370_024_386_64, 6.370_024_386_64],
        11,
    ),
    (
        "2017-05-10",
        [0.001_652_892_561_983_467_1, -0.000_097_868_638_538_499],
        [0.000_029_996_345_518, 0.693_696_765_288],
        [-1.652_892_561_983_48, -6.795_890_224_54, 3.490_105_100_57],
        9,
    ),
    (
        "2017-05-25",
        [0.003_724_188_790_560_469, 0.000_357_087_408_787_449_4],
        [1.044_319_178_65e-10, 0.157_241_259_722],
        [0.294_985_250_737_43, -4.807_419_775_81, 5.397_390_277_28],
        4,
    ),
];

#[test]
fn slopes_and_last_step_of_the_published_readings_are_those_of_statsmodels() {
    let Some(season) = season() else { return };
    for (sensing, (date, slopes, p, step, above)) in season.trials[0].sensings.iter().zip(BY_DATE) {
        assert_eq!(sensing.date.to_string(), date);
        let (crowding, reference) = (&sensing.study.crowding[0], &sensing.study.references[0]);
        for ((found, slope), p) in [&crowding.lower, &crowding.upper].into_iter().zip(slopes).zip(p) {
            let found = found.as_ref().expect("a slope");
            assert_relative_eq!(found.slope.estimate.expect("a slope"), slope, max_relative = 1e-9);
            assert_relative_eq!(found.p, p, max_relative = 1e-6);
        }
        let (from, found) = reference.reading.last_step.as_ref().expect("a step");
        assert_eq!((*from, reference.above, reference.plots), (120.0, above, 24));
        let ends = [found.estimate, found.low, found.high];
        for (end, expected) in ends.into_iter().zip(step) {
            assert_relative_eq!(end.expect("an end"), expected, max_relative = 1e-8, epsilon = 1e-9);
        }
    }
}

#[test]
fn on_the_sensing_date_the_reference_is_neither_crowded_nor_shown_sufficient_by_its_yield() {
    let Some(season) = season() else { return };
    let sensing = season.trials[0].sensings.last().expect("three dates");
    // It reads 0.565, far below closed canopies, and nothing of that field was counted.
    assert_relative_eq!(sensing.study.crowding[0].reference, 0.565, max_relative = 1e-12);
    assert_eq!((sensing.study.crowding[0].crowded, sensing.study.stand.is_none()), (Crowded::No, true));
    let reference = &sensing.study.references[0];
    // The plateau of NDVI begins well below 180; that of cane may begin past it: 6.2 % (−0.2 to 12.6) more from 120 to 180.
    assert_eq!((reference.verdict(), reference.reading.because), (Verdict::Sufficient, Because::PlateauReached));
    let yields = reference.yields.as_ref().expect("cane");
    let (_, step) = yields.last_step.as_ref().expect("a step");
    for (end, expected) in [step.estimate, step.low, step.high].into_iter().zip([
        6.204_067_680_738,
        -0.235_326_969_744,
        12.643_462_331_221,
    ]) {
        assert_relative_eq!(end.expect("an end"), expected, max_relative = 1e-8);
    }
}
