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

/// Parts of a flank along its length and up its height: the cells of each are averaged into one point.
pub(crate) const PARTS_ALONG: usize = 10;
pub(crate) const PARTS_UP: usize = 4;
