//! Readings and advice, or the direction without a card, as one HTML file that needs nothing else: what to do in one line on
//! top, pictures inside, readable on a phone, printable.

use super::flank_view::{FlankView, flank_view_svg};
use super::text::{cutting_words, degrees, headline};
use crate::frames::Side;
use crate::report::advice::{change_lines, expected_lines, first_line};
use crate::report::draw::theme::{INK, PREDICTED, QUIET, RULE};
use crate::schema::read::ReadAnswer;
use crate::schema::{Reading, Status};
use crate::units::Units;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// One photo's part of the page.
#[derive(Debug)]
pub(crate) struct PagePhoto<'a> {
    /// The reading.
    pub reading: &'a Reading,
    /// The photo with the reading drawn on it.
    pub overlay: &'a RgbImage,
    /// The flank with its patch; `None` when nothing was read.
    pub view: Option<&'a FlankView>,
}

/// Quality of the embedded JPEG pictures: lines stay clean, a page stays under a megabyte a photo.
const JPEG_QUALITY: u8 = 82;

/// The style: a page for a phone beside the axle, a screen and paper.
fn style() -> String {
    format!(
        "*{{box-sizing:border-box}}body{{margin:0 auto;max-width:74rem;padding:1rem;color:{INK};background:#fff;\
         font:1rem/1.45 system-ui,sans-serif}}h1{{font-size:1.5rem;line-height:1.25;margin:0 0 .6rem}}\
         h2{{font-size:1.15rem;margin:0 0 .3rem;overflow-wrap:anywhere}}\
         section{{border-top:2px solid {INK};padding:.9rem 0;break-inside:avoid}}\
         .pair{{display:grid;gap:1.2rem;grid-template-columns:repeat(auto-fit,minmax(min(100%,24rem),1fr));align-items:start}}\
         img,svg{{max-width:100%;height:auto;display:block}}p,ul,ol{{margin:.3rem 0}}ul,ol{{padding-left:1.3rem}}\
         dl{{display:grid;grid-template-columns:auto 1fr;gap:.15rem .8rem;margin:.3rem 0}}dt{{font-weight:bold}}dd{{margin:0}}\
         table{{border-collapse:collapse;font-variant-numeric:tabular-nums;width:100%}}\
         th,td{{text-align:right;padding:.15rem .4rem;border-bottom:1px solid {RULE}}}\
         th:first-child,td:first-child{{text-align:left}}\
         .signs{{display:none}}.mind{{border-left:4px solid {PREDICTED};padding-left:.8rem}}\
         .quiet{{color:{QUIET};font-size:.85rem;overflow-wrap:anywhere}}\
         @media(max-width:30rem){{body{{padding:.7rem}}h1{{font-size:1.25rem}}table{{font-size:.78rem}}\
         th,td{{padding:.15rem .2rem}}dl{{grid-template-columns:1fr}}dd{{margin-bottom:.3rem}}\
         svg text{{font-size:19px}}.legend{{display:none}}.signs{{display:block}}}}\
         @media print{{body{{max-width:none;padding:0}}}}"
    )
}

/// The page as HTML: what to do first, what to mind, both flanks, why, the photos.
pub(crate) fn reading_page(photos: &[PagePhoto], answer: &ReadAnswer, units: Units) -> String {
    let title = headline_of(answer);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style())) }
            }
            body {
                h1 { (title) }
                (what_to_do(answer, units))
                section {
                    div.pair { @for photo in photos { (flank_part(photo, answer)) } }
                    p.quiet {
                        "Places are in percent of the flank: length from the toe to the heel, height from the root to the tip. \
                         ± holds in nine of ten photos. Where a dotted box is drawn, the patch's centre may stand in it; the patch \
                         itself is larger."
                    }
                }
                (why(answer))
                @for photo in photos { (photo_part(photo)) }
            }
        }
    }
    .into_string()
}

/// The one line that a reader wants first.
fn headline_of(answer: &ReadAnswer) -> String {
    match (&answer.advice, &answer.direction, &answer.no_advice) {
        (Some(advice), ..) => first_line(advice).to_owned(),
        (None, Some(direction), _) => format!("Without a card: {}", direction.summary),
        (None, None, Some(why)) => format!("No advice: {why}"),
        (None, None, None) => {
            let any = answer
                .readings
                .iter()
                .any(|r| r.status != Status::Unreadable);
            if any {
                "The patch as it was read"
            } else {
                "Nothing could be read"
            }
            .to_owned()
        }
    }
}

/// The moves and packs, what to expect, what to mind.
fn what_to_do(answer: &ReadAnswer, units: Units) -> Markup {
    let (lines, cautions) = match (&answer.advice, &answer.direction) {
        (Some(advice), _) => (
            [change_lines(advice, units), expected_lines(advice, units)].concat(),
            advice.cautions.as_slice(),
        ),
        (None, Some(direction)) => (Vec::new(), direction.cautions.as_slice()),
        (None, None) => (Vec::new(), [].as_slice()),
    };
    html! {
        @if !lines.is_empty() {
            dl { @for (name, words) in &lines { dt { (name) } dd { (words) } } }
        }
        @if !cautions.is_empty() {
            div.mind {
                h2 { "Cautions" }
                ul { @for caution in cautions { li { (caution) } } }
            }
        }
    }
}

