"""Every kind of record file becomes the same thing: rows of cells as they stand, counted as a spreadsheet counts.

Delimited text, workbooks and geographic layers are told apart by their ending. Nothing is interpreted here.
"""

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import python_calamine
from pyogrio.errors import DataLayerError, DataSourceError

from asbuilt.errors import InputError, NotBuiltError, Problem
from asbuilt.settings import RecordSource

TEXT_ENDINGS = (".csv", ".txt", ".tsv")
WORKBOOK_ENDINGS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
LAYER_ENDINGS = (".gpkg", ".geojson", ".json", ".shp", ".gpx")
_END = "end of file\x1f"  # stands alone on the last line, unless a quote is still open there
_QUOTED = re.compile(r'(?<![^,;\t])"(?:[^"]|"")*"(?![^,;\t])')  # a whole cell in quotes
# Forms that say WGS 84 of every position because they know no other frame: a route file may know better.
SAY_WGS_84 = (".gpx", ".kml", ".geojson", ".json")
GEOMETRY_X, GEOMETRY_Y = "geometry x", "geometry y"


@dataclass(frozen=True)
class Sheet:
    """One table as found: `rows[i]` holds the cells of row i + 1. `merged` are (top, left, bottom, right), inclusive.

    A layer's first row holds its field names; where it has points, its last two columns are theirs, in `crs`.
    """

    file: str
    name: str
    rows: list[list[Any]]
    merged: tuple[tuple[int, int, int, int], ...] = ()
    crs: str = ""
    is_layer: bool = False

    @property
    def where(self) -> str:
        """File, and sheet where the file has several."""
        return f"{self.file} sheet {self.name}" if self.name else self.file


def read_sheets(path: Path, file: str, source: RecordSource) -> list[Sheet]:
    """Return the sheets of one file. Raises InputError where it cannot be read, NotBuiltError for another ending."""
    ending = path.suffix.lower()
    if ending in TEXT_ENDINGS:
        return [Sheet(file, "", _text_rows(path, file, source))]
    if ending in WORKBOOK_ENDINGS:
        return list(_workbook(path, file, source))
    if ending in LAYER_ENDINGS:
        return [_layer(path, file, source)]
    do = f"save it as one of {', '.join((*TEXT_ENDINGS, *WORKBOOK_ENDINGS, *LAYER_ENDINGS))}"
    raise NotBuiltError(Problem(file, f"records in {ending or 'a file without ending'} are not read", do))


def _text_rows(path: Path, file: str, source: RecordSource) -> list[list[Any]]:
    text = decode(path.read_bytes(), file, source.encoding)
    delimiter = source.delimiter or _delimiter(text)
    reader = csv.reader(io.StringIO(text + f"\n{_END}", newline=""), delimiter=delimiter)
    rows, starts = [], [1]
    try:
        for row in reader:
            rows.append(row)
            starts.append(reader.line_num + 1)
    except csv.Error as error:
        what = f"the text cannot be split into cells: {error}"
        raise InputError(Problem(f"{file} line {reader.line_num}", what, "mend the quotes on that line")) from error
    swallowed = next((i for i, row in enumerate(rows) if _swallows(row, delimiter)), None)
    if swallowed is not None:
        what = "a quote opens here and swallows the rows that follow"
        raise InputError(Problem(f"{file} line {starts[swallowed]}", what, "mend the quotes on that line"))
    return rows[:-1]


def _swallows(row: list[str], delimiter: str) -> bool:
    """Whether a cell runs over a line that is a row by itself, or over the end of the file."""
    broken = [line for cell in row if "\n" in cell or "\r" in cell for line in cell.splitlines()[1:]]
    return any(line == _END or line.count(delimiter) >= max(2, len(row) - 1) for line in broken)


