use super::*;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{Rgb, RgbImage};
use std::path::{Path, PathBuf};

/// A photo of this project, its longest side so long.
fn photo(name: &str, longest: u32) -> RgbImage {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let picture = image::open(path).unwrap().into_rgb8();
    sized(&picture, longest)
}

fn sized(picture: &RgbImage, longest: u32) -> RgbImage {
    let (width, height) = picture.dimensions();
    let to = |side: u32| side * longest / width.max(height);
    imageops::resize(picture, to(width), to(height), FilterType::Triangle)
}

/// As a messenger or a screen writes it.
fn saved(picture: &RgbImage, quality: u8) -> RgbImage {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)
        .unwrap();
    image::load_from_memory(&bytes).unwrap().into_rgb8()
}

/// Pictures put on a ground at these corners.
fn on_ground(size: (u32, u32), ground: [u8; 3], put: &[(&RgbImage, u32, u32)]) -> RgbImage {
    let mut picture = RgbImage::from_pixel(size.0, size.1, Rgb(ground));
    for (one, left, top) in put {
        imageops::replace(&mut picture, *one, i64::from(*left), i64::from(*top));
    }
    picture
}

/// Signs of a clock and a battery: dark and light specks with gaps.
fn with_signs(mut picture: RgbImage, top: u32) -> RgbImage {
    for k in 0..14 {
        let left = 40 + 70 * k + 13 * (k % 3);
        for y in top..top + 26 {
            for x in left..left + 22 {
                if (x * 7 + y * 3) % 5 != 0 && x < picture.width() {
                    picture.put_pixel(x, y, Rgb([140, 140, 140]));
                }
            }
        }
    }
    picture
}

const PHOTOS: [&str; 4] = [
    "examples/larchfield/drive.jpg",
    "examples/larchfield/coast.jpg",
    "fixtures/rendered/h007.jpg",
    "fixtures/rendered/h028.jpg",
];

fn near(found: Area, left: u32, top: u32, picture: &RgbImage) {
    let apart = [
        found.left.abs_diff(left),
        found.top.abs_diff(top),
        (found.left + found.width).abs_diff(left + picture.width()),
        (found.top + found.height).abs_diff(top + picture.height()),
    ];
    assert!(
        apart.iter().all(|far| *far <= 9),
        "{found:?} {left} {top} {apart:?}"
    );
}

#[test]
#[ignore = "slow: by .ci/run"]
fn bars_of_any_colour_are_left_out() {
    for (number, name) in PHOTOS.iter().enumerate() {
        let one = photo(name, 1080);
        for ground in [[0, 0, 0], [255, 255, 255], [18, 140, 126], [236, 229, 221]] {
            for quality in [60, 92] {
                let size = (1080, 1900);
                let screen = on_ground(size, ground, &[(&one, 0, 410)]);
                let screen = with_signs(with_signs(screen, 30), 1850);
                match layout(&saved(&screen, quality)) {
                    Layout::Framed(area) => near(area, 0, 410, &one),
                    other => panic!("{number} {ground:?} {quality}: {other:?}"),
                }
            }
        }
    }
}

#[test]
#[ignore = "slow: by .ci/run"]
fn photos_beside_each_other_are_told_apart_with_gutters_and_without() {
    let four: Vec<RgbImage> = PHOTOS
        .iter()
        .map(|name| imageops::resize(&photo(name, 1024), 900, 680, FilterType::Triangle))
        .collect();
    for gutter in [0, 3, 8, 24] {
        for (across, down) in [(2, 1), (1, 2), (2, 2), (1, 3)] {
            let at = |k: u32| ((k % across) * (900 + gutter), (k / across) * (680 + gutter));
            let size = (
                across * 900 + (across - 1) * gutter,
                down * 680 + (down - 1) * gutter,
            );
            let put: Vec<(&RgbImage, u32, u32)> = (0..across * down)
                .map(|k| (&four[k as usize], at(k).0, at(k).1))
                .collect();
            let collage = saved(&on_ground(size, [255; 3], &put), 80);
            match layout(&collage) {
                Layout::Collage(parts) => {
                    assert_eq!(parts.len(), put.len(), "{gutter} {across} {down} {parts:?}");
                    for (part, (one, left, top)) in parts.iter().zip(&put) {
                        let apart = part.left.abs_diff(*left).max(part.top.abs_diff(*top));
                        assert!(apart <= 26, "{part:?} {left} {top}");
                        assert!(part.width + 30 > one.width(), "{part:?}");
                    }
                }
                other => panic!("{gutter} {across} {down}: {other:?}"),
            }
        }
    }
}

