//! What a season costs and how it grows with site-years: `cargo bench --bench season`, or `cargo bench --bench season -- 50 200` for some sizes only.
//!
//! Programmes of 50, 100, 200 and 400 simulated site-years (32 plots each, 30 leaves a plot: 192 000 leaf readings at 200) are written to a temporary
//! folder and run once each, from the files to the report in memory (with `--features pdf` as a PDF too), then resampled 1 000 times. Each step is timed; the
//! last lines give the exponent by which it grows from each size to the next, 1 where twice the site-years take twice as long.
//!
//! Memory is the peak that the process has had by then, on Linux, so sizes run in ascending order. Run it on a quiet machine.

use std::fs;
use std::path::Path;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use stook::calibration::{Basis, FittedTrial, Materials, gather, needs, resample};
use stook::figures::{Style, Wording, WordingOptions, draw_figures, season_figures};
use stook::files::load_programme;
use stook::output::SeasonReports;
use stook::quality::check_programme;
use stook::report::{html, is_in_report, season_report};
use stook::season::{Season, SeasonOptions, Step};
use stook::simulate::{PopulationOptions, population, programme};
use stook::trial::{RelationKind, TableSpecification};

const SIZES: [usize; 4] = [50, 100, 200, 400];
const SEED: u64 = 11;
const RESAMPLES: u64 = 1_000;

/// One size: every step with the time it took.
struct Timed {
    site_years: usize,
    steps: Vec<(String, Duration)>,
}

fn main() {
    let asked: Vec<usize> = std::env::args().skip(1).filter_map(|size| size.parse().ok()).collect();
    let mut sizes = if asked.is_empty() { SIZES.to_vec() } else { asked };
    sizes.sort_unstable();
    let timed: Vec<Timed> = sizes.into_iter().map(time).collect();
    for pair in timed.windows(2) {
        let [small, large] = pair else { continue };
        println!("{} to {} site-years: exponent of", small.site_years, large.site_years);
        let growth = (large.site_years as f64 / small.site_years as f64).ln();
        for ((step, before), (_, after)) in small.steps.iter().zip(&large.steps) {
            println!("  {step:32} {:6.2}", (after.as_secs_f64() / before.as_secs_f64()).ln() / growth);
        }
    }
}

fn time(site_years: usize) -> Timed {
    let folder = tempfile::tempdir().expect("a folder for the files");
    write(folder.path(), site_years);
    let mut steps = Vec::new();

    let start = Instant::now();
    let loaded = load_programme(folder.path()).expect("a sound programme");
    steps.push(("reading".to_owned(), start.elapsed()));

    // Season::run checks too, after the curves: its time is taken off what comes after them.
    let start = Instant::now();
    let findings = check_programme(&loaded.value).len();
    let checking = start.elapsed();
    steps.push(("checking".to_owned(), checking));

    let options = SeasonOptions { seed: SEED, ..SeasonOptions::default() };
    let start = Instant::now();
    let curves = Mutex::new(Duration::ZERO);
    let tables = Mutex::new(Vec::new());
    let progress = |step: Step<'_>| {
        let so_far = start.elapsed();
        match step {
            Step::Trial(_) => {
                let mut curves = curves.lock().expect("no panic");
                *curves = so_far.max(*curves);
            }
            Step::Table(name) => tables.lock().expect("no panic").push((name.to_owned(), so_far)),
        }
    };
    let season = Season::run(loaded.value, loaded.warnings, options, &progress).expect("bushels of wheat are known");
    let whole = start.elapsed();
    let curves = curves.into_inner().expect("no panic");
    steps.push(("curves, harvest, indices".to_owned(), curves));
    let mut before = curves + checking;
    for (name, at) in tables.into_inner().expect("no panic") {
        steps.push((format!("table {name}"), at.saturating_sub(before)));
        before = at;
    }
    steps.push(("warnings of results".to_owned(), whole.saturating_sub(before)));

    // The tables' own intervals need no resamples: a thousand of each table's relation beside them.
    let start = Instant::now();
    let resampled: usize = season.programme.tables.iter().map(|table| resamples(&season, table)).sum();
    steps.push((format!("{RESAMPLES} resamples a table"), start.elapsed()));

    let start = Instant::now();
    let across = season.across().len();
    steps.push(("site-years together".to_owned(), start.elapsed()));
    let start = Instant::now();
    let analysed = season.analyses().expect("bushels of wheat are known");
    let analyses = analysed.len();
    steps.push(("analyses of variance".to_owned(), start.elapsed()));
    let start = Instant::now();
    let wording = Wording::new(&season.programme, WordingOptions::default()).expect("bushels of wheat are known");
    let mut figures = season_figures(&season, &analysed, &wording);
    figures.retain(|figure| is_in_report(&figure.name, &season));
    let (figures, _) = draw_figures(&figures, None, &Style { with_png: false, ..Style::default() });
    steps.push(("figures of the report".to_owned(), start.elapsed()));
    let start = Instant::now();
    let reports = SeasonReports::of(&season, &analysed);
    let report = season_report(&season, &reports, &figures, &[], &wording);
    let page = html(&report);
    let workbook = report.workbook(&season, &reports).expect("tables that a sheet holds");
    steps.push((format!("report, {} MB", (page.len() + workbook.len()) / 1_000_000), start.elapsed()));
    #[cfg(feature = "pdf")]
    {
        let start = Instant::now();
        let pages = stook::report::pdf(&report, stook::report::Paper::A4).expect("figures that can be typeset");
        steps.push((format!("report as a PDF, {} MB", pages.len() / 1_000_000), start.elapsed()));
    }
    let total = steps.iter().map(|(_, time)| *time).sum();
    steps.push(("all".to_owned(), total));

    let peak = peak_resident();
    println!(
        "{site_years} site-years: {findings} findings, {resampled} relations of resamples, {across} results across, {analyses} analyses, peak {} MB",
        peak.map_or("?".to_owned(), |bytes| (bytes / 1_000_000).to_string())
    );
    for (step, time) in &steps {
        println!("  {step:32} {:9.3} s", time.as_secs_f64());
    }
    Timed { site_years, steps }
}

/// Relations of resampled site-years at the base price ratio.
fn resamples(season: &Season, table: &TableSpecification) -> usize {
    let trials: Vec<FittedTrial<'_>> = season.fitted_trials().collect();
    let evidence = gather(&trials, table, season.programme.units.n_rate).evidence;
    let price_ratio = season.price_ratios[0];
    let (points, _) = needs(&Basis::of(&evidence), price_ratio, season.programme.decisions.level);
    let materials = Materials::new(points, &evidence, price_ratio);
    let relation = materials.relation(RelationKind::CHOSEN_AMONG[0]).expect("early × topdress trials");
    let resampled = resample(&materials, &relation, RESAMPLES, SEED).expect("a relation").expect("enough site-years");
    resampled.resamples.len()
}

fn write(folder: &Path, site_years: usize) {
    let options = PopulationOptions::small();
    for file in programme(SEED, &population(SEED, site_years, &options)).files {
        let path = folder.join(&file.path);
        fs::create_dir_all(path.parent().expect("below the folder")).expect("a folder");
        fs::write(path, file.text).expect("a file of the programme");
    }
}

/// Peak resident bytes of this process.
fn peak_resident() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kilobytes| kilobytes * 1024)
}
