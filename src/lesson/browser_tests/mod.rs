//! The page on which to move the gears, and that of the quiz, in a real browser. Left out of `cargo test`, for it needs
//! chromium: `cargo test --release --lib browser_tests -- --ignored` fails where the browser is missing.

mod all_pages;
pub(crate) mod driver;

use crate::contact::Misalignment;
use crate::frames::Side;
use crate::lesson::case::Case;
use crate::lesson::explore;
use crate::lesson::quiz::{self, Answer, Fault, Quiz, score};
use crate::lesson::sheet;
use crate::units::Units;
use driver::{Browser, LEAST_CONTRAST};

struct Page {
    browser: Browser,
    _folder: tempfile::TempDir,
}

fn open(width: u32, height: u32, phone: bool) -> Page {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("gears.html");
    let sets = explore::examples().unwrap();
    std::fs::write(&path, explore::page(&sets, Units::Mm).unwrap()).unwrap();
    let browser = Browser::open(width, height, phone);
    browser.go(&format!("file://{}", path.display()));
    if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
        let name = format!("{folder}/explore-{width}.png");
        std::fs::write(name, browser.screenshot()).unwrap();
    }
    Page {
        browser,
        _folder: folder,
    }
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_page_agrees_with_the_program_and_loads_nothing() {
    let page = open(1000, 900, false);
    let compared = page.browser.script("return compare();");
    println!("{compared}");
    assert_eq!(compared["places"], 4 * 24);
    assert_eq!(compared["words"], 0);
    assert!(compared["centre"].as_f64().unwrap() < 1e-5);
    assert!(compared["backlash"].as_f64().unwrap() < 1e-5);
    let loaded = page
        .browser
        .script("return performance.getEntriesByType('resource').length;");
    assert_eq!(loaded, 0);
    // Not asserted: how long a redraw takes depends on the machine.
    let times = page.browser.script(
        "const all = []; for (let k = 0; k < 200; k++) { show(0.4 * Math.sin(k), 0.4 * Math.cos(2 * k)); all.push(lastRedrawMs); }
         all.sort((a, b) => a - b); return [all[100], all[180], all[199]];",
    );
    println!("redraw, ms: median, 90 %, worst of 200: {times}");
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn keys_move_the_gears_as_the_program_has_it() {
    let page = open(1000, 900, false);
    let sets = explore::examples().unwrap();
    // Right arrow and page up, left arrow (WebDriver's key codes).
    let (right, left, page_up) = ('\u{e014}', '\u{e012}', '\u{e00e}');
    page.browser.keys(
        "pinion",
        &format!("{page_up}{page_up}{right}{right}{right}"),
    );
    page.browser.keys("ring", &left.to_string().repeat(7));
    let misalignment = Misalignment {
        pinion_mm: 0.23,
        ring_mm: -0.07,
        ..Misalignment::default()
    };
    let case = Case::new(&sets[0].set, misalignment, 0.0);
    let shown = page.browser.script("return state.shown;");
    for side in Side::BOTH {
        let truth = case.state.side(side).patch.unwrap().centre;
        let own = &shown["patches"][side as usize];
        assert!((own["length"].as_f64().unwrap() - truth.length).abs() < 1e-5);
        assert!((own["height"].as_f64().unwrap() - truth.height).abs() < 1e-5);
        let said = page.browser.script(&format!(
            "return byId('said{}').textContent;",
            side as usize
        ));
        assert_eq!(said, *case.words[side as usize].as_ref().unwrap().words);
    }
    assert!((shown["backlash"].as_f64().unwrap() - case.backlash_mm).abs() < 1e-5);
    // The picture itself shows the patch where the numbers have it: grey there, compound at the ends.
    let lights = page.browser.script(
        "const view = views[0], p = state.shown.patches[0]; const { width, height, context, outline, top, scale } = view;
         const mix = ([a, b], x) => a + (b - a) * x;
         const light = (u, v) => { const y = (top - mix(outline.root_mm, u) - v * (mix(outline.tip_mm, u) - mix(outline.root_mm, u))) * scale + 1;
           const [r, g, b] = context.getImageData(u * width, y, 1, 1).data.map(Number);
           const c = (x) => { x /= 255; return x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4; };
           return 0.2126 * c(r) + 0.7152 * c(g) + 0.0722 * c(b); };
         return [light(p.length + 0.04, p.height + 0.04), light(0.02, 0.5), light(0.02, 0.9)];",
    );
    let light = |k: usize| lights[k].as_f64().unwrap();
    // Lightness alone tells steel from compound, whatever colours the eye sees: 3 to 1 (WCAG 2.1, 1.4.11).
    for end in [1, 2] {
        let contrast = (light(end) + 0.05) / (light(0) + 0.05);
        assert!(contrast > 3.0, "{contrast}");
    }
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_exercise_is_played_by_keys_and_counts_assemblies() {
    let page = open(1000, 900, false);
    let (enter, right, left) = ('\u{e007}', '\u{e014}', '\u{e012}');
    page.browser.keys("start", &enter.to_string());
    let hidden = page
        .browser
        .script("return [state.hidden.pinion, state.shown.right];");
    assert_eq!(hidden[1], false);
    let back = -hidden[0].as_f64().unwrap();
    let key = if back > 0.0 { right } else { left };
    let steps = (back.abs() / 0.01).round() as usize;
    let before = page
        .browser
        .script("return byId('said0').textContent + byId('said1').textContent;");
    page.browser.keys("pinion", &key.to_string().repeat(steps));
    // Nothing is seen before the gears are assembled again.
    let after = page
        .browser
        .script("return byId('said0').textContent + byId('said1').textContent;");
    assert_eq!(before, after);
    page.browser.keys("roll", &enter.to_string());
    let result = page.browser.script("return byId('result').textContent;");
    assert!(
        result.as_str().unwrap().starts_with("Right after 1 change"),
        "{result}"
    );
    // Every exercise can be solved, and plain proportion solves it in few changes.
    let pars = page.browser.script(
        "const all = []; for (const set of page.sets) for (const level of [1, 2, 3]) for (let n = 1; n <= 20; n++) all.push(par(set, hiddenError(set, level, n)));
         return all;",
    );
    let pars: Vec<i64> = pars
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_i64().unwrap())
        .collect();
    assert_eq!(pars.len(), 4 * 3 * 20);
    assert!(pars.iter().all(|n| (1..=5).contains(n)), "{pars:?}");
    println!(
        "{:?}",
        [1, 2, 3, 4, 5].map(|k| pars.iter().filter(|n| **n == k).count())
    );
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_page_is_readable_on_a_phone_and_in_contrast() {
    for (width, height, phone) in [(360, 740, true), (1000, 900, false)] {
        let page = open(width, height, phone);
        page.browser.script("start();");
        let wide = page.browser.script(
            "return [document.documentElement.scrollWidth, innerWidth, Math.min(...[...document.querySelectorAll('p, label, td, th, button')]
             .map((e) => parseFloat(getComputedStyle(e).fontSize)))];",
        );
        assert!(wide[0].as_f64() <= wide[1].as_f64(), "{wide}");
        assert_eq!(wide[1], width);
        assert!(wide[2].as_f64().unwrap() >= 14.0, "{wide}");
        // AA for text: 4.5 to 1 (WCAG 2.1, 1.4.3).
        let least = page.browser.script(LEAST_CONTRAST);
        println!("{width}: {least}");
        assert!(least[0].as_f64().unwrap() >= 4.5, "{least}");
    }
}

