//! Pictures of several photos: each photo is an item of its own.

use super::group::{Item, Plan};
use super::run::Found;

impl Plan {
    /// The plan with the photos of every collage that was found in place of it; `None` when there is none.
    pub(crate) fn with_parts(&self, found: &[Found]) -> Option<Self> {
        if found.iter().all(|found| found.parts == 0) {
            return None;
        }
        let mut plan = Self {
            items: Vec::new(),
            ..self.clone()
        };
        for set in &mut plan.sets {
            set.photos.clear();
        }
        for (item, found) in self.items.iter().zip(found) {
            let parts: Vec<Item> = match found.parts {
                0 => vec![item.clone()],
                of => (1..=of).map(|number| part(item, number, of)).collect(),
            };
            for item in parts {
                plan.sets[item.set].photos.push(plan.items.len());
                plan.items.push(item);
            }
        }
        Some(plan)
    }
}

fn part(item: &Item, number: u32, of: u32) -> Item {
    let mut part = item.clone();
    part.part = Some((number, of));
    // The name of a file of several photos speaks of none of them.
    part.said.named = None;
    part
}
