//! Content hashes, as they are written down.

use sha2::{Digest, Sha256};

/// SHA-256 of `bytes` in lower-case hexadecimal, 64 digits.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Bytes in lower-case hexadecimal, two digits each.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
