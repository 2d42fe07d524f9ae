//! What one column is, judged from the words of its header and from its values.
//!
//! Ranges of plausible values are common practice, not limits of what is possible: they decide how sure a role is, never whether a
//! value is taken.

use super::role::{Judged, Role};
use super::sensed::{leaf_position, pass, reflectance};
use super::sheet::{Column, Sheet};
use super::words::{any, in_a_row, rate_unit, yield_unit};

/// Levels of an N rate, of a block, of a factor.
const MOST_RATES: usize = 15;
const MOST_BLOCKS: usize = 12;
const MOST_FACTOR_LEVELS: usize = 12;
/// Highest N rate in either unit, and of a product with little N.
const HIGHEST_RATE: f64 = 700.0;

/// A number as typed where that is short, else with three decimals.
pub(super) fn short(number: f64) -> String {
    let typed = number.to_string();
    if typed.len() <= 7 { typed } else { format!("{number:.3}") }
}

/// Numbers from the lowest to the highest, for a reason.
pub(super) fn from_to(column: &Column) -> String {
    match column.range() {
        Some((lowest, highest)) if lowest == highest => format!("every value is {}", short(lowest)),
        Some((lowest, highest)) => format!("values {} to {}", short(lowest), short(highest)),
        None => "no values".to_owned(),
    }
}

/// The levels of a column, for a reason: *5 levels, 0 to 180*.
pub(super) fn levels(column: &Column) -> String {
    match (column.is_numeric(), column.range()) {
        (true, Some((lowest, highest))) => {
            format!("{} levels, {} to {}", column.numeric_levels().len(), short(lowest), short(highest))
        }
        _ => {
            let levels = column.levels();
            let shown: Vec<&str> = levels.keys().take(4).copied().collect();
            let more = if levels.len() > shown.len() { ", …" } else { "" };
            format!("{} levels: {}{more}", levels.len(), shown.join(", "))
        }
    }
}

pub(super) fn within(column: &Column, lowest: f64, highest: f64) -> bool {
    column.is_numeric() && column.range().is_some_and(|(low, high)| lowest <= low && high <= highest)
}

/// Judges one column by itself.
pub(super) fn judge(column: &Column, sheet: &Sheet) -> Judged {
    if column.filled() == 0 {
        return Judged::none("empty");
    }
    let rules: [fn(&Column, &Sheet) -> Option<Judged>; 11] = [
        pass,
        position,
        harvest,
        leaf_position,
        reflectance,
        reading,
        other_index,
        nitrogen,
        place,
        row_names,
        treatment,
    ];
    rules
        .iter()
        .find_map(|rule| rule(column, sheet))
        .or_else(|| by_values(column, sheet))
        .unwrap_or_else(|| Judged::none("nothing in its header or values says what it is"))
}

fn position(column: &Column, _: &Sheet) -> Option<Judged> {
    const POSITION: &[&str] = &[
        "row",
        "col",
        "column",
        "range",
        "pass",
        "lat",
        "latitude",
        "lon",
        "long",
        "longitude",
        "easting",
        "northing",
    ];
    let words = &column.words;
    let first =
        words.first().is_some_and(|word| POSITION.contains(&word.as_str()) || ["x", "y"].contains(&word.as_str()));
    (first && sheet_named(column) && words.len() <= 2 && column.is_numeric())
        .then(|| Judged::none("a position in the field"))
}

/// Whether the header is a name of the user's, not one that counts columns.
fn sheet_named(column: &Column) -> bool {
    !(column.words.len() == 2
        && column.words.first().is_some_and(|word| word == "column")
        && column.words.get(1).is_some_and(|word| word.parse::<u32>().is_ok()))
}

