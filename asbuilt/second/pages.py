"""The page of the map read back: the record that it carries, and what it says without its scripts."""

import base64
import binascii
import html
import json
import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from asbuilt import map_tables
from asbuilt.errors import InputError, Problem
from asbuilt.map_tables import plain
from asbuilt.publish.webmap import NAME
from asbuilt.second.files import text_of

_MOST_BYTES = 1 << 31
_MOST_UNPACKED = 1 << 31
_RECORD = '<script id="record" type="text/plain">'
_AGAIN = "take the hand-over anew from whoever made it"


@dataclass(frozen=True)
class Page:
    """`document` is the record of the shape that `map_tables` states; `said` the words of the page, tags taken out."""

    document: dict[str, Any]
    said: str

    def table(self, name: str) -> pd.DataFrame:
        """Return one table of the document, None where nothing is told. Raises InputError where it is damaged."""
        part = self.document[name]
        try:
            columns = {column: _values(part, column) for column in map_tables.TABLES[name].names}
            return pd.DataFrame(columns, index=range(part["rows"]), dtype=object)
        except (ValueError, KeyError, TypeError, IndexError, OverflowError) as error:
            raise InputError(Problem(NAME, f"its table {name!r} is damaged ({error})", _AGAIN)) from error


def read_page(folder: Path) -> Page:
    """Return the page of the map. Raises InputError where it is missing, holds no record of ours, or a damaged one."""
    text = text_of(folder, NAME, _MOST_BYTES)
    before, found, behind = text.partition(_RECORD)
    if not found or _RECORD in behind:
        raise InputError(Problem(NAME, "it does not carry one record of ours", _AGAIN))
    try:
        document = json.loads(_inflated(base64.b64decode(behind.partition("</script>")[0], validate=True)))
        map_tables.checked(document)
    except (binascii.Error, zlib.error, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(Problem(NAME, f"its record cannot be read ({str(error)[:200]})", _AGAIN)) from error
    return Page(document, html.unescape(re.sub(r"<style>.*?</style>|<[^<>]*>", " ", before, flags=re.DOTALL)))


def _inflated(data: bytes) -> bytes:
    """Unpack no more than a record of ours can be: a few bytes may hold any number of them."""
    engine = zlib.decompressobj()
    out = engine.decompress(data, _MOST_UNPACKED)
    if not engine.eof or engine.unused_data:
        raise ValueError("it does not end where it should")
    return out


def _values(part: dict[str, Any], name: str) -> list[Any]:
    column, rows = part["columns"].get(name), int(part["rows"])
    if column is None:
        return [None] * rows
    if isinstance(column, dict) and "all" in column:
        return [column["all"]] * rows
    return plain(column)
