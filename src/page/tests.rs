//! What others may try at the page, each held by a test; the server runs in this process on a port of its own.

mod attacks;
pub(crate) mod lent;
mod recorded;
mod written;