fn harvest(column: &Column, _: &Sheet) -> Option<Judged> {
    let words = &column.words;
    let says = |role: Role, what: &str, lowest: f64, highest: f64| {
        let reason = format!("header says {what}; {}", from_to(column));
        Some(if within(column, lowest, highest) {
            Judged::sure(role, reason)
        } else if column.is_numeric() {
            Judged::likely(role, format!("{reason}, where {lowest} to {highest} is usual"))
        } else {
            Judged::unsure(role, format!("{reason}, and not every cell is a number"))
        })
    };
    let test_weight = in_a_row(words, &["test", "weight"]) || in_a_row(words, &["test", "wt"]);
    if test_weight || any(words, &["testwt", "testweight", "twt", "tw", "hlw", "hectolitre", "hectoliter"]) {
        return says(Role::TestWeight, "test weight", 30.0, 95.0);
    }
    if any(words, &["moisture", "moist", "mst", "mois", "feuchte", "humidite", "humidité", "humedad"])
        && !any(words, &["soil"])
    {
        return says(Role::Moisture, "moisture", 4.0, 45.0);
    }
    if any(words, &["protein", "prot", "gpc", "eiweiss", "eiweiß", "proteine", "protéine", "proteina", "proteína"]) {
        return says(Role::Protein, "protein", 4.0, 25.0);
    }
    if any(words, &["lodging", "lodged", "lodge", "lager", "verse"]) {
        return says(Role::Lodging, "lodging", 0.0, 100.0);
    }
    if any(words, &["tiller", "tillers", "stems"]) {
        return says(Role::Tillers, "tillers", 0.0, 3000.0);
    }
    if any(words, &["plants", "stand", "population", "emergence"]) && !any(words, &["height"]) {
        return says(Role::Plants, "plants or stand", 0.0, 3000.0);
    }
    let yields = words.iter().any(|word| word.ends_with("yield") || word.ends_with("ertrag"))
        || any(words, &["yld", "yields", "rendement", "rendimiento", "rdt"]);
    if yields {
        let other =
            any(words, &["straw", "biomass", "stover", "stroh", "paille", "relative", "rel", "%", "pct", "percent"]);
        let many = column.numeric_levels().len() * 3 > column.filled();
        return if other {
            Some(Judged::none("a yield of something else than grain, or a relative one"))
        } else if column.is_numeric() && many {
            Some(Judged::sure(Role::Yield, format!("header says yield; {}", from_to(column))))
        } else {
            Some(Judged::unsure(Role::Yield, format!("header says yield, but {}", levels(column))))
        };
    }
    let names_harvest = any(words, &["grain", "harvest", "plot", "combine", "net", "bag", "korn"]);
    let seed = any(words, &["seed", "kernel", "tkw", "1000", "thousand", "dry", "biomass", "straw"]);
    if any(words, &["weight", "wt", "wgt", "mass", "gewicht", "poids", "peso"]) && column.is_numeric() {
        if seed {
            return Some(Judged::none("a weight of something else than the harvested plot"));
        }
        let reason = format!("header says weight; {}", from_to(column));
        return Some(if names_harvest {
            Judged::sure(Role::Weight, reason)
        } else {
            Judged::likely(Role::Weight, reason)
        });
    }
    if names_harvest
        && any(words, &["lb", "lbs", "kg", "g"])
        && !any(words, &["n"])
        && yield_unit(words).is_none()
        && column.is_numeric()
    {
        return Some(Judged::likely(Role::Weight, format!("header names grain and a mass; {}", from_to(column))));
    }
    if yield_unit(words).is_some()
        && rate_unit(words).is_none()
        && column.is_numeric()
        && column.numeric_levels().len() > MOST_RATES
    {
        return Some(Judged::likely(Role::Yield, format!("header has a unit of yield; {}", from_to(column))));
    }
    None
}

fn reading(column: &Column, _: &Sheet) -> Option<Judged> {
    let words = &column.words;
    if any(words, &["ndvi"]) {
        if !column.is_numeric() {
            return Some(Judged::unsure(Role::CanopyNdvi, format!("header says NDVI, but {}", levels(column))));
        }
        let reason = format!("header says NDVI; {}", from_to(column));
        return Some(if within(column, -0.1, 1.0) {
            Judged::sure(Role::CanopyNdvi, reason)
        } else {
            Judged::unsure(Role::CanopyNdvi, format!("{reason}, where an NDVI is at most 1"))
        });
    }
    let leaf = any(words, &["leaf", "leaves", "chlorophyll", "chl", "chloro", "blatt", "feuille"]);
    if leaf && column.is_numeric() && column.has_fractions() && within(column, 5.0, 100.0) {
        return Some(Judged::sure(
            Role::LeafChlorophyll,
            format!("header says leaf or chlorophyll; {}", from_to(column)),
        ));
    }
    if any(words, &["chlorophyll", "chl"]) && column.is_numeric() {
        let reason = format!("header says chlorophyll; {}", from_to(column));
        return Some(if within(column, 5.0, 100.0) {
            Judged::likely(Role::LeafChlorophyll, reason)
        } else {
            Judged::unsure(Role::LeafChlorophyll, format!("{reason}, where 15 to 70 is usual"))
        });
    }
    None
}

/// Other indices of the canopy.
fn other_index(column: &Column, _: &Sheet) -> Option<Judged> {
    let index = column
        .words
        .iter()
        .any(|word| ["ndre", "gndvi", "gndvic", "ndvic", "rvi", "savi", "evi", "cci", "lai"].contains(&word.as_str()));
    index.then(|| Judged::none("an index of the canopy, but not NDVI"))
}

