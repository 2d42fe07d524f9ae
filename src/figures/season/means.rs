//! Treatment means of each trial's analysis of variance, and of site-years together.

use super::groups::capitalised;
use super::{Material, NamedFigure, p_text, percent};
use crate::experiment::anova::{Analysed, Analysis, ComparisonFamily, TreatmentMeanOf, TreatmentMeans};
use crate::figures::stroke::Stroke;
use crate::figures::{DifferenceBar, Figure, LevelMean, Levels, MeansFigure, MeansPanel, MeansSeries, Wording, Words};
use crate::trial::Trial;

/// Effects with more levels than this are tables, not pictures.
const MOST_LEVELS: usize = 40;
/// Differences that agree to this share are one number.
const SAME: f64 = 1e-6;

/// One figure an analysis.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    material.analysed.iter().filter_map(|one| of_analysis(material, one)).collect()
}

fn of_analysis(material: Material<'_>, one: &Analysed) -> Option<NamedFigure> {
    let Material { season, wording, .. } = material;
    let analysis = one.outcome.as_ref().ok()?;
    let (kind, named) = one.key.first()?;
    let trial = season.programme.trials.iter().find(|trial| kind == "trial" && trial.folder == *named);
    let level = season.programme.decisions.level;
    let view = View { analysis, wording, level };
    let panels: Vec<MeansPanel> = analysis.means.iter().filter_map(|effect| view.panel(effect)).collect();
    if panels.is_empty() {
        return None;
    }
    let name = match trial {
        Some(trial) => format!("{}-means", trial.folder),
        None => format!("all-trials-{}-means", slug(named)),
    };
    let finding = analysis.means.iter().filter_map(|effect| view.finding(effect)).collect::<Vec<_>>().join(" ");
    let title = match trial {
        Some(trial) => format!("Treatment means of yield of {}, {}", season.programme.crop.name, trial.site_year()),
        None => {
            let crop = &season.programme.crop.name;
            format!("Treatment means of yield of {crop}, {} site-years together", analysis.site_years.len())
        }
    };
    let caption = view.caption(&season.programme.crop.name, trial);
    let yield_unit = Some(wording.yield_unit().to_owned());
    let figure = MeansFigure { yield_unit, panels, words: Words { title, caption, finding } };
    Some(NamedFigure { name, figure: Figure::Means(figure) })
}

/// Small letters, and a hyphen for all else.
fn slug(words: &str) -> String {
    words
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}

/// An analysis with how it is worded.
struct View<'a> {
    analysis: &'a Analysis,
    wording: &'a Wording,
    level: f64,
}

