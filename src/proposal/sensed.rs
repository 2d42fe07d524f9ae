//! Columns beside a reading that number it, say where it was taken, or are what it is computed from: passes, positions of leaves,
//! reflectances. Headers propose them, and what stands beside them tells whether they are.

use std::collections::{HashMap, HashSet};

use super::judge::{from_to, levels, short, within};
use super::role::{Judged, Role};
use super::settle::Settled;
use super::sheet::{Column, Sheet};
use super::words::{any, in_a_row, words};

const PASS: &[&str] = &["pass", "passes", "run", "runs"];
/// Words that a header of passes may have besides.
const BESIDE_PASS: &[&str] = &["no", "nr", "number", "id", "sensor", "canopy"];
const LEAF: &[&str] = &["leaf", "leaves", "blatt", "feuille"];
const ON_THE_PLANT: &[&str] = &["position", "pos", "layer"];
/// Words that tell where on a plant a leaf sat.
const PLACES: &[&str] =
    &["upper", "uppermost", "middle", "mid", "lower", "lowermost", "top", "bottom", "flag", "youngest", "oldest"];
/// Leaves have no more places on a plant that anybody tells apart.
const MOST_PLACES: usize = 12;
const NEAR_INFRARED: &[&str] = &["nir", "infrared", "nearinfrared"];
/// Words of a header of reflectance, or of its NDVI, that tell neither day nor pass.
const REFLECTANCE: &[&str] = &[
    "ndvi",
    "red",
    "nir",
    "near",
    "infra",
    "infrared",
    "nearinfrared",
    "reflectance",
    "refl",
    "band",
    "r",
    "nm",
    "%",
    "pct",
    "percent",
];
/// Wavelengths of red and near-infrared light, nm.
const WAVELENGTHS: std::ops::RangeInclusive<u32> = 600..=1_100;

/// A column that may number the passes of a sensor.
pub(super) fn pass(column: &Column, _: &Sheet) -> Option<Judged> {
    let known = |word: &String| PASS.contains(&word.as_str()) || BESIDE_PASS.contains(&word.as_str());
    let named = any(&column.words, PASS) && column.words.iter().all(known);
    (named && column.is_numeric())
        .then(|| Judged::unsure(Role::Pass, format!("header says pass or run; {}", from_to(column))))
}

/// Whether every cell tells where on a plant a leaf sat.
fn are_places(column: &Column) -> bool {
    column.levels().keys().all(|level| any(&words(level), PLACES))
}

/// Whether a header may say where on the plant a leaf sat.
pub(super) fn may_say_position(column: &Column) -> bool {
    any(&column.words, ON_THE_PLANT) || any(&column.words, LEAF) && !column.is_numeric()
}

/// A column that tells where on the plant a leaf sat.
pub(super) fn leaf_position(column: &Column, _: &Sheet) -> Option<Judged> {
    let (position, places) = (any(&column.words, ON_THE_PLANT), are_places(column));
    if !any(&column.words, LEAF) || !(position || places) {
        return None;
    }
    let reason = format!("header says leaf{}; {}", if position { " position" } else { "" }, levels(column));
    Some(if column.levels().len() > MOST_PLACES || column.has_fractions() {
        Judged::unsure(Role::LeafPosition, format!("{reason}, and leaves have fewer places on a plant"))
    } else if position && places {
        Judged::sure(Role::LeafPosition, reason)
    } else {
        Judged::likely(Role::LeafPosition, reason)
    })
}

