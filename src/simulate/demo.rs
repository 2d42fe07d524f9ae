//! The demo programme: a fictional station in a river valley, three sites over three seasons, and a trial lost to hail.
//!
//! Upper Terrace is a deep loam that answers to N as the books say; Osier Bend is river silt with much N of its own; Chalk
//! Rise is thin and hungry. Pale Heron is a pale, open variety, Dark Sedge a dark, leafy one that yields a little less.

use super::growth::{Growth, Variety};
use super::site_year::{
    CanopyReadings, Day, Harvest, History, Mishap, Rates, RichPlots, Scatter, Sensing, SiteYear, ThinStand, TypedRate,
};

/// The seed of the programme committed under `trials/`.
pub const DEMO_SEED: u64 = 1907;

fn pale_heron() -> Variety {
    Variety {
        name: "Pale Heron".to_string(),
        yield_factor: 1.0,
        greenness: 51.5,
        closed_canopy_ndvi: 0.885,
        leafiness: 0.94,
    }
}

fn dark_sedge() -> Variety {
    Variety {
        name: "Dark Sedge".to_string(),
        yield_factor: 0.96,
        greenness: 56.5,
        closed_canopy_ndvi: 0.910,
        leafiness: 1.06,
    }
}

/// The site-years of the demo programme. A test may take one, change it, and simulate that.
pub fn demo_site_years() -> Vec<SiteYear> {
    vec![
        upper_terrace_2023(),
        upper_terrace_2024(),
        upper_terrace_2025(),
        osier_bend_2023(),
        osier_bend_2024(),
        osier_bend_2025(),
        chalk_rise_2023(),
        chalk_rise_2024(),
        chalk_rise_2025(),
        mill_ground_2024(),
    ]
}

/// What most trials of the station have in common: all N on before sensing, six rates, one variety, four blocks.
fn usual(site: &str, harvest_year: i32, growth: Growth, sensing: Sensing) -> SiteYear {
    SiteYear {
        site: site.to_string(),
        harvest_year,
        left_out: None,
        blocks: 4,
        varieties: vec![pale_heron()],
        varieties_on_main_plots: false,
        rows_a_block: None,
        history: after("soybean", Day::new(10, 4)),
        rates: Rates::DifferenceFromOptimum { rates: vec![0.0, 30.0, 60.0, 90.0, 120.0, 150.0] },
        typed_rate: TypedRate::NitrogenPounds,
        rich: RichPlots::Beside { rate: 180.0 },
        reference_within_block: false,
        growth,
        scatter: Scatter::default(),
        thin_stand: None,
        sensing,
        harvest: Harvest::Bushels { moisture_percent: 12.0 },
        mishaps: Vec::new(),
    }
}

/// A season after this crop, planted on this day of the year before harvest.
fn after(preceding_crop: &str, planted: Day) -> History {
    History {
        planted,
        preceding_crop: preceding_crop.to_string(),
        product: "ammonium nitrate".to_string(),
        weather: None,
        manure_credit: None,
        soil_nitrate: None,
    }
}

fn topdress_response(early: &[f64], topdress: &[f64], date: Day) -> Rates {
    Rates::TopdressResponse { early: early.to_vec(), topdress: topdress.to_vec(), date }
}

/// Readings as the station takes them: canopy in March and at jointing, leaves at jointing.
fn sensing(early: Day, march: Day, canopy: Day, leaf: Day, stage: &str, canopy_kept: CanopyReadings) -> Sensing {
    Sensing {
        early_date: early,
        canopy_early: Some((march, "Feekes 3".to_string())),
        canopy: (canopy, stage.to_string()),
        leaf: (leaf, stage.to_string()),
        leaves: 30,
        canopy_kept,
    }
}

