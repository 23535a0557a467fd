//! Broken files, closed folders, loops, odd names.

use super::{batch, lines, photo, text};
use crate::common::PROGRAM;
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

/// The program as a user who is not root, so that permissions count; as this one where that cannot
/// be had.
#[cfg(unix)]
fn as_nobody(arguments: &[&str]) -> Option<Output> {
    use std::os::unix::fs::MetadataExt as _;
    let root = std::fs::metadata("/proc/self").unwrap().uid() == 0;
    if !root {
        return Some(batch(arguments));
    }
    let nobody = [
        "--reuid=65534",
        "--regid=65534",
        "--clear-groups",
        PROGRAM,
        "batch",
    ];
    let output = Command::new("setpriv")
        .args(nobody)
        .args(arguments)
        .output();
    output
        .ok()
        .filter(|output| output.status.code() != Some(127))
}

#[cfg(unix)]
#[test]
fn broken_things_are_named_and_everything_else_is_read() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt as _;
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    let folder = tempfile::tempdir().unwrap();
    let inbox = folder.path().join("in");
    let at = |name: &str| inbox.join(name);
    photo("drive-yellow.jpg", &at("good one.jpg"), "");
    photo("coast-white.jpg", &at("line\nend.jpg"), "");
    photo(
        "coast-white.jpg",
        &inbox.join(OsStr::from_bytes(b"odd \xff\xfe.jpg")),
        "x",
    );
    let good = std::fs::read(at("good one.jpg")).unwrap();
    let mut png = Vec::new();
    image::RgbImage::new(300, 300)
        .write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png)
        .unwrap();
    let mut claims =
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x75\x30\0\0\x75\x30\x08\x02\0\0\0".to_vec();
    claims.extend([0; 4]);
    let broken: [(&str, Vec<u8>); 10] = [
        ("empty.jpg", Vec::new()),
        ("text.jpg", b"no photo".to_vec()),
        ("document.png", b"%PDF-1.7\n".to_vec()),
        ("cut.jpg", good[..good.len() / 2].to_vec()),
        ("cut.png", png[..png.len() / 2].to_vec()),
        ("claims.png", claims),
        ("film.heic", b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom".to_vec()),
        ("head only.webp", b"RIFF\x10\0\0\0WEBPVP8 ".to_vec()),
        ("zeros.tif", b"II*\0\0\0\0\0".repeat(4)),
        ("moving.gif", b"GIF89a\x01\0\x01\0".to_vec()),
    ];
    for (name, bytes) in &broken {
        std::fs::write(at(name), bytes).unwrap();
    }
    photo("drive-yellow.jpg", &at("marked.jpg"), "y");
    std::fs::write(at("marked.jpg.marks.json"), "{\"teth\":[]}").unwrap();
    std::fs::create_dir(at("closed")).unwrap();
    std::fs::write(at("private.jpg"), &good).unwrap();
    symlink("..", at("loop")).unwrap();
    symlink("nowhere.jpg", at("dead.jpg")).unwrap();
    let fifo = Command::new("mkfifo").arg(at("pipe.jpg")).status().unwrap();
    assert!(fifo.success());
    let set = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    set(folder.path(), 0o777);
    set(&at("closed"), 0o000);
    set(&at("private.jpg"), 0o000);
    let out = folder.path().join("out");
    let arguments = [
        inbox.to_str().unwrap(),
        "--json",
        "--follow",
        "--out",
        out.to_str().unwrap(),
    ];
    let permissions = as_nobody(&arguments);
    let output = permissions.unwrap_or_else(|| batch(&arguments));
    set(&at("closed"), 0o755);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    let all = lines(&text(&output.stdout));
    let of = |name: &str| {
        let found = all
            .iter()
            .find(|line| line["photo"]["path"].as_str().unwrap().ends_with(name));
        found.unwrap_or_else(|| panic!("{name} is missing: {said}"))
    };
    for (name, _) in &broken {
        let line = of(name);
        assert_eq!(line["status"], "unreadable", "{name}");
        let begun = [
            "cut.jpg",
            "cut.png",
            "claims.png",
            "head only.webp",
            "zeros.tif",
        ];
        let code = if begun.contains(name) {
            "damaged"
        } else {
            "not_an_image"
        };
        assert_eq!(line["reasons"][0]["code"], code, "{name}");
        assert!(line["reasons"][0]["message"].as_str().unwrap().len() > 15);
    }
    assert_eq!(all.len(), broken.len() + 5);
    assert_eq!(of("marked.jpg")["batch"]["problem"]["kind"], "marks");
    assert_eq!(of("good one.jpg")["status"], "read");
    assert_eq!(of("line\\nend.jpg")["status"], "read");
    let odd = of("odd \u{fffd}\u{fffd}.jpg");
    assert_eq!(odd["status"], "read");
    let encoded = odd["batch"]["path_encoded"].as_str().unwrap();
    assert!(encoded.ends_with("odd%20%FF%FE.jpg"), "{encoded}");
    let numbers = std::fs::read_to_string(out.join("summary.json")).unwrap();
    let numbers: Value = serde_json::from_str(&numbers).unwrap();
    let troubles = numbers["troubles"].to_string();
    for (name, words) in [
        ("in/loop", "leads back"),
        ("dead.jpg", "leads nowhere"),
        ("pipe.jpg", "a pipe"),
    ] {
        assert!(
            troubles.contains(name) && troubles.contains(words),
            "{troubles}"
        );
        assert!(said.contains(words), "{said}");
    }
    if of("private.jpg")["status"] == "unreadable" {
        // Permissions counted: then the closed folder is told as well.
        let message = of("private.jpg")["reasons"][0]["message"].as_str().unwrap();
        assert!(message.contains("ermission denied"), "{message}");
        assert!(troubles.contains("in/closed"), "{troubles}");
        // Once the permission is there, the photo is read: a refusal of that kind is not kept.
        set(&at("private.jpg"), 0o644);
        let output = as_nobody(&arguments).unwrap();
        let all = lines(&text(&output.stdout));
        let private = all.iter().find(|line| {
            line["photo"]["path"]
                .as_str()
                .unwrap()
                .ends_with("private.jpg")
        });
        // Its bytes are those of another photo, but it has no marks.
        assert_ne!(private.unwrap()["reasons"][0]["code"], "not_an_image");
    }
}
