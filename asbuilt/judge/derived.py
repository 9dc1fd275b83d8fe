"""What follows from a record by arithmetic: the pipe's size, its area, and the pressure at the melt face."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS, is_quantity
from asbuilt.settings import Settings

PRESSURES = ("bead_pressure", "soak_pressure", "fusion_pressure")
_NUMBERS = [f.stored for f in FIELDS.values() if is_quantity(f.name)]


@dataclass(frozen=True)
class Derived:
    """Values by stored column, shape (rows,), and for each pressure why its interfacial value is not known."""

    values: dict[str, np.ndarray]
    interfacial: dict[str, np.ndarray]
    missing: dict[str, np.ndarray]  # a text; empty where nothing is missing


def derive(rows: pd.DataFrame, settings: Settings) -> Derived:
    """Fill in size from the route where a record states none, and bring gauge pressures to the melt face.

    A stated wall outranks outside diameter / DR, the record's own word outranks the route's. Interfacial pressure
    is (gauge - drag) * piston area / pipe area; without drag or piston area it was not recorded, and without the
    pipe's size it cannot be computed (NaN with a text in `missing`).
    """
    pipe = settings.pipe
    values = {name: rows[name].to_numpy(float) for name in _NUMBERS if name in rows}
    diameter = _first(values["outside_diameter_mm"], pipe.outside_diameter)
    ratio = values["dr"]
    wall = np.where(np.isnan(values["wall_mm"]), diameter / ratio, values["wall_mm"])
    wall = _first(wall, pipe.wall)
    wall = np.where(np.isnan(wall), diameter / (pipe.dr or np.nan), wall)
    values |= {"outside_diameter_mm": diameter, "wall_mm": wall, "dr": _first(ratio, pipe.dr)}
    if "material" in rows:
        values["material"] = rows["material"].fillna(pipe.material).to_numpy(object)
    area = np.pi * (diameter - wall) * wall
    interfacial, missing = {}, {}
    for name in PRESSURES:
        interfacial[name], missing[name] = _at_melt_face(rows, values, name, area)
    return Derived(values, interfacial, missing)


def _first(values: np.ndarray, otherwise: float | None) -> np.ndarray:
    return np.where(np.isnan(values), np.nan if otherwise is None else otherwise, values)


def _at_melt_face(
    rows: pd.DataFrame, values: dict[str, np.ndarray], name: str, area: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    recorded, kind = values[f"{name}_mpa"], rows[f"{name}_kind"].to_numpy(object)
    drag, piston = values["drag_pressure_mpa"], values["piston_area_mm2"]
    gauge = kind == "gauge"
    pressure = np.where(gauge, (recorded - drag) * piston / area, recorded)
    missing = np.full(len(rows), "", dtype=object)
    there = gauge & ~np.isnan(recorded)
    missing[there & np.isnan(area)] = "the pipe's size is not known"
    missing[there & np.isnan(piston)] = "the piston area was not recorded"
    missing[there & np.isnan(drag)] = "the drag pressure was not recorded"
    return pressure, missing
