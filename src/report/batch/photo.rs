//! One photo of a batch: a small picture for the sheet, and a page with the full reading. Both are
//! drawn as lines over a shrunk photo, which costs a fraction of painting them.

use crate::batch::run::Drawn;
use crate::photo::Photo;
use crate::reading::OutlinedReading;
use crate::report::draw::theme::{INK, QUIET};
use crate::report::reading::flank_view::{FlankView, flank_view_svg};
use crate::report::reading::overlay::{drawing, shrunk};
use crate::report::reading::page::numbers;
use crate::report::reading::text::headline;
use crate::schema::Status;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use maud::{DOCTYPE, PreEscaped, html};
use std::fmt::Write as _;

/// Longest sides of the two pictures, pixels, and their JPEG quality.
const THUMBNAIL: (u32, u8) = (360, 72);
const PAGE: (u32, u8) = (1100, 78);

/// The small picture and the page. Neither names the file: copies of a photo share them.
pub(crate) fn draw(photo: &Photo, read: &OutlinedReading) -> Drawn {
    let page_picture = shrunk(&photo.working, PAGE.0);
    let small = shrunk(&page_picture, THUMBNAIL.0);
    Drawn {
        thumbnail: over(photo, read, &small, THUMBNAIL.1, false),
        page: page(photo, read, &over(photo, read, &page_picture, PAGE.1, true)),
    }
}

/// The reading drawn over the picture, as one SVG.
fn over(
    photo: &Photo,
    read: &OutlinedReading,
    picture: &RgbImage,
    quality: u8,
    numbers: bool,
) -> String {
    let (width, height) = picture.dimensions();
    let mut bytes = Vec::new();
    // Writing JPEG to memory fails only for pictures of no size, and photos have one.
    let _ = JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(picture);
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}"><image width="{width}" height="{height}" href="data:image/jpeg;base64,"#
    );
    STANDARD.encode_string(&bytes, &mut svg);
    svg.push_str("\"/>");
    if read.reading.status != Status::Unreadable {
        let scale = f64::from(width) / f64::from(photo.width.max(1));
        let _ = write!(svg, "{}", drawing(read, (width, height), scale, numbers));
    }
    svg.push_str("</svg>");
    svg
}

fn page(photo: &Photo, read: &OutlinedReading, picture: &str) -> String {
    let reading = &read.reading;
    let readable = reading.status != Status::Unreadable;
    let style = format!(
        "*{{box-sizing:border-box}}body{{margin:0 auto;max-width:74rem;padding:1rem;color:{INK};\
         background:#fff;font:1rem/1.5 system-ui,sans-serif}}h1{{font-size:1.4rem}}\
         svg{{max-width:100%;height:auto;display:block}}table{{border-collapse:collapse;\
         font-variant-numeric:tabular-nums}}th,td{{text-align:right;padding:.15rem .6rem;\
         border-bottom:1px solid #ccd3dd}}th:first-child,td:first-child{{text-align:left}}\
         .scroll{{overflow-x:auto}}.quiet{{color:{QUIET};font-size:.85rem;overflow-wrap:anywhere}}"
    );
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Contact patch" }
                style { (PreEscaped(style)) }
            }
            body {
                h1 { (headline(reading)) }
                @for reason in &reading.reasons { p { (reason.message) } }
                (PreEscaped(picture))
                @if readable {
                    (PreEscaped(flank_view_svg(&FlankView::of(read))))
                    div.scroll { (numbers(reading)) }
                }
                p.quiet {
                    "Length counts from the toe (0) to the heel (100 %), height from the root (0) to the tip (100 %). "
                    "Look at the outlines before you believe the numbers. "
                    (photo.width) " × " (photo.height) " pixels, SHA-256 " (photo.sha256)
                }
            }
        }
    }
    .into_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{FlankContext, unreadable};
    use crate::schema::{Reason, ReasonCode};

    #[test]
    fn an_unreadable_photo_has_a_picture_without_lines_and_its_reason() {
        let photo = Photo::from_pixels("secret name.jpg", RgbImage::new(720, 360));
        let why = vec![Reason::new(ReasonCode::NoGear, "Show <teeth>.")];
        let drawn = draw(&photo, &unreadable(&photo, FlankContext::default(), why));
        assert!(drawn.thumbnail.contains(r#"width="360" height="180""#));
        assert!(drawn.thumbnail.contains("data:image/jpeg;base64,/9j/"));
        assert!(!drawn.thumbnail.contains("<path"));
        assert!(drawn.page.contains("Show &lt;teeth&gt;."));
        assert!(!drawn.page.contains("secret name"));
    }
}
