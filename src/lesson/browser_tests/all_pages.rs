//! Every page that is written to be looked at, narrow and wide: nothing runs off to the side, no words stand on others.

use super::driver::Browser;
use crate::batch::group::{PlanRules, plan};
use crate::batch::run::Reader;
use crate::batch::store::Store;
use crate::batch::summary::BatchResult;
use crate::batch::walk::{STORE_NAME, WalkRules, walk};
use crate::lesson::case::Set;
use crate::lesson::quiz::{Quiz, page as quiz_page};
use crate::lesson::{explore, sheet};
use crate::photo::Photo;
use crate::reading::{ReadOptions, read_photo};
use crate::report::batch::letter::Letter;
use crate::report::batch::photo::draw;
use crate::report::batch::sheet::batch_sheet;
use crate::report::reading::pictures::{PhotoReading, write_pictures};
use crate::schema::read::{ReadAnswer, SCHEMA};
use crate::schema::{Card, Cutting};
use crate::units::Units;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;

/// Words that stand on other words, as pairs of texts; and how far anything reaches to the right.
const OVERPRINTED: &str = r"
const lines = [];
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
for (let node = walker.nextNode(); node; node = walker.nextNode()) {
  const words = node.textContent.trim(), parent = node.parentElement;
  if (!words || parent.closest('script, style, option, use') || !parent.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
  let shown = true;
  for (let e = parent; e; e = e.parentElement) shown = shown && getComputedStyle(e).display !== 'none';
  if (!shown) continue;
  if (parent.closest('.whole') && getComputedStyle(parent.closest('.whole')).position === 'absolute') continue;
  const range = document.createRange();
  range.selectNodeContents(node);
  for (const r of range.getClientRects()) if (r.width > 1 && r.height > 1) lines.push({ words, node, r });
}
const bad = [];
for (let i = 0; i < lines.length; i++) for (let k = i + 1; k < lines.length; k++) {
  const a = lines[i], b = lines[k];
  if (a.node === b.node) continue;
  const wide = Math.min(a.r.right, b.r.right) - Math.max(a.r.left, b.r.left);
  // Letters are a good half of their line's height.
  const high = Math.min(a.r.bottom, b.r.bottom) - Math.max(a.r.top, b.r.top);
  if (wide > 3 && high > 0.45 * Math.min(a.r.height, b.r.height)) bad.push([a.words.slice(0, 40), b.words.slice(0, 40)]);
}
return [bad.slice(0, 5), document.documentElement.scrollWidth, lines.length];
";

fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn pages(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    let mut put = |name: &str, text: &str| {
        let path = folder.join(name);
        std::fs::write(&path, text).unwrap();
        all.push(path);
    };
    let wanted = sheet::Wanted {
        units: Units::In,
        seed: 5,
        photo: (320, 240),
    };
    let sets =
        [Cutting::FaceMilled, Cutting::FaceHobbed].map(|cutting| Set::example(cutting).unwrap());
    let words = sheet::glossary(&sets[0], &wanted).unwrap();
    put("glossary.html", &sheet::html("Words", &words.pages));
    let lessons = sheet::sheets(&sets, &wanted).unwrap();
    put("lessons.html", &sheet::html("Lessons", &lessons.pages));
    put(
        "explore.html",
        &explore::page(&explore::examples().unwrap(), Units::In).unwrap(),
    );
    let quiz = Quiz::new(7).unwrap();
    put(
        "quiz.html",
        &quiz_page::page(&quiz, 2, (200, 150), Units::In, &mut |_| {}).unwrap(),
    );
    all.extend(reading_page(folder));
    all.extend(batch_pages(folder));
    all
}

/// What `read --out` writes of the example pair.
fn reading_page(folder: &Path) -> Option<PathBuf> {
    let card = Card::read(root("examples/larchfield/card.toml")).unwrap();
    let told: Vec<PhotoReading> = ["drive.jpg", "coast.jpg"]
        .iter()
        .map(|name| {
            let photo = Photo::open(root("examples/larchfield").join(name)).unwrap();
            let read = read_photo(&photo, &ReadOptions::of_card(&card));
            PhotoReading { photo, read }
        })
        .collect();
    let answer = ReadAnswer {
        schema: SCHEMA.into(),
        readings: told.iter().map(|told| told.read.reading.clone()).collect(),
        advice: None,
        no_advice: None,
        direction: None,
    };
    let out = folder.join("read");
    let written = write_pictures(&out, false, &told, Some(&card), &answer, Units::In).unwrap();
    written
        .into_iter()
        .find(|path| path.extension().is_some_and(|e| e == "html"))
}

/// The sheet of a batch, and the page of one of its photos.
fn batch_pages(folder: &Path) -> Vec<PathBuf> {
    let inbox = folder.join("inbox with a rather long name of its own");
    std::fs::create_dir_all(inbox.join("readings")).unwrap();
    for (from, to) in [
        (
            "examples/larchfield/drive.jpg",
            "10423358-customer-with-a-long-name drive.jpg",
        ),
        (
            "examples/larchfield/coast.jpg",
            "10423358-customer-with-a-long-name coast.jpg",
        ),
        ("fixtures/painted/blurred.jpg", "blurred.jpg"),
        ("fixtures/README.md", "notes.jpg"),
    ] {
        std::fs::copy(root(from), inbox.join(to)).unwrap();
    }
    let plan = plan(
        &inbox,
        walk(&inbox, &WalkRules::default()).unwrap(),
        &PlanRules::default(),
    );
    let store = Store::open(&inbox.join(STORE_NAME)).unwrap();
    let pictures = inbox.join("readings");
    let reader = Reader {
        store: &store,
        pictures: &pictures,
        threads: 2,
        memory_bytes: 1_000_000_000,
        stop: &AtomicBool::new(false),
        draw: &draw,
        done: &|_, _, _| {},
        hashes: Mutex::default(),
    };
    let found: Vec<_> = reader.read(&plan).unwrap().into_iter().flatten().collect();
    let lot = BatchResult::new(&plan, &found, |_| Units::In);
    let mut sheet = String::new();
    batch_sheet(&lot, "post", &Letter::default(), |part| {
        sheet.push_str(part);
        Ok(())
    })
    .unwrap();
    let path = inbox.join("sheet.html");
    std::fs::write(&path, sheet.replace("<details>", "<details open>")).unwrap();
    let of_photos = std::fs::read_dir(&pictures)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "html"));
    std::iter::once(path).chain(of_photos).collect()
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn every_page_fits_a_phone_and_a_desk_and_nothing_is_overprinted() {
    let folder = tempfile::tempdir().unwrap();
    let pages = pages(folder.path());
    assert_eq!(pages.len(), 9);
    let mut wrong = Vec::new();
    for (width, height, phone) in [(360, 740, true), (1280, 900, false)] {
        let browser = Browser::open(width, height, phone);
        for page in &pages {
            browser.go(&format!("file://{}", page.display()).replace(' ', "%20"));
            let shown = browser.script(OVERPRINTED);
            let name = page.file_name().unwrap().to_string_lossy();
            if shown[0] != serde_json::json!([]) || shown[1].as_u64() > Some(u64::from(width)) {
                wrong.push(format!("{name} at {width}: {shown}"));
            }
            assert!(shown[2].as_u64() > Some(3), "{name}: {shown}");
            if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
                let high = browser.script("return document.documentElement.scrollHeight;");
                let taken =
                    browser.whole_page(width, high.as_u64().unwrap_or(900).min(9000) as u32);
                std::fs::write(format!("{folder}/page-{name}-{width}.png"), taken).unwrap();
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
