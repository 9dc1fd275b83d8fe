"""Read `route.toml` and report every mistake in it at once, each with its key, what was found and what is allowed."""

import difflib
import tomllib
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from asbuilt.errors import NotBuiltError, Problem, SettingsError
from asbuilt.fields import FIELDS
from asbuilt.settings.model import Settings

SIDE_FILES = ("tally", "survey", "features", "people", "machines", "tests", "decisions", "plan", "found")


def load(folder: Path) -> Settings:
    """Return the settings of the route in `folder`. Raises SettingsError with every mistake, or NotBuiltError."""
    path = folder / "route.toml"
    try:
        asked = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        what = "there is no route.toml" if folder.is_dir() else "there is no such folder"
        raise SettingsError(Problem(str(folder), what, "name the folder that holds route.toml")) from None
    except UnicodeDecodeError as error:
        raise SettingsError(Problem(str(path), f"not UTF-8 at byte {error.start}", "save it as UTF-8")) from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(Problem(str(path), f"not TOML: {error}", "mend that line")) from error
    _refuse_what_is_not_built(asked, folder)
    return _checked(asked, folder)


def _refuse_what_is_not_built(asked: dict[str, Any], folder: Path) -> None:
    problems = [
        Problem(f"{name}.csv", "this version does not read it", "move it out of the route folder to build without it")
        for name in SIDE_FILES
        if (folder / f"{name}.csv").exists()
    ]
    if "string" in asked:
        what = "[[string]]: this version does not place strings that were moved after fusing"
        problems.append(Problem("route.toml", what, "take the table out; such joints are shown where their fixes are"))
    if problems:
        raise NotBuiltError(problems)


def _checked(asked: dict[str, Any], folder: Path) -> Settings:
    unknown = list(_unknown_fields(asked))
    try:
        settings = Settings(**asked, folder=folder)
    except ValidationError as error:
        raise SettingsError([*unknown, *(_problem(e) for e in _first_causes(error.errors()))]) from error
    absent = [p for source in settings.records for p in _absent_files(source.files, folder, "records.files")]
    absent += [p for a in settings.alignment for p in _absent_files((a.file,), folder, "alignment.file")]
    if unknown or absent:
        raise SettingsError(unknown + absent)
    return settings


def _first_causes(errors: list[Any]) -> list[Any]:
    """Leave out "too short" where the list is short only because its items are wrong."""
    places = [e["loc"] for e in errors]
    return [
        e for e in errors if e["type"] != "too_short" or not any(p[: len(e["loc"])] == e["loc"] != p for p in places)
    ]


def _unknown_fields(asked: dict[str, Any]) -> Iterator[Problem]:
    tables = asked.get("records", [])
    for number, table in enumerate(tables if isinstance(tables, list) else [], start=1):
        columns = table.get("columns", {}) if isinstance(table, dict) else {}
        for name in columns if isinstance(columns, dict) else ():
            if name not in FIELDS:
                do = _nearest(name, tuple(FIELDS)) or f"a field is one of {', '.join(FIELDS)}"
                yield Problem(f"route.toml: records no. {number}, columns.{name}", "no field has this name", do)


def _absent_files(patterns: tuple[str, ...], folder: Path, key: str) -> list[Problem]:
    return [
        Problem(f"route.toml: {key}", f"no file matches {p!r}", "correct the name, or put the file in the route folder")
        for p in patterns
        if not any(path.is_file() for path in folder.glob(p))
    ]


def _problem(error: Any) -> Problem:
    key = _key(error["loc"])
    if error["type"] == "missing":
        return Problem(f"route.toml: {key}", "not given", "it is required")
    if error["type"] == "extra_forbidden":
        known = _known_keys(error["loc"][:-1])
        do = _nearest(str(error["loc"][-1]), known) or f"known here: {', '.join(known)}"
        return Problem(f"route.toml: {key}", "this key is not known", do)
    found = error["input"] if not isinstance(error["input"], dict | list) else "as written"
    allowed = error["msg"].removeprefix("Value error, ").removeprefix("Input ")
    return Problem(f"route.toml: {key}", f"found {found!r}" if found != "as written" else found, f"allowed: {allowed}")


def _key(loc: tuple[str | int, ...]) -> str:
    """Write a place as a person reads the file: tables of a list are counted from one."""
    text = ""
    for part in loc:
        text += (
            f" no. {part + 1}, " if isinstance(part, int) else f"{'' if not text or text.endswith(', ') else '.'}{part}"
        )
    return text.removesuffix(", ")


def _nearest(name: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f"the nearest known is {near[0]!r}" if near else ""


def _known_keys(loc: tuple[str | int, ...]) -> tuple[str, ...]:
    """Follow the place through the models and return the keys that are known there."""
    here: Any = Settings
    for part in loc:
        if isinstance(here, type) and issubclass(here, BaseModel) and part in here.model_fields:
            here = here.model_fields[str(part)].annotation
        here = _inner(here)
    fields = here.model_fields if isinstance(here, type) and issubclass(here, BaseModel) else {}
    return tuple(name for name in fields if name != "folder")


def _inner(kind: Any) -> Any:
    """Return the model inside a tuple, a dict's values, an optional or an annotation; else the kind itself."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    if get_origin(kind) in (tuple, dict, Union, types.UnionType) or hasattr(kind, "__metadata__"):
        models = [_inner(a) for a in get_args(kind)]
        return next((m for m in models if isinstance(m, type) and issubclass(m, BaseModel)), kind)
    return kind