fn nitrogen(column: &Column, _: &Sheet) -> Option<Judged> {
    let words = &column.words;
    const N: &[&str] = &[
        "n",
        "nitrogen",
        "nitro",
        "urea",
        "uan",
        "nrate",
        "ntrt",
        "nlevel",
        "azote",
        "stickstoff",
        "nitrogeno",
        "nitrógeno",
        "harnstoff",
    ];
    const TIMES: &[&str] =
        &["topdress", "sidedress", "preplant", "starter", "greenup", "topdressing", "fertilizer", "fertiliser", "fert"];
    const NOT: &[&str] = &[
        "uptake",
        "nitrate",
        "no3",
        "soil",
        "content",
        "conc",
        "concentration",
        "%",
        "pct",
        "percent",
        "leaves",
        "readings",
        "plots",
        "samples",
        "count",
        "nue",
        "grain",
        "straw",
        "balance",
        "date",
        "ratio",
        "no",
        "id",
        "tissue",
    ];
    let named = any(words, N);
    if !(named || any(words, TIMES) || rate_unit(words).is_some() && !any(words, &["grain"])) || any(words, NOT) {
        return None;
    }
    let what = if named {
        "nitrogen"
    } else if rate_unit(words).is_some() {
        "a unit of N rates"
    } else {
        "an application"
    };
    if !column.is_numeric() {
        let coded = column.levels();
        return Some(if coded.len() <= MOST_RATES && named {
            let text = format!(
                "header says {what}, but its levels are no rates ({}): a column of rates is needed",
                levels(column)
            );
            Judged::unsure(Role::NRate, text)
        } else {
            Judged::none(format!("header says {what}, but its cells are no rates"))
        });
    }
    let rates = column.numeric_levels();
    let reason = format!("header says {what}; {}", levels(column));
    let plausible = within(column, 0.0, HIGHEST_RATE);
    let few = rates.len() <= MOST_RATES.min((column.filled() / 2).max(2));
    let planned = any(words, &["planned", "plan", "target", "nominal", "intended", "goal"]);
    let role = if planned { Role::PlannedNRate } else { Role::NRate };
    let applied = any(words, &["applied", "actual", "real"]);
    Some(if plausible && named && (few || applied) {
        Judged::sure(role, reason)
    } else if plausible && few {
        Judged::likely(role, reason)
    } else if plausible {
        Judged::unsure(role, format!("{reason}: more levels than N rates usually have"))
    } else {
        Judged::unsure(role, format!("{reason}: a rate is from 0 to {HIGHEST_RATE}"))
    })
}

fn place(column: &Column, sheet: &Sheet) -> Option<Judged> {
    let words = &column.words;
    let few = column.levels().len() * 2 <= sheet.rows || column.levels().len() == 1;
    if any(words, &["site", "location", "loc", "farm", "station", "standort", "lieu", "sitio"])
        && few
        && !any(words, &["year"])
    {
        return Some(Judged::sure(Role::Site, format!("header says site; {}", levels(column))));
    }
    if any(words, &["year", "season", "jahr", "annee", "année", "año"]) {
        return Some(if within(column, 1800.0, 2200.0) {
            Judged::sure(Role::Year, format!("header says year; {}", levels(column)))
        } else {
            Judged::none("header says year, but its values are no years")
        });
    }
    if any(words, &["date", "day", "datum", "fecha"]) {
        let planting =
            any(words, &["plant", "planting", "sowing", "seeding", "sown", "harvest", "anthesis", "heading"]);
        return Some(if planting {
            Judged::none("a date of something else than a reading")
        } else if column.numeric_levels().iter().all(|day| *day < 1000.0) && column.is_numeric() {
            Judged::none("a number of days")
        } else {
            Judged::likely(Role::Date, format!("header says date; {}", levels(column)))
        });
    }
    if any(words, &["stage", "feekes", "zadoks", "gs", "growth"]) && few {
        return Some(Judged::likely(Role::Stage, format!("header says stage; {}", levels(column))));
    }
    None
}

