"""Documents on paper, read back by libraries that did not write them: pypdf for text, pikepdf for the file."""

import re
from pathlib import Path

import pikepdf
import pypdf

MM = 72.0 / 25.4  # points to the millimetre
# What a damaged or an unfinished file would make these libraries say.
_FONT_FILES = ("/FontFile", "/FontFile2", "/FontFile3")


def text_of(path: Path) -> str:
    """Return the text of all pages on one line: words as they follow each other."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages))


def pages_of(path: Path) -> list[str]:
    """Return the text of each page on one line."""
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(path).pages]


def places_of(path: Path, page: int = 0) -> list[tuple[str, float, float]]:
    """Return each piece of text of a page with the place where it begins, in millimetres from the lower left corner."""
    found = []

    def seen(text: str, cm: list[float], tm: list[float], _font: object, _size: object) -> None:
        x, y = tm[4], tm[5]
        if text.strip():
            at = (cm[0] * x + cm[2] * y + cm[4], cm[1] * x + cm[3] * y + cm[5])
            found.append((text.strip(), at[0] / MM, at[1] / MM))

    pypdf.PdfReader(path).pages[page].extract_text(visitor_text=seen)
    return found


def size_of(path: Path) -> tuple[float, float]:
    """Return width and height of the first page, millimetres."""
    box = pypdf.PdfReader(path).pages[0].mediabox
    return float(box.width) / MM, float(box.height) / MM


def archive_faults(path: Path) -> list[str]:
    """Return what of PDF/A-2a (ISO 19005-2, from memory) does not hold, as far as the objects of the file show it.

    Looked at are encryption, id, output intent, embedded fonts, actions, metadata, tags and language.
    """
    with pikepdf.open(path) as pdf:
        root, faults = pdf.Root, list(pdf.check_pdf_syntax())
        faults += ["encrypted"] if pdf.is_encrypted else []
        faults += ["no id"] if "/ID" not in pdf.trailer else []
        intents = [str(i.get("/S")) for i in root.get("/OutputIntents", [])]
        faults += [] if "/GTS_PDFA1" in intents else ["no output intent"]
        faults += [] if bool(root.get("/MarkInfo", {}).get("/Marked", False)) else ["not marked as tagged"]
        faults += [] if "/StructTreeRoot" in root else ["no structure"]
        faults += [] if str(root.get("/Lang", "")) else ["no language"]
        faults += [f"{key} is an action" for key in ("/OpenAction", "/AA", "/Names") if _acts(root.get(key))]
        faults += [f"font {name} is not embedded" for name in _fonts_left_out(pdf)]
        with pdf.open_metadata() as meta:
            said = (meta.get("pdfaid:part"), meta.get("pdfaid:conformance"))
        faults += [] if said == ("2", "A") else [f"metadata say PDF/A {said}"]
    return faults


def _acts(value: object) -> bool:
    return isinstance(value, pikepdf.Dictionary) and any(key in value for key in ("/S", "/JavaScript", "/AA"))


def _fonts_left_out(pdf: pikepdf.Pdf) -> list[str]:
    left = []
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Dictionary) and str(thing.get("/Type", "")) == "/FontDescriptor":
            left += [] if any(key in thing for key in _FONT_FILES) else [str(thing.get("/FontName"))]
    return left


def number(text: str) -> int:
    """A count as it is printed, with commas."""
    return int(text.replace(",", ""))
