//! Turns a panic inside a decoder into a value, without a word on stderr.
//!
//! Decoders are given damaged files as a matter of course. One that panics must
//! cost one row of a batch, not the run, and its backtrace helps no user.

use std::{
    cell::Cell,
    panic::{self, AssertUnwindSafe},
    sync::Once,
};

thread_local! {
    /// Whether this thread is inside [`quietly`].
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// Runs `work`; if it panics, gives the panic's message.
///
/// The panic hook in force at the first call is kept and still sees every panic
/// of other threads and of code outside `quietly`.
pub(super) fn quietly<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            // A panic while the thread's locals are torn down is not ours.
            if !QUIET.try_with(Cell::get).unwrap_or(false) {
                before(info);
            }
        }));
    });
    let outer = QUIET.replace(true);
    // Nothing that `work` borrows is looked at again after a panic: callers
    // hand over bytes and get back a picture or nothing.
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(outer);
    outcome.map_err(|payload| {
        payload
            .downcast_ref::<&str>()
            .map(|s| (*s).to_owned())
            .or_else(|| payload.downcast_ref::<String>().cloned())
            .unwrap_or_else(|| "no reason given".to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_its_message_and_nesting_keeps_quiet() {
        let outcome = quietly(|| {
            let inner = quietly(|| -> u8 { panic!("inner") });
            assert_eq!(inner, Err("inner".to_owned()));
            assert!(QUIET.get(), "still inside the outer call");
            std::hint::black_box(None::<u8>).expect("outer")
        });
        assert_eq!(outcome, Err("outer".to_owned()));
        assert!(!QUIET.get());
        assert_eq!(quietly(|| 7), Ok(7));
    }
}
