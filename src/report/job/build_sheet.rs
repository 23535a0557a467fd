//! The build sheet as one HTML page that needs no other file and prints on two sides.

use super::build_sheet_parts::{
    CAUTIONS, Fact, Mark, advice, closing, ends, head, mended, notes, pictures, state, trials,
};
use super::convergence::convergence_svg;
use crate::report::draw::theme::{INK, QUIET, WARNING};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};

pub(crate) use crate::report::job::build_sheet_parts::Sheet;

/// The page as HTML.
pub(crate) fn build_sheet(sheet: &Sheet) -> String {
    let plot_mm = plot_height_mm(sheet);
    let picture_mm = picture_height_mm(sheet);
    // Sizes in print are points: two sides of A4 or Letter, whichever is narrower and whichever is shorter.
    let style = format!(
        "@page{{margin:11mm 12mm}}*{{box-sizing:border-box}}body{{margin:0 auto;max-width:60rem;padding:1rem;color:{INK};\
         background:#fff;font:.95rem/1.4 system-ui,sans-serif}}h1{{font-size:1.5rem;margin:0}}h2{{font-size:1.05rem;\
         margin:.9rem 0 .3rem;border-bottom:2px solid {INK}}}dl{{display:grid;grid-template-columns:max-content 1fr;\
         gap:.1rem .8rem;margin:0}}dt{{color:{QUIET}}}dd{{margin:0;overflow-wrap:anywhere}}table{{border-collapse:collapse;\
         width:100%;font-variant-numeric:tabular-nums;font-size:.85rem}}th,td{{text-align:left;vertical-align:top;\
         padding:.15rem .35rem;border-bottom:1px solid #ccd3dd}}td{{white-space:nowrap}}.two{{display:grid;gap:0 1.6rem;\
         grid-template-columns:repeat(auto-fit,minmax(min(100%,20rem),1fr))}}svg{{width:100%;height:auto;display:block}}\
         .pictures{{display:grid;gap:.5rem;grid-template-columns:repeat(auto-fill,minmax(min(100%,14rem),1fr))}}\
         figure{{margin:0;break-inside:avoid}}img{{width:100%;aspect-ratio:4/3;object-fit:contain;background:#f3f5f8;display:block}}\
         figcaption,.quiet{{color:{QUIET};font-size:.8rem;overflow-wrap:anywhere}}ul{{margin:0;padding:0;list-style:none}}\
         li{{padding-left:1.4em;text-indent:-1.4em}}li::before{{content:'–';display:inline-block;width:1.4em;text-indent:0}}\
         li.done::before{{content:'☑'}}li.open::before{{content:'☐'}}.outside{{color:{WARNING};font-weight:600}}.scroll{{overflow-x:auto}}\
         .sign{{display:grid;grid-template-columns:1fr 1fr;gap:2rem;margin-top:1.6rem}}.sign div{{border-top:1px solid {INK};\
         padding-top:.2rem}}@media print{{body{{max-width:none;padding:0;font-size:8.3pt;line-height:1.28}}h1{{font-size:14pt}}\
         h2{{font-size:9.5pt;margin:6pt 0 2pt}}table{{font-size:6.9pt}}th,td{{padding:1pt 2pt}}\
         .head{{grid-template-columns:max-content 1fr max-content 1fr}}svg{{height:{plot_mm:.0}mm;margin:auto}}figcaption,.quiet{{font-size:7pt}}\
         img{{height:{picture_mm:.0}mm;aspect-ratio:auto}}.second{{break-before:page}}.pictures{{grid-template-columns:repeat(3,1fr);gap:4pt}}.two{{grid-template-columns:1fr 1fr}}\
         .sign{{margin-top:26pt}}}}"
    );
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Build sheet: " (sheet.record.head.name) }
                style { (PreEscaped(style)) }
            }
            body {
                (first_side(sheet))
                (second_side(sheet))
            }
        }
    }
    .into_string()
}

/// What is left of the first printed side for the plot: a Letter page less its margins and all that stands above,
/// at the sizes of the style below and with room for lines that wrap.
fn plot_height_mm(sheet: &Sheet) -> f64 {
    const SIDE_MM: f64 = 279.4 - 22.0;
    const LINE_MM: f64 = 3.8;
    let (found, last) = ends(sheet);
    let lines = |assembly: Option<&crate::schema::record::Assembly>| {
        assembly.map_or(1, |a| {
            let facts = state(sheet, a);
            facts
                .iter()
                .map(|fact| fact.value.chars().count().div_ceil(44))
                .sum()
        })
    };
    let put_right: usize = (mended(sheet).iter())
        .map(|line| line.chars().count().div_ceil(130))
        .sum();
    let above = 3.0
        + 0.5 * head(sheet).len() as f64
        + lines(found).max(lines(last)) as f64
        + put_right as f64;
    let rows = 3.0 + trials(sheet).0.len() as f64;
    // Four titles, the plot's caption, and a tenth for other letters than these were measured with.
    let left = SIDE_MM - 1.1 * (LINE_MM * above + 4.0 * rows + 4.0 * 7.5 + 5.0);
    left.clamp(45.0, 92.0)
}

