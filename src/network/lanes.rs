//! Several numbers worked on at once, by whichever instructions the processor has.

/// A row of numbers in one register. The methods are to be called only from functions compiled for
/// the instructions that the type stands for (`target_feature`), where they become one instruction
/// each.
pub(super) trait Lanes: Copy {
    /// Numbers in the row.
    const COUNT: usize;

    /// Registers of places that minimal filtering works on together. Fewer than there is room for: with all of
    /// them taken, the compiler keeps one sum in memory, and the inner loop takes twice the time.
    const FILTERED: usize;

    /// The same number in every place.
    ///
    /// # Safety
    /// The processor must have the instructions that the type stands for.
    unsafe fn splat(value: f32) -> Self;

    /// The numbers from an address on.
    ///
    /// # Safety
    /// As [`Self::splat`], and `COUNT` numbers must lie there.
    unsafe fn load(from: *const f32) -> Self;

    /// Writes the numbers from an address on.
    ///
    /// # Safety
    /// As [`Self::splat`], and there must be room for `COUNT` numbers.
    unsafe fn store(self, to: *mut f32);

    /// `self × factor + more`.
    ///
    /// # Safety
    /// As [`Self::splat`].
    unsafe fn mul_add(self, factor: Self, more: Self) -> Self;

    /// `self + other`.
    ///
    /// # Safety
    /// As [`Self::splat`].
    unsafe fn plus(self, other: Self) -> Self;

    /// `self − other`.
    ///
    /// # Safety
    /// As [`Self::splat`].
    unsafe fn minus(self, other: Self) -> Self;

    /// The larger one in each place.
    ///
    /// # Safety
    /// As [`Self::splat`].
    unsafe fn max(self, other: Self) -> Self;
}

/// Eight numbers for processors of which nothing is known; the compiler makes of it what it can.
#[derive(Clone, Copy)]
pub(super) struct Plain([f32; 8]);

// SAFETY of the whole implementation: nothing but ordinary arithmetic; addresses as promised by
// the caller.
impl Lanes for Plain {
    const COUNT: usize = 8;
    const FILTERED: usize = 1;

    #[inline(always)]
    unsafe fn splat(value: f32) -> Self {
        Self([value; 8])
    }

    #[inline(always)]
    unsafe fn load(from: *const f32) -> Self {
        // SAFETY: the caller promises eight numbers there; arrays of numbers may lie unaligned.
        Self(unsafe { from.cast::<[f32; 8]>().read_unaligned() })
    }

    #[inline(always)]
    unsafe fn store(self, to: *mut f32) {
        // SAFETY: the caller promises room for eight numbers there.
        unsafe { to.cast::<[f32; 8]>().write_unaligned(self.0) }
    }

    #[inline(always)]
    unsafe fn mul_add(self, factor: Self, more: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i] * factor.0[i] + more.0[i]))
    }

    #[inline(always)]
    unsafe fn plus(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }

    #[inline(always)]
    unsafe fn minus(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i] - other.0[i]))
    }

    #[inline(always)]
    unsafe fn max(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i].max(other.0[i])))
    }
}

#[cfg(target_arch = "x86_64")]
pub(super) use x86::{Eight, Sixteen};

#[cfg(target_arch = "x86_64")]
mod x86 {
    use super::Lanes;
    use std::arch::x86_64::*;

    /// Eight numbers with AVX2 and FMA.
    #[derive(Clone, Copy)]
    pub(in super::super) struct Eight(__m256);

    /// Sixteen numbers with AVX-512F.
    #[derive(Clone, Copy)]
    pub(in super::super) struct Sixteen(__m512);

    macro_rules! lanes {
        ($name:ident, $count:literal, $filtered:literal, $splat:ident, $load:ident, $store:ident, $mul_add:ident, $add:ident, $sub:ident, $max:ident) => {
            // SAFETY of every method: the caller promises the instructions, and the addresses of
            // `load` and `store`, which need no alignment.
            impl Lanes for $name {
                const COUNT: usize = $count;
                const FILTERED: usize = $filtered;

                #[inline(always)]
                unsafe fn splat(value: f32) -> Self {
                    Self(unsafe { $splat(value) })
                }

                #[inline(always)]
                unsafe fn load(from: *const f32) -> Self {
                    Self(unsafe { $load(from) })
                }

                #[inline(always)]
                unsafe fn store(self, to: *mut f32) {
                    unsafe { $store(to, self.0) }
                }

                #[inline(always)]
                unsafe fn mul_add(self, factor: Self, more: Self) -> Self {
                    Self(unsafe { $mul_add(self.0, factor.0, more.0) })
                }

                #[inline(always)]
                unsafe fn plus(self, other: Self) -> Self {
                    Self(unsafe { $add(self.0, other.0) })
                }

                #[inline(always)]
                unsafe fn minus(self, other: Self) -> Self {
                    Self(unsafe { $sub(self.0, other.0) })
                }

                #[inline(always)]
                unsafe fn max(self, other: Self) -> Self {
                    Self(unsafe { $max(self.0, other.0) })
                }
            }
        };
    }

    lanes!(
        Eight,
        8,
        2,
        _mm256_set1_ps,
        _mm256_loadu_ps,
        _mm256_storeu_ps,
        _mm256_fmadd_ps,
        _mm256_add_ps,
        _mm256_sub_ps,
        _mm256_max_ps
    );
    lanes!(
        Sixteen,
        16,
        3,
        _mm512_set1_ps,
        _mm512_loadu_ps,
        _mm512_storeu_ps,
        _mm512_fmadd_ps,
        _mm512_add_ps,
        _mm512_sub_ps,
        _mm512_max_ps
    );
}
