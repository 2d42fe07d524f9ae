//! What a reader of PDF finds in the file. Poppler's tools (Debian: poppler-utils) are that reader; without them these tests say so and end.

use std::io::Write as _;
use std::process::Command;

use typst_pdf::{PdfStandard, PdfStandards};

use super::{Paper, PdfError, pdf, typeset};
use crate::report::samples::{HOSTILE, bare, long_table, sample, wide_table, with_text};
use crate::report::{Block, Report, Section, Table};

/// What one of poppler's tools says of a file; `None` without that tool.
fn poppler(tool: &str, options: &[&str], bytes: &[u8]) -> Option<String> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    let mut command = Command::new(tool);
    command.args(options).arg(file.path());
    if tool == "pdftotext" {
        command.arg("-");
    }
    match command.output() {
        Ok(output) => {
            assert!(output.status.success(), "{tool}: {}", String::from_utf8_lossy(&output.stderr));
            Some(String::from_utf8_lossy(&output.stdout).into_owned())
        }
        Err(error) => {
            println!("not looked at with {tool}: {error}");
            None
        }
    }
}

fn of_one_section(blocks: Vec<Block>) -> Report {
    let section = Section { name: "one".to_owned(), title: "One".to_owned(), blocks };
    Report { sections: vec![section], ..with_text("words") }
}

/// As many columns as asked, by repeating those of the wide table.
fn widened(columns: usize) -> Table {
    let table = wide_table();
    Table {
        columns: table.columns.iter().cycle().take(columns).cloned().collect(),
        rows: table.rows.iter().map(|row| row.iter().cycle().take(columns).cloned().collect()).collect(),
        ..table
    }
}

#[test]
fn the_same_report_gives_the_same_bytes() {
    for report in [sample(), with_text(&HOSTILE.join(" "))] {
        let first = pdf(&report, Paper::A4).unwrap();
        assert!(first == pdf(&report, Paper::A4).unwrap());
        assert!(first != pdf(&report, Paper::UsLetter).unwrap());
    }
}

#[test]
fn a_reader_opens_it_on_either_paper_tagged_and_with_its_title() {
    for (paper, size) in [(Paper::A4, "(A4)"), (Paper::UsLetter, "(letter)")] {
        let Some(about) = poppler("pdfinfo", &[], &pdf(&sample(), paper).unwrap()) else { return };
        let value = |name: &str| {
            let line = about.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':')).unwrap_or_default();
            line.trim().to_owned()
        };
        assert_eq!(value("Title"), "Larkwater valley winter wheat");
        assert_eq!(value("Tagged"), "yes");
        assert!(value("Page size").ends_with(size), "{about}");
        assert!((5..=8).contains(&value("Pages").parse::<u32>().unwrap()), "{about}");
        assert!(value("CreationDate").is_empty(), "{about}");
    }
}

#[test]
fn every_font_is_embedded_and_is_ours() {
    for report in [sample(), with_text(&HOSTILE.join(" "))] {
        let Some(table) = poppler("pdffonts", &[], &pdf(&report, Paper::A4).unwrap()) else { return };
        let fonts: Vec<&str> = table.lines().skip(2).collect();
        assert!(!fonts.is_empty());
        for font in fonts {
            // From the right: object, generation, unicode map, subset, embedded.
            let embedded = font.split_whitespace().rev().nth(4);
            assert!(embedded == Some("yes") && font.contains("+Inter-"), "{font}");
        }
    }
}

#[test]
fn its_text_holds_the_tables_row_by_row_and_the_heads_on_every_page() {
    let Some(text) = poppler("pdftotext", &["-layout"], &pdf(&sample(), Paper::A4).unwrap()) else { return };
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split_whitespace().collect()).collect();
    let has = |row: &str| rows.iter().any(|words| *words == row.split(' ').collect::<Vec<_>>());
    assert!(has("0.75 to 0.80 95 78 to 112 5"), "{text}");
    assert!(has("0.70 to 0.75 not rated 0"), "{text}");
    assert!(
        has(
            "Osier Bend 2025 randomised complete block 24 79.4 6.2 0.0024 linear-plateau 111 99 82 130 413.37 0.85 0.41"
        ),
        "{text}"
    );
    // A digest stays whole where it fits, to be copied.
    assert!(has("programme.toml 60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752"), "{text}");
    let pages: Vec<&str> = text.trim_end_matches('\u{c}').split('\u{c}').collect();
    let with_plots: Vec<&&str> = pages.iter().filter(|page| page.contains("Pale Heron")).collect();
    assert!(with_plots.len() >= 2, "60 plots take more than a page");
    assert!(with_plots.iter().all(|page| page.contains("Variety")), "{text}");
    for (number, page) in pages.iter().enumerate() {
        assert!(page.contains(&format!("{} of {}", number + 1, pages.len())), "{page}");
        // The title once a page: on the first as such, then as running head.
        assert_eq!(page.matches("Larkwater valley winter wheat").count(), 1, "{page}");
    }
    assert!(pages[0].contains("Cautions") && !pages[0].contains("Contents"), "the first page is the summary");
    assert!(pages[1].contains("Contents"));
    // The drawings' own texts are text.
    assert!(text.contains("EONR 91 lb/ac (78 to 109)"));
}