/// Urea typed as product; the top rate is reference and treatment; a plot of which the combine lost half.
fn upper_terrace_2023() -> SiteYear {
    let growth = Growth {
        yield_potential: 90.0,
        base_share: 0.25,
        half_supply: 54.0,
        steepness: 3.0,
        soil_supply: 42.0,
        soil_shown_at_sensing: 0.55,
        early_efficiency: 0.68,
        topdress_efficiency: 0.80,
        lodging_loss: 0.05,
        lodging_supply: 165.0,
    };
    let sensing =
        sensing(Day::new(2, 21), Day::new(3, 16), Day::new(4, 5), Day::new(4, 6), "Feekes 5", CanopyReadings::Columns);
    SiteYear {
        rates: Rates::DifferenceFromOptimum { rates: vec![0.0, 65.0, 130.0, 196.0, 261.0, 326.0] },
        typed_rate: TypedRate::UreaPounds,
        history: History { product: "urea".to_string(), ..after("soybean", Day::new(10, 7)) },
        rich: RichPlots::HighestRate,
        mishaps: vec![Mishap::YieldSpoilt { plot: 304, factor: 0.52, reason: "combine plugged".to_string() }],
        ..usual("Upper Terrace", 2023, growth, sensing)
    }
}

/// Both varieties within blocks, weighed, with protein.
fn upper_terrace_2024() -> SiteYear {
    let growth = Growth {
        yield_potential: 97.0,
        base_share: 0.25,
        half_supply: 60.0,
        steepness: 3.0,
        soil_supply: 52.0,
        soil_shown_at_sensing: 0.50,
        early_efficiency: 0.64,
        topdress_efficiency: 0.80,
        lodging_loss: 0.08,
        lodging_supply: 165.0,
    };
    let sensing =
        sensing(Day::new(2, 20), Day::new(3, 12), Day::new(4, 2), Day::new(4, 3), "Feekes 5", CanopyReadings::Columns);
    SiteYear {
        varieties: vec![pale_heron(), dark_sedge()],
        history: History {
            weather: Some("Even rain through April; dry at grain fill".to_string()),
            ..after("soybean", Day::new(10, 2))
        },
        harvest: Harvest::WeighedPounds { length: 20.0, width: 5.0 },
        mishaps: vec![Mishap::NotHarvested { plot: 209 }],
        ..usual("Upper Terrace", 2024, growth, sensing)
    }
}

/// Early × topdress for both varieties in three blocks.
fn upper_terrace_2025() -> SiteYear {
    let growth = Growth {
        yield_potential: 92.0,
        base_share: 0.25,
        half_supply: 58.0,
        steepness: 3.0,
        soil_supply: 46.0,
        soil_shown_at_sensing: 0.50,
        early_efficiency: 0.66,
        topdress_efficiency: 0.78,
        lodging_loss: 0.05,
        lodging_supply: 160.0,
    };
    let sensing =
        sensing(Day::new(2, 18), Day::new(3, 13), Day::new(4, 4), Day::new(4, 4), "Feekes 5", CanopyReadings::Columns);
    SiteYear {
        blocks: 3,
        varieties: vec![pale_heron(), dark_sedge()],
        rates: topdress_response(&[0.0, 30.0, 60.0, 90.0], &[0.0, 40.0, 80.0, 120.0], Day::new(4, 8)),
        reference_within_block: true,
        harvest: Harvest::Bushels { moisture_percent: 13.5 },
        mishaps: vec![Mishap::NotHarvested { plot: 117 }, Mishap::NotHarvested { plot: 230 }],
        ..usual("Upper Terrace", 2025, growth, sensing)
    }
}

/// Early × topdress, the canopy kept in long form, weighed.
fn osier_bend_2023() -> SiteYear {
    let growth = Growth {
        yield_potential: 102.0,
        base_share: 0.25,
        half_supply: 60.0,
        steepness: 3.0,
        soil_supply: 60.0,
        soil_shown_at_sensing: 0.50,
        early_efficiency: 0.60,
        topdress_efficiency: 0.75,
        lodging_loss: 0.06,
        lodging_supply: 170.0,
    };
    let sensing =
        sensing(Day::new(2, 23), Day::new(3, 17), Day::new(4, 7), Day::new(4, 8), "Feekes 5", CanopyReadings::Long);
    SiteYear {
        varieties: vec![dark_sedge()],
        history: after("corn", Day::new(10, 11)),
        rates: topdress_response(&[0.0, 30.0, 60.0, 90.0], &[0.0, 40.0, 80.0, 120.0], Day::new(4, 12)),
        reference_within_block: true,
        harvest: Harvest::WeighedPounds { length: 24.0, width: 5.0 },
        mishaps: vec![Mishap::YieldSpoilt { plot: 412, factor: 0.70, reason: "deer".to_string() }],
        ..usual("Osier Bend", 2023, growth, sensing)
    }
}

