//! CPU time of the parts of one reading, of all threads (the JPEG decoder starts some):
//!
//! ```sh
//! cargo run --release --example reading_shares -- PHOTO.jpg …
//! ```
//!
//! Each figure is the least of several runs in milliseconds; the first of a program takes longer,
//! for its memory is fresh then.

use flankread::flank::FlankMap;
use flankread::flank::find::{Help, Look};
use flankread::flank::rectify::MAP_SIZE;
use flankread::photo;
use flankread::reading::{Asked, read_photo};
use flankread::report::overlay::overlay;
use flankread::segment::segment_flanks;
use rustix::time::{ClockId, clock_gettime};
use std::path::Path;

/// As in the program itself.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const RUNS: usize = 7;

/// CPU time of this process so far, milliseconds.
fn used_ms() -> f64 {
    let used = clock_gettime(ClockId::ProcessCPUTime);
    used.tv_sec as f64 * 1e3 + used.tv_nsec as f64 / 1e6
}

/// The least time of several runs, and what the last one gave.
fn least_ms<T>(mut run: impl FnMut() -> T) -> (f64, T) {
    let mut timed = || {
        let start = used_ms();
        let result = run();
        (used_ms() - start, result)
    };
    let mut best = timed();
    for _ in 1..RUNS {
        let (time, result) = timed();
        best = (best.0.min(time), result);
    }
    best
}

fn main() {
    println!(
        "  decode  flank network  fit  flattening  patch network  rest    all  overlay  photo"
    );
    for name in std::env::args().skip(1) {
        let (decode, opened) = least_ms(|| photo::open(Path::new(&name)));
        let photo = match opened {
            Ok(photo) => photo,
            Err(error) => {
                eprintln!("{error}");
                continue;
            }
        };
        let (looking, look) = least_ms(|| Look::at(&photo));
        let Ok(look) = look else {
            println!("{decode:8.1} {looking:>14.1}  no flanks in {name}");
            continue;
        };
        let (fitting, found) = least_ms(|| look.find(&Help::default()));
        let Ok(found) = found else {
            println!("{decode:8.1} {looking:>14.1} {fitting:>4.1}  no gear in {name}");
            continue;
        };
        let flatten = || -> Vec<FlankMap> {
            let outlines = found.outlines.iter();
            outlines
                .map(|outline| FlankMap::new(&photo, outline, MAP_SIZE))
                .collect()
        };
        let (flattening, maps) = least_ms(flatten);
        let (network, _) = least_ms(|| segment_flanks(&maps));
        let (reading, read) = least_ms(|| read_photo(&photo, &Asked::default()));
        let (drawing, _) = least_ms(|| overlay(&photo, &read));
        println!(
            "{decode:8.1} {looking:>14.1} {fitting:>4.1} {flattening:>11.1} {network:>14.1} {:>5.1} {:>6.1} {drawing:>8.1}  {name}",
            reading - looking - fitting - flattening - network,
            decode + reading,
        );
    }
}
