"""Positions as people type and paste them: which two numbers they are, and in what form. No frames, no files.

Latitude comes first and longitude second, easting first and northing second, unless letters say otherwise. What can be
read in two ways is refused with the words that would make it clear. `geo:` is RFC 5870.
"""

import math
import re
from dataclasses import dataclass

_LONGEST = 120  # characters: no position is longer
_NUMBER = r"\d+(?:\.\d+)?"
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})  # as printed texts have it


class UnclearError(ValueError):
    """The text is a position, but which one is not clear. `do` says what to write."""

    def __init__(self, found: str, do: str) -> None:
        super().__init__(found)
        self.do = do


@dataclass(frozen=True)
class Typed:
    """Two numbers of a position: longitude and latitude in degrees, or easting and northing; `x` is that to the east.

    `form` names how they were written; `uncertainty_m` is what a geo: address states, NaN: nothing; `crs` is the
    code written before a position; empty: none.
    """

    x: float
    y: float
    in_degrees: bool
    form: str
    crs: str = ""
    uncertainty_m: float = math.nan


def _angle(n: int) -> str:
    """Degrees, and perhaps minutes and seconds, with the signs that keyboards and papers have."""
    seconds = rf"(?:\s*(?P<s{n}>{_NUMBER})\s*(?:[\"″”]|''|s)?)?"
    minutes = rf"(?:\s*(?P<m{n}>{_NUMBER})\s*(?:['′’]|m){seconds})?"
    return rf"(?P<d{n}>{_NUMBER})(?:\s*[°ºd]{minutes})?"


def _spaced(n: int) -> str:
    """Degrees, minutes and perhaps seconds with nothing but spaces or colons between them."""
    return rf"(?P<d{n}>\d+)[\s:]+(?P<m{n}>{_NUMBER})(?:[\s:]+(?P<s{n}>{_NUMBER}))?"


def _winds(angle1: str, angle2: str) -> tuple[str, str]:
    behind = rf"{angle1}\s*(?P<a1>[NSEW])[\s,;]*{angle2}\s*(?P<a2>[NSEW])"
    before = rf"(?P<a1>[NSEW])\s*{angle1}[\s,;]*(?P<a2>[NSEW])\s*{angle2}"
    return behind, before


_DEGREE_FORMS = tuple(
    re.compile(form, re.IGNORECASE)
    for form in (
        *_winds(_angle(1), _angle(2)),
        *_winds(_spaced(1), _spaced(2)),
        rf"(?P<a1>[-+]?){_angle(1)}\s*[,;]\s*(?P<a2>[-+]?){_angle(2)}",
        r"(?P<a1>[-+]?)(?P<d1>\d+\.\d+)\s+(?P<a2>[-+]?)(?P<d2>\d+\.\d+)",
        r"(?P<a1>[-+]?)(?P<d1>\d+)\s*[°ºd](?P<m1>)(?P<s1>)\s+(?P<a2>[-+]?)(?P<d2>\d+)\s*[°ºd](?P<m2>)(?P<s2>)",
    )
)
_PLANE_FORMS = tuple(
    re.compile(rf"{one.format(n=1)}{between}{one.format(n=2)}", re.IGNORECASE)
    for one, between in (
        (rf"(?P<v{{n}}>[-+]?{_NUMBER})\s*m?(?P<a{{n}}>)", r"[\s,;]+"),
        (rf"(?P<v{{n}}>[-+]?{_NUMBER})\s*m?\s*(?P<a{{n}}>[EN])", r"[\s,;]*"),
        (rf"(?P<a{{n}}>[EN])\s*[:=]?\s*(?P<v{{n}}>[-+]?{_NUMBER})\s*m?", r"[\s,;]*"),
    )
)
_GEO = re.compile(rf"geo:(?P<y>-?{_NUMBER}),(?P<x>-?{_NUMBER})(?:,-?{_NUMBER})?(?P<rest>(?:;.*)?)", re.IGNORECASE)
_CODED = re.compile(r"(?P<crs>[A-Za-z]{2,10}:\d{1,7})[\s:,;]+(?P<rest>.+)")
_LIKE_ONE = re.compile(r"[-+]?\d[\d\s.,;:°º'′’\"″”NSEWdms+-]*", re.IGNORECASE)
_TWO = re.compile(r"\d+(?:[.,]\d+)?[^\d.,]+[-+]?\d+")


def typed(text: str, *, framed: bool = False) -> Typed | None:
    """Return the position that a text is, None where it is none. Raises UnclearError.

    Where a frame is named beside it (`framed`, or a code before it), two plain numbers are left as they stand: whether
    they are degrees that frame says.

    >>> typed("42°51'08.3\\"S 149°13'38.9\\"E").form
    'degrees, minutes and seconds'
    >>> typed("EPSG:7855 512000 5260000")
    Typed(x=512000.0, y=5260000.0, in_degrees=False, form='projected', crs='EPSG:7855', uncertainty_m=nan)
    >>> typed("8+20.21") is None and typed("C-097") is None
    True
    """
    plain = " ".join(text.translate(_MINUS).split())
    if len(plain) > _LONGEST:
        return None
    if plain.lower().startswith("geo:"):
        return _of_address(plain)
    if (coded := _CODED.fullmatch(plain)) and coded["crs"].lower() != "geo":
        return _coded(coded["crs"], coded["rest"])
    first, then = (_in_plane, _in_degrees) if framed else (_in_degrees, _in_plane)
    found = first(plain) or then(plain)
    if found is None:
        _refuse_unclear(plain)
    return found


