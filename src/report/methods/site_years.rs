//! Site-years together.

use super::references::{Citations, Reference};
use super::{Part, level};
use crate::output::AcrossOf;
use crate::report::material::Material;

pub(super) fn site_years(material: &Material<'_>, citations: &mut Citations) -> Part {
    let several: Vec<&AcrossOf> =
        material.reports.optima.across.iter().filter(|across| across.site_years.len() > 1).collect();
    if several.is_empty() {
        return None;
    }
    let level = level(material);
    let mut text = "The site-year is the unit of inference, and only site-years whose rates mean the same were put together. The best common rate is the one \
                    at which the weighted mean net return of their curves is highest."
        .to_owned();
    if let Some(resamples) = several.iter().map(|of| of.common_rate.resamples).max().filter(|number| *number > 0) {
        text += &format!(
            " Its {level} interval is from {resamples} resamples of whole site-years (percentiles); with fewer than four site-years there is none."
        );
    }
    let by = |wanted: &str| several.iter().any(|of| of.mean_optimum.estimation == Some(wanted));
    if by("reml") {
        text += &format!(
            " The mean of the optima and their standard deviation between site-years are those of a random-effects model by REML, each optimum with its own \
             error; the interval of the mean scales its variance by the weighted residual mean square {}, never by less than 1 {}, that of the standard \
             deviation is the Q-profile {}.",
            citations.cite(&[Reference::KnappHartung2003]),
            citations.cite(&[Reference::Roever2015]),
            citations.cite(&[Reference::Viechtbauer2007]),
        );
    }
    if by("ml-interval-censored") {
        text += &format!(
            " Where an optimum is known within limits only (not reached, or a response not shown), {}the random-effects model was fitted by maximum likelihood, \
             such an optimum adding the probability between its limits, with profile-likelihood intervals.",
            if by("reml") { "" } else { "optima vary normally between site-years and " }
        );
    }
    if several.iter().any(|of| of.mean_optimum.new_site_year.is_some()) {
        text += &format!(
            " The interval of a new site-year's optimum is the prediction interval of that model {}.",
            citations.cite(&[Reference::Higgins2009])
        );
    }
    Some(("Site-years together", text))
}
