use super::fixture::{canopy, interval, leaf, stage, table};
use super::*;
use crate::trial::Outside;
use proptest::prelude::*;
use serde_json::Value;

fn base() -> RateTable {
    table(|_| {})
}

fn ask(table: &RateTable, reading: &str, reference: &str) -> Lookup {
    table.lookup(reading, reference, &Asked::default())
}

/// A calculator written from `lookup_rule` alone, on the document's JSON, in text and whole numbers.
mod calculator {
    use serde_json::Value;

    fn millionths(text: &str) -> Option<i128> {
        let text = text.trim();
        let sign = if text.starts_with('-') { -1 } else { 1 };
        let text = text.strip_prefix(['+', '-']).unwrap_or(text);
        let mut parts = text.split('.');
        let (whole, decimals) = (parts.next()?, parts.next().unwrap_or(""));
        let all = format!("{whole}{decimals}");
        if parts.next().is_some() || all.is_empty() || all.chars().any(|c| !c.is_ascii_digit()) {
            return None;
        }
        if whole.trim_start_matches('0').len() > 6 {
            return None;
        }
        let seven: String = decimals.chars().chain("0000000".chars()).take(7).collect();
        let tenths: i128 = format!("0{whole}{seven}").parse().ok()?;
        Some(sign * ((tenths + 5) / 10))
    }

    pub fn look_up(
        document: &Value,
        reading: &str,
        reference: &str,
        price: Option<f64>,
    ) -> (String, String, String, bool) {
        let mut index_text = String::new();
        let nothing = |index: String, status: &str| (index, String::new(), status.to_owned(), false);
        let usable = &document["usable"];
        let limit = |key: &str| millionths(&usable[key].as_f64().unwrap().to_string()).unwrap();
        let ok = |value: &i128| *value > limit("above") && *value <= limit("up_to");
        let pair = millionths(reading).filter(ok).zip(millionths(reference).filter(ok));
        if let Some((reading, reference)) = pair {
            let index = (2000 * reading + reference) / (2 * reference);
            index_text = format!("{}.{:03}", index / 1000, index % 1000);
        }
        let Some((reading, reference)) = pair else { return nothing(index_text, "unusable") };
        let index = (2000 * reading + reference) / (2 * reference);
        if index > i128::from(usable["index_up_to"].as_i64().unwrap()) {
            return nothing(index_text, "unusable");
        }
        let prices = document["prices"].as_array().unwrap();
        let chosen = prices.iter().position(|listed| match price {
            None => listed["base"] == true,
            Some(asked) => {
                let listed = listed["price_ratio"].as_f64().unwrap();
                (asked - listed).abs() <= listed / 1000.0
            }
        });
        let Some(chosen) = chosen else { return nothing(index_text, "unusable") };
        let rows: Vec<(i128, i128, f64, bool)> = {
            let all = document["rows"].as_array().unwrap();
            let row = |(i, row): (usize, &Value)| {
                let number = |key: &str| i128::from(row[key].as_i64().unwrap());
                let rate = row["rates"][chosen]["rate"].as_f64()?;
                Some((number("index_from"), number("index_below"), rate, i + 1 == all.len()))
            };
            all.iter().enumerate().filter_map(row).collect()
        };
        for (from, below, rate, last) in &rows {
            if *from <= index && (index < *below || (*last && index == *below)) {
                return (index_text, rate.to_string(), "in-domain".to_owned(), false);
            }
        }
        let (status, nearest) =
            if index < rows[0].0 { ("below-domain", rows[0]) } else { ("above-domain", rows[rows.len() - 1]) };
        if document["options"]["outside"] == "nearest-row" {
            (index_text, nearest.2.to_string(), status.to_owned(), true)
        } else {
            nothing(index_text, status)
        }
    }
}

