//! The catalogue's tables and their version. `index/README.md` describes them.

use std::{fs::File, io::Read, path::Path, time::Duration};

use rusqlite::{Connection, OpenFlags};

use crate::error::{Error, Kind, Result};

pub(super) const CATALOGUE: &str = "catalogue.sqlite";

/// Version of the tables this program writes.
pub(super) const VERSION: u32 = 1 + UPGRADES.len() as u32;

/// "foot": says whose file it is.
const APPLICATION_ID: u32 = 0x666f_6f74;

/// The tables of version 1.
const TABLES: &str = "
CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value INTEGER NOT NULL
) STRICT;
INSERT INTO meta VALUES ('revision', 0), ('base', 0);

CREATE TABLE pieces (
    id   INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE piece_labels (
    piece_id  INTEGER NOT NULL REFERENCES pieces(id) ON DELETE CASCADE,
    label     TEXT NOT NULL,
    value     TEXT NOT NULL,
    who       TEXT NOT NULL,
    certainty REAL NOT NULL,
    PRIMARY KEY (piece_id, label)
) STRICT, WITHOUT ROWID;

CREATE TABLE views (
    id            INTEGER PRIMARY KEY AUTOINCREMENT,
    piece_id      INTEGER NOT NULL REFERENCES pieces(id),
    photo         TEXT NOT NULL,
    sha256        TEXT NOT NULL,
    width_px      INTEGER NOT NULL,
    height_px     INTEGER NOT NULL,
    captured      TEXT,
    seen_as       TEXT,
    added_at      TEXT NOT NULL,
    removed_at    TEXT,
    warnings_json TEXT NOT NULL,
    outline_json  TEXT NOT NULL,
    palette_json  TEXT NOT NULL,
    thumbnail     BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX views_by_content ON views(sha256) WHERE removed_at IS NULL;
CREATE INDEX views_by_piece ON views(piece_id);
CREATE INDEX views_by_photo ON views(photo);

CREATE TABLE view_labels (
    view_id   INTEGER NOT NULL REFERENCES views(id) ON DELETE CASCADE,
    label     TEXT NOT NULL,
    value     TEXT NOT NULL,
    who       TEXT NOT NULL,
    certainty REAL NOT NULL,
    PRIMARY KEY (view_id, label)
) STRICT, WITHOUT ROWID;

CREATE TABLE features (
    id      INTEGER PRIMARY KEY,
    view_id INTEGER NOT NULL REFERENCES views(id) ON DELETE CASCADE,
    channel TEXT NOT NULL,
    version INTEGER NOT NULL,
    dim     INTEGER NOT NULL,
    vector  BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX features_by_view ON features(view_id, channel);
CREATE INDEX features_by_channel ON features(channel, version, dim, view_id);

CREATE TABLE history (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    at     TEXT NOT NULL,
    who    TEXT NOT NULL,
    action TEXT NOT NULL,
    piece  TEXT NOT NULL,
    photo  TEXT,
    label  TEXT,
    old    TEXT,
    new    TEXT
) STRICT;
";

/// What makes each version out of the one before; a new catalogue goes through
/// all of them, so that the two cannot differ.
const UPGRADES: [&str; 1] = [
    // 2: the history holds what taking a change back needs, pairs of labels have
    // notes, and `borrowed_from` is known as a label of the piece.
    "
INSERT INTO meta VALUES ('change', 0);
ALTER TABLE history ADD COLUMN change INTEGER;
ALTER TABLE history ADD COLUMN undoes INTEGER;
ALTER TABLE history ADD COLUMN piece_id INTEGER;
ALTER TABLE history ADD COLUMN view_id INTEGER;
ALTER TABLE history ADD COLUMN note_id INTEGER;
ALTER TABLE history ADD COLUMN old_who TEXT;
ALTER TABLE history ADD COLUMN old_certainty REAL;
CREATE INDEX history_by_change ON history(change);

CREATE TABLE notes (
    id    INTEGER PRIMARY KEY AUTOINCREMENT,
    level TEXT NOT NULL,
    a     TEXT NOT NULL,
    b     TEXT NOT NULL,
    text  TEXT NOT NULL,
    who   TEXT NOT NULL,
    at    TEXT NOT NULL,
    UNIQUE (level, a, b)
) STRICT;

INSERT OR IGNORE INTO piece_labels
    SELECT v.piece_id, l.label, l.value, l.who, l.certainty
    FROM view_labels l JOIN views v ON v.id = l.view_id
    WHERE l.label = 'borrowed_from' ORDER BY v.removed_at IS NOT NULL, v.id;
DELETE FROM view_labels WHERE label = 'borrowed_from';
",
];

/// Opens the catalogue and, if `create`, lays its tables where there are none.
/// For writing, one of an older version is brought up to this one first; for
/// reading it is left as it is (see [`knows_changes`]).
pub(super) fn open(dir: &Path, write: bool, create: bool) -> Result<Connection> {
    let file = dir.join(CATALOGUE);
    match stored_version(&file)? {
        // 0 is what the header says until the first checkpoint.
        Some(0) => {}
        Some(version) => check_version(dir, version)?,
        None if create => {}
        None => return Err(no_cabinet(dir)),
    }
    let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    if create {
        flags |= OpenFlags::SQLITE_OPEN_CREATE;
    }
    let connection = Connection::open_with_flags(&file, flags).map_err(broken)?;
    connection
        .busy_timeout(Duration::from_secs(20))
        .map_err(broken)?;
    if !write {
        let connection = readable(connection, &file)?;
        connection
            .execute_batch("PRAGMA query_only = ON")
            .map_err(broken)?;
        check_version(dir, user_version(&connection)?)?;
        return Ok(connection);
    }
    // Nothing is written before the version is known to be ours.
    let version = user_version(&connection)?;
    let blank = version == 0 && create && is_blank(&connection)?;
    if !blank {
        check_version(dir, version)?;
    }
    let mut connection = connection;
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON",
        )
        .map_err(broken)?;
    if version < VERSION {
        let tx = connection.transaction().map_err(broken)?;
        if blank {
            tx.execute_batch(TABLES).map_err(broken)?;
        }
        for upgrade in &UPGRADES[version.saturating_sub(1) as usize..] {
            tx.execute_batch(upgrade).map_err(broken)?;
        }
        tx.execute_batch(&format!(
            "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION}"
        ))
        .map_err(broken)?;
        tx.commit().map_err(broken)?;
        // Into the file's header, where an older program looks first.
        connection
            .execute_batch("PRAGMA wal_checkpoint(TRUNCATE)")
            .map_err(broken)?;
    }
    Ok(connection)
}

/// A catalogue in a folder that may not be written can be read only as a file
/// that nobody changes.
fn readable(connection: Connection, file: &Path) -> Result<Connection> {
    let Err(e) = user_version(&connection) else {
        return Ok(connection);
    };
    let mut wal = file.as_os_str().to_owned();
    wal.push("-wal");
    if std::fs::metadata(&wal).is_ok_and(|m| m.len() > 0) {
        return Err(e);
    }
    let mut uri = String::from("file:");
    for c in file.to_string_lossy().chars() {
        match c {
            '%' => uri.push_str("%25"),
            '?' => uri.push_str("%3f"),
            '#' => uri.push_str("%23"),
            c => uri.push(c),
        }
    }
    uri.push_str("?immutable=1");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_URI
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(uri, flags).map_err(broken)
}

/// The version in the file's header, read without touching it; `None` if there
/// is no file or an empty one (a creation that was cut short).
fn stored_version(file: &Path) -> Result<Option<u32>> {
    let mut opened = match File::open(file) {
        Ok(opened) => opened,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(Error::from(e).in_file(file)),
    };
    let mut header = [0u8; 100];
    if opened.metadata().map_err(Error::from)?.len() == 0 {
        return Ok(None);
    }
    if opened.read_exact(&mut header).is_err() || !header.starts_with(b"SQLite format 3\0") {
        return Err(Error::new(
            Kind::Cabinet,
            "is no catalogue, or its beginning is damaged",
        )
        .in_file(file)
        .remedy("restore the cabinet from a copy"));
    }
    let at =
        |n: usize| u32::from_be_bytes([header[n], header[n + 1], header[n + 2], header[n + 3]]);
    let (version, application) = (at(60), at(68));
    if application != APPLICATION_ID && version != 0 {
        return Err(Error::new(Kind::Cabinet, "is a database of another program").in_file(file));
    }
    Ok(Some(version))
}

fn check_version(dir: &Path, version: u32) -> Result<()> {
    if version == 0 {
        return Err(no_cabinet(dir));
    }
    if version > VERSION {
        return Err(Error::new(
            Kind::Cabinet,
            format!(
                "has format {version}, written by a newer footring; this one knows formats up to {VERSION} and has changed nothing"
            ),
        )
        .in_file(dir)
        .remedy("update footring"));
    }
    Ok(())
}

pub(super) fn no_cabinet(dir: &Path) -> Error {
    Error::new(Kind::Cabinet, "is no cabinet")
        .in_file(dir)
        .remedy("name another with `--cabinet`, or make one with `footring add`")
}

pub(super) fn user_version(connection: &Connection) -> Result<u32> {
    connection
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .map_err(broken)
}

/// Whether the catalogue is of a version that has the table `notes` and knows
/// which lines of history belong together; one that was opened for reading may
/// be older.
pub(super) fn knows_changes(connection: &Connection) -> Result<bool> {
    Ok(user_version(connection)? >= 2)
}

/// Whether no table was made yet.
pub(super) fn is_blank(connection: &Connection) -> Result<bool> {
    connection
        .query_row("SELECT count(*) = 0 FROM sqlite_schema", [], |row| {
            row.get(0)
        })
        .map_err(broken)
}

/// What a failure of the catalogue is called.
#[expect(clippy::needless_pass_by_value, reason = "used as `.map_err(broken)`")]
pub(super) fn broken(e: rusqlite::Error) -> Error {
    use rusqlite::ErrorCode as Code;
    let (kind, message, remedy) = match e.sqlite_error_code() {
        Some(Code::DiskFull) => (Kind::Io, "the disk is full", "make room and try again"),
        Some(Code::ReadOnly | Code::PermissionDenied) => (
            Kind::Io,
            "the catalogue may not be written",
            "check the permissions of the cabinet's folder",
        ),
        Some(Code::DatabaseBusy | Code::DatabaseLocked) => (
            Kind::Cabinet,
            "the catalogue is busy",
            "wait until the other program is done",
        ),
        _ => (
            Kind::Cabinet,
            "the catalogue could not be read or written",
            "run `footring cabinet verify`",
        ),
    };
    Error::new(kind, message)
        .caused_by(e.to_string())
        .remedy(remedy)
}