fn row_names(column: &Column, sheet: &Sheet) -> Option<Judged> {
    let words = &column.words;
    let unique = sheet.are_unique(&[column]);
    let measured = any(words, &["length", "width", "area", "size", "weight", "wt", "height", "lb", "kg"]);
    const PLOT: &[&str] = &["plot", "plots", "plotid", "plotno", "parcel", "parzelle", "parz", "parcelle", "parcela"];
    if any(words, PLOT) && !measured {
        if any(words, &["main", "whole"]) {
            return Some(Judged::none("names main plots: see main_plot in the descriptor"));
        }
        if any(words, &["sub", "split"]) && !unique {
            return Some(Judged::none("names subplots"));
        }
        let reason =
            format!("header says plot; {} rows, {}", sheet.rows, if unique { "no two alike" } else { "some alike" });
        return Some(if unique { Judged::sure(Role::Plot, reason) } else { Judged::likely(Role::Plot, reason) });
    }
    if any(words, &["id", "nr", "no", "number"]) && unique && words.len() <= 2 {
        return Some(Judged::likely(
            Role::Plot,
            format!("its {} values are a number or name each, no two alike", sheet.rows),
        ));
    }
    const BLOCK: &[&str] = &[
        "block",
        "blk",
        "blocks",
        "rep",
        "reps",
        "replicate",
        "replication",
        "repl",
        "bloc",
        "blok",
        "bloque",
        "wdh",
        "wiederholung",
        "repetition",
    ];
    if any(words, BLOCK) {
        let found = column.levels();
        let even = found.values().min().zip(found.values().max()).is_some_and(|(least, most)| least * 2 >= *most);
        let reason = format!("header says block; {}", levels(column));
        return Some(if (2..=MOST_BLOCKS).contains(&found.len()) && even {
            Judged::sure(Role::Block, reason)
        } else if found.len() <= MOST_BLOCKS {
            Judged::likely(Role::Block, reason)
        } else {
            Judged::unsure(Role::Block, reason)
        });
    }
    const VARIETY: &[&str] = &[
        "variety",
        "varieties",
        "cultivar",
        "cv",
        "hybrid",
        "genotype",
        "gen",
        "sorte",
        "variete",
        "variété",
        "variedad",
        "var",
    ];
    if any(words, VARIETY) {
        let reason = format!("header says variety; {}", levels(column));
        let few = column.levels().len() * 2 <= sheet.rows.max(2);
        return Some(match (few, column.has_fractions()) {
            (true, false) => Judged::sure(Role::Variety, reason),
            _ => Judged::unsure(Role::Variety, reason),
        });
    }
    if any(words, &["leaf", "leafno"]) && column.is_numeric() && !column.has_fractions() {
        return Some(Judged::likely(
            Role::Leaf,
            format!("header says leaf, and its values count: {}", from_to(column)),
        ));
    }
    if any(words, &["tool", "instrument", "sensor", "meter", "device"]) && !column.is_numeric() {
        return Some(Judged::likely(Role::Instrument, format!("header says instrument; {}", levels(column))));
    }
    if any(words, &["value", "reading", "readings", "messwert"]) && column.is_numeric() {
        return Some(Judged::likely(Role::Value, format!("header says reading; {}", from_to(column))));
    }
    None
}

/// Words that mark the plots of an N-rich reference.
pub(super) fn marks_reference(level: &str) -> bool {
    let words = super::words::words(level);
    any(&words, &["rich", "nrich", "reference", "ref", "saturated", "nonlimiting", "strip"])
}

fn treatment(column: &Column, sheet: &Sheet) -> Option<Judged> {
    let words = &column.words;
    let levels_found = column.levels();
    if let Some(mark) = levels_found.keys().find(|level| marks_reference(level))
        && levels_found.len() * 2 <= sheet.rows
    {
        return Some(Judged::sure(Role::Kind, format!("its cells say {mark:?} where a plot is the reference")));
    }
    if any(
        words,
        &[
            "irrigation",
            "tillage",
            "management",
            "rotation",
            "density",
            "seeding",
            "fungicide",
            "inhibitor",
            "timing",
            "source",
            "method",
        ],
    ) && (2..=MOST_FACTOR_LEVELS).contains(&levels_found.len())
    {
        return Some(Judged::likely(Role::Factor, format!("header names a treatment beside N; {}", levels(column))));
    }
    None
}

/// Where the header says nothing.
fn by_values(column: &Column, sheet: &Sheet) -> Option<Judged> {
    let levels_found = column.levels();
    if !column.is_numeric()
        && (2..=MOST_FACTOR_LEVELS).contains(&levels_found.len())
        && levels_found.len() * 2 <= sheet.rows
    {
        let least = levels_found.values().min().copied().unwrap_or(0);
        let most = levels_found.values().max().copied().unwrap_or(0);
        if least * 2 >= most {
            return Some(Judged::likely(Role::Factor, format!("{}, each about as often", levels(column))));
        }
    }
    let day = super::words::day(&column.words).is_some();
    if day && within(column, -0.1, 1.0) && column.has_fractions() {
        return Some(Judged::unsure(Role::CanopyNdvi, format!("header is a date; {}", from_to(column))));
    }
    if day && within(column, 5.0, 100.0) && column.has_fractions() {
        return Some(Judged::unsure(Role::LeafChlorophyll, format!("header is a date; {}", from_to(column))));
    }
    None
}
