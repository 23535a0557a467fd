//! What somebody on the network, or another site's page, may try.

use super::lent::{Served, came, card, photo, serve};
use crate::job::strip_metadata::names_a_place;
use crate::page::openapi::description;
use serde_json::json;
use std::io::Write as _;
use std::time::{Duration, Instant};

/// Every address with its method, names filled in.
fn addresses() -> Vec<(String, String)> {
    let described = description();
    let paths = described["paths"].as_object().unwrap();
    let mut all = Vec::new();
    for (path, methods) in paths {
        for method in methods.as_object().unwrap().keys() {
            let path = path
                .replace("{set}", "job-1")
                .replace("{photo}", "0000000000000000")
                .replace("{job}", "1")
                .replace("{trial}", "1")
                .replace("{place}", "0");
            all.push((method.to_uppercase(), path));
        }
    }
    all
}

/// Somebody on the workshop's network who has no code asks for everything there is.
#[test]
fn without_a_code_nothing_is_given_but_the_page_to_type_it() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), true, Some(card()));
    let mut all = addresses();
    assert!(all.len() > 25);
    all.retain(|(_, path)| path != "/api/pair");
    for path in [
        "/",
        "/learn/explore",
        "/learn/quiz",
        "/assets/page.js",
        "/nowhere",
        "/api",
    ] {
        all.push(("GET".into(), path.into()));
    }
    for (method, path) in &all {
        let headers = [
            ("x-flankread", "page"),
            ("Content-Type", "application/json"),
        ];
        let came = page.call(method, path, &headers, b"{}");
        assert_eq!(came.status, 401, "{method} {path}");
    }
    assert_eq!(page.get("/pair").status, 200);
    // A made-up cookie is no pass.
    let cookie = format!("flankread_{}=AAAA; flankread_1=x", page.port);
    assert_eq!(
        page.call("GET", "/api/jobs", &[("Cookie", &cookie)], b"")
            .status,
        401
    );
}

/// With the code read off the screen the same asks are answered, and the code is spent.
#[test]
fn a_code_is_good_once_and_guesses_are_slowed() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), true, Some(card()));
    let code = page.pass.clone().unwrap().phone;
    let pair = |code: &str| page.send("POST", "/api/pair", &json!({"code": code}));
    assert_eq!(pair("AAAAAAAA").status, 403);
    // The next one comes at once: it is not even looked at.
    let soon = pair(&code);
    assert_eq!((soon.status, soon.header("retry-after")), (429, Some("1")));
    std::thread::sleep(Duration::from_millis(1100));
    let paired = pair(&code);
    assert_eq!(paired.status, 200, "{paired:?}");
    let cookie = paired.header("set-cookie").unwrap().to_owned();
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let cookie = cookie.split(';').next().unwrap();
    assert_eq!(
        page.call("GET", "/api/jobs", &[("Cookie", cookie)], b"")
            .status,
        200
    );
    std::thread::sleep(Duration::from_millis(1100));
    assert_eq!(pair(&code).status, 403);
}

/// A name of another site is turned toward this machine, so that its page may ask us (DNS rebinding).
#[test]
fn a_foreign_host_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    for host in [
        "evil.example",
        &format!("evil.example:{}", page.port),
        "127.0.0.1",
        "[::1]:80",
        "",
    ] {
        for path in ["/", "/api/jobs", "/assets/page.js"] {
            assert_eq!(
                page.call("GET", path, &[("Host", host)], b"").status,
                403,
                "{host}"
            );
        }
    }
    assert_eq!(page.get("/api/jobs").status, 200);
    // The whole address in the request line goes before the header, and must be ours too.
    let head = format!(
        "GET http://evil.example/api/jobs HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
        page.port
    );
    assert_eq!(page.raw(&head, b"").status, 403);
}

/// Another site's page sends a form or a script's request to us from the mechanic's own browser.
#[test]
fn another_sites_page_cannot_ask_or_record() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    let body = br#"{"name":"theirs"}"#;
    let own = format!("http://127.0.0.1:{}", page.port);
    let json = ("Content-Type", "application/json");
    let header = ("x-flankread", "page");
    for headers in [
        // A form: no header of ours.
        &[("Content-Type", "text/plain")][..],
        &[json],
        &[json, header, ("Origin", "http://evil.example")],
        &[json, header, ("Origin", "null")],
        &[json, header, ("Origin", "http://127.0.0.1:1")],
        &[json, header, ("Sec-Fetch-Site", "cross-site")],
        &[json, header, ("Sec-Fetch-Site", "same-site")],
    ] {
        assert_eq!(
            page.call("POST", "/api/jobs", headers, body).status,
            403,
            "{headers:?}"
        );
    }
    // Our own script, but a form's type.
    let form = [
        ("Content-Type", "application/x-www-form-urlencoded"),
        header,
    ];
    assert_eq!(page.call("POST", "/api/jobs", &form, body).status, 415);
    for site in ["cross-site", "same-site"] {
        assert_eq!(
            page.call("GET", "/api/jobs", &[("Sec-Fetch-Site", site)], b"")
                .status,
            403
        );
    }
    // No browser is told that another site may ask.
    let asked = page.call(
        "OPTIONS",
        "/api/jobs",
        &[("Origin", "http://evil.example")],
        b"",
    );
    assert_eq!(asked.status, 403);
    assert!(asked.header("access-control-allow-origin").is_none());
    assert_eq!(page.get("/api/jobs").json()["jobs"], serde_json::json!([]));
    let ours = [
        json,
        header,
        ("Origin", own.as_str()),
        ("Sec-Fetch-Site", "same-origin"),
    ];
    assert_eq!(page.call("POST", "/api/jobs", &ours, body).status, 200);
}

