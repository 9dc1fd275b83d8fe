"""[export]: which further files an owner asks for, and the names that the owner's own tables have."""

import tomllib
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from asbuilt import tables
from asbuilt.as_built import Exports
from asbuilt.errors import Problem
from asbuilt.settings.parts import InsidePath, Part, YesNo
from asbuilt.settings.paths import as_path, is_inside

EXPORTED = (tables.JOINTS, tables.GAPS, tables.ALIGNMENT, tables.CHAINAGE_MARKS)
_BY_NAME = {table.name: table for table in EXPORTED}
_EXAMPLE = '[joints] and below it a line such as joint_id = "WELD_REF"'
_MOST_BYTES = 1 << 20


class ExportOptions(Part):
    """[export]: nothing is written that is not asked for."""

    shapefile: YesNo = False
    geojson: YesNo = False
    kml: YesNo = False
    dxf: YesNo = False
    fields: InsidePath | None = None

    def exports(self, folder: Path) -> Exports:
        """Return what is asked for, with the names read from the file in the route folder."""
        asked = {name: getattr(self, name) for name in ("shapefile", "geojson", "kml", "dxf")}
        names, _ = _read(folder / self.fields) if self.fields else ({}, [])
        return Exports(**asked, names=names)


def export_faults(asked: Mapping[str, Any], folder: Path) -> Iterator[Problem]:
    """Yield what is wrong with [export] beyond its keys: the file of names, and a library that is not there."""
    export = asked.get("export")
    if not isinstance(export, dict):
        return
    if export.get("dxf") is True and find_spec("ezdxf") is None:
        yield Problem("route.toml: export.dxf", "the library ezdxf is not installed", 'install "asbuilt[dxf]"')
    file = export.get("fields")
    if is_inside(file):
        path = folder / as_path(str(file))
        yield from (Problem(f"{file}: {key}" if key else str(file), what, do) for key, what, do in _read(path)[1])


def _read(path: Path) -> tuple[dict[str, dict[str, str]], list[tuple[str, str, str]]]:
    """Return the owner's names by table and column of ours, and faults as key, what was found, what to do."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            return {}, [("", f"it has more than {_MOST_BYTES:,} bytes", f"it holds {_EXAMPLE}")]
        asked = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return {}, [("", "there is no such file", "correct the name, or put the file in the route folder")]
    except OSError as error:
        return {}, [("", f"it cannot be read ({error.strerror})", "check its rights")]
    except (ValueError, RecursionError) as error:
        return {}, [("", f"not TOML: {error}", "mend that line")]
    faults = [fault for table, names in asked.items() for fault in _faults(table, names)]
    return ({} if faults else asked), (faults or _empty(asked))


def _empty(asked: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    return [] if asked else [("", "it names nothing", f"it holds {_EXAMPLE}")]


def _faults(table: str, names: Any) -> Iterator[tuple[str, str, str]]:
    if table not in _BY_NAME:
        yield table, "no table that is exported has this name", _near(table, tuple(_BY_NAME))
    elif not isinstance(names, dict) or not names:
        yield table, "it is no table of names", f"it holds {_EXAMPLE}"
    else:
        yield from _faults_of_names(table, names)


def _faults_of_names(table: str, names: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    known = _BY_NAME[table].names
    seen: dict[str, str] = {}
    for ours, theirs in names.items():
        if ours not in known:
            yield f"{table}.{ours}", "no column has this name", _near(ours, known)
        if not isinstance(theirs, str) or not theirs.strip() or not theirs.isprintable():
            yield f"{table}.{ours}", f"found {theirs!r}", "allowed: the owner's name, in quotes"
        elif (other := seen.setdefault(theirs.casefold(), ours)) != ours:
            yield f"{table}.{ours}", f"{theirs!r} is the name of {other}, too", "give each column a name of its own"


def _near(name: str, known: tuple[str, ...]) -> str:
    near = get_close_matches(name, known, n=1, cutoff=0.6)
    return f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
