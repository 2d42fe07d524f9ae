//! Writing results: whole or not at all.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::envelope::schema_name;
use crate::files::export::ExportError;

/// The file that tells an earlier season.
pub(super) const PROVENANCE: &str = "provenance.json";
/// The command whose provenance it is.
pub(super) const SEASON: &str = "season";

/// A file of a result folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutputFile {
    /// Path within the folder, with forward slashes.
    pub path: String,
    /// Content.
    pub bytes: Vec<u8>,
}

impl OutputFile {
    /// A file of text.
    #[must_use]
    pub fn text(path: impl Into<String>, text: String) -> Self {
        Self { path: path.into(), bytes: text.into_bytes() }
    }
}

/// Why something could not be written. What stood there before still does.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The system refuses.
    #[error("cannot write {what}: {error}")]
    Refused {
        /// File, folder or stream.
        what: String,
        /// The system's reason.
        error: io::Error,
    },
    /// The folder for the file does not exist.
    #[error("cannot write {file}: there is no folder {folder}")]
    NoFolder {
        /// The file.
        file: String,
        /// Its folder.
        folder: String,
    },
    /// A table can't be written in the format.
    #[error("cannot write the table: {0}")]
    NotExported(#[from] ExportError),
    /// The folder holds something else than an earlier season.
    #[error("{folder} is left as it is: {found}; name an empty folder, a new one, or that of an earlier season")]
    NotASeason {
        /// The folder.
        folder: String,
        /// What it holds.
        found: String,
    },
}

impl WriteError {
    /// The system's refusal to write `what`.
    #[must_use]
    pub fn new(what: impl Into<String>, error: io::Error) -> Self {
        Self::Refused { what: what.into(), error }
    }

    fn of(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let what = path.display().to_string();
        |error| Self::Refused { what, error }
    }
}

/// SHA-256 of bytes, in lower-case hexadecimal.
#[must_use]
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Whether two paths lead to one file, by links of either kind too; `false` where either leads nowhere.
#[must_use]
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    let (Ok(first), Ok(second)) = (one.canonicalize(), other.canonicalize()) else { return false };
    first == second || is_hard_link(&first, &second)
}

#[cfg(unix)]
fn is_hard_link(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let identity = |path: &Path| fs::metadata(path).ok().map(|found| (found.dev(), found.ino()));
    identity(one).is_some_and(|found| Some(found) == identity(other))
}

#[cfg(not(unix))]
fn is_hard_link(_: &Path, _: &Path) -> bool {
    false
}

/// Writes a file whole: beside its place first, then moved there. Something that is no plain file, such as a terminal, is written to
/// as it is.
///
/// # Errors
/// [`WriteError`]; what stood there before still does.
pub fn write_file(file: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let folder = parent(file);
    if !folder.is_dir() {
        return Err(WriteError::NoFolder { file: file.display().to_string(), folder: folder.display().to_string() });
    }
    if file.exists() && !file.is_file() {
        return fs::write(file, bytes).map_err(WriteError::of(file));
    }
    let file = &file.canonicalize().unwrap_or_else(|_| file.to_owned());
    let mut draft =
        tempfile::Builder::new().prefix(".stook-").tempfile_in(parent(file)).map_err(WriteError::of(file))?;
    draft.write_all(bytes).map_err(WriteError::of(file))?;
    usual_file_mode(draft.path()).map_err(WriteError::of(file))?;
    draft.persist(file).map_err(|error| WriteError::new(file.display().to_string(), error.error))?;
    Ok(())
}

/// Writes files into a folder, which is made where there is none; each is replaced whole or not at all.
///
/// # Errors
/// [`WriteError`]; the files before the one that failed are written.
pub fn write_into(folder: &Path, files: &[OutputFile]) -> Result<(), WriteError> {
    fs::create_dir_all(folder).map_err(WriteError::of(folder))?;
    files.iter().try_for_each(|file| {
        let path = folder.join(&file.path);
        let within = parent(&path);
        fs::create_dir_all(&within).map_err(WriteError::of(&within))?;
        write_file(&path, &file.bytes)
    })
}

