//! Ten thousand views in little memory. Takes a minute or so:
//! `cargo test --test cabinet ten_thousand -- --ignored --nocapture`.
#![allow(clippy::print_stdout, reason = "a measurement prints")]

use std::time::Instant;

use footring::{
    cabinet::{Cabinet, ChannelSpec, Feature, NewView, Source},
    channel::REGISTRY,
    config::Nearest,
};

use super::common::{vector, view};

/// A line of the system's account of this process, in MiB.
fn memory_mib(name: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find_map(|line| line.strip_prefix(name)?.strip_prefix(':'))
        .and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok())
        .map_or(0.0, |kib| kib / 1024.0)
}

#[test]
#[ignore = "takes a minute"]
fn ten_thousand_views_fit_in_memory() {
    let dir = tempfile::tempdir().unwrap();
    let specs: Vec<ChannelSpec> = REGISTRY.iter().map(ChannelSpec::from).collect();
    let floats: usize = specs.iter().map(|spec| spec.dim).sum();
    let mut cabinet = Cabinet::create_or_open(dir.path()).unwrap();
    let start = Instant::now();
    for batch in 0..200u64 {
        let views: Vec<NewView> = (batch * 50..batch * 50 + 50)
            .map(|n| NewView {
                thumbnail_jpeg: vec![n as u8; 8_000],
                features: specs
                    .iter()
                    .enumerate()
                    .map(|(i, spec)| Feature {
                        channel: spec.name.clone(),
                        version: spec.version,
                        vector: vector(n * 10 + i as u64, spec.dim),
                    })
                    .collect(),
                ..view(n)
            })
            .collect();
        cabinet.add_views(&views).unwrap();
    }
    println!(
        "adding 10000 views of {floats} numbers: {:.1} s",
        start.elapsed().as_secs_f64()
    );
    let settings = Nearest::default();
    for wanted in ["made", "opened"] {
        let start = Instant::now();
        let taken = cabinet.snapshot(&settings, &specs).unwrap();
        println!(
            "snapshot {wanted}: {:.2} s, {:.0} MiB, at most {:.0} MiB so far",
            start.elapsed().as_secs_f64(),
            memory_mib("VmRSS"),
            memory_mib("VmHWM"),
        );
        assert_eq!(
            matches!(taken.source(), Source::Generation(..)),
            wanted == "opened"
        );
        assert_eq!(taken.views().len(), 10_000);
        let start = Instant::now();
        for channel in 0..specs.len() {
            let query = taken.vector(channel, 77).unwrap();
            assert_eq!(
                taken.nearest(channel, query, 10, &|_| true).unwrap()[0].view,
                77
            );
        }
        println!(
            "one question on all channels: {:.2} ms",
            start.elapsed().as_secs_f64() * 1e3
        );
    }
    let start = Instant::now();
    assert_eq!(cabinet.verify().unwrap(), []);
    println!("verify: {:.1} s", start.elapsed().as_secs_f64());
    assert!(memory_mib("VmHWM") < 500.0);
}
