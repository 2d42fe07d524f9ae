//! Treatment means and their comparisons, for a reader.

use super::anova::{AnalysisOf, Letters, SourceOf};
use super::anova_means::{ComparisonsOf, MeanOfLevels, MeansOf, PairOf, ProcedureOf};
use super::anova_text::{df_text, p_cell, yield_decimals};
use super::curves_text::capitalised;
use super::interval_words::{interval_head, interval_text};
use super::layout::{TextTable, WIDTH, paragraph, with_unit};
use super::numbers::{NONE, fixed, or_dash, p_value, percent, plain, significant};

/// Digits of a standard error of a difference, and of the least difference that is significant.
const DIGITS: i32 = 3;

/// The means of every effect, what differences between them are significant, and letters.
pub(super) fn means(analysis: &AnalysisOf, letters: Letters) -> String {
    let mut tables: Vec<String> = analysis
        .means
        .iter()
        .map(|effect| match effect.factors.as_slice() {
            [rows, columns] => two_way(analysis, effect, [rows, columns], letters),
            _ => listed(analysis, effect, letters),
        })
        .collect();
    tables.push(differences(analysis) + &notes(analysis, letters) + &dunnett(analysis));
    tables.retain(|table| !table.is_empty());
    tables.join("\n")
}

/// A factor with the unit of N where it is a rate of N: *N rate, lb/ac*.
fn head(analysis: &AnalysisOf, factor: &str) -> String {
    let unit = analysis.rate_unit.as_deref().filter(|_| analysis.is_rate(factor));
    with_unit(factor, unit)
}

/// What two effects have in common: the factors, in any order.
fn same_factors(factors: &[String], others: &[String]) -> bool {
    factors.len() == others.len() && factors.iter().all(|factor| others.contains(factor))
}

/// The row of an effect.
fn row_of<'a>(analysis: &'a AnalysisOf, factors: &[String]) -> Option<&'a SourceOf> {
    let rows = analysis.tables.iter().flat_map(|table| &table.rows);
    let whole = rows.filter(|row| row.part_of.is_none());
    let of = |source: &str| source.split(" × ").map(str::to_owned).collect::<Vec<_>>();
    whole.into_iter().find(|row| same_factors(&of(&row.source), factors))
}

/// Whether an effect is significant at the level of the comparisons.
fn is_significant(analysis: &AnalysisOf, factors: &[String]) -> bool {
    row_of(analysis, factors).and_then(|row| row.p).is_some_and(|p| p < 1.0 - analysis.level)
}

/// The letters of a level in a family.
fn letters_of<'a>(family: &'a ComparisonsOf, levels: &[String], letters: Letters) -> Option<&'a str> {
    let procedure = family.procedures.iter().find(|found| found.procedure == letters.procedure())?;
    let position = family.levels.iter().position(|known| known == levels)?;
    procedure.letters.get(position).map(String::as_str)
}

/// Means one below the other, with the letters of marginal comparisons.
fn listed(analysis: &AnalysisOf, effect: &MeansOf, letters: Letters) -> String {
    let decimals = yield_decimals(analysis);
    let level = effect.means.iter().find_map(|mean| mean.interval.as_ref()).map(|interval| interval.level);
    let mut table = TextTable::new();
    for (position, factor) in effect.factors.iter().enumerate() {
        let head = head(analysis, factor);
        table = if is_numeric(effect, position) { table.numbers(head) } else { table.words(head) };
    }
    table = table
        .numbers("n")
        .numbers(with_unit("mean yield", analysis.yield_unit.as_deref()))
        .numbers("SE")
        .words(interval_head(level))
        .words(if letters == Letters::Tukey { "Tukey" } else { "LSD" });
    for mean in &effect.means {
        // The means of an interaction are told apart only where it is significant.
        let letters = letters_of_mean(analysis, effect, mean, letters);
        let mut cells = mean.levels.clone();
        cells.extend([
            mean.n.to_string(),
            or_dash(mean.mean, |value| fixed(value, decimals)),
            or_dash(mean.standard_error, |error| fixed(error, decimals)),
            mean.interval.as_ref().map_or_else(String::new, |interval| interval_text(interval, decimals)),
            letters,
        ]);
        table.row(cells);
    }
    table.render(2)
}

