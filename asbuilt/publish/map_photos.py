"""The photos as the page of the map carries them: a part of its own, so that the record opens without them."""

import base64
import json
import re
from typing import Any

from asbuilt.as_built import AsBuilt, Photo


def map_photos(as_built: AsBuilt) -> str:
    """Return the element that holds the photos, with a line break before it; empty where no joint names one.

    Its JSON has, by the row of the joint: [[name, width, height, JPEG in base64], ...]; of a photo that is not carried
    [name, 0, 0, "", why].
    """
    rows = {joint_id: row for row, joint_id in enumerate(as_built.tables["joints"]["joint_id"])}
    of_rows: dict[int, list[list[Any]]] = {}
    for photo in as_built.photos:
        of_rows.setdefault(rows[photo.joint_id], []).append(_entry(photo))
    told = escaped_json(dict(sorted(of_rows.items())))
    return f'\n<script id="photos" type="application/json">{told}</script>' if of_rows else ""


def _entry(photo: Photo) -> list[Any]:
    if photo.why:
        return [photo.name, 0, 0, "", photo.why]
    return [photo.name, photo.width, photo.height, base64.b64encode(photo.jpeg).decode()]


def escaped_json(value: Any) -> str:
    r"""Return JSON that cannot end the element it stands in.

    >>> print(escaped_json({"a": "</script>&"}))
    {"a":"\u003c/script\u003e\u0026"}
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return re.sub("[<>&]", lambda found: f"\\u{ord(found[0]):04x}", text)
