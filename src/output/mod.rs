//! Finished results as JSON, text tables and long CSV. Nothing is estimated here.
//!
//! A result is first brought into a [`Report`]: the very structure that its JSON has. Text and CSV are written from that, so what is
//! printed is what a script can read. Every JSON document is a report in an [`Envelope`]: schema, version, inputs, options, seed and
//! warnings around it. [`season_files`] gathers a season's reports as files, and [`write_folder`] writes them whole or not at all.

pub(crate) mod across;
pub(crate) mod across_text;
mod anova;
mod anova_csv;
mod anova_means;
pub(crate) mod anova_means_text;
mod anova_model;
pub(crate) mod anova_model_text;
mod anova_summary;
pub(crate) mod anova_text;
mod calibrate;
mod calibrate_csv;
mod calibrate_index;
pub(crate) mod calibrate_index_text;
pub(crate) mod calibrate_text;
pub(crate) mod calibrate_validation_text;
mod compare;
mod compare_text;
mod curves;
mod curves_csv;
pub(crate) mod curves_text;
mod economy;
pub(crate) mod economy_text;
mod envelope;
pub(crate) mod equation;
mod figures_drawn;
mod findings;
mod folder;
pub(crate) mod group;
pub(crate) mod interval_words;
mod layout;
pub(crate) mod long;
mod lookup;
mod new;
pub(crate) mod numbers;
mod optimum;
pub(crate) mod optimum_text;
mod plots_read;
mod season_files;
mod season_reports;
mod sense;
pub(crate) mod sense_study;
pub(crate) mod sense_study_text;
mod sense_text;
mod summary;
pub(crate) mod table;
mod which_curve;
pub(crate) mod which_curve_text;
pub(crate) mod workbook;
mod yield_units;
mod yields;
mod yields_csv;
mod yields_text;

#[cfg(test)]
mod anova_tests;

pub use across::{AcrossOf, AsideOf, CommonRateOf, EarlyN, MeanOptimumOf, SiteYearOf};
pub use anova::{AnalysisOf, Anova, AnovaTable, Letters, NotAnalysedOf, SourceOf, StratumOf};
pub use anova_means::{ComparisonsOf, MeanOfLevels, MeansOf, OverPairs, PairOf, ProcedureOf};
pub use anova_model::{
    AssumptionsOf, Bartlett, ComponentOf, ErrorVarianceOf, ErrorVariancesOf, LikelihoodOf, OutlierOf,
    PredictedSiteYear, ResidualOf,
};
pub use anova_summary::NTests;
pub use calibrate::{
    Aside, CalibrationAt, Calibrations, HeldOutSiteYear, PerformanceOf, Point, PredictionOf, RateOf, RelationOf,
    ResampledOf, TableCalibration, TriedOf, ValidationOf, VerdictOf,
};
pub use calibrate_index::{
    ConfusionOf, CriticalIndexOf, CutOffOf, FeatureCoefficientOf, FeatureOf, FeatureSetOf, FeaturesOf, HeldOutClassOf,
    ReliabilityOf, ShareOf,
};
pub use compare::{CellOf, ChangedOf, ComparedTable, ComparisonOf, PartsOf, SettingOf};
pub use curves::{Coefficients, CurveGroup, Curves, CurvesWithExcluded, FamilyCurve, LeftOut, Mean, Treatment};
pub use economy::{AtPrices, EconomyOf, WithQuality};
pub use envelope::{Envelope, Format, Provenance, Report, Warning, json, render, warnings_text};
pub use figures_drawn::{FigureOf, FiguresDrawn};
pub use findings::{FindingOf, Findings};
pub use folder::{OutputFile, WriteError, digest, is_same_file, write_file, write_folder, write_into};
pub use lookup::LookupAnswer;
pub use new::{ColumnOf, NewTrial, SheetOf, WrittenFile};
pub use optimum::{AtPrice, Optima, OptimumGroup, OptimumOf, Prices, WithExcluded};
pub use plots_read::{ExcludedPlot, PlotsReadOf, UsedOf};
pub(crate) use season_files::season_workbook;
pub use season_files::{provenance_of, season_files, season_provenance};
pub use season_reports::SeasonReports;
pub use sense::{IndexOfPlot, Sense, SensingOf, ShownN, TreatmentIndex};
pub use summary::{LeftOutTrial, RowSummary, Summary, TableSummary, TrialSummary};
pub use table::{MissingTable, NoTables, repriced_text, table_text};
pub use which_curve::{BestRate, Diagnostics, FactorTests, Furthest, HighestLeverage, Residual};
pub use workbook::{rate_table_parquet, rate_table_workbook};
pub use yields::{MeanOf, NitrogenOfPlot, TreatmentYields, TrialYields, YieldOfPlot, Yields, ZeroNOf};