/// After alfalfa on river silt: the soil gives more N than the crop can use, and more only lodges it.
fn osier_bend_2024() -> SiteYear {
    let growth = Growth {
        yield_potential: 84.0,
        base_share: 0.25,
        half_supply: 45.0,
        steepness: 3.0,
        soil_supply: 150.0,
        soil_shown_at_sensing: 0.60,
        early_efficiency: 0.60,
        topdress_efficiency: 0.75,
        lodging_loss: 0.10,
        lodging_supply: 215.0,
    };
    let sensing =
        sensing(Day::new(2, 26), Day::new(3, 19), Day::new(4, 9), Day::new(4, 9), "Feekes 6", CanopyReadings::Columns);
    SiteYear {
        varieties: vec![pale_heron(), dark_sedge()],
        history: History { soil_nitrate: Some(118.0), ..after("alfalfa", Day::new(9, 28)) },
        rich: RichPlots::HighestRate,
        ..usual("Osier Bend", 2024, growth, sensing)
    }
}

/// Typed in kilograms: early × topdress as a split-plot with varieties on main plots.
fn osier_bend_2025() -> SiteYear {
    let growth = Growth {
        yield_potential: 94.0,
        base_share: 0.25,
        half_supply: 60.0,
        steepness: 3.0,
        soil_supply: 66.0,
        soil_shown_at_sensing: 0.45,
        early_efficiency: 0.62,
        topdress_efficiency: 0.76,
        lodging_loss: 0.06,
        lodging_supply: 165.0,
    };
    let sensing =
        sensing(Day::new(2, 24), Day::new(3, 18), Day::new(4, 7), Day::new(4, 7), "Feekes 6", CanopyReadings::Long);
    SiteYear {
        varieties: vec![pale_heron(), dark_sedge()],
        varieties_on_main_plots: true,
        rows_a_block: Some(2),
        history: History { manure_credit: Some(20.0), ..after("silage corn", Day::new(10, 9)) },
        rates: topdress_response(&[0.0, 50.0, 100.0], &[0.0, 45.0, 90.0, 135.0], Day::new(4, 9)),
        typed_rate: TypedRate::NitrogenKilograms,
        rich: RichPlots::Beside { rate: 200.0 },
        harvest: Harvest::WeighedKilograms { length: 7.5, width: 1.5 },
        mishaps: vec![Mishap::PlotSpoilt { plot: 219, factor: 0.6, reason: "standing water".to_string() }],
        ..usual("Osier Bend", 2025, growth, sensing)
    }
}

/// A wet spring on chalk: N was lost, and yield still rises at the highest tested rate. Yields typed in kg/ha.
fn chalk_rise_2023() -> SiteYear {
    let growth = Growth {
        yield_potential: 118.0,
        base_share: 0.25,
        half_supply: 106.0,
        steepness: 3.4,
        soil_supply: 58.0,
        soil_shown_at_sensing: 0.50,
        early_efficiency: 0.52,
        topdress_efficiency: 0.70,
        lodging_loss: 0.03,
        lodging_supply: 220.0,
    };
    let sensing = sensing(
        Day::new(2, 22),
        Day::new(3, 15),
        Day::new(4, 11),
        Day::new(4, 12),
        "Feekes 5",
        CanopyReadings::Columns,
    );
    SiteYear {
        history: History {
            weather: Some("11 inches of rain from March to May; water stood on the lower plots in April".to_string()),
            ..after("barley", Day::new(9, 30))
        },
        rates: Rates::DifferenceFromOptimum { rates: vec![0.0, 20.0, 40.0, 60.0, 80.0, 100.0] },
        rich: RichPlots::Beside { rate: 240.0 },
        harvest: Harvest::Kilograms { moisture_percent: 14.0 },
        ..usual("Chalk Rise", 2023, growth, sensing)
    }
}

