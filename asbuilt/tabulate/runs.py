"""The table of runs: joints that were adjusted together, how their fixes scatter and how their pipes lie."""

import pandas as pd

from asbuilt import tables
from asbuilt.judge.scale import explained_by_fusing, lengths_counted
from asbuilt.settings import Settings
from asbuilt.tabulate.journey import Journey


def runs_table(journey: Journey, settings: Settings) -> pd.DataFrame:
    """Return one row for each run of two joints or more, in order of line and chainage."""
    rows = journey.rows[journey.in_line & journey.rows["piece"].notna().to_numpy()].sort_values(["line", "chainage_m"])
    runs = (run for _, run in rows.groupby("piece", sort=False) if len(run) > 1)
    found = [_run(run, journey, settings) for run in runs]
    return tables.conform(pd.DataFrame(found), tables.RUNS) if found else tables.empty(tables.RUNS)


def _run(run: pd.DataFrame, journey: Journey, settings: Settings) -> dict[str, object]:
    first, last = run.iloc[0], run.iloc[-1]
    pieces = journey.placement.pieces.loc[[int(first["piece"])]]
    scale, sd = float(pieces["scale"].iloc[0]), float(pieces["scale_sd"].iloc[0])
    noise = journey.placement.noise
    who = (str(run["source_file"].mode()[0]), "" if run["machine"].isna().all() else str(run["machine"].mode()[0]))
    known = who in noise.index
    unit = settings.route.length_unit
    against = lengths_counted(run["pipe_m"].to_numpy(float), settings.pipe.stick, unit)
    return {
        "line": first["line"],
        "from_joint": first["joint_id"],
        "to_joint": last["joint_id"],
        "from_chainage_m": first["chainage_m"],
        "to_chainage_m": last["chainage_m"],
        "joints_n": len(run),
        "by_fix_n": int((run["placed_by"] == "fix+tally").sum()),
        "machine": who[1],
        "fix_spread": float(noise["factor"].loc[who]) if known else float("nan"),
        "fix_correlation": float(noise["correlation"].loc[who]) if known else float("nan"),
        "scale_per_mille": 1000 * scale,
        "scale_sd_per_mille": 1000 * sd,
        "explained": explained_by_fusing(scale, sd, settings.pipe.stick, settings.pipe.wall, against=against),
    }