/// Red or near-infrared reflectance.
pub(super) fn reflectance(column: &Column, _: &Sheet) -> Option<Judged> {
    let words = &column.words;
    if any(words, &["ndvi"]) || !column.is_numeric() {
        return None;
    }
    let (role, what) = match () {
        () if any(words, NEAR_INFRARED) || in_a_row(words, &["infra", "red"]) => (Role::NearInfrared, "near infrared"),
        () if in_a_row(words, &["red", "edge"]) || any(words, &["rededge"]) => {
            return Some(Judged::none("the red edge, of which no NDVI is made"));
        }
        () if any(words, &["red"]) => (Role::Red, "red"),
        () => return None,
    };
    let reason = format!("header says {what}; {}", from_to(column));
    Some(if within(column, 0.0, 1.0) {
        Judged::sure(role, reason)
    } else if within(column, 0.0, 100.0) {
        Judged::likely(role, format!("{reason}, so in per cent"))
    } else {
        Judged::unsure(role, format!("{reason}, where a reflectance is at most 1, or 100 in per cent"))
    })
}

/// The pass of the day that a header names: *NDVI 2 Apr pass 2*.
pub(super) fn pass_in(header: &[String]) -> Option<u32> {
    let after = header.iter().skip_while(|word| !PASS.contains(&word.as_str())).nth(1)?;
    after.parse().ok().filter(|pass| (1..=1_000).contains(pass))
}

/// What a header says beside the colour: its day, its pass.
fn beside_the_colour(column: &Column) -> Vec<&str> {
    let wavelength = |word: &str| word.parse().is_ok_and(|number: u32| WAVELENGTHS.contains(&number));
    column.words.iter().map(String::as_str).filter(|word| !REFLECTANCE.contains(word) && !wavelength(word)).collect()
}

/// How a column goes with the readings of a plot on one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Among {
    /// It numbers them: whole numbers from 1 on, no two of them alike.
    Numbers,
    /// It has the same value for all of them.
    Same,
    /// Anything else.
    Other,
}

impl Settled {
    /// How a column goes with the readings of a plot on one day by one instrument; `None` where no plot is known to have two.
    pub(super) fn among_readings(&self, position: usize) -> Option<Among> {
        self.positions(Role::Plot).first()?;
        let column = self.column(position)?;
        let key: Vec<&Column> = [Role::Plot, Role::Block, Role::Date, Role::Instrument]
            .into_iter()
            .flat_map(|role| self.with_role(role).map(|(column, _)| column))
            .collect();
        let mut readings: HashMap<Vec<Option<&str>>, Vec<&str>> = HashMap::new();
        for (row, cell) in column.cells.iter().enumerate() {
            let Some(cell) = cell else { continue };
            let key = key.iter().map(|column| column.cells.get(row).and_then(Option::as_deref)).collect();
            readings.entry(key).or_default().push(cell);
        }
        let several: Vec<&Vec<&str>> = readings.values().filter(|cells| cells.len() > 1).collect();
        several.first()?;
        let counts = column.is_numeric() && !column.has_fractions() && within(column, 1.0, f64::INFINITY);
        let kinds = |cells: &[&str]| cells.iter().collect::<HashSet<_>>().len();
        Some(if counts && several.iter().all(|cells| kinds(cells) == cells.len()) {
            Among::Numbers
        } else if several.iter().all(|cells| kinds(cells) == 1) {
            Among::Same
        } else {
            Among::Other
        })
    }

    /// Which columns that say pass or run number the readings of a plot.
    pub(super) fn passes(&mut self) {
        for position in self.positions(Role::Pass) {
            let header = self.column(position).map(Column::shown).unwrap_or_default();
            let judged = match self.among_readings(position) {
                Some(Among::Numbers) => {
                    Judged::likely(Role::Pass, format!("no two readings of a plot and day have the same {header}"))
                }
                Some(Among::Other) => Judged::unsure(
                    Role::Pass,
                    "header says pass or run, but it gives readings of a plot and day no numbers of their own",
                ),
                Some(Among::Same) | None => {
                    Judged::none("a position in the field, or a run: it does not number the readings of a plot")
                }
            };
            self.set(position, judged);
        }
        self.only_best(Role::Pass);
    }

