//! Forty files as a shop finds them in its inbox: screenshots, collages, copies, things that are no photos.

use super::{batch, lines_of, root, text};
use image::imageops::{self, FilterType};
use image::{Rgb, RgbImage};
use serde_json::Value;
use std::fs;
use std::path::Path;

fn opened(name: &str) -> RgbImage {
    image::open(root(name)).unwrap().into_rgb8()
}

fn save(picture: &RgbImage, to: &Path) {
    fs::create_dir_all(to.parent().unwrap()).unwrap();
    picture.save(to).unwrap();
}

fn copy(name: &str, to: &Path) {
    fs::create_dir_all(to.parent().unwrap()).unwrap();
    fs::copy(root(name), to).unwrap();
}

/// Pictures of one height beside each other.
fn beside(pictures: &[RgbImage], gutter: u32) -> RgbImage {
    let height = pictures.iter().map(RgbImage::height).min().unwrap();
    let sized: Vec<RgbImage> = pictures
        .iter()
        .map(|one| {
            let width = one.width() * height / one.height();
            imageops::resize(one, width, height, FilterType::Triangle)
        })
        .collect();
    let width = sized.iter().map(|one| one.width() + gutter).sum::<u32>() - gutter;
    let mut all = RgbImage::from_pixel(width, height, Rgb([255; 3]));
    let mut left = 0;
    for one in &sized {
        imageops::replace(&mut all, one, i64::from(left), 0);
        left += one.width() + gutter;
    }
    all
}

fn with_bars(picture: &RgbImage, colour: [u8; 3], above: u32, below: u32) -> RgbImage {
    let (width, height) = picture.dimensions();
    let mut all = RgbImage::from_pixel(width, height + above + below, Rgb(colour));
    imageops::replace(&mut all, picture, 0, i64::from(above));
    all
}

const DRIVE: &str = "examples/larchfield/drive.jpg";
const COAST: &str = "examples/larchfield/coast.jpg";

