//! What is fixed by the crop: the weight of a bushel, the standard moisture, the protein in a unit of grain N.

/// A crop by its common name; unknown crops are taken with no bushel and no standard moisture.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    /// Common name: as typed, or as it is known here where only its capitals differ.
    pub name: String,
    /// Legal weight of a bushel, lb (USDA Agricultural Handbook 697, 1992); `None` where the crop is not sold by the bushel.
    pub pounds_per_bushel: Option<f64>,
    /// Moisture that yields are quoted at, per cent. Oats are also quoted at 14 and barley at 14.5: the programme may set its own.
    pub standard_moisture_percent: Option<f64>,
    /// Grain protein ÷ this = grain N (5.7 for wheat, 6.25 for feed grains).
    pub protein_per_n: f64,
}

const KNOWN: &[(&str, f64, f64, f64)] = &[
    ("wheat", 60.0, 13.5, 5.7),
    ("corn", 56.0, 15.5, 6.25),
    ("soybean", 60.0, 13.0, 6.25),
    ("sorghum", 56.0, 13.0, 6.25),
    ("rye", 56.0, 14.0, 5.7),
    ("barley", 48.0, 13.5, 6.25),
    ("oats", 32.0, 14.0, 6.25),
];

impl Crop {
    /// The names of the crops that are known here.
    pub fn known() -> impl Iterator<Item = &'static str> {
        KNOWN.iter().map(|(name, ..)| *name)
    }

    /// The crop of that name.
    #[must_use]
    pub fn named(name: &str) -> Self {
        let known = KNOWN.iter().find(|(known, ..)| known.eq_ignore_ascii_case(name));
        Self {
            name: known.map_or(name, |crop| crop.0).to_owned(),
            pounds_per_bushel: known.map(|crop| crop.1),
            standard_moisture_percent: known.map(|crop| crop.2),
            protein_per_n: known.map_or(6.25, |crop| crop.3),
        }
    }
}
