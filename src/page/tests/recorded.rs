//! The way of a job through the addresses alone, held against the rooms that the command line uses.

use super::lent::{card, photo, serve};
use crate::job::Store;
use crate::job::open::Purpose;
use crate::reading::{ReadOptions, read_photo};
use serde_json::{Value, json};

fn told(once: &str) -> Value {
    json!({"backlash": ["11 thou"], "pinion_shim": "30 thou", "once": once})
}

#[test]
fn two_photos_and_two_numbers_make_a_trial_and_its_advice() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    assert_eq!(page.get("/api/jobs").json()["jobs"], json!([]));
    assert_eq!(page.job("Rear"), 1);
    for side in ["drive", "coast"] {
        let came = page.upload("job-1", side, &photo(&format!("{side}.jpg")));
        assert_eq!(came.json()["reading"]["status"], "read", "{side}");
    }
    // The same file cannot be the other flank too.
    assert_eq!(
        page.upload("job-1", "coast", &photo("drive.jpg")).status,
        422
    );
    let odd = json!({"backlash": ["0.2in"]});
    let asked = page.send("POST", "/api/jobs/1/trials", &odd);
    assert!(
        asked.json()["messages"][0]
            .as_str()
            .unwrap()
            .contains("0.2 mm")
    );
    let first = page.send("POST", "/api/jobs/1/trials", &told("a")).json();
    assert_eq!(first["trial"], 1);
    // An answer that was lost on its way is asked for again.
    assert_eq!(
        page.send("POST", "/api/jobs/1/trials", &told("a")).json(),
        first
    );
    let advice = page.send("POST", "/api/jobs/1/advice", &json!({})).json();
    assert_eq!(advice["verdict"], "change");
    assert!(
        advice["instruction"]
            .as_str()
            .unwrap()
            .starts_with("Add 7.0 thou behind the head bearing")
    );
    let record = Store::open(&folder.path().join("workshop.db"), Purpose::Look)
        .unwrap()
        .record(1)
        .unwrap();
    assert_eq!(record.trials.len(), 1);
    assert_eq!(json!(record.advice[0].advice), advice);
    assert_eq!(json!(record.trials[0].trial.drive), first["drive"]);
    assert_eq!(record.trials[0].photos.len(), 2);
    // Nothing waits any more, and the packs stand in the next trial's keys.
    let next = page.get("/api/sets/job-1").json();
    assert!(next.get("drive").is_none() && next.get("coast").is_none());
    let fields = page.get("/api/jobs/1/fields").json();
    assert_eq!(
        (&fields["fields"][1]["before"], &fields["fields"][1]["unit"]),
        (&json!("30"), &json!("thou"))
    );
    // What advice asks to look at is said on the page, once however often it is tapped.
    for _ in 0..2 {
        let looked = page.send(
            "POST",
            "/api/jobs/1/trials/1/looked",
            &json!({"what": "dial_setting"}),
        );
        assert_eq!(looked.json()["schema"], "flankread/job-amend/1");
    }
    let trial = &page.get("/api/jobs/1").json()["trials"][0];
    assert_eq!(trial["trial"]["looked"], json!(["dial_setting"]));
    assert_eq!(trial["bench"]["amended"].as_array().unwrap().len(), 1);
    let unknown = json!({"what": "the weather"});
    let refused = page.send("POST", "/api/jobs/1/trials/1/looked", &unknown);
    assert_eq!(refused.status, 400);
    let struck = page.send(
        "POST",
        "/api/jobs/1/trials/1/strike",
        &json!({"because": "wrong axle"}),
    );
    assert_eq!(struck.json()["schema"], "flankread/job-strike/1");
    assert_eq!(
        page.get("/api/jobs/1").json()["trials"][0]["bench"]["struck"],
        "wrong axle"
    );
}

