"""The photos that records name: found in the route folder, and made small for the page of the map.

Nothing is fetched, and nothing outside the route folder is opened. A photo that is not carried is no reason to stop: it
says why, in the notes and in the card of its joint.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from asbuilt.as_built import Photo
from asbuilt.look import NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.read.pictures import Copy, small_copy
from asbuilt.sentence import several, some
from asbuilt.settings import Settings
from asbuilt.settings.paths import as_path, is_file, is_inside

MOST_IN_PAGE = 6_000_000  # characters that the copies may take in the page; a phone has to open it
FULL = f"the {MOST_IN_PAGE // 1_000_000} MB that the page has for photos are taken by others"
ADDRESS = "is an address; nothing is fetched"
OUTSIDE = "is no path within the route folder"
LINKED_OUT = "is a link that leads out of the route folder"

_NAMED = 20  # photos in one note; each says it in its card, too
_ENDINGS = ("", ".jpg", ".JPG", ".jpeg", ".JPEG", ".png", ".PNG", ".webp")  # a name may come without its ending
_BETWEEN = re.compile(r"[;,]")
_BETWEEN_ADDRESSES = re.compile(r"[;,](?=\s|\w+://)")  # an address may hold both signs
_IS_ADDRESS = re.compile(r"(?i)[a-z][a-z0-9+.-]*://|www\.")

Found = Path | str  # the file, or why there is none


@dataclass(frozen=True)
class Album:
    """Photos in the order in which they have a claim to the page; what is said about those that are not carried; and
    the files that were copied, as paths from the route folder."""

    photos: tuple[Photo, ...] = ()
    notes: tuple[str, ...] = ()
    files: tuple[str, ...] = ()


def read_photos(joints: pd.DataFrame, settings: Settings) -> Album:
    """Return the photos that `joints` (tables.JOINTS, in line order) name, as many as a page may carry.

    Joints that stand out come first, then all others, each in the order of the line. Where the page is full, further
    photos are looked for and not opened.
    """
    told = joints[joints["photo"] != ""]
    stands_out = told[["fusion_verdict", "position_verdict"]].isin([OUT_OF_WINDOW, NOT_RECORDED]).any(axis=1)
    order = np.argsort(~(stands_out & told["in_line"].astype(bool)).to_numpy(), kind="stable")
    columns = (told[name].astype(str).iloc[order] for name in ("joint_id", "photo", "source_file"))
    cells = zip(*columns, strict=True)
    found = [(joint_id, *named) for joint_id, text, of in cells for named in _named(text, of, settings).items()]
    photos = tuple(_carried(found))
    base = settings.folder.resolve()
    copied = (file for (_, _, file), photo in zip(found, photos, strict=True) if photo.jpeg)
    files = {file.relative_to(base).as_posix() for file in copied if isinstance(file, Path)}
    return Album(photos, tuple(_notes(photos)), tuple(sorted(files)))


# ---- finding ---------------------------------------------------------------------------------------------------------


def _named(text: str, of: str, settings: Settings) -> dict[str, Found]:
    """Return each name that a cell holds, and its file. `of` is the file that the cell stands in."""
    whole = _file(text, of, settings)
    if isinstance(whole, Path):  # a name may hold a comma
        return {text: whole}
    between = _BETWEEN_ADDRESSES if "://" in text else _BETWEEN
    names = (name.strip() for name in between.split(text))
    return {name: _file(name, of, settings) for name in names if name}


def _file(name: str, of: str, settings: Settings) -> Found:
    if _IS_ADDRESS.match(name):
        return ADDRESS
    if not is_inside(name):
        return OUTSIDE
    base = settings.folder.resolve()
    folders = [base / settings.photos.folder, base, (base / of).parent]
    paths = (folder / (as_path(name) + ending) for folder in folders for ending in _ENDINGS)
    path = next((path.resolve() for path in paths if is_file(path)), None)
    if path is None:
        return _missing(settings)
    return path if path.is_relative_to(base) else LINKED_OUT


def _missing(settings: Settings) -> str:
    named = f"the folder {settings.photos.folder}, in " if settings.photos.folder else ""
    return f"is not in {named}the route folder or beside its record"


# ---- carrying --------------------------------------------------------------------------------------------------------


def _carried(found: Iterable[tuple[str, str, Found]]) -> Iterator[Photo]:
    """Copy the files in their order until one does not fit: then the page is full. A file is copied once."""
    copies: dict[Path, Copy | str] = {}
    room = MOST_IN_PAGE
    for joint_id, name, file in found:
        if isinstance(file, Path) and room and file not in copies:
            copies[file] = small_copy(file)
        copy = file if isinstance(file, str) else copies.get(file, FULL)
        if isinstance(copy, Copy):
            takes = _in_page(copy)
            room, copy = (room - takes, copy) if takes <= room else (0, FULL)
        if isinstance(copy, str):
            yield Photo(joint_id, name, why=copy)
        else:
            yield Photo(joint_id, name, copy.jpeg, copy.width, copy.height)


def _in_page(copy: Copy) -> int:
    """Return how many characters a copy takes in the page: four for each three bytes (RFC 4648, section 4)."""
    return 4 * -(-len(copy.jpeg) // 3)


def _notes(photos: tuple[Photo, ...]) -> Iterator[str]:
    left_out = [photo for photo in photos if photo.why]
    for why in dict.fromkeys(photo.why for photo in left_out):
        of = [f"{photo.name} of joint {photo.joint_id}" for photo in left_out if photo.why == why]
        if why == FULL:
            yield f"{several(len(of), 'photo')} left out of the map: {FULL}. Joints that stand out came first."
        else:
            yield f"{several(len(of), 'photo')} not carried in the map, as each {why}: {some(of, _NAMED)}."
