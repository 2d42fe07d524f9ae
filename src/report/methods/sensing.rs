//! Readings and their index.

use std::collections::BTreeSet;

use super::references::{Citations, Reference};
use super::{Part, and};
use crate::report::material::Material;
use crate::trial::FlaggedLeaves;

pub(super) fn sensing(material: &Material<'_>, citations: &mut Citations) -> Part {
    let sense = &material.reports.sense;
    let instruments: BTreeSet<&str> = sense.sensings.iter().map(|sensing| sensing.instrument).collect();
    if instruments.is_empty() {
        return None;
    }
    let instruments: Vec<&str> = instruments
        .into_iter()
        .map(|instrument| match instrument {
            "canopy-ndvi" => "canopy NDVI",
            "leaf-chlorophyll" => "leaf chlorophyll readings",
            other => other,
        })
        .collect();
    let mut text = format!(
        "Plots were sensed by {}; readings of a plot were averaged. The sufficiency index is a plot's mean reading ÷ the mean reading of the N-rich reference \
         plots of the same variety (of its own block where every block has them), and the index of a treatment the mean over its plots.",
        and(&instruments),
    );
    let any = |is: fn(&crate::output::SensingOf) -> bool| sense.sensings.iter().any(is);
    if any(|sensing| !sensing.flagged.is_empty()) {
        let kept = match sense.flagged_leaves {
            FlaggedLeaves::Keep => "were flagged and kept",
            FlaggedLeaves::LeaveOut => "were left out",
        };
        text += &format!(
            " Leaves far from their plot's median, by the larger of the plot's own and the day's usual median absolute deviation {}, {kept}.",
            citations.cite(&[Reference::CrouxRousseeuw1992]),
        );
    }
    if any(|sensing| !sensing.shows_n.is_empty()) {
        text += " Whether readings show the N already on was tested by an F test of its levels.";
    }
    if any(|sensing| !sensing.references.is_empty()) {
        text += &format!(
            " Whether a reference was sufficient was judged by Dunnett's test of every level of N against it {}, by what the last step of N added, and by where a \
             quadratic-plateau of the readings begins, within a margin of 5 %.",
            citations.cite(&[Reference::Dunnett1955]),
        );
    }
    if any(|sensing| !sensing.crowding.is_empty()) {
        text += " A canopy was called crowded where its index had no slope on N near the reference while it answered to less N, or where a leaf meter still told those levels apart.";
    }
    if any(|sensing| sensing.precision.is_some()) {
        text += &format!(
            " The variance within plots and between plots of a treatment was estimated by the analysis of unweighted means {}.",
            citations.cite(&[Reference::SearleCasella1992]),
        );
    }
    Some(("Sensing", text))
}
