//! Five spreadsheets of different habits.

use super::*;
use crate::files::export::{Cell, Table, xlsx};
use crate::trial::{Design, Instrument, NeedFrom};
use crate::units::{NRateUnit, YieldUnit};

/// Rates in an order of their own in every block.
fn randomised(block: usize, rates: &[f64]) -> Vec<f64> {
    let mut order = rates.to_vec();
    order.rotate_left(2 * block % rates.len());
    order.swap(0, block % rates.len());
    order
}

#[test]
fn one_sheet_with_everything_on_it() {
    let mut text = String::from(
        "Plot,Rep,Variety,Greenup N (lb/ac),NDVI Apr 2,NDVI Apr 16,Yield (bu/ac),Moisture %,Test Wt,Protein (%),Notes\n",
    );
    for block in 1..=4 {
        for (position, rate) in randomised(block, &[0.0, 30.0, 60.0, 90.0, 120.0]).into_iter().enumerate() {
            let note = if position == 3 && block == 2 { "wet corner" } else { "" };
            text += &format!(
                "{}{:02},{block},Pale Heron,{rate},{:.2},{:.2},{:.1},{:.1},{:.1},{:.1},{note}\n",
                block,
                position + 1,
                0.41 + rate / 600.0,
                0.5 + rate / 500.0,
                grain(block, rate, 82.0),
                12.0 + position as f64 / 10.0,
                59.0 + block as f64 / 10.0,
                10.0 + rate / 60.0,
            );
        }
    }
    let proposed = proposed("osier-bend-2025", &[("plots.csv", text.into_bytes())]);
    assert_eq!(
        proposed.roles(),
        [
            ("Plot", Role::Plot),
            ("Rep", Role::Block),
            ("Variety", Role::Variety),
            ("Greenup N (lb/ac)", Role::NRate),
            ("NDVI Apr 2", Role::CanopyNdvi),
            ("NDVI Apr 16", Role::CanopyNdvi),
            ("Yield (bu/ac)", Role::Yield),
            ("Moisture %", Role::Moisture),
            ("Test Wt", Role::TestWeight),
            ("Protein (%)", Role::Protein),
        ]
    );
    assert!(proposed.as_it_is().iter().any(|finding| finding.code == "missing-key"), "{:?}", proposed.as_it_is());
    let programme = proposed.clean(&[("# date = YYYY-MM-DD", "date = 2025-03-01")], &[("# crop", "crop")]);
    let trial = &programme.trials[0];
    assert_eq!((trial.site.as_str(), trial.harvest_year), ("Osier Bend", 2025));
    assert_eq!((trial.plots.len(), trial.readings.len()), (20, 40));
    assert_eq!(trial.plots.iter().filter(|plot| plot.is_reference).count(), 4);
    assert_eq!((programme.units.n_rate, programme.units.yields), (NRateUnit::PoundsPerAcre, YieldUnit::BushelsPerAcre));
}

#[test]
fn semicolons_decimal_commas_and_the_words_of_another_language() {
    let mut text = String::from("Parzelle;Wiederholung;Sorte;N-Gabe kg/ha;Ertrag t/ha;Feuchte;Protein\n");
    for block in 1..=3 {
        for (position, rate) in randomised(block, &[0.0, 60.0, 120.0, 180.0]).into_iter().enumerate() {
            let plot = 10 * block + position;
            let number = |value: f64| format!("{value:.2}").replace('.', ",");
            text += &format!(
                "{plot};{block};Graue Weide;{rate};{};{};{}\n",
                number(grain(block, rate * 0.6, 7.9)),
                number(14.1 + position as f64 / 10.0),
                number(10.5 + rate / 100.0)
            );
        }
    }
    let proposed = proposed("talacker-2024", &[("ernte.csv", text.into_bytes())]);
    assert_eq!(
        proposed.roles(),
        [
            ("Parzelle", Role::Plot),
            ("Wiederholung", Role::Block),
            ("Sorte", Role::Variety),
            ("N-Gabe kg/ha", Role::NRate),
            ("Ertrag t/ha", Role::Yield),
            ("Feuchte", Role::Moisture),
            ("Protein", Role::Protein),
        ]
    );
    let programme = proposed.clean(&[("# date = YYYY-MM-DD", "date = 2024-03-12")], &[("# crop", "crop")]);
    assert_eq!(
        (programme.units.n_rate, programme.units.yields),
        (NRateUnit::KilogramsPerHectare, YieldUnit::MegagramsPerHectare)
    );
    assert_eq!(programme.trials[0].plots.len(), 12);
}

