//! The scene as PNG, drawn larger than asked and averaged down: the drawing library smooths only some of its edges.

use std::cell::Cell;
use std::io::Write;

use plotters::backend::{BitMapBackend, DrawingBackend};
use plotters::style::{Color, RGBColor};

use super::FigureError;
use super::scene::{Anchor, Colour, INK, Place, Scene, Shape, Text, at};
use super::typeface::{MM_PER_POINT, Typeface};

const MM_PER_INCH: f64 = 25.4;
/// Each channel of a dot that nothing was drawn on.
const PAPER: u8 = 0xFF;
/// Bytes of a stretch of compressed rows: nearly every figure is one.
const CHUNK: usize = 1 << 20;
/// Most dots of a picture, those of its enlargement counted: three bytes each.
pub(super) const MOST_DOTS: u64 = 100_000_000;

pub(super) fn write(scene: &Scene, dots_per_inch: u32, typeface: &Typeface) -> Result<Vec<u8>, FigureError> {
    let pixels = |millimetres: f64| (millimetres / MM_PER_INCH * f64::from(dots_per_inch)).round() as u32;
    let (width, height) = (pixels(scene.width).max(1), pixels(scene.height).max(1));
    let dots = u64::from(width) * u64::from(height);
    if dots > MOST_DOTS {
        return Err(FigureError::TooManyDots { width, height });
    }
    // Fine resolutions need no smoothing, and this bounds the memory.
    let oversampling: u32 = if dots_per_inch <= 600 && 4 * dots <= MOST_DOTS { 2 } else { 1 };
    let canvas = Canvas {
        width: width * oversampling,
        height: height * oversampling,
        per_mm: f64::from(dots_per_inch * oversampling) / MM_PER_INCH,
    };
    let mut buffer = BUFFER.take();
    canvas.draw(&mut buffer, scene, typeface)?;
    let file = encode(&buffer, width, height, dots_per_inch, oversampling).map_err(failed);
    BUFFER.set(buffer);
    file
}

thread_local! {
    /// The dots of a canvas, tens of megabytes: kept for the next figure, as clearing new memory costs as much as drawing.
    static BUFFER: Cell<Vec<u8>> = const { Cell::new(Vec::new()) };
}

struct Canvas {
    width: u32,
    height: u32,
    per_mm: f64,
}

impl Canvas {
    fn draw(&self, buffer: &mut Vec<u8>, scene: &Scene, typeface: &Typeface) -> Result<(), FigureError> {
        buffer.clear();
        buffer.resize(3 * self.width as usize * self.height as usize, PAPER);
        let mut backend = BitMapBackend::with_buffer(buffer, (self.width, self.height));
        for shape in &scene.shapes {
            self.shape(&mut backend, shape)?;
        }
        for text in &scene.texts {
            self.text(&mut backend, text, typeface)?;
        }
        Ok(())
    }

    fn pixel(&self, place: &Place) -> (i32, i32) {
        ((place.x * self.per_mm).round() as i32, (place.y * self.per_mm).round() as i32)
    }

    fn shape<B: DrawingBackend>(&self, backend: &mut B, shape: &Shape) -> Result<(), FigureError> {
        match shape {
            Shape::Area { places, colour } => self.area(backend, places, *colour),
            Shape::Disc { centre, radius, colour } => self.disc(backend, *centre, *radius, *colour),
            Shape::Line { places, width, colour } => {
                for (from, to) in places.iter().zip(places.iter().skip(1)) {
                    self.stroke(backend, *from, *to, *width, *colour)?;
                }
                // Round joins.
                for corner in places.iter().skip(1).take(places.len().saturating_sub(2)) {
                    self.disc(backend, *corner, width / 2.0, *colour)?;
                }
                Ok(())
            }
        }
    }