/// The letters of a mean: of marginal comparisons, in two factors of those at one level of the other; none where the effect is not
/// significant.
pub(crate) fn letters_of_mean(
    analysis: &AnalysisOf,
    effect: &MeansOf,
    mean: &MeanOfLevels,
    letters: Letters,
) -> String {
    if effect.factors.len() == 2 {
        return cell_letters(analysis, effect, mean, letters);
    }
    let told_apart = effect.factors.len() == 1 || is_significant(analysis, &effect.factors);
    let marginal = |family: &&ComparisonsOf| family.factors == effect.factors && family.within.is_empty();
    let family = analysis.comparisons.iter().find(marginal).filter(|_| told_apart);
    family.and_then(|family| letters_of(family, &mean.levels, letters)).unwrap_or_default().to_owned()
}

/// Whether all levels of a factor are numbers.
fn is_numeric(effect: &MeansOf, position: usize) -> bool {
    effect.means.iter().all(|mean| mean.levels.get(position).is_some_and(|level| level.parse::<f64>().is_ok()))
}

/// Means of two factors as a grid: N across where it fits, else down; one below the other where neither fits.
fn two_way(analysis: &AnalysisOf, effect: &MeansOf, [first, second]: [&String; 2], letters: Letters) -> String {
    let across = if analysis.is_rate(first) && !analysis.is_rate(second) { [1, 0] } else { [0, 1] };
    let [down, up] = [across, [across[1], across[0]]].map(|order| grid(analysis, effect, order, letters));
    let fits = |text: &String| text.lines().all(|line| line.chars().count() <= WIDTH);
    let table = [down, up].into_iter().find(fits).unwrap_or_else(|| listed(analysis, effect, letters));
    let interaction = effect.factors.join(" × ");
    let p = row_of(analysis, &effect.factors).and_then(|row| row.p);
    let note = match p {
        Some(p) if p < 1.0 - analysis.level => format!(
            "{interaction} is significant ({}): how far levels of {first} differ depends on {second}, and these means say more than \
             those of one factor.",
            p_value(p)
        ),
        Some(p) => format!(
            "No letters: {interaction} is not significant ({}), so compare the means of each factor.",
            p_value(p)
        ),
        None => String::new(),
    };
    let note = if note.is_empty() { note } else { paragraph("  ", &note) };
    table + &errors(analysis, effect) + &note
}

/// The standard errors of a grid's means, and the plots behind each.
fn errors(analysis: &AnalysisOf, effect: &MeansOf) -> String {
    let decimals = yield_decimals(analysis);
    let known: Vec<&MeanOfLevels> = effect.means.iter().filter(|mean| mean.mean.is_some()).collect();
    let error = spread(known.iter().filter_map(|mean| mean.standard_error), |value| fixed(value, decimals));
    let plots = spread(known.iter().map(|mean| mean.n as f64), plain);
    let words = [error.map(|error| format!("SE of a mean {}", error.text)), plots.map(|n| format!("n = {}", n.text))];
    let words: Vec<String> = words.into_iter().flatten().collect();
    if words.is_empty() { String::new() } else { paragraph("  ", &format!("{}.", words.join("; "))) }
}