#[test]
fn a_workbook_with_titles_and_headers_of_two_rows() {
    let text = |texts: &[&str]| texts.iter().map(|text| Cell::text(Some(text))).collect::<Vec<Cell>>();
    let mut rows = vec![
        text(&["Site", "Upper Terrace"]),
        text(&["Harvested", "9 July 2025"]),
        Vec::new(),
        text(&["Rep", "Plot", "Cultivar", "Kind", "Early N", "Topdress N", "Total N", "Grain", "Moisture", "Lodging"]),
        text(&["", "", "", "", "lb/ac", "lb/ac", "lb/ac", "lb/plot", "%", "0 to 9"]),
    ];
    for block in 1..=3 {
        let mut plot = 0_usize;
        for (early, top) in
            [(0.0, 0.0), (0.0, 40.0), (0.0, 80.0), (30.0, 0.0), (30.0, 40.0), (30.0, 80.0), (150.0, 0.0)]
        {
            plot += 1;
            let kind = if early == 150.0 { "rich" } else { "treatment" };
            let mut row = vec![Cell::from(block), Cell::from(plot)];
            row.extend(text(&["Dark Sedge", kind]));
            for number in [early, top, early + top, grain(block, early + top, 14.0), 12.4, 1.0] {
                row.push(Cell::number(Some(number)));
            }
            rows.push(row);
        }
    }
    let columns = vec!["N timing trial, winter wheat".to_owned()];
    let workbook = xlsx("trial", &[Table { name: "2025".to_owned(), columns, rows }]).unwrap();
    let proposed = proposed("terrace", &[("trial.xlsx", workbook)]);
    assert_eq!(
        proposed.roles(),
        [
            ("Rep", Role::Block),
            ("Plot", Role::Plot),
            ("Cultivar", Role::Variety),
            ("Kind", Role::Kind),
            ("Early N lb/ac", Role::NRate),
            ("Topdress N lb/ac", Role::NRate),
            ("Grain lb/plot", Role::Weight),
            ("Moisture %", Role::Moisture),
            ("Lodging 0 to 9", Role::Lodging),
        ]
    );
    let sheet = &proposed.proposal.sheets[0];
    assert_eq!((sheet.header_row, sheet.header_rows, sheet.rows), (5, 2, 21));
    let trial = [
        ("# design = \"randomised-complete-block\"", "design = \"randomised-complete-block\""),
        ("# date = YYYY-MM-DD", "date = 2025-02-20"),
        ("# date = YYYY-MM-DD", "date = 2025-04-11"),
        ("# area = { length = …, width = …", "area = { length = 20, width = 5"),
    ];
    let programme = proposed.clean(&trial, &[]);
    let trial = &programme.trials[0];
    assert_eq!((trial.site.as_str(), trial.harvest_year), ("Upper Terrace", 2025));
    assert_eq!(programme.crop.name, "wheat");
    let names: Vec<&str> = trial.applications.iter().map(|application| application.name.as_str()).collect();
    assert_eq!(names, ["early", "topdress"]);
    // Plots are numbered anew in every block.
    assert_eq!(trial.plots[7].id, "2-1");
}

