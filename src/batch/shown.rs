//! Paths as people and machines can be shown them, whatever bytes they hold.

use std::fmt::Write as _;
use std::path::Path;

/// The path on one line: line ends and other control characters as in a string of Rust or C, bytes
/// that are no UTF-8 as `�`.
pub(crate) fn shown(path: &Path) -> String {
    let mut out = String::new();
    for letter in path.to_string_lossy().chars() {
        if letter.is_control() {
            out.extend(letter.escape_default());
        } else {
            out.push(letter);
        }
    }
    out
}

/// The path's bytes percent-encoded (RFC 3986, 2.1) when it is no UTF-8, so that a machine can find
/// the file again; `None` for every other path.
#[cfg(unix)]
pub(crate) fn encoded(path: &Path) -> Option<String> {
    use std::os::unix::ffi::OsStrExt as _;
    if path.to_str().is_some() {
        return None;
    }
    let mut out = String::new();
    for &byte in path.as_os_str().as_bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // Writing to a string cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
    }
    Some(out)
}

/// No path needs it where names are not bytes.
#[cfg(not(unix))]
pub fn encoded(_path: &Path) -> Option<String> {
    None
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt as _;

    #[test]
    fn every_name_fits_on_a_line_and_can_be_found_again() {
        assert_eq!(shown(Path::new("a b\nc\t.jpg")), "a b\\nc\\t.jpg");
        let odd = Path::new(OsStr::from_bytes(b"in/\xff x.jpg"));
        assert_eq!(shown(odd), "in/\u{fffd} x.jpg");
        assert_eq!(encoded(odd).unwrap(), "in/%FF%20x.jpg");
        assert_eq!(encoded(Path::new("in/ö x.jpg")), None);
    }
}
