//! The suite and the indexes it runs on.

use footring::{
    channel::Metric,
    config::Nearest,
    error::Kind,
    nearest::{self, Flat, Graph, Hit, Index, Slab},
};

use super::clustered::{Seeded, clustered};

const METRICS: [Metric; 2] = [Metric::L1, Metric::L2];

/// Each backend over the same rows: the scan, a graph fresh from its build, one
/// that was stored and opened, and one to which rows came after it was built.
fn backends(metric: Metric, dim: usize, rows: &[f32]) -> Vec<(&'static str, Box<dyn Index>)> {
    let settings = Nearest::default();
    let slab = || Slab::new(dim, rows.to_vec()).unwrap();
    let stored = |first: usize| {
        let folder = tempfile::tempdir().unwrap();
        let part = Slab::new(dim, rows[..first * dim].to_vec()).unwrap();
        let files = Graph::build(&settings, metric, part)
            .unwrap()
            .store(folder.path(), "test")
            .unwrap();
        assert!(files.iter().all(|file| folder.path().join(file).exists()));
        Graph::open(&settings, metric, slab(), first, folder.path(), "test").unwrap()
    };
    let n = rows.len() / dim;
    vec![
        ("flat", Box::new(Flat::new(metric, slab()))),
        (
            "graph",
            Box::new(Graph::build(&settings, metric, slab()).unwrap()),
        ),
        ("opened", Box::new(stored(n))),
        ("grown", Box::new(stored(n - n / 10))),
    ]
}

/// The truth, as plainly as it can be said.
fn truth(
    metric: Metric,
    dim: usize,
    rows: &[f32],
    query: &[f32],
    keep: impl Fn(u32) -> bool,
) -> Vec<Hit> {
    let mut hits: Vec<Hit> = rows
        .chunks(dim)
        .enumerate()
        .map(|(id, row)| Hit {
            id: id as u32,
            distance: metric.distance(query, row),
        })
        .filter(|hit| keep(hit.id))
        .collect();
    hits.sort_by(|a, b| a.distance.total_cmp(&b.distance).then(a.id.cmp(&b.id)));
    hits
}

fn overlap(hits: &[Hit], truth: &[Hit]) -> usize {
    hits.iter().filter(|hit| truth.contains(hit)).count()
}

#[test]
fn answers_are_the_nearest_in_order_with_exact_distances() {
    let dim = 20;
    let (rows, queries) = clustered(1, 3_000, 50, dim, 0.7, true);
    for metric in METRICS {
        for (name, index) in backends(metric, dim, &rows) {
            let mut found = 0;
            for query in queries.chunks(dim) {
                let hits = index.search(query, 10, &|_| true).unwrap();
                let wanted = truth(metric, dim, &rows, query, |_| true);
                assert_eq!(hits.len(), 10, "{name}");
                for pair in hits.windows(2) {
                    let order = pair[0].distance.total_cmp(&pair[1].distance);
                    assert!(order.then(pair[0].id.cmp(&pair[1].id)).is_lt(), "{name}");
                }
                for hit in &hits {
                    assert!(wanted.contains(hit), "{name}: the distance is not exact");
                }
                found += overlap(&hits, &wanted[..10]);
                if name == "flat" {
                    assert_eq!(hits, wanted[..10]);
                }
            }
            assert!(found >= 495, "{name} {metric:?} found {found} of 500");
        }
    }
}

#[test]
fn every_row_finds_itself() {
    let dim = 12;
    let (rows, _) = clustered(2, 2_000, 0, dim, 0.3, true);
    for metric in METRICS {
        for (name, index) in backends(metric, dim, &rows) {
            for id in 0..index.len() as u32 {
                let hits = index.search(index.slab().row(id), 1, &|_| true).unwrap();
                assert_eq!((hits[0].id, hits[0].distance), (id, 0.0), "{name}");
            }
        }
    }
}

#[test]
fn a_filter_is_obeyed_however_little_it_lets_pass() {
    let dim = 16;
    let (rows, queries) = clustered(3, 2_500, 20, dim, 0.7, true);
    for (name, index) in backends(Metric::L2, dim, &rows) {
        for every in [1u32, 2, 5, 30, 1_000, u32::MAX] {
            let keep = |id: u32| id % every == 7 % every;
            let mut found = 0;
            let mut wanted_all = 0;
            for query in queries.chunks(dim) {
                let hits = index.search(query, 10, &keep).unwrap();
                assert!(hits.iter().all(|hit| keep(hit.id)), "{name}");
                let wanted = truth(Metric::L2, dim, &rows, query, keep);
                let wanted = &wanted[..wanted.len().min(10)];
                assert_eq!(hits.len(), wanted.len(), "{name} one in {every}");
                found += overlap(&hits, wanted);
                wanted_all += wanted.len();
            }
            assert!(
                found * 100 >= wanted_all * 99,
                "{name} one in {every}: {found} of {wanted_all}"
            );
        }
        // A filter whose passing rows lie together, far from the query.
        let query = &queries[..dim];
        let far: Vec<u32> = truth(Metric::L2, dim, &rows, query, |_| true)[1_500..]
            .iter()
            .map(|hit| hit.id)
            .collect();
        let hits = index.search(query, 5, &|id| far.contains(&id)).unwrap();
        assert_eq!(
            hits.iter().map(|hit| hit.id).collect::<Vec<_>>(),
            far[..5],
            "{name}"
        );
        assert_eq!(index.search(query, 5, &|_| false).unwrap(), [], "{name}");
    }
}