def decode(raw: bytes, file: str, stated: str = "") -> str:
    """Return the text of a file: stated encoding, else by its mark, UTF-8, or Windows-1252. Raises InputError."""
    marks = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
    marked = next((name for mark, name in marks.items() if raw.startswith(mark)), "")
    for encoding in [stated] if stated else [marked] if marked else ["utf-8", "cp1252"]:
        try:
            text = raw.decode(encoding)
            if text.count("\0") > len(text) / 4:
                do = 'say its encoding in route.toml, such as "utf-16-le"'
                raise InputError(Problem(file, "much of it is NUL characters: not text as it stands", do))
            return text
        except LookupError as error:
            do = 'name one such as "utf-8", "cp1252" or "latin-1"'
            raise InputError(Problem(file, f"encoding {stated!r} is not known", do)) from error
        except UnicodeDecodeError as error:
            at = min(error.start, len(raw) - 1)
    what = f"byte {at} is {raw[at]:#04x}, which {stated or marked or 'UTF-8 and Windows-1252'} does not have"
    raise InputError(Problem(file, what, "say the encoding of this source in route.toml"))


def _delimiter(text: str) -> str:
    """Choose the delimiter that splits most lines into the same number of cells, and into most of them.

    What stands in quotes, as a sentence may, has no say.
    """
    lines = [_QUOTED.sub("", line) for line in text.splitlines()[:200] if line.strip()]
    best = (0, 0, ",")
    for delimiter in ",;\t":
        counts = Counter(line.count(delimiter) for line in lines if delimiter in line)
        cells, lines_alike = max(counts.items(), key=lambda c: (c[1], c[0]), default=(0, 0))
        best = max(best, (lines_alike, cells, delimiter))
    return best[2]


def _workbook(path: Path, file: str, source: RecordSource) -> Iterator[Sheet]:
    try:
        book = python_calamine.CalamineWorkbook.from_path(path)
    except (python_calamine.CalamineError, OSError) as error:
        do = "open it in a spreadsheet and save it anew, without a password"
        raise InputError(Problem(file, f"not a workbook that can be read ({error})", do)) from error
    asked = source.sheet or book.sheet_names
    absent = [name for name in asked if name not in book.sheet_names]
    if absent:
        do = f"its sheets are {', '.join(book.sheet_names)}"
        raise InputError([Problem(file, f"there is no sheet {name!r}", do) for name in absent])
    for name in asked:
        sheet = book.get_sheet_by_name(name)
        merged = tuple((*first, *last) for first, last in sheet.merged_cell_ranges or ())
        yield Sheet(file, name, sheet.to_python(skip_empty_area=False), merged)


def _layer(path: Path, file: str, source: RecordSource) -> Sheet:
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
        layer = source.layer or ("waypoints" if path.suffix.lower() == ".gpx" else names[0] if names else "")
        if layer not in names or (len(names) > 1 and not source.layer and path.suffix.lower() != ".gpx"):
            do = f"say layer = one of {', '.join(names)}"
            raise InputError(Problem(file, f"which layer holds the records is not clear ({layer!r})", do))
        with np.errstate(invalid="ignore"):  # a position that is not finite is none
            frame = pyogrio.read_dataframe(path, layer=layer, fid_as_index=True, on_invalid="ignore")
    except (DataSourceError, DataLayerError) as error:
        raise InputError(Problem(file, f"cannot be read ({error})", "export it anew")) from error
    # a waypoint form has a score of columns of which a file fills three
    names_kept = [n for n in frame if n != "geometry" and (path.suffix.lower() != ".gpx" or frame[n].notna().any())]
    columns = [frame[name].astype(object).where(frame[name].notna(), None).tolist() for name in names_kept]
    headings: list[Any] = list(names_kept)
    crs = ""
    if "geometry" in frame:
        columns += _points(frame.geometry)
        headings += [GEOMETRY_X, GEOMETRY_Y]
        crs = frame_of(path, frame.crs.to_string() if frame.crs else "", source.crs)
    return Sheet(
        file, layer if len(names) > 1 else "", [headings, *map(list, zip(*columns, strict=True))], (), crs, True
    )


def frame_of(path: Path, found: str, stated: str) -> str:
    """Return the frame that a layer names; none where the form knows no other and the route file states one."""
    by_convention = path.suffix.lower() in SAY_WGS_84 and found in ("EPSG:4326", "OGC:CRS84")
    return "" if by_convention and stated else found


def _points(geometry: Any) -> list[list[Any]]:
    is_point = (geometry.geom_type == "Point").to_numpy() & ~geometry.is_empty.to_numpy()
    xy = np.full((2, len(geometry)), np.nan)
    xy[:, is_point] = geometry[is_point].x, geometry[is_point].y
    return [[None if np.isnan(v) else v for v in axis] for axis in xy.tolist()]
