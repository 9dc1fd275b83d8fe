"""Text and drawings on paper: the one room that knows the typesetter.

A template (`assets/report/*.typ`) is read as it stands; what it is about comes beside it as one JSON document, so that
no word of a record is ever read as markup. Fonts are those inside the typesetter, never those of the machine: the same
record gives the same bytes. The file is PDF/A-2a and PDF/UA-1: for archives, tagged for readers that speak.
"""

import json
import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

# Loaded when a report is made: the commands that make none do not wait for it.
_STANDARDS: list[Literal["a-2a", "ua-1"]] = ["a-2a", "ua-1"]
# Control characters, halves of pairs, what is no character at all, and what turns the order of letters round unseen.
_UNSAID = re.compile("[\x00-\x1f\x7f-\x9f\xad\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff\ufffe\uffff]")
_BLANK = re.compile("[\t\r\n\x0b\x0c\x85\u2028\u2029]+")
# These the fonts have for certain; of all others they are asked.
_COMMON = frozenset(map(chr, range(0x20, 0x7F))) | frozenset("°±²³µ·×÷–—‘’“”…")
_PROBE = """
#set document(title: "characters")
#set text(font: "Libertinus Serif", lang: "en")
#for c in json(bytes(sys.inputs.record)) [#c#parbreak()]
"""


def typeset(template: str, document: Mapping[str, Any], *, moment: datetime) -> bytes:
    """Return a PDF: a template of `assets/report` filled with a document of plain lists, dicts, numbers and text.

    `moment` is the date in the file. A character that no font has is written by its number, such as [U+4E2D]; the
    template is told which in the key `unshown`. Raises RuntimeError of the typesetter for a fault in a template.
    """
    import typst  # noqa: PLC0415

    fonts = typst.Fonts(include_system_fonts=False)
    odd = sorted(_characters(document) - _COMMON)
    unshown = set(_without_glyph(odd, fonts))
    told = _said(document, unshown) | {"unshown": [f"U+{ord(c):04X}" for c in sorted(unshown)]}
    folder = Path(str(files("asbuilt") / "assets" / "report"))
    compiler = typst.Compiler(str(folder / template), root=str(folder), font_paths=fonts)
    made = compiler.compile(
        format="pdf", sys_inputs={"record": _json(told)}, pdf_standards=[*_STANDARDS], timestamp=_fixed(moment)
    )
    return bytes(made)  # type: ignore[arg-type]  # one file, as no name is given


def as_png(svg: str, *, width: float, height: float, per_inch: float = 144.0) -> bytes:
    """Return an SVG drawing of that many pixels (72 an inch) as PNG; the fonts are those of the typesetter."""
    import typst  # noqa: PLC0415

    page = f"#set page(width: {width}pt, height: {height}pt, margin: 0pt)\n"
    page += '#image(bytes(sys.inputs.svg), format: "svg", width: 100%)'
    compiler = typst.Compiler(page.encode(), font_paths=typst.Fonts(include_system_fonts=False))
    made = compiler.compile(format="png", ppi=per_inch, sys_inputs={"svg": svg})
    return bytes(made)  # type: ignore[arg-type]  # one page, as no name is given


def _fixed(moment: datetime) -> int:
    return int(moment.timestamp())


def _json(document: Any) -> str:
    return json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _characters(value: Any) -> set[str]:
    """Return each character of all texts, as they will be said."""
    if isinstance(value, str):
        return set(_plain(value))
    items: Iterable[Any] = value.values() if isinstance(value, Mapping) else value if _is_list(value) else ()
    return set().union(*map(_characters, items))


def _is_list(value: Any) -> bool:
    return isinstance(value, list | tuple)


def _said(value: Any, unshown: set[str]) -> Any:
    """Return the document with all texts as the fonts can show them."""
    if isinstance(value, str):
        text = _plain(value)
        return "".join(_numbered(c) if c in unshown else c for c in text) if unshown.intersection(text) else text
    if isinstance(value, Mapping):
        return {key: _said(item, unshown) for key, item in value.items()}
    return [_said(item, unshown) for item in value] if _is_list(value) else value


def _plain(text: str) -> str:
    r"""Return a text on one line, with what nobody sees written by its number.

    >>> _plain("a\nb \u202ec \x07 \ud800")
    'a b [U+202E]c [U+0007] [U+D800]'
    """
    return _UNSAID.sub(lambda found: _numbered(found[0]), _BLANK.sub(" ", text))


def _numbered(character: str) -> str:
    return f"[U+{ord(character):04X}]"


def _without_glyph(characters: list[str], fonts: Any) -> list[str]:
    """Return the characters that no font shows, by asking the typesetter: it refuses a page that holds one."""
    import typst  # noqa: PLC0415

    if not characters:
        return []
    compiler = typst.Compiler(_PROBE.encode(), font_paths=fonts)
    try:
        asked = {"record": _json(characters)}
        compiler.compile(format="pdf", sys_inputs=asked, pdf_standards=[*_STANDARDS], timestamp=0)
    except typst.TypstError:
        middle = len(characters) // 2
        if not middle:
            return characters
        return [*_without_glyph(characters[:middle], fonts), *_without_glyph(characters[middle:], fonts)]
    return []