/// Half the stand was lost to frost heave in three blocks; a full stand stood only along the hedge, where the rich plots
/// are. After a bean crop N is not short.
fn chalk_rise_2024() -> SiteYear {
    let growth = Growth {
        yield_potential: 80.0,
        base_share: 0.25,
        half_supply: 46.0,
        steepness: 3.0,
        soil_supply: 80.0,
        soil_shown_at_sensing: 0.55,
        early_efficiency: 0.62,
        topdress_efficiency: 0.75,
        lodging_loss: 0.06,
        lodging_supply: 150.0,
    };
    let sensing =
        sensing(Day::new(2, 27), Day::new(3, 20), Day::new(4, 8), Day::new(4, 8), "Feekes 5", CanopyReadings::Columns);
    SiteYear {
        varieties: vec![dark_sedge()],
        rows_a_block: Some(1),
        history: History {
            weather: Some("Frost heave in January; half the stand was lost away from the hedge".to_string()),
            ..after("field bean", Day::new(10, 1))
        },
        thin_stand: Some(ThinStand { blocks: vec![2, 3, 4], share: 0.46 }),
        ..usual("Chalk Rise", 2024, growth, sensing)
    }
}

/// Early × topdress; leaves of one plot were read with a dirty chamber.
fn chalk_rise_2025() -> SiteYear {
    let growth = Growth {
        yield_potential: 84.0,
        base_share: 0.25,
        half_supply: 52.0,
        steepness: 3.0,
        soil_supply: 36.0,
        soil_shown_at_sensing: 0.60,
        early_efficiency: 0.64,
        topdress_efficiency: 0.77,
        lodging_loss: 0.05,
        lodging_supply: 160.0,
    };
    let sensing =
        sensing(Day::new(2, 20), Day::new(3, 14), Day::new(4, 8), Day::new(4, 9), "Feekes 5", CanopyReadings::Columns);
    SiteYear {
        rates: topdress_response(&[0.0, 30.0, 60.0, 90.0], &[0.0, 40.0, 80.0, 120.0], Day::new(4, 14)),
        harvest: Harvest::WeighedPounds { length: 20.0, width: 5.0 },
        mishaps: vec![
            Mishap::ReadingsSpoilt { plot: 206, factor: 0.80, reason: "leaf meter chamber dirty".to_string() },
            Mishap::NotHarvested { plot: 313 },
        ],
        ..usual("Chalk Rise", 2025, growth, sensing)
    }
}

/// A first year on a new field, lost to hail before harvest.
fn mill_ground_2024() -> SiteYear {
    let growth = Growth {
        yield_potential: 30.0,
        base_share: 0.5,
        half_supply: 55.0,
        steepness: 3.0,
        soil_supply: 50.0,
        soil_shown_at_sensing: 0.50,
        early_efficiency: 0.62,
        topdress_efficiency: 0.75,
        lodging_loss: 0.05,
        lodging_supply: 165.0,
    };
    let sensing = Sensing {
        canopy_early: None,
        ..sensing(
            Day::new(2, 28),
            Day::new(3, 20),
            Day::new(4, 10),
            Day::new(4, 10),
            "Feekes 6",
            CanopyReadings::Columns,
        )
    };
    SiteYear {
        left_out: Some("hail, 3 June".to_string()),
        blocks: 3,
        rates: Rates::DifferenceFromOptimum { rates: vec![0.0, 50.0, 100.0, 150.0] },
        rich: RichPlots::HighestRate,
        scatter: Scatter { plot_yield: 0.25, ..Scatter::default() },
        ..usual("Mill Ground", 2024, growth, sensing)
    }
}