#[test]
fn an_independent_calculator_agrees_with_every_conformance_vector() {
    for table in [base(), canopy(), table(|document| document.settings.outside = Outside::NearestRow)] {
        let document: Value = serde_json::from_str(&table.write()).unwrap();
        let vectors = table.conformance_vectors();
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(vectors.as_bytes());
        let mut seen = std::collections::BTreeMap::<String, usize>::new();
        for record in reader.records() {
            let record = record.unwrap();
            let field = |i: usize| record.get(i).unwrap();
            let price = (!field(3).is_empty()).then(|| field(3).parse().unwrap());
            let (index, rate, status, nearest) = calculator::look_up(&document, field(1), field(2), price);
            assert_eq!(
                (field(4), field(5), field(6), field(7) == "yes"),
                (&*index, &*rate, &*status, nearest),
                "{record:?}"
            );
            *seen.entry(field(6).to_owned()).or_default() += 1;
            *seen.entry(field(0).to_owned()).or_default() += 1;
        }
        for kind in ["in-domain", "below-domain", "above-domain", "unusable", "edge-half", "edge-under-half", "middle"]
        {
            assert!(seen.get(kind).is_some_and(|count| *count > 3), "{kind}: {seen:?}");
        }
    }
}

#[test]
fn the_half_thousandth_below_an_edge_belongs_to_the_row_above() {
    let table = base();
    // 0.95 begins the last row: 47.475 ÷ 50 = 0.9495 rounds up to it; a millionth less does not.
    assert_eq!(ask(&table, "47.475", "50").row, Some(5));
    assert_eq!(ask(&table, "47.474999", "50").row, Some(4));
    assert_eq!(ask(&table, "55.1", "58").row, Some(5));
    assert_eq!(table.lookup_numbers(55.1, 58.0, &Asked::default()), ask(&table, "55.1", "58"));
    // Rows are closed below; the last is closed above too.
    assert_eq!(ask(&table, "35", "50").row, Some(0));
    assert_eq!(ask(&table, "50", "50").row, Some(5));
    assert_eq!(ask(&table, "50.05", "50").status, Status::AboveDomain);
}

#[test]
fn a_stand_seven_hundredths_below_its_reference_takes_its_rows_rate() {
    let found = ask(&base(), "51", "55");
    assert_eq!(found.index, Some(0.927));
    assert_eq!((found.rate, found.status, found.row), (Some(20.0), Status::InDomain, Some(4)));
    assert_eq!(found.interval.unwrap().interval.low, Some(9.3));
    assert_eq!((found.price_ratio, found.price_ratio_unit.as_deref()), (Some(0.1), Some("bu/lb")));
    assert_eq!(found.reason, None);
}

#[test]
fn outside_the_rows_there_is_no_rate_unless_the_nearest_rows_is_wanted() {
    let found = ask(&base(), "28", "55");
    assert_eq!((found.status, found.rate, found.row), (Status::BelowDomain, None, None));
    assert!(found.reason.unwrap().contains("begin at 0.700"));
    let nearest = table(|document| document.settings.outside = Outside::NearestRow);
    let found = ask(&nearest, "28", "55");
    assert_eq!((found.status, found.rate, found.row), (Status::BelowDomain, Some(120.0), Some(0)));
    assert!(found.nearest_row_used && found.reason.is_some());
    assert!(found.cautions.last().unwrap().contains("outside the calibration"));
    let found = ask(&nearest, "52", "50");
    assert_eq!((found.status, found.rate, found.nearest_row_used), (Status::AboveDomain, Some(0.0), true));
}

#[test]
fn a_row_without_a_rate_lies_outside_at_that_price_only() {
    let at = |price_ratio| base().lookup("48.5", "50", &Asked { price_ratio, ..Asked::default() });
    assert_eq!((at(None).status, at(None).rate), (Status::InDomain, Some(0.0)));
    assert_eq!((at(Some(0.15)).status, at(Some(0.15)).rate), (Status::AboveDomain, None));
    // 0.95 itself belongs to the row that has none.
    let edge = base().lookup("47.5", "50", &Asked { price_ratio: Some(0.15), ..Asked::default() });
    assert_eq!(edge.status, Status::AboveDomain);
}

