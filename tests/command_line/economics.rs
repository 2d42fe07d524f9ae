//! What `optimum` is asked beside the optimum: grids, passes, other rates, moved and uncertain prices, grain quality.

use serde_json::Value;

use crate::run::{OATS, OATS_ROLES, data, edit, oats, programme_copy, stook, stook_in};

/// The optimum of the oats with these flags, as JSON.
fn oats_json(flags: &[&str]) -> Value {
    let flags: Vec<&str> = flags.iter().copied().chain(["--format", "json"]).collect();
    oats("optimum", &flags).json()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is a number"))
}

/// A copy of the demo programme whose prices say everything that they may.
fn priced_programme() -> tempfile::TempDir {
    let copy = programme_copy();
    let prices = "per = \"bu\", lowest = 5, highest = 8 }\n\
        pass_cost = { price = 8, per = \"ac\" }\n\
        protein_premium = { moisture_percent = 12, steps = [\n  { from = 0, add = -0.40 },\n  { from = 11, add = 0 },\n  \
        { from = 12.5, add = 0.30 },\n] }\n\
        lodging_loss = { yield_percent = 30, at_score = 9 }";
    edit(&copy.path().join("trials/programme.toml"), "per = \"bu\" }", prices);
    copy
}

#[test]
fn every_cell_of_a_grid_is_the_optimum_at_its_prices() {
    let grid = oats_json(&["--grain-price", "0.1,0.2", "--n-price", "2,3,8"]);
    let cells = grid["groups"][0]["price_grid"].as_array().unwrap();
    assert_eq!(cells.len(), 6);
    assert_eq!(cells[0]["optimum"], grid["groups"][0]["optimum"], "the first of each is the base");
    for cell in cells {
        let (grain, n) = (cell["grain_price"].to_string(), cell["n_price"].to_string());
        let single = oats_json(&["--grain-price", &grain, "--n-price", &n]);
        let single = &single["groups"][0];
        for field in ["price_ratio", "optimum", "net_return", "net_return_money"] {
            assert_eq!(cell[field], single[field], "{grain} {n} {field}");
        }
    }
}

#[test]
fn further_price_ratios_of_a_bare_file_are_as_those_of_a_programme() {
    let found = oats_json(&["--price-ratio", "20", "--other-price-ratios", "10,40"]);
    let at = &found["groups"][2]["by_price"];
    assert_eq!((at[0]["price_ratio"].as_f64(), at[1]["price_ratio"].as_f64()), (Some(20.0), Some(10.0)));
    assert_eq!(at[2]["optimum"], oats_json(&["--price-ratio", "40"])["groups"][2]["optimum"]);
    let programme = stook(["optimum", "trials/upper-terrace-2024", "--other-price-ratios", "0.2", "--format", "json"]);
    let ratios: Vec<f64> = programme.json()["groups"][0]["by_price"]
        .as_array()
        .unwrap()
        .iter()
        .map(|at| number(&at["price_ratio"]))
        .collect();
    assert_eq!((ratios.len(), ratios[1]), (2, 0.2));
}

#[test]
fn the_price_of_n_follows_from_product_and_analysis() {
    // Urea at 560 a short ton, 46 % N: 0.608696 a pound (Illinois Extension prints 0.61; digits by NumPy).
    let product =
        ["--n-product-price", "560", "--n-product-per", "short ton", "--n-percent", "46", "--grain-price", "6"];
    let in_pounds: Vec<&str> = product.into_iter().chain(["--rate-unit", "lb/ac"]).collect();
    let found = oats_json(&in_pounds);
    // Printed to six decimals.
    approx::assert_relative_eq!(number(&found["groups"][0]["price_ratio"]), 0.608_696 / 6.0, max_relative = 1e-6);
    assert_eq!(found["options"]["n_product_per"], "short ton");
    let programme = ["optimum", "trials/upper-terrace-2024", "--format", "json"];
    let own = stook(programme).json();
    let typed = stook(programme.into_iter().chain(product)).json();
    let rate = |json: &Value| number(&json["groups"][1]["optimum"]["rate"]);
    approx::assert_relative_eq!(rate(&typed), rate(&own), max_relative = 1e-9);
}

#[test]
fn what_is_not_asked_is_not_said() {
    let text = stook(["optimum", "trials"]).stdout;
    for section in ["pass", "forgone", "Uncertain", "premium", "By the prices", "price lower"] {
        assert!(!text.contains(section), "{section}");
    }
    let group = &stook(["optimum", "trials", "--format", "json"]).json()["groups"][0];
    assert!(group["pass"].is_null() && group["sensitivity"].is_null() && group["with_quality"].is_null());
    assert!(group["forgone"].as_array().unwrap().is_empty() && group["price_grid"].as_array().unwrap().is_empty());
    assert_eq!(group["money_unit"], "USD/ac");
    approx::assert_relative_eq!(
        number(&group["net_return_money"]),
        6.0 * number(&group["net_return"]),
        max_relative = 1e-14
    );
}

#[test]
fn everything_that_prices_say_is_told_of_a_trial() {
    let copy = priced_programme();
    let flags = ["--forgone-at", "60,80,200", "--sensitivity", "10", "--family", "quadratic-plateau"];
    let text = stook_in(copy.path(), ["optimum", "trials/upper-terrace-2024"].into_iter().chain(flags));
    assert_eq!(text.status, 0, "{}", text.stderr);
    let (text, _) = text.stdout.split_once("Made by").unwrap();
    let asked = text.find("Does it pay").map(|start| &text[start..]).unwrap();
    insta::assert_snapshot!("economics_of_a_trial", asked);
}