    /// One straight piece of a line as a filled rectangle: the library's own thick lines have spikes at sharp corners.
    fn stroke<B: DrawingBackend>(
        &self,
        backend: &mut B,
        from: Place,
        to: Place,
        width: f64,
        colour: Colour,
    ) -> Result<(), FigureError> {
        let length = (to.x - from.x).hypot(to.y - from.y);
        if length <= 0.0 {
            return Ok(());
        }
        let half = width / 2.0 / length;
        let (across_x, across_y) = (-(to.y - from.y) * half, (to.x - from.x) * half);
        let corners = [
            at(from.x + across_x, from.y + across_y),
            at(to.x + across_x, to.y + across_y),
            at(to.x - across_x, to.y - across_y),
            at(from.x - across_x, from.y - across_y),
        ];
        self.area(backend, &corners, colour)
    }

    fn area<B: DrawingBackend>(&self, backend: &mut B, places: &[Place], colour: Colour) -> Result<(), FigureError> {
        backend.fill_polygon(places.iter().map(|place| self.pixel(place)), &rgb(colour).filled()).map_err(failed)
    }

    fn disc<B: DrawingBackend>(
        &self,
        backend: &mut B,
        centre: Place,
        radius: f64,
        colour: Colour,
    ) -> Result<(), FigureError> {
        backend
            .draw_circle(self.pixel(&centre), (radius * self.per_mm).round() as u32, &rgb(colour).filled(), true)
            .map_err(failed)
    }

    fn text<B: DrawingBackend>(&self, backend: &mut B, text: &Text, typeface: &Typeface) -> Result<(), FigureError> {
        let back = match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => text.length / 2.0,
            Anchor::End => text.length,
        };
        let Place { x, y } = text.place;
        let start = if text.upright { at(x, y + back) } else { at(x - back, y) };
        let (left, base) = self.pixel(&start);
        let em = text.points * MM_PER_POINT * self.per_mm;
        let mut outcome = Ok(());
        typeface.cover(&text.content, em, |x, y, share| {
            let place = if text.upright { (left + y, base - x) } else { (left + x, base + y) };
            if outcome.is_ok() {
                outcome = backend.draw_pixel(place, rgb(INK).mix(share).to_backend_color());
            }
        });
        outcome.map_err(failed)
    }
}

fn failed(error: impl std::fmt::Display) -> FigureError {
    FigureError::Drawing(error.to_string())
}

fn rgb((r, g, b): Colour) -> RGBColor {
    RGBColor(r, g, b)
}

/// A row of dots, each the mean of a square of two by two on the two rows of the canvas.
fn halve(pair: &[u8], line: &mut Vec<u8>) {
    let (upper, lower) = pair.split_at(pair.len() / 2);
    line.clear();
    for (upper, lower) in upper.as_chunks::<6>().0.iter().zip(lower.as_chunks::<6>().0) {
        line.extend([0, 1, 2].map(|channel| {
            let four = [upper[channel], upper[channel + 3], lower[channel], lower[channel + 3]];
            ((four.map(u16::from).iter().sum::<u16>() + 2) / 4) as u8
        }));
    }
}

/// The file of a canvas, averaged and compressed row by row.
fn encode(
    canvas: &[u8],
    width: u32,
    height: u32,
    dots_per_inch: u32,
    oversampling: u32,
) -> Result<Vec<u8>, png::EncodingError> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Default);
    encoder.set_filter(png::FilterType::NoFilter);
    let per_metre = (f64::from(dots_per_inch) * 1000.0 / MM_PER_INCH).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: per_metre, yppu: per_metre, unit: png::Unit::Meter }));
    let mut writer = encoder.write_header()?;
    let mut rows = writer.stream_writer_with_size(CHUNK)?;
    let row = 3 * width as usize;
    if oversampling == 2 {
        let paper = vec![PAPER; 4 * row];
        let mut line = Vec::with_capacity(row);
        for pair in canvas.chunks_exact(4 * row) {
            // Most of a figure is paper.
            if pair == paper {
                rows.write_all(&paper[..row])?;
            } else {
                halve(pair, &mut line);
                rows.write_all(&line)?;
            }
        }
    } else {
        rows.write_all(canvas)?;
    }
    rows.finish()?;
    writer.finish()?;
    Ok(file)
}
