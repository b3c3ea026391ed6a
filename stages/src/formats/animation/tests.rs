#![allow(clippy::unwrap_used)]

use super::*;

/// A bar that moves to the right, a pixel a step.
fn bar(pixels: &mut Vec<[u8; 4]>, step: usize) -> &[[u8; 4]] {
    let edge = 16;
    *pixels = (0..edge * edge).map(|at| if at % edge == step { [200, 30, 40, 255] } else { [9, 9, 9, 255] }).collect();
    pixels
}

fn film(threads: usize) -> Vec<u8> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    pool.install(|| write(16, 14, 7, Srgb([9; 3]), Vec::new, bar).unwrap())
}

#[test]
fn every_frame_reads_back() {
    // Judge: the animation reader of the `png` library.
    let bytes = film(1);
    let mut reader = png::Decoder::new(io::Cursor::new(&bytes)).read_info().unwrap();
    let control = reader.info().animation_control().unwrap();
    assert_eq!((control.num_frames, control.num_plays), (14, 0));
    let palette = reader.info().palette.clone().unwrap();
    for step in 0..14 {
        let mut read = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut read).unwrap();
        let frame = reader.info().frame_control().unwrap();
        assert_eq!((frame.width, frame.height, frame.delay_num, frame.delay_den), (16, 16, 7, 14));
        let colour = |index: u8| [0, 1, 2].map(|channel| palette[usize::from(index) * 3 + channel]);
        let mut drawn = Vec::new();
        let same = read.iter().zip(bar(&mut drawn, step)).all(|(&index, pixel)| colour(index) == pixel[..3]);
        assert!(same, "frame {step}");
    }
    assert!(reader.next_frame(&mut vec![0; 256]).is_err());
}

#[test]
fn the_film_does_not_depend_on_the_number_of_threads() {
    assert_eq!(film(1), film(3));
}

#[test]
fn a_film_needs_frames_and_pixels() {
    assert!(write(0, 3, 1, Srgb([0; 3]), Vec::new, bar).is_err());
    let none = write(16, 0, 1, Srgb([0; 3]), Vec::new, bar);
    assert!(none.is_err());
}

#[test]
fn many_colours_are_kept_near() {
    // A colour cube of 16 steps a channel: 4096 colours into 255. With 6.3 boxes a channel the farthest in a channel is
    // half a box, 20 codes, off; the worst box of a greedy cut is about twice as wide.
    let pixels: Vec<[u8; 4]> = (0..4096u32)
        .map(|at| [at % 16, at / 16 % 16, at / 256].map(|v| v as u8 * 17))
        .map(|[r, g, b]| [r, g, b, 255])
        .collect();
    let palette = Palette::of(palette::seen(&pixels, 64, 1), Srgb([1, 2, 3]));
    let bytes = palette.bytes();
    assert!(bytes.len() <= 768 && bytes[..3] == [1, 2, 3]);
    let mut index = palette.index();
    for pixel in pixels {
        let at = usize::from(index.nearest(pixel)) * 3;
        let worst = (0..3).map(|channel| bytes[at + channel].abs_diff(pixel[channel])).max().unwrap();
        assert!(worst <= 40, "{pixel:?}: {worst}");
    }
}
