//! `flankread batch` as a whole, on copies of the painted pictures.

use serde_json::Value;
use std::collections::{BTreeMap, HashSet};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_flankread");

fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Copies a painted picture with its marks. Bytes after the end of a JPEG picture are no part of it
/// (ITU-T T.81, B.1.1.2), so that `tail` makes another file of the same picture.
fn photo(name: &str, to: &Path, tail: &str) {
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    let mut bytes = std::fs::read(root("fixtures/painted").join(name)).unwrap();
    bytes.extend_from_slice(tail.as_bytes());
    std::fs::write(to, bytes).unwrap();
    let marks = root("fixtures/painted").join(format!("{name}.marks.json"));
    let mut beside = to.as_os_str().to_owned();
    beside.push(".marks.json");
    std::fs::copy(marks, beside).unwrap();
}

fn batch(arguments: &[&str]) -> Output {
    Command::new(PROGRAM)
        .arg("batch")
        .args(arguments)
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn lines(text: &str) -> Vec<Value> {
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn lines_of(path: &Path) -> Vec<Value> {
    lines(&std::fs::read_to_string(path).unwrap())
}

/// Everything in a folder of results; the store's lines in the order of their text, because photos
/// are done in any order.
fn results(out: &Path) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for folder in [out.to_owned(), out.join("readings")] {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                continue;
            }
            let mut text = std::fs::read_to_string(&path).unwrap();
            let name = path.strip_prefix(out).unwrap().display().to_string();
            if name == "flankread-store.jsonl" {
                let mut lines: Vec<&str> = text.lines().collect();
                lines.sort_unstable();
                text = lines.join("\n");
            }
            all.insert(name, text);
        }
    }
    all
}

#[test]
fn a_folder_is_sorted_and_each_set_gets_its_reply() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("larchfield/7 drive.jpg"), "");
    photo("coast-white.jpg", &at("larchfield/7 coast.jpg"), "");
    std::fs::copy(
        root("fixtures/cards/larchfield-8in.toml"),
        at("larchfield/card.toml"),
    )
    .unwrap();
    photo("blurred.jpg", &at("blurred.jpg"), "");
    photo("drive-red-turned.jpg", &at("other/one.jpg"), "");
    photo("drive-red-turned.jpg", &at("other/one again.jpg"), "");
    std::fs::write(
        at("list.csv"),
        "photo,backlash,pinion_shim\nlarchfield/7 drive.jpg,0.20mm+0.21mm,0.76mm\n",
    )
    .unwrap();
    let (inbox, list) = (folder.path().to_str().unwrap(), at("list.csv"));
    let output = batch(&[inbox, "--manifest", list.to_str().unwrap()]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("4 read now, 1 known"), "{said}");
    let table = text(&output.stdout);
    assert!(table.contains("5 photos in 3 sets: 4 read"), "{table}");
    assert!(table.contains("copies of other files: 1"), "{table}");

    let out = at("flankread-batch");
    let sets = lines_of(&out.join("sets.jsonl"));
    let names: Vec<&str> = sets
        .iter()
        .map(|set| set["set"].as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 3);
    let pair = &sets[names
        .iter()
        .position(|name| *name == "larchfield/7")
        .unwrap()];
    // Painted at (0.62, 0.66) of the drive flank (fixtures/painted/paint.py): high and to the heel.
    assert_eq!(pair["drive"]["diagnosis"]["words"], "high heel");
    assert_eq!(pair["advice"]["schema"], "flankread/advice/1");
    let reply = pair["reply"].as_str().unwrap();
    for part in [
        "What we see",
        "high (towards the tip)",
        "Please mind",
        "stands",
    ] {
        assert!(reply.contains(part), "{reply}");
    }
    let blurred = &sets[names
        .iter()
        .position(|name| *name == "blurred.jpg")
        .unwrap()];
    assert_eq!(blurred["verdict"], "photo_again");
    let reply = blurred["reply"].as_str().unwrap();
    assert!(reply.contains("tap on the painted teeth"), "{reply}");
    assert!(!reply.contains("--flank"), "{reply}");
    // What must be answered first comes first.
    assert_eq!(names.last(), Some(&"blurred.jpg"));

    let readings = lines_of(&out.join("readings.jsonl"));
    let paths: Vec<&str> = readings
        .iter()
        .map(|reading| reading["photo"]["path"].as_str().unwrap())
        .collect();
    assert!(paths.is_sorted() && paths.len() == 5, "{paths:?}");
    for reading in &readings {
        assert_eq!(reading["schema"], "flankread/reading/1");
    }
    let copy = readings
        .iter()
        .find(|reading| !reading["batch"]["same_as"].is_null());
    let copy = copy.unwrap()["photo"]["path"].as_str().unwrap();
    assert!(copy.ends_with("one.jpg"), "{copy}");

    let table = std::fs::read_to_string(out.join("readings.csv")).unwrap();
    let mut table = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 5);
    let sheet = std::fs::read_to_string(out.join("sheet.html")).unwrap();
    for reading in &readings {
        let page = reading["batch"]["page"].as_str().unwrap();
        assert!(sheet.contains(&format!("href=\"{page}\"")), "{page}");
        assert!(out.join(page).is_file(), "{page}");
        assert!(out.join(page.replace(".html", ".svg")).is_file(), "{page}");
    }
    assert!(!sheet.contains("http://") && !sheet.contains("https://"));
    let numbers = std::fs::read_to_string(out.join("summary.json")).unwrap();
    let numbers: Value = serde_json::from_str(&numbers).unwrap();
    assert_eq!(numbers["reasons"]["blurred"]["photos"], 1);
    assert_eq!(
        numbers["offsets"]["drive_height"].as_array().unwrap().len(),
        10
    );
}

