"""What follows from a record by arithmetic: the pipe's size, its area, and its pressures in either kind."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS, is_quantity
from asbuilt.judge.finding import Finding
from asbuilt.sentence import several
from asbuilt.settings import Settings

OTHER_KIND = {"gauge": "interfacial", "interfacial": "gauge"}
PRESSURES = ("bead_pressure", "soak_pressure", "fusion_pressure", "second_pressure")
_NUMBERS = [f.stored for f in FIELDS.values() if is_quantity(f.name)]

# Tabulated walls are not outside diameter / DR exactly (110 mm, SDR 17: 6.6 mm in the table of AS/NZS 4130, 6.47 mm by
# the ratio). What lies within either of these may be the same pipe; common practice, no source.
WALL_SHARE, WALL_MM = 0.02, 0.2
_UNSIZED = "the pipe's size is not known"


def gauge_pressure(interfacial: np.ndarray, drag: np.ndarray, *, piston: np.ndarray, area: np.ndarray) -> np.ndarray:
    """Return the gauge pressure that makes the interfacial one. Pressures in one unit, areas in one unit, shapes (n,).

    `piston` is the total effective piston area of the machine, `area` that of the pipe, pi (OD - wall) wall.

    >>> area = np.pi * (8.625 - 8.625 / 11) * 8.625 / 11
    >>> gauge_pressure(np.array([75.0]), np.array([30.0]), piston=np.array([4.71]), area=area).round(1)
    array([337.6])
    """
    with np.errstate(divide="ignore", invalid="ignore"):  # a piston area of nothing gives no pressure that fits
        return interfacial * area / piston + drag


def interfacial_pressure(gauge: np.ndarray, drag: np.ndarray, *, piston: np.ndarray, area: np.ndarray) -> np.ndarray:
    """Return the pressure at the melt face that a gauge pressure makes: `gauge_pressure` the other way round."""
    return (gauge - drag) * piston / area


@dataclass(frozen=True)
class Derived:
    """Values by stored column, shape (rows,), and for each pressure why its interfacial value is not known."""

    values: dict[str, np.ndarray]
    interfacial: dict[str, np.ndarray]
    missing: dict[str, np.ndarray]  # a text; empty where nothing is missing
    wall_doubts: np.ndarray  # texts (rows,): a stated wall that is not outside diameter / DR; empty where it is
    stated_kind: dict[str, np.ndarray]  # of each pressure: gauge or interfacial, as route.toml says

    def in_kind(self, name: str, kind: str) -> tuple[np.ndarray, np.ndarray]:
        """Return a pressure as gauge or interfacial, and what it would be had it been stated as the other kind; MPa."""
        values = self.values
        reading, stated = values[f"{name}_mpa"], np.isin(self.stated_kind[name], [kind, ""])
        turn = gauge_pressure if kind == "gauge" else interfacial_pressure
        turned = turn(reading, values["drag_pressure_mpa"], piston=values["piston_area_mm2"], area=pipe_area(values))
        return np.where(stated, reading, turned), np.where(stated, turned, reading)

    def lacks(self, name: str, kind: str) -> np.ndarray:
        """Say what is missing to bring a pressure that was stated as the other kind into `kind`; texts (rows,)."""
        return _missing(self.values, name, ~np.isin(self.stated_kind[name], [kind, ""]))

    def recorded_only(self, name: str, kind: str) -> np.ndarray:
        """Whether a pressure was recorded and cannot be brought into `kind`: its reading is shown, not judged; (rows,).

        Without drag or piston area an interfacial pressure was not recorded, though the gauge figure would pass. One
        that is stated at the melt face was, whatever the machine's figures are.
        """
        lacking = self.lacks(name, kind)
        return lacking != "" if kind == "gauge" else lacking == _UNSIZED

    def computed_from(self, name: str, kind: str, *, at: np.ndarray) -> np.ndarray:
        """Say of the pressures that were brought into `kind` from which reading; texts (rows,)."""
        said = np.full(len(at), "", dtype=object)
        other = OTHER_KIND[kind]
        reading, drag = self.values[f"{name}_mpa"], self.values["drag_pressure_mpa"]
        for i in map(int, np.flatnonzero(at & (self.stated_kind[name] == other))):
            said[i] = f"{kind}, from {reading[i]:.3f} MPa {other} with {drag[i]:.3f} MPa drag"
        return said

    def fits_as_other(self, name: str, *, at: np.ndarray) -> np.ndarray:
        """Say of the pressures `at` which kind they are stated as, and as which they would fit; texts (rows,)."""
        said = np.full(len(at), "", dtype=object)
        for kind, meant in OTHER_KIND.items():
            said[at & (self.stated_kind[name] == kind)] = (
                f"the value is stated as {kind}, and fits the window only as {meant}: look at kind in route.toml"
            )
        return said


def derive(rows: pd.DataFrame, settings: Settings) -> Derived:
    """Fill in size from the route where a record states none, and bring gauge pressures to the melt face.

    A stated wall outranks outside diameter / DR, the record's own word outranks the route's. Interfacial pressure
    is (gauge - drag) * piston area / pipe area; without drag or piston area it was not recorded, and without the
    pipe's size it cannot be computed (NaN with a text in `missing`).
    """
    values = {name: rows[name].to_numpy(float) for name in _NUMBERS if name in rows}
    doubts = _size(values, settings)
    if "material" in rows:
        values["material"] = rows["material"].fillna(settings.pipe.material).to_numpy(object)
    kinds = {name: rows[f"{name}_kind"].fillna("").to_numpy(object) for name in PRESSURES}
    area, drag, piston = pipe_area(values), values["drag_pressure_mpa"], values["piston_area_mm2"]
    interfacial, missing = {}, {}
    for name in PRESSURES:
        reading, gauge = values[f"{name}_mpa"], kinds[name] == "gauge"
        interfacial[name] = np.where(gauge, interfacial_pressure(reading, drag, piston=piston, area=area), reading)
        missing[name] = _missing(values, name, gauge)
    return Derived(values, interfacial, missing, doubts, kinds)


def pipe_area(values: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return the area of the pipe's end, mm², shape (rows,)."""
    diameter, wall = values["outside_diameter_mm"], values["wall_mm"]
    return np.pi * (diameter - wall) * wall