#[test]
fn readings_in_a_file_beside_a_row_a_leaf() {
    let mut plots = String::from("plot_id,block,early_n_kg_ha,topdress_kg_ha,kind,yield_kg_ha\n");
    let mut readings = String::from("Date,Stage,Plot,Tool,Leaf,Reading\n");
    for block in 1..=3 {
        let treatments = [(0.0, 0.0, ""), (0.0, 50.0, ""), (0.0, 100.0, ""), (200.0, 0.0, "N-rich")];
        for (position, (early, top, kind)) in treatments.into_iter().enumerate() {
            let plot = 100 * block + position;
            plots += &format!("{plot},{block},{early},{top},{kind},{:.0}\n", grain(block, early + top, 6800.0));
            for leaf in 1..=3 {
                let reading = 38.0 + early / 20.0 + f64::from(leaf) / 10.0;
                readings += &format!("24/03/2024,Feekes 5,{plot},leaf,{leaf},{reading:.1}\n");
            }
            readings += &format!("24/03/2024,Feekes 5,{plot},ndvi,,{:.2}\n", 0.5 + early / 1000.0);
        }
    }
    let files = [("plots.csv", plots.into_bytes()), ("readings.csv", readings.into_bytes())];
    let proposed = proposed("chalk-rise-2024", &files);
    for (column, role) in [
        ("plot_id", Role::Plot),
        ("early_n_kg_ha", Role::NRate),
        ("topdress_kg_ha", Role::NRate),
        ("kind", Role::Kind),
        ("yield_kg_ha", Role::Yield),
        ("Date", Role::Date),
        ("Stage", Role::Stage),
        ("Plot", Role::Plot),
        ("Tool", Role::Instrument),
        ("Leaf", Role::Leaf),
        ("Reading", Role::Value),
    ] {
        assert_eq!(proposed.role(column).0, role, "{column}");
    }
    let trial = [
        ("# design = \"randomised-complete-block\"", "design = \"randomised-complete-block\""),
        ("# date = YYYY-MM-DD", "date = 2024-02-20"),
        ("# date = YYYY-MM-DD", "date = 2024-04-02"),
        ("# moisture", "moisture"),
    ];
    let programme = proposed.clean(&trial, &[("# crop", "crop")]);
    let trial = &programme.trials[0];
    assert_eq!(trial.need_from, NeedFrom::TopdressResponse);
    let of = |instrument| trial.readings.iter().filter(|reading| reading.instrument == instrument).count();
    assert_eq!((of(Instrument::LeafChlorophyll), of(Instrument::CanopyNdvi)), (36, 12));
    assert_eq!(trial.plots.iter().filter(|plot| plot.is_reference).count(), 3);
}

#[test]
fn leaves_with_their_positions_and_a_canopy_sensors_passes_in_files_beside() {
    let mut plots = String::from("plot,block,greenup_n_lb_ac,yield_bu_ac\n");
    let mut leaves = String::from("Plot,Date,Leaf no,Leaf position,Chlorophyll\n");
    let mut canopy = String::from("Plot,Date,Run,Pass,Red 670 nm,NIR 780 nm,Red edge\n");
    for block in 1..=3 {
        for (position, rate) in randomised(block, &[0.0, 60.0, 120.0, 180.0]).into_iter().enumerate() {
            let plot = 100 * block + position + 1;
            plots += &format!("{plot},{block},{rate},{:.1}\n", grain(block, rate, 80.0));
            for leaf in 1..=4 {
                let place = if leaf % 2 == 0 { "upper" } else { "lower" };
                leaves += &format!("{plot},2025-04-02,{leaf},{place},{:.1}\n", 38.2 + rate / 20.0 + f64::from(leaf));
            }
            for run in 1..=2 {
                // The planter's pass is the plot's.
                canopy += &format!(
                    "{plot},2025-04-02,{run},{},{:.3},{:.3},0.2\n",
                    position + 1,
                    0.101 - rate / 4000.0,
                    0.352 + rate / 2000.0 + f64::from(run) / 100.0
                );
            }
        }
    }
    let files =
        [("plots.csv", plots.into_bytes()), ("leaves.csv", leaves.into_bytes()), ("canopy.csv", canopy.into_bytes())];
    let proposed = proposed("osier-bend-2025", &files);
    for (column, role) in [
        ("Leaf no", (Role::Leaf, Confidence::Likely)),
        ("Leaf position", (Role::LeafPosition, Confidence::Sure)),
        ("Chlorophyll", (Role::LeafChlorophyll, Confidence::Sure)),
        ("Run", (Role::Pass, Confidence::Likely)),
        ("Pass", (Role::None, Confidence::Likely)),
        ("Red 670 nm", (Role::Red, Confidence::Sure)),
        ("NIR 780 nm", (Role::NearInfrared, Confidence::Sure)),
        ("Red edge", (Role::None, Confidence::Likely)),
    ] {
        assert_eq!(proposed.role(column), role, "{column}");
    }
    let blanks = [("# date = YYYY-MM-DD", "date = 2025-02-20"), ("# moisture", "moisture")];
    let programme = proposed.clean(&blanks, &[("# crop", "crop")]);
    let trial = &programme.trials[0];
    assert_eq!(trial.leaf_positions, ["lower", "upper"]);
    let of = |instrument| trial.readings.iter().filter(move |reading| reading.instrument == instrument);
    assert_eq!((of(Instrument::LeafChlorophyll).count(), of(Instrument::CanopyNdvi).count()), (48, 24));
    assert!(of(Instrument::LeafChlorophyll).all(|reading| reading.position.is_some()));
    let passes: Vec<Option<u32>> = of(Instrument::CanopyNdvi).map(|reading| reading.leaf).collect();
    assert_eq!(passes[..4], [Some(1), Some(2), Some(1), Some(2)]);
    // (0.362 − 0.101) ÷ (0.362 + 0.101), of the first pass without N.
    assert!(of(Instrument::CanopyNdvi).any(|reading| (reading.value - 0.261 / 0.463).abs() < 1e-12));
}

