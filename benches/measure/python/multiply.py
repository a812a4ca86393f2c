"""Makes a large cabinet out of a small one, to measure memory with.

Copies the catalogue's photos under new names and hashes, each with its vectors
moved a little (the embedding and colour vectors keep unit length), until there
are COUNT photos. Only the copy is written.

    python multiply.py CABINET COUNT
"""

import hashlib
import pathlib
import sqlite3
import sys

import numpy as np

cabinet, count = pathlib.Path(sys.argv[1]), int(sys.argv[2])
random = np.random.default_rng(4021)
database = sqlite3.connect(cabinet / "catalogue.sqlite")
database.execute("PRAGMA foreign_keys = ON")


def columns(table, without):
    rows = database.execute(f"PRAGMA table_info({table})")
    return [row[1] for row in rows if row[1] not in without]


def copy(table, key, old, new):
    kept = ", ".join(columns(table, {"id", key}))
    database.execute(
        f"INSERT INTO {table} ({key}, {kept}) SELECT ?, {kept} FROM {table} WHERE {key} = ?",
        (new, old),
    )


views = database.execute(
    "SELECT id, piece_id, photo FROM views WHERE removed_at IS NULL ORDER BY id"
).fetchall()
names = dict(database.execute("SELECT id, name FROM pieces"))
features = {
    view: database.execute(
        "SELECT channel, version, dim, vector FROM features WHERE view_id = ?", (view,)
    ).fetchall()
    for view, _, _ in views
}
kept = columns("views", {"id", "piece_id", "photo", "sha256"})
made, turn = len(views), 0
while made < count:
    turn += 1
    pieces = {}
    for view, piece, photo in views[: count - made]:
        if piece not in pieces:
            name = f"{names[piece]} copy {turn}"
            pieces[piece] = database.execute(
                "INSERT INTO pieces (name) VALUES (?)", (name,)
            ).lastrowid
            copy("piece_labels", "piece_id", piece, pieces[piece])
        new_photo = f"{photo}#{turn}"
        sha256 = hashlib.sha256(new_photo.encode()).hexdigest()
        new = database.execute(
            f"INSERT INTO views (piece_id, photo, sha256, {', '.join(kept)}) "
            f"SELECT ?, ?, ?, {', '.join(kept)} FROM views WHERE id = ?",
            (pieces[piece], new_photo, sha256, view),
        ).lastrowid
        copy("view_labels", "view_id", view, new)
        for channel, version, dim, vector in features[view]:
            vector = np.frombuffer(vector, "<f4")
            moved = vector + random.normal(0, 0.3 * np.abs(vector).mean(), dim).astype("<f4")
            if channel != "outline":
                moved *= np.linalg.norm(vector) / max(np.linalg.norm(moved), 1e-9)
            database.execute(
                "INSERT INTO features (view_id, channel, version, dim, vector) VALUES (?, ?, ?, ?, ?)",
                (new, channel, version, dim, moved.astype("<f4").tobytes()),
            )
        made += 1
database.execute("UPDATE meta SET value = value + 1 WHERE key = 'revision'")
database.commit()
database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
database.close()
print(made)
