//! `flankread batch`: a folder of photos → readings, sets by urgency, one picture sheet.

use super::photo_words::PhotoWords;
use super::terminal::harmless;
use super::{Outcome, OutputOptions};
use crate::batch::BatchError;
use crate::batch::ask::PhotoSettings;
use crate::batch::group::{Grouping, Plan, PlanRules, plan};
use crate::batch::manifest;
use crate::batch::run::{Found, Reader, is_picture_name, page_name, thumbnail_name};
use crate::batch::shown::shown;
use crate::batch::store::{Record, Store};
use crate::batch::summary::BatchResult;
use crate::batch::walk::{STORE_NAME, WalkRules, walk};
use crate::batch::watch::Watch;
use crate::files;
use crate::frames::Side;
use crate::report::batch::csv::batch_csv;
use crate::report::batch::letter::Letter;
use crate::report::batch::lines::{photo_line, set_line};
use crate::report::batch::photo::draw;
use crate::report::batch::sheet::batch_sheet;
use crate::report::batch::text::batch_text;
use crate::schema::Card;
use crate::{Error, Result};
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, Once, PoisonError};

/// Reads every photo of a folder and all folders in it, and sorts the sets by urgency.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread batch inbox
  flankread batch inbox --manifest orders.csv --out sorted --units in
  flankread batch inbox --watch --json | while read -r line; do ...; done

Photos are of one set when their names say so (1042-drive.jpg, 1042-coast.jpg), when they
lie in one folder, or when the list gives them one set. A card.toml beside them, or above
them up to FOLDER, is the card of their gears.

The list (--manifest) is CSV with a head line, or a JSON list of objects. Columns: photo,
set, flank, toe, polarity, mirrored, card, marks, backlash (0.20mm+0.22mm), pinion_shim,
ring_side_shim, far_side_shim, customer, order. Only photo must be there; other columns are passed over.

A run that was interrupted goes on where it was: give the same command again.
Exit status 1: a photo or folder could not be read. 130: interrupted.")]
pub(super) struct BatchArgs {
    /// The folder.
    folder: PathBuf,
    /// Folder for the results; FOLDER/flankread-batch when not given.
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// A list that says which set, flank, card and numbers belong to which photo.
    #[arg(long, value_name = "LIST")]
    manifest: Option<PathBuf>,
    /// The shop's own letter: a text with {reply}, or {see}, {cannot}, {send} and {cautions}, and with {customer}, {order}
    /// and {set} where they belong.
    #[arg(long, value_name = "FILE")]
    reply_template: Option<PathBuf>,
    /// The card of all gear sets.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// How photos are put together into sets.
    #[arg(long, value_enum, default_value = "auto")]
    group: Grouping,
    /// Which flank all photos show.
    #[arg(long)]
    flank: Option<Side>,
    #[command(flatten)]
    words: PhotoWords,
    /// Take only files that match; `!PATTERN` leaves some out. May be given several times.
    #[arg(long, short, value_name = "PATTERN")]
    glob: Vec<String>,
    /// Take hidden files and folders, too.
    #[arg(long)]
    hidden: bool,
    /// Take what .ignore and .gitignore files leave out.
    #[arg(long)]
    no_ignore: bool,
    /// Go into folders behind symbolic links.
    #[arg(long)]
    follow: bool,
    /// Photos read at the same time; as many as there are cores when not given.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Stay, and read what comes into the folder until interrupted.
    #[arg(long)]
    watch: bool,
    /// Forget earlier readings and read everything again.
    #[arg(long)]
    fresh: bool,
    /// Overwrite files in the results' folder that no batch wrote.
    #[arg(long)]
    force: bool,
    /// Rows of the table.
    #[arg(long, default_value_t = 40)]
    rows: usize,
    /// Print how far the patches of all photos lie from their targets, too; the sheet always has it.
    #[arg(long)]
    histograms: bool,
}

