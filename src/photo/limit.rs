//! Limits, checked before anything of the picture's size is allocated.

use crate::{
    config,
    error::{Error, Kind, Result},
};

const MIB: u64 = 1024 * 1024;

/// Largest file, in bytes.
pub(super) fn file_bytes(limits: &config::Photo) -> u64 {
    limits.max_file_mib.saturating_mul(MIB)
}

/// Most memory one decoder may take, in bytes.
pub(super) fn memory_bytes(limits: &config::Photo) -> u64 {
    limits.max_memory_mib.saturating_mul(MIB)
}

/// Refuses a file of `size` bytes if that is more than is opened.
pub(super) fn file_size(size: u64, limits: &config::Photo) -> Result<()> {
    if size > file_bytes(limits) {
        return Err(Error::new(
            Kind::TooLarge,
            format!(
                "is {} MiB and at most {} MiB are opened",
                size.div_ceil(MIB),
                limits.max_file_mib
            ),
        )
        .remedy("export it as JPEG, or raise max_file_mib in the settings"));
    }
    Ok(())
}

/// Refuses a picture of these dimensions (pixels) if a side or the area is more
/// than is decoded, or is zero.
pub(super) fn dimensions(width: u32, height: u32, limits: &config::Photo) -> Result<()> {
    if width == 0 || height == 0 {
        return Err(
            Error::new(Kind::Damaged, "says it is no pixels wide or high")
                .remedy(super::REMEDY_DAMAGED),
        );
    }
    let smaller = "make a smaller copy";
    if width.max(height) > limits.max_side_px {
        return Err(Error::new(
            Kind::TooLarge,
            format!(
                "is {width} x {height} pixels and at most {} on a side are decoded",
                limits.max_side_px
            ),
        )
        .remedy(format!("{smaller}, or raise max_side_px in the settings")));
    }
    if u64::from(width) * u64::from(height) > u64::from(limits.max_megapixels) * 1_000_000 {
        return Err(Error::new(
            Kind::TooLarge,
            format!(
                "is {width} x {height} pixels and at most {} megapixels are decoded",
                limits.max_megapixels
            ),
        )
        .remedy(format!(
            "{smaller}, or raise max_megapixels in the settings"
        )));
    }
    Ok(())
}

/// Refuses a picture whose decoding takes `bytes` of memory if that is too much.
pub(super) fn memory(bytes: u64, limits: &config::Photo) -> Result<()> {
    if bytes > memory_bytes(limits) {
        return Err(too_much_memory(Some(bytes), limits));
    }
    Ok(())
}

/// The error for a picture that takes more memory than allowed; `bytes` where known.
pub(super) fn too_much_memory(bytes: Option<u64>, limits: &config::Photo) -> Error {
    let needs = match bytes {
        Some(bytes) => format!("needs {} MiB to decode", bytes.div_ceil(MIB)),
        None => "needs more memory to decode than is allowed".to_owned(),
    };
    Error::new(
        Kind::TooLarge,
        format!(
            "{needs} and at most {} MiB may be used",
            limits.max_memory_mib
        ),
    )
    .remedy("make a smaller copy, or raise max_memory_mib in the settings")
}
