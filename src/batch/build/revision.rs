//! What readings depend on beside photo and words, as one number: the source of the rooms that make them, with every
//! number in it, the networks' weights, and the versions of the crates that decode and compute.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Rooms and files under `src` that a stored reading comes from; a change anywhere else makes no other reading.
pub const ROOMS: [&str; 9] = [
    "batch/ask.rs",
    "batch/likeness.rs",
    "flank",
    "frames.rs",
    "least_squares.rs",
    "network",
    "photo",
    "reading",
    "segment",
];

/// Crates by whose versions a reading may differ: decoders, products of matrices, solvers.
const CRATES: [&str; 15] = [
    "heic-rs",
    "image",
    "image-webp",
    "imageproc",
    "jpeg-decoder",
    "kamadak-exif",
    "moxcms",
    "nalgebra",
    "ndarray",
    "png",
    "rten-gemm",
    "rten-onnx",
    "rten-tensor",
    "tiff",
    "zune-jpeg",
];

/// The revision of the sources below `root`, where `Cargo.toml` lies.
///
/// # Errors
/// A room cannot be read.
pub fn revision(root: &Path) -> io::Result<String> {
    let mut files = Vec::new();
    for room in ROOMS {
        collect(&root.join("src").join(room), &mut files)?;
    }
    files.sort();
    // FNV-1a of 128 bits (Fowler, Noll, Vo): told apart are a few dozen revisions, and nobody forges one.
    let mut sum: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    let mut add = |bytes: &[u8]| {
        for piece in [&(bytes.len() as u64).to_le_bytes(), bytes] {
            for byte in piece {
                sum = (sum ^ u128::from(*byte)).wrapping_mul(0x0100_0000_0000_0000_0000_013b);
            }
        }
    };
    for file in files {
        let name = file.strip_prefix(root).unwrap_or(&file);
        add(name.to_string_lossy().as_bytes());
        add(&fs::read(&file)?);
    }
    // A package that is used as a library has the lock file of whoever uses it.
    let lock = fs::read_to_string(root.join("Cargo.lock")).unwrap_or_default();
    for package in lock.split("[[package]]") {
        let value = |key: &str| {
            let line = package.lines().find(|line| line.starts_with(key));
            line.and_then(|line| line.split('"').nth(1))
        };
        if let Some(name) = value("name").filter(|name| CRATES.contains(name)) {
            add(name.as_bytes());
            add(value("version").unwrap_or_default().as_bytes());
        }
    }
    Ok(format!("{sum:032x}"))
}

/// All files below a path, tests left out: they make no reading.
fn collect(path: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    let name = path.file_name().unwrap_or_default();
    if name == "tests" || name == "tests.rs" || name == "reference.json" {
        return Ok(());
    }
    if !path.is_dir() {
        files.push(path.to_owned());
        return Ok(());
    }
    for entry in fs::read_dir(path)? {
        collect(&entry?.path(), files)?;
    }
    Ok(())
}
