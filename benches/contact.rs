//! Speed of the contact model: setting a card up, one state of assembly, the table of sensitivities.

use criterion::{Criterion, criterion_group, criterion_main};
use flankread::{Card, Cutting, Misalignment};
use std::hint::black_box;

fn contact(criterion: &mut Criterion) {
    for (name, cutting) in [
        ("face-milled", Cutting::FaceMilled),
        ("face-hobbed", Cutting::FaceHobbed),
    ] {
        let mut card = Card::read("examples/larchfield/card.toml").expect("the card is one");
        card.gear.cutting = cutting;
        let model = card.model().expect("the example meshes");
        let (ease_off, film_mm) = model.defaults();
        let mut moved = Misalignment::default();
        moved.pinion_mm = 0.1;
        let mut group = criterion.benchmark_group(name);
        group.bench_function("set up a card", |b| b.iter(|| black_box(&card).model()));
        group.bench_function("one state, both flanks, 61 x 31", |b| {
            b.iter(|| model.state(black_box(&moved), &ease_off, film_mm));
        });
        group.bench_function("table of sensitivities", |b| {
            b.iter(|| model.sensitivities(black_box(&moved), &ease_off, film_mm));
        });
        group.finish();
    }
}

criterion_group!(benches, contact);
criterion_main!(benches);
