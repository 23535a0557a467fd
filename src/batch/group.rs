//! Photos → sets: which belong together, and what is known of each before it is read.

use super::ask::PhotoSettings;
use super::manifest::{Bench, Client, Row};
use super::shown::shown;
use super::walk::{Trouble, Walked};
use crate::flank::KnownGear;
use crate::frames::Side;
use crate::schema::Card;
use clap::ValueEnum;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The card that is looked for beside photos and above them.
pub(crate) const CARD_NAME: &str = "card.toml";

/// A folder with more photos than this whose names tell no flank is an inbox and no set. Common
/// practice, no source: a set has two photos to half a dozen.
const MOST_OF_A_SET: usize = 12;

/// How photos are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(crate) enum Grouping {
    /// By names with `drive` or `coast` in them, else by folder; photos that lie directly in the
    /// folder given, and those of crowded folders, each alone.
    #[default]
    Auto,
    /// All photos of one folder are one set.
    Folder,
    /// By names with `drive` or `coast` in them, all others each alone.
    Name,
    /// Each photo alone.
    Photo,
}

/// One photo to read.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Item {
    /// The file.
    pub path: PathBuf,
    /// Its set, an index into [`Plan::sets`].
    pub set: usize,
    /// What is said about it.
    pub said: PhotoSettings,
    /// Its number among the photos of a collage, and how many these are.
    pub part: Option<(u32, u32)>,
}

/// One set of photos.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SetPlan {
    /// Its name: from the list, or folder and what the names have in common.
    pub name: String,
    /// The card of its gears.
    pub card: Option<Arc<Card>>,
    /// What was measured.
    pub bench: Bench,
    /// Whose gears they are.
    pub client: Client,
    /// Its photos, indices into [`Plan::items`].
    pub photos: Vec<usize>,
}

/// Everything to read.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Plan {
    /// The photos, sorted by path.
    pub items: Vec<Item>,
    /// The sets, in the order of their first photos.
    pub sets: Vec<SetPlan>,
    /// What could not be used.
    pub troubles: Vec<Trouble>,
    /// Folders behind links that were not gone into.
    pub links: usize,
}

/// What holds for all photos.
#[derive(Debug, Clone, Default)]
pub(crate) struct PlanRules {
    /// How photos are put together.
    pub grouping: Grouping,
    /// The card of all of them.
    pub card: Option<Arc<Card>>,
    /// Said about all of them.
    pub said: PhotoSettings,
    /// The list, if there is one.
    pub rows: Vec<Row>,
}

/// What makes two photos of one set.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum SetKey {
    Listed(String),
    Folder(PathBuf),
    Named(PathBuf, String),
    Alone(PathBuf),
}

