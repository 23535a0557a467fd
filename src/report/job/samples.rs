//! Jobs that the sheets are tried on.

use crate::frames::FlankPoint;
use crate::schema::record::{
    Amendment, Assembly, Followed, Given, Head, Item, Note, PhotoOf, Record, SCHEMA, Shows, Tick,
};
use crate::schema::{Card, FlankReading, Shims};
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;

/// The stored bytes of each trial's photos.
type Pictures = Vec<Vec<Option<Vec<u8>>>>;

fn record(trials: Vec<Assembly>, notes: Vec<Note>) -> Record {
    Record {
        schema: SCHEMA.into(),
        head: Head {
            name: "Rear axle".into(),
            ..Head::default()
        },
        card: Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap(),
        trials,
        advice: Vec::new(),
        closing: Vec::new(),
        notes,
    }
}

fn note(text: &str) -> Note {
    Note {
        at: "2026-05-04T08:00:00Z".into(),
        by: "Robin".into(),
        text: text.into(),
    }
}

fn jpeg(width: u32, height: u32) -> Vec<u8> {
    let mut jpeg = Vec::new();
    JpegEncoder::new(&mut jpeg)
        .encode_image(&RgbImage::new(width, height))
        .unwrap();
    jpeg
}

fn photo(shows: Shows) -> PhotoOf {
    PhotoOf {
        original_sha256: String::new(),
        sha256: String::new(),
        name: "a.jpg".into(),
        shows,
        reading: None,
    }
}

/// A job with far more in it than two sides hold.
pub(crate) fn crowded() -> (Record, Pictures) {
    let words = "words that go on and on about what was seen at the bench ".repeat(9);
    let trials: Vec<Assembly> = (1..=30)
        .map(|number| {
            let mut assembly = Assembly {
                number,
                photos: vec![photo(Shows::Drive); 2],
                ..Assembly::default()
            };
            assembly.trial.backlash_mm = vec![0.2; 12];
            assembly.trial.as_found = number == 1;
            assembly.bench.note.clone_from(&words);
            assembly
        })
        .collect();
    let pictures = vec![vec![Some(jpeg(40, 30)); 2]; trials.len()];
    (record(trials, vec![note(&words); 20]), pictures)
}

/// A job of thirteen assemblies from as found to right, with a coast flank that was not read at first, a backlash outside
/// its window, upright and broad photos, and a value that was put right.
pub(crate) fn played() -> (Record, Pictures) {
    let trials: Vec<Assembly> = (1..=13)
        .map(|number| {
            let step = number as f64;
            let mut assembly = Assembly {
                number,
                recorded: format!("2026-05-04T{:02}:00:00Z", 7 + number),
                by: "Robin".into(),
                ..Assembly::default()
            };
            let trial = &mut assembly.trial;
            trial.as_found = number == 1;
            trial.pinion_shim_mm = Some(0.9 + 0.02 * step);
            trial.ring_side_shim_mm = Some(5.1);
            trial.far_side_shim_mm = Some(5.6 - 0.01 * step);
            trial.backlash_mm = vec![0.15 + 0.01 * step; 4];
            trial.pinion_torque_nm = (number > 2).then_some(1.2 + 0.04 * step);
            let at = |length, height| Some(FlankReading::at(FlankPoint::new(length, height)));
            trial.drive = at(0.8 - 0.025 * step, 0.85 - 0.03 * step);
            trial.coast = if number > 1 {
                at(0.3 + 0.015 * step, 0.4)
            } else {
                None
            };
            if number == 1 || number == 13 {
                assembly.photos = vec![photo(Shows::Drive), photo(Shows::Coast)];
            }
            if number == 13 {
                assembly.bench.final_parts = true;
                assembly.bench.side_preload = true;
                assembly.bench.note = "Nut, seal and sleeve are those that stay.".into();
                assembly.bench.amended.push(Amendment {
                    at: "2026-05-04T21:00:00Z".into(),
                    by: "Robin".into(),
                    what: "pinion_shim_mm".into(),
                    was: 1.10.into(),
                    now: 1.16.into(),
                    because: "read upside down".into(),
                });
            }
            assembly
        })
        .collect();
    let pictures = (trials.iter())
        .map(|trial| match trial.photos.len() {
            0 => Vec::new(),
            _ => vec![Some(jpeg(40, 30)), Some(jpeg(30, 60))],
        })
        .collect();
    let mut record = record(
        trials,
        vec![note("Bearings pressed off once, both races new.")],
    );
    // Advice that was followed in part, and the same for an axle with adjusters.
    let advice = crate::rules::advise(&record.card, &[record.trials[1].trial.clone()]).unwrap();
    let mut with_notches = advice.clone();
    with_notches.shims = Some(Shims {
        ring_notches: Some(-3),
        ..Shims::default()
    });
    for (after, advice) in [(2, advice), (3, with_notches)] {
        record.advice.push(Given {
            after,
            at: "2026-05-04T09:10:00Z".into(),
            advice,
            followed: Some(Followed::Partly),
            remark: "one shim short".into(),
            outdated: String::new(),
        });
    }
    record.closing.push(Tick {
        item: Item::PinionNut,
        at: "2026-05-04T21:30:00Z".into(),
        by: "Robin".into(),
        value: "60 N·m".into(),
        because: String::new(),
    });
    (record, pictures)
}
