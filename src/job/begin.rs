//! Opening a job, and asking it for advice.

use super::Store;
use super::archive::fresh_uid;
use crate::Result;
use crate::contact::Model;
use crate::rules;
use crate::schema::record::Head;
use crate::schema::{Advice, Card};
use crate::units::Units;

/// What a job is called, and who works on it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Called {
    /// What people call it.
    pub name: String,
    /// Vehicle and axle.
    pub axle: String,
    /// Who works on it.
    pub mechanic: String,
}

/// Opens a job at a time and gives its number.
///
/// # Errors
/// The card's gears cannot mesh; what the database says.
pub(crate) fn begin(store: &mut Store, called: Called, card: &Card, at: String) -> Result<i64> {
    meshes(card)?;
    let head = Head {
        number: 0,
        uid: fresh_uid(&called.name),
        name: called.name,
        axle: called.axle,
        mechanic: called.mechanic,
        opened: at,
        closed: None,
    };
    Ok(store.new_job(&head, card)?)
}

/// Whether a card's gears can mesh. One whose gears cannot would fail at the first advice: it is said at once.
///
/// # Errors
/// They cannot.
pub(crate) fn meshes(card: &Card) -> Result<()> {
    Model::new(&card.gear_set())?;
    Ok(())
}

/// Advice on a job as it stands, kept with its last trial unless the job is closed; and whether it was kept.
///
/// # Errors
/// The card's gears cannot mesh; what the database says.
pub(crate) fn advise(
    store: &mut Store,
    job: i64,
    units: Units,
    at: &str,
) -> Result<(Advice, bool)> {
    let record = store.record(job)?;
    // The axle as it came in counts for its own pattern, and as a trial like any other.
    let advice = rules::advise_in(&record.card, &record.rules_trials(), units)?;
    let is_open = record.head.closed.is_none();
    if let (true, Some(last)) = (is_open, record.last()) {
        store.add_advice(job, last.number, &advice, at)?;
    }
    Ok((advice, is_open))
}

/// A note's words for an axle that cannot be recorded as found.
pub(crate) fn not_found_note(words: &str) -> String {
    format!("{}. {words}", super::next::NOT_FOUND)
        .trim()
        .to_owned()
}
