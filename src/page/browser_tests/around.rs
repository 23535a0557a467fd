//! Around the way of a job: names of others, keys alone, pairing, pages of other rooms.

use super::{Phone, example};
use crate::lesson::browser_tests::driver::Browser;
use crate::page::tests::lent::{card, serve};
use serde_json::json;
use std::path::Path;

/// Names are words, whatever is in them.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn names_of_others_are_text() {
    let phone = Phone::new(360, 640);
    let name = "<img src=x onerror=\"window.ran=1\"><script>window.ran=1</script>";
    let page = phone.page.as_ref().unwrap();
    page.send(
        "POST",
        "/api/jobs",
        &json!({"name": name, "axle": name, "by": name}),
    );
    page.send(
        "POST",
        "/api/jobs/1/notes",
        &json!({"text": name, "not_found": true}),
    );
    page.send(
        "POST",
        "/api/jobs/1/trials",
        &json!({"backlash": ["0.2mm"], "note": name}),
    );
    page.send(
        "POST",
        "/api/jobs/1/trials/1/strike",
        &json!({"because": name}),
    );
    for address in [
        "/",
        "/#/job/1",
        "/#/job/1/numbers",
        "/#/job/1/advice",
        "/api/jobs/1/sheet.html",
    ] {
        phone.browser.go("about:blank");
        phone
            .browser
            .go(&format!("http://127.0.0.1:{}{address}", page.port));
        phone.browser.wait("document.body.innerText.length > 40");
        std::thread::sleep(std::time::Duration::from_millis(300));
        let seen = phone
            .browser
            .script("return [window.ran || 0, document.querySelectorAll('img[src=x]').length];");
        assert_eq!(seen, json!([0, 0]), "{address}");
    }
    // A script of the page itself could not run one either.
    phone
        .browser
        .go(&format!("http://127.0.0.1:{}/", page.port));
    let ran = phone.browser.script(
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1'; document.body.appendChild(s); return window.ran || 0;",
    );
    assert_eq!(ran, 0);
}

/// The whole way by keys alone, each screen's first words read out.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn keys_alone_lead_to_the_advice_and_every_control_has_a_name() {
    let phone = Phone::new(1280, 900);
    let enter = "\u{e007}";
    let press = |id: &str| {
        phone.browser.wait(&format!(
            "document.getElementById('{id}') && !document.getElementById('{id}').disabled"
        ));
        let nameless = phone.browser.script(
            "return [...document.querySelectorAll('button, input, textarea, canvas, svg')].filter((e) => e.offsetParent
               && !(e.getAttribute('aria-label') || e.textContent.trim() || e.labels && e.labels.length)).map((e) => e.id || e.outerHTML);",
        );
        assert_eq!(nameless, json!([]), "{id}");
        phone.browser.keys(id, enter);
    };
    press("begin-with-card");
    press("not-found");
    for side in ["drive", "coast"] {
        phone.browser.wait(&format!("document.getElementById('camera') && document.getElementById('title').textContent.includes('{side}')"));
        assert_eq!(
            phone.browser.script("return document.activeElement.id;"),
            "title"
        );
        phone
            .browser
            .keys("camera", &example(&format!("larchfield/{side}.jpg")));
        phone.browser.wait("document.getElementById('confirm')");
        phone.seen();
        phone.shot(side);
        press("confirm");
    }
    phone.browser.wait("document.getElementById('key-7')");
    // Digits are typed wherever the focus is.
    phone.browser.keys("field-backlash", "11");
    press("key-next");
    phone.browser.keys("field-pinion_shim", "30");
    phone.fits("numbers");
    press("log");
    phone.browser.wait("document.getElementById('do')");
    phone.fits("advice");
    let live = phone
        .browser
        .script("return document.getElementById('told').getAttribute('aria-live');");
    assert_eq!(live, "polite");
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn screens_fit_a_tablet_too() {
    let mut phone = Phone::new(768, 1024);
    phone.first_advice();
}