/// A grid with the levels of factor `down` in rows and those of factor `across` in columns.
fn grid(analysis: &AnalysisOf, effect: &MeansOf, [down, across]: [usize; 2], letters: Letters) -> String {
    let decimals = yield_decimals(analysis);
    let level = |mean: &MeanOfLevels, factor: usize| mean.levels.get(factor).cloned().unwrap_or_default();
    let mut levels: [Vec<String>; 2] = Default::default();
    for (factor, found) in [down, across].into_iter().zip(&mut levels) {
        for mean in &effect.means {
            let level = level(mean, factor);
            if !found.contains(&level) {
                found.push(level);
            }
        }
    }
    let [rows, columns] = levels;
    let name = |factor: usize| effect.factors.get(factor).map_or_else(String::new, |factor| head(analysis, factor));
    let mut table = TextTable::new();
    table = if is_numeric(effect, down) { table.numbers(name(down)) } else { table.words(name(down)) };
    for column in &columns {
        table = table.numbers(column).words("");
    }
    for row in &rows {
        let mut cells = vec![row.clone()];
        for column in &columns {
            let here = |mean: &&MeanOfLevels| level(mean, down) == *row && level(mean, across) == *column;
            let mean = effect.means.iter().find(here);
            cells.push(or_dash(mean.and_then(|mean| mean.mean), |value| fixed(value, decimals)));
            cells.push(mean.map_or_else(String::new, |mean| cell_letters(analysis, effect, mean, letters)));
        }
        table.row(cells);
    }
    let title = with_unit("Mean yield", analysis.yield_unit.as_deref());
    format!("  {title}: {} across\n{}", name(across), table.render(2))
}

/// The letters of a cell: small ones compare levels of the second factor at one level of the first, capitals the other way round.
fn cell_letters(analysis: &AnalysisOf, effect: &MeansOf, mean: &MeanOfLevels, letters: Letters) -> String {
    if !is_significant(analysis, &effect.factors) {
        return String::new();
    }
    let compared = |compared: usize, fixed: usize| {
        let (factor, within) = (effect.factors.get(compared)?, effect.factors.get(fixed)?);
        let (level, at) = (mean.levels.get(compared)?, mean.levels.get(fixed)?);
        let family = analysis.comparisons.iter().find(|family| {
            family.factors.iter().eq([factor])
                && family.within.len() == 1
                && family.within.get(within).and_then(|value| value.as_str()) == Some(at)
        })?;
        letters_of(family, std::slice::from_ref(level), letters)
    };
    let small = compared(1, 0).map(str::to_owned);
    let capital = compared(0, 1).map(str::to_uppercase);
    small.into_iter().chain(capital).collect::<Vec<_>>().join(" ")
}

/// Families of one kind: the same factors compared, within levels of the same others.
struct Kind<'a> {
    factors: &'a [String],
    within: Vec<&'a str>,
    families: Vec<&'a ComparisonsOf>,
}

fn kinds(analysis: &AnalysisOf) -> Vec<Kind<'_>> {
    let mut kinds: Vec<Kind<'_>> = Vec::new();
    for family in &analysis.comparisons {
        let within: Vec<&str> = family.within.keys().map(String::as_str).collect();
        match kinds.iter_mut().find(|kind| kind.factors == family.factors && kind.within == within) {
            Some(kind) => kind.families.push(family),
            None => kinds.push(Kind { factors: &family.factors, within, families: vec![family] }),
        }
    }
    kinds
}

impl Kind<'_> {
    /// *N rate*, *N rate at the same variety*.
    fn name(&self) -> String {
        let factors = self.factors.join(" × ");
        if self.within.is_empty() { factors } else { format!("{factors} at the same {}", self.within.join(" and ")) }
    }

    fn pairs(&self) -> impl Iterator<Item = &PairOf> {
        self.families.iter().flat_map(|family| &family.pairs)
    }

    fn procedures(&self, procedure: &str) -> impl Iterator<Item = &ProcedureOf> {
        self.families.iter().flat_map(|family| &family.procedures).filter(move |found| found.procedure == procedure)
    }
}

/// A difference as it is written.
fn digits(value: f64) -> String {
    significant(value, DIGITS)
}