#[test]
fn only_what_is_new_is_read_and_json_has_a_line_a_photo() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("a.jpg"), "");
    photo("coast-white.jpg", &at("b.jpg"), "");
    let inbox = folder.path().to_str().unwrap();
    let first = batch(&[inbox, "--json"]);
    assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
    assert_eq!(lines(&text(&first.stdout)).len(), 2);
    let before = results(&at("flankread-batch"));
    let again = batch(&[inbox, "--json"]);
    assert!(text(&again.stderr).contains("0 read now, 2 known"));
    assert_eq!(results(&at("flankread-batch")), before);
    // Another name is no other photo; other marks make one.
    std::fs::rename(at("a.jpg"), at("c.jpg")).unwrap();
    std::fs::rename(at("a.jpg.marks.json"), at("c.jpg.marks.json")).unwrap();
    photo("coast-blue-transferred.jpg", &at("d.jpg"), "");
    let more = batch(&[inbox, "--json"]);
    assert!(text(&more.stderr).contains("1 read now, 2 known"));
    let marks = std::fs::read_to_string(at("c.jpg.marks.json")).unwrap();
    std::fs::write(at("c.jpg.marks.json"), marks.replace("drive", "coast")).unwrap();
    let more = batch(&[inbox, "--json"]);
    assert!(text(&more.stderr).contains("1 read now, 2 known"));
    // A picture that somebody threw away is made again.
    let page = std::fs::read_dir(at("flankread-batch/readings"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|ending| ending == "svg"))
        .unwrap();
    let drawn = std::fs::read(&page).unwrap();
    std::fs::remove_file(&page).unwrap();
    batch(&[inbox, "--json", "--quiet"]);
    let everything = batch(&[inbox, "--fresh"]);
    assert!(text(&everything.stderr).contains("3 read now, 0 known"));
    assert_eq!(results(&at("flankread-batch")).len(), 7 + 8);
    if page.exists() {
        assert_eq!(std::fs::read(&page).unwrap(), drawn);
    }
}

#[test]
fn somebody_else_s_files_are_not_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("in/a.jpg"), "");
    std::fs::create_dir(at("out")).unwrap();
    std::fs::write(at("out/sheet.html"), "mine").unwrap();
    let (inbox, out) = (at("in"), at("out"));
    let arguments = [inbox.to_str().unwrap(), "--out", out.to_str().unwrap()];
    let refused = batch(&arguments);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("--force"));
    assert_eq!(std::fs::read(at("out/sheet.html")).unwrap(), b"mine");
    let forced = batch(&[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status.code(), Some(0));
    // Its own results it may write again.
    assert_eq!(batch(&arguments).status.code(), Some(0));
    for (arguments, words) in [
        (vec!["no such folder"], "no such folder"),
        (
            vec![inbox.to_str().unwrap(), "--manifest", "none.csv"],
            "none.csv",
        ),
        (vec![inbox.to_str().unwrap(), "--glob", "["], "--glob ["),
    ] {
        let refused = batch(&arguments);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(text(&refused.stderr).contains(words), "{arguments:?}");
        assert!(refused.stdout.is_empty());
    }
}