/// Writes a season's folder whole: built beside its place, then moved there. An earlier season is replaced; a folder that holds anything
/// else is refused, and nothing in it is touched.
///
/// Between the two moves the earlier season stands beside its place as `.<name>.earlier`; a run that was interrupted there is repaired
/// by the next one.
///
/// # Errors
/// [`WriteError`]; what stood there before still does.
pub fn write_folder(folder: &Path, files: &[OutputFile]) -> Result<(), WriteError> {
    // Where the folder is a link, what it leads to is replaced, not the link.
    let folder = &folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let beside = parent(folder);
    if !beside.is_dir() {
        let (file, folder) = (folder.display().to_string(), beside.display().to_string());
        return Err(WriteError::NoFolder { file, folder });
    }
    let earlier = beside.join(format!(".{}.earlier", folder.file_name().unwrap_or_default().to_string_lossy()));
    repair(folder, &earlier)?;
    must_be_a_season(folder, folder)?;
    let draft = tempfile::Builder::new().prefix(".stook-").tempdir_in(&beside).map_err(WriteError::of(folder))?;
    fill(draft.path(), files)?;
    if folder.exists() {
        fs::rename(folder, &earlier).map_err(WriteError::of(folder))?;
        // Looked at again where nobody writes any more: a file that came meanwhile is not lost.
        let swapped = must_be_a_season(&earlier, folder)
            .and_then(|()| fs::rename(draft.path(), folder).map_err(WriteError::of(folder)));
        if let Err(error) = swapped {
            fs::rename(&earlier, folder).map_err(WriteError::of(folder))?;
            return Err(error);
        }
        fs::remove_dir_all(&earlier).map_err(WriteError::of(&earlier))?;
    } else {
        fs::rename(draft.path(), folder).map_err(WriteError::of(folder))?;
    }
    // It has moved: there is nothing left to remove.
    let _ = draft.keep();
    Ok(())
}

/// Finishes what an interrupted run left: puts the earlier season back where none stands, removes it where the new one does.
fn repair(folder: &Path, earlier: &Path) -> Result<(), WriteError> {
    if !earlier.exists() {
        return Ok(());
    }
    if !folder.exists() {
        return fs::rename(earlier, folder).map_err(WriteError::of(folder));
    }
    must_be_a_season(earlier, earlier)?;
    fs::remove_dir_all(earlier).map_err(WriteError::of(earlier))
}

/// Whether a folder may be replaced: it is absent, empty, or holds an earlier season as it was written and nothing else. Errors speak of
/// `named`.
fn must_be_a_season(folder: &Path, named: &Path) -> Result<(), WriteError> {
    let refuse = |found: String| WriteError::NotASeason { folder: named.display().to_string(), found };
    if !folder.exists() {
        return Ok(());
    }
    if !folder.is_dir() {
        return Err(refuse("it is a file".to_owned()));
    }
    let mut found = BTreeSet::new();
    list(folder, "", &mut found).map_err(WriteError::of(named))?;
    if found.is_empty() {
        return Ok(());
    }
    let listed = fs::read(folder.join(PROVENANCE)).ok().and_then(|bytes| listed_files(&bytes));
    let Some(listed) = listed else {
        return Err(refuse("it holds something and is no earlier season".to_owned()));
    };
    for path in found.iter().filter(|path| *path != PROVENANCE) {
        let Some(written) = listed.get(path) else {
            return Err(refuse(format!("it holds {path}, which is no part of the earlier season")));
        };
        let bytes = fs::read(folder.join(path)).map_err(WriteError::of(named))?;
        if digest(&bytes) != *written {
            return Err(refuse(format!("its {path} was changed since the earlier season wrote it")));
        }
    }
    Ok(())
}

