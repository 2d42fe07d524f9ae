//! Trials made by hand, for tests.

use jiff::civil::date;

use super::{
    Application, Background, Design, FlaggedLeaves, Harvest, NeedFrom, Plot, PlotColumns, Protein, Timing, Trial,
};
use crate::units::{MoisturePercent, NRate, NRateUnit, Yield, YieldUnit};

/// A plot that got `n` lb/ac in one application and yielded `bushels` an acre at 13.5 % moisture.
pub(crate) fn plot(id: &str, block: &str, n: f64, bushels: f64) -> Plot {
    Plot {
        id: id.to_owned(),
        row: 2,
        block: Some(block.to_owned()),
        main_plot: None,
        strip: None,
        variety: None,
        factor_levels: Vec::new(),
        rates: vec![NRate::new(n, NRateUnit::PoundsPerAcre)],
        planned_rates: vec![None],
        is_reference: false,
        position: None,
        harvest: Some(Harvest::Yield {
            quantity: Yield::new(bushels, YieldUnit::BushelsPerAcre),
            moisture: MoisturePercent::new(13.5),
        }),
        protein: None,
        test_weight: None,
        lodging: None,
        plants: None,
        tillers: None,
        exclusions: Vec::new(),
    }
}

/// The same with its protein, per cent of grain at 12 % moisture.
pub(crate) fn with_protein(plot: Plot, percent: f64) -> Plot {
    Plot { protein: Some(Protein { percent, moisture: MoisturePercent::new(12.0) }), ..plot }
}

/// Randomised complete blocks, one application before sensing, no reference.
pub(crate) fn trial(plots: Vec<Plot>) -> Trial {
    Trial {
        folder: "upper-2024".to_owned(),
        site: "Upper Terrace".to_owned(),
        harvest_year: 2024,
        design: Design::RandomisedCompleteBlock,
        need_from: NeedFrom::DifferenceFromOptimum,
        descriptor: "upper-2024/trial.toml".to_owned(),
        plots_file: "upper-2024/plots.csv".to_owned(),
        plot_columns: PlotColumns::default(),
        background: Background::default(),
        applications: vec![application("green-up", Timing::BeforeSensing)],
        factors: Vec::new(),
        reference: None,
        plots,
        readings: Vec::new(),
        reading_files: Vec::new(),
        reading_columns: Vec::new(),
        leaf_positions: Vec::new(),
        flagged_leaves: FlaggedLeaves::default(),
        walks: Vec::new(),
        plate_checks: Vec::new(),
    }
}

/// An application in lb/ac.
pub(crate) fn application(name: &str, timing: Timing) -> Application {
    Application {
        name: name.to_owned(),
        unit: NRateUnit::PoundsPerAcre,
        product: None,
        n_percent: None,
        date: date(2024, 2, 20),
        stage: None,
        timing,
        same_day: None,
    }
}
