//! A card → its contact model, and what an assembly of it shows.

use crate::contact::{ContactError, Misalignment, Model, State};
use crate::schema::Card;

impl Card {
    /// The contact model of this gear set, set up once for any number of assemblies.
    ///
    /// ```
    /// # use flankread::{Card, Misalignment};
    /// let card = Card::read("examples/larchfield/card.toml")?;
    /// let model = card.model()?;
    /// let (ease_off, film_mm) = model.defaults();
    /// let at_rest = model.state(&Misalignment::default(), &ease_off, film_mm);
    /// assert!(at_rest.backlash_change_mm.abs() < 0.001);
    /// # Ok::<(), flankread::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`ContactError`] when the set cannot be made or cannot mesh.
    pub fn model(&self) -> Result<Model, ContactError> {
        Model::new(&self.gear_set())
    }
}

/// What an assembly of the card's gears shows that stands so far from the right place: the patch on both flanks and the
/// backlash it adds. For many assemblies of one card, [`Card::model`] is set up once.
///
/// ```
/// use flankread::{Card, Misalignment, simulate};
/// let card = Card::read("examples/larchfield/card.toml")?;
/// let mut too_far_out = Misalignment::default();
/// too_far_out.pinion_mm = 0.1;
/// let [right, high] = [Misalignment::default(), too_far_out].map(|at| simulate(&card, &at));
/// let (right, high) = (right?.drive.patch.unwrap(), high?.drive.patch.unwrap());
/// assert!(high.centre.height > right.centre.height);
/// # Ok::<(), flankread::Error>(())
/// ```
///
/// # Errors
/// [`ContactError`] when the set cannot be made or cannot mesh.
pub fn simulate(card: &Card, at: &Misalignment) -> Result<State, ContactError> {
    let model = card.model()?;
    let (ease_off, film_mm) = model.defaults();
    Ok(model.state(at, &ease_off, film_mm))
}
