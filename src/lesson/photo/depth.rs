//! Which triangle is nearest in each cell of a picture.

/// No triangle.
pub(crate) const NOTHING: u32 = u32::MAX;

/// A picture of depths and triangles.
#[derive(Debug, Clone)]
pub(crate) struct DepthPicture {
    pub width: usize,
    pub height: usize,
    /// Nearness: greater is nearer, 0 is endlessly far.
    pub near: Vec<f32>,
    pub triangle: Vec<u32>,
}

/// A corner in the picture: x, y in cells, and nearness, which must be linear over the picture
/// (1 / depth under a pinhole, minus depth plus a constant in parallel light).
pub(crate) type Corner = [f64; 3];

impl DepthPicture {
    pub(crate) fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            near: vec![0.0; width * height],
            triangle: vec![NOTHING; width * height],
        }
    }

    /// Draws a triangle.
    pub(crate) fn draw(&mut self, id: u32, corners: [Corner; 3]) {
        let [a, b, c] = corners;
        let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if area.abs() < 1e-12 {
            return;
        }
        let span = |axis: usize, cells: usize| {
            let low = corners.iter().map(|p| p[axis]).fold(f64::MAX, f64::min);
            let high = corners.iter().map(|p| p[axis]).fold(f64::MIN, f64::max);
            let first = (low - 0.5).ceil().max(0.0);
            let last = (high - 0.5).floor().min(cells as f64 - 1.0);
            (last >= first).then_some((first as usize, last as usize))
        };
        let (Some((x0, x1)), Some((y0, y1))) = (span(0, self.width), span(1, self.height)) else {
            return;
        };
        let edge = |p: Corner, q: Corner, x: f64, y: f64| {
            ((q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0])) / area
        };
        for row in y0..=y1 {
            let y = row as f64 + 0.5;
            for column in x0..=x1 {
                let x = column as f64 + 0.5;
                let (wa, wb, wc) = (edge(b, c, x, y), edge(c, a, x, y), edge(a, b, x, y));
                if wa < 0.0 || wb < 0.0 || wc < 0.0 {
                    continue;
                }
                let near = (wa * a[2] + wb * b[2] + wc * c[2]) as f32;
                let cell = row * self.width + column;
                if near > self.near[cell] {
                    self.near[cell] = near;
                    self.triangle[cell] = id;
                }
            }
        }
    }
}
