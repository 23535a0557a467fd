//! A point of a flank and where it shows in the photo.

use crate::frames::{FlankPoint, PhotoPoint};

/// A point of a flank and where it was marked or seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correspondence {
    /// Where on the flank.
    pub on_flank: FlankPoint,
    /// Where in the photo.
    pub in_photo: PhotoPoint,
}