/// The program as a user who is not root, so that permissions count; as this one where that cannot
/// be had.
#[cfg(unix)]
fn as_nobody(arguments: &[&str]) -> Option<Output> {
    use std::os::unix::fs::MetadataExt as _;
    let root = std::fs::metadata("/proc/self").unwrap().uid() == 0;
    if !root {
        return Some(batch(arguments));
    }
    let nobody = [
        "--reuid=65534",
        "--regid=65534",
        "--clear-groups",
        PROGRAM,
        "batch",
    ];
    let output = Command::new("setpriv")
        .args(nobody)
        .args(arguments)
        .output();
    output
        .ok()
        .filter(|output| output.status.code() != Some(127))
}

#[cfg(unix)]
#[test]
fn broken_things_are_named_and_everything_else_is_read() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt as _;
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    let folder = tempfile::tempdir().unwrap();
    let inbox = folder.path().join("in");
    let at = |name: &str| inbox.join(name);
    photo("drive-yellow.jpg", &at("good one.jpg"), "");
    photo("coast-white.jpg", &at("line\nend.jpg"), "");
    photo(
        "coast-white.jpg",
        &inbox.join(OsStr::from_bytes(b"odd \xff\xfe.jpg")),
        "x",
    );
    let good = std::fs::read(at("good one.jpg")).unwrap();
    let mut png = Vec::new();
    image::RgbImage::new(300, 300)
        .write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png)
        .unwrap();
    let mut claims =
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x75\x30\0\0\x75\x30\x08\x02\0\0\0".to_vec();
    claims.extend([0; 4]);
    let broken: [(&str, Vec<u8>); 10] = [
        ("empty.jpg", Vec::new()),
        ("text.jpg", b"no photo".to_vec()),
        ("document.png", b"%PDF-1.7\n".to_vec()),
        ("cut.jpg", good[..good.len() / 2].to_vec()),
        ("cut.png", png[..png.len() / 2].to_vec()),
        ("claims.png", claims),
        ("film.heic", b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom".to_vec()),
        ("head only.webp", b"RIFF\x10\0\0\0WEBPVP8 ".to_vec()),
        ("zeros.tif", b"II*\0\0\0\0\0".repeat(4)),
        ("moving.gif", b"GIF89a\x01\0\x01\0".to_vec()),
    ];
    for (name, bytes) in &broken {
        std::fs::write(at(name), bytes).unwrap();
    }
    photo("drive-yellow.jpg", &at("marked.jpg"), "y");
    std::fs::write(at("marked.jpg.marks.json"), "{\"teth\":[]}").unwrap();
    std::fs::create_dir(at("closed")).unwrap();
    std::fs::write(at("private.jpg"), &good).unwrap();
    symlink("..", at("loop")).unwrap();
    symlink("nowhere.jpg", at("dead.jpg")).unwrap();
    let fifo = Command::new("mkfifo").arg(at("pipe.jpg")).status().unwrap();
    assert!(fifo.success());
    let set = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    set(folder.path(), 0o777);
    set(&at("closed"), 0o000);
    set(&at("private.jpg"), 0o000);
    let out = folder.path().join("out");
    let arguments = [
        inbox.to_str().unwrap(),
        "--json",
        "--follow",
        "--out",
        out.to_str().unwrap(),
    ];
    let permissions = as_nobody(&arguments);
    let output = permissions.unwrap_or_else(|| batch(&arguments));
    set(&at("closed"), 0o755);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    let all = lines(&text(&output.stdout));
    let of = |name: &str| {
        let found = all
            .iter()
            .find(|line| line["photo"]["path"].as_str().unwrap().ends_with(name));
        found.unwrap_or_else(|| panic!("{name} is missing: {said}"))
    };
    for (name, _) in &broken {
        let line = of(name);
        assert_eq!(line["status"], "unreadable", "{name}");
        assert_eq!(line["reasons"][0]["code"], "not_an_image", "{name}");
        assert!(line["reasons"][0]["message"].as_str().unwrap().len() > 15);
    }
    assert_eq!(all.len(), broken.len() + 5);
    assert_eq!(of("marked.jpg")["batch"]["problem"]["kind"], "marks");
    assert_eq!(of("good one.jpg")["status"], "read");
    assert_eq!(of("line\\nend.jpg")["status"], "read");
    let odd = of("odd \u{fffd}\u{fffd}.jpg");
    assert_eq!(odd["status"], "read");
    let encoded = odd["batch"]["path_encoded"].as_str().unwrap();
    assert!(encoded.ends_with("odd%20%FF%FE.jpg"), "{encoded}");
    let numbers = std::fs::read_to_string(out.join("summary.json")).unwrap();
    let numbers: Value = serde_json::from_str(&numbers).unwrap();
    let troubles = numbers["troubles"].to_string();
    for (name, words) in [
        ("in/loop", "leads back"),
        ("dead.jpg", "leads nowhere"),
        ("pipe.jpg", "a pipe"),
    ] {
        assert!(
            troubles.contains(name) && troubles.contains(words),
            "{troubles}"
        );
        assert!(said.contains(words), "{said}");
    }
    if of("private.jpg")["status"] == "unreadable" {
        // Permissions counted: then the closed folder is told as well.
        let message = of("private.jpg")["reasons"][0]["message"].as_str().unwrap();
        assert!(message.contains("ermission denied"), "{message}");
        assert!(troubles.contains("in/closed"), "{troubles}");
        // Once the permission is there, the photo is read: a refusal of that kind is not kept.
        set(&at("private.jpg"), 0o644);
        let output = as_nobody(&arguments).unwrap();
        let all = lines(&text(&output.stdout));
        let private = all.iter().find(|line| {
            line["photo"]["path"]
                .as_str()
                .unwrap()
                .ends_with("private.jpg")
        });
        // Its bytes are those of another photo, but it has no marks.
        assert_ne!(private.unwrap()["reasons"][0]["code"], "not_an_image");
    }
}

