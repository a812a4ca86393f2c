//! What the cabinet promises: what it reported is there, whatever happens to the
//! process, the files or the format.

mod cabinet {
    mod changes;
    pub(crate) mod common;
    mod damage;
    mod formats;
    mod killed;
    mod labels;
    mod notes;
    mod size;
    mod undo;
}
