//! What is known of a trial beside its columns: site and year, from columns, titles, and the names of files and folders.

use super::role::{Confidence, Role};
use super::settle::Settled;
use super::words::{DayInHeader, day, year};

/// Something known, with how sure it is and where from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Fact<T> {
    pub(super) value: T,
    pub(super) confidence: Confidence,
    pub(super) why: String,
}

/// Site and year of a trial, and its crop.
#[derive(Clone, Debug, Default)]
pub(super) struct Facts {
    pub(super) site: Option<Fact<String>>,
    pub(super) harvest_year: Option<Fact<i16>>,
    pub(super) crop: Option<Fact<&'static str>>,
    /// Several sites or years in one file, in words.
    pub(super) several: Option<String>,
}

const CROPS: [(&str, &[&str]); 10] = [
    ("wheat", &["wheat", "weizen", "blé", "ble", "trigo"]),
    ("corn", &["corn", "maize", "mais", "maïs", "maíz"]),
    ("barley", &["barley", "gerste", "orge"]),
    ("oats", &["oats", "oat", "hafer"]),
    ("rye", &["rye", "roggen"]),
    ("sorghum", &["sorghum"]),
    ("rice", &["rice"]),
    ("soybean", &["soybean", "soybeans", "soja"]),
    ("cowpea", &["cowpea"]),
    ("sugarcane", &["sugarcane", "cane"]),
];

impl Facts {
    /// What columns, titles, the folder and the file's name tell.
    pub(super) fn of(plots: &Settled, folder: Option<&str>) -> Self {
        let mut facts = Self::default();
        facts.take_columns(plots);
        facts.take_titles(plots);
        facts.take_names(plots, folder);
        facts.crop = crop(plots, folder);
        facts
    }

    fn take_columns(&mut self, plots: &Settled) {
        let only = |role| {
            let column = plots.known(role)?;
            let levels: Vec<String> = column.levels().into_keys().map(str::to_owned).collect();
            Some((column.shown(), levels))
        };
        let mut several = Vec::new();
        if let Some((name, levels)) = only(Role::Site) {
            match levels.as_slice() {
                [one] => {
                    let why = format!("column {name:?}");
                    self.site = Some(Fact { value: one.clone(), confidence: Confidence::Sure, why });
                }
                many => several.push(format!("{} sites ({:?}: {})", many.len(), name, beginning(many))),
            }
        }
        if let Some((name, levels)) = only(Role::Year) {
            match levels.as_slice() {
                [one] => {
                    let why = format!("column {name:?}; the year of harvest?");
                    self.harvest_year =
                        one.parse().ok().map(|value| Fact { value, confidence: Confidence::Likely, why });
                }
                many => several.push(format!("{} years ({:?}: {})", many.len(), name, beginning(many))),
            }
        }
        self.several = (!several.is_empty()).then(|| several.join(" and "));
        let mut years: Vec<i16> = plots
            .sheet
            .columns
            .iter()
            .filter_map(|column| match day(&column.words) {
                Some(DayInHeader::Whole(date)) => Some(date.year()),
                _ => None,
            })
            .collect();
        years.sort_unstable();
        if let (Some(last), None) = (years.last(), &self.harvest_year) {
            let why = "the last date among the headers".to_owned();
            self.harvest_year = Some(Fact { value: *last, confidence: Confidence::Likely, why });
        }
    }

    /// Lines such as *Site: Osier Bend*, and a year in a title.
    fn take_titles(&mut self, plots: &Settled) {
        for line in &plots.sheet.titles {
            let whole = line.join(" ");
            let (label, value) = match line.as_slice() {
                [label, value, ..] => (label.as_str(), value.as_str()),
                [one] => one.split_once(':').unwrap_or(("", one)),
                [] => continue,
            };
            let label = label.trim().trim_end_matches(':').to_lowercase();
            let value = value.trim();
            if ["site", "location", "farm", "field", "station"].contains(&label.as_str()) && !value.is_empty() {
                let why = format!("the line {whole:?} above the headers");
                self.site.get_or_insert(Fact { value: value.to_owned(), confidence: Confidence::Sure, why });
            }
            if let Some(found) = year(&whole) {
                let why = format!("the line {whole:?} above the headers");
                self.harvest_year.get_or_insert(Fact { value: found, confidence: Confidence::Likely, why });
            }
        }
    }

    fn take_names(&mut self, plots: &Settled, folder: Option<&str>) {
        let sheet = plots.sheet.sheet.as_deref().map(|name| (name, "the sheet"));
        let file = (plots.sheet.file.as_str(), "the file");
        let folder = folder.map(|name| (name, "the folder"));
        for (name, what) in [sheet, folder, Some(file)].into_iter().flatten() {
            if let Some(found) = year(name) {
                let why = format!("the name of {what}");
                self.harvest_year.get_or_insert(Fact { value: found, confidence: Confidence::Likely, why });
            }
        }
        // A folder that ends in a year is called after its site.
        if let Some((name, _)) = folder
            && let (None, None, Some(found)) = (&self.site, &self.several, year(name))
            && let Some(site) = name.strip_suffix(&found.to_string())
        {
            let site = titled(site.trim_matches(|letter: char| !letter.is_alphanumeric()));
            if !site.is_empty() {
                let why = "the name of the folder".to_owned();
                self.site = Some(Fact { value: site, confidence: Confidence::Likely, why });
            }
        }
    }
}

/// The first few of several.
fn beginning(many: &[String]) -> String {
    let shown: Vec<&str> = many.iter().take(3).map(String::as_str).collect();
    format!("{}{}", shown.join(", "), if many.len() > shown.len() { ", …" } else { "" })
}

/// *osier-bend* as *Osier Bend*.
fn titled(name: &str) -> String {
    let words = name.split(['-', '_', ' ']).filter(|word| !word.is_empty()).map(|word| {
        let mut letters = word.chars();
        letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
    });
    words.collect::<Vec<String>>().join(" ")
}

/// The one crop that titles, headers or names speak of.
fn crop(plots: &Settled, folder: Option<&str>) -> Option<Fact<&'static str>> {
    let mut texts: Vec<String> = plots.sheet.titles.iter().flatten().cloned().collect();
    texts.extend([plots.sheet.file.clone()]);
    texts.extend(plots.sheet.sheet.clone());
    texts.extend(folder.map(str::to_owned));
    texts.extend(plots.sheet.columns.iter().map(|column| column.name.clone()));
    let words: Vec<String> = texts.iter().flat_map(|text| super::words::words(text)).collect();
    let mut found = CROPS.iter().filter(|(_, names)| super::words::any(&words, names)).map(|(crop, _)| *crop);
    let (crop, None) = (found.next()?, found.next()) else { return None };
    Some(Fact { value: crop, confidence: Confidence::Likely, why: "the files speak of it".to_owned() })
}
