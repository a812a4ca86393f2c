//! The sets, in the order in which they are measured.

mod cups;
mod damaged;
mod decorations;
mod demo;
mod glazes;
mod hand;
mod ingest;
mod kill;
mod mpeg7;
mod porcelain;
mod saliency;
mod scenes;
mod stamps;
mod studio;
mod treatments;
mod twins;
mod ukbench;
mod verdicts;

use crate::{Result, bench::Bench, line::Line};

pub(crate) struct Set {
    pub(crate) name: &'static str,
    measure: fn(&mut Bench) -> Result<()>,
    /// Folders of DATA it needs.
    data: &'static [&'static str],
}

const fn set(
    name: &'static str,
    measure: fn(&mut Bench) -> Result<()>,
    data: &'static [&'static str],
) -> Set {
    Set {
        name,
        measure,
        data,
    }
}

pub(crate) const SETS: &[Set] = &[
    set("cups", cups::measure, &["cups"]),
    set("ukbench", ukbench::measure, &["ukbench"]),
    set("mpeg7", mpeg7::measure, &["mpeg7"]),
    set("porcelain", porcelain::measure, &["porcelain"]),
    set("saliency", saliency::measure, &["saliency"]),
    set("hand", hand::measure, &[]),
    set("scenes", scenes::measure, &[]),
    set("stamps", stamps::measure, &[]),
    set("demo", demo::measure, &[]),
    set(
        "ingest",
        ingest::measure,
        &["cups", "ukbench", "porcelain", "saliency"],
    ),
    set("kill", kill::measure, &[]),
    set("damaged", damaged::measure, &[]),
    set("studio", studio::measure, &[]),
    set("glazes", glazes::measure, &[]),
    set("decorations", decorations::measure, &[]),
    set("treatments", treatments::measure, &[]),
    set("twins", twins::measure, &[]),
    set("verdicts", verdicts::measure, &[]),
    set("thousands", verdicts::thousands, &[]),
];

/// Measures every set that is asked for; a set that fails does not stop the others.
pub(crate) fn run(bench: &mut Bench) {
    for set in SETS {
        if !bench.wants(set.name) {
            continue;
        }
        if let Some(why) = set.data.iter().find_map(|dir| bench.data(dir).err()) {
            bench.put(Line::skipped(set.name, why));
            continue;
        }
        bench.say(set.name);
        if let Err(e) = (set.measure)(bench) {
            bench.put(Line::failed(set.name, e.to_string()));
        }
    }
}
