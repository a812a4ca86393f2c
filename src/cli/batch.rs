//! Many photos on all cores, answers in the order of the photos.

use std::{
    collections::BTreeMap,
    panic::{AssertUnwindSafe, catch_unwind},
    sync::{
        atomic::{AtomicBool, AtomicUsize, Ordering},
        mpsc,
    },
};

use crate::error::{Error, Kind, Result};

/// Works on `items` on all threads of the pool and hands the answers to `sink`,
/// on this thread and in the order of the items, as soon as they are there. A
/// panic in `work` becomes that item's error. An error of `sink` ends the run.
///
/// # Errors
/// Those of `sink`.
pub(super) fn in_order<I: Sync, O: Send>(
    items: &[I],
    work: impl Fn(&I) -> Result<O> + Sync,
    mut sink: impl FnMut(usize, Result<O>) -> Result<()>,
) -> Result<()> {
    let next = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    // A slow disk must not let described photos pile up in memory.
    let (send, receive) = mpsc::sync_channel(64);
    std::thread::scope(|scope| {
        for _ in 0..rayon::current_num_threads().min(items.len()) {
            let send = send.clone();
            let (next, stop, work) = (&next, &stop, &work);
            scope.spawn(move || {
                while !stop.load(Ordering::Relaxed) {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(item) = items.get(i) else { break };
                    let answer =
                        catch_unwind(AssertUnwindSafe(|| work(item))).unwrap_or_else(|_| {
                            Err(Error::new(Kind::Internal, "footring failed on this photo")
                                .remedy("please report it with the photo"))
                        });
                    if send.send((i, answer)).is_err() {
                        break;
                    }
                }
            });
        }
        drop(send);
        let mut waiting = BTreeMap::new();
        let mut due = 0;
        for (i, answer) in &receive {
            waiting.insert(i, answer);
            while let Some(answer) = waiting.remove(&due) {
                if let Err(e) = sink(due, answer) {
                    stop.store(true, Ordering::Relaxed);
                    drop(receive);
                    return Err(e);
                }
                due += 1;
            }
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_come_in_order_and_a_panic_is_one_items_error() {
        let items: Vec<u64> = (0..200).collect();
        let mut got = Vec::new();
        in_order(
            &items,
            |i| {
                std::thread::sleep(std::time::Duration::from_micros(i * 37 % 300));
                assert!(*i != 77, "a defect");
                Ok(*i)
            },
            |i, answer| {
                got.push((i, answer.ok()));
                Ok(())
            },
        )
        .unwrap();
        let expected: Vec<_> = (0..200u64)
            .map(|i| (i as usize, (i != 77).then_some(i)))
            .collect();
        assert_eq!(got, expected);
    }

    #[test]
    fn an_error_of_the_sink_ends_the_run() {
        let items: Vec<u64> = (0..10_000).collect();
        let mut seen = 0;
        let ended = in_order(
            &items,
            |i| Ok(*i),
            |i, _| {
                seen += 1;
                if i == 5 {
                    Err(Error::new(Kind::Io, "full"))
                } else {
                    Ok(())
                }
            },
        );
        assert_eq!(ended.unwrap_err().kind(), Kind::Io);
        assert_eq!(seen, 6);
    }
}
