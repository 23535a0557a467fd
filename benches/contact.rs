//! Speed of the contact model: setting a card up, one state of assembly, the table of sensitivities.

use criterion::{Criterion, criterion_group, criterion_main};
use flankread::contact::{Misalignment, Model};
use flankread::gear::set::GearSet;
use flankread::schema::Cutting;
use std::hint::black_box;

fn contact(criterion: &mut Criterion) {
    for (name, cutting) in [
        ("face-milled", Cutting::FaceMilled),
        ("face-hobbed", Cutting::FaceHobbed),
    ] {
        let set = GearSet::example(cutting);
        let model = Model::new(&set).expect("the example meshes");
        let (ease_off, film_mm) = model.defaults();
        let moved = Misalignment {
            pinion_mm: 0.1,
            ..Misalignment::default()
        };
        let mut group = criterion.benchmark_group(name);
        group.bench_function("set up a card", |b| b.iter(|| Model::new(black_box(&set))));
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
