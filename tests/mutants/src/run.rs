//! Which tests reach which mutant, and which of them fail with it.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Write;
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::Source;
use crate::find::Mutant;

/// A test, the mutants it asks for and what it takes alone.
struct Test {
    program: PathBuf,
    name: String,
    seconds: f64,
    reaches: Vec<usize>,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    Noticed,
    NotReached,
    NotNoticed,
    TimeSpent,
}

impl Fate {
    fn word(self) -> &'static str {
        match self {
            Self::Noticed => "noticed",
            Self::NotReached => "not reached by any test",
            Self::NotNoticed => "not noticed",
            Self::TimeSpent => "not noticed in the time given",
        }
    }
}

/// Runs all mutants on all cores and writes `mutants.jsonl`, a line for each as it is known; those that stand there are not
/// run again. Prints a table by room.
pub fn all(tree: &Path, programs: &[PathBuf], sources: &[Source], out: &Path, seconds: f64) {
    let tests = reached(tree, programs, out);
    let table = out.join("mutants.jsonl");
    let mut known = known(&table);
    let file = File::options()
        .create(true)
        .append(true)
        .open(&table)
        .expect("the table");
    let file = Mutex::new(file);
    let mut waiting: Vec<(&Path, usize, &Mutant)> = Vec::new();
    for source in sources {
        for (number, mutant) in &source.mutants {
            if !known.contains_key(&key(&source.path, mutant)) {
                waiting.push((&source.path, *number, mutant));
            }
        }
    }
    let total = waiting.len();
    let fresh = Mutex::new(BTreeMap::new());
    on_all_cores(waiting, |(path, number, mutant)| {
        let started = Instant::now();
        let (fate, by) = fate_of(tree, &tests, number, path, seconds);
        let line = json!({
            "path": path, "line": mutant.line, "change": mutant.change, "fate": fate.word(), "by": by,
            "seconds": started.elapsed().as_secs_f64(),
        });
        writeln!(file.lock().expect("the table"), "{line}").expect("the table");
        let mut fresh = fresh.lock().expect("the fates");
        fresh.insert(key(path, mutant), fate.word().to_owned());
        if fresh.len() % 20 == 0 {
            eprintln!("{} of {total}", fresh.len());
        }
    });
    known.extend(fresh.into_inner().expect("the fates"));
    print(&known);
}

fn key(path: &Path, mutant: &Mutant) -> String {
    format!("{}:{} {}", path.display(), mutant.line, mutant.change)
}

/// What an earlier run wrote down.
fn known(table: &Path) -> BTreeMap<String, String> {
    let text = std::fs::read_to_string(table).unwrap_or_default();
    let lines = text
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    let fates = lines.map(|line| {
        let word = |name: &str| line[name].as_str().unwrap_or_default().to_owned();
        let key = format!("{}:{} {}", word("path"), line["line"], word("change"));
        (key, word("fate"))
    });
    fates.collect()
}

fn print(fates: &BTreeMap<String, String>) {
    let mut rooms: BTreeMap<String, BTreeMap<&str, usize>> = BTreeMap::new();
    for (key, fate) in fates {
        let room = key.split('/').nth(1).unwrap_or_default().to_owned();
        *rooms.entry(room).or_default().entry(fate).or_default() += 1;
    }
    for (room, fates) in rooms {
        println!("{room}: {fates:?}");
    }
}

/// Does the work of every item, one a core at a time, the last first.
fn on_all_cores<T: Send>(items: Vec<T>, work: impl Fn(T) + Sync) {
    let waiting = Mutex::new(items);
    let next = || waiting.lock().expect("the list").pop();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                while let Some(item) = next() {
                    work(item);
                }
            });
        }
    });
}

/// Tests with these in their names want a browser or folders of pictures, or take minutes.
const LEFT_OUT: [&str; 4] = [
    "browser_tests",
    "layouts_of_folders",
    "job_kill",
    "large_tree",
];

