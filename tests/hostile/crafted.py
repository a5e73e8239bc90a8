"""Crafted libraries: photos that are none, and schemas that would run."""

import hashlib
import stat
import struct
import zipfile
import zlib

from tests.hostile.sent import ENDLESS, SCRIPT, SECRET, Sent, attack, jpeg

# --- photos ----------------------------------------------------------------------------------------------------------


@attack
def a_photo_that_is_a_file_of_the_victim(sent: Sent) -> None:
    sent.photo(SECRET, str(sent.outside / "secret"))


@attack
def the_same_as_a_bare_database(sent: Sent) -> None:
    sent.photo(SECRET, str(sent.outside / "secret"))
    sent.bare = True


@attack
def a_photo_by_way_of_the_folder_above(sent: Sent) -> None:
    sent.photo(SECRET, f"../../{sent.outside.name}/secret")


@attack
def a_photo_that_overwrites_a_file_of_the_victim(sent: Sent) -> None:
    sent.photo(jpeg(), str(sent.outside / "secret"), "{}.jpg")


@attack
def a_photo_that_is_a_program(sent: Sent) -> None:
    sent.photo(SCRIPT, "{}.sh", "{}.sh")


@attack
def a_photo_that_is_any_text(sent: Sent) -> None:
    sent.photo(SECRET, "x.jpg", "{}.jpg")


@attack
def a_picture_with_the_ending_of_a_program(sent: Sent) -> None:
    sent.photo(jpeg(), "x.exe", "{}.exe")


@attack
def a_picture_with_a_program_behind_it_as_a_page(sent: Sent) -> None:
    sent.photo(jpeg() + b"<script>alert(1)</script>", "x.html", "{}.html")


@attack
def a_photo_under_the_hash_of_another(sent: Sent) -> None:
    sent.photo(SCRIPT, "x.jpg")
    sent.photos[hashlib.sha256(SCRIPT).hexdigest() + ".jpg"] = jpeg()


@attack
def a_picture_of_two_billion_pixels(sent: Sent) -> None:
    head = struct.pack(">IIBBBBB", 46_000, 46_000, 8, 0, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(10_000_000), 9)), (b"IEND", b"")]
    body = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )
    sent.photo(b"\x89PNG\r\n\x1a\n" + body, "x.png", "{}.png")


@attack
def a_photo_that_unpacks_to_half_a_gigabyte(sent: Sent) -> None:
    sent.photo(jpeg() + bytes(450 * 2**20), "x.jpg", "{}.jpg")


@attack
def a_photo_that_leads_out_of_the_zip_file(sent: Sent) -> None:
    sent.entries.append((zipfile.ZipInfo(f"../../{sent.outside.name}/secret"), SCRIPT))


@attack
def a_photo_that_is_a_link(sent: Sent) -> None:
    entry = zipfile.ZipInfo(f"photos/{sent.photo(SECRET, 'x.jpg')}.jpg")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    sent.entries.append((entry, str(sent.outside / "secret").encode()))


# --- what would run --------------------------------------------------------------------------------------------------


@attack
def a_trigger_that_empties_the_shelf(sent: Sent) -> None:
    sent.sql("CREATE TRIGGER t AFTER INSERT ON paint BEGIN DELETE FROM swatch; END")


@attack
def a_trigger_that_refuses_every_step(sent: Sent) -> None:
    sent.sql("CREATE TRIGGER t BEFORE INSERT ON step BEGIN SELECT RAISE(ABORT, 'owned'); END")


@attack
def a_trigger_that_sends_each_new_photo_elsewhere(sent: Sent) -> None:
    place = str(sent.outside / "secret")
    sent.sql(f"CREATE TRIGGER t AFTER INSERT ON photo BEGIN UPDATE photo SET file = '{place}'; END")


@attack
def a_trigger_that_never_ends(sent: Sent) -> None:
    sent.sql(f"CREATE TRIGGER t AFTER UPDATE ON setting BEGIN INSERT INTO fit {ENDLESS} i, i, i FROM n; END")


def _in_place_of(sent: Sent, table: str, view: str) -> None:
    sent.sql("PRAGMA foreign_keys = OFF", f"DROP TABLE {table}", f"CREATE VIEW {table} AS {view}")


@attack
def swatches_that_never_end(sent: Sent) -> None:
    columns = ", ".join(f"i AS {name}" for name in ("id", "paint", "coats", "L", "a", "b", "photo"))
    _in_place_of(sent, "swatch", f"{ENDLESS} {columns} FROM n")


@attack
def settings_that_never_end(sent: Sent) -> None:
    _in_place_of(sent, "setting", f"{ENDLESS} i AS key, i AS value FROM n WHERE i < 0")


@attack
def fits_that_never_end(sent: Sent) -> None:
    _in_place_of(sent, "fit", f"{ENDLESS} i AS key, i AS value, i AS made FROM n WHERE i < 0")


@attack
def a_further_view_that_never_ends(sent: Sent) -> None:
    sent.sql(f"CREATE VIEW more AS {ENDLESS} i FROM n")


@attack
def a_column_that_is_computed(sent: Sent) -> None:
    sent.sql("ALTER TABLE paint ADD COLUMN more TEXT AS (hex(zeroblob(400000000)))")


@attack
def a_check_that_takes_years(sent: Sent) -> None:
    pattern = "*a" * 40 + "b"
    sql = f"CREATE TABLE more (x CHECK (x NOT GLOB '{pattern}'))"
    sent.sql("CREATE TABLE more (x)", ("INSERT INTO more VALUES (?)", ("a" * 100_000,)))
    sent.sql(("UPDATE sqlite_schema SET sql = ? WHERE name = 'more'", (sql,)), schema=True)


@attack
def an_index_that_takes_years(sent: Sent) -> None:
    sent.sql("CREATE INDEX more ON swatch (id)")
    sql = f"CREATE INDEX more ON swatch (id) WHERE notes GLOB '{'*n' * 60}x'"
    sent.sql(("UPDATE sqlite_schema SET sql = ? WHERE name = 'more'", (sql,)), schema=True)


@attack
def a_virtual_table_in_a_table_s_place(sent: Sent) -> None:
    sent.sql("DROP TABLE ground", "CREATE VIRTUAL TABLE ground USING fts5(name, L, a, b)")


@attack
def two_tables_of_one_name(sent: Sent) -> None:
    row = "SELECT type, 'PAINT', 'PAINT', rootpage, replace(sql, 'paint', 'PAINT') FROM sqlite_schema"
    sent.sql(f"INSERT INTO sqlite_schema {row} WHERE name = 'paint'", schema=True)


@attack
def ten_thousand_further_tables(sent: Sent) -> None:
    numbers = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n LIMIT 10000)"
    row = "SELECT 'table', 'more' || i, 'more' || i, 2, 'CREATE TABLE more' || i || ' (x)' FROM n"
    sent.sql(f"INSERT INTO sqlite_schema {numbers} {row}", schema=True)
