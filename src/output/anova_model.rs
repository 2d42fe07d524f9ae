//! What lies beside the table of an analysis of variance: components of variance, the fit of a mixed model, residuals.

use schemars::JsonSchema;
use serde::Serialize;

use super::anova::finite;
use crate::experiment::anova::{
    Assumptions, Component, ErrorVariances, FittedLikelihood, Outlier, PlotResidual, SiteYearPrediction,
};
use crate::stats::interval::Interval;
use crate::stats::shapiro_wilk::ShapiroWilk;
use crate::stats::spread::SpreadTest;

/// A variance component.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ComponentOf {
    /// What varies.
    pub term: String,
    /// Its variance with the interval, where one was computed.
    pub variance: Interval,
}

/// The fit of a mixed model.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LikelihoodOf {
    /// Logarithm of the likelihood; of the restricted one under REML.
    pub log_likelihood: Option<f64>,
    /// Fixed effects and variances.
    pub parameters: usize,
    /// Akaike's criterion.
    pub aic: Option<f64>,
    /// Bayesian criterion.
    pub bic: Option<f64>,
    /// Terms whose variance is estimated as zero.
    pub zero_variances: Vec<String>,
}

/// A site-year as a mixed model predicts it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PredictedSiteYear {
    /// Site-year.
    pub site_year: String,
    /// Mean yield over treatments.
    pub predicted: Option<f64>,
    /// Its difference from the mean of all.
    pub deviation: Option<f64>,
    /// Standard deviation of that difference given the data.
    pub standard_deviation: Option<f64>,
}

/// Error variances of site-years.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ErrorVariancesOf {
    /// One entry a site-year.
    pub site_years: Vec<ErrorVarianceOf>,
    /// Bartlett's test that they are equal; null with fewer than two.
    pub bartlett: Option<Bartlett>,
    /// Largest over smallest.
    pub ratio: Option<f64>,
    /// Whether the model has one residual variance a site-year.
    pub separate: bool,
}

/// The error variance of a site-year.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ErrorVarianceOf {
    /// Site-year.
    pub site_year: String,
    /// Error mean square.
    pub mean_square: Option<f64>,
    /// Its degrees of freedom.
    pub df: Option<f64>,
}

/// Bartlett's test.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct Bartlett {
    /// χ².
    pub chi_squared: Option<f64>,
    /// Its degrees of freedom.
    pub df: Option<f64>,
    /// The probability of a χ² at least as large if the variances are equal.
    pub p: Option<f64>,
}

/// What the residuals of the finest stratum show. Nothing is removed on their account.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AssumptionsOf {
    /// Shapiro and Wilk's test of normality; null where it cannot be made.
    pub normality: Option<ShapiroWilk>,
    /// Levene's test, with distances from medians, that residuals spread alike in all treatments; null where it cannot be made.
    pub spread: Option<SpreadTest>,
    /// Correlation of neighbours in field order, within blocks.
    pub neighbours: Option<f64>,
    /// Plots whose residual is too large for chance.
    pub outliers: Vec<OutlierOf>,
    /// One entry a plot, in field order.
    pub residuals: Vec<ResidualOf>,
}

/// A plot that lies far out.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OutlierOf {
    /// The plot.
    pub plot: String,
    /// Its residual over its standard deviation, the error estimated without it.
    pub deleted: Option<f64>,
    /// The probability that the furthest of so many lies at least as far, at most (Bonferroni).
    pub p: Option<f64>,
}

/// The residual of a plot.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ResidualOf {
    /// The plot.
    pub plot: String,
    /// What the model gives, blocks and main plots included.
    pub fitted: Option<f64>,
    /// Observed minus fitted.
    pub residual: Option<f64>,
    /// Over its standard deviation, the error estimated without it.
    pub deleted: Option<f64>,
    /// The normal score of its rank.
    pub normal_score: Option<f64>,
}

impl From<&Component> for ComponentOf {
    fn from(component: &Component) -> Self {
        Self { term: component.term.clone(), variance: component.variance.clone() }
    }
}

impl From<&FittedLikelihood> for LikelihoodOf {
    fn from(fit: &FittedLikelihood) -> Self {
        Self {
            log_likelihood: finite(fit.log_likelihood),
            parameters: fit.parameters,
            aic: finite(fit.aic),
            bic: finite(fit.bic),
            zero_variances: fit.zero_variances.clone(),
        }
    }
}

impl From<&SiteYearPrediction> for PredictedSiteYear {
    fn from(prediction: &SiteYearPrediction) -> Self {
        Self {
            site_year: prediction.site_year.clone(),
            predicted: finite(prediction.predicted),
            deviation: finite(prediction.deviation),
            standard_deviation: finite(prediction.standard_deviation),
        }
    }
}

impl From<&ErrorVariances> for ErrorVariancesOf {
    fn from(variances: &ErrorVariances) -> Self {
        let of = |(site_year, mean_square, df): &(String, f64, f64)| ErrorVarianceOf {
            site_year: site_year.clone(),
            mean_square: finite(*mean_square),
            df: finite(*df),
        };
        let bartlett = |(chi_squared, df, p): (f64, f64, f64)| Bartlett {
            chi_squared: finite(chi_squared),
            df: finite(df),
            p: finite(p),
        };
        Self {
            site_years: variances.site_years.iter().map(of).collect(),
            bartlett: variances.bartlett.map(bartlett),
            ratio: finite(variances.ratio),
            separate: variances.separate,
        }
    }
}

impl From<&Assumptions> for AssumptionsOf {
    fn from(assumptions: &Assumptions) -> Self {
        let outlier = |outlier: &Outlier| OutlierOf {
            plot: outlier.name.clone(),
            deleted: finite(outlier.deleted),
            p: finite(outlier.p),
        };
        let residual = |residual: &PlotResidual| ResidualOf {
            plot: residual.name.clone(),
            fitted: finite(residual.fitted),
            residual: finite(residual.residual),
            deleted: finite(residual.deleted),
            normal_score: finite(residual.normal_score),
        };
        Self {
            normality: assumptions.normality,
            spread: assumptions.spread,
            neighbours: finite(assumptions.neighbours),
            outliers: assumptions.outliers.iter().map(outlier).collect(),
            residuals: assumptions.residuals.iter().map(residual).collect(),
        }
    }
}
