//! A served page and a client that sends what it is told to, right or wrong.

use crate::page::{Listening, Pass, Settings};
use crate::schema::Card;
use crate::units::{Shown, Units};
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::thread::JoinHandle;
use std::time::Duration;

/// A page that is being served until it is dropped.
pub(crate) struct Served {
    pub port: u16,
    pub pass: Option<Pass>,
    stop: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// An answer as it came.
#[derive(Debug)]
pub(crate) struct Came {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Came {
    pub(crate) fn json(&self) -> Value {
        let text = String::from_utf8_lossy(&self.body);
        serde_json::from_slice(&self.body).unwrap_or_else(|_| panic!("{}: {text}", self.head))
    }

    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let lines = self.head.lines().filter_map(|line| line.split_once(": "));
        let mut found = lines.filter(|(own, _)| own.eq_ignore_ascii_case(name));
        found.next().map(|(_, value)| value)
    }
}

pub(crate) fn card() -> Card {
    Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap()
}

pub(crate) fn photo(name: &str) -> Vec<u8> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    std::fs::read(root.join("examples/larchfield").join(name)).unwrap()
}

/// Serves a workshop that lies in a folder.
pub(crate) fn serve(folder: &Path, lan: bool, card: Option<Card>) -> Served {
    let settings = Settings {
        database: folder.join("workshop.db"),
        photos: folder.join("workshop-photos"),
        card,
        lan,
        port: 0,
        shown: Box::new(|card| Shown::from(card.and_then(|card| card.units).unwrap_or(Units::Mm))),
        inbox: Some(folder.to_owned()),
        new_code: Box::new(|_, _| {}),
    };
    let listening = Listening::bind(settings).unwrap();
    let (port, pass) = (listening.port(), listening.pass());
    let (stop, stopped) = tokio::sync::oneshot::channel();
    let thread = std::thread::spawn(move || {
        let stopped = async {
            let _ = stopped.await;
        };
        listening.serve(stopped).unwrap();
    });
    Served {
        port,
        pass,
        stop: Some(stop),
        thread: Some(thread),
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Served {
    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let patience = Some(Duration::from_secs(60));
        stream.set_read_timeout(patience).unwrap();
        stream
    }

    /// Sends a head as it is and a body after it, and reads what comes back.
    pub(crate) fn raw(&self, head: &str, body: &[u8]) -> Came {
        let mut stream = self.connect();
        stream.write_all(head.as_bytes()).unwrap();
        // Whoever is refused may be cut off while still sending.
        let _ = stream.write_all(body);
        came(&mut stream)
    }

    /// A request with these headers besides those that any must have.
    pub(crate) fn call(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &[u8],
    ) -> Came {
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            head += &format!("Host: 127.0.0.1:{}\r\n", self.port);
        }
        for (name, value) in headers {
            head += &format!("{name}: {value}\r\n");
        }
        if !body.is_empty() || method != "GET" {
            head += &format!("Content-Length: {}\r\n", body.len());
        }
        self.raw(&format!("{head}\r\n"), body)
    }

    pub(crate) fn get(&self, path: &str) -> Came {
        self.call("GET", path, &[], b"")
    }

    /// A document, as the page itself sends it.
    pub(crate) fn send(&self, method: &str, path: &str, document: &Value) -> Came {
        let headers = [
            ("x-flankread", "page"),
            ("Content-Type", "application/json"),
        ];
        self.call(method, path, &headers, document.to_string().as_bytes())
    }

    /// A photo, as the page itself sends it.
    pub(crate) fn upload(&self, set: &str, side: &str, bytes: &[u8]) -> Came {
        let headers = [("x-flankread", "page"), ("Content-Type", "image/jpeg")];
        let path = format!("/api/sets/{set}/photos?flank={side}");
        self.call("POST", &path, &headers, bytes)
    }

    /// A job on the example's card; its number.
    pub(crate) fn job(&self, name: &str) -> i64 {
        let made = self.send("POST", "/api/jobs", &serde_json::json!({"name": name}));
        made.json()["job"].as_i64().unwrap()
    }
}

/// What comes back on a connection until it is closed.
pub(crate) fn came(stream: &mut TcpStream) -> Came {
    let mut all = Vec::new();
    // A connection that is cut after the answer has still brought it.
    let mut part = [0; 4096];
    while let Ok(count @ 1..) = stream.read(&mut part) {
        all.extend_from_slice(&part[..count]);
    }
    let end = all.windows(4).position(|four| four == b"\r\n\r\n");
    let end = end.unwrap_or_else(|| panic!("no answer: {}", String::from_utf8_lossy(&all)));
    let head = String::from_utf8_lossy(&all[..end]).into_owned();
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Came {
        status,
        head,
        body: all[end + 4..].to_vec(),
    }
}
