//! What the columns of one sheet are together: what judging each by itself cannot see.

use super::judge::judge;
use super::role::{Confidence, Judged, Role};
use super::sensed::may_say_position;
use super::sheet::{Column, Sheet};

/// Two columns hold the same numbers in other units, or sums, this near.
const SAME: f64 = 0.01;
/// Columns that together may name a plot.
const MOST_KEY_COLUMNS: usize = 4;

/// A sheet with the role of each column.
#[derive(Clone, Debug)]
pub(super) struct Settled {
    pub(super) sheet: Sheet,
    /// One a column.
    pub(super) judged: Vec<Judged>,
    /// Columns that together name a plot, by position.
    pub(super) key: Vec<usize>,
    /// Columns of red and near-infrared reflectance that belong together, by position.
    pub(super) reflectances: Vec<(usize, usize)>,
}

impl Settled {
    /// Judges every column, then the sheet as a whole; `chosen` are roles that a user has typed.
    pub(super) fn of(sheet: Sheet, chosen: &dyn Fn(&str) -> Option<Role>) -> Self {
        let judged = sheet.columns.iter().map(|column| judge(column, &sheet)).collect();
        let mut settled = Self { sheet, judged, key: Vec::new(), reflectances: Vec::new() };
        settled.same_rates();
        settled.same_as_rates();
        settled.one_harvest();
        for role in [
            Role::Plot,
            Role::Block,
            Role::Variety,
            Role::Site,
            Role::Year,
            Role::Moisture,
            Role::Protein,
            Role::TestWeight,
        ] {
            settled.only_best(role);
        }
        settled.only_best(Role::LeafPosition);
        settled.passes();
        for (column, judged) in settled.sheet.columns.iter().zip(&mut settled.judged) {
            if let Some(role) = chosen(&column.name) {
                *judged = Judged::sure(role, "you said so");
            }
        }
        settled.pair_reflectances();
        settled.long_form();
        settled.key = settled.find_key();
        settled
    }

    /// The columns with a role, by position.
    pub(super) fn positions(&self, role: Role) -> Vec<usize> {
        self.judged.iter().enumerate().filter(|(_, judged)| judged.role == role).map(|(position, _)| position).collect()
    }

    /// The first column with a role that is sure or likely.
    pub(super) fn known(&self, role: Role) -> Option<&Column> {
        self.positions(role)
            .into_iter()
            .find(|position| self.is_written(*position))
            .and_then(|position| self.column(position))
    }

    /// The columns with a role, each with what was judged.
    pub(super) fn with_role(&self, role: Role) -> impl Iterator<Item = (&Column, &Judged)> {
        self.sheet.columns.iter().zip(&self.judged).filter(move |(_, judged)| judged.role == role)
    }

    /// Whether a column's role is sure enough to be written.
    pub(super) fn is_written(&self, position: usize) -> bool {
        self.judged.get(position).is_some_and(|judged| judged.confidence > Confidence::Unsure)
    }

    pub(super) fn column(&self, position: usize) -> Option<&Column> {
        self.sheet.columns.get(position)
    }

    pub(super) fn set(&mut self, position: usize, judged: Judged) {
        if let Some(place) = self.judged.get_mut(position) {
            *place = judged;
        }
    }

    /// N rates that are others in another unit, or the sum of others.
    fn same_rates(&mut self) {
        let rates: Vec<(usize, Vec<Option<f64>>)> = self
            .positions(Role::NRate)
            .into_iter()
            .filter_map(|position| Some((position, self.column(position)?.numbers.clone())))
            .collect();
        let mut changes = Vec::new();
        for (position, own) in &rates {
            let others = || rates.iter().filter(|(other, _)| other != position);
            let same = others().find(|(other, numbers)| other < position && are_proportional(own, numbers));
            if let Some(earlier) = same.and_then(|(earlier, _)| self.column(*earlier)) {
                changes.push((*position, format!("the same as {:?}, in another unit or once more", earlier.shown())));
                continue;
            }
            // Where nothing is written of a part, nothing went on.
            let parts: Vec<&Vec<Option<f64>>> =
                others().map(|(_, numbers)| numbers).filter(|numbers| !are_proportional(own, numbers)).collect();
            let sum = |row: usize| parts.iter().filter_map(|part| part.get(row).copied().flatten()).sum::<f64>();
            let mut filled = (0..).zip(own).filter_map(|(row, own)| Some((row, (*own)?)));
            if parts.len() > 1 && differ(own) && filled.all(|(row, own)| are_near(own, sum(row))) {
                changes.push((*position, "the sum of the other N columns".to_owned()));
            }
        }
        for (position, reason) in changes {
            self.set(position, Judged::none(reason));
        }
    }

