//! How many assemblies until it is right: the trade's fixed steps, a linear rule of the card's own sensitivities, and the advice,
//! on hidden sets that differ from their cards, with nothing gone wrong and with one thing gone wrong.
//!
//! `cargo run --release --example assemblies_until_right [SETS] [WORDS]`, WORDS of the rows that are wanted

mod draw;
mod methods;
mod mistakes;

use draw::{Chance, Drawn, Hidden, Packs, USUAL, read};
use methods::{METHODS, Method, Said};
use mistakes::Mistake;
use rayon::prelude::*;

/// Sets of lower seeds had a say in the numbers of the advice.
const FIRST_SEED: u64 = 1_000_000;

/// Where a loop that never ends is cut off.
const MOST: usize = 8;

/// One set played to its end.
struct Game {
    /// Assemblies until right; [`MOST`] + 1 when it was not right by then.
    assemblies: usize,
    /// Chance printed with each advice, and whether it came true.
    forecasts: Vec<(f64, bool)>,
    /// Whether the method called an assembly right that was not.
    stopped_wrong: bool,
    /// The assembly at which it was given up.
    given_up: Option<usize>,
    /// How often a second look was asked for.
    looks: usize,
}

/// Plays a set until it is right. A second look reads the same assembly again, without the mistake.
fn play(hidden: &Hidden, mistake: Mistake, method: Method, seed: u64) -> Game {
    let mut chance = Chance::new(seed ^ 0x5eed);
    let card = mistake.card(&hidden.card);
    let mut packs = Packs::first();
    let mut trials = Vec::new();
    let mut before = None;
    let mut forecast = None;
    let mut game = Game {
        assemblies: MOST + 1,
        forecasts: Vec::new(),
        stopped_wrong: false,
        given_up: None,
        looks: 0,
    };
    for assembly in 0..MOST {
        let right = hidden
            .truth(packs, false)
            .is_some_and(|t| hidden.is_right(&t));
        if let Some(p) = forecast.take() {
            game.forecasts.push((p, right));
        }
        if right {
            game.assemblies = assembly + 1;
            break;
        }
        let Some(now) = hidden.truth(packs, mistake.square()) else {
            break;
        };
        let seen = mistake.photographed(&now, before.as_ref(), assembly);
        let mut shown = seen.clone();
        shown.backlash_mm = now.backlash_mm;
        let mut trial = read(&shown, packs, &mut chance);
        if assembly == 0 {
            mistake.written(&mut trial, &mut chance);
        }
        trials.push(trial);
        let mut said = method.next(&card, &trials);
        if matches!(said, Said::LookAgain) {
            game.looks += 1;
            trials.pop();
            trials.push(read(&now, packs, &mut chance));
            said = method.next(&card, &trials);
        }
        match said {
            Said::Build {
                packs: next,
                chance,
            } => {
                // A pack that was written down wrong is what the next one is stacked from in the book, not in the axle.
                packs = next;
                forecast = chance;
            }
            Said::Right => {
                game.stopped_wrong = true;
                break;
            }
            Said::GivenUp | Said::LookAgain => {
                game.given_up = Some(assembly + 1);
                break;
            }
        }
        before = Some(now);
    }
    game
}

/// One row: how sets are drawn and what goes wrong.
struct Row {
    name: &'static str,
    drawn: Drawn,
    mistake: Mistake,
}

fn rows() -> Vec<Row> {
    let row = |name, mistake| Row {
        name,
        drawn: USUAL,
        mistake,
    };
    let drawn = |name, drawn| Row {
        name,
        drawn,
        mistake: Mistake::None,
    };
    vec![
        row("as told", Mistake::None),
        drawn(
            "as told, sets 1.5 times as wide",
            Drawn {
                width: 1.5,
                ..USUAL
            },
        ),
        drawn(
            "as told, sets twice as wide",
            Drawn {
                width: 2.0,
                ..USUAL
            },
        ),
        row("a length misread by 0.3 once", Mistake::Length),
        row("a height misread by 0.25 once", Mistake::Height),
        row("toe and heel mixed up once", Mistake::Ends),
        row("drive and coast mixed up once", Mistake::Flanks),
        row("old photos once", Mistake::OldPhotos),
        row("shims on the other side of the bearing", Mistake::ShimPlace),
        row("a pack written down wrong once", Mistake::Pack),
        row("dial square, not along", Mistake::Dial),
        row("the other cutting method", Mistake::Cutting),
        drawn(
            "best place off the middle by 0.10, 0.05",
            Drawn {
                off_middle: [0.10, 0.05],
                ..USUAL
            },
        ),
        drawn(
            "starts twice as far off",
            Drawn {
                start: 2.0,
                ..USUAL
            },
        ),
    ]
}

