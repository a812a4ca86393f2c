//! `footring doctor`: is everything there, and does it work?

use image::{Rgb, RgbImage};
use imageproc::drawing::{draw_filled_circle_mut, draw_filled_rect_mut, draw_hollow_circle_mut};
use imageproc::rect::Rect;

use super::{Common, CutoutArg, Exit, output};
use crate::{cabinet::Cabinet, channel::REGISTRY, error::Result, onnx, photo::Photo};

pub(super) fn run(common: &Common) -> Result<Exit> {
    let mut sound = true;
    let mut line = |what: &str, result: Result<String>| -> Result<()> {
        match result {
            Ok(text) => output::put(&format!("ok    {what}: {text}\n")),
            Err(e) => {
                sound = false;
                output::put(&format!("wrong {what}: {e}\n"))
            }
        }
    };
    line("footring", Ok(env!("CARGO_PKG_VERSION").to_owned()))?;
    line("settings", common.config().map(|_| "understood".to_owned()))?;
    line(
        "runtime library",
        onnx::library_path().and_then(|path| {
            onnx::runtime_version()
                .map(|version| format!("{} ({})", path.display(), version.trim()))
        }),
    )?;
    match onnx::models_dir().and_then(|dir| Ok((onnx::manifest(&dir)?, dir))) {
        Ok((models, dir)) => {
            for model in models {
                let checked = onnx::Model::load(&dir, &model.name)
                    .map(|m| format!("{}, SHA-256 {}", m.info.file, m.info.sha256));
                line(&format!("model {}", model.name), checked)?;
            }
        }
        Err(e) => line("models", Err(e))?,
    }
    for channel in REGISTRY {
        line(
            &format!("channel {}", channel.name),
            Ok(format!(
                "version {}, {} numbers: {}",
                channel.version, channel.dim, channel.about
            )),
        )?;
    }
    if common.cabinet.exists() {
        line(
            &format!("cabinet {}", common.cabinet.display()),
            cabinet(common),
        )?;
    } else {
        line(
            "cabinet",
            Ok(format!("none yet at {}", common.cabinet.display())),
        )?;
    }
    line("self-test", self_test(common))?;
    Ok(if sound { Exit::Fine } else { Exit::Failed })
}

fn cabinet(common: &Common) -> Result<String> {
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let problems = cabinet.verify()?;
    if let Some(problem) = problems.first() {
        return Err(crate::error::Error::new(
            crate::error::Kind::Cabinet,
            format!("{} problems, the first: {}", problems.len(), problem.text),
        )
        .remedy("see `footring cabinet verify`"));
    }
    let stats = cabinet.stats()?;
    Ok(format!(
        "{} pieces, {} photos, {} removed, no damage",
        stats.pieces, stats.views, stats.removed
    ))
}

/// Describes a drawn cup twice, once larger, and compares.
fn self_test(common: &Common) -> Result<String> {
    let engine = common.engine(CutoutArg::Auto)?;
    let described = [240, 480]
        .map(|side| engine.describe(&drawn_cup(side)))
        .into_iter()
        .collect::<Result<Vec<_>>>()?;
    let mut texts = Vec::new();
    for (i, channel) in REGISTRY.iter().enumerate() {
        if let (Some(a), Some(b)) = (&described[0].features[i], &described[1].features[i]) {
            let d = channel.metric.distance(a.as_slice(), b.as_slice()) / channel.unrelated;
            texts.push(format!("{} {d:.2}", channel.name));
            if d > 0.5 {
                return Err(crate::error::Error::new(
                    crate::error::Kind::Internal,
                    format!("one cup in two sizes is {d:.2} apart by {}", channel.name),
                )
                .remedy("please report it"));
            }
        }
    }
    Ok(format!(
        "one drawn cup in two sizes differs by {}",
        texts.join(", ")
    ))
}

fn drawn_cup(side: u32) -> Photo {
    let s = side as f32 / 100.0;
    let px = |v: f32| (v * s).round() as i32;
    let mut pixels = RgbImage::from_pixel(side, side, Rgb([205, 214, 205]));
    let glaze = Rgb([150, 60, 40]);
    for r in 0..px(5.0) {
        draw_hollow_circle_mut(&mut pixels, (px(70.0), px(48.0)), px(11.0) + r, glaze);
    }
    draw_filled_rect_mut(
        &mut pixels,
        Rect::at(px(25.0), px(30.0)).of_size(px(45.0) as u32, px(25.0) as u32),
        glaze,
    );
    draw_filled_circle_mut(&mut pixels, (px(47.5), px(54.0)), px(22.0), glaze);
    Photo {
        source: "a drawn cup".into(),
        sha256: String::new(),
        pixels,
        alpha: None,
        captured: None,
        warnings: Vec::new(),
    }
}
