//! Synthetic views, made from a number.

use std::path::Path;

use footring::{
    cabinet::{Cabinet, ChannelSpec, Feature, Labels, NewView, Origin, Snapshot},
    channel::{Metric, Vector},
    config::Nearest,
};

/// The channels of the synthetic views.
pub(crate) fn specs() -> Vec<ChannelSpec> {
    [("outline", 2, 24, Metric::L1), ("form", 1, 16, Metric::L2)]
        .into_iter()
        .map(|(name, version, dim, metric)| ChannelSpec {
            name: name.to_owned(),
            version,
            dim,
            metric,
        })
        .collect()
}

/// A reproducible vector.
pub(crate) fn vector(seed: u64, dim: usize) -> Vector {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let values: Vec<f32> = (0..dim)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 40) as f32 / (1u32 << 24) as f32 - 0.5
        })
        .collect();
    Vector::unit(values).expect("finite")
}

/// Hash of the photo of view `n`.
pub(crate) fn sha256(n: u64) -> String {
    format!("{n:064x}")
}

/// View `n`; every third lacks the second channel.
pub(crate) fn view(n: u64) -> NewView {
    let mut features: Vec<Feature> = specs()
        .into_iter()
        .enumerate()
        .map(|(i, spec)| Feature {
            channel: spec.name,
            version: spec.version,
            vector: vector(n * 10 + i as u64, spec.dim),
        })
        .collect();
    if n % 3 == 2 {
        features.pop();
    }
    let mut labels = Labels::new();
    labels
        .set(
            "form",
            if n.is_multiple_of(2) {
                "teacup"
            } else {
                "saucer"
            },
        )
        .unwrap();
    NewView {
        photo: format!("photos/cup-{n}.jpg"),
        sha256: sha256(n),
        width_px: 640,
        height_px: 480,
        view: Some("side".to_owned()),
        warnings_json: "[]".to_owned(),
        thumbnail_jpeg: vec![n as u8; 64],
        outline_json: "{}".to_owned(),
        palette_json: "[]".to_owned(),
        features,
        labels,
        origin: Origin::new("labels file"),
        ..NewView::default()
    }
}

/// A cabinet of views `0..n`.
pub(crate) fn filled(dir: &Path, n: u64) -> Cabinet {
    let mut cabinet = Cabinet::create_or_open(dir).unwrap();
    let views: Vec<NewView> = (0..n).map(view).collect();
    cabinet.add_views(&views).unwrap();
    cabinet
}

/// A snapshot at default settings.
pub(crate) fn snapshot(cabinet: &Cabinet) -> Snapshot {
    cabinet.snapshot(&Nearest::default(), &specs()).unwrap()
}

/// Checks that each live view of a snapshot finds itself by each channel.
pub(crate) fn all_find_themselves(snapshot: &Snapshot) {
    for channel in 0..snapshot.channels().len() {
        for view in 0..snapshot.views().len() as u32 {
            if let Some(vector) = snapshot.vector(channel, view) {
                let found = snapshot.nearest(channel, vector, 1, &|_| true).unwrap();
                assert_eq!(found[0].view, view, "channel {channel}");
                assert_eq!(found[0].distance, 0.0);
            }
        }
    }
}