/// What is written beside the store and the folder of pictures.
const OUTPUTS: [&str; 6] = [
    "readings.jsonl",
    "readings.csv",
    "sets.jsonl",
    "summary.json",
    "replies.txt",
    "sheet.html",
];
const PICTURES: &str = "readings";

/// Memory for open photos, bytes: enough for a 12-megapixel photo on each thread, and for one of
/// the largest that are opened.
const MEMORY: (u64, u64) = (256_000_000, 800_000_000);

pub(super) fn run(args: &BatchArgs, output: OutputOptions) -> Result<Outcome> {
    let out = args.out.clone();
    let batch = Batch {
        args,
        output,
        rules: plan_rules(args)?,
        letter: args
            .reply_template
            .as_deref()
            .map(Letter::read)
            .transpose()?
            .unwrap_or_default(),
        out: out.unwrap_or_else(|| args.folder.join("flankread-batch")),
        told_columns: Once::new(),
        printed: Mutex::default(),
        fresh: AtomicUsize::new(0),
    };
    // Both are looked at before anything is written.
    let first = batch.plan()?;
    let store = batch.open()?;
    let stop = stopped_by_interrupt()?;
    let watch = args
        .watch
        .then(|| Watch::new(&args.folder, &batch.out))
        .transpose()?;
    batch.read_rounds(first, &store, &stop, watch.as_ref())
}

/// What the command line says of all photos. The list of `--manifest` is read anew each round.
fn plan_rules(args: &BatchArgs) -> Result<PlanRules> {
    Ok(PlanRules {
        grouping: args.group,
        card: args
            .card
            .as_deref()
            .map(Card::read)
            .transpose()?
            .map(Arc::new),
        said: PhotoSettings {
            flank: args.flank,
            toe: args.words.toe,
            polarity: args.words.polarity,
            mirrored: args.words.mirrored,
            ..PhotoSettings::default()
        },
        rows: Vec::new(),
    })
}

/// A flag that the first interrupt sets; the second ends the program at once, which the store
/// survives.
fn stopped_by_interrupt() -> Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if flag.swap(true, Ordering::SeqCst) {
            std::process::exit(130);
        }
    })
    .map_err(|error| BatchError::Interrupt {
        detail: error.to_string(),
    })?;
    Ok(stop)
}

fn progress(photos: usize, output: OutputOptions) -> ProgressBar {
    if output.quiet {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(photos as u64), ProgressDrawTarget::stderr());
    // The template is fixed; without it the bar has its plain form.
    if let Ok(style) =
        ProgressStyle::with_template("{wide_bar} {pos}/{len} photos, {per_sec}, {eta} left")
    {
        bar.set_style(style);
    }
    bar
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Batch<'a> {
    args: &'a BatchArgs,
    output: OutputOptions,
    rules: PlanRules,
    letter: Letter,
    told_columns: Once,
    out: PathBuf,
    /// Photos whose line went out, so that a watched folder gives one line a photo: path, hash, number in a collage.
    printed: Mutex<HashSet<(PathBuf, String, u32)>>,
    fresh: AtomicUsize,
}