/// The page scores as the program does, whatever is answered.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_quiz_page_scores_as_the_program_and_its_lines_are_graded_alike() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("quiz.html");
    let quiz = Quiz::new(7).unwrap();
    let text = quiz::page::page(&quiz, 12, (200, 150), Units::Mm, &mut |_| {}).unwrap();
    std::fs::write(&path, text).unwrap();
    let browser = Browser::open(1000, 900, false);
    browser.go(&format!("file://{}", path.display()));
    assert_eq!(
        browser.script("return performance.getEntriesByType('resource').filter((e) => !e.name.startsWith('data:')).length;"),
        0
    );
    let faults = [
        vec![],
        vec![Fault::PinionFar],
        vec![Fault::PinionNear, Fault::RingFar],
        vec![Fault::RingNear],
    ];
    let mut points = std::collections::BTreeSet::new();
    for number in 1..=12 {
        let question = quiz.question(number).unwrap();
        for k in 0..24 {
            let spread = |n: u32| 0.5 * f64::from((number * 31 + k * 17 + n * 7) % 41) / 20.0 - 0.5;
            let answer = Answer {
                drive_first: k % 2 == 0,
                faults: faults[(k % 4) as usize].clone(),
                pinion_mm: if k < 6 {
                    -question.misalignment.pinion_mm
                } else {
                    spread(1)
                },
                ring_mm: if k < 8 {
                    -question.misalignment.ring_mm
                } else {
                    spread(2)
                },
            };
            let words: Vec<&str> = answer.faults.iter().map(|f| f.word()).collect();
            let asked = serde_json::json!({"drive": if answer.drive_first { "a" } else { "b" },
                "faults": words, "pinionMm": answer.pinion_mm, "ringMm": answer.ring_mm});
            let own = browser.script(&format!(
                "const s = scoreOf(page.questions[{}], {asked}); return [s.points, s.flank, s.fault, s.after.words, s.after.right];",
                number - 1
            ));
            let truth = score(&quiz, &question, &answer);
            points.insert(truth.points);
            let truth = serde_json::json!([
                truth.points,
                truth.flank,
                truth.fault,
                truth.after.words,
                truth.after.right
            ]);
            assert_eq!(own, truth, "{question:?} {answer:?}");
        }
    }
    assert!(points.len() > 10, "{points:?}");
    // Played by keys: name, an answer, the next question.
    browser.keys("learner", "Ines");
    browser.keys("pinion", "\u{e003}0.2");
    // Without the photo there is no answer.
    browser.keys("answer", "\u{e007}");
    assert_eq!(browser.script("return state.answers.length;"), 0);
    browser.keys("drive-b", " ");
    browser.keys("answer", "\u{e007}");
    let told = browser.script("return byId('told').textContent;");
    assert!(told.as_str().unwrap().contains("of 100 points"), "{told}");
    if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
        std::fs::write(format!("{folder}/quiz.png"), browser.screenshot()).unwrap();
    }
    browser.keys("next", "\u{e007}");
    browser.keys("drive-a", " ");
    browser.keys("answer", "\u{e007}");
    let rows = browser.script("return [byId('rows').value, state.answers.map((a) => a.points)];");
    let table = rows[0].as_str().unwrap();
    let table = quiz::grade::Table::read(table, &path).unwrap();
    let told = quiz::grade::Told {
        count: None,
        seed: false,
        units: Units::In,
    };
    let grades = quiz::grade::grade(&quiz, &table, told);
    assert_eq!((grades.questions, grades.notes.len()), (12, 0));
    assert!(grades.refused.is_empty(), "{rows}");
    let graded: Vec<u32> = grades.answers.iter().map(|g| g.score.points).collect();
    assert_eq!(rows[1], serde_json::json!(graded));
    assert_eq!(grades.learners[0].learner, "Ines");
    assert_eq!(grades.answers[0].answer.pinion_mm, -0.2);
    let drive: Vec<bool> = grades
        .answers
        .iter()
        .map(|g| g.answer.drive_first)
        .collect();
    assert_eq!(drive, [false, true]);
    // Kept over a reload.
    browser.go(&format!("file://{}", path.display()));
    assert_eq!(browser.script("return state.answers.length;"), 2);
    let least = browser.script(LEAST_CONTRAST);
    assert!(least[0].as_f64().unwrap() >= 4.5, "{least}");
    // On a phone nothing runs off to the side.
    let phone = Browser::open(360, 740, true);
    phone.go(&format!("file://{}", path.display()));
    let wide = phone.script("return document.documentElement.scrollWidth;");
    assert_eq!(wide, 360);
    if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
        std::fs::write(format!("{folder}/quiz-360.png"), phone.screenshot()).unwrap();
    }
}

