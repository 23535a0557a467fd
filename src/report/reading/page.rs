//! Readings and advice as one HTML file that needs nothing else: pictures inside, readable on a
//! phone, printable.

use super::flank_view::{FlankView, flank_view_svg};
use super::text::{degrees, headline};
use crate::report::draw::theme::{INK, QUIET};
use crate::schema::{Reading, Status};
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

/// The page as HTML; `advice` is the advice in plain lines.
pub(crate) fn reading_page(photos: &[PagePhoto], advice: Option<&str>) -> String {
    let style = format!(
        "*{{box-sizing:border-box}}body{{margin:0 auto;max-width:74rem;padding:1rem;color:{INK};\
         background:#fff;font:1rem/1.5 system-ui,sans-serif}}h1{{font-size:1.5rem}}\
         h2{{font-size:1.15rem;margin:0 0 .3rem;overflow-wrap:anywhere}}\
         section{{border-top:2px solid {INK};padding:1rem 0;break-inside:avoid}}\
         .pair{{display:grid;gap:1rem;grid-template-columns:repeat(auto-fit,minmax(min(100%,22rem),1fr));align-items:start}}\
         img,svg{{max-width:100%;height:auto;display:block}}\
         table{{border-collapse:collapse;font-variant-numeric:tabular-nums;width:100%}}\
         th,td{{text-align:right;padding:.15rem .5rem;border-bottom:1px solid #ccd3dd}}\
         th:first-child,td:first-child{{text-align:left}}\
         pre{{white-space:pre-wrap;font:inherit;border-left:4px solid {INK};padding-left:1rem;margin:0}}\
         .quiet{{color:{QUIET};font-size:.85rem;overflow-wrap:anywhere}}\
         .scroll{{overflow-x:auto}}@media print{{body{{max-width:none;padding:0}}}}"
    );
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Contact patches" }
                style { (PreEscaped(style)) }
            }
            body {
                h1 { "Contact patches" }
                @if let Some(advice) = advice {
                    section { h2 { "What to do next" } pre { (advice.trim_end()) } }
                }
                @for photo in photos { (photo_part(photo)) }
                p.quiet {
                    "Length counts from the toe (0) to the heel (100 %), height from the root (0) to the tip (100 %)."
                }
            }
        }
    }
    .into_string()
}

fn photo_part(photo: &PagePhoto) -> Markup {
    let reading = photo.reading;
    html! {
        section {
            h2 { (headline(reading)) }
            @for reason in &reading.reasons { p { (reason.message) } }
            div.pair {
                img src=(embedded(photo.overlay)) alt="The photo with the outlined flanks and their patches";
                div {
                    @if let Some(view) = photo.view { (PreEscaped(flank_view_svg(view))) }
                    @if reading.status != Status::Unreadable { (numbers(reading)) }
                }
            }
            p.quiet {
                (reading.photo.path) ", " (reading.photo.width) " × " (reading.photo.height)
                " pixels, SHA-256 " (reading.photo.sha256)
            }
        }
    }
}

pub(crate) fn numbers(reading: &Reading) -> Markup {
    let percent = |share: f64| format!("{:.1}", 100.0 * share);
    html! {
        div.scroll { table {
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
                @if let (Some(mean), Some(unsure)) = (reading.mean, reading.uncertainty) {
                    tr {
                        th { "mean" }
                        th { (percent(mean.centre.length)) " ± " (format!("{:.1}", 100.0 * unsure.length)) }
                        th { (percent(mean.centre.height)) " ± " (format!("{:.1}", 100.0 * unsure.height)) }
                        th {}
                        th { (degrees(mean.lean_deg)) }
                        th {}
                    }
                }
            }
        } }
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
