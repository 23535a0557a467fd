//! A copy of the repository with the mutants in it, and its test programs.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::Source;
use crate::find::plant;

/// The switch, as a module at the library's root. With `MUTANT_REACHED` it writes down which mutants are asked for.
const SWITCH: &str = r#"
pub(crate) mod mutants {
    use std::io::Write;
    use std::sync::atomic::{AtomicU32, Ordering::Relaxed};
    const UNREAD: u32 = u32::MAX;
    const NOTING: u32 = u32::MAX - 1;
    static WHICH: AtomicU32 = AtomicU32::new(UNREAD);
    static NOTED: [AtomicU32; 1024] = [const { AtomicU32::new(0) }; 1024];
    #[inline]
    pub(crate) fn on(number: u32) -> bool {
        let which = WHICH.load(Relaxed);
        if which < NOTING { which == number } else { other(number) }
    }
    #[cold]
    #[inline(never)]
    fn other(number: u32) -> bool {
        if WHICH.load(Relaxed) == UNREAD {
            let which = match std::env::var("MUTANT") {
                Ok(which) => which.parse().unwrap(),
                Err(_) if std::env::var_os("MUTANT_REACHED").is_some() => NOTING,
                Err(_) => 0,
            };
            WHICH.store(which, Relaxed);
            return on(number);
        }
        let bit = 1 << (number % 32);
        if NOTED[number as usize / 32].fetch_or(bit, Relaxed) & bit == 0 {
            let path = std::env::var_os("MUTANT_REACHED").unwrap();
            let mut file = std::fs::OpenOptions::new().create(true).append(true).open(path).unwrap();
            file.write_all(format!("{number}\n").as_bytes()).unwrap();
        }
        false
    }
}
"#;

/// Copies what belongs to the repository, committed or not.
pub fn copy(root: &Path, tree: &Path) {
    std::fs::create_dir_all(tree).expect("a folder for the copy");
    let listed = Command::new("git")
        .args([
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ])
        .current_dir(root)
        .output()
        .expect("git");
    for path in String::from_utf8(listed.stdout)
        .expect("names")
        .split_terminator('\0')
    {
        let (from, to) = (root.join(path), tree.join(path));
        let Ok(bytes) = std::fs::read(&from) else {
            continue;
        };
        // What did not change keeps its time, and is not built again.
        if std::fs::read(&to).is_ok_and(|there| there == bytes) {
            continue;
        }
        std::fs::create_dir_all(to.parent().expect("a file's folder")).expect("a folder");
        std::fs::copy(&from, &to).expect("a copy");
    }
    let lib = tree.join("src/lib.rs");
    let text = std::fs::read_to_string(&lib).expect("the library's page");
    std::fs::write(&lib, text + SWITCH).expect("the library's page");
}

/// Plants the mutants, and drops those that the compiler will not have, until it has them all.
pub fn until_it_compiles(tree: &Path, sources: &mut [Source]) {
    loop {
        let mut planted = Vec::new();
        for source in sources.iter() {
            let mutants: Vec<_> = source
                .mutants
                .iter()
                .map(|(number, mutant)| (*number, mutant))
                .collect();
            let (text, ranges) = plant(&source.text, &source.sites, &mutants);
            std::fs::write(tree.join(&source.path), text).expect("a source file");
            planted.push(ranges);
        }
        let mut wrong: BTreeSet<(usize, usize)> = BTreeSet::new();
        let mut failed = false;
        for message in cargo(tree, &["check", "--release", "--tests"]) {
            let message = &message["message"];
            if message["level"] != "error" {
                continue;
            }
            failed = true;
            for span in spans(message) {
                let Some(file) = span["file_name"].as_str() else {
                    continue;
                };
                let Some(index) = sources
                    .iter()
                    .position(|source| source.path == Path::new(file))
                else {
                    continue;
                };
                let at = span["byte_start"].as_u64().unwrap_or(0) as usize;
                // Sites stand from the outside in: the last that holds the place is the innermost.
                let has_some = |site: usize| {
                    sources[index]
                        .mutants
                        .iter()
                        .any(|(_, mutant)| mutant.site == site)
                };
                let site = (0..planted[index].len())
                    .rev()
                    .find(|&site| planted[index][site].contains(&at) && has_some(site));
                if let Some(site) = site {
                    wrong.insert((index, site));
                }
            }
        }
        if !failed {
            return;
        }
        assert!(
            !wrong.is_empty(),
            "does not compile, and no mutant is to blame: cargo check in {}",
            tree.display()
        );
        eprintln!("{} places do not compile", wrong.len());
        for (index, site) in wrong {
            sources[index]
                .mutants
                .retain(|(_, mutant)| mutant.site != site);
        }
    }
}

/// The primary places that an error names.
fn spans(message: &Value) -> Vec<&Value> {
    let own = message["spans"].as_array().into_iter().flatten();
    own.filter(|span| span["is_primary"] == true).collect()
}

/// The built test programs that run by themselves: the library's, the whole program's and the slow ones.
pub fn test_programs(tree: &Path) -> Vec<PathBuf> {
    let wanted = ["--lib", "--test", "program", "--test", "slow"];
    let built = cargo(
        tree,
        &[&["test", "--release", "--no-run"], &wanted[..]].concat(),
    );
    let programs = built
        .iter()
        .filter(|message| message["profile"]["test"] == true);
    let programs: Vec<_> = programs
        .filter_map(|message| message["executable"].as_str())
        .map(PathBuf::from)
        .collect();
    assert!(
        !programs.is_empty(),
        "no tests were built in {}",
        tree.display()
    );
    programs
}

/// What cargo says, message by message.
fn cargo(tree: &Path, arguments: &[&str]) -> Vec<Value> {
    let said = Command::new("cargo")
        .args(arguments)
        .arg("--message-format=json")
        .current_dir(tree)
        .stderr(Stdio::null())
        .output()
        .expect("cargo");
    let text = String::from_utf8(said.stdout).expect("cargo's words");
    text.lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect()
}