#[test]
fn a_price_ratio_is_found_as_typed_or_answered_with_those_there_are() {
    let at = |price_ratio| base().lookup("46", "50", &Asked { price_ratio: Some(price_ratio), ..Asked::default() });
    assert_eq!(at(0.1501).price_ratio, Some(0.15));
    let missing = at(0.12);
    assert_eq!((missing.status, missing.rate), (Status::Unusable, None));
    assert!(missing.reason.unwrap().contains("it has 0.1, 0.15 bu/lb"));
    assert_eq!(at(f64::NAN).status, Status::Unusable);
}

#[test]
fn readings_that_cannot_be_are_unusable_and_say_why() {
    let (leaf, canopy) = (base(), canopy());
    for (table, reading, reference, reason) in [
        (&leaf, "", "55", "nothing was given"),
        (&leaf, "abc", "55", "\"abc\" is not a number"),
        (&leaf, "-3", "55", "it must be above 0"),
        (&leaf, "0", "55", "it must be above 0"),
        (&leaf, "1e999", "55", "is not a number"),
        (&leaf, "51", "0", "the reference is 0: it must be above 0"),
        (&leaf, "551", "55", "a leaf-chlorophyll reading is at most 200"),
        (&leaf, "55", "28", "aren't swapped"),
        (&canopy, "1.2", "0.8", "a canopy-ndvi reading is at most 1"),
        (&canopy, "-0.1", "0.8", "it must be above 0"),
    ] {
        let found = ask(table, reading, reference);
        assert_eq!((found.status, found.rate), (Status::Unusable, None));
        let said = found.reason.unwrap();
        assert!(said.contains(reason), "{said}");
    }
    let both = ask(&leaf, "x", "y").reason.unwrap();
    assert!(both.contains("the reading") && both.contains("the reference"), "{both}");
    assert_eq!(leaf.lookup_numbers(f64::NAN, f64::INFINITY, &Asked::default()).status, Status::Unusable);
}

#[test]
fn a_reading_of_another_kind_is_unusable_and_one_of_the_tables_is_not() {
    let table = base();
    let found = |asked: Asked| table.lookup("51", "55", &asked);
    let none = Asked::default();
    for (asked, reason) in [
        (Asked { instrument: Some("canopy-ndvi"), ..none }, "for leaf-chlorophyll readings, not canopy-ndvi"),
        (Asked { stage: Some("Feekes 7"), ..none }, "Feekes 5 to Feekes 6, not Feekes 7"),
        (Asked { stage: Some("Zadoks 31"), ..none }, "another scale"),
        (Asked { stage: Some("jointing"), ..none }, "not a growth stage"),
        (Asked { variety: Some("Grey Stint"), ..none }, "Pale Heron, Dun Plover, not on Grey Stint"),
    ] {
        let answer = found(asked);
        assert_eq!((answer.status, answer.rate, answer.index), (Status::Unusable, None, Some(0.927)));
        let said = answer.reason.unwrap();
        assert!(said.contains(reason), "{said}");
    }
    let right = Asked {
        instrument: Some("leaf-chlorophyll"),
        stage: Some("Feekes 6"),
        variety: Some("pale heron"),
        price_ratio: Some(0.1),
    };
    assert_eq!(found(right).rate, Some(20.0));
}

#[test]
fn every_answer_carries_the_tables_cautions() {
    let table = base();
    for found in [ask(&table, "51", "55"), ask(&table, "x", "55"), ask(&table, "20", "55")] {
        for caution in [CALIBRATED_RANGE_ONLY, OTHER_CAUSES, LAW_FIRST] {
            assert!(found.cautions.iter().any(|said| said == caution));
        }
        assert!(found.cautions[0].contains("Upper Terrace 2024, Osier Bend 2025"));
        assert_eq!(found.table_digest, table.digest());
    }
}

