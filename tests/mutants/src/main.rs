//! Which changes of the source no test notices. All of them stand in one build, each behind a switch that a number in the
//! environment turns on; the README beside says how it is run and what its table means.

mod build;
mod find;
mod run;

use std::path::{Path, PathBuf};

use find::{Mutant, Site};

/// A source file with what could be changed in it.
struct Source {
    /// From the repository's root.
    path: PathBuf,
    text: String,
    sites: Vec<Site>,
    /// With their numbers, by which they are turned on.
    mutants: Vec<(usize, Mutant)>,
}

struct Asked {
    rooms: Vec<String>,
    out: PathBuf,
    /// How many are drawn of all; none: all.
    sample: Option<usize>,
    seed: u64,
    /// Mutants of these lines, `reading/judge.rs:120`, beside those that are drawn.
    lines: Vec<String>,
    /// Tests of one mutant may take this long together.
    seconds: f64,
}

fn main() {
    let asked = match asked(std::env::args().skip(1)) {
        Ok(asked) => asked,
        Err(wrong) => {
            eprintln!(
                "{wrong}\nusage: flankread-mutants --out DIR [--rooms reading,rules,setup,report] [--sample N] [--seed S] [--lines reading/judge.rs:120,…] [--seconds 60]"
            );
            std::process::exit(2);
        }
    };
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let root = root.canonicalize().expect("the repository's root");
    let mut sources = sources(&root, &asked.rooms);
    let all: usize = sources.iter().map(|source| source.mutants.len()).sum();
    choose(&mut sources, &asked);
    let drawn: usize = sources.iter().map(|source| source.mutants.len()).sum();
    eprintln!(
        "{all} mutants in {} files, {drawn} of them chosen",
        sources.len()
    );
    let tree = asked.out.join("tree");
    build::copy(&root, &tree);
    build::until_it_compiles(&tree, &mut sources);
    let left: usize = sources.iter().map(|source| source.mutants.len()).sum();
    eprintln!("{left} compile");
    let programs = build::test_programs(&tree);
    run::all(&tree, &programs, &sources, &asked.out, asked.seconds);
}

fn asked(mut words: impl Iterator<Item = String>) -> Result<Asked, String> {
    let mut asked = Asked {
        rooms: ["reading", "rules", "setup", "report"]
            .map(str::to_owned)
            .to_vec(),
        out: PathBuf::new(),
        sample: None,
        seed: 1,
        lines: Vec::new(),
        seconds: 60.0,
    };
    while let Some(word) = words.next() {
        let value = words.next().ok_or(format!("{word} wants a value"))?;
        let number = || {
            value
                .parse()
                .map_err(|_| format!("{word} wants a number, not {value}"))
        };
        let list = || value.split(',').map(str::to_owned).collect();
        match word.as_str() {
            "--rooms" => asked.rooms = list(),
            "--out" => asked.out = PathBuf::from(&value),
            "--sample" => asked.sample = Some(number()?),
            "--seed" => asked.seed = number()? as u64,
            "--lines" => asked.lines = list(),
            "--seconds" => asked.seconds = number()? as f64,
            _ => return Err(format!("{word} is no option")),
        }
    }
    if asked.out.as_os_str().is_empty() {
        return Err("--out is missing".into());
    }
    std::fs::create_dir_all(&asked.out)
        .map_err(|error| format!("{}: {error}", asked.out.display()))?;
    asked.out = asked
        .out
        .canonicalize()
        .map_err(|error| error.to_string())?;
    Ok(asked)
}

fn sources(root: &Path, rooms: &[String]) -> Vec<Source> {
    let mut paths = Vec::new();
    for room in rooms {
        let place = root.join("src").join(room);
        walk(&place, &mut paths);
        walk(&place.with_extension("rs"), &mut paths);
    }
    paths.sort();
    let mut next = 1;
    let mut sources = Vec::new();
    for path in paths {
        let text = std::fs::read_to_string(&path).expect("a source file");
        let (sites, found) = find::of_source(&text);
        let mutants = found.into_iter().map(|mutant| {
            next += 1;
            (next - 1, mutant)
        });
        sources.push(Source {
            mutants: mutants.collect(),
            path: path.strip_prefix(root).expect("below the root").to_owned(),
            text,
            sites,
        });
    }
    sources
}

/// All Rust files at or below a place but those of tests alone.
fn walk(place: &Path, found: &mut Vec<PathBuf>) {
    if place.file_stem().is_some_and(|name| name == "tests") {
        return;
    }
    if place.is_dir() {
        for entry in std::fs::read_dir(place).expect("a folder of the source") {
            walk(&entry.expect("a file of the source").path(), found);
        }
    } else if place.is_file() && place.extension().is_some_and(|ending| ending == "rs") {
        found.push(place.to_owned());
    }
}

/// Keeps the mutants that are asked for.
/// Those of the lines that are asked for and those that are drawn; all where neither is asked for.
fn choose(sources: &mut [Source], asked: &Asked) {
    if asked.lines.is_empty() && asked.sample.is_none() {
        return;
    }
    // Each number's place in an order that the seed alone decides (splitmix64).
    let place = |number: usize| {
        let mut x = asked
            .seed
            .wrapping_mul(0x9e37_79b9_7f4a_7c15)
            .wrapping_add(number as u64);
        for (shift, factor) in [(30, 0xbf58_476d_1ce4_e5b9), (27, 0x94d0_49bb_1331_11eb_u64)] {
            x = (x ^ (x >> shift)).wrapping_mul(factor);
        }
        x ^ (x >> 31)
    };
    let mut places: Vec<_> = sources
        .iter()
        .flat_map(|source| source.mutants.iter().map(|(number, _)| place(*number)))
        .collect();
    places.sort_unstable();
    let limit = match asked.sample {
        None => 0,
        Some(sample) => places.get(sample).copied().unwrap_or(u64::MAX),
    };
    for source in sources {
        let path = source.path.strip_prefix("src").expect("below src");
        let path = path.display().to_string();
        let wanted = |line: usize| asked.lines.contains(&format!("{path}:{line}"));
        source
            .mutants
            .retain(|(number, mutant)| wanted(mutant.line) || place(*number) < limit);
    }
}
