"""[report]: on which paper the report and the alignment sheets are made, and at which scale."""

import re
from typing import Literal

from pydantic import field_validator

from asbuilt.as_built import ReportForm
from asbuilt.settings.parts import Part

_SCALE = re.compile(r"1\s*:\s*(\d{2,5})")
_FINEST, _COARSEST = 50, 20_000  # beyond these a sheet holds less than two pipes, or joints that cannot be told apart


class ReportOptions(Part):
    """[report]: what is not said follows from the units of the route."""

    paper: Literal["A4", "Letter"] | None = None
    sheets: Literal["A3", "Tabloid"] | None = None
    scale: str = ""  # such as "1:1000"

    @field_validator("scale")
    @classmethod
    def _scale_is_one(cls, scale: str) -> str:
        found = _SCALE.fullmatch(scale.strip())
        if scale and not (found and _FINEST <= int(found[1]) <= _COARSEST):
            raise ValueError(f'a scale from 1:{_FINEST} to 1:{_COARSEST}, such as "1:1000"')
        return scale

    def form(self, units: str) -> ReportForm:
        """Return the form for a route of these units, metric or us: A4 and A3 at 1:1000, or Letter and Tabloid at
        1:1200, which is 100 ft to the inch."""
        paper, sheets, scale = ("Letter", "Tabloid", 1200) if units == "us" else ("A4", "A3", 1000)
        found = _SCALE.fullmatch(self.scale.strip())
        return ReportForm(self.paper or paper, self.sheets or sheets, int(found[1]) if found else scale)
