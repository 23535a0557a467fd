//! Reads one photo and prints where the patch lies: `cargo run --example read_photo -- examples/larchfield/drive.jpg`

use flankread::{Photo, ReadOptions, read_photo};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("give a photo")?;
    let reading = read_photo(&Photo::open(&path)?, &ReadOptions::default()).reading;
    println!("{path}: {:?}", reading.status);
    for reason in &reading.reasons {
        println!("  {}", reason.message);
    }
    if let (Some(flank), Some(mean), Some(within)) =
        (reading.flank, reading.mean, reading.uncertainty)
    {
        println!(
            "  {} flank, {} teeth: length {:.3} ± {:.3}, height {:.3} ± {:.3}",
            flank.side.word(),
            mean.teeth,
            mean.centre.length,
            within.length,
            mean.centre.height,
            within.height
        );
    }
    Ok(())
}
