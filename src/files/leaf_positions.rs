//! Where on the plant leaves sat: a text a reading, kept as a number.

use std::collections::HashMap;
use std::num::NonZeroU8;

use super::table::Column;
use crate::finding::Finding;

/// Nobody tells more positions apart: past this the column holds something else.
const MOST: usize = 100;

/// A column of positions, and the number of each text in it.
pub(super) struct Positions<'t> {
    pub(super) column: Column<'t>,
    numbers: HashMap<&'t str, NonZeroU8>,
}

impl<'t> Positions<'t> {
    /// The positions of a column; those not `known` yet are added to it, in the order they first stand in the file, and numbers count from
    /// 1 in it. Looked through before the readings are, so that numbers do not hang on which thread comes first.
    pub(super) fn of(column: Column<'t>, known: &mut Vec<String>, findings: &mut Vec<Finding>) -> Option<Self> {
        let mut numbers: HashMap<&'t str, NonZeroU8> = HashMap::new();
        for cell in column.cells() {
            if numbers.contains_key(cell.text) || cell.is_missing() {
                continue;
            }
            let position = known.iter().position(|text| text == cell.text).unwrap_or_else(|| {
                known.push(cell.text.to_owned());
                known.len() - 1
            });
            if known.len() > MOST {
                let text = format!("the column holds more than {MOST} different leaf positions");
                let remedy = "name the column that tells where on the plant a leaf sat, such as upper or lower; leaf = … numbers the leaves";
                findings.push(cell.error("leaf-positions", text).remedy(remedy));
                return None;
            }
            let number = u8::try_from(position + 1).ok().and_then(NonZeroU8::new)?;
            numbers.insert(cell.text, number);
        }
        Some(Self { column, numbers })
    }

    /// The number of a text; `None` where it is missing.
    pub(super) fn position(&self, text: &str) -> Option<NonZeroU8> {
        self.numbers.get(text).copied()
    }
}
