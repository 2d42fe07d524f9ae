//! Single columns and their neighbours.

use super::*;

fn of(text: &str) -> Proposed {
    proposed("trial", &[("plots.csv", text.trim_start().as_bytes().to_vec())])
}

#[test]
fn a_sum_of_applications_and_the_same_rates_in_another_unit_are_no_applications() {
    let proposed =
        of("plot,early_n,late_n,total_n,total_n_kg_ha\n1,0,0,0,0\n2,30,0,30,33.6\n3,30,40,70,78.5\n4,0,40,40,44.8\n");
    for (column, role) in
        [("early_n", Role::NRate), ("late_n", Role::NRate), ("total_n", Role::None), ("total_n_kg_ha", Role::None)]
    {
        assert_eq!(proposed.role(column).0, role, "{column}");
    }
}

#[test]
fn uptake_soil_and_counts_are_no_rates() {
    let proposed = of(
        "plot,N rate,N uptake kg/ha,soil_nitrate_lb_ac,grain_n_%,straw_kgN,n_leaves\n1,0,50.1,12,1.9,11,30\n2,60,80.3,14,2.1,15,30\n3,120,99.2,13,2.3,19,30\n",
    );
    let rates: Vec<&str> =
        proposed.roles().into_iter().filter(|(_, role)| *role == Role::NRate).map(|(column, _)| column).collect();
    assert_eq!(rates, ["N rate"]);
}

#[test]
fn two_yields_are_left_to_the_user() {
    let proposed = of("block,n,cyield,myield\nB1,0,259,2121\nB1,40,614,3055\nB2,0,355,3922\nB2,40,609,4129\n");
    assert_eq!(proposed.role("cyield"), (Role::Yield, Confidence::Unsure));
    assert_eq!(proposed.role("myield"), (Role::Yield, Confidence::Unsure));
    assert!(!proposed.proposal.trial.lines().any(|line| line.starts_with("yield")), "{}", proposed.proposal.trial);
}

#[test]
fn rates_that_are_codes_are_told_and_left_out() {
    let alone = of("block,nitro,yield\nB1,N0,25.1\nB1,N1,31\nB2,N0,26\nB2,N1,33\n");
    assert_eq!(alone.role("nitro"), (Role::NRate, Confidence::Unsure));
    let beside = of("block,nitro,lb_n_ac,yield\nB1,N0,0,25.1\nB1,N1,50,31\nB2,N0,0,26\nB2,N1,50,33\n");
    assert_eq!((beside.role("nitro").0, beside.role("lb_n_ac").0), (Role::None, Role::NRate));
}

#[test]
fn planned_rates_stand_beside_those_that_went_on() {
    let proposed = of("plot,planned_n_lb_ac,applied_n_lb_ac\n1,0,0\n2,60,61.5\n3,120,118.2\n4,60,58.9\n");
    assert!(
        proposed.proposal.trial.contains("planned = { column = \"planned_n_lb_ac\", unit = \"lb/ac\" }"),
        "{}",
        proposed.proposal.trial
    );
    assert_eq!(proposed.role("applied_n_lb_ac").0, Role::NRate);
}

#[test]
fn urea_is_a_product_where_its_n_is_round() {
    let product = of("plot,urea_lb_ac\n1,0\n2,65.2\n3,130.4\n4,260.9\n5,0\n6,65.2\n7,130.4\n8,260.9\n");
    assert!(product.proposal.trial.contains("n_percent = 46 }    # likely"), "{}", product.proposal.trial);
    let unsure = of("plot,urea_lb_ac\n1,0\n2,30\n3,60\n4,120\n5,0\n6,30\n7,60\n8,120\n");
    assert!(unsure.proposal.trial.contains("# n = { column = \"urea_lb_ac\""), "{}", unsure.proposal.trial);
}

#[test]
fn plots_without_numbers_are_told_apart_by_block_and_treatment() {
    let proposed = of(
        "block,variety,nitrogen,yield\nI,Gull,0,111\nI,Gull,40,130\nI,Tern,0,117\nI,Tern,40,114\nII,Gull,0,90\nII,Gull,40,99\nII,Tern,0,93\nII,Tern,40,105\n",
    );
    assert!(
        proposed.proposal.trial.contains("plot = [\"block\", \"variety\", \"nitrogen\"]"),
        "{}",
        proposed.proposal.trial
    );
}

