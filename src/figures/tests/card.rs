//! The card of a rate table: everything on it, nothing over another, all of it inside the margins of A4 and US Letter.

use super::svg_reader::{Page, read};
use crate::figures::card_words::CardWords;
use crate::figures::pdf;
use crate::figures::typeface::Typeface;
use crate::figures::{DecimalMark, FigureError, card, render_card};
use crate::rate_table::fixture::{canopy, leaf, table};
use crate::rate_table::{Document, IndexRows, Money, Price, RateTable, Row};
use crate::trial::Outside;
use flate2::read::ZlibDecoder;
use std::io::Read as _;

const MARGIN: f64 = 15.0;
const ROUNDING: f64 = 0.01;

/// So many rows of the same height, and so many price ratios beside the base.
fn with_rows(count: u32, prices: usize) -> Document {
    let mut document = leaf();
    let template = document.rows[0].clone();
    document.settings.index = IndexRows { lowest: 400, highest: 400 + 10 * count, step: 10 };
    document.usable.index_up_to = document.settings.index.highest.max(1200);
    let price = |position: usize| Price {
        price_ratio: 0.05 * (position + 1) as f64,
        price_ratio_unit: "bu/lb".to_owned(),
        base: position == 0,
        money: None,
    };
    document.prices = (0..=prices).map(price).collect();
    let row = |position: u32| Row {
        index_from: 400 + 10 * position,
        index_below: 410 + 10 * position,
        rates: vec![template.rates[0].clone(); prices + 1],
        ..template.clone()
    };
    document.rows = (0..count).map(row).collect();
    document
}

fn tables() -> Vec<(&'static str, RateTable)> {
    let long = |document: &mut Document| {
        document.title =
            "Larkwater valley winter wheat after field pea, reduced tillage, third year of the comparison ".repeat(2);
        document.varieties = (0..60).map(|number| format!("Variety of the long list {number}")).collect();
        let one = document.site_years[0].clone();
        document.site_years =
            (0..80).map(|year| crate::rate_table::SiteYear { harvest_year: 1940 + year, ..one.clone() }).collect();
        document.settings.rate.smallest = 5.0;
        document.settings.outside = Outside::NearestRow;
        document.prices[0].money = Some(Money {
            crop: 6.0,
            crop_unit: "USD per bu".to_owned(),
            nitrogen: 0.608_695_652,
            nitrogen_unit: "USD per lb N".to_owned(),
        });
    };
    let bare = |document: &mut Document| {
        document.verdict = None;
        document.prices.truncate(1);
        document.varieties.clear();
        for row in &mut document.rows {
            row.rates.truncate(1);
            (row.rates[0].interval, row.rates[0].new_site_years) = (None, None);
        }
    };
    vec![
        ("leaf", table(|_| {})),
        ("canopy", canopy()),
        ("long", table(long)),
        ("bare", table(bare)),
        ("one row", RateTable::new(with_rows(1, 0)).unwrap()),
        ("thirty rows", RateTable::new(with_rows(30, 3)).unwrap()),
        ("many prices", RateTable::new(with_rows(12, 9)).unwrap()),
    ]
}

fn pages() -> Vec<(&'static str, Page)> {
    tables().into_iter().map(|(name, table)| (name, read(&render_card(&table).unwrap().svg))).collect()
}

#[test]
fn nothing_on_a_card_overlaps_leaves_the_margins_or_is_too_small_to_read() {
    for (name, page) in pages() {
        // As wide as A4, as high as US Letter.
        assert_eq!((page.width, page.height), (210.0, 279.4), "{name}");
        for (i, a) in page.texts.iter().enumerate() {
            for b in page.texts.iter().skip(i + 1) {
                let apart = a.right <= b.left + ROUNDING
                    || b.right <= a.left + ROUNDING
                    || a.bottom <= b.top + ROUNDING
                    || b.bottom <= a.top + ROUNDING;
                assert!(apart, "{name}: “{}” and “{}” overlap: {a:?} {b:?}", a.content, b.content);
            }
            let inside = a.left >= MARGIN - ROUNDING
                && a.right <= page.width - MARGIN + ROUNDING
                && a.top >= MARGIN - 1.0
                && a.y <= page.height - MARGIN + ROUNDING;
            assert!(inside, "{name}: “{}” is in the margin: {a:?}", a.content);
            assert!(a.points > 6.99, "{name}: “{}” is set in {} pt", a.content, a.points);
        }
    }
}

