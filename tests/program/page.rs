//! `flankread page` as a program: what it says when it starts, and that its readings are those of `flankread read`.

use crate::common::{PROGRAM, ended, flankread, only_reading, root};
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

const CARD: &str = "examples/larchfield/card.toml";

/// The program while it serves.
struct Serving {
    child: Child,
    said: Value,
    port: u16,
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Serving {
    fn begin(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(PROGRAM)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["page", "--no-browser", "--port", "0", "--json", "--db"])
            .arg(folder.join("workshop.db"))
            .args(more)
            .env("XDG_CONFIG_HOME", env!("CARGO_TARGET_TMPDIR"))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut text = String::new();
        let said: Value = loop {
            text += &lines.next().expect("it says where it is").unwrap();
            if let Ok(said) = serde_json::from_str(&text) {
                break said;
            }
        };
        let address = said["address"].as_str().unwrap();
        let port = address.trim_end_matches('/').rsplit(':').next().unwrap();
        let port = port.parse().unwrap();
        Self { child, said, port }
    }

    /// Status and document of a request as the page sends it.
    fn ask(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> (u16, Value) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nx-flankread: page\r\nContent-Type: {kind}\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n",
            self.port,
            body.len()
        )
        .unwrap();
        stream.write_all(body).unwrap();
        let mut all = Vec::new();
        stream.read_to_end(&mut all).unwrap();
        let end = all.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
        let head = String::from_utf8_lossy(&all[..end]);
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        let document = serde_json::from_slice(&all[end + 4..]).unwrap_or(Value::Null);
        (status, document)
    }

    fn send(&self, method: &str, path: &str, document: &Value) -> Value {
        let body = document.to_string();
        let (status, answer) = self.ask(method, path, "application/json", body.as_bytes());
        assert_eq!(status, 200, "{path}: {answer}");
        answer
    }
}

#[test]
fn it_says_where_it_is_and_keeps_to_its_schema() {
    let folder = tempfile::tempdir().unwrap();
    let serving = Serving::begin(folder.path(), &[]);
    let (_, schema, _) = ended(flankread().args(["schema", "page"]));
    let schema = serde_json::from_str(&schema).unwrap();
    assert!(
        jsonschema::is_valid(&schema, &serving.said),
        "{}",
        serving.said
    );
    assert_eq!(serving.said["lan"], json!([]));
    assert!(serving.said.get("code").is_none());
    let photos = serving.said["photos"].as_str().unwrap();
    assert_eq!(Path::new(photos), folder.path().join("workshop-photos"));
    // Looking makes nothing.
    let (status, jobs) = serving.ask("GET", "/api/jobs", "", b"");
    assert_eq!((status, &jobs["jobs"]), (200, &json!([])));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    // A port that is taken is told.
    let port = serving.port.to_string();
    let (status, _, error) = ended(flankread().args(["page", "--no-browser", "--port", &port]));
    assert_eq!(status, Some(2), "{error}");
    assert!(error.contains("--port"), "{error}");
}

#[test]
fn open_to_the_network_is_said_plainly() {
    let folder = tempfile::tempdir().unwrap();
    let mut serving = Serving::begin(folder.path(), &["--lan"]);
    let code = serving.said["code"].as_str().unwrap().to_owned();
    assert_eq!(code.len(), 8);
    assert_eq!(serving.ask("GET", "/api/jobs", "", b"").0, 401);
    let stderr = serving.child.stderr.take().unwrap();
    let _ = serving.child.kill();
    let mut said = String::new();
    BufReader::new(stderr).read_to_string(&mut said).unwrap();
    for part in [
        "OPEN TO THE NETWORK",
        "not encrypted",
        &code[..4],
        "good once",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let (_, help, _) = ended(flankread().args(["page", "--help"]));
    for part in ["workshop-photos", "marks.json", "unencrypted", "--photos"] {
        assert!(help.contains(part), "{part}: {help}");
    }
}

#[test]
fn a_photo_on_the_page_reads_as_on_the_command_line_with_and_without_marks() {
    let folder = tempfile::tempdir().unwrap();
    let serving = Serving::begin(folder.path(), &["--card", CARD]);
    serving.send("POST", "/api/jobs", &json!({"name": "Rear"}));
    let photo = std::fs::read(root("examples/larchfield/drive.jpg")).unwrap();
    let path = "/api/sets/job-1/photos?flank=drive";
    let (status, found) = serving.ask("POST", path, "image/jpeg", &photo);
    assert_eq!(status, 200, "{found}");
    let stored = folder.path().join("workshop-photos");
    let stored = stored.join(found["reading"]["photo"]["path"].as_str().unwrap());
    let by_command = || {
        let read = flankread()
            .args(["read", "--json", "--card", CARD])
            .arg(&stored)
            .output()
            .unwrap();
        let mut reading = only_reading(&read.stdout);
        reading["photo"]["path"] = found["reading"]["photo"]["path"].clone();
        reading
    };
    assert_eq!(by_command(), found["reading"]);
    // A corner is dragged: two flanks as found, the third one's corner moved.
    let mut teeth: Vec<Value> = found["reading"]["teeth"].as_array().unwrap()[..3]
        .iter()
        .map(|tooth| tooth["corners"].clone())
        .collect();
    teeth[2]["toe_tip"][0] = json!(teeth[2]["toe_tip"][0].as_f64().unwrap() + 9.0);
    let at = format!(
        "/api/sets/job-1/photos/{}",
        found["photo"].as_str().unwrap()
    );
    let dragged = serving.send("PUT", &format!("{at}/marks"), &json!({"teeth": teeth}));
    assert_ne!(dragged["reading"]["mean"], found["reading"]["mean"]);
    assert_eq!(by_command(), dragged["reading"]);
}

/// What the page says to change carries the same cautions as the command line's advice.
#[test]
fn advice_on_the_page_defers() {
    let folder = tempfile::tempdir().unwrap();
    let serving = Serving::begin(folder.path(), &["--card", CARD]);
    serving.send("POST", "/api/jobs", &json!({"name": "Rear"}));
    for side in ["drive", "coast"] {
        let photo = std::fs::read(root(&format!("examples/larchfield/{side}.jpg"))).unwrap();
        let path = format!("/api/sets/job-1/photos?flank={side}");
        serving.ask("POST", &path, "image/jpeg", &photo);
    }
    let trial = json!({"backlash": ["11 thou"], "pinion_shim": "30 thou"});
    serving.send("POST", "/api/jobs/1/trials", &trial);
    let advice = serving.send("POST", "/api/jobs/1/advice", &json!({}));
    assert_eq!(advice["verdict"], "change");
    let cautions = advice["cautions"].to_string();
    for part in ["manual", "local rules", "licensed"] {
        assert!(cautions.contains(part), "{cautions}");
    }
    let mut by_command = flankread();
    by_command
        .args(["job", "advise", "--json", "--db"])
        .arg(folder.path().join("workshop.db"));
    let (_, said, error) = ended(&mut by_command);
    let said: Value = serde_json::from_str(&said).unwrap_or_else(|_| panic!("{error}"));
    assert_eq!(said, advice);
}
