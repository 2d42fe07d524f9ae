//! Long CSV: one header, one record a line, an empty field where there is nothing.

/// A CSV text under construction.
#[derive(Debug)]
pub(super) struct Long {
    writer: csv::Writer<Vec<u8>>,
}

impl Long {
    /// With its header.
    pub(super) fn new<'a>(header: impl IntoIterator<Item = &'a str>) -> Self {
        let writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        let mut long = Self { writer };
        long.write(header);
        long
    }

    /// Adds a record.
    pub(super) fn row(&mut self, fields: impl IntoIterator<Item = String>) {
        self.write(fields);
    }

    fn write<T: AsRef<[u8]>>(&mut self, fields: impl IntoIterator<Item = T>) {
        // Writing to memory does not fail.
        let _ = self.writer.write_record(fields);
    }

    /// The text.
    pub(super) fn finish(self) -> String {
        // Writing to memory does not fail, and every field was text.
        self.writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
    }
}

/// A number as a field, minus zero as zero: the shortest decimal that reads back to it; empty where there is none or it is not finite.
pub(super) fn number(value: impl Into<Option<f64>>) -> String {
    value.into().filter(|value| value.is_finite()).map_or_else(String::new, |value| (value + 0.0).to_string())
}

/// A text as a field; empty where there is none.
pub(super) fn text(value: Option<&str>) -> String {
    value.unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_and_what_is_missing_is_empty() {
        let mut long = Long::new(["trial", "rate"]);
        long.row(["a, b".to_owned(), number(120.0)]);
        long.row(["say \"so\"".to_owned(), number(f64::NAN)]);
        long.row([text(None), number(0.1 + 0.2)]);
        assert_eq!(number(-0.0), "0");
        assert_eq!(long.finish(), "trial,rate\n\"a, b\",120\n\"say \"\"so\"\"\",\n,0.30000000000000004\n");
    }
}
