//! Contact sheets: every picture of a folder, small, on one.

use crate::output::{Error, Picture};
use std::fs;
use std::path::{Path, PathBuf};

/// Pictures below a folder, sorted by path.
pub fn pictures(dir: &Path) -> Result<Vec<PathBuf>, Error> {
    let mut out = Vec::new();
    let mut open = vec![dir.to_path_buf()];
    while let Some(d) = open.pop() {
        let entries = fs::read_dir(&d).map_err(|e| Error::new(format!("{}: {e}", d.display())))?;
        for e in entries {
            let p = e
                .map_err(|e| Error::new(format!("{}: {e}", d.display())))?
                .path();
            if p.is_dir() {
                open.push(p);
            } else if p.extension().is_some_and(|x| x == "jpg" || x == "png") {
                out.push(p);
            }
        }
    }
    out.sort();
    Ok(out)
}

/// A sheet of pictures in cells of `cell` pixels, `columns` across.
pub fn sheet(paths: &[PathBuf], cell: usize, columns: usize) -> Result<Picture, Error> {
    let rows = paths.len().div_ceil(columns).max(1);
    let (width, height) = (columns * cell, rows * cell);
    let mut rgb = vec![40u8; width * height * 3];
    for (k, path) in paths.iter().enumerate() {
        let img = image::open(path).map_err(|e| Error::new(format!("{}: {e}", path.display())))?;
        let small = img.thumbnail(cell as u32 - 4, cell as u32 - 4).to_rgb8();
        let x0 = (k % columns) * cell + (cell - small.width() as usize) / 2;
        let y0 = (k / columns) * cell + (cell - small.height() as usize) / 2;
        for (x, y, px) in small.enumerate_pixels() {
            let i = ((y0 + y as usize) * width + x0 + x as usize) * 3;
            rgb[i..i + 3].copy_from_slice(&px.0);
        }
    }
    Ok(Picture { width, height, rgb })
}