/// What is left of the second printed side for each row of pictures.
fn picture_height_mm(sheet: &Sheet) -> f64 {
    const SIDE_MM: f64 = 279.4 - 22.0;
    const LINE_MM: f64 = 3.8;
    const CAPTION_MM: f64 = 5.5;
    let lines = |list: &[String], across: usize| -> usize {
        list.iter()
            .map(|line| line.chars().count().div_ceil(across))
            .sum()
    };
    let (advice, notes) = (advice(sheet), notes(sheet));
    let left = lines(&advice, 52).max(1) + lines(&notes, 52) + if notes.is_empty() { 0 } else { 2 };
    let ticks: Vec<String> = closing(sheet).into_iter().map(|(_, words)| words).collect();
    let below = left.max(lines(&ticks, 52)) + CAUTIONS.len() + 2;
    // Three titles and the lines to sign on. The lines are counted short, which leaves room for other letters.
    let rest = SIDE_MM - (LINE_MM * below as f64 + 3.0 * 7.5 + 18.0);
    let rows = pictures(sheet).0.len().div_ceil(3).max(1) as f64;
    (rest / rows - CAPTION_MM).clamp(12.0, 50.0)
}

fn first_side(sheet: &Sheet) -> Markup {
    let (found, last) = ends(sheet);
    let (rows, left_out, headings) = trials(sheet);
    html! {
        section {
            h1 { (sheet.record.head.name) }
            p.quiet style="margin:0 0 .4rem" { "Build sheet of a ring and pinion set-up" }
            dl.head { @for fact in head(sheet) { dt { (fact.name) } dd { (fact.value) } } }
            div.two {
                div {
                    h2 { "As found" }
                    @match found {
                        Some(found) => (facts(&state(sheet, found))),
                        None => p { "No record as found." },
                    }
                }
                div {
                    h2 { "Final state" }
                    @match last {
                        Some(last) => (facts(&state(sheet, last))),
                        None => p { "Not assembled yet." },
                    }
                }
            }
            h2 { "Trials" }
            div.scroll { table {
                thead { tr { @for heading in headings { th { (heading) } } } }
                tbody { @for row in &rows { tr { @for cell in row { td { (cell) } } } } }
            } }
            @if left_out > 0 { p.quiet { (left_out) " trials between the first and these are in the job's record, not on this sheet." } }
            @for line in mended(sheet) { p.quiet style="margin:.1rem 0" { (line) } }
            h2 { "How it came there" }
            (PreEscaped(convergence_svg(sheet.record, &sheet.shown)))
            p.quiet { "Numbers are trials; the square is the axle as found; the cross is the target, the dotted box where the centre may stand." }
        }
    }
}

fn second_side(sheet: &Sheet) -> Markup {
    let (shown, left_out) = pictures(sheet);
    let advice = advice(sheet);
    let notes = notes(sheet);
    html! {
        section.second {
            @if !shown.is_empty() {
                h2 { "Pictures" }
                div.pictures {
                    @for picture in &shown {
                        figure {
                            img src=(format!("data:image/jpeg;base64,{}", STANDARD.encode(picture.bytes))) alt=(picture.words);
                            figcaption { (picture.words) }
                        }
                    }
                }
                @if left_out > 0 { p.quiet { (left_out) " more pictures are in the job's record." } }
            }
            div.two {
                div {
                    h2 { "Advice" }
                    @if advice.is_empty() { p { "None was asked." } }
                    ul { @for line in &advice { li { (line) } } }
                    @if !notes.is_empty() {
                        h2 { "Notes" }
                        ul { @for line in &notes { li { (line) } } }
                    }
                }
                div {
                    h2 { "Closing list" }
                    ul { @for (mark, words) in closing(sheet) {
                        li class=(class_of(mark)) { (words) }
                    } }
                }
            }
            h2 { "Cautions" }
            ul { @for line in CAUTIONS { li { (line) } } }
            div.sign { div { "done by, date" } div { "checked by, date" } }
        }
    }
}

fn facts(facts: &[Fact]) -> Markup {
    html! {
        dl { @for fact in facts {
            dt { (fact.name) }
            dd class=[fact.outside.then_some("outside")] { (fact.value) }
        } }
    }
}

const fn class_of(mark: Mark) -> &'static str {
    match mark {
        Mark::Open => "open",
        Mark::Done => "done",
        Mark::Outside => "done outside",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::held;
    use crate::report::job::samples::{crowded, played};
    use crate::units::Shown;

    #[test]
    fn held_pages_of_a_job_that_fits_and_of_one_that_does_not() {
        for (name, (record, pictures)) in [("played", played()), ("crowded", crowded())] {
            let sheet = Sheet {
                record: &record,
                pictures: &pictures,
                shown: Shown::default(),
            };
            held::hold_worked_out(&format!("build-sheet-{name}.html"), &build_sheet(&sheet));
        }
    }
}
