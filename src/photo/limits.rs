//! What will be opened at most.

/// What will be opened at most.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    /// Largest file, bytes.
    pub bytes: u64,
    /// Most pixels, width × height.
    pub pixels: u64,
    /// Longest side, pixels.
    pub side: u32,
}

impl Default for Limits {
    /// 64 MB and 110 megapixels: above every phone's usual setting, below what exhausts memory.
    fn default() -> Self {
        Self {
            bytes: 64_000_000,
            pixels: 110_000_000,
            // The longest that JPEG can have (ITU-T T.81, B.2.2).
            side: 65_535,
        }
    }
}
