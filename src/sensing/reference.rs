//! The N-rich reference of a variety: how it stands to its plots, and whether it is sufficient.

use super::index::PlotIndex;
use super::level_fit::Unit;
use super::sufficiency::{AgainstLevels, Verdict};
use crate::trial::{GrowthStage, NeedFrom, Plot, Trial};

/// The reference of one variety (or of the whole trial, where it is shared by all) on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceStudy {
    /// Variety, where references are of varieties.
    pub variety: Option<String>,
    /// Whether a plot is read against the reference plots of its own block only.
    pub within_block: bool,
    /// Reference plots read.
    pub reference_plots: usize,
    /// Other plots with an index.
    pub plots: usize,
    /// Those of them that read above their reference.
    pub above: usize,
    /// Mean index of those plots.
    pub mean_index: f64,
    /// Growth stage of the reference and another one of a plot that is read against it; `None` where they agree or were not scored.
    pub other_stage: Option<(GrowthStage, GrowthStage)>,
    /// Plots left out of the comparison of readings, as their stand is thin and the sensor sees the stand.
    pub thin_left_out: usize,
    /// By its readings.
    pub reading: AgainstLevels,
    /// By its yield; `None` where it has none.
    pub yields: Option<AgainstLevels>,
}

impl ReferenceStudy {
    pub(super) fn of(
        trial: &Trial,
        variety: Option<&str>,
        on: &[Unit<'_>],
        yields: &[Unit<'_>],
        own: &[(&Plot, &PlotIndex)],
        level: f64,
    ) -> Option<Self> {
        // N that is on when leaves are read is one response, whatever follows; yields are not where topdresses came at their own time.
        let is_one_curve = trial.need_from == NeedFrom::DifferenceFromOptimum;
        let reading = AgainstLevels::of(on, true, false, level)?;
        let yields = AgainstLevels::of(yields, is_one_curve, true, level);
        let others = || own.iter().filter(|(plot, _)| !plot.is_reference);
        let index: Vec<f64> = others().filter_map(|(_, read)| Some(read.index.as_ref().ok()?.index)).collect();
        let stage = |of_rich: bool| {
            let stages = own.iter().filter(move |(plot, _)| plot.is_reference == of_rich);
            stages.filter_map(|(_, read)| read.reading.stage.as_ref())
        };
        let rich = stage(true).next();
        let other = rich.and_then(|rich| stage(false).chain(stage(true)).find(|other| *other != rich));
        Some(Self {
            variety: variety.map(str::to_owned),
            within_block: trial.reference.is_some_and(|reference| reference.shared_within.block),
            reference_plots: own.len() - others().count(),
            plots: index.len(),
            above: index.iter().filter(|index| **index > 1.0).count(),
            mean_index: index.iter().sum::<f64>() / index.len().max(1) as f64,
            other_stage: rich.cloned().zip(other.cloned()),
            thin_left_out: 0,
            reading,
            yields,
        })
    }

    /// Whether it is sufficient: doubtful where reading, yield or stage speak against it; sufficient where its reading speaks for it.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let of_yield = self.yields.as_ref().map(|yields| yields.verdict);
        if self.other_stage.is_some() || of_yield == Some(Verdict::Doubtful) {
            return Verdict::Doubtful;
        }
        self.reading.verdict
    }

    /// Whether more of its plots read above it than below.
    #[must_use]
    pub fn is_mostly_below(&self) -> bool {
        2 * self.above > self.plots
    }
}