#[test]
fn varieties_that_stand_together_in_every_block_are_main_plots() {
    let mut text = String::from("plot,block,variety,n,yield\n");
    for block in 1..=3 {
        for position in 0..8 {
            let variety = if (position < 4) == (block % 2 == 0) { "Gull" } else { "Tern" };
            let rate = ((position * 3 + block) % 4) * 40;
            text += &format!("{},{block},{variety},{rate},{}.5\n", 100 * block + position, 60 + rate / 5);
        }
    }
    let proposed = of(&text);
    assert!(proposed.proposal.trial.contains("design = \"split-plot\"    # likely"), "{}", proposed.proposal.trial);
    assert!(proposed.proposal.trial.contains("main_plot = [\"variety\"]"), "{}", proposed.proposal.trial);
}

#[test]
fn several_sites_in_one_file_are_told() {
    let proposed = of("site,rep,n_kg_ha,yield_kg_ha\nA,1,0,2400\nA,1,60,3400\nB,1,0,2500\nB,1,60,3500\n");
    assert!(proposed.proposal.to_fill_in[0].contains("2 sites (\"site\": A, B)"), "{:?}", proposed.proposal.to_fill_in);
}

/// Two plots of readings beside the plots file: `header` and the rows below it.
fn readings(text: &str) -> Proposed {
    let plots = "plot,n_lb_ac,yield\n1,0,40.5\n2,60,52.25\n3,120,58.75\n";
    proposed("trial", &[("plots.csv", plots.into()), ("readings.csv", text.as_bytes().to_vec())])
}

#[test]
fn runs_that_share_a_number_wait_for_the_user() {
    let proposed = readings(
        "plot,date,run,ndvi\n1,2025-04-02,1,0.5\n1,2025-04-02,1,0.52\n1,2025-04-02,2,0.51\n2,2025-04-02,1,0.6\n",
    );
    assert_eq!(proposed.role("run"), (Role::Pass, Confidence::Unsure));
    assert!(proposed.proposal.trial.contains("# pass = \"run\"    # choose:"), "{}", proposed.proposal.trial);
}

#[test]
fn a_pass_that_every_plot_has_one_of_is_a_place_in_the_field() {
    let plots = of("plot,pass,n_lb_ac,ndvi\n1,1,0,0.5\n2,1,60,0.6\n3,2,0,0.52\n4,2,60,0.61\n");
    assert_eq!(plots.role("pass").0, Role::None);
    let readings = readings("plot,date,pass,ndvi\n1,2025-04-02,4,0.5\n1,2025-04-09,4,0.52\n2,2025-04-02,5,0.51\n");
    assert_eq!(readings.role("pass").0, Role::None);
}

#[test]
fn a_position_that_may_be_one_in_the_field_waits_for_the_user() {
    let rows =
        "1,2025-04-02,1,north,41.5\n1,2025-04-02,2,south,40.1\n2,2025-04-02,1,north,45.2\n2,2025-04-02,2,south,44.4\n";
    let unclear = readings(&format!("plot,date,leaf,position,value\n{rows}"));
    assert_eq!(unclear.role("position"), (Role::LeafPosition, Confidence::Unsure));
    assert!(
        unclear.proposal.trial.contains("# position = \"position\"    # choose: where on the plant"),
        "{}",
        unclear.proposal.trial
    );
    assert!(unclear.proposal.to_fill_in.iter().any(|what| what.starts_with("position: ")));
    let rows = rows.replace("north", "upper leaf").replace("south", "lower leaf");
    let clear = readings(&format!("plot,date,leaf,position,value\n{rows}"));
    assert_eq!(clear.role("position"), (Role::LeafPosition, Confidence::Likely));
    assert!(clear.proposal.trial.contains("position = \"position\"    # likely: its cells say where a leaf sits"));
    // In a file of plots it is a factor as ever.
    let plots = of("plot,position,n_lb_ac,yield\n1,upper,0,40.5\n2,upper,60,52.25\n3,lower,0,41.5\n4,lower,60,50.5\n");
    assert_eq!(plots.role("position").0, Role::Factor);
}

