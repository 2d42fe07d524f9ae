//! Readings of each trial: every instrument and day against the N already on, and the spread of readings within plots.

use super::{Material, NamedFigure, day, instrument_title, page_name, stage_of};
use crate::figures::readings::MOST_READING_PANELS;
use crate::figures::{Figure, ReadingFigure, ReadingMean, ReadingPanel, Wording, Words};
use crate::season::{Sensing, TrialResult};
use crate::sensing::{self, reading_means};
use crate::trial::{Instrument, Trial};

/// One figure a trial that was sensed, of several pages where it has many days.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let trials = material.season.programme.trials.iter().zip(&material.season.trials);
    trials.flat_map(|(trial, result)| pages(material, trial, result)).collect()
}

fn pages(material: Material<'_>, trial: &Trial, result: &TrialResult) -> Vec<NamedFigure> {
    let days: Vec<Day<'_>> = result.sensings.iter().map(|sensing| Day::of(material, trial, sensing)).collect();
    let mut varieties: Vec<String> = Vec::new();
    for name in days.iter().flat_map(|day| &day.means).map(name) {
        if !varieties.contains(&name) {
            varieties.push(name);
        }
    }
    let position = |mean: &sensing::ReadingMean| {
        let own = name(mean);
        varieties.iter().position(|variety| *variety == own).unwrap_or(0)
    };
    let Material { wording, .. } = material;
    let all: Vec<(ReadingPanel, String)> = days.iter().flat_map(|day| day.panels(trial, material, &position)).collect();
    let figure = |(page, panels): (usize, &[(ReadingPanel, String)])| {
        let findings: Vec<&str> =
            panels.iter().map(|(_, finding)| finding.as_str()).filter(|finding| !finding.is_empty()).collect();
        let words = Words {
            title: format!("Readings against the N already on, {}", trial.site_year()),
            caption: caption(trial, &days, wording),
            finding: findings.join(" "),
        };
        let figure = ReadingFigure {
            rate_unit: Some(wording.rate_unit().to_owned()),
            varieties: varieties.clone(),
            panels: panels.iter().map(|(panel, _)| panel.clone()).collect(),
            words,
        };
        NamedFigure { name: page_name(&format!("{}-readings", trial.folder), page), figure: Figure::Readings(figure) }
    };
    all.chunks(MOST_READING_PANELS).enumerate().map(figure).collect()
}

/// What tells treatments apart beside N.
fn name(mean: &sensing::ReadingMean) -> String {
    mean.variety.iter().chain(&mean.factor_levels).map(String::as_str).collect::<Vec<_>>().join(", ")
}

/// One instrument on one day.
struct Day<'s> {
    sensing: &'s Sensing,
    title: String,
    means: Vec<sensing::ReadingMean>,
}

impl<'s> Day<'s> {
    fn of(material: Material<'_>, trial: &Trial, sensing: &'s Sensing) -> Self {
        let unit = material.season.programme.units.n_rate;
        let stage = stage_of(sensing).map_or(String::new(), |stage| format!(", {stage}"));
        let title = format!("{}, {}{stage}", instrument_title(sensing.instrument), day(sensing.date));
        Self { sensing, title, means: reading_means(trial, sensing.date, unit, &sensing.indices) }
    }

    fn decimals(&self) -> usize {
        match self.sensing.instrument {
            Instrument::CanopyNdvi => 2,
            Instrument::LeafChlorophyll => 1,
        }
    }

    /// The panel of its means, and that of the spread within plots where there is one; each with what it shows in words.
    fn panels(
        &self,
        trial: &Trial,
        material: Material<'_>,
        position: &dyn Fn(&sensing::ReadingMean) -> usize,
    ) -> Vec<(ReadingPanel, String)> {
        let Material { season, wording, .. } = material;
        if self.means.is_empty() {
            return Vec::new();
        }
        let mean = |mean: &sensing::ReadingMean| ReadingMean {
            variety: position(mean),
            n_on: wording.rate(mean.n_on),
            mean: mean.mean,
            deviation: mean.standard_deviation,
            is_reference: mean.is_reference,
        };
        let references = self.means.iter().filter(|mean| mean.is_reference);
        let means = ReadingPanel {
            title: self.title.clone(),
            quantity: match self.sensing.instrument {
                Instrument::CanopyNdvi => "NDVI".to_owned(),
                Instrument::LeafChlorophyll => "Reading".to_owned(),
            },
            from_zero: false,
            means: self.means.iter().map(mean).collect(),
            plots: Vec::new(),
            levels: references.map(|mean| (Some(position(mean)), mean.mean)).collect(),
            level_text: "mean of the N-rich reference".to_owned(),
        };
        let mut panels = vec![(means, self.finding(wording))];
        let unit = season.programme.units.n_rate;
        let plots: Vec<(usize, f64, f64)> = self
            .sensing
            .indices
            .iter()
            .filter_map(|read| {
                let plot = trial.plots.get(read.reading.plot)?;
                let of_plot = |mean: &&sensing::ReadingMean| {
                    (mean.variety.as_deref(), mean.factor_levels.as_slice()) == plot.beside_n()
                };
                let variety = position(self.means.iter().find(of_plot)?);
                let n_on = wording.rate(trial.n_already_on(plot, self.sensing.date, unit));
                Some((variety, n_on, read.reading.standard_deviation?))
            })
            .collect();
        if !plots.is_empty() {
            let pooled = self.sensing.study.components.as_ref().map(|components| components.within.sqrt());
            let panel = ReadingPanel {
                title: format!("{} within plots, {}", self.readings_title(), day(self.sensing.date)),
                quantity: format!("SD of a plot's {}", self.readings_word()),
                from_zero: true,
                means: Vec::new(),
                plots,
                levels: pooled.map(|pooled| (None, pooled)).into_iter().collect(),
                level_text: "pooled over the plots".to_owned(),
            };
            panels.push((panel, self.finding_of_spread(wording)));
        }
        panels
    }