/// *4.44*, or *4.1 to 4.9* where they differ by more than is written; the number behind a single one.
fn spread(values: impl Iterator<Item = f64>, text: impl Fn(f64) -> String) -> Option<Told> {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let (low_text, high_text) = (text(low), text(high));
    (low <= high).then(|| match low_text == high_text {
        true => Told { text: low_text, value: Some(low) },
        false => Told { text: format!("{low_text} to {high_text}"), value: None },
    })
}

/// What a number is, or where several lie.
#[derive(Clone, Debug, Default)]
pub(crate) struct Told {
    /// As it is written.
    pub(crate) text: String,
    /// The number behind it, where it is one.
    pub(crate) value: Option<f64>,
}

impl Told {
    fn words(text: &str) -> Self {
        Self { text: text.to_owned(), value: None }
    }
}

/// Differences of one kind: standard error, its degrees of freedom, and the least ones that are significant by protected LSD and by Tukey.
#[derive(Clone, Debug)]
pub(crate) struct Differences {
    /// What is compared: *N rate at the same variety*.
    pub(crate) of: String,
    pub(crate) sed: Told,
    pub(crate) df: Told,
    pub(crate) lsd: Told,
    pub(crate) hsd: Told,
}

/// The differences of every kind that an analysis compares.
pub(crate) fn differences_of(analysis: &AnalysisOf) -> Vec<Differences> {
    let of_kind = |kind: &Kind<'_>| {
        let sed = spread(kind.pairs().filter_map(|pair| pair.standard_error), digits);
        let df = spread(kind.pairs().filter_map(|pair| pair.df), df_text);
        let least = |procedure: &str| {
            let found: Vec<Option<f64>> =
                kind.procedures(procedure).map(|found| found.least_significant_difference).collect();
            match found.iter().all(Option::is_some) {
                true if found.is_empty() => Told::default(),
                true => spread(found.into_iter().flatten(), digits).unwrap_or_default(),
                // On less than one degree of freedom there is none.
                false if kind.pairs().all(|pair| pair.df.is_none_or(|df| df < 1.0)) => Told::words(NONE),
                false => Told::words("by pair"),
            }
        };
        Differences {
            of: kind.name(),
            sed: sed.unwrap_or_else(|| Told::words(NONE)),
            df: df.unwrap_or_else(|| Told::words(NONE)),
            lsd: least("protected-lsd"),
            hsd: least("tukey"),
        }
    };
    kinds(analysis).iter().map(of_kind).collect()
}

/// Standard errors of differences, with the least differences that are significant.
fn differences(analysis: &AnalysisOf) -> String {
    let alpha = percent(1.0 - analysis.level);
    let mut table = TextTable::new()
        .words("difference between means of")
        .numbers(with_unit("SED", analysis.yield_unit.as_deref()))
        .numbers("df")
        .numbers(format!("LSD ({alpha})"))
        .numbers(format!("Tukey's HSD ({alpha})"));
    for Differences { of, sed, df, lsd, hsd } in differences_of(analysis) {
        table.row(vec![of, sed.text, df.text, lsd.text, hsd.text]);
    }
    table.render(2)
}

/// How letters are to be read, and what is to be said of the procedures.
fn notes(analysis: &AnalysisOf, letters: Letters) -> String {
    let alpha = percent(1.0 - analysis.level);
    let name = match letters {
        Letters::Tukey => "Tukey",
        Letters::ProtectedLsd => "protected LSD",
    };
    let lettered = |family: &ComparisonsOf| {
        let shown = match family.factors.as_slice() {
            [_] if family.within.is_empty() => true,
            _ => {
                let mut factors = family.factors.clone();
                factors.extend(family.within.keys().cloned());
                is_significant(analysis, &factors)
            }
        };
        shown && family.procedures.iter().any(|of| of.procedure == letters.procedure() && !of.letters.is_empty())
    };
    let mut text = String::new();
    if analysis.comparisons.iter().any(lettered) {
        let words = format!("Means that share a letter do not differ significantly ({name}, {alpha})");
        let grids = analysis.comparisons.iter().any(|family| !family.within.is_empty() && lettered(family));
        let grids = if grids { capitals(analysis) } else { String::new() };
        text += &paragraph("  ", &format!("{words}.{grids}"));
    }
    let procedures = analysis.comparisons.iter().flat_map(|family| &family.procedures);
    let mut said: Vec<&str> =
        procedures.filter(|of| of.procedure == "tukey").filter_map(|of| of.note.as_deref()).collect();
    said.dedup();
    text += &said.iter().map(|note| paragraph("  ", &format!("{}.", capitalised(note)))).collect::<String>();
    text + &unprotected(analysis, |family| {
        family.within.is_empty() || letters == Letters::ProtectedLsd && lettered(family)
    })
}

