//! The graph as a file: little-endian 32-bit numbers, checked number by number
//! when read.

use super::net::Net;
use crate::error::{Error, Kind, Result};

/// "net1": what the file is, and its version.
const MAGIC: u32 = 0x3174_656e;

/// Magic, links, entry, rows, loose rows; then levels (one number each), lists of
/// the lowest layer, lists of the upper layers, loose rows.
pub(super) fn write(net: &Net, loose: &[u32]) -> Vec<u8> {
    let head = [
        MAGIC,
        net.links as u32,
        net.entry,
        net.rows() as u32,
        loose.len() as u32,
    ];
    head.into_iter()
        .chain(net.levels.iter().map(|level| u32::from(*level)))
        .chain(net.lowest.iter().copied())
        .chain(net.upper.iter().copied())
        .chain(loose.iter().copied())
        .flat_map(u32::to_le_bytes)
        .collect()
}

/// Reads what [`write`] wrote for `rows` rows; nothing that it gives can lead a
/// search astray.
pub(super) fn read(bytes: &[u8], rows: usize) -> Result<(Net, Vec<u32>)> {
    parse(bytes, rows).ok_or_else(|| {
        Error::new(Kind::Cabinet, "is not the graph of these rows")
            .remedy("nothing is lost: it is made again from the catalogue")
    })
}

fn parse(bytes: &[u8], rows: usize) -> Option<(Net, Vec<u32>)> {
    let (items, []) = bytes.as_chunks::<4>() else {
        return None;
    };
    let numbers: Vec<u32> = items.iter().map(|item| u32::from_le_bytes(*item)).collect();
    let (head, rest) = numbers.split_first_chunk::<5>()?;
    let [magic, links, entry, stored, loose] = *head;
    if magic != MAGIC || stored as usize != rows || !(2..=256).contains(&links) {
        return None;
    }
    let (levels, rest) = rest.split_at_checked(rows)?;
    let levels: Vec<u8> = levels
        .iter()
        .map(|level| u8::try_from(*level).ok().filter(|level| *level < 16))
        .collect::<Option<_>>()?;
    if entry as usize >= rows.max(1) {
        return None;
    }
    let mut net = Net::new(links as usize, levels);
    net.entry = entry;
    let (lowest, rest) = rest.split_at_checked(net.lowest.len())?;
    let (upper, rest) = rest.split_at_checked(net.upper.len())?;
    net.lowest.copy_from_slice(lowest);
    net.upper.copy_from_slice(upper);
    if rest.len() != loose as usize || rest.iter().any(|row| *row as usize >= rows) {
        return None;
    }
    let is_sound = (0..rows as u32).all(|row| {
        (0..=net.levels[row as usize]).all(|layer| {
            net.length(row, layer) <= net.room(layer)
                && net
                    .list(row, layer)
                    .iter()
                    .all(|link| (*link as usize) < rows && net.levels[*link as usize] >= layer)
        })
    });
    is_sound.then(|| (net, rest.to_vec()))
}