/// Puts the photos of the tree under `folder` together.
pub(crate) fn plan(folder: &Path, walked: Walked, rules: &PlanRules) -> Plan {
    let mut plan = Plan {
        troubles: walked.troubles,
        links: walked.links,
        ..Plan::default()
    };
    let listed = match_rows(&walked.photos, &rules.rows, &mut plan.troubles);
    let names = names(&walked.photos);
    let mut cards = Cards::default();
    let mut known: HashMap<SetKey, usize> = HashMap::new();
    for (at, path) in walked.photos.iter().enumerate() {
        let row = listed.get(&at).copied();
        let key = match row.and_then(|row| row.set.clone()) {
            Some(set) => SetKey::Listed(set),
            None => key_of(path, folder, rules.grouping, &names),
        };
        let card = match (row.and_then(|row| row.card.as_deref()), &rules.card) {
            (Some(card), _) => cards.get(card, &mut plan.troubles),
            (None, Some(card)) => Some(Arc::clone(card)),
            (None, None) => cards.above(path, folder, &mut plan.troubles),
        };
        let set = *known.entry(key.clone()).or_insert_with(|| {
            plan.sets.push(SetPlan {
                name: name_of(&key, folder),
                card: None,
                bench: Bench::default(),
                client: Client::default(),
                photos: Vec::new(),
            });
            plan.sets.len() - 1
        });
        let about = &mut plan.sets[set];
        about.photos.push(at);
        let mut clash = row.and_then(|row| {
            let bench = about.bench.merge(&row.bench);
            about.client.merge(&row.client).or(bench)
        });
        match (&about.card, &card) {
            (Some(mine), Some(other)) if mine != other => clash = Some("card"),
            (None, Some(card)) => about.card = Some(Arc::clone(card)),
            _ => {}
        }
        if let Some(what) = clash {
            plan.troubles.push(Trouble {
                path: shown(path),
                message: format!(
                    "Its {what} is another than that of the set's first photo, which was taken; the set is {}.",
                    about.name
                ),
            });
        }
        let mut said = rules.said.clone();
        if let Some(row) = row {
            said.flank = row.flank.or(said.flank);
            said.toe = row.toe.or(said.toe);
            said.polarity = row.polarity.or(said.polarity);
            said.mirrored = row.mirrored.unwrap_or(said.mirrored);
            said.marks = row.marks.clone();
        }
        said.named = name_says(path).map(|(side, _)| side);
        if let Some(card) = card {
            said.drives_on = Some(card.gear.drives_on);
            said.hand = card.gear.hand;
            said.gear = KnownGear::of_card(&card);
        }
        plan.items.push(Item {
            path: path.clone(),
            set,
            said,
            part: None,
        });
    }
    plan.troubles.sort_unstable();
    plan
}

/// The row of each photo that has one; rows without a photo are told.
fn match_rows<'a>(
    photos: &[PathBuf],
    rows: &'a [Row],
    troubles: &mut Vec<Trouble>,
) -> HashMap<usize, &'a Row> {
    if rows.is_empty() {
        return HashMap::new();
    }
    let mut places = HashMap::new();
    for (at, photo) in photos.iter().enumerate() {
        if let Ok(path) = photo.canonicalize() {
            places.insert(path, at);
        }
    }
    let mut found = HashMap::new();
    for row in rows {
        let place = row.photo.canonicalize();
        let mut tell = |message: String| {
            troubles.push(Trouble {
                path: shown(&row.photo),
                message,
            });
        };
        match place.map(|path| places.get(&path)) {
            Ok(Some(&at)) => {
                if *found.entry(at).or_insert(row) != row {
                    tell(format!(
                        "Row {} of the list names a photo that an earlier row has; the earlier one was taken.",
                        row.number
                    ));
                }
            }
            Ok(None) => tell(format!(
                "Row {} of the list names a file that is not among the photos of this folder.",
                row.number
            )),
            Err(error) => tell(format!(
                "Row {} of the list names a photo that cannot be found: {error}.",
                row.number
            )),
        }
    }
    found
}

/// What the names in one folder tell.
#[derive(Debug, Default)]
struct Names {
    photos: usize,
    /// Photos whose names tell no flank.
    silent: usize,
    /// What else than the flank names tell, and of which flanks.
    rests: HashMap<String, HashSet<Side>>,
}

impl Names {
    /// Whether what the names tell beside the flank makes sets: at least one has both flanks.
    /// `drive bright.jpg` and `coast dark.jpg` have nothing in common and are still a set.
    fn make_sets(&self) -> bool {
        let both = |sides: &HashSet<Side>| sides.len() == Side::BOTH.len();
        self.rests
            .iter()
            .any(|(rest, sides)| !rest.is_empty() && both(sides))
    }
}

fn names(photos: &[PathBuf]) -> HashMap<PathBuf, Names> {
    let mut folders: HashMap<PathBuf, Names> = HashMap::new();
    for photo in photos {
        let names = folders.entry(folder_of(photo)).or_default();
        names.photos += 1;
        match name_says(photo) {
            Some((side, rest)) => {
                names.rests.entry(rest).or_default().insert(side);
            }
            None => names.silent += 1,
        }
    }
    folders
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().unwrap_or(Path::new("")).to_owned()
}