#[test]
fn a_table_reads_back_and_writes_the_same_bytes() {
    for table in [base(), canopy()] {
        let text = table.write();
        let again = RateTable::read(&text).unwrap();
        assert_eq!(again, table);
        assert_eq!(again.write(), text);
        assert_eq!(RateTable::new(table.document().clone()).unwrap().write(), text);
        let compact: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(RateTable::read(&compact.to_string()).unwrap(), table);
    }
}

#[test]
fn the_digest_is_that_of_the_text_with_an_empty_digest() {
    use sha2::{Digest, Sha256};
    let table = base();
    let emptied = table.write().replace(table.digest(), "");
    let digest: String = Sha256::digest(emptied.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(digest, table.digest());
}

#[test]
fn an_edited_or_cut_off_table_is_refused_and_says_so() {
    let text = base().write();
    let edited = text.replacen("\"rate\": 95.0", "\"rate\": 90.0", 1);
    let error = RateTable::read(&edited).unwrap_err();
    assert!(matches!(&error, TableError::Edited { .. }) && error.to_string().contains("edited"), "{error}");
    // Fields that are nobody's are edits too, wherever they stand.
    for beside in ["\"limits\": \"both\"", "\"sha256\": ", "\"first\": "] {
        let added = text.replacen(beside, &format!("\"more\": 1, {beside}"), 1);
        assert!(added != text && RateTable::read(&added).is_err(), "{beside}");
    }
    for length in (0..text.len() - 2).step_by(101) {
        let error = RateTable::read(&text[..length]).unwrap_err();
        assert!(matches!(error, TableError::Truncated { .. }), "{length}: {error}");
    }
}

#[test]
fn another_document_is_refused_with_what_it_is() {
    let said = |text: &str| RateTable::read(text).unwrap_err().to_string();
    assert!(said(r#"{"schema": "stook/rates/2"}"#).contains(r#"this is "schema": "stook/rates/2""#));
    assert!(said(r#"{"rows": []}"#).contains("without \"schema\""));
    assert!(said("hello").contains("line 1, column 1"));
    for (schema, whose) in
        [("stook/table/3", "a newer one"), ("stook/table/0", "reads stook/table/1 and stook/table/2")]
    {
        let error = said(&format!(r#"{{"schema": "{schema}"}}"#));
        assert!(error.contains(schema) && error.contains(whose), "{error}");
    }
    let text = base().write();
    let unknown = text.replacen("\"currency\"", "\"money\"", 1);
    assert!(said(&unknown).contains("unknown field `money`"));
    let staged = text.replacen("Feekes 5", "jointing", 1);
    assert!(said(&staged).contains("not a growth stage"));
}

#[test]
fn parts_that_contradict_each_other_are_refused_with_their_place() {
    type Case = (&'static str, fn(&mut Document), &'static str);
    let cases: [Case; 29] = [
        ("rows[2].rates[0]", |d| d.rows[2].rates[0].rate = Some(100.0), "never rises"),
        ("rows[0].rates[0]", |d| d.rows[0].rates[0].rate = Some(125.0), "no rate is above 120"),
        ("rows[0].rates[0]", |d| d.rows[0].rates[0].rate = Some(118.0), "multiple of 5"),
        ("rows[5].rates[0]", |d| d.rows[5].rates[0].rate = Some(-5.0), "0 or a multiple"),
        ("rows[0].rates[0]", |d| d.rows[0].rates[0].rate = Some(f64::NAN), "multiple"),
        ("rows[2].rates[0]", |d| d.rows[1].rates[0].rate = None, "without a gap"),
        ("prices[1]", |d| d.rows.iter_mut().for_each(|row| row.rates[1].rate = None), "leave it out"),
        ("rows[1]", |d| d.rows[1].index_from = 760, "this one spans 750 to 800"),
        ("rows", |d| drop(d.rows.pop()), "up to settings.index.highest"),
        ("rows", |d| d.rows.clear(), "at least one row"),
        ("rows[3].rates", |d| drop(d.rows[3].rates.pop()), "one a price ratio"),
        ("prices", |d| d.prices[1].base = true, "exactly one"),
        ("prices[1].price_ratio", |d| d.prices[1].price_ratio = 0.1005, "more than a hundredth apart"),
        ("prices[0].price_ratio", |d| d.prices[0].price_ratio = f64::INFINITY, "at least 0"),
        ("prices[1].price_ratio_unit", |d| d.prices[1].price_ratio_unit = "kg/kg".to_owned(), "one unit"),
        ("stages", |d| d.stages.last = stage("Zadoks 31"), "one scale"),
        ("stages", |d| d.stages.last = stage("Feekes 4"), "not after the last"),
        ("inputs[0].sha256", |d| d.inputs[0].sha256.push('0'), "64 lower-case"),
        ("site_years", |d| d.site_years.clear(), "at least one site-year"),
        ("rate_unit", |d| d.rate_unit.clear(), "must be given"),
        ("rows[4].rates[0]", |d| d.settings.rate.smallest = 45.0, "smallest worth a pass"),
        ("settings.rate.smallest", |d| d.settings.rate.smallest = 121.0, "between 0 and the highest, 120"),
        ("settings.level", |d| d.settings.level = 1.0, "between 0 and 1"),
        ("settings.new_site_years", |d| d.settings.new_site_years = f64::NAN, "between 0 and 1"),
        ("verdict.flat_rule", |d| d.verdict.as_mut().unwrap().flat_rule = f64::INFINITY, "is a number"),
        (
            "evidence.trials[0].groups[0].yields",
            |d| d.evidence.as_mut().unwrap().trials[0].groups[0].yields.clear(),
            "one is needed for each rate",
        ),
        ("settings.rate.round_to", |d| d.settings.rate.round_to = 0.0, "above 0"),
        (
            "rows[0].rates[0].interval",
            |d| d.rows[0].rates[0].interval.as_mut().unwrap().interval.low = None,
            "its segments",
        ),
        ("the table", |d| d.relations[0].sigma = Some(f64::NAN), "finite"),
    ];
    for (place, change, expected) in cases {
        let mut document = leaf();
        change(&mut document);
        match RateTable::new(document) {
            Err(TableError::Invalid { place: found, expected: said, .. }) => {
                assert_eq!(found, place);
                assert!(said.contains(expected), "{said}");
            }
            other => panic!("{place}: {other:?}"),
        }
    }
}

#[test]
fn written_tables_satisfy_the_schema_and_changed_ones_do_not() {
    let schema: Value = serde_json::from_str(&RateTable::json_schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let document: Value = serde_json::from_str(&base().write()).unwrap();
    assert!(validator.is_valid(&document));
    assert!(validator.is_valid(&serde_json::from_str(&canopy().write()).unwrap()));
    let changes: [fn(&mut Value); 9] = [
        |d| d["schema"] = "stook/table/1".into(),
        |d| d["digest"] = "short".into(),
        |d| d["instrument"] = "eye".into(),
        |d| d["rows"] = Value::Array(vec![]),
        |d| d["rows"][0]["index_from"] = "0.70".into(),
        |d| d["rows"][0]["rates"][0]["rate"] = "much".into(),
        |d| d["rows"][0]["colour"] = "green".into(),
        |d| d["site_years"] = Value::Array(vec![]),
        |d| drop(d.as_object_mut().unwrap().remove("cautions")),
    ];
    for (i, change) in changes.iter().enumerate() {
        let mut changed = document.clone();
        change(&mut changed);
        assert!(!validator.is_valid(&changed), "change {i}");
    }
}

#[test]
fn the_csv_has_one_line_a_row_and_price_and_says_what_it_is() {
    let table = table(|document| {
        document.rows[1].note = Some("thin, \"patchy\"\nstand".to_owned());
        document.title = "Larkwater\nvalley".to_owned();
    });
    let text = table.to_csv();
    insta::assert_snapshot!(text.lines().take(36).collect::<Vec<_>>().join("\n"));
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let headers = reader.headers().unwrap().clone();
    let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(records.len(), 12);
    let field = |record: usize, name: &str| {
        let column = headers.iter().position(|header| header == name).unwrap();
        records[record].get(column).unwrap().to_owned()
    };
    assert_eq!(
        (field(0, "index_from"), field(0, "rate"), field(0, "rate_unit")),
        ("0.700".into(), "120".into(), "lb/ac".into())
    );
    assert_eq!((field(11, "rate"), field(11, "index_below_included")), (String::new(), "yes".into()));
    assert_eq!(field(2, "row_note"), "thin, \"patchy\" stand");
}

fn documents() -> impl Strategy<Value = Document> {
    let steps = prop::collection::vec(0u32..5, 1..12);
    (steps, 300u32..900, 5u32..90, any::<bool>(), any::<bool>(), ".{0,12}").prop_map(
        |(drops, lowest, step, nearest, ragged, note)| {
            let mut document = leaf();
            let mut rate = 120.0;
            document.prices.truncate(1);
            document.rows.clear();
            for (i, drop) in drops.iter().enumerate() {
                let from = lowest + step * i as u32;
                rate = (rate - 5.0 * f64::from(*drop)).max(0.0);
                document.rows.push(Row {
                    index_from: from,
                    index_below: from + step,
                    rates: vec![RowRate {
                        rate: Some(rate),
                        interval: Some(interval(rate / 3.0, 0.1)),
                        new_site_years: None,
                    }],
                    support: Support { site_years: *drop, points: 1, plots: 4 },
                    note: Some(note.clone()),
                });
            }
            if ragged && let Some(last) = document.rows.last_mut() {
                last.index_below -= step / 2;
            }
            let highest = document.rows.last().map_or(0, |row| row.index_below);
            document.settings.index = IndexRows { lowest, highest, step };
            document.usable.index_up_to = highest.max(1200);
            document.settings.outside = if nearest { Outside::NearestRow } else { Outside::NoRate };
            document
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_consistent_document_reads_back_to_itself_and_satisfies_the_schema(document in documents()) {
        let table = RateTable::new(document).unwrap();
        let schema: Value = serde_json::from_str(&RateTable::json_schema()).unwrap();
        let json: Value = serde_json::from_str(&table.write()).unwrap();
        prop_assert!(jsonschema::is_valid(&schema, &json));
        let again = RateTable::read(&table.write()).unwrap();
        prop_assert_eq!(again.write(), table.write());
        prop_assert_eq!(again, table);
    }

    #[test]
    fn any_reading_gets_the_independent_calculators_answer(
        document in documents(),
        readings in prop::collection::vec((0u32..1200, 1u32..1200), 1..20),
    ) {
        let table = RateTable::new(document).unwrap();
        let json: Value = serde_json::from_str(&table.write()).unwrap();
        for (reading, reference) in readings {
            let typed = |tenths: u32| format!("{}.{}", tenths / 10, tenths % 10);
            let found = ask(&table, &typed(reading), &typed(reference));
            let (index, rate, status, nearest) = calculator::look_up(&json, &typed(reading), &typed(reference), None);
            prop_assert_eq!(found.index.map(|index| format!("{index:.3}")).unwrap_or_default(), index);
            prop_assert_eq!(found.rate.map(|rate| rate.to_string()).unwrap_or_default(), rate);
            prop_assert_eq!(found.status.name(), status);
            prop_assert_eq!(found.nearest_row_used, nearest);
        }
    }

    #[test]
    fn a_higher_reading_never_needs_more(document in documents(), a in 1u32..2000, b in 1u32..2000) {
        let table = RateTable::new(document).unwrap();
        let rate = |tenths: u32| table.lookup_numbers(f64::from(tenths) / 10.0, 58.0, &Asked::default()).rate;
        if let (Some(lower), Some(higher)) = (rate(a.min(b)), rate(a.max(b))) {
            prop_assert!(lower >= higher);
        }
    }

    #[test]
    fn one_changed_byte_is_refused_or_means_the_same(position in 0usize..10_000, byte in 0x20u8..0x7f) {
        let text = base().write();
        let mut bytes = text.clone().into_bytes();
        let at = position % bytes.len();
        bytes[at] = byte;
        if let Ok(changed) = String::from_utf8(bytes)
            && let Ok(read) = RateTable::read(&changed)
        {
            prop_assert_eq!(read.write(), text);
        }
    }

    #[test]
    fn any_text_at_all_is_a_table_or_an_error(text in ".*", reading in ".*", reference in ".*") {
        let _ = RateTable::read(&text);
        let _ = ask(&base(), &reading, &reference);
    }
}

/// A table that the version before wrote.
const VERSION_1: &str = include_str!("../../tests/documents/leaf-jointing.version-1.json");

#[test]
fn a_table_of_version_1_is_looked_up_in_as_it_was_and_says_what_it_lacks() {
    let table = RateTable::read(VERSION_1).unwrap();
    let old: Value = serde_json::from_str(VERSION_1).unwrap();
    assert_eq!(table.converted_from(), Some("stook/table/1"));
    // Its digest stays the one that it was published under.
    assert_eq!(Some(table.digest()), old["digest"].as_str());
    for (row, old) in table.document().rows.iter().zip(old["rows"].as_array().unwrap()) {
        let rates: Vec<Value> = row.rates.iter().map(|rate| rate.rate.into()).collect();
        let old_rates: Vec<Value> = old["rates"].as_array().unwrap().iter().map(|rate| rate["rate"].clone()).collect();
        assert_eq!(rates, old_rates);
    }
    let found = ask(&table, "51", "55");
    assert_eq!(
        (found.index, found.status, Some(&*found.table_digest)),
        (Some(0.927), Status::InDomain, old["digest"].as_str())
    );
    let document = table.document();
    assert!(document.evidence.is_none() && document.verdict.is_none());
    assert!(document.warnings.iter().any(|warning| warning.text.contains("can't be repriced")));
    assert_eq!((document.settings.relation_taken.as_str(), document.settings.replicates), ("linear-with-floor", 2_000));
    // Written again it is a table of today, with its own digest.
    let again = RateTable::read(&table.write()).unwrap();
    assert_eq!((again.converted_from(), again.document()), (None, document));
}

#[test]
fn an_edited_table_of_version_1_is_refused_like_one_of_today() {
    let edited = VERSION_1.replacen("\"rate\": 120.0", "\"rate\": 115.0", 1);
    assert!(edited != VERSION_1);
    assert!(matches!(RateTable::read(&edited), Err(TableError::Edited { .. })));
    let more = VERSION_1.replacen("\"round_to\"", "\"smallest\": 0.0,\n    \"round_to\"", 1);
    assert!(RateTable::read(&more).unwrap_err().to_string().contains("unknown field"));
    let cut = VERSION_1.get(..VERSION_1.len() / 2).unwrap();
    assert!(matches!(RateTable::read(cut), Err(TableError::Truncated { .. })));
}

#[test]
fn a_verdict_is_one_line() {
    let verdict = leaf().verdict.unwrap();
    assert_eq!(
        verdict.in_words(),
        "cannot tell yet: in 2 site-years, each held out in turn, the sensor rule gave up 9.25 USD/ac and the best rule without a sensor \
         (one total for all, minus the N already on) 11.5 USD/ac against the best rate in hindsight"
    );
}