/// On a phone the sheets are one column of letters that can be read; where there is room they are whole pages.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_sheets_fit_a_phone_and_a_wide_screen() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lessons.html");
    let sets = vec![crate::lesson::case::Set::example(crate::schema::Cutting::FaceMilled).unwrap()];
    let wanted = sheet::Wanted {
        units: Units::In,
        seed: 5,
        photo: (320, 240),
    };
    let pages = sheet::sheets(&sets, &wanted).unwrap().pages;
    std::fs::write(&path, sheet::html("Lessons", &pages)).unwrap();
    for (width, height, phone) in [(360, 740, true), (1280, 900, false)] {
        let browser = Browser::open(width, height, phone);
        browser.go(&format!("file://{}", path.display()));
        let shown = browser.script(
            "const seen = [...document.querySelectorAll('.column p, .column h2')].filter((e) => e.offsetParent);
             return [document.documentElement.scrollWidth, seen.length, Math.min(99, ...seen.map((e) => parseFloat(getComputedStyle(e).fontSize))),
             Math.max(0, ...[...document.querySelectorAll('.column svg')].map((e) => e.getBoundingClientRect().right))];",
        );
        assert!(shown[0].as_u64() <= Some(u64::from(width)), "{shown}");
        assert_eq!(shown[1].as_u64() > Some(0), phone, "{shown}");
        assert!(shown[2].as_f64().unwrap() >= 14.0, "{shown}");
        assert!(shown[3].as_f64().unwrap() <= f64::from(width), "{shown}");
        if let Ok(folder) = std::env::var("FLANKREAD_SCREENSHOTS") {
            std::fs::write(
                format!("{folder}/lessons-{width}.png"),
                browser.screenshot(),
            )
            .unwrap();
        }
    }
}