#[test]
fn no_text_is_read_as_markup() {
    for said in HOSTILE {
        let bytes = pdf(&with_text(said), Paper::A4).unwrap_or_else(|error| panic!("{said:?}: {error}"));
        if said.contains('#') || said.contains('<') || said.contains('*') {
            let Some(text) = poppler("pdftotext", &["-raw"], &bytes) else { return };
            let joined = |words: &str| words.split_whitespace().collect::<String>();
            let (text, said) = (joined(&text), joined(said));
            assert!(text.matches(&said).count() >= 8, "{said}: {text}");
        }
    }
}

#[test]
fn nothing_sticks_out_of_the_page() {
    let breakless = "0123456789abcdef".repeat(40);
    let reports = [
        sample(),
        with_text(&breakless),
        with_text(&HOSTILE.join(" ")),
        of_one_section(vec![Block::Table(widened(40)), Block::Table(long_table(200))]),
    ];
    for report in reports {
        for paper in [Paper::A4, Paper::UsLetter] {
            let Some(boxes) = poppler("pdftotext", &["-bbox"], &pdf(&report, paper).unwrap()) else { return };
            let number = |line: &str, name: &str| -> f64 {
                let value = line.split(&format!("{name}=\"")).nth(1).and_then(|rest| rest.split('"').next());
                value.unwrap().parse().unwrap()
            };
            let (mut width, mut height, mut words) = (0.0, 0.0, 0);
            for line in boxes.lines().map(str::trim) {
                if line.starts_with("<page") {
                    (width, height) = (number(line, "width"), number(line, "height"));
                } else if line.starts_with("<word") {
                    words += 1;
                    // A margin of 17 mm is 48 points; a wide mark at the end of a line may reach into it.
                    let sides = [number(line, "xMin"), width - number(line, "xMax")];
                    let ends = [number(line, "yMin"), height - number(line, "yMax")];
                    assert!(sides.iter().all(|side| *side > 44.0) && ends.iter().all(|end| *end > 20.0), "{line}");
                }
            }
            assert!(words > 50);
        }
    }
}

#[test]
fn a_table_wider_than_a_page_is_shown_in_parts_with_all_its_columns() {
    let report = of_one_section(vec![Block::Table(widened(40))]);
    let Some(text) = poppler("pdftotext", &["-layout"], &pdf(&report, Paper::A4).unwrap()) else { return };
    // The net return is in two of three repeats; the first column stands before every part.
    assert_eq!(text.matches("412.37").count(), 3, "{text}");
    assert!(text.matches("Osier Bend 2025").count() >= 4, "{text}");
    assert_eq!(text.matches("Table 1.").count(), 1, "{text}");
}

#[test]
fn it_keeps_to_the_standard_of_accessible_documents() {
    let standards = PdfStandards::new(&[PdfStandard::Ua_1]).unwrap();
    typeset(&sample(), Paper::A4, standards).unwrap();
}

#[test]
fn reports_without_anything_in_them_are_documents_too() {
    for report in bare() {
        let bytes = pdf(&report, Paper::UsLetter).unwrap();
        assert!(bytes.starts_with(b"%PDF-"));
    }
}

#[test]
fn a_drawing_that_is_none_is_an_error() {
    let mut report = sample();
    for block in report.sections.iter_mut().flat_map(|section| &mut section.blocks) {
        if let Block::Figure(figure) = block {
            figure.svg = "words".to_owned();
        }
    }
    assert!(matches!(pdf(&report, Paper::A4), Err(PdfError::Typesetting(why)) if why.contains("SVG")));
}
