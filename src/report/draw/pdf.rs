//! Pages → PDF: text and lines by way of the same SVG as the pictures, photos as the JPEG they are.

use crate::report::PictureError;
use crate::report::draw::page::{Item, Page};
use crate::report::draw::raster;
use image::{ColorType, ImageDecoder as _};
use pdf_writer::{Chunk, Content, Filter, Finish as _, Name, Pdf, Rect, Ref, TextStr};
use std::collections::HashMap;
use std::io::Cursor;
use svg2pdf::ConversionOptions;

/// Pages as one PDF with a title.
///
/// # Errors
/// A drawing is faulty, or a picture is no JPEG.
pub(crate) fn pdf(title: &str, pages: &[Page]) -> Result<Vec<u8>, PictureError> {
    let mut free = Ref::new(1);
    let (catalog, tree, info) = (free.bump(), free.bump(), free.bump());
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree).lang(TextStr("en"));
    pdf.document_info(info).title(TextStr(title));
    let kids: Vec<Ref> = pages.iter().map(|_| free.bump()).collect();
    pdf.pages(tree)
        .kids(kids.iter().copied())
        .count(i32::try_from(kids.len()).map_err(PictureError::new)?);
    for (page, kid) in pages.iter().zip(kids) {
        let [width, height] = page.size.map(|side| side as f32);
        let mut content = Content::new();
        let mut named = Vec::new();
        let mut put = |object: Ref, matrix: [f32; 6]| {
            let name = format!("X{}", named.len());
            content.save_state();
            content.transform(matrix);
            content.x_object(Name(name.as_bytes()));
            content.restore_state();
            named.push((name, object));
        };
        let drawn = drawing(&mut pdf, &mut free, &page.svg(false))?;
        put(drawn, [width, 0.0, 0.0, height, 0.0, 0.0]);
        for item in &page.items {
            if let Item::Picture { frame, picture, .. } = item {
                let [x, y, w, h] = frame.map(|v| v as f32);
                let object = free.bump();
                jpeg_object(&mut pdf, object, &picture.jpeg())?;
                // A PDF counts upward from the foot of the page.
                put(object, [w, 0.0, 0.0, h, x, height - y - h]);
            }
        }
        let written = free.bump();
        pdf.stream(written, &content.finish());
        let mut sheet = pdf.page(kid);
        sheet
            .parent(tree)
            .media_box(Rect::new(0.0, 0.0, width, height))
            .contents(written);
        let mut resources = sheet.resources();
        let mut objects = resources.x_objects();
        for (name, object) in &named {
            objects.pair(Name(name.as_bytes()), *object);
        }
        objects.finish();
        resources.finish();
        sheet.finish();
    }
    Ok(pdf.finish())
}

/// Adds an SVG as an object one unit wide and high.
fn drawing(pdf: &mut Chunk, free: &mut Ref, svg: &str) -> Result<Ref, PictureError> {
    let (chunk, root) = svg2pdf::to_chunk(&raster::tree(svg)?, ConversionOptions::default())
        .map_err(PictureError::new)?;
    let mut numbers = HashMap::new();
    let chunk = chunk.renumber(|old| *numbers.entry(old).or_insert_with(|| free.bump()));
    pdf.extend(&chunk);
    numbers
        .get(&root)
        .copied()
        .ok_or_else(|| PictureError::new("the drawing is empty"))
}

/// Adds a JPEG as it is.
fn jpeg_object(pdf: &mut Chunk, object: Ref, bytes: &[u8]) -> Result<(), PictureError> {
    let head =
        image::codecs::jpeg::JpegDecoder::new(Cursor::new(bytes)).map_err(PictureError::new)?;
    let (width, height) = head.dimensions();
    let mut picture = pdf.image_xobject(object, bytes);
    picture.filter(Filter::DctDecode);
    picture
        .width(i32::try_from(width).map_err(PictureError::new)?)
        .height(i32::try_from(height).map_err(PictureError::new)?)
        .bits_per_component(8)
        .interpolate(true);
    if head.color_type() == ColorType::L8 {
        picture.color_space().device_gray();
    } else {
        picture.color_space().device_rgb();
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::draw::page::Picture;
    use crate::report::draw::theme::INK;
    use image::RgbImage;

    /// A page that has objects and does not draw them is white paper: the operator is `Do` (ISO 32000-1, 8.8).
    #[test]
    fn letters_and_photos_are_drawn_on_every_page() {
        let mut jpeg = Vec::new();
        image::codecs::jpeg::JpegEncoder::new(&mut jpeg)
            .encode_image(&RgbImage::new(40, 30))
            .unwrap();
        let mut page = Page::new([200.0, 300.0]);
        page.items.push(Item::Text {
            at: [10.0, 20.0],
            size: 10.0,
            bold: false,
            colour: INK,
            words: "Rear axle".into(),
        });
        page.items.push(Item::Picture {
            frame: [10.0, 50.0, 40.0, 30.0],
            picture: Picture::Jpeg(jpeg.clone()),
            shows: "drive".into(),
        });
        let bytes = pdf("Rear axle", &[page]).unwrap();
        let count = |part: &[u8]| bytes.windows(part.len()).filter(|w| *w == part).count();
        assert_eq!((count(b"/X0 Do"), count(b"/X1 Do")), (1, 1));
        // The photo as it is, and upright in its frame, counted from the foot of the page.
        assert_eq!(count(&jpeg), 1);
        assert_eq!(count(b"40 0 0 30 10 220 cm"), 1);
    }
}
