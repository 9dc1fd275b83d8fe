"""The tables of `route.toml`. A name with a unit at its end holds the quantity in that unit."""

from pathlib import Path
from typing import Literal, Self

from pydantic import ConfigDict, Field, ValidationInfo, field_validator, model_validator

from asbuilt.fields import is_quantity
from asbuilt.quantities import METRES_PER_FOOT, LengthUnit, UnitError
from asbuilt.settings.context import ContextSources, MapOptions
from asbuilt.settings.decisions import DecisionsSource
from asbuilt.settings.export import ExportOptions
from asbuilt.settings.eye import VisualWords
from asbuilt.settings.features import FeaturesSource, FoundSource
from asbuilt.settings.parts import (
    Crs,
    CrsIfAny,
    Day,
    HeightsIfAny,
    InsidePath,
    Limit,
    Metres,
    Part,
    PositiveMetres,
    YesNo,
    Zone,
)
from asbuilt.settings.photos import PhotoSource
from asbuilt.settings.pipe import Pipe, Placing
from asbuilt.settings.plan import PlanSource
from asbuilt.settings.report import ReportOptions
from asbuilt.settings.sources import MachinesSource, PeopleSource, RecordSource, SurveySource, TallySource, TestsSource
from asbuilt.settings.traces import TraceSource
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
    height_crs: HeightsIfAny = ""
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


class StringSpec(Part):
    """[[string]]: what is known of a string that was moved after fusing. `from` and `to` are chainages in metres."""

    model_config = ConfigDict(populate_by_name=False)  # in the file: from, to

    string: str = Field(min_length=1)
    tie_ins: tuple[str, ...] = ()
    from_m: Metres | None = Field(default=None, alias="from")
    to_m: Metres | None = Field(default=None, alias="to")
    line: str = ""
    first_fused: Literal["ahead", "back"] | None = None
    joints: tuple[str, str] | None = None
    method: Literal["pulled in", "strung beside trench", "in trench", "bore"] = "pulled in"

    @property
    def tie_in_back(self) -> str:
        """The joint that closes the back end; empty where there is none, or none is known."""
        return self.tie_ins[0] if self.tie_ins else ""

    @property
    def tie_in_ahead(self) -> str:
        """The joint that closes the ahead end; empty where there is none, or none is known."""
        return self.tie_ins[1] if len(self.tie_ins) > 1 else ""

    @field_validator("tie_ins")
    @classmethod
    def _ends_are_two(cls, joints: tuple[str, ...]) -> tuple[str, ...]:
        if len(joints) > 2 or not any(joints) or len(set(joints)) < len(joints):
            raise ValueError('one or two different joint numbers, back end first; "" for an end that has none')
        return joints

    @field_validator("joints")
    @classmethod
    def _first_and_last(cls, joints: tuple[str, str] | None) -> tuple[str, str] | None:
        if joints and not all(joints):
            raise ValueError("the numbers of the first and the last joint, in the order they were fused")
        return joints

    @model_validator(mode="after")
    def _from_is_less_than_to(self) -> Self:
        if self.from_m is not None and self.to_m is not None and not self.from_m < self.to_m:
            raise ValueError(f"from is less than to; here from is {self.from_m:g} m, to is {self.to_m:g} m")
        return self


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
    visual: VisualWords | None = None

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
    string: tuple[StringSpec, ...] = ()
    place: Placing = Placing()
    tally: TallySource = TallySource()
    survey: SurveySource = SurveySource()
    people: PeopleSource = PeopleSource()
    machines: MachinesSource = MachinesSource()
    tests: TestsSource = TestsSource()
    decisions: DecisionsSource = DecisionsSource()
    plan: PlanSource = PlanSource()
    features: FeaturesSource = FeaturesSource()
    found: FoundSource = FoundSource()
    trace: TraceSource = TraceSource()
    photos: PhotoSource = PhotoSource()
    context: ContextSources = ()
    map: MapOptions = MapOptions()
    report: ReportOptions = ReportOptions()
    export: ExportOptions = ExportOptions()
    folder: Path = Path()

    @field_validator("alignment")
    @classmethod
    def _lines_have_names_of_their_own(cls, lines: tuple[AlignmentSource, ...]) -> tuple[AlignmentSource, ...]:
        names = [a.line for a in lines]
        if len(set(names)) < len(names):
            raise ValueError(f"each line needs a name of its own, found {', '.join(names)}")
        return lines

    @field_validator("string")
    @classmethod
    def _strings_fit_the_lines(cls, strings: tuple[StringSpec, ...], info: ValidationInfo) -> tuple[StringSpec, ...]:
        names = [s.string for s in strings]
        if len(set(names)) < len(names):
            raise ValueError(f"each string needs a name of its own, found {', '.join(names)}")
        lines = [a.line for a in info.data.get("alignment", ())]  # none where that table is wrong itself
        for s in strings if lines else ():
            if s.line and s.line not in lines:
                raise ValueError(f"line of {s.string}, {s.line!r}, is one of the lines {', '.join(lines)}")
            if not s.line and len(lines) > 1 and (s.from_m is not None or s.to_m is not None):
                raise ValueError(f"{s.string} says its line with from and to: one of {', '.join(lines)}")
        return strings

    @property
    def stick_sd_m(self) -> float:
        """How much laid sticks differ, one standard deviation; 0.4 % of a stick unless stated (no source)."""
        return self.place.stick_sd or 0.004 * self.pipe.stick
