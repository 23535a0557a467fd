//! The page on a phone that is touched, in a real browser: `cargo test --release --lib browser_tests -- --ignored`.

mod around;

use super::tests::lent::{Served, card, serve};
use crate::lesson::browser_tests::driver::{Browser, LEAST_CONTRAST};
use crate::reading::{ReadOptions, read_photo};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// A phone with the page on it.
struct Phone {
    browser: Browser,
    page: Option<Served>,
    folder: tempfile::TempDir,
    width: u32,
    taps: u32,
}

fn example(name: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join("examples").join(name).display().to_string()
}

impl Phone {
    fn new(width: u32, height: u32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let page = serve(folder.path(), false, Some(card()));
        let browser = Browser::open(width, height, true);
        browser.go(&format!("http://127.0.0.1:{}/", page.port));
        Self {
            browser,
            page: Some(page),
            folder,
            width,
            taps: 0,
        }
    }

    fn tap(&mut self, id: &str) {
        self.browser.tap(id);
        self.taps += 1;
    }

    /// The camera's button is touched and gives a photo.
    fn photo(&mut self, file: &str) {
        self.browser.wait("document.getElementById('camera')");
        self.browser.keys("camera", file);
        self.taps += 1;
    }

    fn text(&self, id: &str) -> String {
        let text = self.browser.script(&format!(
            "return document.getElementById('{id}').textContent;"
        ));
        text.as_str().unwrap().to_owned()
    }