#[test]
fn a_tree_of_twenty_thousand_entries_is_walked() {
    let folder = tempfile::tempdir().unwrap();
    for branch in 0..100 {
        let branch = folder.path().join(format!("{branch}/deep/er"));
        std::fs::create_dir_all(&branch).unwrap();
        for leaf in 0..200 {
            std::fs::write(branch.join(format!("{leaf}.txt")), "").unwrap();
        }
    }
    photo(
        "drive-yellow.jpg",
        &folder.path().join("77/deep/er/drive.jpg"),
        "",
    );
    let output = batch(&[folder.path().to_str().unwrap(), "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let all = lines(&text(&output.stdout));
    assert_eq!(all.len(), 1);
    assert_eq!(all[0]["batch"]["set"], "77/deep/er");
}

fn start(arguments: &[&str]) -> Child {
    Command::new(PROGRAM)
        .arg("batch")
        .args(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[cfg(unix)]
fn interrupt(child: &Child) {
    let done = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(done.unwrap().success());
}

/// Runs that are killed or interrupted after some lines, and then one that is not.
#[cfg(unix)]
#[test]
fn runs_that_are_killed_add_up_to_one_that_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let names = ["drive-yellow", "coast-white", "blurred", "not-rolled"];
    let inbox = folder.path().join("in");
    for number in 0..12 {
        let name = format!("{}.jpg", names[number % 4]);
        photo(
            &name,
            &inbox.join(format!("set {}/{number}.jpg", number % 4)),
            &number.to_string(),
        );
    }
    std::fs::write(inbox.join("broken.jpg"), "broken").unwrap();
    let whole = folder.path().join("whole");
    let broken = folder.path().join("broken");
    let inbox = inbox.to_str().unwrap();
    let undisturbed = batch(&[inbox, "--json", "--out", whole.to_str().unwrap()]);
    assert_eq!(undisturbed.status.code(), Some(1));
    let out = broken.to_str().unwrap();
    for round in 0..6 {
        let mut child = start(&[inbox, "--json", "--out", out]);
        let mut told = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        for _ in 0..2 * round + 1 {
            told.read_line(&mut line).unwrap();
        }
        // At another place of the work in each round.
        std::thread::sleep(Duration::from_millis(37 * round as u64 % 90));
        if round % 3 == 2 {
            interrupt(&child);
        } else {
            child.kill().unwrap();
        }
        drop(told);
        let code = child.wait().unwrap().code();
        // Killed, interrupted, or done before it could be.
        assert!(
            matches!(code, None | Some(130 | 1)),
            "round {round}: {code:?}"
        );
    }
    let last = batch(&[inbox, "--json", "--out", out]);
    assert_eq!(last.status.code(), Some(1), "{}", text(&last.stderr));
    let (whole, broken) = (results(&whole), results(&broken));
    let names: HashSet<&String> = whole.keys().chain(broken.keys()).collect();
    for name in names {
        assert_eq!(whole.get(name), broken.get(name), "{name}");
    }
    let store = &broken["flankread-store.jsonl"];
    let keys: HashSet<String> = store
        .lines()
        .filter_map(|line| {
            let line: Value = serde_json::from_str(line).unwrap();
            line["key"].as_str().map(str::to_owned)
        })
        .collect();
    // A line a photo: none was read twice to the end.
    assert_eq!((keys.len(), store.lines().count()), (13, 14));
}

#[cfg(unix)]
#[test]
fn a_watched_folder_gives_a_line_for_each_photo_that_comes_in() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    photo("drive-yellow.jpg", &at("a.jpg"), "");
    let mut child = start(&[folder.path().to_str().unwrap(), "--json", "--watch"]);
    let mut told = BufReader::new(child.stdout.take().unwrap());
    let mut next = || -> Value {
        let mut line = String::new();
        told.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    };
    assert!(next()["photo"]["path"].as_str().unwrap().ends_with("a.jpg"));
    // In pieces, as a phone sends it. However slow the machine is, in the end it is read whole.
    photo("coast-white.jpg", &at("elsewhere"), "");
    std::fs::rename(at("elsewhere.marks.json"), at("b.jpg.marks.json")).unwrap();
    std::fs::remove_file(at("elsewhere")).unwrap();
    let bytes = std::fs::read(root("fixtures/painted/coast-white.jpg")).unwrap();
    let mut file = std::fs::File::create(at("b.jpg")).unwrap();
    for piece in bytes.chunks(bytes.len() / 4 + 1) {
        file.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(200));
    }
    drop(file);
    loop {
        let line = next();
        assert!(line["photo"]["path"].as_str().unwrap().ends_with("b.jpg"));
        if line["status"] == "read" {
            assert_eq!(line["flank"]["side"], "coast");
            break;
        }
        assert_eq!(line["reasons"][0]["code"], "not_an_image", "{line}");
    }
    interrupt(&child);
    child.wait().unwrap();
}

#[test]
fn a_worker_answers_line_by_line() {
    let mut child = Command::new(PROGRAM)
        .arg("worker")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut ask = child.stdin.take().unwrap();
    let mut told = BufReader::new(child.stdout.take().unwrap());
    let photo = root("fixtures/painted/drive-yellow.jpg");
    for (request, status, kind) in [
        (
            serde_json::json!({"id": "a", "photo": photo}),
            "read",
            Value::Null,
        ),
        (serde_json::json!({"id": "b"}), "", "request".into()),
        (
            serde_json::json!({"id": "c", "photo": "s3://no/such"}),
            "",
            "fetch".into(),
        ),
    ] {
        // Each answer comes before the next request is written: nothing is held back.
        writeln!(ask, "{request}").unwrap();
        let mut line = String::new();
        told.read_line(&mut line).unwrap();
        let answer: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(answer["id"], request["id"]);
        assert_eq!(answer["reading"]["status"].as_str().unwrap_or(""), status);
        assert_eq!(answer["error"]["kind"], kind, "{answer}");
    }
    drop(ask);
    assert_eq!(child.wait().unwrap().code(), Some(0));
}
