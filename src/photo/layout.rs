//! Bars about a photo and photos beside each other in one picture: screenshots, letterboxes, collages.
//!
//! The picture itself tells: it is parted along lines of one colour that end in an edge as straight as only a program draws
//! them, and along steps that run straight through all of it. What is left is a photo if it is no stripe and not all of one
//! colour.

use super::Area;
use image::RgbImage;

/// What a picture is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Layout {
    /// One photo, as far as can be seen.
    Whole,
    /// One photo with bars about it.
    Framed(Area),
    /// Several photos, row by row.
    Collage(Vec<Area>),
}

/// A line is of one colour if all but one in a hundred of its places are within this many levels of its middle one: what
/// JPEG leaves of a flat ground.
const SAME_LEVELS: u8 = 4;
/// So many lines of one colour make a band.
const BAND_LINES: usize = 3;
/// So far from a band its ground may ring: JPEG's blocks, shrunk or not.
const RINGING_LINES: usize = 8;
/// A place is off a band's colour by more than this many levels.
const OFF_LEVELS: u8 = 16;
/// A band ends in a photo if so large a share of a line is off its colour: a thing on an even ground begins with a point, a
/// line of words is mostly ground.
const BAND_EDGE_SHARE: f64 = 0.5;
/// Levels that a step must be higher than what twice the places about it vary by.
const STEP_LEVELS: u8 = 6;
/// A step that so large a share of its line shows is no edge of a thing. Of 49 pairs of gear photos put side by side without a
/// gap and saved at JPEG quality 80 half show 0.94 or more, one in four less than 0.84, one in ten less than 0.66. Of 69 gear
/// photos by themselves the surest step anywhere is 0.62, the surest at a half or a third 0.49; of 95 other pictures three that
/// are no patterns show 0.82 to 0.96, all drawn or stitched.
const SEAM_SHARE: f64 = 0.9;
/// The same where collages part most: at halves and thirds, to [`EVEN`] of the length.
const EVEN_SEAM_SHARE: f64 = 0.55;
const EVEN: f64 = 0.01;
/// Lines about a step that are compared with it.
const ABOUT: usize = 14;
/// Places of a line that are looked at.
const PLACES: usize = 512;
/// A side of a photo is at least this share of the picture's longest, and of its own other side.
const LEAST_SIDE: f64 = 0.12;
const LEAST_ASPECT: f64 = 0.25;
/// More of one colour than this is a ground with words on it.
const MOST_OF_ONE_COLOUR: f64 = 0.75;
/// What is nearly the whole picture is the picture.
const NEARLY_ALL: f64 = 0.97;
/// Pictures are not parted more often one within the other.
const DEEPEST: usize = 12;

/// Finds out what a picture is made of.
pub(crate) fn layout(picture: &RgbImage) -> Layout {
    let whole = Area {
        left: 0,
        top: 0,
        width: picture.width(),
        height: picture.height(),
    };
    let mut photos = Vec::new();
    part(picture, whole, 0, &mut photos);
    photos.retain(|area| is_photo(picture, *area));
    photos.sort_by_key(|area| (area.top, area.left));
    let covered = |area: &Area| {
        let pixels = |area: &Area| f64::from(area.width) * f64::from(area.height);
        pixels(area) / pixels(&whole)
    };
    match photos.as_slice() {
        [] => Layout::Whole,
        [one] if covered(one) > NEARLY_ALL => Layout::Whole,
        [one] => Layout::Framed(*one),
        _ => Layout::Collage(photos),
    }
}

/// A place's colour.
type Colour = [u8; 3];

/// The lines of an area, thinned along them.
struct Lines {
    /// How many places a line has, and how many lines there are.
    places: usize,
    count: usize,
    /// Levels: of each line first all of red, then green, then blue.
    levels: Vec<u8>,
}

/// The way that lines run.
#[derive(Clone, Copy)]
enum Way {
    Across,
    Down,
}

impl Lines {
    fn of(picture: &RgbImage, area: Area, way: Way) -> Self {
        let size = (area.width as usize, area.height as usize);
        let (length, count) = match way {
            Way::Across => size,
            Way::Down => (size.1, size.0),
        };
        let step = (length / PLACES).max(1);
        let places = length.div_ceil(step);
        let mut levels = vec![0; 3 * places * count];
        let row_bytes = 3 * picture.width() as usize;
        let rows = picture.as_raw().chunks_exact(row_bytes.max(1));
        let rows = rows.skip(area.top as usize).take(size.1);
        let left = 3 * area.left as usize;
        let rows = rows.map(|row| &row[left..left + 3 * size.0]);
        match way {
            Way::Across => {
                for (row, line) in rows.zip(levels.chunks_exact_mut(3 * places)) {
                    let (red, others) = line.split_at_mut(places);
                    let (green, blue) = others.split_at_mut(places);
                    let line = red.iter_mut().zip(green).zip(blue);
                    for (((red, green), blue), pixel) in line.zip(row.chunks_exact(3).step_by(step))
                    {
                        (*red, *green, *blue) = (pixel[0], pixel[1], pixel[2]);
                    }
                }
            }
            Way::Down => {
                for (place, row) in rows.step_by(step).enumerate() {
                    let lines = levels.chunks_exact_mut(3 * places);
                    for (pixel, line) in row.chunks_exact(3).zip(lines) {
                        line[place] = pixel[0];
                        line[places + place] = pixel[1];
                        line[2 * places + place] = pixel[2];
                    }
                }
            }
        }
        Self {
            places,
            count,
            levels,
        }
    }

