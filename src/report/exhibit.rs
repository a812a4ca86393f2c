//! The pictures that go with a reading on the page. None is needed: what is
//! absent is left out.

use std::sync::Arc;

use image::{GrayImage, RgbImage};

use crate::outline::Outline;

/// The pictures of one piece that was read.
#[derive(Clone, Debug, Default)]
pub struct Exhibit {
    /// Its views, the best first; that one is compared with the matches.
    pub sights: Vec<Sight>,
    /// Its colours.
    pub palette: Vec<Swatch>,
    /// One for each match to be shown, in the order of the reading's `matches`.
    pub matches: Vec<Sample>,
    /// Both pieces of each of the reading's `look_alikes`, in their order.
    pub look_alikes: Vec<[Sample; 2]>,
}

/// One view of the piece.
#[derive(Clone, Debug)]
pub struct Sight {
    /// The photo's name, as shown.
    pub name: String,
    /// The photo, small enough to embed. Pieces of one photo share it by
    /// cloning the `Arc`: the page then shows it once, with all their outlines.
    pub photo: Arc<RgbImage>,
    /// The piece's mask, the same size: 255 is piece.
    pub mask: GrayImage,
    /// The piece's outline in pixels of `photo`.
    pub outline: Outline,
    /// The piece alone, upright and centred.
    pub crop: RgbImage,
}

/// A colour that covers part of a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swatch {
    /// CIE L*, a*, b*.
    pub lab: [f32; 3],
    /// The same in 8-bit sRGB.
    pub rgb: [u8; 3],
    /// The part of the piece that it covers, 0 to 1.
    pub share: f32,
}

/// The pictures of one matched piece of the cabinet.
#[derive(Clone, Debug, Default)]
pub struct Sample {
    /// A small JPEG of it; metadata is taken out before it is embedded.
    pub thumbnail: Vec<u8>,
    /// Its outline in any unit; only its proportions are used.
    pub outline: Outline,
    /// Its colours.
    pub palette: Vec<Swatch>,
    /// The photo's name, as shown.
    pub photo: String,
}