#[test]
fn a_card_says_all_that_must_be_known_beside_a_field() {
    for (name, page) in pages() {
        let said: Vec<&str> = page.texts.iter().map(|text| text.content.as_str()).collect();
        let said = said.join(" ");
        for words in [
            "Topdress N rates for wheat",
            "Feekes 5 to Feekes 6",
            "Keep a strip of the same variety",
            "mean reading of the stand ÷ mean reading of the reference",
            "Local nutrient-management law and plans come first",
            "reasons other than nitrogen",
            "Calibrated on",
            "Example: ",
            "digest",
        ] {
            assert!(said.contains(words), "{name}: {words}: {said}");
        }
    }
}

#[test]
fn the_rates_of_a_card_are_those_of_its_table_and_a_row_ends_below_the_next() {
    let document = table(|_| {});
    let words = CardWords::of(&document);
    let rows: Vec<(&str, &str, &str)> =
        words.rows.iter().map(|row| (row.index.as_str(), row.rate.as_str(), row.new_site_years.as_str())).collect();
    assert_eq!(rows[0], ("0.700 to 0.749", "120", "90 to 152"));
    assert_eq!(rows[4], ("0.900 to 0.949", "20", "0 to 52"));
    // The last row holds its end.
    assert_eq!(rows[5], ("0.950 to 1.000", "0", "0 to 32"));
    assert_eq!(words.rows[5].other_prices, ["\u{2013}"]);
    let example = words.steps.iter().find(|step| step.contains("Example")).unwrap();
    // 0.875 is the middle of the fourth row of six: 48.125 ÷ 55, typed with one decimal.
    assert!(example.contains("48.1 \u{f7} 55.0 = 0.875, which lies in 0.850 to 0.899: 45 lb/ac"), "{example}");
    assert!(words.steps.iter().any(|step| step.contains("below 0.700 or above 1.000, this card gives no rate")));
    let nearest = CardWords::of(&canopy());
    assert!(nearest.steps.iter().any(|step| step.contains("below 0.800 or above 1.000, take the nearest row")));
    assert_eq!(nearest.rows[0].rate, "no rate");
}

#[test]
fn a_table_of_more_rows_than_a_page_holds_has_no_card_and_says_so() {
    let table = RateTable::new(with_rows(90, 1)).unwrap();
    assert_eq!(render_card(&table), Err(FigureError::PageTooSmall { rows: 90 }));
}

#[test]
fn the_pdf_holds_the_same_texts_in_the_embedded_font_and_the_same_bytes_each_time() {
    let typeface = Typeface::load(DecimalMark::Point).unwrap();
    let table = table(|_| {});
    let bytes = render_card(&table).unwrap().pdf;
    assert_eq!(bytes, render_card(&table).unwrap().pdf);
    let scene = card::lay_out(&CardWords::of(&table), &typeface).unwrap();
    assert_eq!(pdf::write(&scene, "a", &typeface).unwrap(), pdf::write(&scene, "a", &typeface).unwrap());
    let marks = String::from_utf8_lossy(&bytes).into_owned();
    assert!(marks.starts_with("%PDF-1.7") && marks.trim_end().ends_with("%%EOF"));
    for part in ["/FontFile2", "/Identity-H", "/ToUnicode", "/MediaBox [0 0 595.27", "/Count 1"] {
        assert!(marks.contains(part), "{part}");
    }
    assert!(!marks.contains("/CreationDate"));
    let streams = streams(&bytes);
    let page = streams.iter().find(|stream| stream.windows(3).any(|three| three == b"BT\n")).unwrap();
    let page = String::from_utf8_lossy(page).into_owned();
    assert_eq!(page.matches("BT\n").count(), scene.texts.len());
    assert!(streams.iter().any(|stream| stream.starts_with(&[0, 1, 0, 0])), "the font's file");
}

/// Every compressed stream, opened.
fn streams(bytes: &[u8]) -> Vec<Vec<u8>> {
    let find = |from: usize, what: &[u8]| {
        bytes[from..].windows(what.len()).position(|window| window == what).map(|found| from + found)
    };
    let (mut at, mut streams) = (0, Vec::new());
    while let Some(begins) = find(at, b"stream\n") {
        let ends = find(begins, b"endstream").unwrap();
        let mut opened = Vec::new();
        if ZlibDecoder::new(&bytes[begins + 7..ends]).read_to_end(&mut opened).is_ok() {
            streams.push(opened);
        }
        at = ends + 9;
    }
    streams
}
