"""Hand-overs for tests that read them back, and the ways in which somebody may damage one. Everything is invented."""

import contextlib
import shutil
import sqlite3
from pathlib import Path

import pytest

from asbuilt import build, settings
from asbuilt.publish import checksums, webmap
from asbuilt.verify import CHECKS, verify
from tests.making import E0, HEADING, N0, make_route

RECORD = '<script id="record" type="text/plain">'


def rows(*, without=(), changed=None, more=()):
    """Records of joints J1 to J10, 12 m apart, one an hour; `changed` maps a number to (east, north, heater)."""
    told = [(i, *(changed or {}).get(i, (12.0 * i, 0.0, 215))) for i in range(1, 11) if i not in without]
    lines = [f"J{i},2026-03-01 {7 + i:02d}:00,{E0 + x:.3f},{N0 + y:.3f},{heat},M1,op 1" for i, x, y, heat in told]
    return "\n".join([",".join((*HEADING, "Machine", "Operator")), *lines, *more, ""])


def hand_over(place, records, **how):
    """Build a small route in `place` and return its hand-over: the record, and the folder."""
    route = make_route(place / "route", records=records, **how)
    made = build.build(settings.load(route))
    out = place / "out"
    out.mkdir()
    build.publish(made, out)
    return made, out


def copied(folder, place):
    return Path(shutil.copytree(folder, place))


def resum(folder):
    """Do what whoever changes a file would do next."""
    (folder / checksums.SIGNATURE).unlink(missing_ok=True)
    checksums.write_checksums(folder)
    return folder


def edit_geopackage(folder, *statements):
    with contextlib.closing(sqlite3.connect(folder / "asbuilt.gpkg")) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f'DROP TRIGGER "{name}"')  # they call functions that plain SQLite does not have
        for statement in statements:
            assert base.execute(statement).rowcount != 0, statement
        counted = any("feature_count" in statement for statement in statements)
        for (name,) in [] if counted else base.execute("SELECT table_name FROM gpkg_ogr_contents").fetchall():
            with contextlib.suppress(sqlite3.OperationalError):  # what is no table any more has no rows
                (count,) = base.execute(f'SELECT count(*) FROM "{name}"').fetchone()  # noqa: S608
                base.execute("UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?", (count, name))
        base.commit()
    return resum(folder)


def edit_text(folder, name, old, new):
    data = (folder / name).read_bytes()
    assert data.count(old.encode()) >= 1
    (folder / name).write_bytes(data.replace(old.encode(), new.encode(), 1))
    return resum(folder)


def edit_page(folder, change):
    """Let `change` work on the document of the map, in place."""
    text = (folder / webmap.NAME).read_text(encoding="utf-8")
    before, behind = text.split(RECORD)
    packed, rest = behind.split("</script>", 1)
    document = webmap.unpacked(packed)
    change(document)
    (folder / webmap.NAME).write_text(
        f"{before}{RECORD}{webmap.packed(document)}</script>{rest}", encoding="utf-8", newline="\n"
    )
    return resum(folder)


def failing(folder, *names, **how):
    """The checks that do not hold, with what was found: of all, or of those that are named."""
    looks = [(name, look) for name, look in CHECKS if name in names] if names else CHECKS
    assert len(looks) == len(names or CHECKS)
    return {check.name: check.faults for check in verify(folder, looks=looks, **how) if check.state == "does not hold"}


needs_openssl = pytest.mark.skipif(shutil.which("openssl") is None, reason="there is no openssl command here")
needs_sha256sum = pytest.mark.skipif(shutil.which("sha256sum") is None, reason="there is no sha256sum command here")