    /// All levels of a line.
    fn line(&self, line: usize) -> &[u8] {
        let length = 3 * self.places;
        &self.levels[line * length..(line + 1) * length]
    }

    /// A line's levels of one channel.
    fn channel(&self, line: usize, channel: usize) -> &[u8] {
        &self.line(line)[channel * self.places..(channel + 1) * self.places]
    }

    /// How many places of a line are off a colour by more than so many levels.
    fn off(&self, line: usize, colour: Colour, levels: u8) -> usize {
        let (red, green, blue) = (
            self.channel(line, 0),
            self.channel(line, 1),
            self.channel(line, 2),
        );
        let places = red.iter().zip(green).zip(blue);
        places
            .filter(|((red, green), blue)| apart([**red, **green, **blue], colour) > levels)
            .count()
    }
}

/// By how many levels two colours differ where they differ most.
fn apart(a: Colour, b: Colour) -> u8 {
    let [red, green, blue] = a;
    let red = red.abs_diff(b[0]);
    red.max(green.abs_diff(b[1])).max(blue.abs_diff(b[2]))
}

/// Parts an area until nothing in it is parted any more.
fn part(picture: &RgbImage, area: Area, depth: usize, photos: &mut Vec<Area>) {
    let Area {
        left,
        top,
        width,
        height,
    } = area;
    let longest = picture.width().max(picture.height());
    let least = (LEAST_SIDE * f64::from(longest)).max(1.0);
    if f64::from(width.min(height)) < least {
        return;
    }
    if depth >= DEEPEST {
        photos.push(area);
        return;
    }
    let down = cut(&Lines::of(picture, area, Way::Across));
    let across = cut(&Lines::of(picture, area, Way::Down));
    let surer =
        |a: Option<Cut>, b: Option<Cut>| a.map_or(0.0, |a| a.surety) >= b.map_or(0.0, |b| b.surety);
    let halves = match (down, across) {
        (None, None) => {
            photos.push(area);
            return;
        }
        (Some(cut), other) if surer(Some(cut), other) => {
            let above = cut.line as u32;
            [
                Area {
                    height: above,
                    ..area
                },
                Area {
                    top: top + above,
                    height: height - above,
                    ..area
                },
            ]
        }
        (_, Some(cut)) | (Some(cut), None) => {
            let before = cut.line as u32;
            [
                Area {
                    width: before,
                    ..area
                },
                Area {
                    left: left + before,
                    width: width - before,
                    ..area
                },
            ]
        }
    };
    for half in halves {
        part(picture, half, depth + 1, photos);
    }
}

/// Where to part lines, and how sure that is; a band is surer than any step.
#[derive(Debug, Clone, Copy)]
struct Cut {
    line: usize,
    surety: f64,
}

fn cut(lines: &Lines) -> Option<Cut> {
    let band = band_edges(lines).max_by(|a, b| a.surety.total_cmp(&b.surety));
    band.map(|cut| Cut {
        surety: 1.0 + cut.surety,
        ..cut
    })
    .or_else(|| seam(lines))
}

/// The colour of a line that is all of one.
fn one_colour(lines: &Lines, line: usize) -> Option<Colour> {
    let middle = std::array::from_fn(|channel| {
        let mut counts = [0_usize; 256];
        for &level in lines.channel(line, channel) {
            counts[usize::from(level)] += 1;
        }
        let mut below = 0;
        let at = counts.iter().position(|count| {
            below += count;
            2 * below > lines.places
        });
        at.unwrap_or_default() as u8
    });
    (lines.off(line, middle, SAME_LEVELS) * 100 <= lines.places).then_some(middle)
}

