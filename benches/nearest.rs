//! How much of the truth the graph finds, and how fast, against the exact scan.
//!
//! Prints one JSON line per result. `--quick` takes fewer rows; `--write DIR`
//! also leaves the vectors of the first case there, for the comparison with
//! another library (`benches/peer/nearest_hnswlib.py`). Further words of the form
//! `name=value` set `graph_links`, `build_width`, `search_width`, `over_fetch`,
//! `rows`, `dim` and `spread`; `l1` or `l2` takes the cases of that metric only.
#![allow(clippy::print_stdout, missing_docs, reason = "a measurement prints")]

#[path = "../tests/nearest/clustered.rs"]
mod clustered;

use std::{path::PathBuf, time::Instant};

use clustered::clustered;
use footring::{
    channel::Metric,
    config::Nearest,
    nearest::{Flat, Graph, Index, Slab},
};

const K: usize = 10;

struct Case {
    rows: usize,
    queries: usize,
    dim: usize,
    metric: Metric,
    spread: f32,
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let quick = words.iter().any(|word| word == "--quick");
    let write = words
        .iter()
        .position(|word| word == "--write")
        .map(|i| PathBuf::from(&words[i + 1]));
    let value = |name: &str| -> Option<f64> {
        words
            .iter()
            .find_map(|word| word.strip_prefix(name)?.strip_prefix('=')?.parse().ok())
    };
    let mut settings = Nearest::default();
    let set = |field: &mut usize, name: &str| {
        if let Some(value) = value(name) {
            *field = value as usize;
        }
    };
    set(&mut settings.graph_links, "graph_links");
    set(&mut settings.build_width, "build_width");
    set(&mut settings.search_width, "search_width");
    set(&mut settings.over_fetch, "over_fetch");
    let rows = value("rows").map_or(if quick { 20_000 } else { 100_000 }, |n| n as usize);
    let spread = value("spread").map_or(0.7, |v| v as f32);
    let mut cases = vec![
        (128, Metric::L2, rows),
        (600, Metric::L2, rows),
        (128, Metric::L1, rows),
    ];
    if let Some(dim) = value("dim") {
        cases.retain(|case| case.0 == dim as usize);
    }
    for (word, metric) in [("l1", Metric::L1), ("l2", Metric::L2)] {
        if words.iter().any(|w| w == word) {
            cases.retain(|case| case.1 == metric);
        }
    }
    if quick {
        cases.truncate(1);
    }
    for (i, (dim, metric, rows)) in cases.into_iter().enumerate() {
        let case = Case {
            rows,
            queries: if quick { 500 } else { 1_000 },
            dim,
            metric,
            spread,
        };
        measure(&case, &settings, write.as_ref().filter(|_| i == 0));
    }
    break_even(
        &settings,
        if quick {
            &[5_000]
        } else {
            &[5_000, 20_000, 50_000]
        },
        spread,
    );
}

fn measure(case: &Case, settings: &Nearest, write: Option<&PathBuf>) {
    let (rows, queries) = clustered(7, case.rows, case.queries, case.dim, case.spread, true);
    let name = format!("{}_{:?}_{}", case.rows, case.metric, case.dim).to_lowercase();
    if let Some(folder) = write {
        std::fs::create_dir_all(folder).expect("the folder can be made");
        for (file, values) in [("rows.f32", &rows), ("queries.f32", &queries)] {
            let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
            std::fs::write(folder.join(file), bytes).expect("the vectors can be written");
        }
    }
    let slab = Slab::new(case.dim, rows).expect("rows are whole");
    let flat = Flat::new(case.metric, slab.clone());
    let (truth, scan_ms) = ask(&flat, &queries);
    let before = resident_mib();
    let start = Instant::now();
    let graph = Graph::build(settings, case.metric, slab).expect("the graph is built");
    let build_s = start.elapsed().as_secs_f64();
    let memory = resident_mib() - before;
    let (answers, graph_ms) = ask(&graph, &queries);
    let found: usize = truth
        .iter()
        .zip(&answers)
        .map(|(truth, answer)| answer.iter().filter(|id| truth.contains(id)).count())
        .sum();
    let recall = found as f64 / (truth.len() * K) as f64;
    let n = truth.len();
    print(
        &format!("nearest.recall_at_10.{name}"),
        recall,
        ">=0.99",
        recall >= 0.99,
        n,
        "exact scan",
    );
    print(
        &format!("nearest.graph_ms.{name}"),
        graph_ms,
        &format!("<={scan_ms:.3}"),
        graph_ms <= scan_ms,
        n,
        &format!("exact scan {scan_ms:.3} ms"),
    );
    print(
        &format!("nearest.build_s.{name}"),
        build_s,
        "",
        true,
        case.rows,
        "",
    );
    print(
        &format!("nearest.graph_mib.{name}"),
        memory,
        "",
        true,
        case.rows,
        "",
    );
    print(
        &format!("nearest.loose.{name}"),
        graph.loose().len() as f64,
        "",
        true,
        case.rows,
        "",
    );
}

/// From how many rows on the graph is faster.
fn break_even(settings: &Nearest, sizes: &[usize], spread: f32) {
    for rows in sizes {
        let (values, queries) = clustered(11, *rows, 300, 128, spread, true);
        let slab = Slab::new(128, values).expect("rows are whole");
        let (_, scan_ms) = ask(&Flat::new(Metric::L2, slab.clone()), &queries);
        let graph = Graph::build(settings, Metric::L2, slab).expect("the graph is built");
        let (_, graph_ms) = ask(&graph, &queries);
        print(
            &format!("nearest.scan_ms_per_graph_ms.{rows}_l2_128"),
            scan_ms / graph_ms,
            "",
            true,
            queries.len() / 128,
            &format!("exact scan {scan_ms:.3} ms"),
        );
    }
}

/// Answers and the median time of one question.
fn ask(index: &dyn Index, queries: &[f32]) -> (Vec<Vec<u32>>, f64) {
    let mut times = Vec::new();
    let answers = queries
        .chunks_exact(index.dim())
        .map(|query| {
            let start = Instant::now();
            let hits = index.search(query, K, &|_| true).expect("the query fits");
            times.push(start.elapsed().as_secs_f64() * 1e3);
            hits.into_iter().map(|hit| hit.id).collect()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    (answers, times[times.len() / 2])
}

fn resident_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))
        .and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok())
        .map_or(0.0, |kib| kib / 1024.0)
}

fn print(name: &str, value: f64, bound: &str, holds: bool, n: usize, baseline: &str) {
    println!(
        "{}",
        serde_json::json!({
            "name": name, "value": (value * 1e5).round() / 1e5, "bound": bound,
            "holds": holds, "n": n, "baseline": baseline,
        })
    );
}
