//! Designs, yields and analyses of variance.

use std::collections::{BTreeMap, BTreeSet};

use super::references::{Citations, Reference};
use super::{Part, and, level, number, number_of};
use crate::output::AnalysisOf;
use crate::report::material::Material;
use crate::trial::{Design, NeedFrom};

pub(super) fn designs(material: &Material<'_>, _: &mut Citations) -> Part {
    let programme = &material.season.programme;
    let years: BTreeSet<i16> = programme.trials.iter().map(|trial| trial.harvest_year).collect();
    let sites: BTreeSet<&str> = programme.trials.iter().map(|trial| trial.site.as_str()).collect();
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    for trial in &programme.trials {
        let design = match &trial.design {
            Design::CompletelyRandomised => "completely randomised",
            Design::RandomisedCompleteBlock => "randomised complete block",
            Design::SplitPlot { .. } => "split-plot",
            Design::StripPlot { .. } => "strip-plot",
        };
        *kinds.entry(design).or_default() += 1;
    }
    let kinds: Vec<String> = match kinds.len() {
        1 => kinds.into_keys().map(str::to_owned).collect(),
        _ => kinds.into_iter().map(|(design, trials)| format!("{design} ({})", number_of(trials, "trial"))).collect(),
    };
    let harvested = match (years.first(), years.last()) {
        (Some(first), Some(last)) if first < last => format!("harvested from {first} to {last}"),
        (Some(first), _) => format!("harvested in {first}"),
        _ => return None,
    };
    let is = if programme.trials.len() == 1 { "The trial" } else { "The trials" };
    let mut text = format!(
        "{is} of N rates in {} {} {harvested} at {}; the design was {}.",
        programme.crop.name,
        if programme.trials.len() == 1 {
            "was".to_owned()
        } else {
            format!("({}) were", number_of(programme.trials.len(), "trial"))
        },
        number_of(sites.len(), "site"),
        and(&kinds),
    );
    let needs = |wanted| programme.trials.iter().filter(|trial| trial.need_from == wanted).count();
    let (whole, split) = (needs(NeedFrom::DifferenceFromOptimum), needs(NeedFrom::TopdressResponse));
    text += match (whole, split) {
        (_, 0) => " All N went on before the crop was sensed.",
        (0, _) => " Levels of early N were combined with rates of topdress.",
        _ => {
            " In some trials all N went on before the crop was sensed, in the others levels of early N were combined with rates of topdress."
        }
    };
    let left_out = programme.left_out.len();
    if left_out > 0 {
        text += &format!(
            " {} left out, for reasons that are given.",
            capital(&format!(
                "{} {}",
                number_of(left_out, "further trial"),
                if left_out == 1 { "was" } else { "were" }
            ))
        );
    }
    Some(("Trials", text))
}

fn capital(text: &str) -> String {
    crate::output::curves_text::capitalised(text)
}

pub(super) fn yields(material: &Material<'_>, citations: &mut Citations) -> Part {
    let yields = &material.reports.yields;
    let any = |is: fn(&crate::output::TreatmentYields) -> bool| {
        yields.trials.iter().flat_map(|trial| &trial.treatments).any(is)
    };
    if !any(|of| of.yields.n > 0) {
        return None;
    }
    let mut text = match yields.moisture_percent {
        Some(moisture) => format!(
            "Plot yields were brought to {} % moisture {}.",
            number(material, moisture),
            citations.cite(&[Reference::MulvaneyDevkota2020]),
        ),
        None => "Plot yields were taken at the moisture that the grain had.".to_owned(),
    };
    if yields.trials.iter().any(|trial| trial.excluded > 0) {
        text += " Yields of plots were left out only for a recorded reason; what changes with them put back in was computed beside.";
    }
    if any(|of| of.agronomic_efficiency.mean.is_some()) {
        let cited = citations.cite(&[Reference::Dobermann2005]);
        text += &if any(|of| of.recovery.mean.is_some()) {
            format!(
                " Agronomic efficiency and recovery in the grain are the gains in yield and in grain N over the plots without N of the same block, \
                 or of the trial where the block had none, for the N applied {cited}; grain N is protein ÷ {}.",
                number(material, material.season.programme.crop.protein_per_n),
            )
        } else {
            format!(
                " Agronomic efficiency is the gain in yield over the plots without N of the same block, or of the trial where the block had none, \
                 for the N applied {cited}."
            )
        };
    }
    Some(("Yields", text))
}