    fn shot(&self, name: &str) {
        if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
            let path = format!("{folder}/page-{name}-{}.png", self.width);
            std::fs::write(path, self.browser.screenshot()).unwrap();
        }
    }

    /// The computer's picture stands under the outlines.
    fn seen(&self) {
        self.browser
            .wait("document.querySelector('#photo[data-shown]')");
    }

    /// A screen runs off to no side, can be read in the sun and be touched with gloves.
    fn fits(&self, screen: &str) {
        let seen = self.browser.script(
            "const touched = [...document.querySelectorAll('button, summary, label.touch, label.check, input[type=text], textarea, a.touch')]
               .filter((e) => e.offsetParent && !e.closest('.handles'));
             const sizes = touched.map((e) => { const b = e.getBoundingClientRect(); return Math.min(b.width, b.height); });
             return [document.documentElement.scrollWidth, innerWidth, Math.min(99, ...sizes)];",
        );
        assert!(seen[0].as_f64() <= seen[1].as_f64(), "{screen}: {seen}");
        assert!(seen[2].as_f64().unwrap() >= 48.0, "{screen}: {seen}");
        let least = self.browser.script(LEAST_CONTRAST);
        assert!(least[0].as_f64().unwrap() >= 7.0, "{screen}: {least}");
        self.shot(screen);
    }

    /// From nothing to the first advice.
    fn first_advice(&mut self) {
        self.browser
            .wait("document.getElementById('begin-with-card')");
        self.fits("home");
        self.tap("begin-with-card");
        self.browser.wait("document.getElementById('not-found')");
        self.fits("found");
        self.tap("not-found");
        self.browser.wait("document.getElementById('camera')");
        self.fits("take");
        self.photo(&example("larchfield/drive.jpg"));
        self.browser.wait("document.getElementById('confirm')");
        self.seen();
        self.fits("drive");
        self.tap("confirm");
        self.browser
            .wait("document.getElementById('title').textContent.includes('coast')");
        self.photo(&example("larchfield/coast.jpg"));
        self.tap("confirm");
        self.browser.wait("document.getElementById('log')");
        self.shot("keys");
        self.numbers(&["1", "1", "next", "3", "0"]);
        self.fits("numbers");
        self.tap("log");
        self.browser.wait("document.getElementById('do')");
        self.fits("advice");
    }

    fn numbers(&mut self, keys: &[&str]) {
        for key in keys {
            self.tap(&format!("key-{key}"));
        }
    }

    fn photo_path(&self, answer: &Value) -> PathBuf {
        let told = answer["reading"]["photo"]["path"].as_str().unwrap();
        self.folder.path().join("workshop-photos").join(told)
    }
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn twelve_taps_and_two_photos_lead_from_nothing_to_advice() {
    let mut phone = Phone::new(360, 640);
    phone.first_advice();
    // The two taps on the camera's button are among them.
    println!("{} taps", phone.taps);
    assert!(phone.taps <= 12, "{}", phone.taps);
    let said = phone.text("do");
    assert!(
        said.starts_with("Add 7.0 thou behind the head bearing. Leave the side"),
        "{said}"
    );
    let cautions = phone.text("cautions");
    for part in ["manual", "local rules", "licensed"] {
        assert!(cautions.contains(part), "{cautions}");
    }
    let open = phone
        .browser
        .script("return document.getElementById('why').open;");
    assert_eq!(open, false);
    // Nothing came from elsewhere.
    let elsewhere = phone.browser.script(
        "return performance.getEntriesByType('resource').map((e) => e.name).filter((n) => !n.startsWith(location.origin) && !n.startsWith('data:') && !n.startsWith('blob:'));",
    );
    assert_eq!(elsewhere, json!([]));
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_corner_follows_the_thumb_as_the_command_line_reads_it() {
    let mut phone = Phone::new(360, 640);
    phone.tap("begin-with-card");
    phone.tap("not-found");
    phone.photo(&example("larchfield/drive.jpg"));
    phone.browser.wait("document.getElementById('confirm')");
    let found = phone.text("result");
    phone.tap("flank-2");
    let handle = phone.browser.script(
        "const b = document.getElementById('handle-1').getBoundingClientRect(); return [b.left + 24, b.top + 24];",
    );
    let at = [0, 1].map(|k| handle[k].as_f64().unwrap());
    phone
        .browser
        .touch(&[at, [at[0] + 4.0, at[1] - 8.0], [at[0] + 9.0, at[1] - 17.0]]);
    phone
        .browser
        .wait("!document.getElementById('undo').disabled");
    phone.fits("held");
    let dragged = phone.text("result");
    assert_ne!(dragged, found);
    let job = phone.page.as_ref().unwrap().get("/api/sets/job-1").json();
    let id = job["drive"]["photo"].as_str().unwrap().to_owned();
    let answer = phone
        .page
        .as_ref()
        .unwrap()
        .get(&format!("/api/sets/job-1/photos/{id}"))
        .json();
    // The marks file as `flankread read --card` uses it.
    let path = phone.photo_path(&answer);
    let opened = crate::Photo::open(&path).unwrap();
    let marks = crate::Marks::read(format!("{}.marks.json", path.display()), &opened).unwrap();
    let options = ReadOptions {
        marks: Some(marks),
        ..ReadOptions::of_card(&card())
    };
    let read = read_photo(&opened, &options).reading;
    let mean = read.mean.unwrap().centre;
    let words = format!("{:.0}", 100.0 * mean.length);
    assert!(
        dragged.contains(&format!("stands {words} ± ")),
        "{dragged}: {mean:?}"
    );
    assert_eq!(answer["reading"]["mean"], json!(read.mean));
    assert_eq!(answer["reading"]["teeth"], json!(read.teeth));
    // The same corner by keys: right arrow, three times.
    let before = answer["reading"]["teeth"][1]["corners"]["toe_tip"][0]
        .as_f64()
        .unwrap();
    phone.browser.keys("handle-1", "\u{e014}\u{e014}\u{e014}");
    let corner = || {
        let came = phone
            .page
            .as_ref()
            .unwrap()
            .get(&format!("/api/sets/job-1/photos/{id}"))
            .json();
        came["reading"]["teeth"][1]["corners"]["toe_tip"][0]
            .as_f64()
            .unwrap()
    };
    let shown = || {
        let at = phone
            .browser
            .script("return bench.outline.flanks[1].toe_tip[0];");
        at.as_f64().unwrap()
    };
    for _ in 0..200 {
        if (corner() - shown()).abs() < 0.01 {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    // A press is a pixel of the screen; the photo has some to each.
    assert!(shown() > before + 2.9, "{before} {}", shown());
    assert!(
        (corner() - shown()).abs() < 0.01,
        "{} {}",
        corner(),
        shown()
    );
    // Everything back, step by step: the outlines that were found.
    for _ in 0..4 {
        phone.browser.tap("undo");
        std::thread::sleep(std::time::Duration::from_millis(700));
    }
    phone.browser.wait(&format!(
        "document.getElementById('result').textContent === {}",
        json!(found)
    ));
    let answer = phone
        .page
        .as_ref()
        .unwrap()
        .get(&format!("/api/sets/job-1/photos/{id}"))
        .json();
    assert_eq!(answer["marked"], false);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_wrong_photo_says_on_the_spot_what_to_do() {
    let mut phone = Phone::new(360, 640);
    phone.tap("begin-with-card");
    phone.tap("not-found");
    // A text with a picture's name, then a picture without a gear.
    let text = phone.folder.path().join("note.jpg");
    std::fs::write(&text, "tooth contact").unwrap();
    phone.photo(text.to_str().unwrap());
    phone
        .browser
        .wait("document.getElementById('told').textContent.includes('not a picture')");
    let grey = phone.folder.path().join("grey.png");
    image::RgbImage::from_pixel(1200, 900, image::Rgb([90, 90, 90]))
        .save(&grey)
        .unwrap();
    phone.photo(grey.to_str().unwrap());
    phone.browser.wait("document.getElementById('reasons') && document.getElementById('reasons').textContent.length > 20");
    phone.fits("wrong");
    assert_eq!(phone.text("result"), "Cannot be read.");
    assert_eq!(
        phone
            .browser
            .script("return document.getElementById('confirm');"),
        Value::Null
    );
    let words = phone.text("reasons");
    assert!(!words.contains("--"), "{words}");
    // The right one takes its place.
    phone.tap("again");
    phone.photo(&example("larchfield/drive.jpg"));
    phone.browser.wait("document.getElementById('confirm')");
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn two_trials_a_turned_phone_a_new_start_and_the_sheet() {
    let mut phone = Phone::new(360, 640);
    phone.first_advice();
    phone.tap("go-on");
    phone.browser.wait("document.getElementById('camera')");
    phone.photo(&example("larchfield_job/drive-2.jpg"));
    phone.browser.wait("document.getElementById('confirm')");
    // Turned: the photo fills the new width and the outlines stand in it.
    let turned = json!({"width": 740, "height": 360, "deviceScaleFactor": 2, "mobile": true});
    phone
        .browser
        .command("Emulation.setDeviceMetricsOverride", turned);
    phone.browser.wait("Math.abs(document.getElementById('photo').getBoundingClientRect().width - document.getElementById('stage').clientWidth) < 2 && innerWidth > 700");
    phone.seen();
    phone.fits("turned");
    let upright = json!({"width": 360, "height": 640, "deviceScaleFactor": 2, "mobile": true});
    phone
        .browser
        .command("Emulation.setDeviceMetricsOverride", upright);
    phone.tap("confirm");
    phone
        .browser
        .wait("document.getElementById('title').textContent.includes('coast')");
    // The program is ended and started again on the same port's successor; the phone opens the new address.
    phone.page = None;
    phone.page = Some(serve(phone.folder.path(), false, None));
    let port = phone.page.as_ref().unwrap().port;
    phone.browser.go(&format!("http://127.0.0.1:{port}/"));
    phone.tap("job-1");
    phone.browser.wait("document.getElementById('photo-drive')");
    assert!(
        phone.text("photo-drive").starts_with('✓'),
        "{}",
        phone.text("photo-drive")
    );
    phone.fits("job");
    phone.tap("photo-coast");
    phone.photo(&example("larchfield_job/coast-2.jpg"));
    phone.tap("confirm");
    phone
        .browser
        .wait("document.getElementById('field-pinion_shim')");
    assert!(
        phone.text("field-pinion_shim").contains("30 thou"),
        "{}",
        phone.text("field-pinion_shim")
    );
    phone.numbers(&["9", "more", "9", "point", "2", "next", "3", "7"]);
    phone.tap("log");
    phone.browser.wait("document.getElementById('do') && document.getElementById('title').textContent.includes('trial 2')");
    let record = phone.page.as_ref().unwrap().get("/api/jobs/1").json();
    let trial = &record["trials"][1]["trial"];
    let mm = |value: &Value| value.as_f64().unwrap();
    assert!(
        (mm(&trial["backlash_mm"][1]) - 9.2 * 0.0254).abs() < 1e-9,
        "{trial}"
    );
    assert!(
        (mm(&trial["pinion_shim_mm"]) - 37.0 * 0.0254).abs() < 1e-9,
        "{trial}"
    );
    assert!(trial["drive"].is_object() && trial["coast"].is_object());
    // The sheet as the browser prints it, and as the program does.
    phone
        .browser
        .go(&format!("http://127.0.0.1:{port}/api/jobs/1/sheet.html"));
    phone
        .browser
        .wait("document.body.innerText.includes('Larchfield')");
    let printed = phone
        .browser
        .command("Page.printToPDF", json!({"preferCSSPageSize": true}));
    assert!(printed["data"].as_str().unwrap().starts_with("JVBERi0"));
    let own = phone.page.as_ref().unwrap().get("/api/jobs/1/sheet.pdf");
    assert!(own.body.starts_with(b"%PDF-"));
    // The second trial was logged wrong: it is taken back.
    phone
        .browser
        .go(&format!("http://127.0.0.1:{port}/#/job/1/advice"));
    phone.browser.wait("document.getElementById('strike')");
    phone.browser.script("window.confirm = () => true;");
    phone.tap("strike");
    phone.browser.wait("document.getElementById('trial-2') && document.getElementById('trial-2').textContent.includes('struck out')");
}
