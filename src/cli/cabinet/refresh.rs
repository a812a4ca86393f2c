//! `footring cabinet refresh`: all photos described again, after an update.

use std::{
    collections::{HashMap, HashSet},
    path::PathBuf,
};

use clap::Args;

use crate::{
    cabinet::{Cabinet, Origin, View},
    cli::{Common, CutoutArg, Exit, batch, output, view},
    config,
    error::{Error, Kind, Result},
    photo,
};

#[derive(Debug, Args)]
pub(in crate::cli) struct RefreshArgs {
    /// Folder of photos that are no longer where they were; they are known by their content, and where they are now is kept
    #[arg(long, value_name = "DIR")]
    photos: Vec<PathBuf>,
}

/// Describes every photo again from its kept copy, its path or where it is now, which
/// the cabinet then keeps as its path.
pub(super) fn run(args: &RefreshArgs, common: &Common) -> Result<Exit> {
    for folder in &args.photos {
        std::fs::metadata(folder).map_err(|e| Error::from(e).in_file(folder))?;
    }
    let engine = common.engine(CutoutArg::Auto)?;
    let mut cabinet = Cabinet::open(&common.cabinet)?;
    cabinet.join_changes();
    let views = cabinet.views()?;
    let mut jobs: Vec<(&View, PathBuf)> = views
        .iter()
        .map(|v| {
            let copy = cabinet.photo_copy(&v.sha256);
            (v, copy.unwrap_or_else(|| PathBuf::from(&v.photo)))
        })
        .collect();
    let found = match args.photos.as_slice() {
        [] => HashMap::new(),
        folders => {
            let limits = &engine.config.photo;
            let files: Vec<PathBuf> = jobs.iter().map(|(_, file)| file.clone()).collect();
            let there = contents(&files, limits, common)?;
            // Under the old path another photo may lie by now.
            let moved: HashSet<&str> = jobs
                .iter()
                .zip(&there)
                .filter(|((view, _), there)| there.as_ref() != Some(&view.sha256))
                .map(|((view, _), _)| view.sha256.as_str())
                .collect();
            find(&moved, folders, limits, common)?
        }
    };
    for (view, file) in &mut jobs {
        if let Some(now) = found.get(&view.sha256) {
            now.clone_into(file);
        }
    }
    let bar = output::progress(jobs.len(), "describing", common.quiet);
    let mut failed = 0;
    batch::in_order(
        &jobs,
        |(view, file)| {
            if !file.exists() {
                return Err(Error::new(Kind::Missing, "is no longer there")
                    .in_file(file)
                    .remedy("put it back, or name the folder it is in now with `--photos`"));
            }
            let photo = photo::read(file, &engine.config.photo)?;
            if photo.sha256 != view.sha256 {
                return Err(Error::new(Kind::Missing, "is another photo than was added")
                    .in_file(file)
                    .remedy("name the folder the one added is in now with `--photos`, or remove it from the cabinet and add it again"));
            }
            Ok(view::features(&engine.describe(&photo)?))
        },
        |i, answer| {
            bar.inc(1);
            let kept = answer.and_then(|features| {
                let (view, file) = &jobs[i];
                // Paths are relative to where a command is run: this one may be run elsewhere.
                let now = std::path::absolute(file).unwrap_or_else(|_| file.clone());
                let now = now.display().to_string();
                let moved = found.contains_key(&view.sha256).then_some(now.as_str());
                cabinet.replace_features(view.id, &features, moved, &Origin::new("refresh"))
            });
            if let Err(e) = kept {
                failed += 1;
                output::say(format_args!("footring: {}", e.in_file(&jobs[i].1)));
            }
            Ok(())
        },
    )?;
    bar.finish_and_clear();
    if !common.quiet {
        output::say(format_args!(
            "footring: {} photos described again, {failed} failed",
            jobs.len() - failed
        ));
    }
    Ok(if failed == 0 {
        Exit::Fine
    } else {
        Exit::SomeFailed
    })
}

/// Where the photos of these contents are now, of those in `folders`. What cannot be
/// read there is passed over: it is not what is looked for.
fn find(
    wanted: &HashSet<&str>,
    folders: &[PathBuf],
    limits: &config::Photo,
    common: &Common,
) -> Result<HashMap<String, PathBuf>> {
    let mut found = HashMap::new();
    if wanted.is_empty() {
        return Ok(found);
    }
    let files = photo::gather(folders);
    for (file, content) in files.iter().zip(contents(&files, limits, common)?) {
        if let Some(content) = content.filter(|c| wanted.contains(c.as_str())) {
            found.entry(content).or_insert_with(|| file.clone());
        }
    }
    Ok(found)
}

/// What lies under each path: its SHA-256, where there is a photo that can be read.
fn contents(
    files: &[PathBuf],
    limits: &config::Photo,
    common: &Common,
) -> Result<Vec<Option<String>>> {
    let bar = output::progress(files.len(), "looking for photos", common.quiet);
    let mut contents = Vec::with_capacity(files.len());
    batch::in_order(
        files,
        |file| photo::sha256(file, limits),
        |_, content| {
            bar.inc(1);
            contents.push(content.ok());
            Ok(())
        },
    )?;
    bar.finish_and_clear();
    Ok(contents)
}
