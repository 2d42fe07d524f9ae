//! What a user of any rate table must be told.

use super::document::Document;
use crate::trial::Instrument;

/// A table says nothing outside its calibration.
pub const CALIBRATED_RANGE_ONLY: &str = "The table holds for the crop, varieties, growth stages, instrument and index range of \
    its calibration only. Outside them it is not valid.";

/// N is not the only thing that lowers a reading.
pub const OTHER_CAUSES: &str = "A reading also falls for reasons other than nitrogen: a thin stand, disease, drought, \
    waterlogging, cold, or too little sulphur. Find the reason before N is applied.";

/// What comes before any table.
pub const LAW_FIRST: &str = "Local nutrient-management law and plans come first. Ask a certified or licensed adviser before \
    the rate is applied.";

/// How to make and use the N-rich reference, for an instrument (common practice, no source).
pub fn reference_instructions(instrument: Instrument) -> &'static str {
    match instrument {
        Instrument::CanopyNdvi => {
            "Keep a strip of the same variety, sowing date and soil with more than enough N from early growth. On the same day, \
             with the same instrument at the same height and angle, read the strip and the stand, and average each."
        }
        Instrument::LeafChlorophyll => {
            "Keep a strip of the same variety, sowing date and soil with more than enough N from early growth. On the same day, \
             read about 30 leaves in the strip and 30 in the stand: the youngest leaf with a full collar, mid-blade, beside the \
             midrib, without lesions. Average each."
        }
    }
}

/// The cautions that every table carries: where it was calibrated, then what holds for all.
pub(super) fn standard(document: &Document) -> Vec<String> {
    let mut places: Vec<String> = Vec::new();
    for site_year in &document.site_years {
        let place = format!("{} {}", site_year.site, site_year.harvest_year);
        if !places.contains(&place) {
            places.push(place);
        }
    }
    let domain = document.domain;
    let calibrated = format!(
        "Calibrated on {} site-year{} ({}), {}, index {:.3} to {:.3}.",
        places.len(),
        if places.len() == 1 { "" } else { "s" },
        places.join(", "),
        document.crop,
        f64::from(domain.lowest) / 1000.0,
        f64::from(domain.highest) / 1000.0,
    );
    let fixed = [CALIBRATED_RANGE_ONLY, OTHER_CAUSES, LAW_FIRST].map(str::to_owned);
    [calibrated].into_iter().chain(fixed).collect()
}
