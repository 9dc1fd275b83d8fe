"""The invented work: who fused what when, where the receiver said that it was, and with which values.

Metres in EPSG:7855, °C, s, min, mm and MPa, until a crew writes them down. Each function returns a new frame.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from making.faults import LEFT_OUT, WRONG_VALUES
from making.laying import CUT_BACK, CUT_OUT, locate

SEED_TIMES, SEED_FIXES, SEED_VALUES = 2026, 373, 21307


@dataclass(frozen=True)
class Crew:
    """A crew: its machine, the 95 % accuracy of its receiver (m), and its calendar."""

    machine: str
    accuracy: float
    first_day: str
    days_off: tuple[str, ...]
    tie_in_day: str = ""


CREWS = {
    "A": Crew("M11", 0.6, "2026-02-10", ("2026-02-19",), "2026-03-07"),
    "B": Crew("M24", 1.0, "2026-02-12", ("2026-02-16", "2026-02-19"), "2026-03-14"),
    "C": Crew("M37", 2.4, "2026-02-16", ("2026-02-19", "2026-02-27")),
}
CLOCK_DAY, CLOCK_SHIFT = 8, pd.Timedelta(hours=-3)  # the working day of crew C (from 0) with the clock of another zone
FIXED_PLACE, FIXED_PLACE_ACCURACY = (1478.0, 6.0), 0.35  # chainage and offset of the machine while it fused the string
DEPOT = (200.0, -600.0)  # the same for the trial joints
CORRELATION = 0.3  # between the errors of neighbouring fixes
PIPE_AREA = np.pi * (630 - 37.3) * 37.3  # mm2
PISTON = {"B": 4120.0, "C": 6.28 * 25.4**2}  # mm2
USUAL = {  # each well inside the window of the procedure for a wall of 37.3 mm
    "heater_temperature": (221.0, 229.0),
    "initial_bead": (4.6, 5.6),
    "soak_time": (465.0, 540.0),
    "removal_time": (4.5, 7.0),
    "ramp_time": (11.0, 17.0),
    "fusion_pressure": (0.162, 0.178),
    "drag_pressure": (0.5, 0.9),
    "cooling_time": (26.0, 31.0),
}


def all_fusions(real: pd.DataFrame, line: np.ndarray) -> pd.DataFrame:
    """Everything that was fused, in each crew's order: the real joints, three trials, and the joint cut out."""
    fixed, depot = (locate(line, np.array([c]), np.array([o]))[0] for c, o in (FIXED_PLACE, DEPOT))
    made = real.assign(stood_e=real.easting, stood_n=real.northing)
    made.loc[made.in_string, ["stood_e", "stood_n"]] = fixed
    again = made[made.replaces == CUT_OUT]
    first_place = locate(line, again.chainage.to_numpy() + CUT_BACK, again.offset.to_numpy())
    cut = again.assign(joint=CUT_OUT, replaces="", turn=again.turn - 0.5)
    cut[["stood_e", "stood_n"]] = first_place
    trial = pd.DataFrame({"joint": ["TR-A", "TR-B", "TR-C"], "crew": list(CREWS), "kind": "trial", "turn": -1.0})
    trial = trial.assign(pipe_a="offcut", pipe_b="offcut", replaces="", in_string=False)
    trial[["stood_e", "stood_n"]] = depot
    made = pd.concat([trial, made, cut]).sort_values(["crew", "turn"], ignore_index=True)
    return made.assign(machine=made.crew.map({name: crew.machine for name, crew in CREWS.items()}))