pub(super) fn analysis(material: &Material<'_>, citations: &mut Citations) -> Part {
    let analyses = &material.reports.anova.analyses;
    if analyses.is_empty() {
        return None;
    }
    let with = |is: &dyn Fn(&AnalysisOf) -> bool| analyses.iter().any(is);
    let mut ways: Vec<String> = Vec::new();
    if with(&|of| of.method == "classical") {
        ways.push(if with(&|of| of.method == "classical" && of.strata.len() > 1) {
            "balanced designs by the classical analysis of variance, each effect on the error of its own stratum"
                .to_owned()
        } else {
            "balanced designs by the classical analysis of variance".to_owned()
        });
    }
    if with(&|of| of.method == "least-squares") {
        ways.push("designs that are not balanced, of one error, by least squares with fixed blocks".to_owned());
    }
    for (method, name) in [("reml", "restricted maximum likelihood (REML)"), ("ml", "maximum likelihood (ML)")] {
        if with(&|of| of.method == method) {
            ways.push(format!(
                "what else is not balanced by a linear mixed model fitted by {name} {}",
                citations.cite(&[Reference::Bates2015])
            ));
        }
    }
    let mut text = format!("Treatments were compared by analysis of variance: {}.", and(&ways));
    if with(&|of| of.degrees_of_freedom == Some("kenward-roger")) {
        text += &format!(
            " Denominator degrees of freedom of mixed models, and the covariance that goes with them, are corrected for estimated variances {}.",
            citations.cite(&[Reference::KenwardRoger1997])
        );
    }
    if with(&|of| of.degrees_of_freedom == Some("satterthwaite")) {
        text += &format!(
            " Denominator degrees of freedom of mixed models are approximated from the variance of estimated variances {}.",
            citations.cite(&[Reference::Satterthwaite1946, Reference::FaiCornelius1996])
        );
    }
    for (tests, words) in [
        ("adjusted", "each effect was adjusted for all others that do not contain it"),
        ("sequential", "each effect was adjusted for those before it"),
        ("marginal", "each effect was adjusted for all others, cell means weighing alike"),
    ] {
        if with(&|of| of.tests == Some(tests)) {
            text += &format!(" Where designs were not balanced {words}.");
        }
    }
    if with(&|of| {
        of.rate_factors.len() == 1 && of.tables.iter().flat_map(|table| &table.rows).any(|row| row.part_of.is_some())
    }) {
        text += " The effect of N was split into linear, quadratic and lack of fit at the rates as they are spaced.";
    }
    text += &comparisons(material, citations);
    text += &together(material, citations);
    text += &residuals(material, citations);
    Some(("Analysis of variance", text))
}

fn comparisons(material: &Material<'_>, citations: &mut Citations) -> String {
    let families = || material.reports.anova.analyses.iter().flat_map(|of| &of.comparisons);
    if families().next().is_none() {
        return String::new();
    }
    let mut text = format!(
        " Means are estimated marginal means, cells weighing alike {}, with {} intervals.",
        citations.cite(&[Reference::Searle1980]),
        level(material),
    );
    if families().flat_map(|family| &family.procedures).any(|of| of.procedure == "tukey" && !of.letters.is_empty()) {
        text += &format!(
            " They were compared by Tukey's honestly significant difference {}, beside the least significant difference protected by the F test of \
             its own effect; letters are by insert and absorb {}.",
            citations.cite(&[Reference::Tukey1953, Reference::Kramer1956]),
            citations.cite(&[Reference::Piepho2004]),
        );
    }
    if families().flat_map(|family| &family.pairs).any(|pair| pair.p_dunnett.is_some()) {
        text += &format!(
            " Rates were compared with the zero rate by Dunnett's test {}.",
            citations.cite(&[Reference::Dunnett1955])
        );
    }
    text
}

fn together(material: &Material<'_>, citations: &mut Citations) -> String {
    let together: Vec<&AnalysisOf> =
        material.reports.anova.analyses.iter().filter(|of| !of.site_years.is_empty()).collect();
    let Some(first) = together.first() else { return String::new() };
    let mut text =
        " Trials with the same factors were analysed together, rates within 2 % counting as one level".to_owned();
    text += &first.inference.as_ref().map_or_else(
        || ".".to_owned(),
        |words| format!("; site-years and their interactions with every effect entered so that inference is {words}."),
    );
    if together.iter().any(|of| of.error_variances.as_ref().is_some_and(|found| found.bartlett.is_some())) {
        text += &format!(
            " Error variances of site-years were compared by Bartlett's test {}.",
            citations.cite(&[Reference::Bartlett1937])
        );
    }
    text
}

fn residuals(material: &Material<'_>, citations: &mut Citations) -> String {
    let found = || material.reports.anova.analyses.iter().filter_map(|of| of.assumptions.as_ref());
    let mut tests: Vec<String> = Vec::new();
    if found().any(|found| found.normality.is_some()) {
        tests.push(format!(
            "normality (Shapiro and Wilk's W; {}",
            citations.cite(&[Reference::Royston1995]).trim_start_matches('(')
        ));
    }
    if found().any(|found| found.spread.is_some()) {
        tests.push(format!("equal spread in all treatments {}", citations.cite(&[Reference::BrownForsythe1974])));
    }
    if found().any(|found| found.neighbours.is_some()) {
        tests.push("correlation of neighbours in field order".to_owned());
    }
    if tests.is_empty() {
        return String::new();
    }
    format!(
        " Residuals were looked at for {}, and for plots further out than chance would put one (studentised residuals with Bonferroni's bound); none was \
         removed.",
        and(&tests)
    )
}
