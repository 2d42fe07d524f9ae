//! Trials that never grew: a seed and a description of site-years in, the files of a programme out, and the truth behind
//! them apart.
//!
//! A simulated programme is written as a station would keep it (descriptors and CSV files with plain headers, numbers to the
//! decimals an instrument prints), so that everything from reading files to the rate table can be tried where the right
//! answer is known. The truth is a separate text that no analysis reads. Its curves belong to none of the families that the
//! response engine fits: a programme made by the model that analyses it would prove nothing.
//!
//! The same seed and site-years give the same bytes. Every number is drawn from a ChaCha8 stream of its own trial and
//! purpose, so a site-year added at the end changes none before it, and more leaves read in one trial change no yield.

mod chance;
mod demo;
mod descriptor;
mod field;
mod growth;
mod population;
mod site_year;
mod tables;
mod truth;

#[cfg(test)]
mod tests;

pub use demo::{DEMO_SEED, demo_site_years};
pub use growth::{Growth, Variety};
pub use population::{Given, PopulationOptions, PopulationTruth, RowTruth, TruePoint, population};
pub use site_year::{
    CanopyReadings, Day, Harvest, History, Mishap, Rates, RichPlots, Scatter, Sensing, SiteYear, ThinStand, TypedRate,
};

/// One file of a simulated programme.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SimulatedFile {
    /// Path inside the programme's folder, with forward slashes on every system.
    pub path: String,
    /// The whole text, lines ended by a line feed.
    pub text: String,
}

/// A simulated programme and the truth it was drawn from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Simulated {
    /// `programme.toml` first, then the files of each trial folder in the order of the site-years.
    pub files: Vec<SimulatedFile>,
    /// The truth as JSON: curves, optima and indexes without noise. Keep it outside the programme's folder.
    pub truth: String,
}

/// The demo programme: three sites, three seasons, winter wheat. With [`DEMO_SEED`] it is the programme committed under
/// `trials/`.
pub fn demo(seed: u64) -> Simulated {
    programme(seed, &demo_site_years())
}

/// Draws a programme from `seed` and its site-years, each of which becomes one trial folder.
///
/// The descriptions are taken as they are: a site-year with no block or no variety gives a trial without plots, which is
/// useful to test what a reader says about it.
pub fn programme(seed: u64, site_years: &[SiteYear]) -> Simulated {
    let mut files = vec![SimulatedFile { path: "programme.toml".to_string(), text: descriptor::programme(site_years) }];
    for (index, site_year) in (0u64..).zip(site_years) {
        let plots = field::grow(seed, index, site_year);
        let folder = site_year.folder();
        let mut write = |name: &str, text: String| {
            files.push(SimulatedFile { path: format!("{folder}/{name}"), text });
        };
        write("trial.toml", descriptor::trial(site_year));
        write("plots.csv", tables::plots(site_year, &plots));
        write(site_year.readings_file(), tables::readings(site_year, &plots));
    }
    Simulated { files, truth: truth::document(seed, site_years) }
}