fn key_of(path: &Path, root: &Path, grouping: Grouping, names: &HashMap<PathBuf, Names>) -> SetKey {
    let folder = folder_of(path);
    let about = names.get(&folder);
    let few = |count: fn(&Names) -> usize| {
        folder != root && about.is_some_and(|names| count(names) <= MOST_OF_A_SET)
    };
    match (grouping, name_says(path)) {
        (Grouping::Photo, _) => SetKey::Alone(path.into()),
        (Grouping::Folder, _) => SetKey::Folder(folder),
        (_, Some((_, rest))) if rest.is_empty() => SetKey::Folder(folder),
        (Grouping::Auto, Some(_))
            if few(|names| names.photos) && about.is_some_and(|names| !names.make_sets()) =>
        {
            SetKey::Folder(folder)
        }
        (_, Some((_, rest))) => SetKey::Named(folder, rest),
        (Grouping::Auto, None) if few(|names| names.silent) => SetKey::Folder(folder),
        (Grouping::Auto | Grouping::Name, None) => SetKey::Alone(path.into()),
    }
}

fn name_of(key: &SetKey, root: &Path) -> String {
    let inside = |path: &Path| shown(path.strip_prefix(root).unwrap_or(path));
    match key {
        SetKey::Listed(name) => shown(Path::new(name)),
        SetKey::Alone(path) => inside(path),
        SetKey::Folder(folder) => {
            let name = inside(folder);
            match root.file_name() {
                Some(root) if name.is_empty() => shown(Path::new(root)),
                None if name.is_empty() => "all".into(),
                _ => name,
            }
        }
        SetKey::Named(folder, rest) => {
            let name = inside(folder);
            if name.is_empty() {
                rest.clone()
            } else {
                format!("{name}/{rest}")
            }
        }
    }
}

/// Which flank a file's name speaks of, and the rest of the name. Small numbers after the word
/// count the photos of a flank and are no part of the rest: `1042 drive 2.jpg` is of set `1042`.
fn name_says(path: &Path) -> Option<(Side, String)> {
    let stem = path.file_stem()?.to_string_lossy().to_lowercase();
    let mut side = None;
    let mut rest = Vec::new();
    for word in stem
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
    {
        let bare = word.trim_end_matches(|letter: char| letter.is_ascii_digit());
        let said = Side::BOTH.into_iter().find(|side| side.word() == bare);
        match (side, said) {
            (None, Some(said)) => side = Some(said),
            (Some(one), Some(other)) if one != other => return None,
            (Some(_), Some(_)) => {}
            (Some(_), None) if bare.is_empty() && word.len() <= 2 => {}
            (_, None) => rest.push(word.to_owned()),
        }
    }
    side.map(|side| (side, rest.join("-")))
}

/// Cards by their paths, each read once; one that cannot be used is told once.
#[derive(Default)]
struct Cards {
    known: HashMap<PathBuf, Option<Arc<Card>>>,
}

impl Cards {
    fn get(&mut self, path: &Path, troubles: &mut Vec<Trouble>) -> Option<Arc<Card>> {
        self.known
            .entry(path.to_owned())
            .or_insert_with(|| match Card::read(path) {
                Ok(card) => Some(Arc::new(card)),
                Err(error) => {
                    troubles.push(Trouble {
                        path: shown(path),
                        message: format!("This card cannot be used: {error}"),
                    });
                    None
                }
            })
            .clone()
    }

