//! What may be printed: names come from files and archives of others, and a terminal obeys some signs in them.

/// The sign shown in the place of one that would act.
const SHOWN_FOR: char = '\u{fffd}';

/// Signs that turn the direction of writing, so that a name reads otherwise than it is (Unicode Standard Annex 9, 2.1
/// to 2.6).
const fn turns_direction(sign: char) -> bool {
    matches!(
        sign,
        '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
    )
}

/// Whether a terminal obeys a sign instead of showing it.
fn acts(sign: char) -> bool {
    (sign.is_control() && !matches!(sign, '\n' | '\t')) || turns_direction(sign)
}

/// A text for people, in which no sign acts.
pub(super) fn harmless(text: &str) -> String {
    let shown = |sign| match sign {
        // The pictures of control signs (Unicode block 2400).
        '\0'..='\x1f' if acts(sign) => char::from_u32(0x2400 + sign as u32).unwrap_or(SHOWN_FOR),
        '\x7f' => '\u{2421}',
        _ if acts(sign) => SHOWN_FOR,
        _ => sign,
    };
    text.chars().map(shown).collect()
}

/// A JSON text of the same meaning, in which no sign acts.
pub(super) fn harmless_json(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        // All of them are in the first plane, so that four digits hold them (RFC 8259, 7).
        if acts(sign) {
            out += &format!("\\u{:04x}", sign as u32);
        } else {
            out.push(sign);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sign_of_a_name_acts_on_a_terminal() {
        assert_eq!(harmless("a\x1b]0;title\x07b"), "a␛]0;title␇b");
        assert_eq!(harmless("drive\u{202e}gpj.exe"), "drive\u{fffd}gpj.exe");
        assert_eq!(harmless("\u{9b}2J\x7f\r"), "\u{fffd}2J␡␍");
        let usual = "Hinterachse · 0.762 mm\n\tδ ±5 %  日本 עברית\n";
        assert_eq!(harmless(usual), usual);
    }

    #[test]
    fn json_means_the_same_afterwards() {
        let name = "drive\u{202e}gpj\u{9b}\x7f\x1b.exe";
        let text = serde_json::to_string_pretty(&[name]).unwrap();
        let shown = harmless_json(&text);
        assert!(!shown.chars().any(acts), "{shown}");
        let back: Vec<String> = serde_json::from_str(&shown).unwrap();
        assert_eq!(back, [name]);
    }
}