    /// Columns that name the levels of a column of N rates.
    fn same_as_rates(&mut self) {
        let numeric: Vec<usize> =
            self.positions(Role::NRate).into_iter().filter(|position| self.is_written(*position)).collect();
        let mut changes = Vec::new();
        if let Some(rates) = numeric.first().and_then(|rates| self.column(*rates)) {
            for position in self.positions(Role::NRate) {
                if self.column(position).is_some_and(|column| !column.is_numeric()) {
                    changes.push((position, format!("its levels are no rates; {:?} has them", rates.shown())));
                }
            }
        }
        for (position, judged) in self.judged.iter().enumerate() {
            let coded = matches!(judged.role, Role::Factor)
                || (judged.role == Role::NRate && judged.confidence == Confidence::Unsure);
            let same = numeric.iter().find(|rates| coded && **rates != position && self.one_to_one(position, **rates));
            if let Some(rates) = same.and_then(|rates| self.column(*rates)) {
                changes.push((position, format!("another name for the levels of {:?}", rates.shown())));
            }
        }
        for (position, reason) in changes {
            self.set(position, Judged::none(reason));
        }
    }

    /// Whether the levels of two columns belong to each other one by one.
    fn one_to_one(&self, a: usize, b: usize) -> bool {
        let (Some(a), Some(b)) = (self.column(a), self.column(b)) else { return false };
        let pairs: std::collections::BTreeSet<(&str, &str)> =
            a.cells.iter().zip(&b.cells).filter_map(|(a, b)| a.as_deref().zip(b.as_deref())).collect();
        let (levels_a, levels_b) = (a.levels().len(), b.levels().len());
        levels_a > 1 && pairs.len() == levels_a.max(levels_b) && levels_a <= levels_b
    }

    /// One yield, or one weight where there is no yield.
    fn one_harvest(&mut self) {
        let yields = self.positions(Role::Yield);
        if yields.len() > 1 {
            let columns = yields.iter().filter_map(|position| self.column(*position));
            let names: Vec<String> = columns.map(|column| format!("{:?}", column.shown())).collect();
            let text = match names.len() {
                2 | 3 => format!("several columns could be the yield: {}", names.join(", ")),
                many => format!("{many} columns could be the yield"),
            };
            for position in yields {
                self.set(position, Judged::unsure(Role::Yield, text.clone()));
            }
        } else if yields.first().is_some_and(|position| self.is_written(*position)) {
            for position in self.positions(Role::Weight) {
                self.set(position, Judged::none("a weight; the yield is there already"));
            }
        }
    }

    /// Leaves a role to the surest of its columns: for a plot the one that is unique.
    pub(super) fn only_best(&mut self, role: Role) {
        let positions = self.positions(role);
        let best = positions.iter().copied().max_by_key(|position| {
            let confidence = self.judged.get(*position).map(|judged| judged.confidence);
            (confidence, std::cmp::Reverse(*position))
        });
        let Some(best) = best else { return };
        let name = self.column(best).map(Column::shown).unwrap_or_default();
        for position in positions.into_iter().filter(|position| *position != best) {
            self.set(position, Judged::none(format!("{:?} is the {} already", name, role.name())));
        }
    }

    /// Whether every row is a reading rather than a plot: a value with a date, or with what numbers or places readings.
    pub(super) fn is_long(&self) -> bool {
        let has = |role| !self.positions(role).is_empty();
        let readings = self.positions(Role::CanopyNdvi).len() + self.positions(Role::LeafChlorophyll).len();
        let numbered = [Role::Pass, Role::LeafPosition].iter().any(|role| self.known(*role).is_some());
        (has(Role::Value) || readings == 1 || self.reflectances.len() == 1)
            && (has(Role::Date) || has(Role::Leaf) || numbered)
            && !has(Role::Yield)
            && !has(Role::Weight)
    }

