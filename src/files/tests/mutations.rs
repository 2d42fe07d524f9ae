//! No input makes the reader panic.

use std::fs;

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

use super::{valid, written};
use crate::files::{ColumnRoles, load_columns, load_programme};

/// What is done to a file: at a place (a share of its length), some bytes are put in the stead of others.
#[derive(Clone, Debug)]
enum Mutation {
    Bytes(f64, Vec<u8>),
    DropLine(f64),
    RepeatLine(f64),
    SwapLines(f64, f64),
    CutOff(f64),
    Word(f64, &'static str),
}

fn mutation() -> impl Strategy<Value = Mutation> {
    let share = 0.0..1.0;
    let words = [
        "\"",
        "[",
        "]",
        "{",
        "}",
        "=",
        ",",
        "\n",
        "[[table]]",
        "1e308",
        "-0",
        "nan",
        "inf",
        "99999999999999999999",
        "9999-12-31",
        "0000-01-01",
        "2024-02-30",
        "\u{feff}",
        "\u{0}",
        "é",
        "''",
        "same",
        "column",
        "-9223372036854775808",
    ];
    prop_oneof![
        (share.clone(), prop::collection::vec(any::<u8>(), 1..4)).prop_map(|(at, bytes)| Mutation::Bytes(at, bytes)),
        share.clone().prop_map(Mutation::DropLine),
        share.clone().prop_map(Mutation::RepeatLine),
        (share.clone(), share.clone()).prop_map(|(a, b)| Mutation::SwapLines(a, b)),
        share.clone().prop_map(Mutation::CutOff),
        (share, prop::sample::select(words.to_vec())).prop_map(|(at, word)| Mutation::Word(at, word)),
    ]
}

fn apply(mutation: &Mutation, bytes: &mut Vec<u8>) {
    let at = |share: f64, length: usize| ((share * length as f64) as usize).min(length.saturating_sub(1));
    let mut lines: Vec<Vec<u8>> = bytes.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
    if bytes.is_empty() || lines.is_empty() {
        return;
    }
    match mutation {
        Mutation::Bytes(share, new) => {
            let start = at(*share, bytes.len());
            let end = (start + new.len()).min(bytes.len());
            bytes.splice(start..end, new.iter().copied());
            return;
        }
        Mutation::Word(share, word) => {
            let start = at(*share, bytes.len());
            bytes.splice(start..start, word.bytes());
            return;
        }
        Mutation::CutOff(share) => {
            bytes.truncate(at(*share, bytes.len()));
            return;
        }
        Mutation::DropLine(share) => {
            lines.remove(at(*share, lines.len()));
        }
        Mutation::RepeatLine(share) => {
            let line = at(*share, lines.len());
            lines.insert(line, lines[line].clone());
        }
        Mutation::SwapLines(a, b) => {
            let (a, b) = (at(*a, lines.len()), at(*b, lines.len()));
            lines.swap(a, b);
        }
    }
    *bytes = lines.concat();
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: Some(Box::new(FileFailurePersistence::Off)),
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_programme_with_any_damage_is_read_or_refused(
        file in 0_usize..7, mutations in prop::collection::vec(mutation(), 1..5),
    ) {
        let mut files: std::collections::BTreeMap<&str, Vec<u8>> =
            valid().into_iter().map(|(path, text)| (path, text.into_bytes())).collect();
        if let Some(bytes) = files.values_mut().nth(file) {
            for mutation in &mutations {
                apply(mutation, bytes);
            }
        }
        let folder = written(&files);
        if let Err(findings) = load_programme(folder.path()) {
            prop_assert!(!findings.is_empty());
            for finding in findings {
                let excerpt = finding.excerpt.clone();
                prop_assert!(excerpt.is_none_or(|it| it.start + it.length <= it.text.len()));
                // What the reader shows must be writable too.
                let shown = format!("{:?}", miette::Report::new(crate::finding::FindingDiagnostic::from(finding)));
                prop_assert!(!shown.is_empty());
            }
        }
    }

    #[test]
    fn a_data_file_with_any_damage_is_read_or_refused(
        header_row in 1_u64..4, mutations in prop::collection::vec(mutation(), 1..5),
    ) {
        let mut bytes = super::UPPER_PLOTS.as_bytes().to_vec();
        for mutation in &mutations {
            apply(mutation, &mut bytes);
        }
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plots.csv");
        fs::write(&path, bytes).unwrap();
        let name = str::to_owned;
        let roles = ColumnRoles { rate: name("urea_lb_ac"), yields: name("yield"), block: Some(name("rep")), by: None, factors: Vec::new(), design: crate::trial::Design::RandomisedCompleteBlock, site_year: None, replicates: None, layout: crate::files::Layout { header_row, ..Default::default() } };
        if let Ok(loaded) = load_columns(&path, &roles) {
            let columns = loaded.value.columns;
            prop_assert_eq!(columns.rates.len(), columns.yields.len());
            prop_assert!(columns.yields.iter().chain(&columns.rates).all(|value| value.is_finite() && *value >= 0.0));
        }
    }
}