def finish_times(n: int, name: str, random: np.random.Generator) -> pd.DataFrame:
    """Working day (from 0) and end of cooling of n fusions: 6 to 8 a day, Monday to Saturday, 51 to 60 min each."""
    crew, week = CREWS[name], "Mon Tue Wed Thu Fri Sat"
    days = pd.bdate_range(crew.first_day, periods=60, freq="C", weekmask=week, holidays=list(crew.days_off))
    a_day = random.integers(6, 9, len(days))
    a_day[CLOCK_DAY] = 9 if name == "C" else a_day[CLOCK_DAY]
    day = np.repeat(np.arange(len(days)), a_day)[:n]
    slot = pd.Series(day).groupby(day).cumcount()
    morning, lunch = np.where(slot == 0, random.uniform(5, 20, n), 0), np.where(slot == 4, 30, 0)
    minutes = pd.Series(random.uniform(51, 60, n) + morning + lunch).groupby(day).cumsum().round()
    return pd.DataFrame({"day": day, "time": days[day] + pd.Timedelta(hours=7) + pd.to_timedelta(minutes, unit="min")})


def with_times(made: pd.DataFrame) -> pd.DataFrame:
    """Add `time`, the true end of cooling in local time, and `clock_wrong`. Tie-ins have a day of their own."""
    made, random = made.assign(time=pd.NaT, day=-1), np.random.default_rng(SEED_TIMES)
    for name, rows in made.groupby("crew"):
        work, tie_ins = rows.index[rows.kind != "tie-in"], rows.index[rows.kind == "tie-in"]
        made.loc[work, ["day", "time"]] = finish_times(len(work), str(name), random).set_index(work)
        for k, i in enumerate(tie_ins):
            made.loc[i, "time"] = pd.Timestamp(CREWS[str(name)].tie_in_day) + pd.Timedelta(minutes=580 + 200 * k)
    return made.assign(clock_wrong=(made.crew == "C") & (made.day == CLOCK_DAY))


def with_fixes(made: pd.DataFrame) -> pd.DataFrame:
    """Add `accuracy` (95 %), and `fix_e`, `fix_n`: where the machine stood, with noise that neighbours share."""
    random, n = np.random.default_rng(SEED_FIXES), len(made)
    stated = made.crew.map({name: crew.accuracy for name, crew in CREWS.items()})
    spread = np.where(made.crew == "C", 1, random.uniform(0.85, 1.15, n))
    accuracy = (stated * spread).where(~made.in_string, FIXED_PLACE_ACCURACY).round(2)
    noise, first = random.normal(size=(n, 2)), (made.turn < 0).to_numpy()
    for i in np.flatnonzero(~first):
        noise[i] = CORRELATION * noise[i - 1] + np.sqrt(1 - CORRELATION**2) * noise[i]
    noise *= accuracy.to_numpy()[:, None] / np.sqrt(-2 * np.log(0.05))  # sd of one axis, from the 95 % radius
    return made.assign(accuracy=accuracy, fix_e=made.stood_e + noise[:, 0], fix_n=made.stood_n + noise[:, 1])


def with_values(made: pd.DataFrame) -> pd.DataFrame:
    """Add the fusion values, inside their windows but for WRONG_VALUES, and the gauge pressure that follows."""
    random, n = np.random.default_rng(SEED_VALUES), len(made)
    hour = made.time.dt.hour + made.time.dt.minute / 60
    made = made.assign(ambient_temperature=17 + 4 * np.sin((hour - 9) / 12 * np.pi) + random.normal(0, 1, n))
    made = made.assign(**{quantity: random.uniform(*usual, n) for quantity, usual in USUAL.items()})
    for joint, (quantity, value) in WRONG_VALUES.items():
        made.loc[made.joint == joint, quantity] = value
    gauge = made.fusion_pressure * PIPE_AREA / made.crew.map(PISTON) + made.drag_pressure
    return made.assign(gauge_pressure=gauge)


def as_recorded(made: pd.DataFrame) -> pd.DataFrame:
    """Return the records as they were kept: with the wrong clock, and without the cells that were left out."""
    made = made.assign(time=made.time.where(~made.clock_wrong, made.time + CLOCK_SHIFT))
    for joint, columns in LEFT_OUT.items():
        made.loc[made.joint == joint, columns] = np.nan
    return made
