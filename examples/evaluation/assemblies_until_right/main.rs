//! How many assemblies until it is right: the trade's fixed steps, a linear rule of the card's own sensitivities, and the advice,
//! on hidden sets that differ from their cards, with nothing gone wrong and with one thing gone wrong.
//!
//! `cargo run --release --example assemblies_until_right [SETS] [WORDS] [SEED] [CUTTING]`: WORDS of the rows that are wanted, SEED
//! of the first set, one CUTTING method of the two

mod draw;
mod methods;
mod mistakes;

use draw::{Chance, Drawn, Hidden, Packs, Truth, USUAL, read};
use flankread::schema::SuspectKind;
use flankread::{Card, Trial};
use methods::{METHODS, Method, Said};
use mistakes::Mistake;
use rayon::prelude::*;

/// Sets of lower seeds had a say in the advice, by its numbers or by what was seen to be wanting.
const FIRST_SEED: u64 = 2_000_000;

/// Where a loop that never ends is cut off.
const MOST: usize = 8;

/// How often a fitter who is asked for a look does look: chosen, no evidence.
const LOOKS: f64 = 0.8;

/// Most looks that one fitter takes at one assembly.
const MOST_LOOKS: usize = 4;

/// One set played to its end.
struct Game {
    /// Assemblies until right; [`MOST`] + 1 when it was not right by then.
    assemblies: usize,
    /// Chance printed with each advice, and whether it came true.
    forecasts: Vec<(f64, bool)>,
    /// Whether the method called an assembly right that was not.
    stopped_wrong: bool,
    /// Whether the method called the assembly right that was.
    stopped_right: bool,
    /// The assembly at which it was given up.
    given_up: Option<usize>,
    /// How often a look was taken.
    looks: usize,
}

/// What an assembly was and showed.
struct Built {
    packs: Packs,
    truth: Truth,
}

/// A set on the bench with what was written down of it.
struct Bench<'a> {
    hidden: &'a Hidden,
    mistake: Mistake,
    card: Card,
    /// Whether the dial stands square to the tooth.
    square: bool,
    built: Vec<Built>,
    trials: Vec<Trial>,
    chance: Chance,
}

impl<'a> Bench<'a> {
    fn new(hidden: &'a Hidden, mistake: Mistake, seed: u64) -> Self {
        Self {
            hidden,
            mistake,
            card: mistake.card(&hidden.card),
            square: mistake.square(),
            built: Vec::new(),
            trials: Vec::new(),
            chance: Chance::new(seed ^ 0x5eed),
        }
    }

    /// Builds, reads and writes down an assembly; `None` where nothing can be read.
    fn build(&mut self, packs: Packs) -> Option<()> {
        let truth = self.hidden.truth(packs, self.square)?;
        let before = self.built.last().map(|built| &built.truth);
        let mut shown = (self.mistake)
            .photographed(&truth, before, self.trials.len())
            .clone();
        shown.backlash_mm = truth.backlash_mm;
        let mut trial = read(&shown, packs, &mut self.chance);
        if self.trials.is_empty() {
            self.mistake.written(&mut trial, &mut self.chance);
        }
        self.trials.push(trial);
        self.built.push(Built { packs, truth });
        Some(())
    }

    /// Reads and measures one assembly again and writes down what is in it.
    fn read_again(&mut self, at: usize) {
        let Built { packs, truth } = &self.built[at];
        self.trials[at] = read(truth, *packs, &mut self.chance);
    }

    /// Looks at what is suspected: puts it right where it was wrong, else says that it is as it was told.
    fn look_at(&mut self, (what, trial): (SuspectKind, Option<usize>)) {
        let at = trial.map_or(self.trials.len() - 1, |number| number - 1);
        let wrong_there = match self.mistake {
            Mistake::OldPhotos => at == 1,
            _ => trial.is_none() || at == 0,
        };
        if !(self.mistake.is(what) && wrong_there) {
            self.trials[at].looked.push(what);
            return;
        }
        match what {
            SuspectKind::ShimPlace | SuspectKind::Cutting => self.card = self.hidden.card.clone(),
            SuspectKind::DialSetting => {
                // Turned and measured again; what it showed before is struck out.
                self.square = false;
                for trial in &mut self.trials {
                    trial.backlash_mm.clear();
                }
                if let Some(truth) = self.hidden.truth(self.built[at].packs, false) {
                    self.built[at].truth = truth;
                    self.read_again(at);
                }
                self.trials[at].looked.push(what);
            }
            _ => self.read_again(at),
        }
    }
}