/// One flank at its true proportions under the words that the advice has for it.
fn flank_part(photo: &PagePhoto, answer: &ReadAnswer) -> Markup {
    let reading = photo.reading;
    let diagnosis = (answer.advice.as_ref().map(|advice| &advice.diagnosis)).or(answer
        .direction
        .as_ref()
        .map(|direction| &direction.diagnosis));
    let side = reading.flank.map(|flank| flank.side);
    let words = diagnosis
        .zip(side)
        .and_then(|(diagnosis, side)| match side {
            Side::Drive => diagnosis.drive.as_ref(),
            Side::Coast => diagnosis.coast.as_ref(),
        })
        .map(|found| found.words.as_str());
    let name = side.map_or("Flank", |side| match side {
        Side::Drive => "Drive flank",
        Side::Coast => "Coast flank",
    });
    let doubt = match reading.status {
        Status::Read => "",
        Status::Unsure => " (unsure)",
        Status::Unreadable => ": cannot be read",
    };
    html! {
        div {
            h2 { (name) @if let Some(words) = words { ": " (words) } (doubt) }
            @if let Some(view) = photo.view {
                (PreEscaped(flank_view_svg(view)))
                // The drawing's own letters are too small on a phone.
                p class="signs quiet" { "● patch now · + wanted · ⬚ the centre may stand here · ◇ expected" }
                (place_words(reading, view))
            }
            @for reason in &reading.reasons { p { (reason.message) } }
        }
    }
}

/// Where the centre stands and where it is wanted.
fn place_words(reading: &Reading, view: &FlankView) -> Markup {
    let percent = |share: f64| format!("{:.0}", 100.0 * share);
    html! {
        @if let (Some(mean), Some(unsure)) = (reading.mean, reading.uncertainty) {
            p {
                "The patch's centre stands at " b { (percent(mean.centre.length)) " %" } " ± " (percent(unsure.length))
                " of the length and " b { (percent(mean.centre.height)) " %" } " ± " (percent(unsure.height))
                " of the height"
                @if let Some((target, near)) = view.target {
                    "; it is wanted at " (percent(target.length)) " % and " (percent(target.height)) " %, and may be off by "
                    (percent(near.length)) " and " (percent(near.height))
                }
                "."
            }
        }
    }
}

/// The reasons, step by step.
fn why(answer: &ReadAnswer) -> Markup {
    let (steps, more) = match (&answer.advice, &answer.direction) {
        (Some(advice), _) => (advice.why.as_slice(), None),
        (None, Some(direction)) => (direction.why.as_slice(), Some(&direction.card_would_add)),
        (None, None) => ([].as_slice(), None),
    };
    html! {
        @if !steps.is_empty() {
            section {
                h2 { "Why" }
                ol { @for step in steps { li { (step) } } }
                @if let Some(more) = more { p { (more) } }
            }
        }
    }
}

fn photo_part(photo: &PagePhoto) -> Markup {
    let reading = photo.reading;
    html! {
        section {
            h2 { (headline(reading)) }
            div.pair {
                img src=(embedded(photo.overlay)) alt="The photo with the outlined flanks and their patches";
                div {
                    @if reading.status != Status::Unreadable { (numbers(reading)) }
                    @if let Some(seen) = reading.cutting { p { "Cut: " (cutting_words(seen)) "." } }
                }
            }
            p.quiet {
                "Each outline should lie on one whole flank, the same kind of flank on every tooth. "
                (reading.photo.name()) ", " (reading.photo.width) " × " (reading.photo.height)
                " pixels, SHA-256 " (reading.photo.sha256)
            }
        }
    }
}

/// The teeth one by one; six columns that a phone has room for.
pub(crate) fn numbers(reading: &Reading) -> Markup {
    let percent = |share: f64| format!("{:.0}", 100.0 * share);
    html! {
        table {
            thead { tr { th { "tooth" } th { "length, %" } th { "height, %" } th { "area, %" } th { "slant" } th { "confidence" } } }
            tbody {
                @for (number, tooth) in reading.teeth.iter().enumerate() {
                    tr {
                        td { (number + 1) }
                        @match tooth.patch {
                            Some(patch) => {
                                td { (percent(patch.centre.length)) }
                                td { (percent(patch.centre.height)) }
                                td { (percent(patch.area)) }
                                td { (degrees(patch.lean_deg)) }
                            }
                            None => { td colspan="4" { "no patch" } }
                        }
                        td { (format!("{:.2}", tooth.confidence)) }
                    }
                }
                @if let Some(mean) = reading.mean {
                    tr {
                        th { "mean" }
                        th { (percent(mean.centre.length)) }
                        th { (percent(mean.centre.height)) }
                        th {}
                        th { (degrees(mean.lean_deg)) }
                        th {}
                    }
                }
            }
        }
    }
}

/// A picture as a data URL.
fn embedded(picture: &RgbImage) -> String {
    let mut bytes = Vec::new();
    // Encoding into memory fails only for sizes a JPEG cannot have; an overlay is never that large.
    if JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY)
        .encode_image(picture)
        .is_err()
    {
        bytes.clear();
    }
    format!("data:image/jpeg;base64,{}", STANDARD.encode(&bytes))
}
