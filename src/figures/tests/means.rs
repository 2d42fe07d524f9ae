//! Made-up means, ordinary and extreme, that other tests measure.

use super::demo::LONG;
use crate::figures::{DifferenceBar, LevelMean, Levels, MeansFigure, MeansPanel, MeansSeries, Words};

const VARIETIES: [&str; 5] = ["Pale Heron", "Dark Sedge", "Marsh Tern", "Stone Curlew", "Reed Lark"];
const LETTERS: [&str; 5] = ["d", "c", "bc", "ab", "a"];

fn bars(lengths: &[f64]) -> Vec<DifferenceBar> {
    let names = ["HSD", "LSD"];
    let bar =
        |(length, name): (&f64, &str)| DifferenceBar { length: *length, label: format!("{name} {length:.1} bu/ac") };
    lengths.iter().zip(names).map(bar).collect()
}

/// A main effect of amounts: letters over every mean.
pub(super) fn amounts(count: usize) -> MeansPanel {
    let mean = |level: usize| LevelMean {
        level,
        mean: 50.0 + 40.0 * (1.0 - (-0.6 * level as f64).exp()),
        standard_error: Some(1.6),
        letters: LETTERS[level.min(4)].to_owned(),
    };
    MeansPanel {
        title: "N rate, p < 0.001".to_owned(),
        axis_label: "N rate (lb/ac)".to_owned(),
        levels: Levels::Amounts((0..count).map(|level| 30.0 * level as f64).collect()),
        series: vec![MeansSeries { label: String::new(), means: (0..count).map(mean).collect() }],
        bars: bars(&[5.8, 3.9]),
    }
}

/// A main effect of names.
pub(super) fn names(count: usize) -> MeansPanel {
    let name = |level: usize| {
        format!("{}{}", VARIETIES[level % 5], if level < 5 { String::new() } else { format!(" {level}") })
    };
    MeansPanel {
        title: "variety, p = 0.027".to_owned(),
        axis_label: "Variety".to_owned(),
        levels: Levels::Names((0..count).map(name).collect()),
        bars: bars(&[3.1]),
        ..amounts(count)
    }
}

/// An interaction with a line each of so many levels.
pub(super) fn interaction(lines: usize) -> MeansPanel {
    let series = |line: usize| MeansSeries {
        label: format!("{} {line}", VARIETIES[line % 5]),
        means: (0..5)
            .map(|level| LevelMean {
                level,
                mean: 52.0 + 3.0 * line as f64 + (9.0 - line as f64) * level as f64,
                standard_error: None,
                letters: String::new(),
            })
            .collect(),
    };
    MeansPanel {
        title: "variety × N rate, p = 0.002".to_owned(),
        series: (0..lines).map(series).collect(),
        ..amounts(5)
    }
}

pub(super) fn means(panels: Vec<MeansPanel>) -> MeansFigure {
    MeansFigure {
        yield_unit: Some("bu/ac".to_owned()),
        panels,
        words: Words { caption: "Made-up means.".to_owned(), ..Words::default() },
    }
}

/// Ordinary means, and every extreme that a layout must hold.
pub(super) fn means_cases() -> Vec<(String, MeansFigure)> {
    let mut cases: Vec<(String, MeansFigure)> = vec![
        ("one effect".to_owned(), means(vec![amounts(6)])),
        ("two factors".to_owned(), means(vec![names(2), amounts(6), interaction(2)])),
        ("one mean".to_owned(), means(vec![MeansPanel { bars: Vec::new(), ..amounts(1) }])),
        ("many names".to_owned(), means(vec![names(12), names(40)])),
        ("twelve lines".to_owned(), means(vec![interaction(12), amounts(12)])),
        (
            "24 panels".to_owned(),
            means((0..24).map(|panel| [amounts(5), names(3), interaction(4)][panel % 3].clone()).collect()),
        ),
    ];
    for (name, factor, shift) in [
        ("tiny range", 1e-7, 64.0),
        ("large range", 2.5e8, 0.0),
        ("near zero", 0.5, -20.0),
        ("below zero", 1.0, -900.0),
    ] {
        let mut scaled = means(vec![names(3), amounts(5), interaction(3)]);
        for panel in &mut scaled.panels {
            for mean in panel.series.iter_mut().flat_map(|series| &mut series.means) {
                mean.mean = mean.mean * factor + shift;
                mean.standard_error = mean.standard_error.map(|error| error * factor);
            }
            panel.bars.iter_mut().for_each(|bar| bar.length *= factor);
        }
        cases.push((name.to_owned(), scaled));
    }
    // Equal means close together: their letters would lie on each other's bars.
    let mut crowded = amounts(12);
    crowded.levels =
        Levels::Amounts((0..12).map(|level| if level < 10 { 2.0 * f64::from(level) } else { 200.0 }).collect());
    for mean in &mut crowded.series[0].means {
        (mean.mean, mean.standard_error) = (60.0 + (mean.level % 3) as f64, Some(4.0));
        mean.letters = "abc".to_owned();
    }
    cases.push(("crowded letters".to_owned(), means(vec![crowded.clone(), crowded])));
    let mut wide = amounts(5);
    wide.bars = bars(&[180.0, 90.0]);
    cases.push(("wide differences".to_owned(), means(vec![wide, names(2)])));
    let mut long = means(vec![names(3), amounts(5), interaction(3)]);
    long.yield_unit = Some("megagrams a hectare, at 13.5% moisture".to_owned());
    for panel in &mut long.panels {
        (panel.title, panel.axis_label) = (LONG.to_owned(), LONG.to_owned());
        panel.bars.iter_mut().for_each(|bar| bar.label = LONG.to_owned());
        panel.series.iter_mut().for_each(|series| series.label = LONG.to_owned());
        if let Levels::Names(names) = &mut panel.levels {
            names.iter_mut().for_each(|name| *name = LONG.to_owned());
        }
    }
    cases.push(("long labels".to_owned(), long));
    cases
}