/// Plays a set until it is right. Who is told to look again reads the same assembly again, without the mistake; who `looks`
/// also looks at what the advice names.
fn play(hidden: &Hidden, mistake: Mistake, method: Method, looks: bool, seed: u64) -> Game {
    let looks = looks && Chance::new(seed ^ 0x100c).between(0.0, 1.0) < LOOKS;
    let mut bench = Bench::new(hidden, mistake, seed);
    let mut packs = Packs::first();
    let mut forecast = None;
    let mut game = Game {
        assemblies: MOST + 1,
        forecasts: Vec::new(),
        stopped_wrong: false,
        stopped_right: false,
        given_up: None,
        looks: 0,
    };
    for assembly in 0..MOST {
        let right = (hidden.truth(packs, false)).is_some_and(|t| hidden.is_right(&t));
        if let Some(p) = forecast.take() {
            game.forecasts.push((p, right));
        }
        if bench.build(packs).is_none() {
            break;
        }
        let mut answer = method.next(&bench.card, &bench.trials);
        let mut left = MOST_LOOKS;
        while let (Some(asked), true, true) = (answer.asked, looks, left > 0) {
            (game.looks, left) = (game.looks + 1, left - 1);
            bench.look_at(asked);
            answer = method.next(&bench.card, &bench.trials);
        }
        if right {
            game.assemblies = assembly + 1;
            game.stopped_right = matches!(answer.said, Said::Right);
            break;
        }
        if matches!(answer.said, Said::LookAgain) {
            game.looks += 1;
            bench.read_again(assembly);
            answer = method.next(&bench.card, &bench.trials);
        }
        match answer.said {
            // A pack that was written down wrong is what the next one is stacked from in the book, not in the axle.
            Said::Build {
                packs: next,
                chance,
            } => (packs, forecast) = (next, chance),
            Said::Right => {
                game.stopped_wrong = true;
                break;
            }
            Said::GivenUp | Said::LookAgain => {
                game.given_up = Some(assembly + 1);
                break;
            }
        }
    }
    game
}

/// One row: how sets are drawn and what goes wrong.
struct Row {
    name: &'static str,
    drawn: Drawn,
    mistake: Mistake,
    /// How often it happens, over everything being as told, as the advice's own priors have it; nought where the row has no
    /// part in the mixture of all.
    often: f64,
    /// Whether fitters look, eight in ten of them, at what the advice asks for in words.
    looks: bool,
}