impl View<'_> {
    fn alpha(&self) -> f64 {
        1.0 - self.level
    }

    fn panel(&self, effect: &TreatmentMeans) -> Option<MeansPanel> {
        match effect.factors.as_slice() {
            [factor] => self.main_effect(effect, factor),
            [_, _] => self.interaction(effect),
            _ => None,
        }
    }

    /// The means of one factor, with letters and the least differences.
    fn main_effect(&self, effect: &TreatmentMeans, factor: &str) -> Option<MeansPanel> {
        let levels = levels_of(effect, 0);
        if levels.len() > MOST_LEVELS {
            return None;
        }
        let family =
            self.analysis.comparisons.iter().find(|one| one.factors == effect.factors && one.within.is_empty());
        let means = effect.means.iter().filter_map(|mean| {
            let name = mean.levels.first()?;
            Some(LevelMean {
                level: levels.iter().position(|level| level == name)?,
                mean: self.wording.yields(mean.mean?),
                standard_error: mean.standard_error.map(|error| self.wording.yields(error)),
                letters: family.map_or_else(String::new, |family| tukey_letters(family, &mean.levels)),
            })
        });
        let means: Vec<LevelMean> = means.collect();
        if means.len() < 2 {
            return None;
        }
        Some(MeansPanel {
            title: self.title(&effect.factors),
            axis_label: self.axis_label(factor),
            levels: self.levels(factor, &levels),
            series: vec![MeansSeries { label: String::new(), means }],
            bars: family.map_or_else(Vec::new, |family| self.least_differences(family)),
        })
    }

    /// The means of two factors: amounts of N along the axis where there are any, a line each level of the other factor.
    fn interaction(&self, effect: &TreatmentMeans) -> Option<MeansPanel> {
        // A line over empty cells would join means of different site-years or varieties.
        if effect.means.iter().any(|mean| mean.mean.is_none()) {
            return None;
        }
        let [along, lines] = self.along_and_lines(effect)?;
        let (factor, other) = (effect.factors.get(along)?, effect.factors.get(lines)?);
        let (levels, series) = (levels_of(effect, along), levels_of(effect, lines));
        let means = |line: &String| -> Vec<LevelMean> {
            let of_line = effect.means.iter().filter(|mean| mean.levels.get(lines) == Some(line));
            let mean = of_line.filter_map(|mean| {
                let name = mean.levels.get(along)?;
                Some(LevelMean {
                    level: levels.iter().position(|level| level == name)?,
                    mean: self.wording.yields(mean.mean?),
                    standard_error: None,
                    letters: String::new(),
                })
            });
            mean.collect()
        };
        let drawn: Vec<MeansSeries> =
            series.iter().map(|line| MeansSeries { label: self.level_text(other, line), means: means(line) }).collect();
        let kinds = [[other, factor], [factor, other]];
        Some(MeansPanel {
            title: self.title(&effect.factors),
            axis_label: self.axis_label(factor),
            levels: self.levels(factor, &levels),
            series: drawn,
            bars: self.differences_within(kinds),
        })
    }

    /// Which factor of two lies along the axis, and which has a line a level; `None` where there are too many levels for either.
    fn along_and_lines(&self, effect: &TreatmentMeans) -> Option<[usize; 2]> {
        let amounts = [0, 1].map(|factor| effect.factors.get(factor).is_some_and(|name| self.is_rate(name)));
        let counts = [0, 1].map(|factor| levels_of(effect, factor).len());
        // Of two amounts the later one, the topdress; of two names that with more levels.
        let along = match amounts {
            [true, false] => 0,
            [false, true] | [true, true] => 1,
            [false, false] => usize::from(counts[1] > counts[0]),
        };
        let fits = |[along, lines]: &[usize; 2]| {
            let count = |factor: usize| counts.get(factor).copied().unwrap_or(0);
            count(*lines) <= Stroke::LINES && count(*along) <= MOST_LEVELS
        };
        [[along, 1 - along], [1 - along, along]].into_iter().find(fits)
    }

    fn is_rate(&self, factor: &str) -> bool {
        self.analysis.rate_factors.iter().any(|rate| rate == factor)
    }

    fn axis_label(&self, factor: &str) -> String {
        let name = capitalised(factor);
        if self.is_rate(factor) { format!("{name} ({})", self.wording.rate_unit()) } else { name }
    }

    fn levels(&self, factor: &str, levels: &[String]) -> Levels {
        let amounts: Option<Vec<f64>> = levels.iter().map(|level| level.parse().ok()).collect();
        match amounts.filter(|_| self.is_rate(factor)) {
            Some(amounts) => Levels::Amounts(amounts.into_iter().map(|rate: f64| self.wording.rate(rate)).collect()),
            None => Levels::Names(levels.to_vec()),
        }
    }

    /// A level of a factor that has a line.
    fn level_text(&self, factor: &str, level: &str) -> String {
        if self.is_rate(factor) {
            format!("{} {} {factor}", self.wording.rate_of_text(level), self.wording.rate_unit())
        } else {
            level.to_owned()
        }
    }

    /// The p of an effect.
    fn p(&self, factors: &[String]) -> Option<f64> {
        let of = |source: &str| {
            let parts: Vec<&str> = source.split(" × ").collect();
            parts.len() == factors.len() && factors.iter().all(|factor| parts.contains(&factor.as_str()))
        };
        let row = self.analysis.rows.iter().find(|row| row.part_of.is_none() && of(&row.source));
        row.and_then(|row| row.p)
    }

    fn title(&self, factors: &[String]) -> String {
        let name = factors.join(" × ");
        match self.p(factors) {
            Some(p) => format!("{name}, {}", p_text(p, self.wording)),
            None => name,
        }
    }

    fn difference(&self, name: &str, length: f64, words: &str) -> DifferenceBar {
        let length = self.wording.yields(length);
        let digits = self.wording.significant(length, 3);
        DifferenceBar { length, label: format!("{name}\u{a0}{digits}\u{a0}{}{words}", self.wording.yield_unit()) }
    }

    /// Tukey's least difference, and the LSD where the F test protects it: where one number holds for all pairs.
    fn least_differences(&self, family: &ComparisonFamily) -> Vec<DifferenceBar> {
        let length = |procedure: &str| {
            let found = family.procedures.iter().find(|one| one.procedure == procedure);
            found.and_then(|one| one.least_significant_difference)
        };
        let protected = family.protecting_p.is_some_and(|p| p <= self.alpha());
        let honest = length("tukey");
        let tukey = honest.map(|length| self.difference("HSD", length, ""));
        // Of two means both are the same.
        let own =
            |length: &f64| protected && honest.is_none_or(|honest| !is_one(length.min(honest), length.max(honest)));
        let lsd = length("protected-lsd").filter(own).map(|length| self.difference("LSD", length, ""));
        let bars: Vec<DifferenceBar> = tukey.into_iter().chain(lsd).collect();
        match family.sed.filter(|_| bars.is_empty()) {
            Some(sed) => {
                vec![self.difference("SED", sed.mean, if is_one(sed.lowest, sed.highest) { "" } else { " on average" })]
            }
            None => bars,
        }
    }

    /// What tells levels of each of two factors apart at one level of the other; one difference where they read the same.
    fn differences_within(&self, kinds: [[&String; 2]; 2]) -> Vec<DifferenceBar> {
        let mut bars: Vec<(DifferenceBar, String)> = Vec::new();
        for [compared, at] in kinds {
            let words = format!(", {compared} at the same {at}");
            bars.extend(self.difference_within(compared, at).map(|bar| (bar, words)));
        }
        match bars.as_slice() {
            [(one, _), (other, _)] if one.label == other.label => vec![one.clone()],
            _ => bars.into_iter().map(|(bar, words)| DifferenceBar { label: bar.label + &words, ..bar }).collect(),
        }
    }

    /// What tells levels of a factor apart at one level of another: the LSD where one number holds at all of them and the interaction is
    /// significant, else the standard error of a difference.
    fn difference_within(&self, compared: &str, at: &str) -> Option<DifferenceBar> {
        let of = |family: &&ComparisonFamily| {
            family.factors.iter().eq([compared])
                && family.within.len() == 1
                && family.within.iter().all(|(name, _)| name == at)
        };
        let families: Vec<&ComparisonFamily> = self.analysis.comparisons.iter().filter(of).collect();
        let significant = self.p(&[compared.to_owned(), at.to_owned()]).is_some_and(|p| p <= self.alpha());
        let lsd = |family: &&ComparisonFamily| {
            family.procedures.iter().find(|one| one.procedure == "protected-lsd")?.least_significant_difference
        };
        let all: Option<Vec<f64>> = families.iter().map(lsd).collect();
        let (low, high) = ends(all.as_deref().unwrap_or_default());
        if significant && high > 0.0 && is_one(low, high) {
            return Some(self.difference("LSD", high, ""));
        }
        let sed: Vec<f64> = families.iter().filter_map(|family| Some(family.sed?.mean)).collect();
        if sed.is_empty() {
            return None;
        }
        let (low, high) = families
            .iter()
            .filter_map(|family| family.sed)
            .fold((f64::INFINITY, 0.0_f64), |(low, high), sed| (low.min(sed.lowest), high.max(sed.highest)));
        let words = if is_one(low, high) { "" } else { " on average" };
        Some(self.difference("SED", sed.iter().sum::<f64>() / sed.len() as f64, words))
    }

    fn caption(&self, crop: &str, trial: Option<&Trial>) -> String {
        let analysis = self.analysis;
        let which = match trial {
            Some(trial) => format!("{} ({}", trial.site_year(), trial.folder),
            None => format!("{} site-years together ({}", analysis.site_years.len(), analysis.site_years.join(", ")),
        };
        let method = match analysis.method.name() {
            "classical" => "classical analysis of variance",
            "least-squares" => "least squares with fixed blocks",
            "reml" => "linear mixed model by REML",
            _ => "linear mixed model by maximum likelihood",
        };
        let five = percent(self.alpha(), self.wording);
        let empty = analysis.means.iter().flat_map(|effect| &effect.means).any(|mean| mean.mean.is_none());
        let left_out =
            if empty { " Means that empty cells leave unknown are not drawn, nor interactions with any." } else { "" };
        format!(
            "Treatment means of yield of {crop}, {which}; {}, n = {} plots; {method}). Means are estimated: other factors and blocks weigh \
             alike. Panels of one factor: means ± standard error; those that share a letter do not differ (Tukey, {five} %). Panels of two \
             factors: a line each level of one of them, told apart by pattern and mark. Bars beside a panel: HSD, Tukey's least significant \
             difference; LSD, that of Student's t, given where the F test protects it (both at {five} %); SED, the standard error of a \
             difference, where neither is one number for all pairs and, of two factors, where they do not act together significantly. \
             Where they do, the means of one factor say less than those of both.{left_out}",
            analysis.design, analysis.observations,
        )
    }

    /// The lowest and the highest mean of one factor, and whether two act together, in words.
    fn finding(&self, effect: &TreatmentMeans) -> Option<String> {
        let name = effect.factors.join(" × ");
        let p = self.p(&effect.factors).map(|p| p_text(p, self.wording));
        let [factor] = effect.factors.as_slice() else { return Some(format!("{name}: {}.", p?)) };
        let known = || effect.means.iter().filter_map(|mean| Some((mean, mean.mean?)));
        let text = |(mean, value): (&TreatmentMeanOf, f64)| {
            let level = mean.levels.first().map_or_else(String::new, |level| self.level_of(factor, level));
            let at = if self.is_rate(factor) { "at" } else { "for" };
            format!("{} {at} {level}", self.wording.yield_text(self.wording.yields(value)))
        };
        let lowest = known().min_by(|a, b| a.1.total_cmp(&b.1)).map(text)?;
        let highest = known().max_by(|a, b| a.1.total_cmp(&b.1)).map(text)?;
        let p = p.map_or_else(String::new, |p| format!(" ({p})"));
        Some(format!("{name}{p}: from {lowest} to {highest}."))
    }

    fn level_of(&self, factor: &str, level: &str) -> String {
        if self.is_rate(factor) {
            format!("{} {}", self.wording.rate_of_text(level), self.wording.rate_unit())
        } else {
            level.to_owned()
        }
    }
}

fn is_one(low: f64, high: f64) -> bool {
    high - low <= SAME * high
}

fn ends(values: &[f64]) -> (f64, f64) {
    values.iter().fold((f64::INFINITY, 0.0), |(low, high), value| (f64::min(low, *value), f64::max(high, *value)))
}

/// The levels of a factor of an effect, in order of first appearance.
fn levels_of(effect: &TreatmentMeans, factor: usize) -> Vec<String> {
    let mut levels: Vec<String> = Vec::new();
    for level in effect.means.iter().filter_map(|mean| mean.levels.get(factor)) {
        if !levels.contains(level) {
            levels.push(level.clone());
        }
    }
    levels
}

fn tukey_letters(family: &ComparisonFamily, levels: &[String]) -> String {
    let letters = || {
        let procedure = family.procedures.iter().find(|one| one.procedure == "tukey")?;
        let position = family.levels.iter().position(|known| known == levels)?;
        procedure.letters.get(position).cloned()
    };
    letters().unwrap_or_default()
}