/// What no shim cures.
fn faults() -> Vec<Row> {
    let fault = |name, drawn| Row {
        name,
        drawn,
        mistake: Mistake::None,
    };
    vec![
        fault(
            "offset wrong by 0.6 mm",
            Drawn {
                housing: [0.6, 0.0],
                ..USUAL
            },
        ),
        fault(
            "shaft angle wrong by 0.6 deg",
            Drawn {
                housing: [0.0, 0.6],
                ..USUAL
            },
        ),
        fault(
            "pressure angles 1 deg apart",
            Drawn {
                mismatch_deg: 1.0,
                ..USUAL
            },
        ),
    ]
}

fn print_calibration(games: &[Game]) {
    for [low, high] in [[0.0, 0.4], [0.4, 0.6], [0.6, 0.8], [0.8, 0.9], [0.9, 1.01]] {
        let here: Vec<(f64, bool)> = games
            .iter()
            .flat_map(|g| g.forecasts.iter().copied())
            .filter(|(p, _)| (low..high).contains(p))
            .collect();
        if !here.is_empty() {
            let n = here.len() as f64;
            println!(
                "      chance {:.2} printed in the mean, {:.2} came true, {n} times",
                here.iter().map(|h| h.0).sum::<f64>() / n,
                here.iter().filter(|h| h.1).count() as f64 / n,
            );
        }
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let sets: usize = arguments.next().and_then(|n| n.parse().ok()).unwrap_or(200);
    let wanted = arguments.next().unwrap_or_default();
    for cutting in ["face-milled", "face-hobbed"] {
        let mut forecasts = Vec::new();
        println!("{cutting}, {sets} hidden sets a row");
        for (row, faulty) in rows()
            .into_iter()
            .map(|row| (row, false))
            .chain(faults().into_iter().map(|row| (row, true)))
            .filter(|(row, _)| row.name.contains(&wanted))
        {
            let hidden: Vec<(u64, Hidden)> = (FIRST_SEED..)
                .filter_map(|seed| Hidden::draw(seed, cutting, &row.drawn).map(|h| (seed, h)))
                .take(sets)
                .collect();
            println!("  {}", row.name);
            for (name, method) in METHODS {
                if faulty && method != Method::Estimator {
                    continue;
                }
                let games: Vec<Game> = hidden
                    .par_iter()
                    .map(|(seed, set)| play(set, row.mistake, method, *seed))
                    .collect();
                let n = games.len() as f64;
                let by = |n_th: usize| {
                    100.0 * games.iter().filter(|g| g.assemblies <= n_th).count() as f64 / n
                };
                println!(
                    "    {name:<12} right by the 2nd {:>5.1} %, 3rd {:>5.1} %, 4th {:>5.1} %; given up {:>4.1} % (first {:>4.1} %), \
                     called right and not {:>4.1} %, second looks {}",
                    by(2),
                    by(3),
                    by(4),
                    100.0 * games.iter().filter(|g| g.given_up.is_some()).count() as f64 / n,
                    100.0 * games.iter().filter(|g| g.given_up == Some(1)).count() as f64 / n,
                    100.0 * games.iter().filter(|g| g.stopped_wrong).count() as f64 / n,
                    games.iter().map(|g| g.looks).sum::<usize>()
                );
                if method == Method::Estimator && !faulty {
                    print_calibration(&games);
                    forecasts.extend(games);
                }
            }
        }
        println!("  all rows together");
        print_calibration(&forecasts);
    }
}