fn rows() -> Vec<Row> {
    // By what the doubts of the advice have for one trial: src/rules/calibration.rs.
    let row = |name, mistake, often| Row {
        name,
        drawn: USUAL,
        mistake,
        often,
        looks: false,
    };
    let asked = |name, mistake| Row {
        looks: true,
        ..row(name, mistake, 0.0)
    };
    // Sets once to 1.5 times as wide, which the priors hold, are half and half what is as told.
    let drawn = |name, drawn: Drawn| Row {
        name,
        drawn,
        mistake: Mistake::None,
        often: if drawn.width == 1.5 { 0.5 } else { 0.0 },
        looks: false,
    };
    vec![
        row("as told", Mistake::None, 0.5),
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
        row("a length misread by 0.3 once", Mistake::Length, 0.04),
        row("a height misread by 0.25 once", Mistake::Height, 0.04),
        row("toe and heel mixed up once", Mistake::Ends, 0.015),
        row("drive and coast mixed up once", Mistake::Flanks, 0.01),
        row("old photos once", Mistake::OldPhotos, 0.015),
        row(
            "shims on the other side of the bearing",
            Mistake::ShimPlace,
            0.02,
        ),
        row("a pack written down wrong once", Mistake::Pack, 0.05),
        row("dial square, not along", Mistake::Dial, 0.03),
        row("the other cutting method", Mistake::Cutting, 0.02),
        asked("asked, 8 in 10 look: as told", Mistake::None),
        asked("asked, 8 in 10 look: height misread", Mistake::Height),
        asked(
            "asked, 8 in 10 look: shims on the other side",
            Mistake::ShimPlace,
        ),
        asked(
            "asked, 8 in 10 look: pack written down wrong",
            Mistake::Pack,
        ),
        asked("asked, 8 in 10 look: dial square", Mistake::Dial),
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
        often: 0.0,
        looks: false,
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
            "bent case: offset 0.4 mm and shaft angle 0.4 deg",
            Drawn {
                housing: [0.4, 0.4],
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

/// Chances printed, how often they came true, and how many there were: of first advice, when nothing can show a mistake yet,
/// or of later advice.
fn chances(games: &[Game], later: bool) -> [f64; 3] {
    let first = |g: &Game| g.forecasts.len().min(1);
    let forecasts: Vec<(f64, bool)> = games
        .iter()
        .flat_map(|g| {
            if later {
                &g.forecasts[first(g)..]
            } else {
                &g.forecasts[..first(g)]
            }
        })
        .copied()
        .collect();
    [
        forecasts.iter().map(|f| f.0).sum::<f64>(),
        forecasts.iter().filter(|f| f.1).count() as f64,
        forecasts.len() as f64,
    ]
}

fn print_chances(kind: &str, [printed, came_true, n]: [f64; 3]) {
    println!(
        "      {kind}: chance {:.2} printed in the mean, {:.2} came true, {n:.0} times",
        printed / n,
        came_true / n
    );
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
    let from: u64 = (arguments.next().and_then(|n| n.parse().ok())).unwrap_or(FIRST_SEED);
    let one = arguments.next().unwrap_or_default();
    let cuttings = ["face-milled", "face-hobbed"];
    for cutting in cuttings
        .into_iter()
        .filter(|cutting| cutting.contains(&one))
    {
        let mut forecasts = Vec::new();
        let mut mixed = [[0.0; 3]; 2];
        println!("{cutting}, {sets} hidden sets a row");
        for (row, faulty) in rows()
            .into_iter()
            .map(|row| (row, false))
            .chain(faults().into_iter().map(|row| (row, true)))
            .filter(|(row, _)| row.name.contains(&wanted))
        {
            let hidden: Vec<(u64, Hidden)> = (from..)
                .filter_map(|seed| Hidden::draw(seed, cutting, &row.drawn).map(|h| (seed, h)))
                .take(sets)
                .collect();
            println!("  {}", row.name);
            for (name, method) in METHODS {
                if (faulty || row.looks) && method != Method::Estimator {
                    continue;
                }
                let games: Vec<Game> = hidden
                    .par_iter()
                    .map(|(seed, set)| play(set, row.mistake, method, row.looks, *seed))
                    .collect();
                let n = games.len() as f64;
                let by = |n_th: usize| {
                    100.0 * games.iter().filter(|g| g.assemblies <= n_th).count() as f64 / n
                };
                println!(
                    "    {name:<12} right by the 2nd {:>5.1} %, 3rd {:>5.1} %, 4th {:>5.1} %; given up {:>4.1} % (first {:>4.1} %), \
                     called right and not {:>4.1} %, right and called so {:>5.1} %, looks {}",
                    by(2),
                    by(3),
                    by(4),
                    100.0 * games.iter().filter(|g| g.given_up.is_some()).count() as f64 / n,
                    100.0 * games.iter().filter(|g| g.given_up == Some(1)).count() as f64 / n,
                    100.0 * games.iter().filter(|g| g.stopped_wrong).count() as f64 / n,
                    100.0 * games.iter().filter(|g| g.stopped_right).count() as f64 / n,
                    games.iter().map(|g| g.looks).sum::<usize>()
                );
                if method == Method::Estimator && !faulty {
                    for (later, sums) in mixed.iter_mut().enumerate() {
                        let here = chances(&games, later == 1);
                        print_chances(["first advice", "later advice"][later], here);
                        for (sum, here) in sums.iter_mut().zip(here) {
                            *sum += row.often * here;
                        }
                    }
                    print_calibration(&games);
                    forecasts.extend(games);
                }
            }
        }
        println!("  all rows together");
        print_calibration(&forecasts);
        println!("  rows mixed as often as the advice takes them to be");
        print_chances("first advice", mixed[0]);
        print_chances("later advice", mixed[1]);
    }
}