/// Builds the folder: each file's name and what is to come of it, a reason's code or a status.
fn build(inbox: &Path) -> Vec<(&'static str, &'static str)> {
    let at = |name: &str| inbox.join(name);
    let (drive, coast) = (opened(DRIVE), opened(COAST));
    let mut files = Vec::new();
    for (name, from, comes) in [
        ("1042/drive.jpg", DRIVE, "read"),
        ("1042/coast.jpg", COAST, "read"),
        ("1042/drive again.jpg", DRIVE, "read"),
        ("elsewhere/drive.jpg", DRIVE, "read"),
        ("elsewhere/coast.jpg", COAST, "read"),
        ("wrong gear/drive.jpg", "fixtures/rendered/h007.jpg", ""),
        ("wrong gear/coast.jpg", COAST, "read"),
        (
            "Müller/Zahnräder vorn.jpg",
            "fixtures/rendered/h028.jpg",
            "",
        ),
        ("клиент/фото 1.jpg", "fixtures/rendered/h034.jpg", ""),
        ("burnt out.jpg", "fixtures/rendered/h024.jpg", "unreadable"),
        ("phone.heic", "fixtures/inputs/full-range.heic", ""),
        ("phone 2.heic", "fixtures/inputs/limited-range.heic", ""),
        ("turned.heic", "fixtures/inputs/turned-6.heic", ""),
        ("scan.tif", "fixtures/inputs/sixteen-bit.tif", ""),
        ("scan.png", "fixtures/inputs/sixteen-bit.png", ""),
        ("grey.jpg", "fixtures/inputs/grey.jpg", ""),
        ("four inks.jpg", "fixtures/inputs/cmyk-inverted.jpg", ""),
        ("inks.jpg", "fixtures/inputs/ycck.jpg", ""),
        ("messenger.jpg", "fixtures/inputs/messenger.jpg", ""),
        ("progressive.jpg", "fixtures/inputs/progressive.jpg", ""),
        ("on its side.jpg", "fixtures/inputs/orientation-6.jpg", ""),
        ("on its head.jpg", "fixtures/inputs/orientation-3.jpg", ""),
        (
            "mirrored by the camera.jpg",
            "fixtures/inputs/orientation-2.jpg",
            "",
        ),
        (
            "out of focus.jpg",
            "fixtures/painted/blurred.jpg",
            "unreadable",
        ),
        ("bare.jpg", "fixtures/painted/bare-steel.jpg", ""),
        ("not rolled.jpg", "fixtures/painted/not-rolled.jpg", ""),
        ("white paint.jpg", "fixtures/painted/coast-white.jpg", ""),
        ("yellow paint.jpg", "fixtures/painted/drive-yellow.jpg", ""),
        (
            "blue paint.jpg",
            "fixtures/painted/coast-blue-transferred.jpg",
            "",
        ),
    ] {
        copy(from, &at(name));
        files.push((name, comes));
    }
    for folder in ["1042", "wrong gear"] {
        copy(
            "examples/larchfield/card.toml",
            &at(folder).join("card.toml"),
        );
    }
    let small = imageops::resize(
        &coast,
        coast.width() / 2,
        coast.height() / 2,
        FilterType::Triangle,
    );
    let tiny = imageops::resize(&drive, 96, 72, FilterType::Triangle);
    let screen = with_bars(&drive, [0, 0, 0], 520, 470);
    let letterbox = with_bars(&coast, [240, 238, 230], 300, 260);
    for (name, picture, comes) in [
        ("1042/coast small.jpg", &small, ""),
        ("screens/drive.jpg", &screen, "read"),
        ("screens/coast.jpg", &letterbox, "read"),
        (
            "side by side.jpg",
            &beside(&[drive.clone(), coast.clone()], 0),
            "parts",
        ),
        (
            "with gutters.jpg",
            &beside(&[coast.clone(), drive.clone()], 16),
            "parts",
        ),
        ("tiny.jpg", &tiny, "unreadable"),
    ] {
        save(picture, &at(name));
        files.push((name, comes));
    }
    let whole = fs::read(root(DRIVE)).unwrap();
    let mut holed = whole.clone();
    let middle = holed.len() / 2;
    holed.drain(middle..middle + 4000);
    for (name, bytes, comes) in [
        (
            "notes.jpg",
            b"1042: drive first, then coast".to_vec(),
            "not_an_image",
        ),
        ("empty.jpg", Vec::new(), "not_an_image"),
        ("half.jpg", whole[..middle].to_vec(), "damaged"),
        ("with a hole.jpg", holed, "damaged"),
        ("invoice.png", b"%PDF-1.7\n".to_vec(), "not_an_image"),
    ] {
        fs::write(at(name), bytes).unwrap();
        files.push((name, comes));
    }
    files
}

