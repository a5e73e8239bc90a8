"""Crafted libraries: pages that go in circles, and rows that no record of ours makes."""

import io
import json
import sqlite3
import struct
from contextlib import closing

import numpy as np

from tests.hostile.crafted import a_further_view_that_never_ends
from tests.hostile.sent import Sent, attack

# --- pages -----------------------------------------------------------------------------------------------------------


@attack
def a_tree_whose_branches_are_all_one_leaf(sent: Sent) -> None:
    """SQLite Database File Format, 1.6: the cells of an inner page begin with the child's number."""
    with closing(sqlite3.connect(sent.database)) as connection:
        size = connection.execute("PRAGMA page_size").fetchone()[0]
        root = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'swatch'").fetchone()[0]
    content = bytearray(sent.database.read_bytes())
    page = (root - 1) * size
    assert content[page] == 5  # an inner page of a table
    cells = struct.unpack_from(f">{struct.unpack_from('>H', content, page + 3)[0]}H", content, page + 12)
    for cell in cells:
        content[page + cell : page + cell + 4] = content[page + cells[0] : page + cells[0] + 4]
    sent.database.write_bytes(content)


@attack
def the_same_tree_where_the_check_of_pages_can_t_be_run(sent: Sent) -> None:
    a_tree_whose_branches_are_all_one_leaf(sent)
    a_further_view_that_never_ends(sent)


@attack
def a_table_that_is_another_s_tree(sent: Sent) -> None:
    other = "(SELECT rootpage FROM sqlite_schema WHERE name = 'swatch')"
    sent.sql(f"UPDATE sqlite_schema SET rootpage = {other} WHERE name = 'paint'", schema=True)


@attack
def half_a_database(sent: Sent) -> None:
    content = sent.database.read_bytes()
    sent.database.write_bytes(content[: len(content) // 2])


@attack
def a_database_in_another_mode(sent: Sent) -> None:
    content = bytearray(sent.database.read_bytes())
    content[18:20] = b"\2\2"  # a write-ahead log, which isn't there
    sent.database.write_bytes(content)


# --- rows ------------------------------------------------------------------------------------------------------------


def _change(sent: Sent, kind: str, document: object) -> None:
    sent.sql(("UPDATE change SET kind = ?, document = ?", (kind, json.dumps(document))))


@attack
def an_undo_that_writes_a_photo_s_row(sent: Sent) -> None:
    _change(sent, "photo", {"sha256": "0" * 64, "file": str(sent.outside / "secret"), "bytes": 1, "added": ""})


@attack
def an_undo_in_a_table_of_sqlite_s(sent: Sent) -> None:
    _change(sent, "sqlite_schema", {"sql": "CREATE TABLE x (x)"})


@attack
def an_undo_whose_columns_are_sql(sent: Sent) -> None:
    _change(sent, "paint", {'name") VALUES (1, 2); --': "x"})


@attack
def an_undo_whose_table_is_sql(sent: Sent) -> None:
    _change(sent, 'paint" WHERE 0 UNION SELECT * FROM setting; --', {"name": "x"})


@attack
def rows_that_are_no_records(sent: Sent) -> None:
    sent.sql(
        "UPDATE swatch SET L = 'x' WHERE id = 1",
        "UPDATE swatch SET a = 9e999 WHERE id = 2",
        "UPDATE swatch SET notes = x'00ff' WHERE id = 3",
        "UPDATE swatch SET notes = cast(x'61ff62' AS TEXT) WHERE id = 4",
        "UPDATE swatch SET extra = '{\"a\": 1}' WHERE id = 5",
        ("UPDATE swatch SET extra = ? WHERE id = 6", ("[" * 100_000,)),
        "UPDATE swatch SET coats = -3 WHERE id = 7",
        "UPDATE swatch SET region = '1,1 x' WHERE id = 8",
        "UPDATE swatch SET photo = '../../secret' WHERE id = 9",
        "UPDATE swatch SET taken = '\x1b[2J' WHERE id = 10",
        ("UPDATE swatch SET notes = ? WHERE id = 11", ("n" * 30_000,)),
    )


@attack
def a_repair_that_is_none(sent: Sent) -> None:
    sent.sql(
        "INSERT INTO repair VALUES (7, 'a', 'x', 'y', 1, '{}', '[\"../../secret\"]')",
        "INSERT INTO repair VALUES (8, 'b', '', '', 'one', '{}', '[]')",
        ("INSERT INTO repair VALUES (9, 'c', '', '', 1, ?, '[]')", ("[" * 100_000,)),
        "INSERT INTO repair VALUES (10, 'd', '', '', 1, '{}', 'no list')",
    )


@attack
def numbers_at_their_end(sent: Sent) -> None:
    last = 2**63 - 1
    sent.sql(
        f"UPDATE sqlite_sequence SET seq = {last}",
        f"INSERT INTO repair VALUES ({last}, 'last', '', '', 1, '{{}}', '[]')",
        f"INSERT INTO setting VALUES ('draft-patch', '{'[' * 5000}')",
    )


@attack
def a_fit_that_is_a_program(sent: Sent) -> None:
    packed = io.BytesIO()
    np.savez(packed, theta=np.array([print], dtype=object))
    sent.sql(("INSERT INTO fit VALUES ('key', ?, 1)", (packed.getvalue(),)))


@attack
def settings_that_are_none(sent: Sent) -> None:
    sent.sql(
        ("INSERT INTO setting VALUES ('printed-sheets', ?)", ("[" * 100_000,)),
        ("INSERT INTO setting VALUES ('../../x', 'y')", ()),
        ("INSERT INTO setting VALUES ('card-size', x'ff00')", ()),
        ("INSERT INTO setting VALUES ('draft-board', ?)", ("{" + " " * 9 * 2**20,)),
    )


@attack
def text_of_twice_the_width(sent: Sent) -> None:
    """UTF-16, which is longer in our form for many a script."""
    new = sent.database.with_name("wide.sqlite3")
    with closing(sqlite3.connect(sent.database)) as old, closing(sqlite3.connect(new, isolation_level=None)) as wide:
        wide.execute("PRAGMA encoding = 'UTF-16le'")
        for (sql,) in old.execute("SELECT sql FROM sqlite_schema WHERE sql NOT NULL AND name NOT LIKE 'sqlite_%'"):
            wide.execute(sql)
        for table in ("paint", "swatch"):
            for row in old.execute(f"SELECT * FROM {table}"):
                wide.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)
        wide.execute("UPDATE swatch SET notes = ?", ("\u6f06" * 5000,))
        for pragma in ("user_version", "application_id"):
            wide.execute(f"PRAGMA {pragma} = {old.execute(f'PRAGMA {pragma}').fetchone()[0]}")
    sent.database = new
