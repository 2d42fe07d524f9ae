//! The nearest known name to one that was mistyped.

/// Names are near when at least this share of their letters agree; below it a suggestion misleads more than it helps.
const NEAR: f64 = 0.5;
/// A remedy lists at most so many names.
const LISTED: usize = 15;

/// The candidate most like `typed`, where one is like it at all; upper and lower case count as the same.
pub(super) fn nearest<'c>(typed: &str, candidates: impl IntoIterator<Item = &'c str>) -> Option<&'c str> {
    let typed = typed.to_lowercase();
    candidates
        .into_iter()
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&typed, &candidate.to_lowercase()), candidate))
        .filter(|(likeness, _)| *likeness >= NEAR)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// *Did you mean …? The … are: …*, naming what the candidates are.
pub(super) fn suggestion<'c>(typed: &str, what: &str, candidates: impl IntoIterator<Item = &'c str>) -> String {
    let candidates: Vec<&str> = candidates.into_iter().collect();
    let meant = nearest(typed, candidates.iter().copied());
    let meant = meant.map_or_else(String::new, |meant| format!("did you mean {meant:?}? "));
    format!("{meant}{what}: {}", list(&candidates))
}

/// Names for a message, cut short where they are many.
pub(super) fn list(names: &[&str]) -> String {
    let shown = names.iter().take(LISTED).map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ");
    match names.len() {
        0 => "none".to_owned(),
        count if count > LISTED => format!("{shown} and {} more", count - LISTED),
        _ => shown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_name_finds_the_one_that_was_meant_and_nonsense_finds_none() {
        let keys = ["design", "site", "harvest_year"];
        assert_eq!(nearest("desing", keys), Some("design"));
        assert_eq!(nearest("Site", keys), Some("site"));
        assert_eq!(nearest("qqqq", keys), None);
    }

    #[test]
    fn a_long_list_is_cut_short_and_says_so() {
        let names = vec!["column"; 20];
        assert!(list(&names).ends_with("and 5 more"));
        assert_eq!(list(&[]), "none");
    }
}