    /// In a file of readings, N rates and the like are the plots file's to tell; in one of plots, dates of readings are nobody's.
    fn long_form(&mut self) {
        let long = self.is_long();
        const OF_READINGS: [Role; 6] =
            [Role::Date, Role::Stage, Role::Leaf, Role::LeafPosition, Role::Pass, Role::Value];
        for judged in &mut self.judged {
            let own = [
                Role::Plot,
                Role::Block,
                Role::CanopyNdvi,
                Role::LeafChlorophyll,
                Role::Red,
                Role::NearInfrared,
                Role::Instrument,
                Role::None,
            ]
            .contains(&judged.role)
                || OF_READINGS.contains(&judged.role);
            if long && !own {
                *judged = Judged::none("the plots file tells it");
            }
            if !long && OF_READINGS.contains(&judged.role) {
                *judged = Judged::none("not one row a reading, so no reading's");
            }
        }
        // The column of instruments may be called otherwise, such as "index".
        if long && self.positions(Role::Instrument).is_empty() {
            // "Upper leaf" names a position, where the header says leaf or position.
            let names_instruments = |column: &Column| {
                let mut named = column.levels().into_keys().filter_map(instrument_of);
                named.any(|instrument| instrument == Role::CanopyNdvi || !may_say_position(column))
            };
            let found = self.sheet.columns.iter().position(names_instruments);
            if let Some(position) = found {
                self.set(position, Judged::likely(Role::Instrument, "its cells name instruments"));
            }
        }
        if long {
            self.unclear_position();
        }
    }

    /// The fewest columns that tell the plots apart, the plot's own first.
    fn find_key(&self) -> Vec<usize> {
        let unique = |positions: &[usize]| {
            let columns: Vec<&Column> = positions.iter().filter_map(|position| self.column(*position)).collect();
            self.sheet.are_unique(&columns)
        };
        let plot = self.positions(Role::Plot);
        let block = self.positions(Role::Block);
        if self.is_long() {
            return if plot.is_empty() { Vec::new() } else { plot };
        }
        if !plot.is_empty() {
            let with_block: Vec<usize> = block.iter().chain(&plot).copied().collect();
            return if unique(&plot) || !unique(&with_block) { plot } else { with_block };
        }
        let further =
            [Role::Variety, Role::Factor, Role::NRate, Role::Kind].into_iter().flat_map(|role| self.positions(role));
        let mut key = block;
        for position in further.collect::<Vec<usize>>() {
            if key.len() >= MOST_KEY_COLUMNS {
                break;
            }
            key.push(position);
            if unique(&key) {
                return key;
            }
        }
        Vec::new()
    }

    /// How much a sheet looks like the plots of a trial.
    pub(super) fn plots_score(&self) -> usize {
        let counts = |role: Role, weight: usize| usize::from(!self.positions(role).is_empty()) * weight;
        if self.is_long() {
            return 0;
        }
        counts(Role::NRate, 4)
            + counts(Role::Yield, 3).max(counts(Role::Weight, 3))
            + counts(Role::Plot, 2)
            + counts(Role::Block, 1)
            + counts(Role::Variety, 1)
            + counts(Role::CanopyNdvi, 1)
    }
}

fn are_near(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME * a.abs().max(b.abs()).max(1.0)
}

/// Whether not all numbers are one.
fn differ(numbers: &[Option<f64>]) -> bool {
    let mut found = numbers.iter().flatten();
    let first = found.next();
    found.any(|number| Some(number) != first)
}

/// Whether the numbers of two columns are the same but for one factor, row by row.
fn are_proportional(a: &[Option<f64>], b: &[Option<f64>]) -> bool {
    let pairs = || a.iter().zip(b).filter_map(|(a, b)| (*a).zip(*b));
    let factor = pairs().find(|(_, b)| *b != 0.0).map(|(a, b)| a / b);
    differ(a) && factor.is_some_and(|factor| factor > 0.0 && pairs().all(|(a, b)| are_near(a, b * factor)))
}

/// The kind of instrument that a text names.
pub(super) fn instrument_of(text: &str) -> Option<Role> {
    let words = super::words::words(text);
    if super::words::any(&words, &["ndvi"]) {
        Some(Role::CanopyNdvi)
    } else if super::words::any(&words, &["leaf", "chlorophyll", "chl"]) {
        Some(Role::LeafChlorophyll)
    } else {
        None
    }
}
