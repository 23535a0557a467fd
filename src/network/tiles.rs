//! Planes stored so that a convolution reads and writes whole rows of numbers.
//!
//! A plane is cut into tiles of equal size, and all pixels that stand at the same place of their
//! tile are kept together, tile after tile. A pixel's neighbour to the right is then found at the
//! same index of another such row, or one further on in the first one: a convolution of all tiles
//! is arithmetic on rows, without any gathering. Between the rows of tiles, before the first and
//! after the last one lie zeros, which stand for what is outside the picture.

use super::Planes;

/// Side of a tile, pixels.
pub(super) const TILE: usize = 4;

/// Rows are worked on in pieces of at most this many numbers; there is room for whole ones.
pub(super) const WIDEST: usize = 16;

/// How tiles lie in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Grid {
    /// Tiles across.
    pub across: usize,
    /// Tiles down.
    pub down: usize,
    /// Numbers in one row, the zeros about it included.
    pub length: usize,
}

impl Grid {
    fn new(across: usize, down: usize) -> Self {
        let stride = across + 1;
        let inside = (stride * down).next_multiple_of(WIDEST);
        Self {
            across,
            down,
            length: inside + 2 * (stride + 1),
        }
    }

    /// From a tile to the one below it.
    pub fn stride(&self) -> usize {
        self.across + 1
    }

    /// Index of the first tile.
    pub fn first(&self) -> usize {
        self.stride() + 1
    }

    /// Indices that hold tiles, the zero after each row of tiles counted with them.
    pub fn count(&self) -> usize {
        self.stride() * self.down
    }
}

/// Planes of one size in tiles.
#[derive(Debug)]
pub(super) struct Tiles {
    /// Number of planes.
    pub planes: usize,
    /// Width of each, pixels.
    pub width: usize,
    /// Height of each, pixels.
    pub height: usize,
    /// Side of a tile, pixels.
    pub side: usize,
    /// How the tiles lie.
    pub grid: Grid,
    /// Plane by plane, place in the tile by place in the tile, one row of `grid.length` each.
    pub values: Vec<f32>,
}

/// Memory that was used and can be used again: to have fresh memory cleared costs as much as the
/// arithmetic.
#[derive(Debug, Default)]
pub(super) struct Pool {
    /// Of pictures that are done with.
    spares: Vec<Vec<f32>>,
    /// What a layer needs beside its pictures.
    pub work: Vec<f32>,
}

impl Pool {
    /// `count` numbers, whatever they are.
    pub fn take(&mut self, count: usize) -> Vec<f32> {
        let fits = (0..self.spares.len())
            .filter(|&at| self.spares[at].capacity() >= count)
            .min_by_key(|&at| self.spares[at].capacity());
        let mut numbers = match fits {
            Some(at) => self.spares.swap_remove(at),
            None => {
                // What is too small for the largest pictures would only lie about: fewer, larger spares.
                let largest = (0..self.spares.len()).max_by_key(|&at| self.spares[at].capacity());
                if let Some(at) = largest {
                    self.spares.swap_remove(at);
                }
                // The second look at a photo is nearly twice as large as the first.
                Vec::with_capacity(2 * count)
            }
        };
        if numbers.len() < count {
            numbers.resize(count, 0.0);
        }
        numbers
    }

    /// Gives memory back.
    pub fn give(&mut self, spare: Vec<f32>) {
        self.spares.push(spare);
    }
}

impl Tiles {
    /// Room for planes of a size; what is in it is any numbers, but zero outside the picture once
    /// [`Self::clear_outside`] was called.
    pub fn room(planes: usize, width: usize, height: usize, side: usize, pool: &mut Pool) -> Self {
        let grid = Grid::new(width.div_ceil(side), height.div_ceil(side));
        Self {
            planes,
            width,
            height,
            side,
            grid,
            values: pool.take(planes * side * side * grid.length),
        }
    }

    /// Where the row of a plane begins that holds the pixels at `(x, y)` of each tile.
    pub fn row_at(&self, plane: usize, (x, y): (usize, usize)) -> usize {
        ((plane * self.side + y) * self.side + x) * self.grid.length
    }

    /// The tiles of one row of tiles, for the pixels at one place of each tile.
    fn tiles(&self, plane: usize, place: (usize, usize), down: usize) -> &[f32] {
        let grid = self.grid;
        let from = self.row_at(plane, place) + grid.first() + down * grid.stride();
        &self.values[from..from + grid.across]
    }

    fn tiles_mut(&mut self, plane: usize, place: (usize, usize), down: usize) -> &mut [f32] {
        let grid = self.grid;
        let from = self.row_at(plane, place) + grid.first() + down * grid.stride();
        &mut self.values[from..from + grid.across]
    }

    /// Sets all that does not belong to the picture to zero.
    pub fn clear_outside(&mut self) {
        let grid = self.grid;
        let (width, height, side) = (self.width, self.height, self.side);
        for plane in 0..self.planes {
            for y in 0..side {
                for x in 0..side {
                    let from = self.row_at(plane, (x, y));
                    let row = &mut self.values[from..from + grid.length];
                    row[..grid.first()].fill(0.0);
                    row[grid.first() + grid.count()..].fill(0.0);
                    let across = width.saturating_sub(x).div_ceil(side);
                    let down = height.saturating_sub(y).div_ceil(side);
                    for (number, tiles) in row[grid.first()..][..grid.count()]
                        .chunks_exact_mut(grid.stride())
                        .enumerate()
                    {
                        let from = if number < down { across } else { 0 };
                        match &mut tiles[from..] {
                            // Nearly always: a call for one number costs more than the rest.
                            [one] => *one = 0.0,
                            all => all.fill(0.0),
                        }
                    }
                }
            }
        }
    }

