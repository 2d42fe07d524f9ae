//! The figure of `reports/coverage`, drawn from its committed table.

use std::fs;
use std::path::PathBuf;

use crate::figures::axis::{self, Scale, Tick};
use crate::figures::legend::{self, Entry};
use crate::figures::marker::{Form, Marker};
use crate::figures::scene::{Anchor, BRICK, Colour, HAIR, INK, MIST, PLUM, SEA, STONE, Scene, THIN, at};
use crate::figures::typeface::{LARGE, SMALL, Typeface, capital_height};
use crate::figures::{DecimalMark, Style, Width, Words, finish};

const CAPTION: &str = "How often 95 % intervals hold the truth: marks are means over scenarios of 2 000 simulated trials, lines run \
    from the lowest to the highest scenario. Shaded: 93 to 97 %. An open end holds everything on its side; a trial without an interval \
    is left out of its scenario. Marks at the left edge lie below the axis.";

/// Below this, per cent, a scenario is drawn at the edge.
const LOWEST: f64 = 30.0;
const BAND: [f64; 2] = [93.0, 97.0];

/// The panels: what they are called, and which scenarios they hold.
const PANELS: [(&str, &str, &str); 4] = [
    ("regular", "between rates", "yes"),
    ("between rates, others", "between rates", "no"),
    ("at a tested rate", "at a rate", "no"),
    ("near the top rate", "near the top", "no"),
];

/// The rows: words, truth, what is fitted, quantity.
const ROWS: [(&str, &str, &str, &str); 11] = [
    ("quadratic-plateau: join", "quadratic-plateau", "the truth's family", "join"),
    ("quadratic-plateau: EONR", "quadratic-plateau", "the truth's family", "EONR"),
    ("linear-plateau: join", "linear-plateau", "the truth's family", "join"),
    ("linear-plateau: EONR", "linear-plateau", "the truth's family", "EONR"),
    ("exponential: EONR", "exponential-rise", "the truth's family", "EONR"),
    ("quadratic: EONR", "quadratic", "the truth's family", "EONR"),
    ("quadratic-plateau: EONR, chosen", "quadratic-plateau", "chosen", "EONR"),
    ("linear-plateau: EONR, chosen", "linear-plateau", "chosen", "EONR"),
    ("exponential: EONR, chosen", "exponential-rise", "chosen", "EONR"),
    ("quadratic: EONR, chosen", "quadratic", "chosen", "EONR"),
    ("outside the families: EONR, chosen", "outside", "chosen", "EONR"),
];

const METHODS: [(&str, &str, Form, bool, Colour); 3] = [
    ("profile", "profile", Form::Circle, true, SEA),
    ("wald", "Wald", Form::Square, false, BRICK),
    ("families within 4", "the families within 4 AICc of the best, together", Form::Diamond, true, PLUM),
];

/// Left edge, mm.
const EDGE: f64 = 1.5;
const ROW: f64 = 6.6;
const GAP: f64 = 4.0;

fn report(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reports/coverage").join(name)
}

/// The columns of the committed table that the figure needs.
struct Row {
    cells: Vec<String>,
    coverage: Option<f64>,
}

fn table() -> Vec<Row> {
    let mut reader = csv::Reader::from_path(report("coverage.csv")).expect("the committed table");
    let header = reader.headers().expect("a header").clone();
    let at = |name: &str| header.iter().position(|column| column == name).expect("a column");
    let wanted = ["truth", "place", "fitted", "method", "quantity", "regular"].map(at);
    let coverage = at("coverage_of_computed");
    let row = |record: csv::StringRecord| Row {
        cells: wanted.iter().map(|column| record[*column].to_owned()).collect(),
        coverage: record[coverage].parse::<f64>().ok().map(|share| 100.0 * share),
    };
    reader.records().map(|record| row(record.expect("a row"))).collect()
}

