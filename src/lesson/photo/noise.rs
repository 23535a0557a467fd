//! Random numbers and smooth random fields that are the same on every machine.

/// A number between 0 and 1 for a seed and a place in its sequence.
pub(crate) fn share(seed: u64, place: u64) -> f64 {
    // The finaliser of splitmix64 (Steele, Lea, Flood 2014), from memory.
    let mut z = seed
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add(place.wrapping_mul(0xd1b5_4a32_d192_ed03))
        .wrapping_add(0x2545_f491_4f6c_dd1d);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^= z >> 31;
    (z >> 11) as f64 / (1u64 << 53) as f64
}

/// A smooth field of mean 0 and about −1 … 1, one bump to a unit of length.
pub(crate) fn field(seed: u64, x: f64, y: f64) -> f64 {
    let (x0, y0) = (x.floor(), y.floor());
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (s, t) = (ease(x - x0), ease(y - y0));
    let at = |dx: f64, dy: f64| {
        let (i, j) = ((x0 + dx) as i64 as u64, (y0 + dy) as i64 as u64);
        2.0 * share(seed ^ i.wrapping_mul(0x9e37_79b1), j) - 1.0
    };
    let low = at(0.0, 0.0) * (1.0 - s) + at(1.0, 0.0) * s;
    let high = at(0.0, 1.0) * (1.0 - s) + at(1.0, 1.0) * s;
    low * (1.0 - t) + high * t
}

/// Two octaves of [`field`].
pub(crate) fn rough(seed: u64, x: f64, y: f64) -> f64 {
    0.67 * field(seed, x, y) + 0.33 * field(seed ^ 0xabcd, 2.1 * x, 2.1 * y)
}
