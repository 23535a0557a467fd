//! From the low frequencies of a block to its pixels, fewer than eight along a side.
//!
//! A block's cosine series (ITU-T T.81, A.3.3) cut off after its first N terms and sampled at N places
//! is the N-point inverse transform of these terms; with the terms scaled as the standard has them,
//! the factors do not depend on N.

use super::ZIGZAG;
use std::f32::consts::FRAC_1_SQRT_2;

/// Coefficients of a block with their factors, row by row.
pub(super) type Block = [f32; 64];

/// Writes the pixels of a block; `flat` says that only its mean is not zero. The last arguments are
/// where the pixels go, and from one line to the next.
pub(super) type Inverse = fn(&Block, bool, &mut [u8], usize);

/// Quantisation times the factors of the inverse transform, in zigzag order.
pub(super) fn factors(quantisation: &[u16; 64]) -> [f32; 64] {
    let factor = |k: usize| if k == 0 { FRAC_1_SQRT_2 / 2.0 } else { 0.5 };
    std::array::from_fn(|k| {
        let (row, column) = (ZIGZAG[k] / 8, ZIGZAG[k] % 8);
        f32::from(quantisation[k]) * factor(row) * factor(column)
    })
}

/// The inverse transform to `size` pixels across and down.
pub(super) fn inverse(size: (usize, usize)) -> Option<Inverse> {
    Some(match size {
        (2, 2) => pixels::<2, 2>,
        (2, 4) => pixels::<2, 4>,
        (4, 2) => pixels::<4, 2>,
        (4, 4) => pixels::<4, 4>,
        (4, 8) => pixels::<4, 8>,
        (8, 4) => pixels::<8, 4>,
        (8, 8) => pixels::<8, 8>,
        _ => return None,
    })
}

fn pixels<const W: usize, const H: usize>(
    block: &Block,
    flat: bool,
    room: &mut [u8],
    stride: usize,
) {
    let lines = room.chunks_mut(stride).take(H);
    if flat {
        let level = level(block[0]);
        for line in lines {
            line[..W].fill(level);
        }
        return;
    }
    // Down first: all columns at once; then across: all lines at once.
    let terms: [[f32; W]; H] = std::array::from_fn(|v| std::array::from_fn(|u| block[8 * v + u]));
    let columns = along(terms);
    let turned: [[f32; H]; W] = std::array::from_fn(|u| std::array::from_fn(|y| columns[y][u]));
    let across = along(turned);
    for (y, line) in lines.enumerate() {
        let line = &mut line[..W];
        for (x, pixel) in line.iter_mut().enumerate() {
            *pixel = level(across[x][y]);
        }
    }
}

/// Level of a pixel whose distance from the middle is given.
fn level(value: f32) -> u8 {
    // Added to 2²³, a number is rounded to whole ones, which are then its last bits.
    ((value + 128.0).clamp(0.0, 255.0) + 8_388_608.0).to_bits() as u8
}

/// The inverse transform of N terms along the first index, for all of the second at once.
#[inline(always)]
fn along<const N: usize, const L: usize>(terms: [[f32; L]; N]) -> [[f32; L]; N] {
    let mut out = [[0.0; L]; N];
    match N {
        2 => {
            for i in 0..L {
                let (even, odd) = (terms[0][i], FRAC_1_SQRT_2 * terms[1][i]);
                out[0][i] = even + odd;
                out[1][i] = even - odd;
            }
        }
        4 => {
            for i in 0..L {
                let four = four([terms[0][i], terms[1][i], terms[2][i], terms[3][i]]);
                for (out, four) in out.iter_mut().zip(four) {
                    out[i] = four;
                }
            }
        }
        8 => {
            for i in 0..L {
                let even = four([terms[0][i], terms[2][i], terms[4][i], terms[6][i]]);
                let t = [terms[1][i], terms[3][i], terms[5][i], terms[7][i]];
                let odd = [
                    C1 * t[0] + C3 * t[1] + C5 * t[2] + C7 * t[3],
                    C3 * t[0] - C7 * t[1] - C1 * t[2] - C5 * t[3],
                    C5 * t[0] - C1 * t[1] + C7 * t[2] + C3 * t[3],
                    C7 * t[0] - C5 * t[1] + C3 * t[2] - C1 * t[3],
                ];
                for x in 0..4 {
                    out[x][i] = even[x] + odd[x];
                    out[7 - x][i] = even[x] - odd[x];
                }
            }
        }
        _ => unreachable!("blocks become two, four or eight pixels"),
    }
    out
}

/// Cosines of multiples of π / 16.
const C1: f32 = 0.980_785_25;
const C2: f32 = 0.923_879_5;
const C3: f32 = 0.831_469_6;
const C5: f32 = 0.555_570_24;
const C6: f32 = 0.382_683_43;
const C7: f32 = 0.195_090_32;

#[inline(always)]
fn four(t: [f32; 4]) -> [f32; 4] {
    let middle = FRAC_1_SQRT_2 * t[2];
    let (even, odd) = (
        [t[0] + middle, t[0] - middle],
        [C2 * t[1] + C6 * t[3], C6 * t[1] - C2 * t[3]],
    );
    [
        even[0] + odd[0],
        even[1] + odd[1],
        even[1] - odd[1],
        even[0] - odd[0],
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn pixels_are_the_cosine_series_of_the_standard() {
        // T.81, A.3.3, with the terms beyond the kept ones left out.
        let terms: [f64; 64] = std::array::from_fn(|i| 40.0 * (i as f64 * 1.7).sin());
        let factors = factors(&[1; 64]);
        let mut block = [0.0; 64];
        for k in 0..64 {
            block[ZIGZAG[k]] = terms[ZIGZAG[k]] as f32 * factors[k];
        }
        for (w, h) in [(2, 2), (2, 4), (4, 2), (4, 4), (4, 8), (8, 4), (8, 8)] {
            let mut room = vec![0; 8 * 16];
            inverse((w, h)).unwrap()(&block, false, &mut room, 16);
            for y in 0..h {
                for x in 0..w {
                    let mut sum = 0.0;
                    for v in 0..h {
                        for u in 0..w {
                            let c = |k: usize| if k == 0 { 0.5f64.sqrt() } else { 1.0 };
                            let wave = |k: usize, x: usize, n: usize| {
                                ((2 * x + 1) as f64 * k as f64 * PI / (2 * n) as f64).cos()
                            };
                            sum += c(u) * c(v) / 4.0
                                * terms[8 * v + u]
                                * wave(u, x, w)
                                * wave(v, y, h);
                        }
                    }
                    let expected = (sum + 128.0).clamp(0.0, 255.0);
                    let got = f64::from(room[16 * y + x]);
                    assert!(
                        (got - expected).abs() < 0.51,
                        "{w} {h} {x} {y}: {got} {expected}"
                    );
                }
            }
        }
    }
}
