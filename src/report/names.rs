//! Names of sections, tables and figures: kebab-case, and no two alike.

use std::collections::BTreeSet;

use super::content::{Block, Section};

/// Makes names fit for files, sheets and links: letters, digits and hyphens, each once. A name that stands already gets a number.
pub(super) fn settle(sections: &mut [Section]) {
    let mut taken = BTreeSet::new();
    for section in sections {
        section.name = free(&section.name, &mut taken);
        for block in &mut section.blocks {
            match block {
                Block::Table(table) => table.name = free(&table.name, &mut taken),
                Block::Figure(figure) => figure.name = free(&figure.name, &mut taken),
                Block::Heading(_) | Block::Paragraph(_) | Block::List(_) | Block::Cautions(_) => {}
            }
        }
    }
}

fn free(name: &str, taken: &mut BTreeSet<String>) -> String {
    let kebab = kebab(name);
    let mut numbered = (1_u32..).map(|number| if number == 1 { kebab.clone() } else { format!("{kebab}-{number}") });
    // There are fewer names than numbers.
    numbered.find(|name| taken.insert(name.clone())).unwrap_or_default()
}

fn kebab(name: &str) -> String {
    let lower = name.to_lowercase();
    let parts: Vec<&str> =
        lower.split(|letter: char| !letter.is_alphanumeric()).filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "unnamed".to_owned() } else { parts.join("-") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_kebab_case_and_stands_once() {
        let mut taken = BTreeSet::new();
        let names = ["rates-Leaf <b>", "rates-leaf-b", "../etc/passwd", "Früh  2024", "//", ""];
        let settled = names.map(|name| free(name, &mut taken));
        assert_eq!(settled, ["rates-leaf-b", "rates-leaf-b-2", "etc-passwd", "früh-2024", "unnamed", "unnamed-2"]);
    }
}
