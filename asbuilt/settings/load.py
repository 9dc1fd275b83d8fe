"""Read `route.toml` and report every mistake in it at once, each with its key, what was found and what is allowed."""

import difflib
import tomllib
import types
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from asbuilt import procedures
from asbuilt.errors import Problem, SettingsError
from asbuilt.settings.decisions import DecisionsSource
from asbuilt.settings.export import export_faults
from asbuilt.settings.features import FeaturesSource, FoundSource
from asbuilt.settings.model import Settings
from asbuilt.settings.paths import as_path, is_inside, matching
from asbuilt.settings.plan import PlanSource
from asbuilt.settings.sources import MachinesSource, PeopleSource, RecordSource, SurveySource, TallySource, TestsSource
from asbuilt.settings.traces import TraceSource


def load(folder: Path) -> Settings:
    """Return the settings of the route in `folder`. Raises SettingsError with every mistake."""
    path = folder / "route.toml"
    try:
        asked = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        what = "there is no route.toml" if folder.is_dir() else "there is no such folder"
        raise SettingsError(Problem(str(folder), what, "name the folder that holds route.toml")) from None
    except UnicodeDecodeError as error:
        raise SettingsError(Problem(str(path), f"not UTF-8 at byte {error.start}", "save it as UTF-8")) from error
    except RecursionError as error:
        raise SettingsError(Problem(str(path), "not TOML: nested too deep", "write it flat")) from error
    except ValueError as error:  # a TOMLDecodeError, or a number of thousands of digits
        raise SettingsError(Problem(str(path), f"not TOML: {error}", "mend that line")) from error
    return _checked(asked, folder)


def _checked(asked: dict[str, Any], folder: Path) -> Settings:
    known = {key: value for key, value in asked.items() if key != "folder"}
    first = _errors(known, folder)
    # A rule across keys is looked at only where each key is right by itself: so once more, without the wrong ones.
    wrong = [e["loc"] for e in first]
    second = _errors(_without(known, wrong), folder) if first else []
    errors = first + [e for e in second if not any(_covers(e["loc"], loc) for loc in wrong)]
    problems = [*_unknown_fields(asked), *map(_problem, errors), *_absent(asked, folder), *_procedure(asked, folder)]
    problems += export_faults(asked, folder)
    if "folder" in asked:
        problems.append(_problem({"loc": ("folder",), "type": "extra_forbidden"}))
    if problems:
        raise SettingsError(problems)
    return _settings(known, folder)


def _procedure(asked: dict[str, Any], folder: Path) -> Sequence[Problem]:
    """What is wrong with the procedure that is named, told with all else."""
    window = asked.get("window")
    named = window.get("procedure") if isinstance(window, dict) else None
    try:
        if isinstance(named, str) and named:
            procedures.load(named, folder)
    except SettingsError as error:
        return error.problems
    return ()


def _settings(asked: dict[str, Any], folder: Path) -> Settings:
    route = asked.get("route")
    foot = route.get("foot") if isinstance(route, dict) else None
    return Settings.model_validate({**asked, "folder": folder}, context={"foot": foot})


def _errors(asked: dict[str, Any], folder: Path) -> list[Any]:
    try:
        _settings(asked, folder)
    except ValidationError as error:
        return [e for found in _first_causes(error.errors()) for e in _by_key(found)]
    return []


def _without(value: Any, places: list[tuple[str | int, ...]]) -> Any:
    """Return the tables without the values at `places`; instead of an item of a list the whole list is left out."""
    for place in places:
        keys = list(place)
        while isinstance(keys[-1], int):
            keys.pop()
        value = _dropped(value, keys)
    return value


def _dropped(value: Any, keys: list[str | int]) -> Any:
    if isinstance(value, list):
        return [_dropped(v, keys[1:]) if i == keys[0] else v for i, v in enumerate(value)]
    if not isinstance(value, dict):
        return value
    if len(keys) == 1:
        return {k: v for k, v in value.items() if k != keys[0]}
    return {k: _dropped(v, keys[1:]) if k == keys[0] else v for k, v in value.items()}


def _covers(place: tuple[str | int, ...], wrong: tuple[str | int, ...]) -> bool:
    """Whether what is said of `place` may come from leaving out `wrong`."""
    return place == wrong[: len(place)]


def _first_causes(errors: list[Any]) -> list[Any]:
    """Leave out "too short" where the list is short only because its items are wrong."""
    places = [e["loc"] for e in errors]
    return [
        e for e in errors if e["type"] != "too_short" or not any(p[: len(e["loc"])] == e["loc"] != p for p in places)
    ]


def _unknown_fields(asked: dict[str, Any]) -> Iterator[Problem]:
    for name, kind, table in _sources(asked):
        columns = table.get("columns", {})
        for field in columns if isinstance(columns, dict) else ():
            if field not in kind.fields:
                do = _nearest(field, tuple(kind.fields)) or f"a field is one of {', '.join(kind.fields)}"
                yield Problem(f"route.toml: {name}columns.{field}", "no field has this name", do)