    /// Finds the near-infrared column of each red one: that whose header says the same beside the colour, or the only one there is. Where
    /// their NDVI stands in a column too, they are not used.
    pub(super) fn pair_reflectances(&mut self) {
        let [red, near_infrared, ndvi] =
            [Role::Red, Role::NearInfrared, Role::CanopyNdvi].map(|role| self.positions(role));
        let only = red.len() == 1 && near_infrared.len() == 1;
        let beside = |position: &usize| self.column(*position).map(beside_the_colour);
        let like = |position: &usize, among: &[usize]| -> Vec<usize> {
            among.iter().copied().filter(|other| beside(other) == beside(position)).collect()
        };
        let mut changes: Vec<(usize, Judged)> = Vec::new();
        let mut pairs = Vec::new();
        let unclear =
            "a reflectance, and an NDVI takes one red and one near-infrared column: which belong together is not clear";
        for red_column in &red {
            let partners = if only { near_infrared.clone() } else { like(red_column, &near_infrared) };
            let rivals = like(red_column, &red).len();
            match (partners.as_slice(), rivals) {
                ([partner], 1) => pairs.push((*red_column, *partner)),
                _ => changes.push((*red_column, Judged::none(unclear))),
            }
        }
        let alone = near_infrared.iter().filter(|column| !pairs.iter().any(|(_, partner)| partner == *column));
        changes.extend(alone.map(|column| (*column, Judged::none(unclear))));
        let mut used = Vec::new();
        for (red, near_infrared) in pairs {
            let there = if only && ndvi.len() == 1 { ndvi.clone() } else { like(&red, &ndvi) };
            if let Some(column) = there.first().and_then(|position| self.column(*position)) {
                let text = format!("{:?} is the NDVI of it already", column.shown());
                changes.extend([red, near_infrared].map(|position| (position, Judged::none(text.clone()))));
                continue;
            }
            let highest = |position: usize| self.column(position).and_then(Column::range).map(|(_, highest)| highest);
            if let (Some(of_red), Some(of_near_infrared)) = (highest(red), highest(near_infrared))
                && (of_red <= 1.0) != (of_near_infrared <= 1.0)
            {
                let text = format!(
                    "red goes up to {} and near infrared up to {}: one is a fraction, the other in per cent",
                    short(of_red),
                    short(of_near_infrared)
                );
                let unsure = |role| Judged::unsure(role, text.clone());
                changes.extend([(red, unsure(Role::Red)), (near_infrared, unsure(Role::NearInfrared))]);
            }
            used.push((red, near_infrared));
        }
        for (position, judged) in changes {
            self.set(position, judged);
        }
        self.reflectances = used;
    }

    /// The columns of each pair of reflectances, red first, and how they were judged.
    pub(super) fn reflectance_pairs(&self) -> impl Iterator<Item = [(&Column, &Judged); 2]> {
        let of = |position: usize| self.column(position).zip(self.judged.get(position));
        self.reflectances.iter().filter_map(move |&(red, near_infrared)| Some([of(red)?, of(near_infrared)?]))
    }

    /// The column of a file of readings that may tell where a leaf sat, though its header does not say so outright.
    pub(super) fn unclear_position(&mut self) {
        if !self.positions(Role::LeafPosition).is_empty() {
            return;
        }
        let may_tell = |(column, judged): &(&Column, &Judged)| {
            let few = (2..=MOST_PLACES).contains(&column.levels().len());
            // What the plots file tells was a factor by its values alone.
            may_say_position(column) && few && judged.role == Role::None
        };
        let Some(position) = self.sheet.columns.iter().zip(&self.judged).position(|both| may_tell(&both)) else {
            return;
        };
        let Some(column) = self.column(position) else { return };
        let judged = if are_places(column) {
            Judged::likely(Role::LeafPosition, format!("its cells say where a leaf sits: {}", levels(column)))
        } else {
            let text = format!("where on the plant a leaf sat, or something else? {}", levels(column));
            Judged::unsure(Role::LeafPosition, text)
        };
        self.set(position, judged);
    }
}