/// The files that the provenance of a season lists, with their digests; `None` where it is no such document.
fn listed_files(provenance: &[u8]) -> Option<BTreeMap<String, String>> {
    let document: serde_json::Value = serde_json::from_slice(provenance).ok()?;
    if document.get("schema")?.as_str()? != schema_name(SEASON) {
        return None;
    }
    let digests = document.get("digests")?.as_object()?.iter();
    digests.map(|(file, digest)| Some((file.clone(), digest.as_str()?.to_owned()))).collect()
}

/// Every file below a folder by its path with forward slashes, and every folder in it that is empty, with a slash at the end.
fn list(folder: &Path, prefix: &str, found: &mut BTreeSet<String>) -> io::Result<()> {
    let mut entries = fs::read_dir(folder)?.peekable();
    if entries.peek().is_none() && !prefix.is_empty() {
        found.insert(prefix.to_owned());
    }
    for entry in entries {
        let entry = entry?;
        let path = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            list(&entry.path(), &format!("{path}/"), found)?;
        } else {
            found.insert(path);
        }
    }
    Ok(())
}

fn fill(folder: &Path, files: &[OutputFile]) -> Result<(), WriteError> {
    let mut folders = BTreeSet::from([folder.to_owned()]);
    for file in files {
        let path = folder.join(&file.path);
        let within = parent(&path);
        fs::create_dir_all(&within).map_err(WriteError::of(&within))?;
        folders.extend(within.ancestors().take_while(|above| *above != folder).map(Path::to_owned));
        fs::write(&path, &file.bytes).map_err(WriteError::of(&path))?;
        usual_file_mode(&path).map_err(WriteError::of(&path))?;
    }
    folders.iter().try_for_each(|folder| usual_folder_mode(folder).map_err(WriteError::of(folder)))
}

/// The folder that holds a path; the current one for a bare name.
fn parent(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    }
}

#[cfg(unix)]
fn set_mode(path: &Path, mode: u32) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    fs::set_permissions(path, fs::Permissions::from_mode(mode))
}

/// Temporary files are made readable by their owner alone; results are for everybody.
#[cfg(unix)]
fn usual_file_mode(path: &Path) -> io::Result<()> {
    set_mode(path, 0o644)
}

#[cfg(unix)]
fn usual_folder_mode(path: &Path) -> io::Result<()> {
    set_mode(path, 0o755)
}

