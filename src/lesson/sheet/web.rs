//! The sheets as one web page: whole pages where there is room and in print, one column on a phone.

use crate::report::draw::page::{Item, Page};
use std::fmt::Write as _;

/// The pages as one HTML file that needs nothing else.
pub(crate) fn html(title: &str, pages: &[Page]) -> String {
    let mut body = String::new();
    for (number, page) in pages.iter().enumerate() {
        let svg = page.svg(true);
        // The column of a phone shows parts of the same drawing, so that no picture is in the file twice.
        let svg = svg.replacen("<svg ", &format!("<svg id=\"page{number}\" "), 1);
        let _ = write!(
            body,
            "<section><div class=\"whole\">{svg}</div><div class=\"column\">{}</div></section>",
            column(page, number)
        );
    }
    format!(
        "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{title}</title><style>{CSS}</style></head><body>{body}</body></html>"
    )
}

const CSS: &str = "body{margin:0 auto;max-width:60rem;background:#e9edf2;color:#14213d;font:1rem/1.45 \"DejaVu Sans\",system-ui,sans-serif}\
    section{margin:.6rem;background:#fff}.whole svg{display:block;width:100%;height:auto}.column{display:none}\
    .column svg{display:block;width:100%;height:auto;margin:.3rem 0}.column h2{font-size:1.3rem;margin:.2rem 0 .6rem;line-height:1.2}\
    .column h3{font-size:1.05rem;margin:.9rem 0 .2rem}.column p{margin:.3rem 0}\
    @media screen and (max-width:40rem){.whole{position:absolute;width:0;height:0;overflow:hidden}.column{display:block;padding:.6rem}}\
    @page{size:A4;margin:0}@media print{body{max-width:none;background:#fff}section{margin:0;break-after:page}}";

/// What follows below each other in a column.
enum Part {
    /// Lines of one paragraph: left end, last baseline, size, whether bold, the words.
    Words([f64; 2], f64, bool, String),
    /// A part of the page as it is drawn: left, top, right, bottom.
    Drawn([f64; 4]),
}

fn column(page: &Page, number: usize) -> String {
    let mut parts: Vec<Part> = Vec::new();
    for item in &page.items {
        match item {
            Item::Text {
                at,
                size,
                bold,
                words,
                ..
            } => match parts.last_mut() {
                // Words within a drawing belong to it.
                Some(Part::Drawn(frame)) if *size < 7.0 && near(*frame, *at) => {
                    *frame = around(
                        *frame,
                        [
                            at[0],
                            at[1] - size,
                            at[0] + 0.62 * size * words.chars().count() as f64,
                            at[1] + 0.3 * size,
                        ],
                    );
                }
                Some(Part::Words(last, old, was_bold, text))
                    if !bold
                        && !*was_bold
                        && old == size
                        && last[0] == at[0]
                        && (at[1] - last[1] - 1.25 * size).abs() < 0.01 =>
                {
                    last[1] = at[1];
                    text.push(' ');
                    text.push_str(words);
                }
                // The ends of a flank that is drawn next.
                _ if matches!(words.as_str(), "toe" | "heel") && *size < 7.0 => {
                    let frame = [at[0], at[1] - size, at[0] + 2.4 * size, at[1]];
                    match parts.last_mut() {
                        Some(Part::Drawn(old)) if (old[3] - frame[3]).abs() < 0.1 => {
                            *old = around(*old, frame)
                        }
                        _ => parts.push(Part::Drawn(frame)),
                    }
                }
                _ => parts.push(Part::Words(*at, *size, *bold, words.clone())),
            },
            Item::Picture {
                frame: [x, y, w, h],
                ..
            } => {
                let frame = [*x, *y, x + w, y + h];
                match parts.last_mut() {
                    // The ends named above a flank.
                    Some(Part::Drawn(old)) if old[3] - old[1] < 8.0 => *old = around(*old, frame),
                    _ => parts.push(Part::Drawn(frame)),
                }
            }
            Item::Line { points, .. }
                if points.len() == 2
                    && points[1][0] - points[0][0] > 0.8 * (page.size[0] - 80.0) => {}
            Item::Line { points, thick, .. } => {
                let first = points.first().copied().unwrap_or_default();
                let all = points
                    .iter()
                    .fold([first[0], first[1], first[0], first[1]], |f, p| {
                        around(f, [p[0], p[1], p[0], p[1]])
                    });
                let frame = [
                    all[0] - thick,
                    all[1] - thick,
                    all[2] + thick,
                    all[3] + thick,
                ];
                match parts.last_mut() {
                    Some(Part::Drawn(old))
                        if frame[1] < old[3] + 12.0 && frame[3] > old[1] - 12.0 =>
                    {
                        *old = around(*old, frame)
                    }
                    _ => parts.push(Part::Drawn(frame)),
                }
            }
            Item::Ground { .. } | Item::Drawing { .. } => {}
        }
    }
    parts.iter().map(|part| written(part, number)).collect()
}

/// Whether words stand within or right above or below a drawing.
fn near(frame: [f64; 4], at: [f64; 2]) -> bool {
    at[1] > frame[1] - 12.0
        && at[1] < frame[3] + 12.0
        && at[0] > frame[0] - 40.0
        && at[0] < frame[2] + 4.0
}

fn around(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [
        a[0].min(b[0]),
        a[1].min(b[1]),
        a[2].max(b[2]),
        a[3].max(b[3]),
    ]
}

fn written(part: &Part, number: usize) -> String {
    match part {
        Part::Words(_, size, bold, words) => {
            let words = words.replace('&', "&amp;").replace('<', "&lt;");
            let tag = if *size > 14.0 {
                "h2"
            } else if *bold {
                "h3"
            } else {
                "p"
            };
            format!("<{tag}>{words}</{tag}>")
        }
        Part::Drawn([left, top, right, bottom]) => format!(
            "<svg viewBox=\"{left:.1} {top:.1} {:.1} {:.1}\" role=\"img\" aria-hidden=\"true\"><use href=\"#page{number}\"/></svg>",
            right - left,
            bottom - top
        ),
    }
}
