//! What is read in photos of the fixtures, number by number, held so that nothing of it changes unseen. How far readings are
//! from the truth is measured elsewhere (`tests/slow/golden.rs`).

use super::{ReadOptions, read_photo};
use crate::flank::marks::Marks;
use crate::frames::FlankPoint;
use crate::held;
use crate::photo::Photo;
use crate::schema::{Card, Reading};
use std::fmt::Write as _;
use std::path::Path;

fn percent(at: FlankPoint) -> String {
    format!("{:.1} × {:.1} %", 100.0 * at.length, 100.0 * at.height)
}

fn lines(name: &str, reading: &Reading) -> String {
    let mut out = format!("{name}: {:?}\n", reading.status);
    for reason in &reading.reasons {
        let _ = writeln!(out, "  {:?}", reason.code);
    }
    if let (Some(mean), Some(u)) = (&reading.mean, reading.uncertainty) {
        let _ = writeln!(
            out,
            "  centre {} ± {}, extent {}, slant {:.1}°, spread {}, {} teeth",
            percent(mean.centre),
            percent(u),
            percent(mean.extent),
            mean.lean_deg,
            percent(mean.spread),
            mean.teeth
        );
    }
    if let Some(cutting) = reading.cutting {
        let _ = writeln!(
            out,
            "  {:?} at {:.1} %",
            cutting.method,
            100.0 * cutting.probability
        );
    }
    for tooth in &reading.teeth {
        let corners = [&tooth.corners.toe_root, &tooth.corners.heel_tip];
        let corners = corners.map(|p| format!("{:.0}, {:.0}", p.x, p.y));
        let _ = writeln!(
            out,
            "  tooth from {} to {}, confidence {:.1} %, {} islands",
            corners[0],
            corners[1],
            100.0 * tooth.confidence,
            tooth.islands.len()
        );
        if let Some(patch) = tooth.patch {
            let m = patch.margin;
            let margins =
                [m.toe, m.heel, m.tip, m.root].map(|share| format!("{:.1}", 100.0 * share));
            let _ = writeln!(
                out,
                "    patch at {}, extent {}, area {:.1} %, slant {:.1}°, margins {}",
                percent(patch.centre),
                percent(patch.extent),
                100.0 * patch.area,
                patch.lean_deg,
                margins.join(", ")
            );
        }
    }
    out
}

#[test]
fn held_readings_number_by_number() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let card = Card::read(root.join("examples/larchfield/card.toml")).unwrap();
    let read = |name: &str, options: &ReadOptions| {
        let photo = Photo::open(root.join(name)).unwrap();
        lines(name, &read_photo(&photo, options).reading)
    };
    let mut out = String::new();
    for name in [
        "examples/larchfield/drive.jpg",
        "fixtures/golden/close/h001.jpg",
        "fixtures/golden/close/h005.jpg",
        "fixtures/painted/blurred.jpg",
    ] {
        out += &read(name, &ReadOptions::default());
    }
    out += "with the card, ";
    out += &read(
        "examples/larchfield/coast.jpg",
        &ReadOptions::of_card(&card),
    );
    for name in [
        "coast-white",
        "drive-red-turned",
        "bare-steel",
        "not-rolled",
    ] {
        let name = format!("fixtures/painted/{name}.jpg");
        let photo = Photo::open(root.join(&name)).unwrap();
        let marks = Marks::read(root.join(format!("{name}.marks.json")), &photo).unwrap();
        let options = ReadOptions {
            marks: Some(marks),
            ..ReadOptions::default()
        };
        out += "with marks, ";
        out += &read(&name, &options);
    }
    held::hold("readings.txt", &out);
}
