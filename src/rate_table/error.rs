use thiserror::Error;

/// Why there is no rate table.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TableError {
    /// The text stops before the document does.
    #[error("the table ends early, at line {line}: the file was cut off; use a whole copy")]
    Truncated {
        /// Line at which the text ends, from 1.
        line: usize,
    },
    /// The text is not a document of this form.
    #[error("line {line}, column {column}: {what}")]
    Unreadable {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What was found and what was expected.
        what: String,
    },
    /// A document, but of another kind or version.
    #[error("this is {found}; a rate table says \"schema\": \"{}\"", super::SCHEMA)]
    OtherSchema {
        /// What the document says it is.
        found: String,
    },
    /// A rate table of a version that is not known.
    #[error(
        "this is \"{found}\", of a version that stook {} does not know (it reads stook/table/1 and {}): take the stook that made it, \
         or a newer one", env!("CARGO_PKG_VERSION"), super::SCHEMA
    )]
    OtherVersion {
        /// What the document says it is.
        found: String,
    },
    /// The contents are not those that the digest was taken of.
    #[error(
        "the table was edited after it was made: its digest is \"{written}\", its contents give \"{computed}\"; \
         use the file as published, or derive the table again"
    )]
    Edited {
        /// The digest in the document.
        written: String,
        /// The digest of the document's contents.
        computed: String,
    },
    /// A document whose parts contradict each other.
    #[error("{place} is {found}: {expected}")]
    Invalid {
        /// Where, as a path of field names; positions from 0.
        place: String,
        /// What stands there.
        found: String,
        /// What would be right.
        expected: String,
    },
}