/// Marks through the page are the marks of `flankread read`, and marks that are put beside a photo are on the page.
#[test]
fn marks_lie_beside_the_photo_both_ways() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("Rear");
    let came = page.upload("job-1", "drive", &photo("drive.jpg")).json();
    let at = format!("/api/sets/job-1/photos/{}", came["photo"].as_str().unwrap());
    let teeth: Vec<Value> = came["reading"]["teeth"].as_array().unwrap()[1..4]
        .iter()
        .map(|tooth| tooth["corners"].clone())
        .collect();
    let marks = json!({"teeth": teeth});
    let tried = page.send("POST", &format!("{at}/try"), &marks).json();
    assert_eq!(page.get(&at).json()["marked"], false);
    let put = page.send("PUT", &format!("{at}/marks"), &marks).json();
    assert_eq!(put["reading"], tried["reading"]);
    assert_eq!(put["reading"]["teeth"].as_array().unwrap().len(), 3);
    // The library on the file, as the command line reads it.
    let path = folder
        .path()
        .join("workshop-photos")
        .join(put["reading"]["photo"]["path"].as_str().unwrap());
    let opened = crate::Photo::open(&path).unwrap();
    let beside = format!("{}.marks.json", path.display());
    let options = ReadOptions {
        marks: Some(crate::Marks::read(&beside, &opened).unwrap()),
        ..ReadOptions::of_card(&card())
    };
    let mut read = json!(read_photo(&opened, &options).reading);
    read["photo"]["path"] = put["reading"]["photo"]["path"].clone();
    assert_eq!(read, put["reading"]);
    // Whoever writes the file by hand finds it on the page.
    let by_hand = json!({"flank": "drive", "teeth": [teeth[0], teeth[1]]});
    std::fs::write(&beside, by_hand.to_string()).unwrap();
    let seen = page.get(&at).json();
    assert_eq!(
        (
            &seen["marked"],
            seen["reading"]["teeth"].as_array().unwrap().len()
        ),
        (&json!(true), 2)
    );
    let dropped = page
        .send("DELETE", &format!("{at}/marks"), &json!({}))
        .json();
    assert_eq!(dropped["reading"]["teeth"], came["reading"]["teeth"]);
    // Marks that cross, leave the photo or are none.
    for bad in [
        json!({"teeth": [{"toe_root": [0, 0]}]}),
        json!({"teeth": [], "flnk": "drive"}),
        json!([1]),
        json!({"teeth": [{"toe_root": [9e9, 0], "toe_tip": [1, 1], "heel_tip": [2, 1], "heel_root": [2, 0]}]}),
    ] {
        let came = page.send("PUT", &format!("{at}/marks"), &bad);
        assert_eq!(came.status, 422, "{bad}");
    }
}

/// The program ends and is started again in the middle of a trial.
#[test]
fn a_trial_goes_on_after_the_program_was_started_again() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("Rear");
    let before = page.upload("job-1", "drive", &photo("drive.jpg")).json();
    let words = format!(
        "/api/sets/job-1/photos/{}/words",
        before["photo"].as_str().unwrap()
    );
    page.send("PUT", &words, &json!({"confirmed": true}));
    drop(page);
    // Without a card this time: the job has its own.
    let page = serve(folder.path(), false, None);
    let next = page.get("/api/sets/job-1").json();
    assert_eq!(
        (&next["drive"]["photo"], &next["drive"]["confirmed"]),
        (&before["photo"], &json!(true))
    );
    page.upload("job-1", "coast", &photo("coast.jpg"));
    let done = page.send("POST", "/api/jobs/1/trials", &told("b")).json();
    assert!(
        done["drive"].is_object() && done["coast"].is_object(),
        "{done}"
    );
    assert_eq!(
        page.send("POST", "/api/jobs", &json!({"name": "other"}))
            .status,
        422
    );
}

#[test]
fn photos_without_a_job_tell_the_way_only() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, None);
    let set = page.send("POST", "/api/sets", &json!({})).json()["set"]
        .as_str()
        .unwrap()
        .to_owned();
    for side in ["drive", "coast"] {
        page.upload(&set, side, &photo(&format!("{side}.jpg")));
    }
    let said = page.get(&format!("/api/sets/{set}/answer")).json();
    assert_eq!(said["direction"]["pinion"], "toward");
    assert!(
        said["direction"]["cautions"]
            .to_string()
            .contains("licensed")
    );
    // Another set sees nothing of it.
    let other = page.send("POST", "/api/sets", &json!({})).json()["set"]
        .as_str()
        .unwrap()
        .to_owned();
    let id = said["readings"][0]["photo"]["sha256"].as_str().unwrap()[..16].to_owned();
    assert_eq!(
        page.get(&format!("/api/sets/{other}/photos/{id}")).status,
        404
    );
    assert!(!folder.path().join("workshop.db").exists());
}

#[test]
fn a_short_card_is_made_by_its_questions() {
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, None);
    let asked = page.get("/api/card/questions").json();
    assert_eq!(asked["questions"].as_array().unwrap().len(), 9);
    let both = page.send(
        "POST",
        "/api/card/check",
        &json!({"name": "ring_teeth", "answer": "11 x 41"}),
    );
    assert_eq!(
        both.json()["answers"],
        json!({"ring_teeth": "41", "pinion_teeth": "11"})
    );
    let wrong = page.send(
        "POST",
        "/api/card/check",
        &json!({"name": "offset", "answer": "wide"}),
    );
    assert_eq!(wrong.status, 422);
    let answers = json!({"name": "Larch", "ring_teeth": "41", "pinion_teeth": "11", "ring_diameter": "8.0in", "face_width": "1.2in",
        "offset": "1.4in", "spiral_angle_deg": "31", "cutting": "face-milled", "shim_place": "behind head bearing"});
    let made = page.send(
        "POST",
        "/api/jobs",
        &json!({"name": "Rear", "answers": answers}),
    );
    assert_eq!(made.json()["job"], 1);
    let next = page.get("/api/jobs/1/next").json();
    assert_eq!(next["next"]["station"], "as_found");
    page.send("POST", "/api/jobs/1/notes", &json!({"not_found": true}));
    assert_eq!(
        page.get("/api/jobs/1/next").json()["next"]["station"],
        "pinion_shim"
    );
}
