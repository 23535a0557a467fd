//! Drawings, texts and numbers held against those in `fixtures/held`, at which a person has looked: a line that moves, a
//! word that goes, a number that changes is noticed. They hold what was, not what is true: that is for other tests.
//! `WRITE_HELD=1 cargo test --release --lib golden` writes them anew; look at them then.

use std::path::Path;

/// Numbers may differ by so much: pixels, points, per cent or what is printed.
const SLACK: f64 = 0.6;

/// Holds a text or drawing against the one of that name.
pub(crate) fn hold(name: &str, made: &str) {
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
            alike(a, b),
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

fn alike(held: &str, made: &str) -> bool {
    let number = |token: &str| token.parse::<f64>().ok();
    match (number(held), number(made)) {
        (Some(a), Some(b)) => (a - b).abs() <= SLACK,
        _ => held == made,
    }
}

#[test]
fn what_is_held_is_told_apart() {
    assert!(tokens("<a x=\"1.5\" y=\"-20\"/>") == ["<a x=\"", "1.5", "\" y=\"-", "20", "\"/>"]);
    assert!(alike("1.5", "2.0") && !alike("1.5", "2.2") && !alike("-", ""));
}