def _sources(asked: dict[str, Any]) -> Iterator[tuple[str, type[RecordSource], dict[str, Any]]]:
    """Yield each table that names files of rows: how its keys are called, its kind, and what stands in it."""
    for number, table in enumerate(_tables(asked, "records"), start=1):
        yield f"records no. {number}, ", RecordSource, table
    lists = (TallySource, SurveySource, PeopleSource, MachinesSource, TestsSource, DecisionsSource, PlanSource)
    for kind in (*lists, FeaturesSource, FoundSource, TraceSource):
        if isinstance(table := asked.get(kind.table, {}), dict):
            yield f"{kind.table}.", kind, {"files": list(kind.model_fields["files"].default), **table}


def _absent(asked: dict[str, Any], folder: Path) -> Iterator[Problem]:
    """Every file that is named and not there, and every file of rows that two sources read."""
    seen: dict[tuple[Path, Any], str] = {}
    for name, kind, table in _sources(asked):
        for pattern in table.get("files", ()) if isinstance(table.get("files"), list) else ():
            paths = matching(folder, pattern) if is_inside(pattern) else None
            if paths == [] and kind.table in asked:
                yield _no_file(f"{name}files", pattern)
            for path in paths or ():
                part = str(table.get("sheet", table.get("layer")))
                other = seen.setdefault((path, part), name)
                if other != name:
                    what = f"{other.rstrip('., ')} reads {path.relative_to(folder).as_posix()}, too"
                    yield Problem(f"route.toml: {name}files", what, "name each file in one source")
    single = [(name, *row) for name in ("alignment", "context") for row in enumerate(_tables(asked, name), start=1)]
    for name, number, table in single:
        file: Any = table.get("file")
        if is_inside(file) and not (folder / as_path(file)).is_file():
            yield _no_file(f"{name} no. {number}, file", file)
    for name in ("trace", "photos"):
        of: Any = asked.get(name)
        within: Any = of.get("folder") if isinstance(of, dict) else None
        if is_inside(within) and not (folder / as_path(within)).is_dir():
            do = "correct the name, or leave it out"
            yield Problem(f"route.toml: {name}.folder", f"there is no folder {within!r}", do)


def _tables(asked: dict[str, Any], name: str) -> list[dict[str, Any]]:
    found = asked.get(name)
    return [t if isinstance(t, dict) else {} for t in found] if isinstance(found, list) else []


def _no_file(key: str, found: str) -> Problem:
    do = "correct the name, or put the file in the route folder"
    return Problem(f"route.toml: {key}", f"no file matches {found!r}", do)


def _by_key(error: Any) -> list[Any]:
    """Part what a rule over a whole table found into one error for each of its keys."""
    if error["type"] != "value_error" or error["loc"][-1] not in ("columns", "limits"):
        return [error]
    parts = [text.partition(": ") for text in error["msg"].removeprefix("Value error, ").split("\n")]
    return [{**error, "loc": (*error["loc"], key), "msg": text, "input": error["input"][key]} for key, _, text in parts]


_ALLOWED = {
    "dict_type": "a table", "model_type": "a table", "tuple_type": "a list", "string_type": "text in quotes",
    "bool_type": "true or false", "int_type": "a whole number", "float_type": "a number", "float_parsing": "a number",
    "too_short": "at least one", "string_too_short": "some text",
}  # fmt: skip


def _problem(error: Any) -> Problem:
    key = f"route.toml: {_key(error['loc'])}"
    if error["type"] == "missing":
        return Problem(key, "not given", "it is required")
    if error["type"] == "extra_forbidden":
        known = _known_keys(error["loc"][:-1])
        do = _nearest(str(error["loc"][-1]), known) or f"known here: {', '.join(known)}"
        return Problem(key, "this key is not known", do)
    allowed = _ALLOWED.get(error["type"], error["msg"].removeprefix("Value error, ").removeprefix("Input should be "))
    if error["loc"] in (("records",), ("alignment",), ("string",), ("context",)) and error["type"] != "value_error":
        allowed = f"a list of tables, each headed [[{error['loc'][0]}]]"
    return Problem(key, f"found {_found(error['input'])}", f"allowed: {allowed}")


def _found(value: Any) -> str:
    """Write what stands in the file; of a table or a list only that it is one."""
    if isinstance(value, dict | list):
        return f"{'a' if value else 'an empty'} {'table' if isinstance(value, dict) else 'list'}"
    text = repr(value) if not isinstance(value, bool) else str(value).lower()
    return text if len(text) <= 80 else f"{text[:77]}..."


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
    return tuple(key.alias or name for name, key in fields.items() if (here, name) != (Settings, "folder"))


def _inner(kind: Any) -> Any:
    """Return the model inside a tuple, a dict's values, an optional or an annotation; else the kind itself."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    if get_origin(kind) in (tuple, dict, Union, types.UnionType) or hasattr(kind, "__metadata__"):
        models = [_inner(a) for a in get_args(kind)]
        return next((m for m in models if isinstance(m, type) and issubclass(m, BaseModel)), kind)
    return kind