#[test]
#[ignore = "slow: by .ci/run"]
fn a_photo_by_itself_is_whole() {
    let all = [
        "examples/larchfield",
        "fixtures/painted",
        "fixtures/rendered",
        "fixtures/inputs",
    ];
    let mut count = 0;
    for path in all
        .iter()
        .flat_map(|folder| pictures(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)))
    {
        let Ok(picture) = image::open(&path) else {
            continue;
        };
        for quality in [40, 95] {
            assert_eq!(
                layout(&saved(&picture.to_rgb8(), quality)),
                Layout::Whole,
                "{}",
                path.display()
            );
        }
        count += 1;
    }
    assert!(count > 20, "{count}");
    // A ground of one colour with a thing on it has no straight edge.
    let disc = RgbImage::from_fn(800, 600, |x, y| {
        let far = (f64::from(x) - 400.0).hypot(f64::from(y) - 300.0);
        Rgb(if far < 230.0 {
            [(x * 31 + y * 17) as u8 / 2 + 60, 90, 80]
        } else {
            [250; 3]
        })
    });
    assert_eq!(layout(&disc), Layout::Whole);
    assert_eq!(layout(&RgbImage::new(300, 200)), Layout::Whole);
    assert_eq!(layout(&RgbImage::new(3, 1)), Layout::Whole);
}

fn pictures(folder: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    found.sort();
    found
}

/// Prints what the pictures of folders are taken for, and the surest step in each that is whole:
/// `FLANKREAD_PHOTOS=FOLDER:FOLDER cargo test --release --lib layouts_of_folders -- --ignored --nocapture`.
#[test]
#[ignore = "needs folders of pictures"]
fn layouts_of_folders() {
    let folders = std::env::var("FLANKREAD_PHOTOS").unwrap();
    let mut counts = [0; 3];
    let mut steps: Vec<(f64, f64, String)> = Vec::new();
    for path in folders
        .split(':')
        .flat_map(|folder| pictures(Path::new(folder)))
    {
        let Ok(photo) = crate::photo::open(&path) else {
            continue;
        };
        let name = path.display().to_string();
        match layout(&photo.working) {
            Layout::Whole => counts[0] += 1,
            Layout::Framed(area) => {
                counts[1] += 1;
                println!("framed {name} {:?} {area:?}", photo.working.dimensions());
            }
            Layout::Collage(parts) => {
                counts[2] += 1;
                println!("collage {name} {:?} {parts:?}", photo.working.dimensions());
            }
        }
        let (width, height) = photo.working.dimensions();
        let area = Area {
            left: 0,
            top: 0,
            width,
            height,
        };
        let [mut surest, mut surest_even] = [0.0_f64; 2];
        for way in [Way::Across, Way::Down] {
            let lines = Lines::of(&photo.working, area, way);
            for (line, share) in seam_shares(&lines).into_iter().enumerate() {
                surest = surest.max(share);
                if is_even(line, lines.count) {
                    surest_even = surest_even.max(share);
                }
            }
        }
        steps.push((surest, surest_even, name));
    }
    for (what, get) in [("any", 0), ("even", 1)] {
        let of = |step: &(f64, f64, String)| if get == 0 { step.0 } else { step.1 };
        steps.sort_by(|a, b| of(b).total_cmp(&of(a)));
        for step in steps.iter().take(10) {
            println!("{what} {:.2} {}", of(step), step.2);
        }
    }
    println!("whole, framed, collage: {counts:?}");
}
