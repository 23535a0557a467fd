//! A reading of a part of a picture, told as one of the whole picture.

use super::OutlinedReading;
use crate::frames::PhotoPoint;
use crate::photo::Photo;
use crate::schema::PhotoArea;

impl OutlinedReading {
    /// The reading of an area as one of the photo that it is a part of.
    pub(super) fn in_whole(&mut self, photo: &Photo, area: PhotoArea) {
        let facts = &mut self.reading.photo;
        (facts.width, facts.height) = (photo.width, photo.height);
        facts.area = Some(area);
        for tooth in &mut self.reading.teeth {
            let moved = |point: PhotoPoint| point.shifted(area.left, area.top);
            tooth.corners = tooth.corners.map(moved);
            for point in tooth.root.iter_mut().chain(&mut tooth.tip) {
                *point = moved(*point);
            }
        }
        for outline in &mut self.outlines {
            outline.shift(area.left, area.top);
        }
    }
}