impl Batch<'_> {
    /// Reads the folder, and as long as it is watched reads it again whenever something changed.
    fn read_rounds(
        &self,
        first: Plan,
        store: &Store,
        stop: &AtomicBool,
        watch: Option<&Watch>,
    ) -> Result<Outcome> {
        let pictures = self.out.join(PICTURES);
        let threads = self.args.threads.map_or_else(
            || std::thread::available_parallelism().map_or(1, usize::from),
            usize::from,
        );
        let mut round = Arc::new(first);
        let bar = Mutex::new(ProgressBar::hidden());
        let plan = Mutex::new(Arc::clone(&round));
        let done = |at: usize, record: &Record, fresh: bool| {
            let plan = Arc::clone(&locked(&plan));
            self.done(&plan, at, record, fresh);
            locked(&bar).inc(1);
        };
        let reader = Reader {
            store,
            pictures: &pictures,
            threads,
            memory_bytes: MEMORY.1.max(MEMORY.0 * threads as u64),
            stop,
            draw: &draw,
            done: &done,
            hashes: Mutex::default(),
        };
        loop {
            *locked(&plan) = Arc::clone(&round);
            *locked(&bar) = progress(round.items.len(), self.output);
            self.fresh.store(0, Ordering::SeqCst);
            let found = reader.read(&round);
            locked(&bar).finish_and_clear();
            let Some(mut found) = self.all_or_interrupted(found?) else {
                return Ok(Outcome::Interrupted);
            };
            if let Some(parted) = round.with_parts(&found) {
                round = Arc::new(parted);
                *locked(&plan) = Arc::clone(&round);
                let Some(again) = self.all_or_interrupted(reader.read(&round)?) else {
                    return Ok(Outcome::Interrupted);
                };
                found = again;
            }
            let lot = BatchResult::new(&round, &found, |card| self.output.units(card));
            self.write(&lot, store)?;
            self.clear(&lot)?;
            self.tell(&lot, watch.is_none())?;
            let outcome = if lot.all_readable() {
                Outcome::Answered
            } else {
                Outcome::NothingReadable
            };
            if !watch.is_some_and(|watch| watch.wait(stop)) {
                return Ok(outcome);
            }
            round = Arc::new(self.plan()?);
        }
    }

    /// What was found of every photo; `None`, and said, when the run was interrupted before the last.
    fn all_or_interrupted(&self, found: Vec<Option<Found>>) -> Option<Vec<Found>> {
        let all = found.len();
        let found: Vec<Found> = found.into_iter().flatten().collect();
        if found.len() == all {
            return Some(found);
        }
        if !self.output.quiet {
            eprintln!(
                "interrupted: {} of {all} photos are read; the same command goes on from here",
                found.len()
            );
        }
        None
    }

    fn plan(&self) -> Result<Plan> {
        let args = self.args;
        let mut rules = self.rules.clone();
        if let Some(list) = &args.manifest {
            let list = manifest::read(list)?;
            rules.rows = list.rows;
            if !list.ignored.is_empty() && !self.output.quiet {
                // A watched folder's list is read again and again.
                self.told_columns.call_once(|| {
                    eprintln!(
                        "columns of the list that mean nothing here: {}",
                        list.ignored.join(", ")
                    );
                });
            }
        }
        let walked = walk(
            &args.folder,
            &WalkRules {
                globs: args.glob.clone(),
                hidden: args.hidden,
                no_ignore: args.no_ignore,
                follow: args.follow,
            },
        )?;
        Ok(plan(&args.folder, walked, &rules))
    }

    /// Makes the folder of results and opens its store. A folder that has files of these names and
    /// no store is somebody else's.
    fn open(&self) -> Result<Store> {
        let path = self.out.join(STORE_NAME);
        if !path.exists() {
            let names: Vec<String> = OUTPUTS
                .iter()
                .chain([&PICTURES])
                .map(|name| (*name).to_owned())
                .collect();
            files::Folder::new(&self.out, self.args.force).check(&names)?;
        }
        let pictures = self.out.join(PICTURES);
        std::fs::create_dir_all(&pictures).map_err(|source| Error::machine(&pictures, source))?;
        let store = Store::open(&path)?;
        if self.args.fresh {
            store.forget()?;
        }
        files::sweep(&self.out)?;
        files::sweep(&pictures)?;
        Ok(store)
    }

    fn done(&self, plan: &Plan, at: usize, record: &Record, fresh: bool) {
        if fresh {
            self.fresh.fetch_add(1, Ordering::SeqCst);
        }
        // Of a collage each photo has its line.
        if !self.output.json || record.parts > 0 {
            return;
        }
        let item = &plan.items[at];
        let number = item.part.map_or(0, |(number, _)| number);
        let name = (
            item.path.clone(),
            record.reading.photo.sha256.clone(),
            number,
        );
        let mut printed = locked(&self.printed);
        if printed.insert(name) {
            // Under the lock, so that lines do not run into each other. Nobody to read them is no
            // reason to stop: the results go to files as well.
            let _ = super::print(&photo_line(plan, at, record, None));
        }
    }

    fn write(&self, lot: &BatchResult, store: &Store) -> Result<()> {
        let out = |name: &str| self.out.join(name);
        let [lines, table, sets, summary, replies, sheet] = OUTPUTS.map(out);
        files::write_with(&lines, true, |file| {
            for (at, found) in lot.found.iter().enumerate() {
                let kept = match &found.key {
                    Some(key) if found.unkept.is_none() => store.get(key)?,
                    _ => None,
                };
                let record = kept.as_ref().or(found.unkept.as_deref());
                if let Some(record) = record {
                    let line = photo_line(lot.plan, at, record, Some(lot));
                    file.write_all(line.as_bytes())
                        .map_err(|source| Error::machine(&lines, source))?;
                }
            }
            Ok(())
        })?;
        files::write(&table, batch_csv(lot).as_bytes(), true)?;
        Self::put(&sets, lot, |set| set_line(lot, set, &self.letter))?;
        Self::put(&replies, lot, |set| {
            let name = &lot.plan.sets[set].name;
            format!("=== {name} ===\n\n{}\n\n", self.letter.reply(lot, set))
        })?;
        let numbers = serde_json::to_string_pretty(&lot.summary)
            .map_err(|error| Error::machine(&summary, error.into()))?;
        files::write(&summary, format!("{numbers}\n").as_bytes(), true)?;
        let title = self.title();
        files::write_with(&sheet, true, |file| {
            batch_sheet(lot, &title, &self.letter, |part| {
                file.write_all(part.as_bytes())
                    .map_err(|source| Error::machine(&sheet, source))
            })
        })
    }

    /// Removes the pictures and pages of photos that are no longer there. Of a part of the folder nobody knows.
    fn clear(&self, lot: &BatchResult) -> Result<()> {
        if !self.args.glob.is_empty() {
            return Ok(());
        }
        let kept: HashSet<String> = (lot.found.iter())
            .filter_map(|found| found.key.as_deref())
            .flat_map(|key| [thumbnail_name(key), page_name(key)])
            .collect();
        files::clear_but(&self.out.join(PICTURES), &kept, is_picture_name)
    }

    /// Writes a file set by set, most urgent first: together their texts are long.
    fn put(path: &Path, lot: &BatchResult, text: impl Fn(usize) -> String) -> Result<()> {
        files::write_with(path, true, |file| {
            for &set in &lot.order {
                file.write_all(text(set).as_bytes())
                    .map_err(|source| Error::machine(path, source))?;
            }
            Ok(())
        })
    }

    fn title(&self) -> String {
        let folder = &self.args.folder;
        let whole = folder.canonicalize().unwrap_or_else(|_| folder.clone());
        shown(Path::new(whole.file_name().unwrap_or(whole.as_os_str())))
    }

    fn tell(&self, lot: &BatchResult, last: bool) -> Result<()> {
        if !self.output.json && last && lot.summary.photos > 0 {
            super::print(&batch_text(lot, self.args.rows, self.args.histograms))?;
        }
        if self.output.quiet {
            return Ok(());
        }
        for trouble in lot
            .summary
            .troubles
            .iter()
            .filter(|_| self.output.json && last)
        {
            eprintln!(
                "{}",
                harmless(&format!("{}: {}", trouble.path, trouble.message))
            );
        }
        if lot.summary.photos == 0 {
            eprintln!(
                "no photos in {}; hidden files and what .ignore or .gitignore leave out were not looked at (--hidden, --no-ignore)",
                shown(&self.args.folder)
            );
        }
        let fresh = self.fresh.load(Ordering::SeqCst);
        eprintln!(
            "{fresh} read now, {} known; see {}",
            lot.summary.photos.saturating_sub(fresh),
            shown(&self.out.join("sheet.html"))
        );
        Ok(())
    }
}
