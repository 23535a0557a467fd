//! Which packs a kit of shims can stack, and with how few pieces.

/// Kits are counted in tenths of a micrometre, in which both 0.001 in (25.4 µm) and 0.0005 in
/// (12.7 µm) are whole numbers.
const PER_MM: f64 = 10_000.0;

/// Largest table of packs that is built; a kit of odd sizes is counted more coarsely beyond it.
const MOST_CELLS: u64 = 200_000;

/// Shims of which there are only so many.
#[derive(Debug, Clone)]
struct Limited {
    /// How many of each shim there are, in the order of the shims.
    counts: Vec<usize>,
    /// For each shim in order and each thickness in cells: how many of it are in the best pack of this and the shims
    /// before.
    used: Vec<Vec<u16>>,
}

/// All packs up to a greatest thickness that a kit can stack.
#[derive(Debug, Clone)]
pub(crate) struct Stacks {
    /// Tenths of a micrometre per cell.
    cell: u64,
    /// Shims of the kit in cells, thickest first.
    shims: Vec<u64>,
    /// Fewest pieces per thickness in cells, 0 for an empty pack; `u32::MAX` where none stacks.
    pieces: Vec<u32>,
    /// Where there is not any number of each shim.
    limited: Option<Limited>,
}

impl Stacks {
    /// The packs of a kit of which there are only `counts` of each shim, and the packs that are in the axle, each whole or
    /// not at all; up to `most_mm`.
    pub(crate) fn limited(
        kit_mm: &[f64],
        counts: &[u32],
        in_axle_mm: &[f64],
        most_mm: f64,
    ) -> Self {
        let mut stacks = Self::new(&[kit_mm, in_axle_mm].concat(), most_mm);
        let cells = |mm: &f64| ((mm * PER_MM).round() as u64 / stacks.cell).max(1);
        let there = kit_mm
            .iter()
            .zip(counts)
            .map(|(mm, n)| (cells(mm), *n as usize))
            .chain(in_axle_mm.iter().map(|mm| (cells(mm), 1)));
        let mut of = vec![0; stacks.shims.len()];
        for (size, n) in there {
            if let Some(k) = stacks.shims.iter().position(|shim| *shim == size) {
                of[k] += n;
            }
        }
        stacks.count(of);
        stacks
    }

    /// Works out the packs that can be made of so many of each shim.
    fn count(&mut self, counts: Vec<usize>) {
        let mut pieces = vec![u32::MAX; self.pieces.len()];
        pieces[0] = 0;
        let mut used = Vec::new();
        for (shim, &n) in self.shims.iter().zip(&counts) {
            let (shim, before) = (*shim as usize, pieces.clone());
            let mut here = vec![0_u16; before.len()];
            for i in 0..before.len() {
                for k in 1..=n.min(i / shim) {
                    let fewer = before[i - k * shim].saturating_add(k as u32);
                    if fewer < pieces[i] {
                        (pieces[i], here[i]) = (fewer, k as u16);
                    }
                }
            }
            used.push(here);
        }
        self.pieces = pieces;
        self.limited = Some(Limited { counts, used });
    }

    /// The packs that can still be made when these shims are taken out; all of them where there is any number of each.
    #[cfg(feature = "cli")]
    pub(crate) fn without(&self, taken_mm: &[f64]) -> Self {
        let mut left = self.clone();
        let Some(limited) = &self.limited else {
            return left;
        };
        let mut counts = limited.counts.clone();
        for mm in taken_mm {
            let size = (mm * PER_MM / self.cell as f64).round() as u64;
            if let Some(k) = self.shims.iter().position(|shim| *shim == size) {
                counts[k] = counts[k].saturating_sub(1);
            }
        }
        left.count(counts);
        left
    }

    /// The packs of a kit, of which there is any number of each shim or only `counts`, together with what is in the axle;
    /// `None` where the kit is not known.
    pub(crate) fn of_kit(
        kit_mm: &[f64],
        counts: &[u32],
        in_axle_mm: &[f64],
        most_mm: f64,
    ) -> Option<Self> {
        (!kit_mm.is_empty()).then(|| match counts {
            [] => Self::new(kit_mm, most_mm),
            counts => Self::limited(kit_mm, counts, in_axle_mm, most_mm),
        })
    }

    /// Whether the shims at hand are enough for all these packs together.
    pub(crate) fn enough_for(&self, packs_mm: &[f64]) -> bool {
        let Some(limited) = &self.limited else {
            return true;
        };
        let mut left = limited.counts.clone();
        packs_mm.iter().flat_map(|mm| self.stack_mm(*mm)).all(|mm| {
            let size = (mm * PER_MM / self.cell as f64).round() as u64;
            let there = self.shims.iter().position(|shim| *shim == size);
            there.is_some_and(|k| {
                let any = left[k] > 0;
                left[k] = left[k].saturating_sub(1);
                any
            })
        })
    }