/// A phone of the network: the code is typed, then the page is there.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_phone_is_paired_by_the_code_on_the_screen() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), true, Some(card()));
    let pass = page.pass.clone().unwrap();
    let browser = Browser::open(360, 640, true);
    browser.go(&format!("http://127.0.0.1:{}/", page.port));
    browser.wait("document.getElementById('code')");
    browser.keys(
        "code",
        &format!("{} {}{}", &pass.phone[..4], &pass.phone[4..], "\u{e007}"),
    );
    browser.wait("document.getElementById('begin-with-card')");
    // The address behind the picture of the code does it alone; this one is for the machine's own browser.
    let own = Browser::open(360, 640, true);
    own.go(&format!("http://127.0.0.1:{}/pair#{}", page.port, pass.own));
    own.wait("document.getElementById('begin-with-card')");
}

/// The pages of other rooms run under the page's rules.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn explore_and_quiz_run_behind_the_page() {
    let phone = Phone::new(360, 640);
    let port = phone.page.as_ref().unwrap().port;
    phone
        .browser
        .go(&format!("http://127.0.0.1:{port}/learn/explore"));
    assert_eq!(phone.browser.script("return compare().words;"), 0);
    phone
        .browser
        .go(&format!("http://127.0.0.1:{port}/learn/quiz"));
    phone.browser.wait("page.questions.length === 5");
}

/// What `flankread batch` wrote is shown; a reply can be changed and copied.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_batch_s_replies_are_shown_to_be_changed() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("flankread-batch");
    std::fs::create_dir_all(&out).unwrap();
    let line = json!({"schema": "flankread/batch-set/1", "set": "order <b>17</b>", "verdict": "urgent", "reply": "Dear customer"});
    std::fs::write(out.join("sets.jsonl"), format!("{line}\n")).unwrap();
    let page = serve(folder.path(), false, None);
    let browser = Browser::open(360, 640, true);
    browser.go(&format!("http://127.0.0.1:{}/", page.port));
    browser.tap("batch");
    browser.wait("document.querySelector('summary')");
    browser.script("document.querySelector('details').open = true;");
    browser.keys("reply-0", " of ours");
    browser.tap("copy-0");
    browser.wait("document.getElementById('told').textContent");
    let seen = browser.script("return [document.querySelector('summary').textContent, document.getElementById('reply-0').value];");
    assert_eq!(
        seen,
        json!(["order <b>17</b>: urgent", "Dear customer of ours"])
    );
}

/// The rooms below name options of the command line in what they say; on the page there are none.
#[test]
#[ignore = "needs chromium and chromedriver"]
fn no_option_of_the_command_line_is_left_in_what_is_said() {
    let phone = Phone::new(360, 640);
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut said = 0;
    for file in [
        "reading/judge.rs",
        "reading/read_photo.rs",
        "reading/set_of_photos.rs",
        "flank/find.rs",
        "rules/trial.rs",
        "rules/direction.rs",
        "job/photos.rs",
        "job/next.rs",
        "job/writes.rs",
        "setup/usual.rs",
    ] {
        let text = std::fs::read_to_string(source.join(file)).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        let lines = code
            .lines()
            .map(|line| line.split("//").next().unwrap().trim());
        // Texts of several lines are joined as the compiler joins them.
        let code: String = lines.collect::<Vec<_>>().join("\n").replace("\\\n", "");
        // What is filled in stands as its name.
        let code = code.replace(['{', '}'], "");
        let texts = code.split('"').skip(1).step_by(2);
        // Commands stand in a field of their own, which the page does not show.
        let shown = texts.filter(|text| {
            text.contains("--") && !text.starts_with("flankread ") && !text.starts_with(" --")
        });
        for text in shown {
            let plain = phone
                .browser
                .script(&format!("return bench.plain({});", json!(text)));
            let plain = plain.as_str().unwrap();
            assert!(
                !plain.contains("--") && !plain.contains("`flankread"),
                "{file}: {plain}"
            );
            said += 1;
        }
    }
    assert!(said > 12, "{said}");
}
