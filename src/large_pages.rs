//! Memory in large pages for what is large.
//!
//! A reading fills some hundred megabytes once: pixels, weights, the network's planes. Handed out in
//! pages of four kibibytes they cost a quarter of a reading's time more; the program grows by 20 MB.

use std::alloc::{GlobalAlloc, Layout, System};

/// The system's memory, in pages of [`PAGE`] for all that is at least half as large. Programs make it
/// their global allocator. Only Linux is asked for large pages; where it grants none, as elsewhere,
/// nothing changes but where such memory begins.
#[derive(Debug)]
pub struct LargePages;

/// The large page of x86-64, and of 64-bit ARM with usual small ones, bytes.
const PAGE: usize = 2 << 20;

/// Whole large pages for what a layout asks for, if it is large enough.
fn whole_pages(layout: Layout) -> Option<Layout> {
    let size = layout.size();
    if cfg!(not(target_os = "linux")) || size < PAGE / 2 {
        return None;
    }
    let size = size.checked_next_multiple_of(PAGE)?;
    Layout::from_size_align(size, layout.align().max(PAGE)).ok()
}

// SAFETY: all memory is that of `System`, whose `dealloc` needs no more than the layout that the memory
// was had with, and `whole_pages` gives the same one for the same request each time.
unsafe impl GlobalAlloc for LargePages {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let Some(whole) = whole_pages(layout) else {
            // SAFETY: as the caller promises.
            return unsafe { System.alloc(layout) };
        };
        // SAFETY: larger than what the caller asks for, which is more than nothing.
        let at = unsafe { System.alloc(whole) };
        if !at.is_null() {
            ask_for_large(at, whole.size());
        }
        at
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        if whole_pages(layout).is_none() {
            // SAFETY: as the caller promises.
            return unsafe { System.alloc_zeroed(layout) };
        }
        // SAFETY: as the caller promises.
        let at = unsafe { self.alloc(layout) };
        if !at.is_null() {
            // SAFETY: at least so much was handed out there.
            unsafe { at.write_bytes(0, layout.size()) };
        }
        at
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        // SAFETY: the layout is the one that `alloc` used.
        unsafe { System.dealloc(at, whole_pages(layout).unwrap_or(layout)) };
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, new_size: usize) -> *mut u8 {
        // SAFETY: the caller promises that the new size makes a layout.
        let new = unsafe { Layout::from_size_align_unchecked(new_size, layout.align()) };
        match (whole_pages(layout), whole_pages(new)) {
            // SAFETY: as the caller promises.
            (None, None) => unsafe { System.realloc(at, layout, new_size) },
            (Some(before), Some(after)) if before == after => at,
            _ => {
                // SAFETY: both blocks hold the smaller of the two sizes, and are different ones.
                unsafe {
                    let to = self.alloc(new);
                    if !to.is_null() {
                        to.copy_from_nonoverlapping(at, layout.size().min(new_size));
                        self.dealloc(at, layout);
                    }
                    to
                }
            }
        }
    }
}

#[cfg(target_os = "linux")]
fn ask_for_large(at: *mut u8, size: usize) {
    use std::ffi::{c_int, c_void};
    /// The same number on all Linux systems (uapi/asm-generic/mman-common.h).
    const MADV_HUGEPAGE: c_int = 14;
    unsafe extern "C" {
        fn madvise(at: *mut c_void, length: usize, advice: c_int) -> c_int;
    }
    // SAFETY: whole pages that were handed out just now; the advice changes nothing that can be read
    // there. A refusal is no harm.
    unsafe { madvise(at.cast(), size, MADV_HUGEPAGE) };
}

#[cfg(not(target_os = "linux"))]
fn ask_for_large(_at: *mut u8, _size: usize) {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_keeps_what_is_in_it_while_it_grows_and_shrinks() {
        let sizes = [
            100,
            PAGE / 2 - 1,
            PAGE / 2,
            PAGE + 1,
            3 * PAGE,
            2 * PAGE + 5,
            7,
        ];
        let layout = |size| Layout::from_size_align(size, 8).unwrap();
        // SAFETY: layouts of some size; only what was handed out is read and written.
        unsafe {
            let mut at = LargePages.alloc_zeroed(layout(sizes[0]));
            for pair in sizes.windows(2) {
                let held = std::slice::from_raw_parts_mut(at, pair[0]);
                for (i, byte) in held.iter_mut().enumerate() {
                    *byte = (i % 251) as u8;
                }
                at = LargePages.realloc(at, layout(pair[0]), pair[1]);
                let kept = std::slice::from_raw_parts(at, pair[0].min(pair[1]));
                assert!(kept.iter().enumerate().all(|(i, &b)| b == (i % 251) as u8));
            }
            LargePages.dealloc(at, layout(sizes[sizes.len() - 1]));
        }
    }

    #[test]
    fn zeroed_memory_is_zero_where_other_memory_was_before() {
        let layout = Layout::from_size_align(PAGE + 100, 64).unwrap();
        // SAFETY: as above.
        unsafe {
            let at = LargePages.alloc(layout);
            at.write_bytes(0xff, layout.size());
            LargePages.dealloc(at, layout);
            let at = LargePages.alloc_zeroed(layout);
            assert_eq!(at as usize % 64, 0);
            let held = std::slice::from_raw_parts(at, layout.size());
            assert!(held.iter().all(|&byte| byte == 0));
            LargePages.dealloc(at, layout);
        }
    }
}
