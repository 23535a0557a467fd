//! A whole job as one file, which another workshop opens with the same result.
//!
//! A ZIP file: `record.json`, each photo once under `photos/` without what the camera wrote about place, time and
//! owner ([`super::strip_metadata`]), the pictures for sheets under `pictures/`, and a few words for whoever opens it by hand.

use super::new_trial::{NewPhoto, sha256};
use super::store::Store;
use super::strip_metadata::without_metadata;
use super::{JobError, clock};
use crate::photo;
use crate::schema::Card;
use crate::schema::record::{Record, SCHEMA};
use crate::units::possible;
use serde_json::Value;
use std::collections::{HashMap, HashSet};
use std::io::{Cursor, Read as _, Write as _};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// What an archive and one file of it may weigh at most, bytes.
pub(crate) const MOST_BYTES: u64 = 4 << 30;
const MOST_FILE_BYTES: u64 = 96 << 20;
/// The record alone.
const MOST_RECORD_BYTES: u64 = 64 << 20;
/// Photos are packed already, so that all files of an archive together weigh little more than the archive itself: at most
/// this many times as much, beside what a record and small pictures may.
const MOST_UNPACKED_SHARE: u64 = 4;

const WORDS: &str = "One job of a workshop that sets up ring and pinion gears, as exported by flankread.\n\
    Open it with: flankread job import FILE\n\
    record.json holds the card, every assembly, readings, advice and the closing list. photos/ holds the photos\n\
    without what the camera wrote about place, time and owner; pictures/ the same small, with the reading drawn on.\n";

fn picture_name(trial: i64, place: usize) -> String {
    format!("pictures/{trial:04}-{place}.jpg")
}

fn bad(detail: impl Into<String>) -> JobError {
    JobError::Archive(detail.into())
}

/// The job as an archive's bytes.
///
/// # Errors
/// A photo that cannot be freed of its notes; what the database says.
pub(crate) fn export(store: &Store, number: i64) -> Result<Vec<u8>, JobError> {
    let mut record = store.record(number)?;
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    // Photos and pictures are packed already; text shrinks.
    let packed = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let text = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    let mut put = |name: &str, bytes: &[u8], how: SimpleFileOptions| {
        zip.start_file(name, how)
            .map_err(|error| bad(error.to_string()))?;
        zip.write_all(bytes).map_err(|error| bad(error.to_string()))
    };
    put("READ-ME.txt", WORDS.as_bytes(), text)?;
    let mut done: HashMap<String, String> = HashMap::new();
    // Photos that differ only in what is left out are one file afterwards.
    let mut written: HashSet<String> = HashSet::new();
    for assembly in &mut record.trials {
        for (place, photo) in assembly.photos.iter_mut().enumerate() {
            let clean_hash = match done.get(&photo.sha256) {
                Some(hash) => hash.clone(),
                None => {
                    let (clean, ending) =
                        without_metadata(&store.photo(&photo.sha256)?, &photo.name)?;
                    let hash = sha256(&clean);
                    if written.insert(hash.clone()) {
                        put(&format!("photos/{hash}.{ending}"), &clean, packed)?;
                    }
                    done.insert(photo.sha256.clone(), hash.clone());
                    hash
                }
            };
            photo.sha256 = clean_hash;
            if let Some(picture) = store.picture(number, assembly.number, place)? {
                put(&picture_name(assembly.number, place), &picture, packed)?;
            }
        }
    }
    let json = serde_json::to_vec_pretty(&record).map_err(|error| bad(error.to_string()))?;
    put("record.json", &json, text)?;
    let written = zip.finish().map_err(|error| bad(error.to_string()))?;
    Ok(written.into_inner())
}

