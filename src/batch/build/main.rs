//! Tells the program which revision of the reading it holds.

#[path = "revision.rs"]
mod revision;

use std::path::Path;

fn main() -> std::io::Result<()> {
    let root = std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default();
    let root = Path::new(&root);
    for room in revision::ROOMS {
        println!("cargo::rerun-if-changed=src/{room}");
    }
    for file in [
        "Cargo.lock",
        "src/batch/build/main.rs",
        "src/batch/build/revision.rs",
    ] {
        println!("cargo::rerun-if-changed={file}");
    }
    let revision = revision::revision(root)?;
    println!("cargo::rustc-env=FLANKREAD_READING_REVISION={revision}");
    Ok(())
}
