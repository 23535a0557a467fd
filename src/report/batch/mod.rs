//! A batch as text, table, lines of JSON, picture sheet, and replies to send.

pub(crate) mod csv;
pub(crate) mod letter;
pub(crate) mod lines;
pub(crate) mod photo;
pub(crate) mod reply;
pub(crate) mod sheet;
pub(crate) mod text;

#[cfg(test)]
mod tests;
