"""A copy without people, remarks and source paths: from the record to the record, so that all that is made of it is
redacted by construction.

Texts are taken out of their own columns, and then looked for in every text that is left: a file becomes "source 1", a
sentence that names a person is left out. What is asked for is done to the record as it stands; nothing is read anew.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import pandas as pd

from asbuilt import tables
from asbuilt.as_built import AsBuilt, Redaction, Title
from asbuilt.coarse import coarsened
from asbuilt.domains import DOMAINS, Words
from asbuilt.errors import Problem, SettingsError
from asbuilt.quantities import UnitError, quantity

MARK = "redacted copy"
WITHHELD = "[left out of this copy: it names a person]"

# Columns that hold people and what they wrote in words of their own: taken out, and looked for in every other text.
_TOLD: Mapping[str, tuple[str, ...]] = {
    "joints": ("operator", "remarks", "photo", "trace", "visual"),
    "positions": ("by", "remarks"),
    "decisions": ("name", "role", "reason", "reference"),
}
# Columns that hold what a source has as it stands: taken out.
_AS_FOUND: Mapping[str, tuple[str, ...]] = {
    "joints": ("time_recorded", "position_recorded", "trace_cause"),
    "records": ("cells",),
    "ties": ("description",),
    "test_sections": ("reference",),
}
_FINEST_M, _COARSEST_M = 1.0, 1e6
_DECIDED = ("joints", "gaps", "records", "findings")  # have a text that says who decided
_TOPICS_LEFT_OUT = ("setting",)
# Cells and headings, as the reader quotes them: in double quotes only where an apostrophe is in them.
_QUOTED = re.compile(r"(?<!\w)'[^'\n]*'(?!\w)|(?<!\w)\"[^\"\n]*'[^\"\n]*\"(?!\w)")
_SHORT = 3  # a name of fewer characters, or of digits alone, is looked for only where it is said to be an operator
_SHEETS = ("source_sheet", "sheet")
# Topics of build_info that hold no words of a source.
_PLAIN = ("title", "frame", "stationing", "version", "count", "procedure", "caution")
_KEPT_NAMES = ("route.toml",)  # names of the contract say nothing of the route


def redacted(as_built: AsBuilt, *, coarsen_m: float = 0.0) -> AsBuilt:
    """Return the record without people, remarks and source paths; with `coarsen_m` its places on a grid of that size.

    Raises SettingsError where a line is too short for the grid.
    """
    clean = _Cleaning.of(as_built)
    frames = {name: _frame(name, frame, clean) for name, frame in as_built.tables.items()}
    statements, notes = (clean.sentences(texts) for texts in (as_built.statements, as_built.notes))
    title = replace(as_built.title, name=f"{as_built.title.name} ({MARK})")
    frames["build_info"] = _info(as_built.tables["build_info"], title, clean)
    out = replace(
        as_built,
        title=title,
        tables=frames,
        statements=statements,
        notes=(*notes, _note(as_built, coarsen_m)),
        of_decisions=clean.sentences(as_built.of_decisions),
        context=tuple(replace(layer, source="") for layer in as_built.context),
        tiles=None,
        photos=(),
        schedule=None,  # crews are called after their files
        redaction=Redaction(coarsen_m),
    )
    return coarsened(out, coarsen_m) if coarsen_m else out


def grid_of(text: str | None, *, redact: bool) -> float:
    """Return the size of the grid that is asked for by a length with its unit, metres; 0: none. Raises SettingsError.

    >>> grid_of("0.1 km", redact=True), grid_of(None, redact=False)
    (100.0, 0.0)
    """
    if text is None:
        return 0.0
    if not redact:
        what = "it is asked for without --redact, and the full record keeps its places"
        raise SettingsError(Problem("--coarsen", what, "add --redact, or leave it out"))
    do = 'give a length with its unit from "1 m" to "1000 km", such as "100 m"'
    try:
        length_m = quantity(text, "m")
    except UnitError as error:
        raise SettingsError(Problem("--coarsen", str(error), do)) from error
    if not _FINEST_M <= length_m <= _COARSEST_M:
        raise SettingsError(Problem("--coarsen", f"found {text!r}", do))
    return length_m


def _note(as_built: AsBuilt, coarsen_m: float) -> str:
    unit = as_built.title.length_unit
    places = f" Places are rounded to a grid of {unit.short(coarsen_m)}." if coarsen_m else ""
    return (
        "This is a redacted copy: people, remarks, source paths, texts as recorded, photos, names of curves, and"
        f" sentences that name a person are left out.{places} The full record is with the owner."
    )


@dataclass(frozen=True)
class _Cleaning:
    """What must not be read: files with what stands for them, and a pattern that finds people and their words."""

    files: Mapping[str, str]
    file: re.Pattern[str]
    person: re.Pattern[str]

    @classmethod
    def of(cls, as_built: AsBuilt) -> "_Cleaning":
        """Find out from the tables what must not be read."""
        files = _files(as_built.tables)
        said = sorted(files, key=lambda name: (-len(name), name))
        return cls(files, _any_of(said), _any_of(sorted(_people(as_built), key=len, reverse=True)))

    def named(self, text: str) -> str:
        """Return a text with a number in place of each file, and without what is quoted of one."""
        unquoted = _QUOTED.sub("'...'", text) if "'" in text or '"' in text else text
        return self.file.sub(lambda found: self.files[found[0]], unquoted)

    def said(self, text: str) -> str:
        """Return a text without files; one that names a person, or repeats a remark, is withheld."""
        return WITHHELD if self.person.search(text) else self.named(text)

    def sentences(self, texts: Iterable[str]) -> tuple[str, ...]:
        """Return the texts that name nobody, without files."""
        return tuple(self.named(text) for text in texts if not self.person.search(text))


def _any_of(words: Iterable[str]) -> re.Pattern[str]:
    found = "|".join(word if word.startswith("(?") else re.escape(word) for word in words)
    return re.compile(rf"(?<![\w/]){'(?:' + found + ')' if found else '(?!)'}(?!\w)")


def _files(frames: Mapping[str, pd.DataFrame]) -> dict[str, str]:
    """Number the files in the order of their names; a name without its folder is known, too."""
    info = frames["build_info"]
    named = set(info.loc[info["topic"] == "input", "name"])
    for frame in frames.values():
        named |= set(frame["source_file"]) if "source_file" in frame else set()
    paths = sorted(named - {"", *_KEPT_NAMES})
    numbers = {path: f"source {number}" for number, path in enumerate(paths, start=1)}
    bare = {path.rsplit("/", 1)[-1]: number for path, number in numbers.items()}
    return bare | numbers | _sheets(frames, numbers)


def _sheets(frames: Mapping[str, pd.DataFrame], files: Mapping[str, str]) -> dict[str, str]:
    """Number the sheets, and name them as sentences and ids of rows do."""
    found = {name for frame in frames.values() for column in _SHEETS if column in frame for name in frame[column]}
    numbers = {name: f"sheet {number}" for number, name in enumerate(sorted(found - {""}), start=1)}
    said = {f"{what} {name}": number for name, number in numbers.items() for what in ("sheet", "layer")}
    ids = {f"{path}!{name}": f"{files[path]}!{number}" for path in files for name, number in numbers.items()}
    return said | ids


def _people(as_built: AsBuilt) -> set[str]:
    """Return what gives a person away: names, roles, and the free words of records and decisions."""
    frames = as_built.tables
    joints, operators = frames["joints"], set(frames["joints"]["operator"]) - {""}
    finders = set(frames["positions"]["by"]) - {""}
    free = {text for name, columns in _TOLD.items() for c in columns for text in frames[name][c]} - operators
    free -= {"", *joints["joint_id"], *joints["joint"]}  # a curve or photo is often named as its joint is
    free -= {word for domain in DOMAINS.values() if isinstance(domain, Words) for word in domain.meanings}
    shorts = {rf"(?i:operators? {re.escape(name)})" for name in operators if not _tells(name)}
    shorts |= {rf"(?i:found (?:on \S+ )?by {re.escape(name)})" for name in finders if not _tells(name)}
    return {text for text in free | operators if _tells(text)} | shorts


def _tells(text: str) -> bool:
    """Whether a text is long enough to be looked for in sentences: "B" and "12" stand in many.

    >>> _tells("op 3"), _tells("B"), _tells("1234")
    (True, False, False)
    """
    return len(text) >= _SHORT and not text.isdigit()


# ---- tables ----------------------------------------------------------------------------------------------------------

_SPEC = {table.name: table for table in tables.ALL}


def _frame(name: str, frame: pd.DataFrame, clean: _Cleaning) -> pd.DataFrame:
    taken = (*_TOLD.get(name, ()), *_AS_FOUND.get(name, ()))
    out = {column: pd.Series("", index=frame.index) for column in taken}
    if name in _DECIDED:
        out["decision"] = _each(frame["decision"], _decision_only)
    sheets = {
        column: _each(frame[column], lambda text: clean.files.get(f"sheet {text}", text))
        for column in _SHEETS
        if column in frame
    }
    out |= sheets
    for column in _SPEC[name].columns:
        if column.kind == "text" and column.name not in out and not column.domain:
            out[column.name] = _each(frame[column.name], clean.said)
    typed = {column: values.astype(frame[column].dtype) for column, values in out.items()}
    return frame.assign(**typed)


def _each(values: pd.Series, change: Callable[[str], str]) -> pd.Series:
    """Change every text; each different one is looked at once."""
    changed = {text: change(text) for text in values.unique()}
    return values.map(changed)


def _decision_only(text: str) -> str:
    """Return what was decided, without who and why; a date stands in the table of decisions.

    >>> _decision_only("stale: repair; A. Person, engineer, 2026-03-25; soft; R-1"), _decision_only("")
    ('stale: repair', '')
    """
    return text.split(";", maxsplit=1)[0]


def _info(info: pd.DataFrame, title: Title, clean: _Cleaning) -> pd.DataFrame:
    """Leave the settings out but for the time zone, without which the times cannot be read; name the copy."""
    cleaned = _frame("build_info", info, clean)
    info = info.assign(value=cleaned["value"].where(~info["topic"].isin(_PLAIN), info["value"]), name=cleaned["name"])
    kept = info[~info["topic"].isin(_TOPICS_LEFT_OUT)]
    is_name = (kept["topic"] == "title") & (kept["name"] == "name")
    kept = kept.assign(value=kept["value"].mask(is_name, title.name))
    settings = f'# {MARK}: left out but for the time zone\n[route]\ntimezone = "{title.as_of.tzinfo}"\n'
    rows = pd.DataFrame([("setting", "route.toml", settings)], columns=["topic", "name", "value"])
    return tables.conform(pd.concat([kept, rows], ignore_index=True), tables.BUILD_INFO)