/// Names that lead out of the folder, in every place where a name stands.
#[test]
fn no_name_leads_out_of_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    std::fs::write(folder.path().join("secret.jpg"), photo("drive.jpg")).unwrap();
    for name in [
        "..%2fsecret",
        "..%2f..%2fsecret.jpg",
        "%2fetc%2fpasswd",
        "..",
        "%2e%2e",
        "..%5csecret",
        "job-1%00",
        "job-1%2f..",
        "%ff",
        "0000000000000000.jpg",
        "-1",
        "1e3",
    ] {
        for path in [
            format!("/api/sets/{name}"),
            format!("/api/sets/{name}/answer"),
            format!("/api/sets/job-1/photos/{name}"),
            format!("/api/sets/job-1/photos/{name}/picture"),
            format!("/api/jobs/{name}"),
            format!("/api/jobs/1/trials/{name}/photos/0"),
            format!("/api/jobs/1/trials/1/photos/{name}"),
            format!("/api/jobs/{name}/sheet.pdf"),
            format!("/assets/{name}"),
        ] {
            let came = page.get(&path);
            assert!([404, 400].contains(&came.status), "{path}: {}", came.status);
        }
        let upload = page.upload(name, "drive", &photo("drive.jpg"));
        assert_eq!(upload.status, 404, "{name}");
        assert_eq!(page.upload("job-1", name, b"x").status, 400);
    }
    let names: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert!(
        !names.iter().any(|name| name == "workshop-photos"),
        "{names:?}"
    );
}

/// More than a photo weighs, with a length and without.
#[test]
fn a_body_that_is_too_large_is_refused_without_being_read() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let head = |length: &str| {
        format!(
            "POST /api/sets/job-1/photos?flank=drive HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nx-flankread: page\r\n\
             Content-Type: image/jpeg\r\nConnection: close\r\n{length}\r\n\r\n",
            page.port
        )
    };
    let begun = Instant::now();
    let said = page.raw(&head("Content-Length: 4000000000"), b"");
    assert_eq!(said.status, 413);
    // Nothing was sent: had it waited for the body, the time for that would have passed.
    assert!(begun.elapsed() < Duration::from_secs(2));
    let mut stream = page.connect();
    stream
        .write_all(head("Transfer-Encoding: chunked").as_bytes())
        .unwrap();
    let block = vec![b'x'; 1 << 20];
    let mut sent = 0;
    for _ in 0..60 {
        let written = write!(stream, "{:x}\r\n", block.len())
            .and_then(|()| stream.write_all(&block))
            .and_then(|()| stream.write_all(b"\r\n"));
        if written.is_err() {
            break;
        }
        sent += block.len();
    }
    assert!(sent < 60 << 20, "it went on reading");
    let document = json!({"name": "x".repeat(2 << 20)});
    assert_eq!(page.send("POST", "/api/jobs", &document).status, 413);
}

/// An upload that never ends, a byte now and then.
#[test]
fn a_slow_upload_is_ended() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let mut stream = begun_upload(&page, "job-1");
    let begun = Instant::now();
    let mut dripping = stream.try_clone().unwrap();
    let drip = std::thread::spawn(move || {
        while begun.elapsed() < Duration::from_secs(20) && dripping.write_all(b"x").is_ok() {
            std::thread::sleep(Duration::from_millis(200));
        }
    });
    assert_eq!(came(&mut stream).status, 408);
    assert!(begun.elapsed() < Duration::from_secs(15));
    drop(stream);
    drip.join().unwrap();
}

/// An upload that has begun and sends nothing more.
fn begun_upload(page: &Served, set: &str) -> std::net::TcpStream {
    let mut stream = page.connect();
    write!(
        stream,
        "POST /api/sets/{set}/photos?flank=drive HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nx-flankread: page\r\n\
         Content-Type: image/jpeg\r\nConnection: close\r\nContent-Length: 1000000\r\n\r\n",
        page.port
    )
    .unwrap();
    stream
}

/// Forty uploads are begun at once and none goes on: four are in work, twenty-four wait, all others are told to come again,
/// and whoever only looks is answered.
#[test]
fn more_uploads_than_may_wait_are_told_to_come_again() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let mut streams: Vec<_> = (0..40).map(|_| begun_upload(&page, "job-1")).collect();
    let begun = Instant::now();
    let busy = streams.split_off(28);
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(page.get("/api/jobs").status, 200);
    let mut refused = 0;
    for mut stream in busy {
        let came = came(&mut stream);
        if came.status == 503 {
            assert_eq!(came.header("retry-after"), Some("2"));
            refused += 1;
        }
    }
    assert_eq!(refused, 12);
    assert!(
        begun.elapsed() < Duration::from_secs(2),
        "{:?}",
        begun.elapsed()
    );
}