def _coded(code: str, rest: str) -> Typed:
    found = _in_plane(rest) or _in_degrees(rest)
    if found is None:
        raise UnclearError(f"after {code} no two numbers stand", f'write it as "{code} 512000 5260000"')
    return Typed(found.x, found.y, found.in_degrees, found.form, code.upper())


def _of_address(text: str) -> Typed:
    found = _GEO.fullmatch(text)
    if not found:
        raise UnclearError("it is no geo: address", 'write it as "geo:-42.85229,149.22748"')
    pairs = (part.partition("=") for part in found["rest"].lower().split(";") if part)
    told = {name: value for name, _, value in pairs}
    if told.get("crs", "wgs84") != "wgs84":
        raise UnclearError(f"a geo: address in {told['crs']!r} is not known here", "name the frame with --crs instead")
    u = told.get("u", "nan")
    sd = float(u) if re.fullmatch(_NUMBER, u) else math.nan
    return _checked(Typed(float(found["x"]), float(found["y"]), True, "geo: address", uncertainty_m=sd))


def _in_degrees(text: str) -> Typed | None:
    for form in _DEGREE_FORMS:
        if found := form.fullmatch(text):
            told = found.groupdict()
            first, second = (_size(told, n) for n in (1, 2))
            letters = [told["a1"].upper(), told["a2"].upper()]
            if max(first, second) > 180 and _in_plane(text):
                return None
            return _checked(_placed(first, second, letters, _named(told)))
    return None


def _placed(first: float, second: float, letters: list[str], form: str) -> Typed:
    """Put the two angles in order by their letters, latitude first without any."""
    if set(letters) & set("NSEW"):
        north = [i for i, letter in enumerate(letters) if letter in ("N", "S")]
        if len(north) != 1:
            raise UnclearError("both letters are of one direction", "write N or S for one, E or W for the other")
        first, second = (first, second) if north[0] == 0 else (second, first)
        letters = letters if north[0] == 0 else letters[::-1]
    signs = [-1.0 if letter in ("-", "S", "W") else 1.0 for letter in letters]
    return Typed(signs[1] * second, signs[0] * first, True, form)


def _size(told: dict[str, str | None], n: int) -> float:
    parts = [told.get(f"{name}{n}") or "" for name in "dms"]
    while parts and not parts[-1]:
        parts.pop()
    if any("." in part for part in parts[:-1]):
        raise UnclearError("a part has decimals although a smaller one follows", "give decimals to the last part alone")
    if any(float(part) >= 60 for part in parts[1:]):
        raise UnclearError("minutes or seconds are sixty or more", "check the position")
    return sum(float(part) / 60**i for i, part in enumerate(parts))


def _named(told: dict[str, str | None]) -> str:
    if told.get("s1"):
        return "degrees, minutes and seconds"
    return "degrees and minutes" if told.get("m1") else "decimal degrees"


def _checked(found: Typed) -> Typed:
    if abs(found.y) > 90:
        raise UnclearError(f"there is no latitude of {found.y:g}°", "write the latitude first, then the longitude")
    if abs(found.x) > 180:
        raise UnclearError(f"there is no longitude of {found.x:g}°", "write the latitude first, then the longitude")
    return found


def _in_plane(text: str) -> Typed | None:
    found = next((match for form in _PLANE_FORMS if (match := form.fullmatch(text))), None)
    if found is None:
        return None
    letters = found["a1"].upper(), found["a2"].upper()
    if letters[0] and letters[0] == letters[1]:
        raise UnclearError("the letters of easting and northing are not one E and one N", "write 512000 E 5260000 N")
    x, y = float(found["v1"]), float(found["v2"])
    return Typed(y, x, False, "projected") if letters[0] == "N" else Typed(x, y, False, "projected")


def _refuse_unclear(text: str) -> None:
    """Raise UnclearError for what must have been meant as a position."""
    if re.fullmatch(r"[-+]?\d+,\d+[°º]?\s*[NS]?[\s;,]+[-+]?\d+,\d+[°º]?\s*[EW]?", text, re.IGNORECASE):
        raise UnclearError("commas stand for decimals and between numbers", 'write points: "-42.85229, 149.22748"')
    marked = re.search(r"[°º′″]|\d\s*[NSEW]\b", text, re.IGNORECASE)
    if marked and _LIKE_ONE.fullmatch(text) and _TWO.search(text):
        do = 'write it as "-42.85229, 149.22748", or with both letters: "42.85229 S 149.22748 E"'
        raise UnclearError("which position that is is not clear", do)
