//! A list that says what belongs to which photo: CSV with a head line, or JSON.

use super::BatchError;
use super::ask::MarksFrom;
use super::shown::shown;
use crate::files::{self, csv_delimiter};
use crate::flank::find::ToeEnd;
use crate::frames::Side;
use crate::schema::Polarity;
use crate::trade_words::{misspelt, understood};
use crate::units::Length;
use clap::ValueEnum;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The columns, in the order of the help text.
pub(crate) const COLUMNS: [&str; 14] = [
    "photo",
    "set",
    "flank",
    "toe",
    "polarity",
    "mirrored",
    "card",
    "marks",
    "backlash",
    "pinion_shim",
    "ring_side_shim",
    "far_side_shim",
    "customer",
    "order",
];

/// Longer lists are something else.
const MOST_BYTES: u64 = 256 << 20;

/// What one row says.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Row {
    /// Line of a CSV file or place in a JSON list, from 1.
    pub number: usize,
    /// The photo, found from the list's own folder.
    pub photo: PathBuf,
    /// Name of the set.
    pub set: Option<String>,
    /// Which flank.
    pub flank: Option<Side>,
    /// Which end is the toe.
    pub toe: Option<ToeEnd>,
    /// How contact shows.
    pub polarity: Option<Polarity>,
    /// Whether the photo is mirrored.
    pub mirrored: Option<bool>,
    /// The card, found from the list's own folder.
    pub card: Option<PathBuf>,
    /// The marks, found from the list's own folder.
    pub marks: Option<MarksFrom>,
    /// What was measured.
    pub bench: Bench,
    /// Whose gears they are.
    pub client: Client,
}

/// Whose gears a set is, as the list has it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Client {
    /// The customer's name.
    pub customer: Option<String>,
    /// The order's number.
    pub order: Option<String>,
}

impl Client {
    /// Takes over what `other` says. Gives back the name of what both say differently.
    pub(crate) fn merge(&mut self, other: &Self) -> Option<&'static str> {
        let mut clash = None;
        for (mine, theirs, name) in [
            (&mut self.customer, &other.customer, "customer"),
            (&mut self.order, &other.order, "order"),
        ] {
            if mine.is_some() && theirs.is_some() && mine != theirs {
                clash = Some(name);
            }
            if mine.is_none() {
                mine.clone_from(theirs);
            }
        }
        clash
    }
}

/// A list that was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct List {
    /// Its rows.
    pub rows: Vec<Row>,
    /// Columns that mean nothing here.
    pub ignored: Vec<String>,
}

impl List {
    /// Notes a column that means nothing here, once.
    fn ignore(&mut self, name: &str) {
        if !self.ignored.iter().any(|known| known == name) {
            self.ignored.push(name.to_owned());
        }
    }
}

/// What was measured and is in, of one set. Millimetres.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Bench {
    /// Backlash, once for each place.
    pub backlash_mm: Vec<f64>,
    /// Pinion pack.
    pub pinion_shim_mm: Option<f64>,
    /// Pack behind the ring gear.
    pub ring_side_shim_mm: Option<f64>,
    /// Pack on the other side.
    pub far_side_shim_mm: Option<f64>,
}

impl Bench {
    /// Takes over what `other` says. Gives back the name of what both say differently.
    pub(crate) fn merge(&mut self, other: &Self) -> Option<&'static str> {
        let mut clash = None;
        let mut one = |mine: &mut Option<f64>, theirs: Option<f64>, name| {
            if mine.is_some() && theirs.is_some() && *mine != theirs {
                clash = Some(name);
            }
            *mine = mine.or(theirs);
        };
        one(
            &mut self.pinion_shim_mm,
            other.pinion_shim_mm,
            "pinion_shim",
        );
        one(
            &mut self.ring_side_shim_mm,
            other.ring_side_shim_mm,
            "ring_side_shim",
        );
        one(
            &mut self.far_side_shim_mm,
            other.far_side_shim_mm,
            "far_side_shim",
        );
        if self.backlash_mm.is_empty() {
            self.backlash_mm.clone_from(&other.backlash_mm);
        } else if !other.backlash_mm.is_empty() && self.backlash_mm != other.backlash_mm {
            clash = Some("backlash");
        }
        clash
    }
}

