//! Compact letter display: which means are not significantly different, as letters beside them.
//!
//! Two levels share a letter exactly where they do not differ significantly. Letters are found by insert and absorb (Piepho 2004, J. Comput.
//! Graph. Stat. 13:456-466, from memory): all levels share one letter, which each pair that differs splits in two; a letter whose
//! levels all have another in common is absorbed. Last, letters go that are not needed, so that none left can be taken away.
//!
//! That ends with every largest set of levels of which no two differ, and relations exist with 3^(k/3) of them, if hardly among means. Past
//! 400 of them each pair that still shares none is given one in turn, and it goes to each further level that it helps, those first that
//! it helps most: as true, if perhaps not as few.

use std::cmp::Reverse;

/// As many letters as are split further.
const MOST_LETTERS: usize = 400;

/// The letters of each level, in the order of `means`.
///
/// `differ(i, j)` says whether levels i < j differ significantly. Letter a goes to the largest mean; of equal means the first in order
/// counts as larger. Of the letters that begin at the same level, the one that reaches the larger means comes first. After z come
/// a2 … z2, a3 and so on, so that letters written side by side are still read one way: `yza2` is y, z and a2.
pub fn compact_letters(means: &[f64], differ: impl Fn(usize, usize) -> bool) -> Vec<String> {
    let levels = means.len();
    let mut order: Vec<usize> = (0..levels).collect();
    // A stable sort: ties stay in order.
    let mean = |level: &usize| means.get(*level).copied().unwrap_or(f64::NAN);
    order.sort_by(|a, b| mean(b).total_cmp(&mean(a)));
    let alike: Vec<Levels> = order
        .iter()
        .map(|a| {
            let alike = order.iter().enumerate().filter(|(_, b)| a == *b || !differ(*a.min(b), *a.max(b)));
            Levels::of(levels, alike.map(|(place, _)| place))
        })
        .collect();
    let mut sharing = by_splitting(&alike).unwrap_or_else(|| pair_by_pair(&alike));
    drop_unneeded(&mut sharing, levels);
    sharing.sort_by(|a, b| a.iter().cmp(b.iter()));
    let mut letters = vec![String::new(); levels];
    for (place, level) in order.iter().enumerate() {
        if let Some(written) = letters.get_mut(*level) {
            written
                .extend(sharing.iter().enumerate().filter(|(_, shared)| shared.has(place)).map(|(nth, _)| name(nth)));
        }
    }
    letters
}

/// a … z, a2 … z2, a3 …
fn name(nth: usize) -> String {
    let letter = ('a'..='z').nth(nth % 26).unwrap_or('?');
    match nth / 26 {
        0 => letter.to_string(),
        round => format!("{letter}{}", round + 1),
    }
}

/// Every largest set of levels of which all are alike; `None` where there are too many.
fn by_splitting(alike: &[Levels]) -> Option<Vec<Levels>> {
    let mut sets = if alike.is_empty() { Vec::new() } else { vec![Levels::of(alike.len(), 0..alike.len())] };
    for (i, alike) in alike.iter().enumerate() {
        for j in (0..i).filter(|j| !alike.has(*j)) {
            let (split, mut kept): (Vec<_>, Vec<_>) = sets.into_iter().partition(|set| set.has(i) && set.has(j));
            for part in split.iter().flat_map(|set| [set.without(i), set.without(j)]) {
                // Never the other way: what lies within a part lay within the set that was split, and had been absorbed.
                if !kept.iter().any(|set| set.contains(&part)) {
                    kept.push(part);
                }
            }
            if kept.len() > MOST_LETTERS {
                return None;
            }
            sets = kept;
        }
    }
    Some(sets)
}

/// Sets of levels, all alike within each, that cover every alike pair: as many as greed needs.
fn pair_by_pair(alike: &[Levels]) -> Vec<Levels> {
    let mut open = alike.to_vec();
    let mut sets = Vec::new();
    for (i, like_i) in alike.iter().enumerate() {
        while let Some(j) = open.get(i).and_then(|open| open.iter().find(|j| *j >= i)) {
            let mut set = Levels::of(alike.len(), [i, j]);
            let mut candidates = alike.get(j).map_or_else(|| like_i.clone(), |like_j| like_i.and(like_j));
            // The level next that most pairs of the set still wait for; of equal ones the first.
            loop {
                let helped = |level: usize| open.get(level).map_or(0, |open| open.and(&set).count());
                let outside = candidates.and_not(&set);
                let next = outside.iter().map(|level| (helped(level), Reverse(level))).max();
                let Some((1.., Reverse(level))) = next else { break };
                set.insert(level);
                candidates = alike.get(level).map_or_else(|| candidates.clone(), |like| candidates.and(like));
            }
            for level in set.iter() {
                if let Some(open) = open.get_mut(level) {
                    *open = open.and_not(&set);
                }
            }
            sets.push(set);
        }
    }
    sets
}

/// Takes away sets, the small ones first, while every pair that shares one still does.
fn drop_unneeded(sets: &mut Vec<Levels>, levels: usize) {
    // How many sets each pair of levels is in; a level with itself counts too.
    let mut shared = vec![0_usize; levels * levels];
    let pairs = |set: &Levels| {
        let members: Vec<usize> = set.iter().collect();
        members.clone().into_iter().flat_map(move |a| members.clone().into_iter().map(move |b| a * levels + b))
    };
    for pair in sets.iter().flat_map(pairs) {
        if let Some(count) = shared.get_mut(pair) {
            *count += 1;
        }
    }
    sets.sort_by(|a, b| a.count().cmp(&b.count()).then_with(|| b.iter().cmp(a.iter())));
    sets.retain(|set| {
        let is_needed = pairs(set).any(|pair| shared.get(pair) == Some(&1));
        if !is_needed {
            for pair in pairs(set) {
                if let Some(count) = shared.get_mut(pair) {
                    *count -= 1;
                }
            }
        }
        is_needed
    });
}

/// A set of levels, a bit for each.
#[derive(Clone)]
struct Levels(Vec<u64>);

impl Levels {
    fn of(levels: usize, members: impl IntoIterator<Item = usize>) -> Self {
        let mut set = Self(vec![0; levels.div_ceil(64)]);
        members.into_iter().for_each(|level| set.insert(level));
        set
    }

    fn insert(&mut self, level: usize) {
        if let Some(word) = self.0.get_mut(level / 64) {
            *word |= 1 << (level % 64);
        }
    }

    fn has(&self, level: usize) -> bool {
        self.0.get(level / 64).is_some_and(|word| word >> (level % 64) & 1 == 1)
    }

    fn iter(&self) -> impl Iterator<Item = usize> {
        (0..64 * self.0.len()).filter(|level| self.has(*level))
    }

    fn each_word(&self, other: &Self, f: impl Fn(u64, u64) -> u64) -> Self {
        Self(self.0.iter().zip(&other.0).map(|(a, b)| f(*a, *b)).collect())
    }

    fn and(&self, other: &Self) -> Self {
        self.each_word(other, |a, b| a & b)
    }

    fn and_not(&self, other: &Self) -> Self {
        self.each_word(other, |a, b| a & !b)
    }

    fn without(&self, level: usize) -> Self {
        self.and_not(&Self::of(64 * self.0.len(), [level]))
    }

    fn contains(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).all(|(a, b)| b & !a == 0)
    }

    fn count(&self) -> u32 {
        self.0.iter().map(|word| word.count_ones()).sum()
    }
}
