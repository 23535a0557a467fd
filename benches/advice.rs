//! Time of one advice, on jobs of one and of five trials.

use criterion::{Criterion, criterion_group, criterion_main};
use flankread::{Card, FlankPoint, FlankReading, Trial, advise};

/// Five assemblies that close in on the right place, written by hand.
fn trials() -> Vec<Trial> {
    let flank = |length: f64, height: f64| {
        let mut reading = FlankReading::at(FlankPoint::new(length, height));
        reading.extent = Some(FlankPoint::new(0.53, 0.66));
        reading.lean_deg = Some(3.0);
        reading.uncertainty = Some(FlankPoint::new(0.015, 0.022));
        Some(reading)
    };
    [
        (0.508, 0.26, (0.62, 0.64), (0.48, 0.74)),
        (0.584, 0.24, (0.60, 0.60), (0.49, 0.66)),
        (0.635, 0.22, (0.56, 0.57), (0.50, 0.63)),
        (0.660, 0.22, (0.54, 0.56), (0.50, 0.59)),
        (0.686, 0.21, (0.52, 0.54), (0.51, 0.57)),
    ]
    .map(|(shim_mm, backlash_mm, drive, coast)| {
        let mut trial = Trial::default();
        trial.pinion_shim_mm = Some(shim_mm);
        trial.ring_side_shim_mm = Some(2.159);
        trial.far_side_shim_mm = Some(2.286);
        trial.backlash_mm = vec![backlash_mm; 4];
        trial.drive = flank(drive.0, drive.1);
        trial.coast = flank(coast.0, coast.1);
        trial
    })
    .to_vec()
}

fn advice(criterion: &mut Criterion) {
    let card = Card::read("fixtures/cards/larchfield-8in.toml").expect("the card is one");
    let trials = trials();
    let mut group = criterion.benchmark_group("advice");
    group.sample_size(10);
    for n in [1, 5] {
        group.bench_function(format!("{n} trials"), |b| {
            b.iter(|| advise(&card, &trials[..n]).expect("advice is given"));
        });
    }
    group.finish();
}

criterion_group!(benches, advice);
criterion_main!(benches);
