//! A browser led by the WebDriver protocol (W3C), as far as the tests need it.

use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

/// A running `chromedriver` with one session.
pub(crate) struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

impl Browser {
    /// A window of a size; a phone's when `phone`.
    ///
    /// # Panics
    /// No `chromedriver` on this machine: `apt-get install chromium chromium-driver`.
    pub(crate) fn open(width: u32, height: u32, phone: bool) -> Self {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is missing: apt-get install chromium chromium-driver");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = loop {
            let line = lines.next().expect("chromedriver said no port").unwrap();
            if let Some((_, port)) = line.split_once("successfully on port ") {
                break port.trim_end_matches('.').parse().unwrap();
            }
        };
        // Its later words go nowhere, but somebody must read them.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let mut options = json!({"args": [
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
            format!("--user-data-dir={}", profile.path().display()),
            format!("--window-size={width},{height}")]});
        if phone {
            options["mobileEmulation"] =
                json!({"deviceMetrics": {"width": width, "height": height, "pixelRatio": 2.0}});
        }
        let mut browser = Self {
            driver,
            port,
            session: String::new(),
            _profile: profile,
        };
        let wanted = json!({"capabilities": {"alwaysMatch": {"goog:chromeOptions": options}}});
        let made = browser.call("POST", "/session", &wanted);
        browser.session = made["sessionId"].as_str().unwrap().to_owned();
        browser
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = body.to_string();
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.port,
            body.len()
        )
        .unwrap();
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).unwrap();
            if line.trim().is_empty() {
                break;
            }
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().unwrap();
            }
        }
        let mut answer = vec![0; length];
        reader.read_exact(&mut answer).unwrap();
        let mut answer: Value = serde_json::from_slice(&answer).unwrap();
        let value = answer["value"].take();
        assert!(value["error"].is_null(), "{path}: {value}");
        value
    }

    fn post(&self, what: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}/{what}", self.session), body)
    }

    /// Opens a page.
    pub(crate) fn go(&self, url: &str) {
        self.post("url", &json!({"url": url}));
    }

    /// What a script's `return` gives.
    pub(crate) fn script(&self, script: &str) -> Value {
        self.post("execute/sync", &json!({"script": script, "args": []}))
    }

    /// Types keys into the element that has an `id`.
    pub(crate) fn keys(&self, id: &str, keys: &str) {
        let found = self.post(
            "element",
            &json!({"using": "css selector", "value": format!("#{id}")}),
        );
        let element = found.as_object().unwrap().values().next().unwrap();
        let element = element.as_str().unwrap();
        self.post(&format!("element/{element}/value"), &json!({"text": keys}));
    }

    /// Waits until a script's condition holds.
    ///
    /// # Panics
    /// It does not for half a minute.
    pub(crate) fn wait(&self, condition: &str) {
        for _ in 0..600 {
            if self.script(&format!("return Boolean({condition});")) == true {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        let seen = self.script("return document.body.innerText;");
        panic!("waited for {condition}; seen: {seen}");
    }

    /// A finger touches the element that has an `id`, once it is there and not at rest.
    pub(crate) fn tap(&self, id: &str) {
        self.wait(&format!(
            "document.getElementById('{id}') && !document.getElementById('{id}').disabled"
        ));
        let at = self.script(&format!(
            "const e = document.getElementById('{id}'); e.scrollIntoView({{block: 'center'}});
             const b = e.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2];"
        ));
        let at = [0, 1].map(|k| at[k].as_f64().unwrap());
        self.touch(&[at]);
    }

    /// A finger goes down at the first place of the window, along the others, and up again.
    pub(crate) fn touch(&self, places: &[[f64; 2]]) {
        let to = |[x, y]: &[f64; 2], ms: u32| json!({"type": "pointerMove", "duration": ms, "x": x.round(), "y": y.round()});
        let mut actions = vec![
            to(&places[0], 0),
            json!({"type": "pointerDown", "button": 0}),
        ];
        actions.extend(places[1..].iter().map(|place| to(place, 40)));
        actions.push(json!({"type": "pointerUp", "button": 0}));
        let finger = json!({"type": "pointer", "id": "finger", "parameters": {"pointerType": "touch"}, "actions": actions});
        self.post("actions", &json!({"actions": [finger]}));
    }

    /// A command of the browser's own protocol.
    pub(crate) fn command(&self, name: &str, parameters: Value) -> Value {
        self.post(
            "goog/cdp/execute",
            &json!({"cmd": name, "params": parameters}),
        )
    }

    /// The page down to a height, as PNG.
    pub(crate) fn whole_page(&self, width: u32, height: u32) -> Vec<u8> {
        use base64::Engine as _;
        let clip = json!({"x": 0, "y": 0, "width": width, "height": height, "scale": 1});
        let taken = self.post(
            "goog/cdp/execute",
            &json!({"cmd": "Page.captureScreenshot", "params": {"captureBeyondViewport": true, "clip": clip}}),
        );
        base64::engine::general_purpose::STANDARD
            .decode(taken["data"].as_str().unwrap())
            .unwrap()
    }

    /// The window as PNG.
    pub(crate) fn screenshot(&self) -> Vec<u8> {
        use base64::Engine as _;
        let taken = self.call(
            "GET",
            &format!("/session/{}/screenshot", self.session),
            &json!({}),
        );
        base64::engine::general_purpose::STANDARD
            .decode(taken.as_str().unwrap())
            .unwrap()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            self.call("DELETE", &format!("/session/{}", self.session), &json!({}));
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// Least contrast (WCAG 2.1) of any text that is shown, with the text.
pub(crate) const LEAST_CONTRAST: &str = r"
const channel = (c) => { c /= 255; return c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
const parse = (text) => text.match(/[\d.]+/g).map(Number);
let least = [21, ''];
for (const element of document.querySelectorAll('body *')) {
  const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  if (!own || !element.offsetParent || ['SCRIPT', 'STYLE'].includes(element.tagName)) continue;
  let behind = element, paint = [0, 0, 0, 0];
  for (; behind; behind = behind.parentElement) {
    const c = parse(getComputedStyle(behind).backgroundColor);
    if (c.length === 3 || c[3] > 0) { paint = c; break; }
  }
  if (!behind) paint = [255, 255, 255];
  const [a, b] = [light(parse(getComputedStyle(element).color)), light(paint)].sort((x, y) => y - x);
  const contrast = (a + 0.05) / (b + 0.05);
  if (contrast < least[0]) least = [contrast, element.textContent.trim().slice(0, 40)];
}
return least;
";