/// Where bands of one colour end in a photo, and the share of the line that says so.
fn band_edges(lines: &Lines) -> impl Iterator<Item = Cut> {
    let colours: Vec<Option<Colour>> = (0..lines.count)
        .map(|line| one_colour(lines, line))
        .collect();
    let mut bands = Vec::new();
    let mut start = 0;
    while start < lines.count {
        let Some(colour) = colours[start] else {
            start += 1;
            continue;
        };
        let alike = |other: &Option<Colour>| other.is_some_and(|c| apart(c, colour) <= SAME_LEVELS);
        let count = colours[start..].iter().take_while(|c| alike(c)).count();
        if count >= BAND_LINES {
            bands.push((start, start + count, colour));
        }
        start += count;
    }
    let share = |line: usize, colour: Colour| {
        lines.off(line, colour, OFF_LEVELS) as f64 / lines.places as f64
    };
    let mut edges = Vec::new();
    for (start, end, colour) in bands {
        let before = (start.saturating_sub(RINGING_LINES)..start).rev();
        let after = end..(end + RINGING_LINES).min(lines.count);
        let first = |mut beyond: Box<dyn Iterator<Item = usize>>| {
            beyond.find_map(|line| {
                let surety = share(line, colour);
                (surety >= BAND_EDGE_SHARE).then_some(Cut { line, surety })
            })
        };
        edges.extend(first(Box::new(before)).map(|cut| Cut {
            line: cut.line + 1,
            ..cut
        }));
        edges.extend(first(Box::new(after)));
    }
    edges.into_iter().filter(|cut| cut.line > 0)
}

/// The step that runs straight through all lines, if one does.
fn seam(lines: &Lines) -> Option<Cut> {
    let shares = seam_shares(lines);
    let (line, surety) = (shares.iter().copied().enumerate()).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let mut sorted = shares;
    sorted.sort_by(f64::total_cmp);
    // Patterns of stripes and JPEG's own blocks show steps all over.
    let usual = sorted[sorted.len() * 19 / 20];
    let least = if is_even(line, lines.count) {
        EVEN_SEAM_SHARE
    } else {
        SEAM_SHARE
    };
    (surety >= least && surety > 2.0 * usual).then_some(Cut { line, surety })
}

/// Whether a line parts lines evenly.
fn is_even(line: usize, lines: usize) -> bool {
    [2.0, 3.0].iter().any(|parts| {
        let at = line as f64 / lines as f64 * parts;
        (at - at.round()).abs() / parts < EVEN
    })
}

/// For each line the share of its places at which the picture steps from the line before to it, more than it varies about.
fn seam_shares(lines: &Lines) -> Vec<f64> {
    let mut shares = vec![0.0; lines.count];
    if lines.count < 2 * ABOUT + 4 {
        return shares;
    }
    // Over three lines: a step may be shrunk into the line between.
    let heights: Vec<u8> = (2..lines.count - 1)
        .flat_map(|line| (lines.line(line + 1).iter()).zip(lines.line(line - 2)))
        .map(|(after, before)| after.abs_diff(*before))
        .collect();
    let heights = |line: usize| {
        let length = 3 * lines.places;
        &heights[(line - 2) * length..(line - 1) * length]
    };
    let mut steps = vec![false; 3 * lines.places];
    let inner = ABOUT..lines.count - ABOUT;
    for (share, line) in shares[inner.clone()].iter_mut().zip(inner) {
        let at = heights(line);
        let before = [4, 7, 10].map(|by| heights(line - by));
        let after = [4, 7, 10].map(|by| heights(line + by));
        for (i, stepped) in steps.iter_mut().enumerate() {
            let about = middle(before[0][i], before[1][i], before[2][i]).max(middle(
                after[0][i],
                after[1][i],
                after[2][i],
            ));
            *stepped = at[i] > about.saturating_mul(2).saturating_add(STEP_LEVELS);
        }
        let (red, others) = steps.split_at(lines.places);
        let (green, blue) = others.split_at(lines.places);
        let places = red.iter().zip(green).zip(blue);
        let stepped = places.filter(|((red, green), blue)| **red | **green | **blue);
        *share = stepped.count() as f64 / lines.places as f64;
    }
    shares
}

fn middle(a: u8, b: u8, c: u8) -> u8 {
    a.min(b).max(a.max(b).min(c))
}

/// Whether a part can be a photo: no stripe, and not a ground with a few words.
fn is_photo(picture: &RgbImage, area: Area) -> bool {
    let (short, long) = (area.width.min(area.height), area.width.max(area.height));
    if f64::from(short) < LEAST_ASPECT * f64::from(long) {
        return false;
    }
    let mut counts = [0_usize; 256];
    let mut all = 0;
    for y in (area.top..area.top + area.height).step_by(4) {
        for x in (area.left..area.left + area.width).step_by(4) {
            counts[usize::from(picture.get_pixel(x, y).0[1])] += 1;
            all += 1;
        }
    }
    let near = 2 * usize::from(SAME_LEVELS) + 1;
    let most = counts.windows(near).map(|w| w.iter().sum::<usize>()).max();
    most.unwrap_or(0) as f64 <= MOST_OF_ONE_COLOUR * f64::from(all)
}

#[cfg(test)]
mod tests;
