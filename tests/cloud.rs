//! Photos from an object store: `--features cloud`.

mod common;

use common::{ended, flankread, root};
use serde_json::{Value, json};

#[test]
fn a_local_address_is_read_and_others_say_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("a photo.jpg");
    std::fs::copy(root("fixtures/painted/blurred.jpg"), &photo).unwrap();
    // One byte more than any photo may have, none of them written.
    let large = folder.path().join("large.jpg");
    let limit = 64_000_000;
    std::fs::File::create(&large)
        .and_then(|file| file.set_len(limit + 1))
        .unwrap();
    let address = |path: &std::path::Path| format!("file://{}", path.display()).replace(' ', "%20");
    let requests = [
        (address(&photo), None),
        (address(&large), Some("are opened")),
        (
            address(&folder.path().join("none.jpg")),
            Some("it is not there"),
        ),
        ("carrier://pigeon/1.jpg".to_owned(), Some("only s3://")),
    ];
    let asked: String = requests
        .iter()
        .map(|(photo, _)| format!("{}\n", json!({"photo": photo})))
        .collect();
    let (status, told, said) = ended(flankread().arg("worker").write_stdin(asked));
    // None of the photos could be read.
    assert_eq!(status, Some(1), "{said}");
    let answers: Vec<Value> = told
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(answers.len(), requests.len(), "{told}");
    for (answer, (_, wrong)) in answers.iter().zip(&requests) {
        let Some(words) = wrong else {
            // It came, was decoded and judged: a blurred photo, of which no flank is believed.
            assert_eq!(answer["reading"]["photo"]["width"], 960, "{answer}");
            assert_eq!(answer["reading"]["status"], "unreadable", "{answer}");
            continue;
        };
        assert_eq!(answer["error"]["kind"], "fetch", "{answer}");
        let message = answer["error"]["message"].as_str().unwrap();
        assert!(
            message.starts_with("cannot fetch ") && message.contains(words),
            "{message}"
        );
    }
}
