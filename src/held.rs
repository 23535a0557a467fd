//! Drawings, texts and numbers held against those in `fixtures/held`, at which a person has looked: a line that moves, a
//! word that goes, a number that changes is noticed. They hold what was, not what is true: that is for other tests.
//! `WRITE_HELD=1 cargo test --release --lib held -- --include-ignored` writes them anew; look at them then.

use std::path::Path;

/// By so much numbers of a drawing, in pixels or points, may differ, and what a photo or many draws show, in per cent or
/// hundredths of a millimetre: machines differ in last digits.
const DRAWN: f64 = 0.6;
/// The same of what is worked out, to two digits behind the point.
const WORKED_OUT: f64 = 0.011;

/// Holds a drawing, or numbers that a photo or many draws show, against those of that name.
pub(crate) fn hold(name: &str, made: &str) {
    hold_within(name, made, DRAWN);
}

/// Holds a text with what is worked out against the one of that name.
pub(crate) fn hold_worked_out(name: &str, made: &str) {
    hold_within(name, made, WORKED_OUT);
}

fn hold_within(name: &str, made: &str, slack: f64) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/held")
        .join(name);
    if std::env::var_os("WRITE_HELD").is_some() {
        // A tag a line, so that a change can be read.
        std::fs::write(&path, made.replace("><", ">\n<")).unwrap();
    }
    let held = std::fs::read_to_string(&path)
        .unwrap()
        .replace(">\n<", "><");
    let made = made.replace(">\n<", "><");
    let (held, made) = (tokens(&held), tokens(&made));
    for (at, (a, b)) in held.iter().zip(&made).enumerate() {
        let before = |tokens: &[&str]| tokens[at.saturating_sub(12)..at].concat();
        assert!(
            alike(a, b, slack),
            "{name}: {:?} became {:?}, after {:?}",
            a,
            b,
            before(&made)
        );
    }
    assert_eq!(held.len(), made.len(), "{name}: one ends before the other");
}

/// Numbers and what stands between them.
fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let number = |c: char| c.is_ascii_digit() || c == '.';
        let first = rest.starts_with(number);
        let end = rest.find(|c| number(c) != first).unwrap_or(rest.len());
        let (token, after) = rest.split_at(end);
        tokens.push(token);
        rest = after;
    }
    tokens
}

fn alike(held: &str, made: &str, slack: f64) -> bool {
    let number = |token: &str| token.parse::<f64>().ok();
    match (number(held), number(made)) {
        (Some(a), Some(b)) => (a - b).abs() <= slack,
        _ => held == made,
    }
}

#[test]
fn what_is_held_is_told_apart() {
    assert!(tokens("<a x=\"1.5\" y=\"-20\"/>") == ["<a x=\"", "1.5", "\" y=\"-", "20", "\"/>"]);
    assert!(alike("1.5", "2.0", DRAWN) && !alike("1.5", "2.2", DRAWN) && !alike("-", "", DRAWN));
}
