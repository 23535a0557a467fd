//! Advice on an assembly whose patches were read by eye: `cargo run --example plan_shims`

use flankread::{Card, FlankPoint, FlankReading, Side, Trial, Units, advise_in};

fn main() -> flankread::Result<()> {
    let card = Card::read("examples/larchfield/card.toml")?;
    let mut trial = Trial::default();
    trial.pinion_shim_mm = Some(0.762);
    trial.ring_side_shim_mm = Some(2.10);
    trial.far_side_shim_mm = Some(2.35);
    trial.backlash_mm = vec![0.28, 0.27, 0.29, 0.28];
    for (side, length, height) in [(Side::Drive, 0.62, 0.62), (Side::Coast, 0.48, 0.72)] {
        let mut reading = FlankReading::at(FlankPoint::new(length, height));
        reading.uncertainty = Some(FlankPoint::new(0.05, 0.05));
        trial.set_reading(side, reading);
    }
    let advice = advise_in(&card, &[trial], Units::In)?;
    println!("{:?}", advice.verdict);
    for line in advice.why.iter().chain(&advice.cautions) {
        println!("- {line}");
    }
    Ok(())
}
