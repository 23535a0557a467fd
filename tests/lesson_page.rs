//! The page on which to move the gears, in a real browser. Left out of `cargo test`, for it needs
//! chromium: `cargo test --test lesson_page -- --ignored` fails where the browser is missing.

#[path = "browser/mod.rs"]
mod browser;

use browser::{Browser, LEAST_CONTRAST};
use flankread::contact::Misplacement;
use flankread::frames::Side;
use flankread::lesson::case::Case;
use flankread::lesson::explore;
use flankread::units::Units;

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
    let misplacement = Misplacement {
        pinion_mm: 0.23,
        ring_mm: -0.07,
        ..Misplacement::default()
    };
    let case = Case::new(&sets[0].set, misplacement, 0.0);
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
