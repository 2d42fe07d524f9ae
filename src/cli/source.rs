//! What a path leads to, read.

use std::path::Path;

use clap::Args;

use super::failure::Failure;
use super::flags::{OutputFlags, PriceFlags, SeedFlag, TableFlag};
use super::roles::RoleFlags;
use crate::files::{Kind, Loaded, kind_of, load_columns, load_programme, load_trial};
use crate::finding::{Finding, Place, Severity};
use crate::season::{Season, SeasonError, SeasonOptions, Step};
use crate::trial::{Columns, InputFile, Programme};
use crate::units::BushelUnknown;

/// What the commands that calibrate tables have in common.
#[derive(Debug, Args)]
pub(super) struct TablesFlags {
    #[command(flatten)]
    table: TableFlag,
    #[command(flatten)]
    prices: PriceFlags,
    #[command(flatten)]
    seed: SeedFlag,
    #[command(flatten)]
    pub(super) output: OutputFlags,
}

impl TablesFlags {
    /// The programme with the tables asked for.
    ///
    /// # Errors
    /// Everything that is wrong with the arguments or the input.
    pub(super) fn read(&self, path: &Path) -> Result<Loaded<Programme>, Failure> {
        // Prices that contradict each other are said before anything is read.
        self.prices.ratio()?;
        let mut loaded = read_programme(path)?;
        self.output.spares(path, Some(&loaded.value.inputs))?;
        self.table.select(&mut loaded.value)?;
        Ok(loaded)
    }

    /// The price ratio asked for, and the prices of crop and N that it is of, if any.
    ///
    /// # Errors
    /// As in [`PriceFlags::ratio`].
    pub(super) fn prices(&self) -> Result<(Option<f64>, Option<[f64; 2]>), Failure> {
        Ok((self.prices.ratio()?, self.prices.money()))
    }

    /// The season of a programme that was read.
    ///
    /// # Errors
    /// As in [`run_season`].
    pub(super) fn season(&self, loaded: Loaded<Programme>) -> Result<Season, Failure> {
        self.season_with(loaded, SeasonOptions::default())
    }

    /// The same with further options.
    ///
    /// # Errors
    /// As in [`run_season`].
    pub(super) fn season_with(&self, loaded: Loaded<Programme>, options: SeasonOptions) -> Result<Season, Failure> {
        let price_ratio = self.prices.ratio()?;
        run_season(loaded, SeasonOptions { seed: self.seed.seed, price_ratio, ..options }, &|_| {})
    }
}

/// What a path leads to.
#[derive(Debug)]
pub(super) enum Source {
    /// A programme, or a trial as a programme of its own.
    Programme(Box<Loaded<Programme>>),
    /// A bare data file.
    Columns {
        /// Those that play a role.
        columns: Box<Columns>,
        /// The file with its digest.
        input: InputFile,
        /// Findings that do not stand in the way.
        warnings: Vec<Finding>,
    },
}

impl Source {
    /// Reads a programme, a trial, or the columns of a bare data file.
    ///
    /// # Errors
    /// Roles that are missing or out of place, and every finding of the files.
    pub(super) fn read(path: &Path, roles: &RoleFlags) -> Result<Self, Failure> {
        if kind_of(path)? != Kind::Data {
            roles.none_for(path)?;
            return Ok(Self::Programme(Box::new(read_programme(path)?)));
        }
        roles.pooled_error()?;
        let Loaded { value: file, warnings } = load_columns(path, &roles.of_file(path)?)?;
        Ok(Self::Columns { columns: Box::new(file.columns), input: file.input, warnings })
    }
}

/// Whether a folder is another, or one above it.
pub(super) fn holds(folder: &Path, other: &Path) -> bool {
    let (Ok(folder), Ok(other)) = (folder.canonicalize(), other.canonicalize()) else { return false };
    other.starts_with(folder)
}

/// Reads a programme, or a trial as a programme of its own.
///
/// # Errors
/// Every finding of its files, or a path that is neither.
pub(super) fn read_programme(path: &Path) -> Result<Loaded<Programme>, Failure> {
    match kind_of(path)? {
        Kind::Programme => Ok(load_programme(path)?),
        Kind::Trial => Ok(load_trial(path)?),
        Kind::Data => {
            let place = Place::file(path.display().to_string());
            let finding = Finding::error("not-a-programme", place, "this command works on a programme or trial folder");
            Err(finding.remedy("name the folder that holds programme.toml or trial.toml").into())
        }
    }
}

/// Runs a season over a programme that was read.
///
/// # Errors
/// Yields or prices that can't be brought to the programme's units; a trial whose checks find an error in it.
pub(super) fn run_season(
    loaded: Loaded<Programme>,
    options: SeasonOptions,
    progress: &(dyn Fn(Step<'_>) + Sync),
) -> Result<Season, Failure> {
    let crop = loaded.value.crop.name.clone();
    let season =
        Season::run(loaded.value, loaded.warnings, options, progress).map_err(|error| season_failure(&error, &crop))?;
    if season.warnings.iter().any(|finding| finding.severity == Severity::Error) {
        return Err(Failure::Input(season.warnings));
    }
    Ok(season)
}

/// What a user is told where there is no season.
pub(super) fn season_failure(error: &SeasonError, crop: &str) -> Finding {
    match error {
        SeasonError::Bushel(bushel) => bushel_unknown(bushel, crop),
        SeasonError::AbsurdPrices(_) => {
            let place = Place::file("programme.toml").column("prices");
            Finding::error("absurd-prices", place, error.to_string())
                .remedy("check the prices and the units that they are per")
        }
    }
}

/// What a user is told where quantities of a crop can't be brought to the programme's units.
pub(super) fn bushel_unknown(error: &BushelUnknown, crop: &str) -> Finding {
    let place = Place::file("programme.toml").column("crop").value(crop);
    Finding::error("bushel-unknown", place, error.to_string())
        .remedy("give yields and prices by mass, or name a crop that is sold by the bushel")
}

/// Runs a season for its yields and readings alone: no permutations, no tables.
///
/// # Errors
/// As in [`run_season`].
pub(super) fn without_curves(mut loaded: Loaded<Programme>) -> Result<Season, Failure> {
    loaded.value.tables.clear();
    run_season(loaded, SeasonOptions { permutations: 0, ..SeasonOptions::default() }, &|_| {})
}
