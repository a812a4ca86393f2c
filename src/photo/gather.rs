//! From what the user named to a list of files.

use std::path::{Path, PathBuf};

/// Names that pictures go by. Formats that are not read are among them: in a
/// folder they must become rows with an error, not be passed over in silence.
const PICTURES: &[&str] = &[
    "jpg", "jpeg", "jpe", "jfif", "png", "webp", "tif", "tiff", "heic", "heif", "hif", "avif",
    "gif", "bmp", "jxl", "jp2",
];

/// Whether the name of a file says that it is a photograph, of a format that is
/// read or not. What the file really is, only [`read`](super::read) tells.
pub fn has_photo_extension(file: &Path) -> bool {
    super::sniff::extension(file)
        .is_some_and(|e| PICTURES.contains(&e.as_str()) || super::sniff::is_raw_extension(&e))
}

/// The files meant by `paths`: a folder stands for the photos in it and in its
/// subfolders, in the order of their names; anything else stands for itself,
/// existing or not, so that [`read`](super::read) can say what is wrong with it.
///
/// Hidden files and folders inside a folder are passed over. A link to a folder
/// is followed only where the user named it, so links cannot lead in a circle.
/// A folder that may not be opened stays in the list for the same reason as a
/// missing file does.
pub fn gather<P: AsRef<Path>>(paths: &[P]) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for path in paths {
        let path = path.as_ref();
        if path.is_dir() {
            walk(path, &mut files);
        } else {
            files.push(path.to_path_buf());
        }
    }
    files
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
    // A stack instead of recursion: depth is the user's, the call stack is not.
    let mut waiting = vec![folder.to_path_buf()];
    while let Some(path) = waiting.pop() {
        let is_folder = path == folder
            || std::fs::symlink_metadata(&path).is_ok_and(|about| about.file_type().is_dir());
        if !is_folder {
            files.push(path);
            continue;
        }
        let Ok(entries) = std::fs::read_dir(&path) else {
            files.push(path);
            continue;
        };
        let mut inside: Vec<PathBuf> = entries
            .filter_map(Result::ok)
            .filter(|entry| !entry.file_name().as_encoded_bytes().starts_with(b"."))
            .filter(|entry| {
                let name = entry.path();
                match entry.file_type() {
                    Ok(kind) if kind.is_dir() => true,
                    // A linked folder called `x.jpg` is still no photo.
                    Ok(kind) if kind.is_symlink() => has_photo_extension(&name) && !name.is_dir(),
                    _ => has_photo_extension(&name),
                }
            })
            .map(|entry| entry.path())
            .collect();
        inside.sort();
        waiting.extend(inside.into_iter().rev());
    }
}