    /// The nearest card beside the photo or above it, no higher than `root`.
    fn above(
        &mut self,
        photo: &Path,
        root: &Path,
        troubles: &mut Vec<Trouble>,
    ) -> Option<Arc<Card>> {
        let mut folder = photo.parent()?;
        loop {
            let path = folder.join(CARD_NAME);
            if self.known.contains_key(&path) || path.is_file() {
                return self.get(&path, troubles);
            }
            if folder == root {
                return None;
            }
            folder = folder.parent()?;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sets(photos: &[&str], grouping: Grouping) -> Vec<(String, usize)> {
        let walked = Walked {
            photos: photos.iter().map(PathBuf::from).collect(),
            ..Walked::default()
        };
        let rules = PlanRules {
            grouping,
            ..PlanRules::default()
        };
        let plan = plan(Path::new("in"), walked, &rules);
        let sets = plan.sets.iter();
        sets.map(|set| (set.name.clone(), set.photos.len()))
            .collect()
    }

    #[test]
    fn names_tell_flank_and_set() {
        let says = |name: &str| name_says(Path::new(name));
        for (name, side, rest) in [
            ("drive.jpg", Side::Drive, ""),
            ("Coast 2.jpg", Side::Coast, ""),
            ("1042-drive-2.heic", Side::Drive, "1042"),
            ("coast3 order 1042.png", Side::Coast, "order-1042"),
            ("axle_7_DRIVE.jpg", Side::Drive, "axle-7"),
            ("drive drive.jpg", Side::Drive, ""),
        ] {
            assert_eq!(says(name), Some((side, rest.to_owned())), "{name}");
        }
        assert_eq!(says("overdrive.jpg"), None);
        assert_eq!(says("drive and coast.jpg"), None);
        assert_eq!(says("IMG_0042.jpg"), None);
    }

    #[test]
    fn an_inbox_and_a_folder_for_each_customer() {
        let photos = [
            "in/IMG_1.jpg",
            "in/IMG_2.jpg",
            "in/a/IMG_3.jpg",
            "in/a/IMG_4.jpg",
            "in/b/7 coast.jpg",
            "in/b/7 drive.jpg",
            "in/b/8 drive.jpg",
            "in/c/coast dark.jpg",
            "in/c/drive bright.jpg",
        ];
        let pair = |name: &str, count| (name.to_owned(), count);
        assert_eq!(
            sets(&photos, Grouping::Auto),
            [
                pair("IMG_1.jpg", 1),
                pair("IMG_2.jpg", 1),
                pair("a", 2),
                pair("b/7", 2),
                pair("b/8", 1),
                pair("c", 2)
            ]
        );
        assert_eq!(
            sets(&photos, Grouping::Folder),
            [pair("in", 2), pair("a", 2), pair("b", 3), pair("c", 2)]
        );
        assert_eq!(sets(&photos, Grouping::Name).len(), 8);
        assert_eq!(sets(&photos, Grouping::Photo).len(), 9);
        let many: Vec<String> = (0..20).map(|i| format!("in/x/{i:02}.jpg")).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        assert_eq!(sets(&many, Grouping::Auto).len(), 20);
        assert_eq!(sets(&many[..12], Grouping::Auto).len(), 1);
    }

    #[test]
    fn the_list_and_the_nearest_card_are_taken_and_faults_told() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let card = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cards/larchfield-8in.toml");
        std::fs::create_dir_all(root.join("a/deep")).unwrap();
        std::fs::create_dir_all(root.join("b")).unwrap();
        std::fs::copy(card, root.join("a/card.toml")).unwrap();
        std::fs::write(root.join("b/card.toml"), "[gear]\nring_teth = 1\n").unwrap();
        let photos = [root.join("a/deep/x.jpg"), root.join("b/y.jpg")];
        for photo in &photos {
            std::fs::write(photo, "").unwrap();
        }
        let row = |number, photo: PathBuf| Row {
            number,
            photo,
            set: Some("77".into()),
            flank: Some(Side::Coast),
            ..Row::default()
        };
        let rules = PlanRules {
            rows: vec![
                row(2, root.join("a/../b/y.jpg")),
                row(3, root.join("gone.jpg")),
            ],
            ..PlanRules::default()
        };
        let walked = Walked {
            photos: photos.to_vec(),
            ..Walked::default()
        };
        let plan = plan(root, walked, &rules);
        assert_eq!(plan.sets[0].name, "a/deep");
        assert!(plan.sets[0].card.is_some() && plan.sets[1].card.is_none());
        assert_eq!(plan.sets[1].name, "77");
        assert_eq!(plan.items[1].said.flank, Some(Side::Coast));
        let told: Vec<&str> = plan.troubles.iter().map(|t| t.message.as_str()).collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].contains("ring_teth") && told[1].contains("Row 3"));
    }
}
