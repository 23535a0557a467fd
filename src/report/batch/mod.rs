//! A batch as text, table, lines of JSON, picture sheet, and replies to send.

pub mod csv;
pub mod lines;
pub mod photo;
pub mod reply;
pub mod sheet;
pub mod text;