    /// Planes cut into tiles.
    pub fn from_planes(planes: &Planes, side: usize, pool: &mut Pool) -> Self {
        let mut tiles = Self::room(planes.planes, planes.width, planes.height, side, pool);
        for plane in 0..planes.planes {
            for (line, pixels) in planes.plane(plane).chunks_exact(planes.width).enumerate() {
                for x in 0..side {
                    let row = tiles.tiles_mut(plane, (x, line % side), line / side);
                    for (to, from) in row.iter_mut().zip(pixels[x..].iter().step_by(side)) {
                        *to = *from;
                    }
                }
            }
        }
        tiles.clear_outside();
        tiles
    }

    /// The first `planes` planes, line by line.
    pub fn to_planes(&self, planes: usize) -> Planes {
        let mut whole = Planes::zeros(planes, self.width, self.height);
        for plane in 0..planes {
            for line in 0..self.height {
                let from = (plane * self.height + line) * self.width;
                let pixels = &mut whole.values[from..from + self.width];
                for x in 0..self.side.min(self.width) {
                    let row = self.tiles(plane, (x, line % self.side), line / self.side);
                    for (to, from) in pixels[x..].iter_mut().step_by(self.side).zip(row) {
                        *to = *from;
                    }
                }
            }
        }
        whole
    }

    /// The largest of each two by two pixels. Sides must be even.
    pub fn halved(&self, pool: &mut Pool) -> Self {
        let side = self.side;
        let mut half = Self::room(self.planes, self.width / 2, self.height / 2, side, pool);
        let mut largest = vec![0.0; self.grid.across.next_multiple_of(2)];
        for plane in 0..self.planes {
            for line in 0..half.height {
                let (above, down) = (2 * line % side, 2 * line / side);
                for x in 0..side / 2 {
                    let of = |dx, dy| self.tiles(plane, (2 * x + dx, above + dy), down);
                    let upper = of(0, 0).iter().zip(of(1, 0));
                    let lower = of(0, 1).iter().zip(of(1, 1));
                    for (to, ((a, b), (c, d))) in largest.iter_mut().zip(upper.zip(lower)) {
                        *to = larger(larger(*a, *b), larger(*c, *d));
                    }
                    // The left half of a small tile comes of a tile of even number, the right half of an odd one.
                    for odd in 0..2 {
                        let place = (x + odd * side / 2, line % side);
                        let row = half.tiles_mut(plane, place, line / side);
                        for (to, pair) in row.iter_mut().zip(largest.as_chunks::<2>().0) {
                            *to = pair[odd];
                        }
                    }
                }
            }
        }
        half.clear_outside();
        half
    }

    /// Adds a picture of half the size, each value to two by two pixels. Zeros outside both stay zeros.
    pub fn add_doubled(&mut self, small: &Self) {
        let side = self.side;
        let mut doubled = vec![0.0; 2 * small.grid.across];
        for plane in 0..self.planes {
            for line in 0..self.height / 2 {
                for x in 0..side / 2 {
                    // Tiles of even number take their pixels from the left half of a small tile.
                    let half =
                        |odd| small.tiles(plane, (x + odd * side / 2, line % side), line / side);
                    let both = half(0).iter().zip(half(1));
                    for (to, (even, odd)) in doubled.chunks_exact_mut(2).zip(both) {
                        (to[0], to[1]) = (*even, *odd);
                    }
                    let (above, down) = (2 * line % side, 2 * line / side);
                    for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                        let row = self.tiles_mut(plane, (2 * x + dx, above + dy), down);
                        for (to, more) in row.iter_mut().zip(&doubled) {
                            *to += more;
                        }
                    }
                }
            }
        }
    }
}

/// Of finite numbers, without the care that `f32::max` takes of others.
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbered(planes: usize, width: usize, height: usize) -> Planes {
        let mut picture = Planes::zeros(planes, width, height);
        for (i, value) in picture.values.iter_mut().enumerate() {
            *value = ((i * 7919) % 1013) as f32;
        }
        picture
    }

    #[test]
    fn tiles_give_back_what_was_put_in() {
        for (width, height, side) in [(32, 8, 4), (26, 14, 4), (64, 32, 8)] {
            let picture = numbered(2, width, height);
            let tiles = Tiles::from_planes(&picture, side, &mut Pool::default());
            assert_eq!(tiles.to_planes(2), picture);
        }
    }

    #[test]
    fn halving_and_doubling_are_those_of_the_planes() {
        let pool = &mut Pool::default();
        for (width, height) in [(32, 8), (26, 14), (20, 10)] {
            let picture = numbered(2, width, height);
            let mut tiles = Tiles::from_planes(&picture, TILE, pool);
            let half = tiles.halved(pool);
            let halved = half.to_planes(2);
            tiles.add_doubled(&half);
            let sum = tiles.to_planes(2);
            // Zeros outside as well.
            let expected = Tiles::from_planes(&sum, TILE, &mut Pool::default()).values;
            assert_eq!(tiles.values[..expected.len()], expected);
            for plane in 0..2 {
                for y in 0..height {
                    for x in 0..width {
                        let at = |x: usize, y: usize| picture.plane(plane)[y * width + x];
                        let (left, top) = (x / 2 * 2, y / 2 * 2);
                        let largest = at(left, top)
                            .max(at(left + 1, top))
                            .max(at(left, top + 1))
                            .max(at(left + 1, top + 1));
                        let small = halved.plane(plane)[y / 2 * (width / 2) + x / 2];
                        assert_eq!(small, largest);
                        assert_eq!(sum.plane(plane)[y * width + x], at(x, y) + largest);
                    }
                }
            }
        }
    }
}