#[test]
fn the_fields_of_what_is_asked_are_there_and_of_their_types() {
    let copy = priced_programme();
    let flags = ["--forgone-at", "60,80,200", "--sensitivity", "10", "--format", "json"];
    let json = stook_in(copy.path(), ["optimum", "trials"].into_iter().chain(flags)).json();
    let schema = serde_json::to_value(schemars::schema_for!(stook::output::Envelope<'static, stook::output::Optima>));
    let validator = jsonschema::validator_for(&schema.unwrap()).unwrap();
    assert!(validator.is_valid(&json), "{:?}", validator.iter_errors(&json).map(|e| e.to_string()).next());
    let groups = json["groups"].as_array().unwrap();
    for group in groups {
        assert_eq!(group["forgone"].as_array().unwrap().len(), 3);
        for forgone in group["forgone"].as_array().unwrap() {
            let known = forgone["forgone_return"].as_f64();
            assert!(known.is_some() != forgone["reason"].is_string(), "{forgone}");
            assert!(
                known.is_none_or(|known| known >= 0.0) && !(known.is_some() && forgone["outside_tested_rates"] == true)
            );
        }
        let is_shown = group["response"] == "detected";
        assert_eq!(group["sensitivity"].is_object(), is_shown, "{group}");
        assert!(group["pass"]["cost_in_yield"].is_number());
        let quality = &group["with_quality"];
        assert!(quality.is_null() || quality["plots"].is_number() && quality["status"].is_string(), "{quality}");
    }
    let upper = groups.iter().find(|group| group["group"]["trial"] == "upper-terrace-2024").unwrap();
    let uncertain = &upper["uncertain_prices"];
    assert_eq!(uncertain["draws"], 10_000);
    approx::assert_relative_eq!(number(&uncertain["expected_grain_price"]), 19.0 / 3.0, max_relative = 1e-12);
    assert_eq!(
        (&upper["with_quality"]["protein_premium"], &upper["with_quality"]["lodging_loss"]),
        (&true.into(), &false.into())
    );
}

#[test]
fn a_season_tells_what_the_prices_say() {
    let copy = priced_programme();
    let run = stook_in(copy.path(), ["season", "trials", "--out", "season"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let read = |path: &str| std::fs::read_to_string(copy.path().join(path)).unwrap();
    let season: Value = serde_json::from_str(&read("season/data/optimum.json")).unwrap();
    let optimum = stook_in(copy.path(), ["optimum", "trials", "--format", "json"]).json();
    assert_eq!(season["groups"], optimum["groups"]);
}

#[test]
fn prices_that_cannot_be_meant_are_one_clear_error() {
    let cases: [(&[&str], &str); 21] = [
        (&["--grain-price", "6,6", "--n-price", "1"], "--grain-price lists 6 twice"),
        (&["--grain-price", "-1", "--n-price", "1"], "a number above 0"),
        (&["--grain-price", "nan", "--n-price", "1"], "a number above 0"),
        (&["--grain-price", "inf", "--n-price", "1"], "a number above 0"),
        (&["--grain-price", "6", "--n-price", "-1"], "a number of at least 0"),
        (&["--grain-price", "6"], "--grain-price needs --n-price"),
        (&["--grain-price", "6", "--n-product-price", "560"], "--n-percent 46"),
        (&["--grain-price", "6", "--n-price", "1", "--n-product-price", "560"], "not both"),
        (&["--price-ratio", "0.1", "--n-percent", "46"], "--n-product-price"),
        (
            &["--grain-price", "6", "--n-product-price", "560", "--n-product-per", "bu", "--n-percent", "46"],
            "per lb, kg",
        ),
        (
            &["--grain-price", "6", "--n-product-price", "560", "--n-product-per", "lb", "--n-percent", "46"],
            "--rate-unit",
        ),
        (&["--grain-price", "6", "--n-price", "1", "--price-ratio", "0.1"], "either --price-ratio"),
        (&["--grain-price", "1e-9", "--n-price", "1e9"], "price ratio of 1e18"),
        (&["--price-ratio", "0.1", "--pass-cost", "8"], "--grain-price with --n-price"),
        (&["--price-ratio", "0.1", "--grain-price-range", "5,8"], "--grain-price with --n-price"),
        (&["--grain-price", "6", "--n-price", "1", "--grain-price-range", "7,8"], "6 is not within 7 to 8"),
        (&["--grain-price", "6", "--n-price", "1", "--grain-price-sd", "7"], "no standard deviation"),
        (&["--price-ratio", "0.1", "--other-price-ratios", "0.1001"], "within 1 %"),
        (&["--price-ratio", "0.1", "--sensitivity", "100"], "below 100"),
        (&["--price-ratio", "0.1", "--forgone-at", "-5"], "at least 0"),
        (&["--price-ratio", "0.1", "--forgone-at", "1,2,3,4,5,6,7,8,9,10,11,12,13"], "up to 12 values, not 13"),
    ];
    for (flags, words) in cases {
        let arguments = ["optimum", OATS].into_iter().chain(OATS_ROLES).chain(flags.iter().copied());
        let run = stook_in(&data(), arguments);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{flags:?}");
        assert!(run.stderr.contains(words), "{flags:?} says {words}: {}", run.stderr);
        assert_eq!(run.stderr.matches("error:").count(), 1, "{flags:?}");
    }
    let run = stook(["optimum", "trials", "--price-ratio", "0.1", "--n-price-sd", "0.1"]);
    assert!(run.status == 2 && run.stderr.contains("not with --price-ratio"), "{}", run.stderr);
}
