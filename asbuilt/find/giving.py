"""What a search gives out beside its words: one document for programs, and files that are whole or not there."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

from asbuilt.as_built import Title
from asbuilt.cautions import CAUTIONS
from asbuilt.errors import InputError, OutputError, Problem
from asbuilt.find.answer import Answer, JointAnswer, NothingFound, PlaceAnswer
from asbuilt.find.asked import AskedJoint
from asbuilt.find.record import Record
from asbuilt.find.search import joint_answer

_KINDS: Mapping[str, bytes] = {"--sheet": b"%PDF-", "--gpx": b"<?xml", "--kml": b"<?xml"}
_FOUND: Mapping[type, str] = {JointAnswer: "joint", PlaceAnswer: "place", NothingFound: "nothing"}


def as_document(answers: Sequence[Answer], title: Title) -> dict[str, Any]:
    """Return the answers as plain lists and dicts for JSON; what is not known is None."""
    told = [{"found": _FOUND[type(answer)]} | _plain(asdict(answer)) for answer in answers]
    head = _plain(asdict(title)) | {"as_of": title.as_of.isoformat()}
    return {"title": head, "answers": told, "cautions": list(CAUTIONS)}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def for_the_sheet(of: Record, answers: Sequence[Answer]) -> JointAnswer:
    """Return the joint that a sheet is asked for: of a place the nearest. Raises InputError for none or several."""
    if len(answers) != 1:
        what = f"{len(answers)} things are asked for, and a sheet is of one joint"
        raise InputError(Problem("--sheet", what, "ask for one"))
    answer = answers[0]
    if isinstance(answer, PlaceAnswer) and answer.near:
        name = answer.near[0].joint_id
        return joint_answer(of, AskedJoint(answer.asked, name, f"joint {name} is the nearest to {answer.asked}"))
    if not isinstance(answer, JointAnswer):
        raise InputError(Problem("--sheet", "no joint was found", "ask for another"))
    return answer


def refuse_unless_free(option: str, path: Path, *, apart_from: Iterable[Path]) -> None:
    """Raise OutputError where a file may not be written: in a hand-over, or over a file of another kind."""
    place = path.resolve()
    if any(folder.resolve() in place.parents for folder in apart_from):
        raise OutputError(Problem(str(path), "it would lie in the hand-over", "name a place elsewhere"))
    if path.exists():
        with path.open("rb") as file:
            if not file.read(8).startswith(_KINDS[option]):
                what = f"a file is there that is none of {option}"
                raise OutputError(Problem(str(path), what, "name another, or move it"))


def write(files: Mapping[Path, bytes]) -> None:
    """Write files, each whole: all of them stand beside their places before the first is moved. Raises OutputError."""
    beside = {path: path.with_name(f".{path.name}.new") for path in files}
    try:
        for path, data in files.items():
            beside[path].write_bytes(data)
        for path, new in beside.items():
            new.replace(path)
    except OSError as error:
        for new in beside.values():
            new.unlink(missing_ok=True)
        what = f"it cannot be written ({error.strerror or error})"
        raise OutputError(Problem(str(error.filename or ""), what, "check the place and its rights")) from error
