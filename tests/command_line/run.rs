//! Running the command and looking at what came out.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The oats split-plot of Yates (1935), J. Roy. Stat. Soc. Suppl. 2:181-247.
pub const OATS: &str = "yates_oats_1935.csv";
/// Roles of its columns.
pub const OATS_ROLES: [&str; 8] = ["--rate", "nitrogen", "--yield", "yield", "--block", "block", "--by", "variety"];

/// What a run left behind.
#[derive(Debug)]
pub struct Run {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Run {
    /// Standard output as JSON, which it must be.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("{error}: {}{}", self.stdout, self.stderr))
    }
}

/// The package's folder.
pub fn package() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The demo programme.
pub fn trials() -> PathBuf {
    package().join("trials")
}

/// Where the oats are.
pub fn data() -> PathBuf {
    package().join("tests/reference/data")
}

/// The command, to be run in a folder.
pub fn command<S: AsRef<OsStr>>(folder: &Path, arguments: impl IntoIterator<Item = S>) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stook"));
    command.current_dir(folder).args(arguments).env("NO_COLOR", "1").stdin(Stdio::null());
    command
}

/// Runs the command in a folder.
pub fn stook_in<S: AsRef<OsStr>>(folder: &Path, arguments: impl IntoIterator<Item = S>) -> Run {
    finish(&mut command(folder, arguments))
}

/// Runs the command in the package's folder, where the demo programme is `trials`.
pub fn stook<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Run {
    stook_in(&package(), arguments)
}

/// Runs a command on the oats, with their roles before the further arguments.
pub fn oats(command: &str, further: &[&str]) -> Run {
    let arguments = [command, OATS].into_iter().chain(OATS_ROLES).chain(further.iter().copied());
    stook_in(&data(), arguments)
}

/// Runs a prepared command.
pub fn finish(command: &mut Command) -> Run {
    let output = command.output().expect("the built command runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("output is UTF-8");
    Run {
        status: output.status.code().expect("the command ends by itself"),
        stdout: text(output.stdout),
        stderr: text(output.stderr),
    }
}

/// A copy of the demo programme that may be damaged.
pub fn programme_copy() -> tempfile::TempDir {
    let copy = tempfile::tempdir().expect("a temporary folder");
    copy_folder(&trials(), &copy.path().join("trials"));
    copy
}

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("the folder can be made");
    for entry in std::fs::read_dir(from).expect("the folder can be listed") {
        let path = entry.expect("its entries can be read").path();
        let target = to.join(path.file_name().expect("an entry has a name"));
        if path.is_dir() {
            copy_folder(&path, &target);
        } else {
            std::fs::copy(&path, &target).expect("a file can be copied");
        }
    }
}

/// Replaces a text in a file, which must hold it.
pub fn edit(file: &Path, from: &str, to: &str) {
    let text = std::fs::read_to_string(file).expect("the file can be read");
    assert!(text.contains(from), "{} holds {from:?}", file.display());
    std::fs::write(file, text.replacen(from, to, 1)).expect("the file can be written");
}