#[test]
fn numbered_positions_number_the_leaves_too_where_nothing_else_does() {
    let proposed = readings(
        "plot,date,leaf position,value\n1,2025-04-02,1,41.5\n1,2025-04-02,2,40.1\n2,2025-04-02,1,45.2\n2,2025-04-02,2,44.4\n",
    );
    for key in ["leaf", "position"] {
        let line = format!("\n{key} = \"leaf position\"    # likely: ");
        assert!(proposed.proposal.trial.contains(&line), "{line} in\n{}", proposed.proposal.trial);
    }
}

#[test]
fn reflectances_beside_their_ndvi_or_without_a_partner_are_not_used() {
    for (header, rows) in [
        ("plot,date,red,nir,ndvi", "1,2025-04-02,0.1,0.42,0.62\n1,2025-04-09,0.11,0.4,0.57\n"),
        (
            "plot,date,red,infrared b,infrared a,ndvi",
            "1,2025-04-02,0.1,0.42,0.4,0.62\n1,2025-04-09,0.11,0.4,0.4,0.57\n",
        ),
        ("plot,date,nir,ndvi", "1,2025-04-02,0.42,0.62\n1,2025-04-09,0.4,0.57\n"),
    ] {
        let proposed = readings(&format!("{header}\n{rows}"));
        assert!(!proposed.proposal.trial.contains("near_infrared"), "{}", proposed.proposal.trial);
        assert!(proposed.proposal.trial.contains("\nvalue = \"ndvi\""), "{}", proposed.proposal.trial);
        assert!(proposed.roles().iter().all(|(_, role)| ![Role::Red, Role::NearInfrared].contains(role)));
    }
}

#[test]
fn reflectances_of_two_scales_or_of_none_wait_for_the_user() {
    for rows in ["1,2025-04-02,0.1,42\n2,2025-04-02,0.11,40\n", "1,2025-04-02,1200,4200\n2,2025-04-02,1150,4000\n"] {
        let proposed = readings(&format!("plot,date,red,nir\n{rows}"));
        assert_eq!(proposed.role("nir"), (Role::NearInfrared, Confidence::Unsure));
        let trial = &proposed.proposal.trial;
        assert!(
            trial.contains("# red = \"red\"    # choose:") && trial.contains("# near_infrared = \"nir\""),
            "{trial}"
        );
    }
}

#[test]
fn a_file_of_both_instruments_takes_readings_and_reflectances_where_they_are_filled_in() {
    let proposed = readings(
        "plot,date,tool,leaf,layer,pass,value,red,nir\n1,2025-04-02,leaf meter,1,top,,41.5,,\n1,2025-04-02,leaf meter,2,middle,,40.1,,\n1,2025-04-02,ndvi,,,1,,0.1,0.42\n1,2025-04-02,ndvi,,,2,,0.11,0.4\n",
    );
    let text = &proposed.proposal.trial;
    let (leaf, canopy) = text.split_once("instrument = \"canopy-ndvi\"").unwrap();
    for line in ["\nleaf = \"leaf\"\n", "\nposition = \"layer\"", "\nvalue = \"value\""] {
        assert!(leaf.contains(line) && !canopy.contains(line), "{line} in\n{text}");
    }
    for line in ["\npass = \"pass\"", "\nred = \"red\"\n", "\nnear_infrared = \"nir\"\n"] {
        assert!(canopy.contains(line) && !leaf.contains(line), "{line} in\n{text}");
    }
}

#[test]
fn any_header_leaves_a_descriptor_that_parses() {
    for header in ["say \"N\"", "back\\slash n", "n # comment", "N\t(lb/ac)", "ähre n", "n]", "'n'"] {
        let quoted = format!("\"{}\"", header.replace('"', "\"\""));
        let proposed = of(&format!("plot,{quoted},yield\n1,0,25.1\n2,60,31.2\n3,120,33.3\n4,180,33.9\n"));
        let read: Result<toml::Table, _> = toml::from_str(&proposed.proposal.trial);
        assert!(read.is_ok(), "{header}: {read:?}\n{}", proposed.proposal.trial);
    }
}