    fn readings_word(&self) -> &'static str {
        match self.sensing.instrument {
            Instrument::CanopyNdvi => "passes",
            Instrument::LeafChlorophyll => "leaves",
        }
    }

    fn readings_title(&self) -> &'static str {
        match self.sensing.instrument {
            Instrument::CanopyNdvi => "Passes",
            Instrument::LeafChlorophyll => "Leaves",
        }
    }

    /// Lowest and highest N and the reference, a variety at a time.
    fn finding(&self, wording: &Wording) -> String {
        let mut told: Vec<String> = Vec::new();
        let shown = |mean: &sensing::ReadingMean| {
            let n_on = wording.number(wording.rate(mean.n_on), 0);
            format!("{} at {n_on} {} on", wording.number(mean.mean, self.decimals()), wording.rate_unit())
        };
        let mut names: Vec<String> = self.means.iter().map(name).collect();
        names.dedup();
        names.sort();
        names.dedup();
        for own in names {
            let means = || self.means.iter().filter(|mean| name(mean) == own);
            let treatments = || means().filter(|mean| !mean.is_reference);
            let ends: Vec<String> = match (treatments().next(), treatments().next_back()) {
                (Some(first), Some(last)) if first.n_on < last.n_on => vec![shown(first), shown(last)],
                (Some(first), _) => vec![shown(first)],
                _ => Vec::new(),
            };
            let reference = means().find(|mean| mean.is_reference);
            let reference = reference.map(|mean| format!("N-rich reference {}", shown(mean)));
            let parts: Vec<String> = ends.into_iter().chain(reference).collect();
            let label = if own.is_empty() { String::new() } else { format!("{own} ") };
            told.push(format!("{label}{}", parts.join(", ")));
        }
        format!("{}: {}.", self.title, told.join("; "))
    }

    fn finding_of_spread(&self, wording: &Wording) -> String {
        let Some(components) = &self.sensing.study.components else { return String::new() };
        let pooled = components.within.sqrt();
        format!(
            "Within plots, {} differ by a standard deviation of {} ({} % of the mean reading).",
            self.readings_word(),
            wording.number(pooled, self.decimals() + 1),
            wording.number(100.0 * pooled / components.mean, 0),
        )
    }
}

fn caption(trial: &Trial, days: &[Day<'_>], wording: &Wording) -> String {
    let plots = || days.iter().flat_map(|day| &day.means).map(|mean| mean.plots);
    let (fewest, most) = (plots().min().unwrap_or(0), plots().max().unwrap_or(0));
    let number = if fewest == most { format!("{most}") } else { format!("{fewest} to {most}") };
    let readings: Vec<String> = days
        .iter()
        .filter_map(|day| {
            let components = day.sensing.study.components.as_ref()?;
            Some(format!(
                " Spread within plots on {}: standard deviation of a plot's {} (median {} a plot); line: pooled over the plots, {}.",
                self::day(day.sensing.date),
                day.readings_word(),
                components.readings,
                wording.number(components.within.sqrt(), day.decimals() + 1),
            ))
        })
        .collect();
    format!(
        "Readings against the N already on when they were taken, {} ({}, {}). Marks: means over the plots of a treatment (n = {number} plots); \
         bars: standard deviation of the plots' mean readings, blocks not removed. Open marks: N-rich reference plots; broken lines: their \
         mean.{}",
        trial.site_year(),
        trial.folder,
        trial.design.name().replace('-', " "),
        readings.concat(),
    )
}
