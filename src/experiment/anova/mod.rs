//! Designed experiments: analysis of variance, mixed models and means.
//!
//! The user names the design; which error each effect is tested on follows from it. [`Experiment`] holds the plots with their treatments
//! and design, [`analyse`] gives an [`Analysis`].

mod result;

pub use result::{
    Analysis, AnalysisKey, Assumptions, Comparison, ComparisonFamily, Component, DegreesOfFreedomMethod,
    ErrorVariances, FittedLikelihood, Method, Note, Outlier, Pair, PlotResidual, SiteYearPrediction, SourceRow,
    StratumError, TermTests, TreatmentMeanOf, TreatmentMeans, VarianceOf,
};
