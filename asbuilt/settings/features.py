"""[features] and [found]: what a joint is tied to, and where joints were found when they were laid bare again."""

from collections.abc import Mapping
from typing import Literal

from pydantic import Field as Key

from asbuilt.fields import FIELDS, Field
from asbuilt.settings.parts import InsidePath, PositiveMetres
from asbuilt.settings.sources import SURVEY, RecordSource

_PLACE = {name: FIELDS[name] for name in ("latitude", "longitude", "easting", "northing")}
# Headings as the trade commonly writes them (common practice, no source).
FEATURES: Mapping[str, Field] = {
    "feature": Field("feature", "text", "feature", "", (
        "feature no", "feature name", "feature id", "name", "point", "point no", "mark", "id")),
    "description": Field("description", "text", "description", "", ("desc", "details", "feature description", "kind")),
    **_PLACE,
}  # fmt: skip
FOUND: Mapping[str, Field] = {
    "joint_id": Field("joint_id", "text", "joint", "", ("joint", *FIELDS["joint"].headings)),
    **_PLACE,
    **{name: FIELDS[name] for name in ("fix", "elevation", "elevation_of")},
    "depth": Field("depth", "number", "depth_m", "m", ("cover", "depth of cover", "depth to pipe", "found depth")),
    "sd": SURVEY["sd"],
    "date": Field("date", "time", "time", "", (
        "found", "found on", "date found", "exposed", "exposed on", "date exposed", "day", "time", "date time")),
    "name": Field("name", "text", "name", "", ("found by", "by", "exposed by", "surveyor", "surveyed by", "person")),
    "remarks": FIELDS["remarks"],
}  # fmt: skip


class FeaturesSource(RecordSource):
    """[features]: fixed features beside the line. What lies farther than `reach` from a joint is no tie of it.

    `crs` is the route's where none is said.
    """

    table = "features"
    fields = FEATURES
    named_by = "feature"
    must_be_named = False
    idle = frozenset({"crew", "accuracy", "uere", "default_accuracy", "timezone", "time_is"})
    files: tuple[InsidePath, ...] = Key(default=("features.csv",), min_length=1)
    reach: PositiveMetres = 100.0


class FoundSource(RecordSource):
    """[found]: where joints were found. `accuracy` says what the column `sd` means; `crs` is else the route's."""

    table = "found"
    fields = FOUND
    named_by = "joint_id"
    must_be_named = False
    idle = frozenset({"crew", "time_is"})
    files: tuple[InsidePath, ...] = Key(default=("found.csv",), min_length=1)
    accuracy: Literal["sd", "68%", "95%", "rms", "cep", "hdop"] = "sd"
