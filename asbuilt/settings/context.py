"""[[context]] and [map]: what the map draws behind the line, from files of others and, where asked for, from a network.

Both are of the map alone: no joint is placed or judged by them.
"""

import re
from typing import Annotated, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from asbuilt.as_built import Tiles
from asbuilt.settings.parts import CrsIfAny, InsidePath, Part

_LABEL = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
_PARTS = ("{z}", "{x}", "{y}")
# What an address may hold here: none of it can end an attribute, a rule of a policy, or a text in a script.
_ADDRESS = re.compile(rf"{_LABEL}(?:\.{_LABEL})*(?::\d{{1,5}})?/[A-Za-z0-9._~%/?&=+,:@-]+", re.IGNORECASE)


class ContextSource(Part):
    """[[context]]: one layer of somebody else's, drawn quietly behind the line."""

    file: InsidePath
    layer: str = ""
    title: str = Field(min_length=1)  # what the key of the map says
    crs: CrsIfAny = ""
    label: str = ""  # the column whose text is written beside a feature

    @property
    def where(self) -> str:
        """File, and layer where one is named."""
        return f"{self.file} layer {self.layer}" if self.layer else self.file


def _titles_differ(sources: tuple[ContextSource, ...]) -> tuple[ContextSource, ...]:
    titles = [source.title for source in sources]
    if len(set(titles)) < len(titles):
        raise ValueError(f"each layer needs a title of its own, found {', '.join(titles)}")
    return sources


ContextSources = Annotated[tuple[ContextSource, ...], AfterValidator(_titles_differ)]


class MapOptions(Part):
    """[map]: a background from a network. Off unless asked for: whoever runs it sees where the asset lies."""

    tiles: str = ""
    attribution: str = ""  # plain text, never read as markup
    max_zoom: int = Field(default=19, ge=1, le=23, strict=True)  # the deepest zoom that the tiles are made for

    @field_validator("tiles")
    @classmethod
    def _address_is_plain(cls, tiles: str) -> str:
        host, _, path = tiles.removeprefix("https://").partition("/")
        is_named = all(part in path for part in _PARTS)
        for part in _PARTS:
            path = path.replace(part, "0")
        if tiles and not (is_named and tiles.startswith("https://") and _ADDRESS.fullmatch(f"{host}/{path}")):
            raise ValueError(
                "an address over https with a plain host name and {z}, {x} and {y} behind it, without quotes, spaces,"
                ' semicolons or user names, such as "https://tiles.example.org/{z}/{x}/{y}.png"'
            )
        return tiles

    @model_validator(mode="after")
    def _who_made_it_is_said(self) -> Self:
        if bool(self.tiles) != bool(self.attribution.strip()):
            raise ValueError("attribution (who made the tiles, as their terms ask) goes with tiles, and only with them")
        return self

    @property
    def background(self) -> Tiles | None:
        """The tiles asked for; None: none."""
        return Tiles(self.tiles, self.attribution, self.max_zoom) if self.tiles else None