    /// The packs of `kit_mm` up to `most_mm`. An empty kit stacks only the empty pack.
    pub(crate) fn new(kit_mm: &[f64], most_mm: f64) -> Self {
        let tenths: Vec<u64> = kit_mm
            .iter()
            .map(|mm| (mm * PER_MM).round() as u64)
            .collect();
        let most = (most_mm.max(0.0) * PER_MM).ceil() as u64;
        let step = tenths.iter().copied().fold(0, common_divisor).max(1);
        let cell = step.max(most / MOST_CELLS);
        let mut shims: Vec<u64> = tenths
            .iter()
            .map(|t| ((*t as f64 / cell as f64).round() as u64).max(1))
            .collect();
        shims.sort_unstable_by(|a, b| b.cmp(a));
        shims.dedup();
        let mut pieces = vec![u32::MAX; (most / cell) as usize + 1];
        pieces[0] = 0;
        for i in 1..pieces.len() {
            pieces[i] = shims
                .iter()
                .filter(|s| **s as usize <= i)
                .map(|s| pieces[i - *s as usize].saturating_add(1))
                .min()
                .unwrap_or(u32::MAX);
        }
        Self {
            cell,
            shims,
            pieces,
            limited: None,
        }
    }

    fn thickness_mm(&self, cells: usize) -> f64 {
        (cells as u64 * self.cell) as f64 / PER_MM
    }

    /// Every pack from `low_mm` to `high_mm` that is not empty, thinnest first.
    pub(crate) fn packs_mm(&self, low_mm: f64, high_mm: f64) -> Vec<f64> {
        (1..self.pieces.len())
            .filter(|&i| self.pieces[i] != u32::MAX)
            .map(|i| self.thickness_mm(i))
            .filter(|mm| *mm >= low_mm - 1e-9 && *mm <= high_mm + 1e-9)
            .collect()
    }

    /// The pack nearest to `mm`; `None` when the kit stacks nothing.
    pub(crate) fn nearest_mm(&self, mm: f64) -> Option<f64> {
        let wanted = mm * PER_MM / self.cell as f64;
        (1..self.pieces.len())
            .filter(|&i| self.pieces[i] != u32::MAX)
            .min_by(|a, b| {
                (*a as f64 - wanted)
                    .abs()
                    .total_cmp(&(*b as f64 - wanted).abs())
            })
            .map(|i| self.thickness_mm(i))
    }

    /// The fewest shims that make up `mm`, thickest first; empty when none do.
    pub(crate) fn stack_mm(&self, mm: f64) -> Vec<f64> {
        let mut left = (mm * PER_MM / self.cell as f64).round() as usize;
        let mut stack = Vec::new();
        if let Some(limited) = &self.limited {
            if self.pieces.get(left).is_none_or(|n| *n == u32::MAX) {
                return stack;
            }
            for (shim, used) in self.shims.iter().zip(&limited.used).rev() {
                let n = used[left];
                stack.extend((0..n).map(|_| self.thickness_mm(*shim as usize)));
                left -= usize::from(n) * *shim as usize;
            }
            stack.reverse();
            return stack;
        }
        while left > 0 && self.pieces.get(left).is_some_and(|n| *n != u32::MAX) {
            let Some(shim) = self.shims.iter().find(|s| {
                let shim = **s as usize;
                shim <= left && self.pieces[left - shim] == self.pieces[left] - 1
            }) else {
                return Vec::new();
            };
            stack.push(self.thickness_mm(*shim as usize));
            left -= *shim as usize;
        }
        if left == 0 { stack } else { Vec::new() }
    }
}

/// The finest step between packs of a kit, millimetres; `None` for an empty kit.
pub(crate) fn step_mm(kit_mm: &[f64]) -> Option<f64> {
    let step = kit_mm
        .iter()
        .map(|mm| (mm * PER_MM).round() as u64)
        .fold(0, common_divisor);
    (step > 0).then(|| step as f64 / PER_MM)
}

