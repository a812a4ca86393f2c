//! Drawn pictures as cut-out photos, for several tests.

use footring::{
    cutout::{Cutout, Origin},
    outline::{Outline, trace},
};
use image::{GrayImage, RgbImage};

pub(crate) fn cutout(working: RgbImage, mask: GrayImage) -> Cutout {
    Cutout {
        working,
        mask,
        photo_per_working: 1.0,
        origin: Origin::Model,
        warnings: Vec::new(),
    }
}

pub(crate) fn outline_of(cutout: &Cutout) -> Outline {
    trace(cutout.mask.as_raw(), cutout.mask.width() as usize).unwrap()
}
