//! Words that people use for the words of cards and options, and which word a misspelt one was.

/// Capitals, spaces, hyphens and underscores make no other word.
fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// What else people say: the keys and options it is said at, the words after [`plain`], what is meant. All common
/// practice, no source.
const SAID: &[(&[&str], &[&str], &str)] = &[
    (&["hand"], &["lh", "l", "lefthand", "lefthanded"], "left"),
    (&["hand"], &["rh", "r", "righthand", "righthanded"], "right"),
    (
        &["cutting"],
        &[
            "m",
            "milled",
            "facemill",
            "fivecut",
            "5cut",
            "singleindexing",
        ],
        "face-milled",
    ),
    (
        &["cutting"],
        &[
            "h",
            "hobbed",
            "facehob",
            "twocut",
            "2cut",
            "continuousindexing",
        ],
        "face-hobbed",
    ),
    (&["housing"], &["castiron", "steel"], "iron"),
    (
        &["housing"],
        &["aluminum", "alloy", "lightalloy", "alu"],
        "aluminium",
    ),
    (
        &["shim_place", "place"],
        &[
            "headbearing",
            "behindbearing",
            "behindthebearing",
            "behindtheheadbearing",
            "behindinnerbearing",
            "underheadbearing",
            "innerbearing",
        ],
        "behind head bearing",
    ),
    (
        &["shim_place", "place"],
        &[
            "cage",
            "underthecage",
            "underretainer",
            "retainer",
            "bearingcage",
        ],
        "under cage",
    ),
    (
        &["preload", "adjust"],
        &["shim", "spacer", "solidspacer"],
        "shims",
    ),
    (
        &["preload"],
        &[
            "crushsleeve",
            "crushcollar",
            "collapsiblesleeve",
            "collapsiblespacer",
        ],
        "sleeve",
    ),
    (
        &["adjust"],
        &[
            "adjusters",
            "threadedadjusters",
            "sideadjusters",
            "screws",
            "nuts",
        ],
        "threaded",
    ),
    (
        &["backlash_direction", "direction"],
        &[
            "squaretotooth",
            "squaretothetooth",
            "perpendicular",
            "normal",
        ],
        "square",
    ),
    (
        &["backlash_direction", "direction"],
        &["tangent", "planeofrotation", "intheplaneofrotation"],
        "tangential",
    ),
    (&["mark_unit"], &["thou", "mil", "thousandths"], "0.001in"),
    (
        &["mark_unit"],
        &["um", "µm", "micron", "microns"],
        "0.001mm",
    ),
    (
        &["mark_sense"],
        &["thicker", "plusthicker"],
        "plus is thicker",
    ),
    (
        &["mark_sense"],
        &["thinner", "plusthinner"],
        "plus is thinner",
    ),
    (&["mark_sense"], &["plusisthicker"], "plus-thicker"),
    (&["mark_sense"], &["plusisthinner"], "plus-thinner"),
    (&["preload_on"], &["both"], "both sides"),
    (&["preload_on"], &["ring", "ringgearside"], "ring side"),
    (&["flank"], &["driveside", "driveflank"], "drive"),
    (&["flank"], &["coastside", "coastflank"], "coast"),
    (&["drives_on"], &["convexside", "convexflank"], "convex"),
    (&["drives_on"], &["concaveside", "concaveflank"], "concave"),
    (
        &["state"],
        &["zinc", "zincplated", "galvanised", "galvanized"],
        "plated",
    ),
    (&["state"], &["plain", "bare", "blackoxide"], "dry"),
    (&["grade"], &["grade2", "gr2", "sae2"], "2"),
    (&["grade"], &["grade5", "gr5", "sae5"], "5"),
    (&["grade"], &["grade8", "gr8", "sae8"], "8"),
    (&["grade"], &["class8.8"], "8.8"),
    (&["grade"], &["class9.8"], "9.8"),
    (&["grade"], &["class10.9"], "10.9"),
    (&["grade"], &["class12.9"], "12.9"),
    (&["state"], &["oil", "lightoil"], "oiled"),
    (&["state"], &["wax"], "waxed"),
    (&["units"], &["metric", "millimetres", "millimeters"], "mm"),
    (
        &["units"],
        &["inch", "inches", "thou", "imperial", "us"],
        "in",
    ),
    (&["condition", "bearings"], &["worn", "old"], "used"),
];