#[test]
fn odd_numbers_of_answers_are_given() {
    let dim = 8;
    let (rows, queries) = clustered(4, 300, 1, dim, 0.7, false);
    for (name, index) in backends(Metric::L1, dim, &rows) {
        assert_eq!(index.search(&queries, 0, &|_| true).unwrap(), [], "{name}");
        for k in [1, 299, 300, 301, 100_000] {
            let hits = index.search(&queries, k, &|_| true).unwrap();
            assert_eq!(hits.len(), k.min(300), "{name}");
        }
    }
}

#[test]
fn a_query_that_does_not_fit_is_refused() {
    let dim = 8;
    let (rows, _) = clustered(5, 300, 0, dim, 0.7, false);
    for (name, index) in backends(Metric::L2, dim, &rows) {
        for query in [
            vec![],
            vec![0.1; 7],
            vec![0.1; 9],
            vec![f32::NAN; 8],
            vec![f32::INFINITY; 8],
        ] {
            let e = index.search(&query, 3, &|_| true).unwrap_err();
            assert_eq!(e.kind(), Kind::Internal, "{name}");
        }
    }
    assert!(Slab::new(0, vec![]).is_err());
    assert!(Slab::new(3, vec![0.0; 4]).is_err());
    assert!(Slab::new(2, vec![0.0, f32::NAN]).is_err());
    assert!(Slab::empty(2).unwrap().push(&[1.0]).is_err());
}

#[test]
fn vectors_of_one_entry_are_told_from_rows() {
    let rows: Vec<f32> = (0..400).map(|i| i as f32).collect();
    for (name, index) in backends(Metric::L1, 1, &rows) {
        let hits = index.search(&[200.2], 3, &|_| true).unwrap();
        let ids: Vec<u32> = hits.iter().map(|hit| hit.id).collect();
        assert_eq!(ids, [200, 201, 199], "{name}");
    }
}

#[test]
fn equal_rows_break_nothing() {
    let dim = 6;
    // Five hundred times the same photo, and others.
    let (mut rows, _) = clustered(6, 500, 0, dim, 0.7, false);
    rows.extend(std::iter::repeat_n(0.25f32, 500 * dim));
    for metric in METRICS {
        for (name, index) in backends(metric, dim, &rows) {
            let hits = index.search(&[0.25; 6], 10, &|_| true).unwrap();
            assert_eq!(hits.len(), 10, "{name}");
            assert!(hits.iter().all(|hit| hit.distance == 0.0), "{name}");
            for id in (0..index.len() as u32).step_by(9) {
                let hits = index
                    .search(index.slab().row(id), 1, &|other| other == id)
                    .unwrap();
                assert_eq!(hits[0].id, id, "{name}");
            }
        }
    }
    let settings = Nearest {
        graph_from: 100,
        ..Nearest::default()
    };
    let slab = Slab::new(dim, vec![0.5; 1_000 * dim]).unwrap();
    let index = nearest::build(&settings, Metric::L2, slab).unwrap();
    assert_eq!(
        index.method(),
        "exact",
        "a graph of equal rows leads nowhere"
    );
}

#[test]
fn the_method_follows_the_number_of_rows() {
    let settings = Nearest {
        graph_from: 200,
        ..Nearest::default()
    };
    for (rows, method) in [(0, "exact"), (1, "exact"), (199, "exact"), (200, "graph")] {
        let mut random = Seeded::new(9);
        let values = (0..rows * 4).map(|_| random.gaussian()).collect();
        let index = nearest::build(&settings, Metric::L2, Slab::new(4, values).unwrap()).unwrap();
        assert_eq!((index.len(), index.method()), (rows, method));
        assert_eq!(
            index.search(&[0.0; 4], 5, &|_| true).unwrap().len(),
            rows.min(5)
        );
    }
}

#[test]
fn a_damaged_graph_is_refused_where_its_hash_was_not_checked() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Nearest::default();
    let (rows, _) = clustered(8, 300, 0, 4, 0.7, false);
    let slab = || Slab::new(4, rows.clone()).unwrap();
    let graph = Graph::build(&settings, Metric::L2, slab()).unwrap();
    graph.store(folder.path(), "test").unwrap();
    // Other rows than it was built for.
    let fewer = Slab::new(4, rows[..400].to_vec()).unwrap();
    for (slab, built) in [(fewer, 100), (slab(), 299)] {
        let e = Graph::open(&settings, Metric::L2, slab, built, folder.path(), "test").unwrap_err();
        assert_eq!(e.kind(), Kind::Cabinet);
    }
    std::fs::write(folder.path().join("test.loose"), [1, 2, 3]).unwrap();
    assert!(Graph::open(&settings, Metric::L2, slab(), 300, folder.path(), "test").is_err());
    std::fs::remove_file(folder.path().join("test.loose")).unwrap();
    assert!(Graph::open(&settings, Metric::L2, slab(), 300, folder.path(), "test").is_err());
}

#[test]
fn the_graph_finds_what_the_scan_finds() {
    let dim = 128;
    let (rows, queries) = clustered(7, 20_000, 200, dim, 0.7, true);
    let slab = Slab::new(dim, rows).unwrap();
    let flat = Flat::new(Metric::L2, slab.clone());
    let graph = Graph::build(&Nearest::default(), Metric::L2, slab).unwrap();
    let found: usize = queries
        .chunks(dim)
        .map(|query| {
            let wanted = flat.search(query, 10, &|_| true).unwrap();
            overlap(&graph.search(query, 10, &|_| true).unwrap(), &wanted)
        })
        .sum();
    assert!(found * 100 >= 2_000 * 99, "recall {found} of 2000");
    assert!(
        graph.loose().len() < 200,
        "{} of 20000 are loose",
        graph.loose().len()
    );
}
