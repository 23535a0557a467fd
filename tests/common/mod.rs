//! What the tests of the whole program share.

// Each test binary takes its part of it.
#![allow(dead_code)]

use assert_cmd::Command;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The program that was built.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_flankread");

/// A file of this project.
pub fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The program, to be run where this project is.
pub fn flankread() -> Command {
    let mut command = Command::new(PROGRAM);
    command.current_dir(env!("CARGO_MANIFEST_DIR"));
    // Whoever runs the tests may have settings of their own.
    command.env_remove("FLANKREAD_UNITS");
    command.env_remove("FLANKREAD_CONFIG");
    command.env("XDG_CONFIG_HOME", env!("CARGO_TARGET_TMPDIR"));
    command
}

/// The readings of what `read --json` printed.
pub fn readings(json: &[u8]) -> Vec<Value> {
    let mut answer: Value = serde_json::from_slice(json)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(json)));
    serde_json::from_value(answer["readings"].take()).expect("a list of readings")
}

/// The one reading of what `read --json` printed.
pub fn only_reading(json: &[u8]) -> Value {
    let [reading] = <[Value; 1]>::try_from(readings(json)).expect("one reading");
    reading
}

/// Runs a command to its end: its exit status, what it printed, what it said of errors.
pub fn ended(command: &mut Command) -> (Option<i32>, String, String) {
    let output = command.output().expect("the program runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// Copies a painted picture with its marks. Bytes after the end of a JPEG picture are no part of it
/// (ITU-T T.81, B.1.1.2), so that `tail` makes another file of the same picture.
pub fn painted_copy(name: &str, to: &Path, tail: &str) {
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    let mut bytes = std::fs::read(root("fixtures/painted").join(name)).unwrap();
    bytes.extend_from_slice(tail.as_bytes());
    std::fs::write(to, bytes).unwrap();
    let marks = root("fixtures/painted").join(format!("{name}.marks.json"));
    let mut beside = to.as_os_str().to_owned();
    beside.push(".marks.json");
    std::fs::copy(marks, beside).unwrap();
}
