"""The tables of `route.toml`. A name with a unit at its end holds the quantity in that unit."""

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from asbuilt.fields import is_quantity
from asbuilt.quantities import METRES_PER_FOOT, LengthUnit, UnitError
from asbuilt.settings.parts import (
    ColumnSpec,
    Crs,
    CrsIfAny,
    Day,
    Duration,
    Encoding,
    Finite,
    InsidePath,
    Limit,
    Metres,
    OneOrMore,
    Part,
    PositiveMetres,
    PositiveMillimetres,
    YesNo,
    Zone,
    column_faults,
)
from asbuilt.stationing import ChainageEquation, Stationing


class Route(Part):
    """[route]: what the job is, and how its results are shown."""

    name: str = Field(min_length=1)
    owner: str = ""
    contractor: str = ""
    contract: str = ""
    revision: str = "P01"
    as_of: Day | None = None
    complete: YesNo = True
    crs: Crs
    height_crs: CrsIfAny = ""
    timezone: Zone | None = None
    units: Literal["metric", "us"] = "metric"
    foot: Literal["survey", "international"] | None = None
    station_length: PositiveMetres | None = None

    @model_validator(mode="after")
    def _foot_is_said(self) -> Self:
        if self.units == "us" and self.foot is None:
            raise ValueError('with units = "us" also foot = "survey" or foot = "international"')
        if abs(self._station_units - round(self._station_units)) > 1e-5 * self._station_units:
            raise ValueError("station_length is a whole number of the unit that stations are written in")
        return self

    @property
    def _station_units(self) -> float:
        return (self.station_length or 0.0) / self.metres_per_unit

    @property
    def metres_per_unit(self) -> float:
        """Length of the unit that stations are written in."""
        return METRES_PER_FOOT[self.foot] if self.units == "us" and self.foot else 1.0

    @property
    def length_unit(self) -> LengthUnit:
        """The unit that lengths are shown in."""
        return LengthUnit("ft" if self.units == "us" else "m", self.metres_per_unit)

    @property
    def station_length_m(self) -> float:
        """Length of one station: 1000 m, or 100 ft for us units, unless the route says otherwise.

        A length stated in feet means the foot of the route: the two feet differ by 2 ppm.
        """
        units = round(self._station_units) or (100 if self.units == "us" else 1000)
        return units * self.metres_per_unit


class Equation(Part):
    """One chainage equation: the label jumps from `back` to `ahead`."""

    back: Metres
    ahead: Metres


class AlignmentSource(Part):
    """[[alignment]]: one line, where its file is and how it is measured."""

    line: str = Field(min_length=1)
    file: InsidePath
    layer: str = ""
    crs: CrsIfAny = ""
    reverse: YesNo = False
    start: Metres = 0.0
    first_joint: YesNo = False
    last_joint: YesNo = False
    length: Literal["grid", "ground", "geodesic", "slope"] = "grid"
    ground_factor: float | None = Field(default=None, gt=0.9, lt=1.1)
    equations: tuple[Equation, ...] = ()

    @model_validator(mode="after")
    def _factor_is_said(self) -> Self:
        if (self.length == "ground") != (self.ground_factor is not None):
            raise ValueError('ground_factor goes with length = "ground", and only with it')
        return self

    def stationing(self, route: Route) -> Stationing:
        """Return how the labels of this line are written."""
        return Stationing(
            station_length_m=route.station_length_m,
            metres_per_unit=route.metres_per_unit,
            start_m=self.start,
            equations=tuple(ChainageEquation(back_m=e.back, ahead_m=e.ahead) for e in self.equations),
        )


def _column(value: Any) -> Any:
    return {"column": value} if isinstance(value, str | list) else value


Columns = dict[str, Annotated[ColumnSpec, BeforeValidator(_column)]]


class Corrections(Part):
    """[records.corrections]: applied only because it stands there; the raw value is kept."""

    clock: Duration | None = None
    swap: YesNo = False
    sign: YesNo = False
    shift: tuple[Metres, Metres] | None = None  # to east, to north


class RecordSource(Part):
    """[[records]]: the files of one crew, with their own frame, clock, units and columns."""

    files: tuple[InsidePath, ...] = Field(min_length=1)
    crs: CrsIfAny = ""
    accuracy: Literal["sd", "68%", "95%", "rms", "cep", "hdop"] | None = None
    uere: PositiveMetres | None = None
    default_accuracy: PositiveMetres | None = None
    timezone: Zone | None = None
    time_is: Literal["end of cooling", "start"] = "end of cooling"
    sheet: OneOrMore | None = None
    layer: str = ""
    decimal: Literal[".", ","] | None = None
    encoding: Encoding = ""
    delimiter: Literal[",", ";", "\t"] | None = None
    heading_row: int | None = Field(default=None, ge=1, strict=True)
    columns: Columns = Field(default_factory=dict)
    corrections: Corrections = Corrections()

    @field_validator("columns")
    @classmethod
    def _fields_are_known(cls, columns: Columns) -> Columns:
        faults = [fault for name, spec in columns.items() for fault in column_faults(name, spec)]
        if faults:
            raise ValueError("\n".join(faults))
        return columns

    @model_validator(mode="after")
    def _accuracy_has_a_meaning(self) -> Self:
        if (self.accuracy == "hdop") != (self.uere is not None):
            raise ValueError('uere goes with accuracy = "hdop", and only with it')
        if self.accuracy is None and (self.default_accuracy is not None or "accuracy" in self.columns):
            raise ValueError('say what accuracy means: accuracy = "sd", "68%", "95%", "rms", "cep" or "hdop"')
        return self


class Pipe(Part):
    """[pipe]: what is laid. A stated wall outranks outside diameter / DR."""

    outside_diameter: PositiveMillimetres | None = None
    wall: PositiveMillimetres | None = None
    dr: Finite | None = Field(default=None, gt=1)
    stick: PositiveMetres
    material: str = ""


class PositionWindow(Part):
    """[window.position]: how far a joint may lie from the alignment, and from where a fix says nothing."""

    offset: PositiveMetres
    reach: PositiveMetres = 100.0  # a fix farther than this from every line does not say where the joint lies


class Windows(Part):
    """[window]: the procedure, what is required of each record, and the project's own limits."""

    procedure: str = Field(min_length=1)
    required: tuple[str, ...] | None = None
    limits: dict[str, Limit] = Field(default_factory=dict)
    position: PositionWindow

    @field_validator("limits")
    @classmethod
    def _limits_hold(cls, limits: dict[str, Limit]) -> dict[str, Limit]:
        faults = []
        for check, limit in limits.items():
            if not is_quantity(check):
                faults.append(f"{check}: the name of a quantity of a record")
                continue
            try:
                limit.bounds(check)
            except UnitError as error:
                faults.append(f"{check}: {error}")
        if faults:
            raise ValueError("\n".join(faults))
        return limits


class Settings(Part):
    """The whole of `route.toml`, and the folder it stands in."""

    route: Route
    alignment: tuple[AlignmentSource, ...] = Field(min_length=1)
    records: tuple[RecordSource, ...] = Field(min_length=1)
    pipe: Pipe
    window: Windows
    folder: Path = Path()

    @field_validator("alignment")
    @classmethod
    def _lines_have_names_of_their_own(cls, lines: tuple[AlignmentSource, ...]) -> tuple[AlignmentSource, ...]:
        names = [a.line for a in lines]
        if len(set(names)) < len(names):
            raise ValueError(f"each line needs a name of its own, found {', '.join(names)}")
        return lines