fn common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const THOU: f64 = 0.0254;

    #[test]
    fn the_usual_kit_stacks_every_thou_from_eight_up() {
        let kit = [3.0 * THOU, 5.0 * THOU, 10.0 * THOU, 30.0 * THOU];
        let stacks = Stacks::new(&kit, 2.0);
        let thou: Vec<f64> = stacks
            .packs_mm(0.0, 20.5 * THOU)
            .iter()
            .map(|mm| (mm / THOU).round())
            .collect();
        // 1, 2, 4 and 7 are the sums that 3 and 5 cannot make: counted by hand.
        let expected: Vec<f64> = (1..=20)
            .filter(|n| ![1, 2, 4, 7].contains(n))
            .map(f64::from)
            .collect();
        assert_eq!(thou, expected);
        let stack = stacks.stack_mm(35.0 * THOU);
        assert_eq!(stack.len(), 2);
        assert!((stack[0] - 30.0 * THOU).abs() < 1e-9 && (stack[1] - 5.0 * THOU).abs() < 1e-9);
        assert!((step_mm(&kit).unwrap() - THOU).abs() < 1e-9);
    }

    #[test]
    fn a_kit_of_few_shims_stacks_no_more_than_there_are() {
        let kit = [3.0 * THOU, 5.0 * THOU];
        let stacks = Stacks::limited(&kit, &[2, 1], &[30.0 * THOU], 2.0);
        let thou: Vec<f64> = stacks
            .packs_mm(0.0, 2.0)
            .iter()
            .map(|mm| (mm / THOU).round())
            .collect();
        // All sums of 3, 3, 5 and the 30 that is in: counted by hand.
        let expected = [3, 5, 6, 8, 11, 30, 33, 35, 36, 38, 41].map(f64::from);
        assert_eq!(thou, expected);
        let stack = stacks.stack_mm(38.0 * THOU);
        let sizes: Vec<f64> = stack.iter().map(|mm| (mm / THOU).round()).collect();
        assert_eq!(sizes, [30.0, 5.0, 3.0]);
        assert!(stacks.enough_for(&[38.0 * THOU, 3.0 * THOU]));
        assert!(!stacks.enough_for(&[38.0 * THOU, 5.0 * THOU]));
    }

    #[cfg(feature = "cli")]
    #[test]
    fn what_is_taken_out_is_gone() {
        let kit = [3.0 * THOU, 5.0 * THOU];
        let stacks = Stacks::limited(&kit, &[2, 1], &[30.0 * THOU], 2.0);
        let left = stacks.without(&stacks.stack_mm(38.0 * THOU));
        let thou: Vec<f64> = left
            .packs_mm(0.0, 2.0)
            .iter()
            .map(|mm| (mm / THOU).round())
            .collect();
        assert_eq!(thou, [3.0]);
        let any = Stacks::new(&kit, 0.5);
        assert_eq!(
            any.without(&[3.0 * THOU]).packs_mm(0.0, 0.5),
            any.packs_mm(0.0, 0.5)
        );
    }

    #[test]
    fn an_empty_kit_stacks_nothing() {
        let stacks = Stacks::new(&[], 2.0);
        assert_eq!(stacks.nearest_mm(1.0), None);
        assert!(stacks.packs_mm(0.0, 2.0).is_empty());
        assert_eq!(step_mm(&[]), None);
    }

    proptest! {
        #[test]
        fn every_pack_is_the_sum_of_its_stack(
            kit in prop::collection::vec(1_u32..120, 1..6),
            unit in prop::sample::select(vec![0.01, 0.0127, 0.0254]),
        ) {
            let kit: Vec<f64> = kit.iter().map(|n| f64::from(*n) * unit).collect();
            let stacks = Stacks::new(&kit, 3.0);
            for pack in stacks.packs_mm(0.0, 3.0).into_iter().step_by(7) {
                let stack = stacks.stack_mm(pack);
                prop_assert!((stack.iter().sum::<f64>() - pack).abs() < 1e-6);
                prop_assert!(stack.iter().all(|s| kit.iter().any(|k| (k - s).abs() < 1e-6)));
                prop_assert!(stack.windows(2).all(|w| w[0] >= w[1]));
            }
        }

        /// Pieces are counted by hand: of each size as many as the kit has, and the axle's own packs once each.
        #[test]
        fn no_shim_is_stacked_more_often_than_it_is_there(
            kit in prop::collection::vec((1_u32..60, 0_u32..4), 1..6),
            in_axle in prop::collection::vec(20_u32..90, 0..3),
            unit in prop::sample::select(vec![0.01, 0.0127, 0.0254]),
        ) {
            let sizes: Vec<f64> = kit.iter().map(|(n, _)| f64::from(*n) * unit).collect();
            let counts: Vec<u32> = kit.iter().map(|(_, count)| *count).collect();
            let old: Vec<f64> = in_axle.iter().map(|n| f64::from(*n) * unit).collect();
            let stacks = Stacks::limited(&sizes, &counts, &old, 3.0);
            let same = |a: f64, b: f64| (a - b).abs() < 1e-6;
            for pack in stacks.packs_mm(0.0, 3.0).into_iter().step_by(5) {
                let stack = stacks.stack_mm(pack);
                prop_assert!(same(stack.iter().sum(), pack));
                for piece in &stack {
                    let used = stack.iter().filter(|other| same(**other, *piece)).count();
                    let there = sizes.iter().zip(&counts).filter(|(size, _)| same(**size, *piece));
                    let there = there.map(|(_, count)| *count as usize).sum::<usize>()
                        + old.iter().filter(|size| same(**size, *piece)).count();
                    prop_assert!(used <= there, "{used} of {there}: {piece}");
                }
            }
        }
    }
}