def _size(values: dict[str, np.ndarray], settings: Settings) -> np.ndarray:
    """Complete diameter, wall and DR in `values`; return what is said of walls that do not fit."""
    pipe = settings.pipe
    diameter, ratio = _first(values["outside_diameter_mm"], pipe.outside_diameter), values["dr"]
    stated = values["wall_mm"]
    own = np.where(np.isnan(stated), diameter / ratio, stated)  # the record's own word, stated or by its DR
    wall, ratio = _first(own, pipe.wall), _first(ratio, pipe.dr)
    stated = np.where(np.isnan(own), wall, stated)
    wall = np.where(np.isnan(wall), diameter / ratio, wall)
    values |= {"outside_diameter_mm": diameter, "wall_mm": wall, "dr": ratio}
    return _wall_doubts(stated, diameter, ratio)


def _wall_doubts(stated: np.ndarray, diameter: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    by_ratio = diameter / ratio
    off = np.abs(stated - by_ratio) > np.maximum(WALL_SHARE * by_ratio, WALL_MM) + 1e-9
    said = np.full(len(stated), "", dtype=object)
    for at in map(int, np.flatnonzero(off)):
        said[at] = (
            f"a wall of {stated[at]:.1f} mm is stated, and {diameter[at]:.1f} mm / DR {ratio[at]:g} is"
            f" {by_ratio[at]:.1f} mm: the stated one is used"
        )
    return said


def wall_findings(rows: pd.DataFrame, derived: Derived) -> tuple[Finding, ...]:
    """Return one finding for each file with walls that are not outside diameter / DR, by more than 2 % and 0.2 mm.

    `rows` has source_file, on the index that the findings name.
    """
    doubtful = pd.Series(derived.wall_doubts, index=rows.index)[derived.wall_doubts != ""]
    return tuple(
        Finding(f"{file}: {several(len(said), 'joint')}: {_shared(said)}.", said.index.to_numpy(), "wall")
        for file, said in doubtful.groupby(rows["source_file"], sort=True)
    )


def _shared(said: pd.Series) -> str:
    return said.iloc[0] if said.nunique() == 1 else f"{said.iloc[0]}, and {said.nunique() - 1} more like it"


def _first(values: np.ndarray, otherwise: float | None) -> np.ndarray:
    return np.where(np.isnan(values), np.nan if otherwise is None else otherwise, values)


def _missing(values: dict[str, np.ndarray], name: str, turned: np.ndarray) -> np.ndarray:
    missing = np.full(len(turned), "", dtype=object)
    there = turned & ~np.isnan(values[f"{name}_mpa"])
    missing[there & np.isnan(pipe_area(values))] = _UNSIZED
    missing[there & np.isnan(values["piston_area_mm2"])] = "the piston area was not recorded"
    missing[there & np.isnan(values["drag_pressure_mpa"])] = "the drag pressure was not recorded"
    return missing
