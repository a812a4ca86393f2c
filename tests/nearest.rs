//! What every index promises; one suite runs on each.

mod nearest {
    pub(crate) mod clustered;
    mod suite;
}