/// The one of `words` that was said at `key`, a card's key or an option's name; `None` for what is none of them.
pub(crate) fn understood<'w>(key: &str, said: &str, words: &[&'w str]) -> Option<&'w str> {
    let said = plain(said);
    let same = |meant: &str| {
        let meant = plain(meant);
        words.iter().find(|word| plain(word) == meant).copied()
    };
    same(&said).or_else(|| {
        SAID.iter()
            .filter(|(keys, others, _)| keys.contains(&key) && others.contains(&said.as_str()))
            .find_map(|(_, _, meant)| same(meant))
    })
}

/// The one of `words` that was misspelt. Only what is near to one and far from all others: a guess between left and
/// right is worse than none.
pub(crate) fn misspelt<'w>(
    said: &str,
    words: impl IntoIterator<Item = &'w str>,
) -> Option<&'w str> {
    let said = plain(said);
    let mut best: Option<(usize, &str)> = None;
    let mut second = usize::MAX;
    for word in words {
        let far = strsim::damerau_levenshtein(&plain(word), &said);
        match best {
            Some((_, same)) if same == word => {}
            Some((nearest, _)) if far >= nearest => second = second.min(far),
            _ => {
                second = best.map_or(second, |(nearest, _)| nearest);
                best = Some((far, word));
            }
        }
    }
    let (far, word) = best?;
    let letters = said.chars().count().min(plain(word).chars().count());
    (far <= letters / 3 && far < second).then_some(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_trade_says_is_understood() {
        for (key, said, words, meant) in [
            ("hand", "LH", ["left", "right"], "left"),
            ("hand", "right-hand", ["left", "right"], "right"),
            (
                "cutting",
                "Five-Cut",
                ["face-milled", "face-hobbed"],
                "face-milled",
            ),
            (
                "cutting",
                "2-cut",
                ["face-milled", "face-hobbed"],
                "face-hobbed",
            ),
            (
                "cutting",
                "M",
                ["face-milled", "face-hobbed"],
                "face-milled",
            ),
            (
                "cutting",
                "face milled",
                ["face-milled", "face-hobbed"],
                "face-milled",
            ),
            (
                "place",
                "behind head bearing",
                ["behind-head-bearing", "under-cage"],
                "behind-head-bearing",
            ),
            (
                "shim_place",
                "under-cage",
                ["behind head bearing", "under cage"],
                "under cage",
            ),
            (
                "mark_sense",
                "plus is thinner",
                ["plus-thicker", "plus-thinner"],
                "plus-thinner",
            ),
            (
                "mark_sense",
                "plus-thinner",
                ["plus is thicker", "plus is thinner"],
                "plus is thinner",
            ),
        ] {
            assert_eq!(understood(key, said, &words), Some(meant), "{said}");
        }
        assert_eq!(understood("hand", "five-cut", &["left", "right"]), None);
    }

    #[test]
    fn a_guess_is_never_between_opposites() {
        let guess = |said, words: [&'static str; 2]| misspelt(said, words);
        assert_eq!(guess("lefft", ["left", "right"]), Some("left"));
        assert_eq!(guess("concav", ["convex", "concave"]), Some("concave"));
        assert_eq!(guess("conve", ["convex", "concave"]), Some("convex"));
        for said in ["LH-ish", "five", "ight or left", "cut", "con", ""] {
            assert_eq!(guess(said, ["left", "right"]), None, "{said}");
            assert_eq!(guess(said, ["face-milled", "face-hobbed"]), None, "{said}");
        }
    }

    #[test]
    fn what_is_said_stands_for_one_word_at_a_key() {
        for (keys, others, meant) in SAID {
            for (key, other) in keys
                .iter()
                .flat_map(|key| others.iter().map(move |o| (key, o)))
            {
                assert_eq!(plain(other), **other);
                let all = SAID.iter().filter(|(k, o, m)| {
                    k.contains(key) && o.contains(other) && plain(m) != plain(meant)
                });
                assert_eq!(all.count(), 0, "{key}: {other}");
            }
        }
    }
}
