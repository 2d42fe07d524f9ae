//! What a million leaf readings cost, from the file to plot means: `cargo bench --bench reading`.
//!
//! `stook` reads a trial whose readings stand in one CSV file of a million rows (plot, date, stage, leaf, value; 33 334 plots are read
//! on 30 leaves) and reduces them to plot means: bytes digested, every cell checked, keys joined to plots, repeated readings looked
//! for. `polars_alone` is the same file through a bare polars read, grouped by plot and averaged, with none of that. Both use every
//! core. The target is that `stook` takes at most 1.5 times as long as `polars_alone`; compare the two medians. On two cores of a quiet
//! machine it stands at the edge and is not reached for certain: two runs of 20 samples each gave 1.51 and 1.60 times (132 and 138 ms
//! against 87 and 86 ms). Where other work shares the cores, the ratio says nothing.
//!
//! Before the times, one line tells the memory that reading takes, on Linux: the peak that `stook` adds, as bytes a reading. It is 107:
//! 64 of them are the reading that stays, 35 its line of the file.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use divan::Bencher;
use polars::prelude::{IntoLazy as _, col};
use polars_io::SerReader as _;
use polars_io::prelude::CsvReadOptions;
use stook::files::load_trial;
use stook::sensing::{plot_means, sensings};

const READINGS: usize = 1_000_000;
const LEAVES: usize = 30;
const PLOTS: usize = READINGS.div_ceil(LEAVES);
const TRIAL: &str = "leaves-2025";

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the files");
    write_trial(folder.path());
    // Benches find it there; it is set before any thread starts.
    FOLDER.set(folder.path().to_owned()).expect("set once");
    if let Some(before) = peak_resident() {
        let means = read_to_means(folder.path());
        let after = peak_resident().unwrap_or(before);
        println!("peak memory: {} bytes a reading ({means} plot means)", (after - before) / READINGS as u64);
    }
    divan::main();
}

static FOLDER: std::sync::OnceLock<std::path::PathBuf> = std::sync::OnceLock::new();

fn folder() -> &'static Path {
    FOLDER.get().expect("set in main")
}

/// Peak resident bytes of this process.
fn peak_resident() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kilobytes| kilobytes * 1024)
}

fn write_trial(folder: &Path) {
    let trial = folder.join(TRIAL);
    fs::create_dir_all(&trial).expect("a folder for the trial");
    let write = |path: &Path, text: &str| fs::write(path, text).expect("a file of the trial");
    write(
        &folder.join("programme.toml"),
        "format = 1\ntitle = \"Bench\"\ncrop = \"wheat\"\ncurrency = \"USD\"\n[units]\nn_rate = \"lb/ac\"\nyield = \"bu/ac\"\n",
    );
    write(
        &trial.join("trial.toml"),
        r#"format = 1
site = "Larkwater"
harvest_year = 2025
design = "completely-randomised"
need_from = "difference-from-optimum"
[plots]
file = "plots.csv"
plot = "plot"
[[application]]
name = "early"
n = "n"
date = 2025-02-20
timing = "before-sensing"
[[readings]]
instrument = "leaf-chlorophyll"
file = "readings.csv"
date = "date"
stage = "stage"
leaf = "leaf"
value = "value"
"#,
    );
    let mut plots = "plot,n\n".to_owned();
    let mut readings = "plot,date,stage,leaf,value\n".to_owned();
    for plot in 0..PLOTS {
        let _ = writeln!(plots, "P{plot:05},{}", plot % 6 * 40);
    }
    for reading in 0..READINGS {
        let (plot, leaf) = (reading / LEAVES, reading % LEAVES + 1);
        let value = 40.0 + ((reading * 7919) % 200) as f64 / 10.0;
        let _ = writeln!(readings, "P{plot:05},2025-04-04,Feekes 5,{leaf},{value}");
    }
    write(&trial.join("plots.csv"), &plots);
    write(&trial.join("readings.csv"), &readings);
}

fn read_to_means(folder: &Path) -> usize {
    let loaded = load_trial(&folder.join(TRIAL)).expect("a sound trial");
    let trial = loaded.value.trials.first().expect("one trial");
    sensings(trial).into_iter().map(|(instrument, date)| plot_means(trial, instrument, date).len()).sum()
}

#[divan::bench(sample_count = 10)]
fn stook(bencher: Bencher) {
    bencher.bench_local(|| read_to_means(folder()));
}

#[divan::bench(sample_count = 10)]
fn polars_alone(bencher: Bencher) {
    let path = folder().join(TRIAL).join("readings.csv");
    bencher.bench_local(|| {
        let reader = CsvReadOptions::default().try_into_reader_with_file_path(Some(path.clone())).expect("a CSV file");
        let frame = reader.finish().expect("a readable file");
        let means = frame.lazy().group_by([col("plot")]).agg([col("value").mean()]).collect();
        means.expect("means").height()
    });
}