#[test]
fn forty_files_of_all_kinds_are_read_or_told_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let inbox = folder.path().join("post");
    let files = build(&inbox);
    assert_eq!(files.len(), 40);
    let output = batch(&[inbox.to_str().unwrap(), "--units", "in"]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    let table = text(&output.stdout);
    let out = inbox.join("flankread-batch");
    if let Ok(kept) = std::env::var("FLANKREAD_KEPT") {
        let copied = std::process::Command::new("cp")
            .arg("-r")
            .arg(&inbox)
            .arg(&kept)
            .status();
        assert!(copied.unwrap().success());
        fs::write(Path::new(&kept).join("table.txt"), &table).unwrap();
    }
    let readings = lines_of(&out.join("readings.jsonl"));
    let of = |name: &str| -> Vec<&Value> {
        let path = inbox.join(name).display().to_string();
        readings
            .iter()
            .filter(|line| line["photo"]["path"] == *path)
            .collect()
    };
    for (name, comes) in &files {
        let found = of(name);
        let code = found[0]["reasons"][0]["code"].as_str().unwrap_or_default();
        match *comes {
            "parts" => {
                let sides: Vec<_> = found.iter().map(|line| &line["flank"]["side"]).collect();
                assert_eq!(found.len(), 2, "{name}");
                for line in &found {
                    assert_eq!(line["status"], "read", "{name} {line}");
                    assert_eq!(line["photo"]["area"]["part"]["of"], 2, "{name}");
                }
                assert_ne!(sides[0], sides[1], "{name}");
            }
            "read" | "unreadable" => assert_eq!(found[0]["status"], *comes, "{name} {}", found[0]),
            "" => {}
            wanted => assert_eq!(code, wanted, "{name}"),
        }
        if *comes != "parts" {
            assert_eq!(found.len(), 1, "{name}");
        }
        // Whatever comes of a photo, it is said why.
        for line in found {
            let why = line["reasons"].as_array().unwrap();
            assert!(line["status"] == "read" || !why.is_empty(), "{name}");
        }
    }
    // What is read between bars is what is read without them, and lies where it lies in the whole picture.
    for (name, plain, above) in [
        ("screens/drive.jpg", "1042/drive.jpg", 520.0),
        ("screens/coast.jpg", "1042/coast.jpg", 300.0),
    ] {
        let (barred, plain) = (of(name)[0], of(plain)[0]);
        for way in ["length", "height"] {
            let at = |line: &Value| line["mean"]["centre"][way].as_f64().unwrap();
            assert!(
                (at(barred) - at(plain)).abs() < 0.04,
                "{name} {way} {} {}",
                at(barred),
                at(plain)
            );
        }
        let lowest = |line: &Value| {
            let teeth = line["teeth"].as_array().unwrap();
            let root = teeth
                .iter()
                .filter_map(|tooth| tooth["corners"]["heel_root"][1].as_f64());
            root.fold(0.0, f64::max)
        };
        let moved = lowest(barred) - lowest(plain);
        assert!((moved - above).abs() < 60.0, "{name} {moved}");
    }
    let sets = lines_of(&out.join("sets.jsonl"));
    for set in &sets {
        let (name, reply) = (&set["set"], set["reply"].as_str().unwrap());
        for never in [
            "--",
            " mm",
            "elsewhere",
            "Traceback",
            "panicked",
            "None",
            "null",
            "NaN",
        ] {
            assert!(!reply.contains(never), "{name}: {reply}");
        }
        for always in ["Cautions", "licensed", "on stands"] {
            assert!(reply.contains(always), "{name}: {reply}");
        }
    }
    let reply = |name: &str| {
        let set = sets.iter().find(|set| set["set"] == name);
        set.unwrap_or_else(|| panic!("{name}"))["reply"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    // Without a card there is still a way to go, and it is the one that the card's advice has.
    for name in ["elsewhere", "screens", "side by side.jpg", "1042"] {
        assert!(
            reply(name).contains("It goes toward the ring gear"),
            "{}",
            reply(name)
        );
    }
    // The table stands first, with a line or two after it.
    let first = table.lines().next().unwrap();
    assert!(first.contains("set") && first.contains("next"), "{table}");
    assert!(!table.contains("####"), "{table}");
}

#[test]
fn a_photo_cut_short_a_moment_ago_may_still_be_on_its_way() {
    let folder = tempfile::tempdir().unwrap();
    let whole = fs::read(root("examples/larchfield/drive.jpg")).unwrap();
    // Alone in its folder it is looked at at once, however slow the machine.
    fs::write(folder.path().join("half.jpg"), &whole[..whole.len() / 2]).unwrap();
    batch(&[folder.path().to_str().unwrap()]);
    let readings = lines_of(&folder.path().join("flankread-batch/readings.jsonl"));
    let said = readings[0]["reasons"][0]["message"].as_str().unwrap();
    assert!(said.contains("still being copied"), "{said}");
}