/// Puts an archive's job into the store and gives its number there. `again` takes a job that is here already a
/// second time, as a job of its own.
///
/// # Errors
/// No archive, damaged or incomplete; a job that is here already; what the database says.
pub(crate) fn import(store: &mut Store, bytes: &[u8], again: bool) -> Result<i64, JobError> {
    if bytes.len() as u64 > MOST_BYTES {
        return Err(bad("it is larger than any job"));
    }
    let mut zip = ZipArchive::new(Cursor::new(bytes))
        .map_err(|error| bad(format!("it is no archive of a job ({error})")))?;
    let names: Vec<String> = zip
        .file_names()
        .filter_map(|name| Some(name.ok()?.into_owned()))
        .collect();
    let mut left = (bytes.len() as u64)
        .saturating_mul(MOST_UNPACKED_SHARE)
        .saturating_add(MOST_RECORD_BYTES)
        .min(MOST_BYTES);
    let mut file = |name: &str, most: u64| unpacked(&mut zip, name, most, &mut left);
    let text =
        file("record.json", MOST_RECORD_BYTES)?.ok_or_else(|| bad("it holds no record.json"))?;
    let mut record = read_record(&text)?;
    if let Some(number) = store.by_uid(&record.head.uid)? {
        if !again {
            return Err(JobError::Here { number });
        }
        record.head.uid = fresh_uid(&record.head.uid);
    }
    let mut photos = Vec::with_capacity(record.trials.len());
    for assembly in &record.trials {
        let mut of_trial = Vec::with_capacity(assembly.photos.len());
        for (place, photo) in assembly.photos.iter().enumerate() {
            let start = format!("photos/{}.", photo.sha256);
            let name = names
                .iter()
                .find(|name| name.starts_with(&start))
                .ok_or_else(|| bad(format!("the photo {} is missing in it", photo.name)))?;
            let bytes = file(name, MOST_FILE_BYTES)?
                .ok_or_else(|| bad(format!("the photo {} is missing in it", photo.name)))?;
            if sha256(&bytes) != photo.sha256 {
                return Err(bad(format!(
                    "the photo {} was changed on the way",
                    photo.name
                )));
            }
            if !photo::looks_like_photo(&bytes) {
                return Err(bad(format!("the photo {} is no picture", photo.name)));
            }
            of_trial.push(NewPhoto {
                name: photo.name.clone(),
                bytes,
                original_sha256: Some(photo.original_sha256.clone()),
                shows: photo.shows,
                reading: photo.reading.clone(),
                picture: file(&picture_name(assembly.number, place), MOST_FILE_BYTES)?,
            });
        }
        photos.push(of_trial);
    }
    store.insert(&record, &photos)
}

/// The record of an archive, held against what can be.
///
/// # Errors
/// No JSON, another schema, numbers that cannot be, assemblies out of order.
pub(crate) fn read_record(text: &[u8]) -> Result<Record, JobError> {
    let value: Value = serde_json::from_slice(text)
        .map_err(|error| bad(format!("its record is no JSON: {error}")))?;
    if value["schema"] != SCHEMA {
        return Err(bad(format!(
            "its record is {}; this version reads \"{SCHEMA}\"",
            value["schema"]
        )));
    }
    possible(&value).map_err(|error| bad(format!("its record: {error}")))?;
    // The card goes through the same check as one that is written by hand.
    Card::from_json(&value["card"]).map_err(|error| bad(format!("its card: {error}")))?;
    let record: Record =
        serde_json::from_value(value).map_err(|error| bad(format!("its record: {error}")))?;
    let mut counted = record.trials.iter().map(|a| a.number);
    let mut before = 0;
    if !counted.all(|number| std::mem::replace(&mut before, number) < number) {
        return Err(bad("its assemblies are not in order"));
    }
    Ok(record)
}

/// A file of the archive; what it weighs is taken off `left`.
fn unpacked(
    zip: &mut ZipArchive<Cursor<&[u8]>>,
    name: &str,
    most: u64,
    left: &mut u64,
) -> Result<Option<Vec<u8>>, JobError> {
    let mut entry = match zip.by_name(name) {
        Ok(entry) => entry,
        Err(zip::result::ZipError::FileNotFound) => return Ok(None),
        Err(error) => return Err(bad(format!("{name}: {error}"))),
    };
    let mut bytes = Vec::new();
    let together = *left < most;
    let most = most.min(*left);
    entry
        .by_ref()
        .take(most + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| bad(format!("{name}: {error}")))?;
    if bytes.len() as u64 > most {
        return Err(bad(if together {
            format!("with {name} it unpacks to more than such an archive can hold")
        } else {
            format!("{name} is larger than it may be")
        }));
    }
    *left -= bytes.len() as u64;
    Ok(Some(bytes))
}

