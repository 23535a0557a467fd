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
const STEP_LEVELS: i16 = 6;
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
    let rows = Lines::of(picture);
    let whole = Area {
        left: 0,
        top: 0,
        width: picture.width(),
        height: picture.height(),
    };
    let columns = rows.transposed();
    let mut photos = Vec::new();
    part(&[rows, columns], whole, 0, &mut photos);
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

/// The colours of a picture, line by line.
struct Lines {
    length: usize,
    colours: Vec<Colour>,
}

impl Lines {
    fn of(picture: &RgbImage) -> Self {
        Self {
            length: picture.width() as usize,
            colours: picture.pixels().map(|pixel| pixel.0).collect(),
        }
    }

    fn transposed(&self) -> Self {
        let lines = self.colours.len() / self.length.max(1);
        let mut colours = Vec::with_capacity(self.colours.len());
        for place in 0..self.length {
            colours.extend((0..lines).map(|line| self.colours[line * self.length + place]));
        }
        Self {
            length: lines,
            colours,
        }
    }

    /// The lines of a part of the picture, thinned along them.
    fn part(&self, first: u32, count: u32, left: u32, length: u32) -> Vec<Vec<Colour>> {
        let (left, length) = (left as usize, length as usize);
        let step = (length / PLACES).max(1);
        (first as usize..(first + count) as usize)
            .map(|line| {
                let start = line * self.length + left;
                let line = &self.colours[start..start + length];
                line.iter().step_by(step).copied().collect()
            })
            .collect()
    }
}

/// By how many levels two colours differ where they differ most.
fn apart(a: Colour, b: Colour) -> u8 {
    let [r, g, b] = std::array::from_fn(|channel| a[channel].abs_diff(b[channel]));
    r.max(g).max(b)
}

/// Parts an area until nothing in it is parted any more.
fn part(lines: &[Lines; 2], area: Area, depth: usize, photos: &mut Vec<Area>) {
    let Area {
        left,
        top,
        width,
        height,
    } = area;
    let longest = lines[0].length.max(lines[1].length) as f64;
    if f64::from(width.min(height)) < LEAST_SIDE * longest {
        return;
    }
    if depth >= DEEPEST {
        photos.push(area);
        return;
    }
    let down = cut(&lines[0].part(top, height, left, width));
    let across = cut(&lines[1].part(left, width, top, height));
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
        part(lines, half, depth + 1, photos);
    }
}

/// Where to part lines, and how sure that is; a band is surer than any step.
#[derive(Debug, Clone, Copy)]
struct Cut {
    line: usize,
    surety: f64,
}

fn cut(lines: &[Vec<Colour>]) -> Option<Cut> {
    let band = band_edges(lines).max_by(|a, b| a.surety.total_cmp(&b.surety));
    band.map(|cut| Cut {
        surety: 1.0 + cut.surety,
        ..cut
    })
    .or_else(|| seam(lines))
}

/// The colour of a line that is all of one.
fn one_colour(line: &[Colour]) -> Option<Colour> {
    let middle = std::array::from_fn(|channel| {
        let mut counts = [0_usize; 256];
        for colour in line {
            counts[usize::from(colour[channel])] += 1;
        }
        let mut below = 0;
        let at = counts.iter().position(|count| {
            below += count;
            2 * below > line.len()
        });
        at.unwrap_or_default() as u8
    });
    let off = line
        .iter()
        .filter(|colour| apart(**colour, middle) > SAME_LEVELS);
    (off.count() * 100 <= line.len()).then_some(middle)
}

/// Where bands of one colour end in a photo, and the share of the line that says so.
fn band_edges(lines: &[Vec<Colour>]) -> impl Iterator<Item = Cut> {
    let colours: Vec<Option<Colour>> = lines.iter().map(|line| one_colour(line)).collect();
    let mut bands = Vec::new();
    let mut start = 0;
    while start < lines.len() {
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
        let off = lines[line]
            .iter()
            .filter(|c| apart(**c, colour) > OFF_LEVELS);
        off.count() as f64 / lines[line].len() as f64
    };
    let mut edges = Vec::new();
    for (start, end, colour) in bands {
        let before = (start.saturating_sub(RINGING_LINES)..start).rev();
        let after = end..(end + RINGING_LINES).min(lines.len());
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
fn seam(lines: &[Vec<Colour>]) -> Option<Cut> {
    let shares = seam_shares(lines);
    let (line, surety) = (shares.iter().copied().enumerate()).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let mut sorted = shares;
    sorted.sort_by(f64::total_cmp);
    // Patterns of stripes and JPEG's own blocks show steps all over.
    let usual = sorted[sorted.len() * 19 / 20];
    let least = if is_even(line, lines.len()) {
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
fn seam_shares(lines: &[Vec<Colour>]) -> Vec<f64> {
    let mut shares = vec![0.0; lines.len()];
    if lines.len() < 2 * ABOUT + 4 {
        return shares;
    }
    // Over three lines: a step may be shrunk into the line between.
    let step = |line: usize, place: usize, channel: usize| {
        let level = |line: usize| i16::from(lines[line][place][channel]);
        (level(line + 1) - level(line - 2)).abs()
    };
    let middle = |mut of: [i16; 3]| {
        of.sort_unstable();
        of[1]
    };
    let steps = |line: usize, place: usize, channel: usize| {
        let at = step(line, place, channel);
        if at <= STEP_LEVELS {
            return false;
        }
        let about = |away: [isize; 3]| {
            middle(away.map(|by| step(line.wrapping_add_signed(by), place, channel)))
        };
        at > STEP_LEVELS + 2 * about([-4, -7, -10]).max(about([4, 7, 10]))
    };
    for line in ABOUT..lines.len() - ABOUT {
        let places = lines[line].len();
        let stepped =
            (0..places).filter(|&place| (0..3).any(|channel| steps(line, place, channel)));
        shares[line] = stepped.count() as f64 / places as f64;
    }
    shares
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
