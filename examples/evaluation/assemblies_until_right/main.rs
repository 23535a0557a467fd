//! How many assemblies until it is right: the trade's fixed steps, the plain sensitivities of the
//! card's gears, and the estimator that learns, on hidden sets that differ from their cards.
//!
//! `cargo run --release --example assemblies_until_right [SETS] [FILE.svg]`

mod draw;
mod methods;
mod plot;

use draw::{Chance, Hidden, SPREAD};
use methods::{METHODS, Method};
use rayon::prelude::*;
use std::path::Path;

/// Where a loop that never ends is cut off.
const MOST: usize = 8;

/// One set played to its end.
struct Game {
    /// Assemblies until right; [`MOST`] + 1 when it was not right by then.
    assemblies: usize,
    /// Chance printed with each advice, and whether it came true.
    forecasts: Vec<(f64, bool)>,
    /// Whether the method stopped on an assembly that was not right.
    stopped_wrong: bool,
}

fn play(hidden: &Hidden, method: Method, seed: u64) -> Game {
    let mut chance = Chance::new(seed ^ 0x5eed);
    let mut at_mm = hidden.start_mm;
    let mut trials = Vec::new();
    let mut forecasts = Vec::new();
    let mut forecast = None;
    for assembly in 1..=MOST {
        let truth = hidden.truth(at_mm);
        let right = truth.as_ref().is_some_and(|t| hidden.is_right(t));
        if let Some(p) = forecast.take() {
            forecasts.push((p, right));
        }
        if right {
            return Game {
                assemblies: assembly,
                forecasts,
                stopped_wrong: false,
            };
        }
        let Some(truth) = truth else { break };
        trials.push(hidden.read(&truth, at_mm, &mut chance));
        let Some(next) = method.next(&hidden.card, &trials) else {
            return Game {
                assemblies: MOST + 1,
                forecasts,
                stopped_wrong: true,
            };
        };
        at_mm = [at_mm[0] + next.move_mm[0], at_mm[1] + next.move_mm[1]];
        forecast = next.chance;
    }
    Game {
        assemblies: MOST + 1,
        forecasts,
        stopped_wrong: false,
    }
}

/// How often the forecasts of each range of chance came true.
fn print_calibration(games: &[Game]) {
    for [low, high] in [[0.0, 0.4], [0.4, 0.6], [0.6, 0.8], [0.8, 0.9], [0.9, 1.01]] {
        let here: Vec<bool> = games
            .iter()
            .flat_map(|g| &g.forecasts)
            .filter(|(p, _)| (low..high).contains(p))
            .map(|(_, right)| *right)
            .collect();
        if !here.is_empty() {
            let right = here.iter().filter(|r| **r).count();
            println!(
                "    chance {:>3.0}–{:>3.0} %: came true {:>5.1} % of {}",
                100.0 * low,
                100.0 * f64::min(high, 1.0),
                100.0 * right as f64 / here.len() as f64,
                here.len()
            );
        }
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let sets: usize = arguments.next().and_then(|n| n.parse().ok()).unwrap_or(300);
    let picture = arguments.next();
    let mut curves = Vec::new();
    for cutting in ["face-milled", "face-hobbed"] {
        let hidden: Vec<(u64, Hidden)> = (0_u64..)
            .filter_map(|seed| Hidden::draw(seed, cutting, &SPREAD).map(|h| (seed, h)))
            .take(sets)
            .collect();
        println!("{cutting}: {} hidden sets", hidden.len());
        for (name, method) in METHODS {
            let games: Vec<Game> = hidden
                .par_iter()
                .map(|(seed, set)| play(set, method, *seed))
                .collect();
            let by = |n: usize| {
                games.iter().filter(|g| g.assemblies <= n).count() as f64 / games.len() as f64
            };
            let mean = games.iter().map(|g| g.assemblies as f64).sum::<f64>() / games.len() as f64;
            println!(
                "  {name:<22} mean {mean:.2}; right by the 1st {:.1} %, 2nd {:.1} %, 3rd {:.1} %; stopped wrong {}",
                100.0 * by(1),
                100.0 * by(2),
                100.0 * by(3),
                games.iter().filter(|g| g.stopped_wrong).count()
            );
            print_calibration(&games);
            curves.push((format!("{cutting}, {name}"), (1..=MOST).map(by).collect()));
        }
    }
    if let Some(path) = picture {
        match plot::draw(Path::new(&path), &curves) {
            Ok(()) => println!("plot written to {path}"),
            Err(error) => eprintln!("the plot could not be written: {error}"),
        }
    }
}
