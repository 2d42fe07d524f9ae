//! Lines of a descriptor with what the reader must know beside them.

use super::role::Confidence;

/// The text of a descriptor under construction.
#[derive(Debug, Default)]
pub(super) struct Lines {
    text: String,
    /// What a user must fill in or choose, in the words of the comment.
    pub(super) to_fill_in: Vec<String>,
}

impl Lines {
    /// A line as it is.
    pub(super) fn line(&mut self, line: &str) {
        self.text += line;
        self.text.push('\n');
    }

    /// A comment of its own, broken to lines of a readable width.
    pub(super) fn comment(&mut self, text: &str) {
        let mut line = String::from("#");
        for word in text.split_whitespace() {
            if line.chars().count() + word.chars().count() > 110 {
                self.line(&line);
                line = String::from("#");
            }
            line.push(' ');
            line += word;
        }
        self.line(&line);
    }

    /// `key = value`: plain where it is sure, with the reason where it is likely, as a comment to choose from where it is not.
    pub(super) fn key(&mut self, key: &str, value: &str, confidence: Confidence, why: &str) {
        let why = why.replace(char::is_control, " ");
        match confidence {
            Confidence::Sure => self.line(&format!("{key} = {value}")),
            Confidence::Likely => self.line(&format!("{key} = {value}    # likely: {why}")),
            Confidence::Unsure => {
                self.line(&format!("# {key} = {value}    # choose: {why}"));
                let what = format!("{key}: {why}");
                if !self.to_fill_in.contains(&what) {
                    self.to_fill_in.push(what);
                }
            }
        }
    }

    /// `key = …` that only the user knows; `what` says in which shape, `of` whose it is.
    pub(super) fn ask(&mut self, key: &str, shape: &str, what: &str, of: &str) {
        self.line(&format!("# {key} = {shape}    # fill in: {what}"));
        self.to_fill_in.push(if of.is_empty() { format!("{key}: {what}") } else { format!("{key} of {of}: {what}") });
    }

    /// The text.
    pub(super) fn finish(self) -> (String, Vec<String>) {
        (self.text, self.to_fill_in)
    }
}

/// A text as TOML writes it.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// Texts as a list, or the one alone.
pub(super) fn list_or_one(texts: &[&str]) -> String {
    match texts {
        [one] => quoted(one),
        several => format!("[{}]", several.iter().map(|text| quoted(text)).collect::<Vec<_>>().join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_plain_explained_or_left_to_the_user() {
        let mut lines = Lines::default();
        lines.key("block", "\"rep\"", Confidence::Sure, "x");
        lines.key("variety", "\"gen\"", Confidence::Likely, "its levels repeat");
        lines.key("design", "\"split-plot\"", Confidence::Unsure, "or another");
        lines.ask("date", "YYYY-MM-DD", "the day it went on", "topdress");
        let (text, to_fill_in) = lines.finish();
        assert_eq!(
            text,
            "block = \"rep\"\nvariety = \"gen\"    # likely: its levels repeat\n# design = \"split-plot\"    # choose: or another\n\
             # date = YYYY-MM-DD    # fill in: the day it went on\n"
        );
        assert_eq!(to_fill_in, ["design: or another", "date of topdress: the day it went on"]);
    }

    #[test]
    fn any_text_is_quoted_so_that_it_reads_back() {
        for text in ["plain", "say \"so\"", "a\\b", "two\nlines", "ähre"] {
            let read: toml::Table = toml::from_str(&format!("x = {}", quoted(text))).unwrap();
            assert_eq!(read["x"].as_str(), Some(text));
        }
    }
}