/// What is to be said of least significant differences; the same is said once of all the means that it is true of.
fn unprotected(analysis: &AnalysisOf, shown: impl Fn(&ComparisonsOf) -> bool) -> String {
    let mut said: Vec<(&str, Vec<String>)> = Vec::new();
    for family in analysis.comparisons.iter().filter(|family| shown(family)) {
        let lsd = family.procedures.iter().find(|of| of.procedure == "protected-lsd");
        let Some(note) = lsd.and_then(|lsd| lsd.note.as_deref()) else { continue };
        let of = at_levels(family);
        match said.iter_mut().find(|(known, _)| *known == note) {
            Some((_, families)) => families.push(of),
            None => said.push((note, vec![of])),
        }
    }
    let each = said.into_iter().map(|(note, families)| {
        paragraph("  ", &format!("Protected LSD of {}. {}.", families.join(", "), capitalised(note)))
    });
    each.collect()
}

/// *N rate*, *N rate at variety Pale Heron*.
fn at_levels(family: &ComparisonsOf) -> String {
    let factors = family.factors.join(" × ");
    if family.within.is_empty() {
        return factors;
    }
    let within = family.within.iter().map(|(factor, level)| format!("{factor} {}", level.as_str().unwrap_or_default()));
    format!("{factors} at {}", within.collect::<Vec<_>>().join(", "))
}

/// Which letters compare what in a grid.
fn capitals(analysis: &AnalysisOf) -> String {
    let grids = analysis.means.iter().filter(|effect| is_significant(analysis, &effect.factors));
    let each = grids.filter_map(|effect| match effect.factors.as_slice() {
        [first, second] => Some(format!(
            " In {first} × {second}, small letters compare {second} at the same {first}, capitals {first} at the same {second}."
        )),
        _ => None,
    });
    each.collect()
}

/// What Dunnett's test says of each level against the one that it is compared with.
fn dunnett(analysis: &AnalysisOf) -> String {
    let mut text = String::new();
    for family in analysis.comparisons.iter().filter(|family| family.within.is_empty()) {
        let pairs: Vec<(&PairOf, f64)> = family.pairs.iter().filter_map(|pair| Some((pair, pair.p_dunnett?))).collect();
        let Some(zero) = control(&pairs) else { continue };
        let each = pairs.iter().map(|(pair, p)| {
            let other = if pair.first == zero { &pair.second } else { &pair.first };
            format!("{} p {}", other.join(" "), equation(&p_cell(*p)))
        });
        let each: Vec<String> = each.collect();
        let factor = family.factors.join(" × ");
        let at = zero.join(" ");
        text += &paragraph("  ", &format!("{factor} against {at} (Dunnett): {}.", each.join("; ")));
    }
    text
}

/// *= 0.012*, *< 0.001*.
fn equation(p: &str) -> String {
    if p.starts_with(['<', '>']) { p.to_owned() } else { format!("= {p}") }
}

/// The levels that are in every pair.
fn control(pairs: &[(&PairOf, f64)]) -> Option<Vec<String>> {
    let (first, _) = pairs.first()?;
    let in_all =
        |levels: &&Vec<String>| pairs.iter().all(|(pair, _)| pair.first == **levels || pair.second == **levels);
    [&first.first, &first.second].into_iter().find(in_all).cloned()
}
