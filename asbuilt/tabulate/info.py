"""What a reader has to know of the build itself: inputs with checksums, settings, frames, versions, cautions."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from glob import escape
from pathlib import Path

import pandas as pd

from asbuilt import __version__, crs, tables
from asbuilt.as_built import Counts, Title
from asbuilt.cautions import CAUTIONS
from asbuilt.procedures import Procedure
from asbuilt.settings import Settings, matching
from asbuilt.stationing import written
from asbuilt.tabulate.journey import Journey


def info_table(
    journey: Journey, *, title: Title, counts: Counts, procedure: Procedure, settings: Settings, said: Iterable[str]
) -> pd.DataFrame:
    """Return everything as topic, name, value. `said` are the statements and notes."""
    rows = [
        *_title(title),
        *_settings(settings),
        *_inputs(settings, journey),
        *_frames(journey, settings),
        *(("stationing", d.name, written(d.stationing)) for d in journey.designs.lines),
        *(("version", name, value) for name, value in ({"asbuilt": __version__} | crs.versions()).items()),
        *(("procedure", w.check, f"{w.source} ({w.status})") for w in procedure.window),
        *_counts(counts),
        *(("statement", str(i), text) for i, text in enumerate(said, start=1)),
        *(("caution", str(i), text) for i, text in enumerate(CAUTIONS, start=1)),
    ]
    return tables.conform(pd.DataFrame(rows, columns=["topic", "name", "value"]), tables.BUILD_INFO)


def _title(title: Title) -> Iterator[tuple[str, str, str]]:
    for name in Title.__dataclass_fields__:
        value = getattr(title, name)
        yield "title", name, value.isoformat() if isinstance(value, datetime) else getattr(value, "name", value)


def _counts(counts: Counts) -> Iterator[tuple[str, str, str]]:
    for name in Counts.__dataclass_fields__:
        value = getattr(counts, name)
        if isinstance(value, Mapping):
            yield from (("count", f"{name}: {word}", str(many)) for word, many in value.items())
        else:
            yield "count", name, f"{value:.3f}" if isinstance(value, float) else str(value)


def _settings(settings: Settings) -> Iterator[tuple[str, str, str]]:
    text = (settings.folder / "route.toml").read_text(encoding="utf-8-sig")
    yield "setting", "route.toml", text.replace("\r\n", "\n")


def _inputs(settings: Settings, journey: Journey) -> Iterator[tuple[str, str, str]]:
    """SHA-256 of each file read."""
    for name in sorted(input_files(settings, journey)):
        yield "input", name, "sha256 " + hashlib.sha256((settings.folder / name).read_bytes()).hexdigest()


def input_files(settings: Settings, journey: Journey) -> set[str]:
    """Return the path within the route of each file that was read, also of a procedure; a Shapefile or the like counts
    with the files beside it."""
    folder = settings.folder
    asked = {path for source in settings.records for pattern in source.files for path in matching(folder, pattern)}
    files = {"route.toml", settings.window.procedure, *(d.source.file for d in journey.designs.lines)}
    files |= {layer.file for layer in settings.context} | {settings.export.fields or "route.toml"}
    files |= {path.relative_to(folder).as_posix() for path in asked} | set(journey.rows["source_file"])
    lists = (settings.tally, settings.survey, settings.people, settings.machines, settings.tests, settings.decisions)
    lists = (*lists, settings.plan, settings.features, settings.found)  # type: ignore[assignment]
    named = {path for side in lists for pattern in side.files for path in matching(folder, pattern)}
    files |= {path.relative_to(folder).as_posix() for path in named} | {c.file for c in journey.curves.values()}
    beside = {
        p.relative_to(folder).as_posix() for f in files for p in (folder / f).parent.glob(f"{escape(Path(f).stem)}.*")
    }
    return {name for name in files | beside | set(journey.photos) if (folder / name).is_file()}


def _frames(journey: Journey, settings: Settings) -> Iterator[tuple[str, str, str]]:
    frame = journey.designs.frame
    yield "frame", "working", frame.label
    yield "frame", "latitude and longitude", frame.base.label
    sides = journey.sides
    lists = (sides.survey, sides.features, sides.found, sides.around)
    of_sides = [crossing for side in lists for crossing in side.crossings]
    for crossing in dict.fromkeys((*journey.designs.crossings, *journey.readings.crossings, *of_sides)):
        accuracy = f"accuracy {crossing.accuracy_m:g} m by the EPSG register"
        accuracy += f"; {crossing.better}" if crossing.better else ""
        yield "frame", f"{crossing.origin} to {crossing.target}", f"{crossing.operation}; {accuracy}"
    height_crs = settings.route.height_crs
    stated = f", stated to be in {crs.heights(height_crs, where='route.height_crs')}" if height_crs else ""
    yield "frame", "heights", f"as recorded{stated}; never transformed"
    for design in journey.designs.lines:
        factor = f", factor {design.source.ground_factor:g}" if design.source.ground_factor else ""
        yield "frame", f"length of {design.name}", f"{design.source.length}{factor}"