#[test]
fn reflectances_and_passes_as_columns_of_the_plots_file() {
    let header = "plot,block,greenup_n_lb_ac,red_apr02,nir_apr02,Red 16 Apr,NIR 16 Apr,NDVI 23 Apr pass 1,NDVI 23 Apr pass 2,yield_bu_ac\n";
    let mut text = String::from(header);
    for block in 1..=3 {
        for (position, rate) in randomised(block, &[0.0, 60.0, 120.0, 180.0]).into_iter().enumerate() {
            let yields = grain(block, rate, 80.0);
            let (red, near_infrared) = (9.5 - rate / 60.0, 35.2 + rate / 20.0);
            let ndvi = 0.61 + rate / 1000.0;
            let plot = 100 * block + position + 1;
            text += &format!(
                "{plot},{block},{rate},{red:.2},{near_infrared:.2},{:.2},{:.2},{ndvi:.2},{:.2},{yields:.1}\n",
                red - 1.0,
                near_infrared + 5.0,
                ndvi + 0.01
            );
        }
    }
    let proposed = proposed("osier-bend-2025", &[("plots.csv", text.into_bytes())]);
    for (column, role) in [("red_apr02", Role::Red), ("NIR 16 Apr", Role::NearInfrared)] {
        assert_eq!(proposed.role(column), (role, Confidence::Likely), "{column}");
    }
    for line in [
        "{ red = \"red_apr02\", near_infrared = \"nir_apr02\", date = 2025-04-02 },",
        "{ red = \"Red 16 Apr\", near_infrared = \"NIR 16 Apr\", date = 2025-04-16 },",
        "{ column = \"NDVI 23 Apr pass 2\", date = 2025-04-23, pass = 2 },",
    ] {
        assert!(proposed.proposal.trial.contains(line), "{line} in\n{}", proposed.proposal.trial);
    }
    let blanks = [("# date = YYYY-MM-DD", "date = 2025-02-20"), ("# moisture", "moisture")];
    let programme = proposed.clean(&blanks, &[("# crop", "crop")]);
    assert_eq!(programme.trials[0].readings.len(), 48);
}

#[test]
fn a_bare_list_of_rates_and_yields_without_blocks() {
    let mut text = String::from("id,nitrogen,yield\n");
    for plot in 0..12 {
        let rate = f64::from(plot % 4) * 40.0;
        text += &format!("p{plot},{rate},{:.1}\n", grain(usize::try_from(plot).unwrap() / 4, rate, 150.0));
    }
    let proposed = proposed("quick", &[("quick.csv", text.into_bytes())]);
    assert_eq!(proposed.role("nitrogen"), (Role::NRate, Confidence::Sure));
    assert_eq!(proposed.role("yield"), (Role::Yield, Confidence::Sure));
    // Neither unit nor design nor year is told by the file: none is taken for granted.
    let to_fill_in = proposed.proposal.to_fill_in.join("\n");
    for what in ["site", "harvest_year", "design", "n: \"lb/ac\" or \"kg/ha\"", "yield: values", "date of N"] {
        assert!(to_fill_in.contains(what), "{what} in\n{to_fill_in}");
    }
    let look = proposed.proposal.quick_look.as_ref().unwrap();
    assert_eq!((look.rate.as_str(), look.yields.as_str(), &look.block), ("nitrogen", "yield", &None));
    let trial = [
        ("# site = \"…\"", "site = \"Long Furrow\""),
        ("# harvest_year = YYYY", "harvest_year = 2023"),
        ("# design", "design"),
        ("# n = { column = \"nitrogen\", unit = … }", "n = { column = \"nitrogen\", unit = \"lb/ac\" }"),
        ("# date = YYYY-MM-DD", "date = 2023-05-30"),
        ("# yield", "yield"),
        ("# moisture", "moisture"),
    ];
    let programme = [("# crop = \"wheat\"", "crop = \"corn\""), ("# n_rate", "n_rate"), ("# yield", "yield")];
    let programme = proposed.clean(&trial, &programme);
    assert_eq!(programme.trials[0].design, Design::CompletelyRandomised);
    assert_eq!(programme.trials[0].plots.len(), 12);
}
