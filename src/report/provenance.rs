//! Provenance: what a reader needs to make the same report again.

use super::content::{Block, Section};
use super::draft::{Draft, word};
use super::material::{Material, paragraph, section};
use crate::figures::{DecimalMark, UnitForm, UnitSystem};
use crate::output::provenance_of;

pub(super) fn provenance(material: &Material<'_>) -> Section {
    let provenance = provenance_of(material.season);
    let options = material.wording.options();
    let shown = [
        (
            "units shown",
            match options.units {
                UnitSystem::Programme => "the programme's",
                UnitSystem::UnitedStates => "US",
                UnitSystem::International => "SI",
            },
        ),
        (
            "unit form",
            match options.unit_form {
                UnitForm::Slash => "slash",
                UnitForm::Exponent => "exponent",
            },
        ),
        (
            "decimal mark",
            match options.decimal_mark {
                DecimalMark::Point => "point",
                DecimalMark::Comma => "comma",
            },
        ),
    ];
    let mut made = Draft::new("made-with", "What made this report").words("what").words("value");
    made.row([word("program"), word(concat!("stook ", env!("CARGO_PKG_VERSION")))]);
    made.row([word("seed"), word(&material.season.options.seed.to_string())]);
    made.row([word("intervals"), word(material.season.options.interval.name())]);
    for (name, value) in &provenance.options {
        let value = match value {
            serde_json::Value::Null => continue,
            serde_json::Value::String(text) => text.clone(),
            other => material.set(&other.to_string()),
        };
        made.row([word(&name.replace('_', " ")), word(&value)]);
    }
    for (name, value) in shown {
        made.row([word(name), word(value)]);
    }
    let mut inputs = Draft::new("inputs", "Files read").words("file").words("SHA-256");
    for input in provenance.inputs.iter().chain(material.changes.iter().map(|(_, file)| file)) {
        inputs.row([word(&input.file), word(&input.sha256)]);
    }
    let text = "The same files, options and seed give the same report, byte for byte, whatever the number of threads.";
    let blocks = [paragraph(text), made.block(), inputs.block()];
    section("provenance", "Provenance", blocks.into_iter().flatten().collect::<Vec<Block>>())
}
