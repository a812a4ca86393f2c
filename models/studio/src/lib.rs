//! The studio: a small, deterministic renderer of turned ware.
//!
//! Everything it shows is invented: ware is grown from parameters, decorated, set on a table, lit and photographed, and
//! each photo comes with its truth (masks, labels, camera, light). It exists to make footring's demo set and the test
//! worlds that judge footring's channels; it shares no code with whatever trained them.
//!
//! Frame used throughout: millimetres, y up, the table at y = 0, the axis of a piece at its own x = z = 0, its handle
//! towards its own +x, its spout towards −x. The same seed gives the same bytes, whatever the number of threads.

pub mod backdrop;
pub mod camera;
pub mod card;
mod coarse;
pub mod decor;
pub mod demo;
pub mod develop;
pub mod drawing;
pub mod field;
pub mod form;
pub mod glaze;
pub mod labels;
pub mod light;
pub mod motif;
pub mod output;
pub mod pattern;
pub mod photo;
pub mod revolve;
pub mod rng;
pub mod scene;
pub mod section;
pub mod series;
pub mod shape;
pub mod sheet;
pub mod solid;
pub mod stranger;
pub mod trace;
pub mod tube;
pub mod vec3;
pub mod warp;
pub mod world;
