//! How the patches of a gear set walk as its pinion is withdrawn: `cargo run --example simulate_set`

use flankread::{Card, Misalignment};

fn main() -> flankread::Result<()> {
    let card = Card::read("examples/larchfield/card.toml")?;
    let model = card.model()?;
    let (ease_off, film_mm) = model.defaults();
    println!("pinion mm   drive length, height   coast length, height   backlash mm");
    for step in -2..=2 {
        let mut at = Misalignment::default();
        at.pinion_mm = 0.1 * f64::from(step);
        let state = model.state(&at, &ease_off, film_mm);
        let centre = |patch: Option<_>| match patch {
            Some(flankread::FlankPoint { length, height }) => format!("{length:.3}, {height:.3}"),
            None => "off the flank".into(),
        };
        println!(
            "{:+9.1}   {:>20}   {:>20}   {:+.3}",
            at.pinion_mm,
            centre(state.drive.patch.map(|patch| patch.centre)),
            centre(state.coast.patch.map(|patch| patch.centre)),
            state.backlash_change_mm
        );
    }
    Ok(())
}
