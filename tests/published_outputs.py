"""Everything that a hand-over says, as text: archives unpacked, databases dumped, pages of paper read."""

import json
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from pypdf import PdfReader

from asbuilt.publish.webmap import unpacked

_RECORD = re.compile(r'id="record"[^>]*>([^<]*)<')


def every_text(folder: Path) -> Iterator[tuple[str, str]]:
    """Yield the name of each part of each file, and what it says."""
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        raw = path.read_bytes()
        yield path.name, raw.decode("utf-8", "replace")
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as parts:
                yield from ((f"{path.name}/{n}", parts.read(n).decode("utf-8", "replace")) for n in parts.namelist())
        if path.suffix == ".gpkg":
            with closing(sqlite3.connect(path)) as base:
                yield f"{path.name}/dump", "\n".join(base.iterdump())
        if path.suffix == ".pdf":
            reader = PdfReader(path)
            said = [page.extract_text() for page in reader.pages] + [str(reader.metadata)]
            yield f"{path.name}/text", " ".join(" ".join(said).split())
        if path.suffix == ".html":
            record = unpacked(_RECORD.search(raw.decode())[1])
            yield f"{path.name}/record", json.dumps(record, ensure_ascii=False)