/// Reads a list; `.json` is JSON, anything else CSV.
///
/// # Errors
/// Names the row and the column.
pub(crate) fn read(path: &Path) -> Result<List, BatchError> {
    let failed = |source| BatchError::Manifest {
        path: shown(path),
        source,
    };
    let bytes = files::read(path, MOST_BYTES).map_err(failed)?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let is_json = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    let rows = if is_json {
        from_json(&bytes, folder)
    } else {
        from_csv(&bytes, folder)
    };
    rows.map_err(|detail| BatchError::ManifestRow {
        path: shown(path),
        detail,
    })
}

fn from_csv(bytes: &[u8], folder: &Path) -> Result<List, String> {
    // Spreadsheets put a byte order mark before their text.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(csv_delimiter(bytes))
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let heads = reader.byte_headers().map_err(|error| error.to_string())?;
    let mut list = List::default();
    let mut columns = Vec::new();
    for head in heads {
        let head = String::from_utf8_lossy(head).to_lowercase();
        let column = known(&head).map_err(|why| format!("the head line: {why}"))?;
        if column.is_none() && !head.is_empty() {
            list.ignore(&head);
        }
        columns.push(column);
    }
    if !columns.contains(&Some("photo")) {
        return Err("the head line has no column `photo`".into());
    }
    for record in reader.byte_records() {
        let record = record.map_err(|error| error.to_string())?;
        let number = record.position().map_or(0, |at| at.line() as usize);
        let mut row = Row {
            number,
            ..Row::default()
        };
        for (column, cell) in columns.iter().zip(record.iter()) {
            let Some(column) = column.filter(|_| !cell.is_empty()) else {
                continue;
            };
            let put = match column {
                "photo" => {
                    row.photo = folder.join(path_of(cell));
                    Ok(())
                }
                column => put(&mut row, column, &String::from_utf8_lossy(cell), folder),
            };
            put.map_err(|why| format!("line {number}, {column}: {why}"))?;
        }
        if row.photo.as_os_str().is_empty() {
            return Err(format!("line {number} names no photo"));
        }
        list.rows.push(row);
    }
    Ok(list)
}

fn from_json(bytes: &[u8], folder: &Path) -> Result<List, String> {
    let value: Value =
        serde_json::from_slice(bytes).map_err(|error| format!("it is not valid JSON: {error}"))?;
    let items = value
        .as_array()
        .ok_or("it must be a list of objects, one a photo")?;
    let mut list = List::default();
    for (number, item) in (1..).zip(items) {
        let object = item
            .as_object()
            .ok_or_else(|| format!("entry {number} is no object"))?;
        let mut row = Row {
            number,
            ..Row::default()
        };
        for (key, value) in object {
            let column = known(key).map_err(|why| format!("entry {number}: {why}"))?;
            let Some(column) = column else {
                list.ignore(key);
                continue;
            };
            let text = match (column, value) {
                (_, Value::Null) => continue,
                (_, Value::String(text)) => text.clone(),
                ("set" | "order" | "customer", Value::Number(number)) => number.to_string(),
                ("backlash", Value::Array(several)) => {
                    let several: Option<Vec<&str>> = several.iter().map(Value::as_str).collect();
                    several
                        .ok_or_else(|| {
                            format!("entry {number}: write each backlash like \"0.20mm\"")
                        })?
                        .join(" + ")
                }
                ("marks", Value::Object(_)) => {
                    row.marks = Some(MarksFrom::Text(value.to_string()));
                    continue;
                }
                _ => {
                    return Err(format!(
                        "entry {number}: `{key}` must be a text, not {value}"
                    ));
                }
            };
            put(&mut row, column, text.trim(), folder)
                .map_err(|why| format!("entry {number}, {column}: {why}"))?;
        }
        if row.photo.as_os_str().is_empty() {
            return Err(format!("entry {number} names no `photo`"));
        }
        list.rows.push(row);
    }
    Ok(list)
}