fn lay_out(table: &[Row], typeface: &Typeface) -> Scene {
    let width = Width::DoubleColumn.millimetres();
    let mut scene = Scene { width, ..Scene::default() };
    let words = ROWS.iter().map(|row| typeface.length(row.0, SMALL)).fold(0.0, f64::max);
    let left = EDGE + words + 2.5;
    let panel = (width - left - EDGE - 2.0 - 3.0 * GAP) / 4.0;
    let top = EDGE + 6.0;
    let bottom = top + ROW * ROWS.len() as f64;
    let ticks: Vec<Tick> = [40.0, 60.0, 80.0, 100.0].map(|value| Tick { value, label: format!("{value:.0}") }).to_vec();
    let middle = |row: usize| top + ROW * (row as f64 + 0.5);
    for (row, (words, ..)) in ROWS.iter().enumerate() {
        let place = at(left - 2.0, middle(row) + capital_height(SMALL) / 2.0);
        scene.text(words, SMALL, typeface.length(words, SMALL), Anchor::End, place);
    }
    for (number, (title, place, regular)) in PANELS.iter().enumerate() {
        let from = left + number as f64 * (panel + GAP);
        let scale = Scale { low: LOWEST, high: 102.0, from, to: from + panel };
        let heading = at(from, top - 1.8);
        scene.text(title, LARGE, typeface.length(title, LARGE), Anchor::Start, heading);
        let [low, high] = BAND.map(|share| scale.place(share));
        scene.rectangle(at(low, top), at(high, bottom), MIST);
        let nominal = scale.place(95.0);
        scene.dashes(&[at(nominal, top), at(nominal, bottom)], [0.8, 0.8], HAIR, STONE);
        scene.line(vec![at(from, top), at(from, bottom)], HAIR, INK);
        let between = top + 6.0 * ROW;
        scene.line(vec![at(from, between), at(from + panel, between)], HAIR, STONE);
        for (row, (_, truth, fitted, quantity)) in ROWS.iter().enumerate() {
            for (turn, (method, _, form, filled, colour)) in METHODS.iter().enumerate() {
                let key = [truth, place, fitted, method, quantity, regular];
                let of_row = |row: &&Row| row.cells.iter().zip(key).all(|(cell, wanted)| cell == wanted);
                let shares: Vec<f64> = table.iter().filter(of_row).filter_map(|row| row.coverage).collect();
                if shares.is_empty() {
                    continue;
                }
                let mean = shares.iter().sum::<f64>() / shares.len() as f64;
                let [low, high] = axis::extent(shares);
                let y = middle(row) + (turn as f64 - 1.0) * 1.9;
                let ends = vec![at(scale.clamped(low), y), at(scale.clamped(high), y)];
                scene.line(ends, THIN, *colour);
                let marker = Marker { form: *form, filled: *filled, size: 0.9, colour: *colour };
                marker.draw(&mut scene, at(scale.clamped(mean), y));
            }
        }
        axis::draw_across(&mut scene, &scale, bottom, &ticks, true, typeface);
    }
    let title = ["Trials whose interval holds the truth, %".to_owned()];
    let below = bottom + axis::depth_below() + 1.6;
    let end = axis::title_across(&mut scene, &title, left + 2.0 * panel + 1.5 * GAP, below, typeface);
    let mut entries: Vec<Entry> = METHODS
        .iter()
        .map(|(_, words, form, filled, colour)| {
            let marker = Marker { form: *form, filled: *filled, size: 0.9, colour: *colour };
            Entry::new(*words, move |scene, middle| {
                scene.line(vec![at(middle.x - 3.0, middle.y), at(middle.x + 3.0, middle.y)], THIN, marker.colour);
                marker.draw(scene, middle);
            })
        })
        .collect();
    entries.push(Entry::new("93 to 97 %", |scene, middle| legend::swatch(scene, middle, MIST)));
    let end = legend::draw(&mut scene, &entries, at(left, end + 2.2), width - left - EDGE, typeface);
    scene.height = end + EDGE / 2.0;
    scene
}

#[test]
fn the_committed_figure_is_that_of_the_committed_table() {
    let typeface = Typeface::load(DecimalMark::Point).unwrap();
    let style = Style { width: Width::DoubleColumn, dots_per_inch: 200, ..Style::default() };
    let words = Words { caption: CAPTION.to_owned(), ..Words::default() };
    let drawn = finish(lay_out(&table(), &typeface), &style, &words, &typeface).unwrap();
    if std::env::var_os("STOOK_REWRITE").is_some() {
        fs::write(report("coverage.svg"), &drawn.svg).unwrap();
        fs::write(report("coverage.png"), &drawn.png).unwrap();
    }
    assert_eq!(fs::read_to_string(report("coverage.svg")).unwrap(), drawn.svg);
    assert_eq!(fs::read(report("coverage.png")).unwrap(), drawn.png);
}
