"""A hand-over read back: each part when it is first asked for, and once."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from asbuilt import tables
from asbuilt.as_built import Title
from asbuilt.errors import InputError, Problem
from asbuilt.publish import checksums
from asbuilt.publish.geopackage import NAME
from asbuilt.quantities import METRE, METRES_PER_FOOT, LengthUnit
from asbuilt.second.files import Sums, refuse_unless_handed_over, sums_of
from asbuilt.second.layers import frames_of_layers, read_layers
from asbuilt.second.logs import read_log, read_workbook
from asbuilt.second.pages import Page, read_page
from asbuilt.second.papers import read_pdf, read_text
from asbuilt.second.waypoints import Waypoints, read_waypoints

_TEXTS = (
    "name", "revision", "owner", "contractor", "contract", "crs", "base_crs", "station_length", "length_kind",
    "procedure",
)  # fmt: skip


@dataclass(frozen=True)
class HandedOver:
    """The hand-over in `folder`. Every property raises InputError where its file is missing, damaged or not ours."""

    folder: Path

    @cached_property
    def names(self) -> frozenset[str]:
        """What lies in the folder and in those within it, files or not, each by its path there."""
        return frozenset(checksums.held(self.folder))

    @cached_property
    def sums(self) -> Sums:
        """What SHA256SUMS lists."""
        return sums_of(self.folder)

    def table(self, name: str) -> pd.DataFrame:
        """Return one table of the GeoPackage, of the shape that `asbuilt.tables` states."""
        return self._kept(name)[0]

    def absent(self, name: str) -> tuple[str, ...]:
        """Return the columns that the file has not, of one of its tables."""
        return self._kept(name)[1]

    def _kept(self, name: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
        if name not in self._read:
            frames, absent = read_layers(self.folder, [_TABLES[name]])
            self._read[name] = (frames[name], absent)
        return self._read[name]

    @cached_property
    def _read(self) -> dict[str, tuple[pd.DataFrame, tuple[str, ...]]]:
        return {}

    @cached_property
    def layer_frames(self) -> dict[str, str]:
        """The coordinate frame of each layer, a code or WKT."""
        return frames_of_layers(self.folder)

    @cached_property
    def log(self) -> pd.DataFrame:
        """The joint log, texts under its headings."""
        return read_log(self.folder)

    @cached_property
    def workbook(self) -> dict[str, pd.DataFrame]:
        """The sheets of the joint log."""
        return read_workbook(self.folder)

    @cached_property
    def page(self) -> Page:
        """The page of the map."""
        return read_page(self.folder)

    @cached_property
    def waypoints(self) -> Waypoints:
        """The waypoints."""
        return read_waypoints(self.folder)

    @cached_property
    def text(self) -> str:
        """README.txt."""
        return read_text(self.folder)

    def pdf(self, name: str) -> str:
        """Return the text of a PDF without white space."""
        if name not in self._pdfs:
            self._pdfs[name] = read_pdf(self.folder, name)
        return self._pdfs[name]

    @cached_property
    def _pdfs(self) -> dict[str, str]:
        return {}

    def info(self, topic: str) -> dict[str, str]:
        """Return name -> value of one topic of build_info."""
        rows = self.table("build_info")
        rows = rows[rows["topic"] == topic]
        return dict(zip(rows["name"], rows["value"], strict=True))

    @cached_property
    def title(self) -> Title:
        """What stands at the head of every output, as build_info has it."""
        return title_of(self.info("title"), self.info("setting").get("route.toml", ""))


def title_of(told: Mapping[str, str], route_toml: str) -> Title:
    """Return the title from build_info; the clock's zone stands in the settings alone. Raises InputError."""
    try:
        as_of = datetime.fromisoformat(told["as_of"])
        route = tomllib.loads(route_toml).get("route", {})
        as_of = as_of.astimezone(ZoneInfo(route.get("timezone", "UTC")))
        texts = {name: told[name] for name in _TEXTS}
    except (KeyError, ValueError, TypeError, AttributeError, OSError) as error:
        what = f"build_info does not have the title and settings that it should ({error})"
        raise InputError(Problem(NAME, what, "build the hand-over again")) from error
    feet = METRES_PER_FOOT["survey" if "survey" in texts["station_length"] else "international"]
    unit = LengthUnit("ft", feet) if told.get("length_unit") == "ft" else METRE
    return Title(**texts, as_of=as_of, length_unit=unit, wgs84=told.get("wgs84", ""))


_TABLES = {table.name: table for table in tables.ALL}


def handed_over(folder: Path) -> HandedOver:
    """Return the hand-over in `folder`, nothing of it read yet. Raises InputError where there is none."""
    refuse_unless_handed_over(folder)
    return HandedOver(folder)
