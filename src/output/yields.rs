//! Plot yields at standard moisture, and what became of each plot.

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::long::{Long, number, text};
use super::numbers::{fixed, plain};
use crate::files::export::Table;
use crate::harvest::PlotYield;
use crate::trial::{Plot, Programme, Trial};

/// The yields of every trial.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Yields {
    /// Unit of every yield.
    pub yield_unit: String,
    /// Moisture that yields are brought to; null where they are left as they stand.
    pub moisture_percent: Option<f64>,
    /// One entry a trial.
    pub trials: Vec<TrialYields>,
}

/// The yields of one trial: `plots` = `used` + `missing` + `excluded`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TrialYields {
    /// Trial folder.
    pub trial: String,
    /// Site.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// Plots with a yield that is used.
    pub used: usize,
    /// Plots without a yield.
    pub missing: usize,
    /// Plots whose yield is left out, with a reason.
    pub excluded: usize,
    /// Every plot of the plots file.
    pub plots: Vec<YieldOfPlot>,
}

/// What became of one plot's yield.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct YieldOfPlot {
    /// The plot, as typed.
    pub plot: String,
    /// Row of the plots file.
    pub row: u64,
    /// Block.
    pub block: Option<String>,
    /// Variety.
    pub variety: Option<String>,
    /// Yield; null where it is not used.
    #[serde(rename = "yield")]
    pub value: Option<f64>,
    /// `used`, `missing` or `excluded`.
    pub status: &'static str,
    /// Why it is not used.
    pub reason: Option<String>,
}

impl Yields {
    /// The yields of a programme's trials, given in the order of the trials.
    pub fn of<'a>(programme: &Programme, yields: impl IntoIterator<Item = &'a [PlotYield]>) -> Self {
        Self {
            yield_unit: programme.units.yields.to_string(),
            moisture_percent: programme.units.standard_moisture.map(|moisture| moisture.percent()),
            trials: programme.trials.iter().zip(yields).map(|(trial, yields)| TrialYields::of(trial, yields)).collect(),
        }
    }
}

impl TrialYields {
    fn of(trial: &Trial, yields: &[PlotYield]) -> Self {
        let count = |wanted: fn(&PlotYield) -> bool| yields.iter().filter(|found| wanted(found)).count();
        Self {
            trial: trial.folder.clone(),
            site: trial.site.clone(),
            harvest_year: trial.harvest_year,
            used: count(|found| matches!(found, PlotYield::Used(_))),
            missing: count(|found| matches!(found, PlotYield::Missing)),
            excluded: count(|found| matches!(found, PlotYield::Excluded(_))),
            plots: trial.plots.iter().zip(yields).map(|(plot, found)| YieldOfPlot::of(plot, found)).collect(),
        }
    }
}

impl YieldOfPlot {
    fn of(plot: &Plot, found: &PlotYield) -> Self {
        let (status, reason) = match found {
            PlotYield::Used(_) => ("used", None),
            PlotYield::Missing => ("missing", Some("no yield in the file".to_owned())),
            PlotYield::Excluded(reason) => ("excluded", Some(reason.clone())),
        };
        Self {
            plot: plot.id.clone(),
            row: plot.row,
            block: plot.block.clone(),
            variety: plot.variety.clone(),
            value: found.used(),
            status,
            reason,
        }
    }
}

impl Report for Yields {
    const COMMAND: &'static str = "yields";

    fn text(&self) -> String {
        let moisture = self
            .moisture_percent
            .map_or_else(|| "moisture as it stood".to_owned(), |moisture| format!("at {} % moisture", plain(moisture)));
        let unit = quantity("Plot yields, in", Some(&self.yield_unit));
        let mut text = format!("{unit}, {moisture}\n\n{}", self.counts());
        text += &self.not_used();
        if let [trial] = self.trials.as_slice() {
            text += &format!("\n{}", self.plots(trial));
        } else {
            text += &format!(
                "\n{}",
                paragraph("", "Every plot is in --format csv and json, and in the text of a single trial.")
            );
        }
        text
    }

    fn table(&self) -> Table {
        let mut long = Long::new([
            "trial",
            "plot",
            "row",
            "block",
            "variety",
            "yield",
            "yield_unit",
            "moisture_percent",
            "status",
            "reason",
        ]);
        for trial in &self.trials {
            for plot in &trial.plots {
                long.row([
                    trial.trial.as_str().into(),
                    plot.plot.as_str().into(),
                    plot.row.into(),
                    text(plot.block.as_deref()),
                    text(plot.variety.as_deref()),
                    number(plot.value),
                    self.yield_unit.as_str().into(),
                    number(self.moisture_percent),
                    plot.status.into(),
                    text(plot.reason.as_deref()),
                ]);
            }
        }
        long.finish()
    }
}

/// Decimals of yields in the list of plots.
const PLOT_DECIMALS: usize = 2;

impl Yields {
    fn counts(&self) -> String {
        let mut table = TextTable::new()
            .words("trial")
            .words("site")
            .numbers("harvest")
            .numbers("plots read")
            .numbers("= used")
            .numbers("+ missing")
            .numbers("+ excluded");
        for trial in &self.trials {
            table.row(vec![
                trial.trial.clone(),
                trial.site.clone(),
                trial.harvest_year.to_string(),
                trial.plots.len().to_string(),
                trial.used.to_string(),
                trial.missing.to_string(),
                trial.excluded.to_string(),
            ]);
        }
        table.render(2)
    }

    fn not_used(&self) -> String {
        let mut table = TextTable::new().words("trial").words("plot").numbers("row").words("status").words("reason");
        for trial in &self.trials {
            for plot in trial.plots.iter().filter(|plot| plot.status != "used") {
                table.row(vec![
                    trial.trial.clone(),
                    plot.plot.clone(),
                    plot.row.to_string(),
                    plot.status.to_owned(),
                    plot.reason.clone().unwrap_or_default(),
                ]);
            }
        }
        let rendered = table.render(2);
        if rendered.is_empty() { rendered } else { format!("\nNot used\n\n{rendered}") }
    }

    fn plots(&self, trial: &TrialYields) -> String {
        let mut table = TextTable::new()
            .words("plot")
            .numbers("row")
            .words("block")
            .words("variety")
            .numbers(with_unit("yield", Some(&self.yield_unit)))
            .words("status");
        for plot in &trial.plots {
            table.row(vec![
                plot.plot.clone(),
                plot.row.to_string(),
                plot.block.clone().unwrap_or_default(),
                plot.variety.clone().unwrap_or_default(),
                plot.value.map_or_else(String::new, |value| fixed(value, PLOT_DECIMALS)),
                plot.status.to_owned(),
            ]);
        }
        table.render(2)
    }
}