/// The column of a name; `None` for one of somebody else's. A misspelt name is refused: what stands in it is meant for us.
fn known(name: &str) -> Result<Option<&'static str>, String> {
    if let Some(column) = understood("", name, &COLUMNS) {
        return Ok(Some(column));
    }
    match name.to_lowercase().replace(['_', '-', '.'], " ").trim() {
        "customer name" | "client" => return Ok(Some("customer")),
        "order number" | "order no" | "order id" => return Ok(Some("order")),
        _ => {}
    }
    match misspelt(name, COLUMNS) {
        Some(nearest) => Err(format!(
            "`{name}` is not known; the nearest known name is `{nearest}`"
        )),
        None => Ok(None),
    }
}

fn put(row: &mut Row, column: &str, text: &str, folder: &Path) -> Result<(), String> {
    match column {
        "photo" => row.photo = folder.join(text),
        "set" => row.set = Some(text.to_owned()),
        "flank" => row.flank = Some(word(column, text)?),
        "toe" => row.toe = Some(word(column, text)?),
        "polarity" => row.polarity = Some(word(column, text)?),
        "mirrored" => row.mirrored = Some(yes_or_no(text)?),
        "card" => row.card = Some(folder.join(text)),
        "marks" => row.marks = Some(MarksFrom::File(folder.join(text))),
        "backlash" => row.bench.backlash_mm = lengths_mm(text)?,
        "pinion_shim" => row.bench.pinion_shim_mm = Some(length_mm(text)?),
        "customer" => row.client.customer = Some(text.to_owned()),
        "order" => row.client.order = Some(text.to_owned()),
        "ring_side_shim" => row.bench.ring_side_shim_mm = Some(length_mm(text)?),
        _ => row.bench.far_side_shim_mm = Some(length_mm(text)?),
    }
    Ok(())
}

fn yes_or_no(text: &str) -> Result<bool, String> {
    match text.trim().to_ascii_lowercase().as_str() {
        "yes" | "true" => Ok(true),
        "no" | "false" => Ok(false),
        _ => Err("it must be yes or no".into()),
    }
}

fn word<T: ValueEnum>(column: &str, text: &str) -> Result<T, String> {
    let values: Vec<_> = T::value_variants()
        .iter()
        .filter_map(ValueEnum::to_possible_value)
        .collect();
    let known: Vec<&str> = values.iter().map(|value| value.get_name()).collect();
    understood(column, text, &known)
        .and_then(|word| T::from_str(word, true).ok())
        .ok_or_else(|| format!("`{text}` is none of {}", known.join(", ")))
}

fn length_mm(text: &str) -> Result<f64, String> {
    text.trim()
        .parse::<Length>()
        .map(Length::mm)
        .map_err(|error| error.to_string())
}

/// One length or several, with `+` between them as on a slip of paper.
fn lengths_mm(text: &str) -> Result<Vec<f64>, String> {
    text.split('+').map(length_mm).collect()
}

#[cfg(unix)]
fn path_of(bytes: &[u8]) -> PathBuf {
    use std::os::unix::ffi::OsStrExt as _;
    PathBuf::from(std::ffi::OsStr::from_bytes(bytes))
}

