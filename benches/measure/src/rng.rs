//! Seeded numbers: the same files and the same moments every time (SplitMix64).

pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// From 0 up to but without 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }
    /// From 0 up to but without `n`.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
    /// Puts a list in random order (Fisher & Yates).
    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        for i in (1..list.len()).rev() {
            list.swap(i, self.below(i + 1));
        }
    }
}

/// Tells contents apart (FNV-1a, 64 bits); not against anyone who means harm.
pub(crate) fn fingerprint(parts: &[&[u8]]) -> String {
    let mut hash = 0xcbf2_9ce4_8422_2325u64;
    for part in parts {
        for byte in *part {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
        // Parts do not run into each other.
        hash = (hash ^ 0xff).wrapping_mul(0x0100_0000_01b3);
    }
    format!("{hash:016x}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splitmix_as_published() {
        // First outputs of the reference program for seed 1234567.
        let mut rng = Rng::new(1_234_567);
        assert_eq!(rng.bits(), 6_457_827_717_110_365_317);
        assert_eq!(rng.bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn parts_do_not_run_into_each_other() {
        assert_ne!(fingerprint(&[b"ab", b"c"]), fingerprint(&[b"a", b"bc"]));
    }
}