#[cfg(not(unix))]
fn usual_file_mode(_: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(not(unix))]
fn usual_folder_mode(_: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(summary: &str, further: &[&str]) -> Vec<OutputFile> {
        let mut files = vec![OutputFile::text("summary.txt", summary.to_owned())];
        files.extend(further.iter().map(|path| OutputFile::text(*path, "x".to_owned())));
        let digests: BTreeMap<&str, String> =
            files.iter().map(|file| (file.path.as_str(), digest(&file.bytes))).collect();
        let provenance = serde_json::json!({"schema": schema_name(SEASON), "digests": digests}).to_string();
        files.push(OutputFile::text(PROVENANCE, provenance));
        files
    }

    fn content(folder: &Path) -> Vec<String> {
        let mut found = BTreeSet::new();
        list(folder, "", &mut found).unwrap();
        found.into_iter().collect()
    }

    #[test]
    fn an_earlier_season_is_replaced_whole() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        write_folder(&folder, &files("first", &["data/old.csv"])).unwrap();
        write_folder(&folder, &files("second", &["tables/new.json"])).unwrap();
        assert_eq!(content(&folder), ["provenance.json", "summary.txt", "tables/new.json"]);
        assert_eq!(fs::read_to_string(folder.join("summary.txt")).unwrap(), "second");
        assert_eq!(content(place.path()).len(), 3, "nothing is left beside the folder");
    }

    #[test]
    fn a_foreign_file_among_a_season_is_refused_and_kept() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        write_folder(&folder, &files("first", &[])).unwrap();
        fs::write(folder.join("notes.txt"), "mine").unwrap();
        let error = write_folder(&folder, &files("second", &[])).unwrap_err();
        assert!(error.to_string().contains("notes.txt"), "{error}");
        assert_eq!(content(&folder), ["notes.txt", "provenance.json", "summary.txt"]);
        assert_eq!(fs::read_to_string(folder.join("summary.txt")).unwrap(), "first");
    }

    #[test]
    fn a_changed_file_and_an_empty_folder_are_left_alone() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        write_folder(&folder, &files("first", &["data/a.csv"])).unwrap();
        fs::create_dir(folder.join("photographs")).unwrap();
        let error = write_folder(&folder, &files("second", &[])).unwrap_err();
        assert!(error.to_string().contains("photographs/"), "{error}");
        assert!(folder.join("photographs").is_dir());
        fs::remove_dir(folder.join("photographs")).unwrap();
        fs::write(folder.join("data/a.csv"), "x, and a remark of mine").unwrap();
        let error = write_folder(&folder, &files("second", &[])).unwrap_err();
        assert!(error.to_string().contains("data/a.csv was changed"), "{error}");
        assert_eq!(fs::read_to_string(folder.join("data/a.csv")).unwrap(), "x, and a remark of mine");
    }

    #[test]
    fn a_folder_of_something_else_is_refused_and_an_empty_one_taken() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        fs::create_dir(&folder).unwrap();
        write_folder(&folder, &files("first", &[])).unwrap();
        let other = place.path().join("other");
        fs::create_dir(&other).unwrap();
        fs::write(other.join(PROVENANCE), r#"{"schema": "another/1", "files": []}"#).unwrap();
        assert!(matches!(write_folder(&other, &files("second", &[])), Err(WriteError::NotASeason { .. })));
        assert_eq!(content(&other), [PROVENANCE]);
        let file = place.path().join("file");
        fs::write(&file, "mine").unwrap();
        assert!(matches!(write_folder(&file, &files("second", &[])), Err(WriteError::NotASeason { .. })));
    }

    #[test]
    fn a_run_that_was_interrupted_between_the_moves_is_repaired() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        let earlier = place.path().join(".season.earlier");
        write_folder(&folder, &files("first", &[])).unwrap();
        fs::rename(&folder, &earlier).unwrap();
        write_folder(&folder, &files("second", &[])).unwrap();
        assert_eq!(fs::read_to_string(folder.join("summary.txt")).unwrap(), "second");
        write_folder(&earlier, &files("left behind", &[])).unwrap();
        write_folder(&folder, &files("third", &[])).unwrap();
        assert!(!earlier.exists());
    }

    #[test]
    fn a_file_is_replaced_whole_and_needs_its_folder() {
        let place = tempfile::tempdir().unwrap();
        let file = place.path().join("curves.json");
        write_file(&file, b"first").unwrap();
        write_file(&file, b"second").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"second");
        assert_eq!(content(place.path()), ["curves.json"]);
        let nowhere = place.path().join("nowhere/curves.json");
        assert!(matches!(write_file(&nowhere, b"x"), Err(WriteError::NoFolder { .. })));
        assert!(write_file(place.path(), b"x").is_err());
    }

    #[cfg(unix)]
    #[test]
    fn results_can_be_read_by_everybody() {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("season");
        write_folder(&folder, &files("first", &["data/a.csv"])).unwrap();
        let file = place.path().join("curves.json");
        write_file(&file, b"x").unwrap();
        let found = [mode(&folder), mode(&folder.join("data")), mode(&folder.join("data/a.csv")), mode(&file)];
        assert_eq!(found, [0o755, 0o755, 0o644, 0o644]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_not_replaced() {
        let place = tempfile::tempdir().unwrap();
        let real = place.path().join("real");
        write_folder(&real, &files("first", &[])).unwrap();
        let link = place.path().join("season");
        std::os::unix::fs::symlink(&real, &link).unwrap();
        write_folder(&link, &files("second", &[])).unwrap();
        assert!(link.is_symlink());
        assert_eq!(fs::read_to_string(real.join("summary.txt")).unwrap(), "second");
    }
}