#[cfg(not(unix))]
fn path_of(bytes: &[u8]) -> PathBuf {
    PathBuf::from(String::from_utf8_lossy(bytes).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn csv(text: &str) -> Result<Vec<Row>, String> {
        from_csv(text.as_bytes(), Path::new("in")).map(|list| list.rows)
    }

    #[test]
    fn somebody_else_s_columns_are_passed_over_and_the_customer_s_are_kept() {
        let text = "photo,Customer,order,phone,weight kg\na.jpg,J\u{f6}rg,A-17,0123,60\n";
        let list = from_csv(text.as_bytes(), Path::new("in")).unwrap();
        assert_eq!(list.ignored, ["phone", "weight kg"]);
        assert_eq!(list.rows[0].client.customer.as_deref(), Some("J\u{f6}rg"));
        assert_eq!(list.rows[0].client.order.as_deref(), Some("A-17"));
        let json = r#"[{"photo":"a.jpg","order":17,"phone":[1]},{"photo":"b.jpg","phone":2}]"#;
        let list = from_json(json.as_bytes(), Path::new("in")).unwrap();
        assert_eq!(list.ignored, ["phone"]);
        assert_eq!(list.rows[0].client.order.as_deref(), Some("17"));
        let mut client = list.rows[0].client.clone();
        assert_eq!(client.merge(&list.rows[1].client), None);
        let other = Client {
            order: Some("18".into()),
            ..Client::default()
        };
        assert_eq!(client.merge(&other), Some("order"));
    }

    #[test]
    fn both_forms_say_the_same() {
        let rows = csv(
            "photo,set,flank,toe,polarity,card,marks,backlash,pinion_shim\n\
             a b.jpg,77,Drive,left,wiped,axle.toml,m.json,0.20mm+8thou,0.030in\n\"c,d.jpg\",,,,,,,,\n",
        )
        .unwrap();
        assert_eq!(rows[0].photo, Path::new("in/a b.jpg"));
        assert_eq!(rows[1].photo, Path::new("in/c,d.jpg"));
        assert_eq!((rows[0].number, rows[1].number), (2, 3));
        assert_eq!(rows[0].flank, Some(Side::Drive));
        assert_eq!(rows[0].card.as_deref(), Some(Path::new("in/axle.toml")));
        // 8 thou is 0.2032 mm, 0.030 in is 0.762 mm: an inch is 25.4 mm (NIST SP 811, B.8).
        assert!((rows[0].bench.backlash_mm[1] - 0.2032).abs() < 1e-12);
        assert!((rows[0].bench.pinion_shim_mm.unwrap() - 0.762).abs() < 1e-12);
        let json = r#"[{"photo":"a b.jpg","set":77,"flank":"drive","toe":"left","polarity":"wiped",
            "card":"axle.toml","marks":"m.json","backlash":["0.20mm","8thou"],"pinion_shim":"0.030in"},
            {"photo":"c,d.jpg","set":null}]"#;
        let mut again = from_json(json.as_bytes(), Path::new("in")).unwrap().rows;
        for (row, number) in again.iter_mut().zip([2, 3]) {
            row.number = number;
        }
        assert_eq!(again, rows);
    }

    #[test]
    fn semicolons_and_a_byte_order_mark_do_no_harm() {
        let rows = csv("\u{feff}photo;set\na.jpg;x\n").unwrap();
        assert_eq!(rows[0].set.as_deref(), Some("x"));
    }

    #[test]
    fn every_fault_names_its_row() {
        let cases = [
            (
                "photo,flnk\n",
                "head line: `flnk` is not known; the nearest known name is `flank`",
            ),
            ("set\nx\n", "no column `photo`"),
            (
                "photo,flank\na.jpg,left\n",
                "line 2, flank: `left` is none of drive, coast",
            ),
            ("photo,backlash\na.jpg,0.2\n", "line 2, backlash"),
            ("photo,set\n,x\n", "line 2 names no photo"),
        ];
        for (text, words) in cases {
            let message = csv(text).unwrap_err();
            assert!(message.contains(words), "{message}");
        }
        for (text, words) in [
            ("{}", "a list of objects"),
            ("[1]", "entry 1 is no object"),
            (r#"[{"photo":"a"},{"photo":"b","toe":7}]"#, "entry 2: `toe`"),
            (r#"[{"set":"x"}]"#, "entry 1 names no `photo`"),
        ] {
            let message = from_json(text.as_bytes(), Path::new("")).unwrap_err();
            assert!(message.contains(words), "{message}");
        }
    }

    #[test]
    fn two_rows_of_a_set_may_add_but_not_contradict() {
        let mut bench = Bench {
            pinion_shim_mm: Some(0.7),
            ..Bench::default()
        };
        let more = Bench {
            backlash_mm: vec![0.2],
            pinion_shim_mm: Some(0.7),
            ..Bench::default()
        };
        assert_eq!(bench.merge(&more), None);
        assert_eq!(bench.backlash_mm, [0.2]);
        let other = Bench {
            backlash_mm: vec![0.3],
            ..Bench::default()
        };
        assert_eq!(bench.merge(&other), Some("backlash"));
    }
}