/// Files that are small and say that they are huge, or are no pictures whatever they are called.
#[test]
fn bombs_and_disguises_are_refused_and_leave_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let mut bomb = Vec::new();
    image::RgbImage::new(4, 4)
        .write_to(
            &mut std::io::Cursor::new(&mut bomb),
            image::ImageFormat::Png,
        )
        .unwrap();
    // Width and height in the header chunk, and its checksum (PNG specification, 11.2.2, 5.5 and annex D).
    bomb[16..20].copy_from_slice(&30_000_u32.to_be_bytes());
    bomb[20..24].copy_from_slice(&30_000_u32.to_be_bytes());
    let sum = crate::photo::png_chunks::crc32(&bomb[12..29]);
    bomb[29..33].copy_from_slice(&sum.to_be_bytes());
    let cut = photo("drive.jpg")[..20_000].to_vec();
    for (bytes, part) in [
        (bomb, "megapixels"),
        (b"<html><script>alert(1)</script>".to_vec(), "not a picture"),
        (b"GIF89a<script>".to_vec(), "not a picture"),
        (cut, "cut short"),
        (Vec::new(), "empty"),
    ] {
        let came = page.upload("job-1", "drive", &bytes);
        assert_eq!(came.status, 422, "{part}");
        let said = came.json()["messages"][0].to_string();
        assert!(said.contains(part), "{said}");
    }
    let page_type = [("x-flankread", "page"), ("Content-Type", "text/html")];
    let path = "/api/sets/job-1/photos?flank=drive";
    assert_eq!(
        page.call("POST", path, &page_type, &photo("drive.jpg"))
            .status,
        415
    );
    assert!(!folder.path().join("workshop-photos").exists());
}

/// Every answer says what it is and what it may load.
#[test]
fn answers_carry_the_rules_of_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("<script>alert(1)</script>");
    for path in [
        "/",
        "/pair",
        "/assets/page.js",
        "/api/jobs",
        "/nowhere",
        "/api/jobs/1/sheet.html",
        "/learn/explore",
    ] {
        let came = page.get(path);
        assert_eq!(
            came.header("x-content-type-options"),
            Some("nosniff"),
            "{path}"
        );
        assert_eq!(came.header("x-frame-options"), Some("DENY"), "{path}");
        let policy = came.header("content-security-policy").unwrap();
        let scripts = policy
            .split("script-src ")
            .nth(1)
            .unwrap()
            .split(';')
            .next()
            .unwrap();
        assert!(
            !scripts.contains("unsafe") && !scripts.contains('*') && !scripts.contains("http"),
            "{path}: {policy}"
        );
        assert!(
            policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{policy}"
        );
    }
    let sheet = page.get("/api/jobs/1/sheet.html");
    let text = String::from_utf8(sheet.body).unwrap();
    assert!(
        !text.contains("<script") && text.contains("&lt;script"),
        "{text}"
    );
}

/// Where a photo was taken is neither kept nor served.
#[test]
fn the_place_a_camera_wrote_is_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let bytes = with_a_place(photo("drive.jpg"));
    assert!(names_a_place(&bytes));
    let came = page.upload("job-1", "drive", &bytes);
    assert_eq!(
        came.status,
        200,
        "{:?}",
        String::from_utf8_lossy(&came.body)
    );
    let id = came.json()["photo"].as_str().unwrap().to_owned();
    let mut files = 0;
    for set in std::fs::read_dir(folder.path().join("workshop-photos")).unwrap() {
        for file in std::fs::read_dir(set.unwrap().path()).unwrap() {
            let bytes = std::fs::read(file.unwrap().path()).unwrap();
            assert!(!names_a_place(&bytes));
            files += 1;
        }
    }
    assert_eq!(files, 3);
    let picture = page.get(&format!("/api/sets/job-1/photos/{id}/picture"));
    assert_eq!(picture.header("content-type"), Some("image/jpeg"));
    assert!(!names_a_place(&picture.body) && !picture.body.windows(4).any(|w| w == b"Exif"));
}

/// A JPEG with notes that name a place, as a camera writes them (EXIF 2.32, 4.6.6).
fn with_a_place(jpeg: Vec<u8>) -> Vec<u8> {
    use exif::{Field, In, Rational, Tag, Value};
    use img_parts::ImageEXIF as _;
    let degree = |num| Rational { num, denom: 1 };
    let latitude = Field {
        tag: Tag::GPSLatitude,
        ifd_num: In::PRIMARY,
        value: Value::Rational(vec![degree(48), degree(8), degree(0)]),
    };
    let mut writer = exif::experimental::Writer::new();
    writer.push_field(&latitude);
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    let mut file = img_parts::jpeg::Jpeg::from_bytes(jpeg.into()).unwrap();
    file.set_exif(Some(block.into_inner().into()));
    let mut out = Vec::new();
    file.encoder().write_to(&mut out).unwrap();
    out
}