/// Each test once and alone, noting what it reaches.
fn reached(tree: &Path, programs: &[PathBuf], out: &Path) -> Vec<Test> {
    let mut waiting = Vec::new();
    for program in programs {
        let left_out = |name: &String| LEFT_OUT.iter().any(|part| name.contains(part));
        let names = listed(tree, program)
            .into_iter()
            .filter(|name| !left_out(name));
        waiting.extend(names.map(|name| (program.clone(), name)));
    }
    eprintln!("{} tests, each alone", waiting.len());
    let tests = Mutex::new(Vec::new());
    let numbered = waiting.into_iter().enumerate().collect();
    on_all_cores(numbered, |(index, (program, name))| {
        let noted = out.join(format!("reached-{index}"));
        // Some tests run the program as nobody, who must be able to note what he reaches.
        let anybody = std::fs::Permissions::from_mode(0o666);
        std::fs::write(&noted, "").expect("the folder for results can be written");
        std::fs::set_permissions(&noted, anybody).expect("it is ours");
        let started = Instant::now();
        let environment = [("MUTANT_REACHED", noted.display().to_string())];
        let passed = run(
            tree,
            &program,
            &[&name],
            &environment,
            Duration::from_secs(600),
        );
        let text = std::fs::read_to_string(&noted).unwrap_or_default();
        let _ = std::fs::remove_file(&noted);
        if !passed {
            eprintln!("fails without any mutant, left out: {name}");
            return;
        }
        tests.lock().expect("the tests").push(Test {
            program,
            name,
            seconds: started.elapsed().as_secs_f64(),
            reaches: text.lines().filter_map(|line| line.parse().ok()).collect(),
        });
    });
    tests.into_inner().expect("the tests")
}

/// Names of a program's tests.
fn listed(tree: &Path, program: &Path) -> Vec<String> {
    let said = Command::new(program)
        .arg("--list")
        .current_dir(tree)
        .output()
        .expect("a test program");
    let text = String::from_utf8_lossy(&said.stdout).into_owned();
    text.lines()
        .filter_map(|line| line.strip_suffix(": test"))
        .map(str::to_owned)
        .collect()
}

/// Runs the tests that reach a mutant, those of its own file first, then the quick ones, until one fails.
fn fate_of(
    tree: &Path,
    tests: &[Test],
    number: usize,
    path: &Path,
    seconds: f64,
) -> (Fate, Option<String>) {
    let mut mine: Vec<_> = tests
        .iter()
        .filter(|test| test.reaches.contains(&number))
        .collect();
    if mine.is_empty() {
        return (Fate::NotReached, None);
    }
    let module = path.with_extension("");
    let module = module
        .strip_prefix("src")
        .expect("below src")
        .display()
        .to_string()
        .replace('/', "::");
    let near = |test: &Test| test.name.starts_with(&module);
    mine.sort_by(|a, b| {
        (!near(a))
            .cmp(&!near(b))
            .then(a.seconds.total_cmp(&b.seconds))
    });
    let environment = [("MUTANT", number.to_string())];
    let mut spent = 0.0;
    let mut rest = &mine[..];
    while let Some(first) = rest.first() {
        if spent > seconds {
            return (Fate::TimeSpent, None);
        }
        // Some together, for starting a program costs time too.
        let mut expected = 0.0;
        let mut count = 0;
        while count < rest.len()
            && rest[count].program == first.program
            && (count == 0 || expected + rest[count].seconds < 2.0)
        {
            expected += rest[count].seconds;
            count += 1;
        }
        let names: Vec<_> = rest[..count]
            .iter()
            .map(|test| test.name.as_str())
            .collect();
        let limit = Duration::from_secs_f64(10.0 + 10.0 * expected);
        if !run(tree, &first.program, &names, &environment, limit) {
            return (Fate::Noticed, Some(names.join(" ")));
        }
        spent += expected;
        rest = &rest[count..];
    }
    (Fate::NotNoticed, None)
}

/// Whether the named tests pass within the time.
fn run(
    tree: &Path,
    program: &Path,
    names: &[&str],
    environment: &[(&str, String)],
    limit: Duration,
) -> bool {
    let mut child = Command::new(program)
        .arg("--exact")
        .arg("--include-ignored")
        .arg("--test-threads=1")
        .args(names)
        .envs(environment.iter().map(|(name, value)| (name, value)))
        .current_dir(tree)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .process_group(0)
        .spawn()
        .expect("a test program");
    let until = Instant::now() + limit;
    loop {
        if let Some(status) = child.try_wait().expect("a test program") {
            return status.success();
        }
        if Instant::now() > until {
            let group = format!("-{}", child.id());
            let _ = Command::new("kill").args(["-9", "--", &group]).status();
            let _ = child.wait();
            return false;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}