/// A uid that no other job has: time, process and the address of a fresh value, through the hash.
pub(crate) fn fresh_uid(salt: &str) -> String {
    let now = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |since| since.as_nanos());
    let place = Box::new(0_u8);
    let seed = format!(
        "{salt} {now} {} {:p} {}",
        std::process::id(),
        &raw const *place,
        clock::now()
    );
    sha256(seed.as_bytes())[..24].to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::new_trial::NewTrial;
    use crate::job::open::Purpose;
    use crate::schema::record::{Head, Shows};
    use image::RgbImage;

    fn photo() -> NewPhoto {
        let mut bytes = Vec::new();
        RgbImage::new(8, 6)
            .write_to(&mut Cursor::new(&mut bytes), image::ImageFormat::Png)
            .unwrap();
        NewPhoto {
            name: "a.png".into(),
            bytes,
            original_sha256: None,
            shows: Shows::Other,
            reading: None,
            picture: Some(vec![1, 2, 3]),
        }
    }

    fn workshop(folder: &std::path::Path, name: &str) -> Store {
        Store::open(&folder.join(name), Purpose::Begin).unwrap()
    }

    fn exported(folder: &std::path::Path) -> (Record, Vec<u8>) {
        let mut store = workshop(folder, "here.db");
        let head = Head {
            uid: fresh_uid("a"),
            name: "Rear axle".into(),
            ..Head::default()
        };
        let card = Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        let job = store.new_job(&head, &card).unwrap();
        for _ in 0..2 {
            let trial = NewTrial {
                photos: vec![photo()],
                ..NewTrial::default()
            };
            store
                .add_trial(job, &trial, "2026-05-04T08:00:00Z", "Robin")
                .unwrap();
        }
        (store.record(job).unwrap(), export(&store, job).unwrap())
    }

    #[test]
    fn a_job_arrives_as_it_left() {
        let folder = tempfile::tempdir().unwrap();
        let (left, archive) = exported(folder.path());
        let mut there = workshop(folder.path(), "there.db");
        let job = import(&mut there, &archive, false).unwrap();
        let arrived = there.record(job).unwrap();
        assert_eq!(arrived, left);
        let picture = there.picture(job, 2, 0).unwrap();
        assert_eq!(picture, Some(vec![1, 2, 3]));
        assert!(matches!(
            import(&mut there, &archive, false).unwrap_err(),
            JobError::Here { .. }
        ));
    }

    #[test]
    fn an_archive_with_advice_of_the_schema_before_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let (left, _) = exported(folder.path());
        let mut written = serde_json::to_value(&left).unwrap();
        written["advice"] = serde_json::json!([{
            "after": 1,
            "at": "2026-05-04T08:00:00Z",
            "advice": {
                "schema": "flankread/advice/1",
                "verdict": "correct",
                "diagnosis": {},
                "why": [],
                "cautions": [],
            },
        }]);
        let record = read_record(&serde_json::to_vec(&written).unwrap()).unwrap();
        let advice = &record.advice[0].advice;
        assert_eq!(advice.verdict, crate::schema::Verdict::Change);
        assert_eq!(advice.schema, crate::schema::advice::SCHEMA);
    }

    #[test]
    fn no_damage_makes_it_panic_or_leaves_half_a_job() {
        let folder = tempfile::tempdir().unwrap();
        let (left, archive) = exported(folder.path());
        let mut there = workshop(folder.path(), "there.db");
        let mut refused = 0;
        for at in (0..archive.len()).step_by(23) {
            let mut damaged = archive.clone();
            damaged[at] ^= 0x55;
            match import(&mut there, &damaged, true) {
                Err(_) => refused += 1,
                // Damage to what nothing reads (the words for people) does no harm.
                Ok(job) => assert_eq!(there.record(job).unwrap().trials, left.trials),
            }
        }
        assert!(refused > 20, "{refused}");
        let whole = there
            .jobs()
            .unwrap()
            .iter()
            .all(|job| job.trials == 2 && job.photos == 2);
        assert!(whole);
    }

    #[test]
    fn no_two_jobs_share_a_uid() {
        assert_ne!(fresh_uid("a"), fresh_uid("a"));
    }

    /// A store with a job of one trial with these photos.
    fn with_photos(folder: &std::path::Path, photos: Vec<NewPhoto>) -> (Store, i64) {
        let mut store = workshop(folder, "photos.db");
        let head = Head {
            uid: fresh_uid("p"),
            ..Head::default()
        };
        let card = Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        let job = store.new_job(&head, &card).unwrap();
        let trial = NewTrial {
            photos,
            ..NewTrial::default()
        };
        store
            .add_trial(job, &trial, "2026-05-04T08:00:00Z", "Robin")
            .unwrap();
        (store, job)
    }

    #[test]
    fn photos_that_are_one_after_cleaning_leave_and_arrive_as_two() {
        let folder = tempfile::tempdir().unwrap();
        let mut jpeg = Vec::new();
        RgbImage::new(8, 6)
            .write_to(&mut Cursor::new(&mut jpeg), image::ImageFormat::Jpeg)
            .unwrap();
        let named = |name: &str, tail: &[u8]| NewPhoto {
            name: name.into(),
            bytes: [&jpeg[..], tail].concat(),
            ..photo()
        };
        let (store, job) = with_photos(
            folder.path(),
            vec![named("a.jpg", b""), named("b.jpg", b"x")],
        );
        let archive = export(&store, job).unwrap();
        let mut there = workshop(folder.path(), "there.db");
        let job = import(&mut there, &archive, false).unwrap();
        let arrived = &there.record(job).unwrap().trials[0].photos;
        let names: Vec<&str> = arrived.iter().map(|photo| photo.name.as_str()).collect();
        assert_eq!(names, ["a.jpg", "b.jpg"]);
        assert_ne!(arrived[0].original_sha256, arrived[1].original_sha256);
        assert_eq!(arrived[0].sha256, arrived[1].sha256);
    }

    #[test]
    fn a_photo_that_was_damaged_in_the_store_is_not_exported() {
        let folder = tempfile::tempdir().unwrap();
        let (store, job) = with_photos(folder.path(), vec![photo()]);
        store
            .connection
            .execute("UPDATE photo SET bytes = zeroblob(length(bytes))", [])
            .unwrap();
        let error = export(&store, job).unwrap_err();
        assert!(matches!(error, JobError::Damaged { .. }), "{error}");
        assert!(error.to_string().contains("not what was recorded"));
    }

    /// The record of `exported`, changed, with these photos.
    fn packed_anew(record: &Record, photos: &[(String, Vec<u8>)]) -> Vec<u8> {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        let how = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        zip.start_file("record.json", how).unwrap();
        zip.write_all(&serde_json::to_vec(record).unwrap()).unwrap();
        for (name, bytes) in photos {
            zip.start_file(name, how).unwrap();
            zip.write_all(bytes).unwrap();
        }
        zip.finish().unwrap().into_inner()
    }

    #[test]
    fn a_small_archive_cannot_unpack_to_more_than_the_memory() {
        let folder = tempfile::tempdir().unwrap();
        let (mut record, _) = exported(folder.path());
        let mut large = b"\x89PNG\r\n\x1a\n".to_vec();
        large.resize(30 << 20, 0);
        let hash = sha256(&large);
        let one = record.trials[0].photos[0].clone();
        for assembly in &mut record.trials {
            assembly.photos = vec![one.clone(); 4];
            for photo in &mut assembly.photos {
                photo.sha256.clone_from(&hash);
            }
        }
        let archive = packed_anew(&record, &[(format!("photos/{hash}.png"), large)]);
        assert!(archive.len() < 100_000, "{}", archive.len());
        let mut there = workshop(folder.path(), "there.db");
        let error = import(&mut there, &archive, true).unwrap_err().to_string();
        assert!(error.contains("unpacks to more"), "{error}");
    }

    #[test]
    fn an_archive_brings_in_no_photo_that_is_none_and_no_number_that_cannot_be() {
        let folder = tempfile::tempdir().unwrap();
        let (mut record, _) = exported(folder.path());
        let zeros = vec![0; 1000];
        let hash = sha256(&zeros);
        for assembly in &mut record.trials {
            assembly.photos[0].sha256.clone_from(&hash);
        }
        let photos = [(format!("photos/{hash}.png"), zeros)];
        let mut there = workshop(folder.path(), "there.db");
        let mut refused = |record: &Record| {
            let archive = packed_anew(record, &photos);
            import(&mut there, &archive, true).unwrap_err().to_string()
        };
        let error = refused(&record);
        assert!(error.contains("is no picture"), "{error}");
        record.trials[0].trial.pinion_shim_mm = Some(1e308);
        let error = refused(&record);
        assert!(error.contains("`pinion_shim_mm`"), "{error}");
        record.trials[0].trial.pinion_shim_mm = None;
        record.trials[0].bench.pinion_nut_nm = Some(1e300);
        let error = refused(&record);
        assert!(error.contains("`pinion_nut_nm`"), "{error}");
    }
}
