"""The only "now" of the hand-over: as stated, or the latest credible time of a record."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.errors import InputError, Problem

_GPS_BEGAN = np.datetime64("1980-01-06")  # a logger that lost its clock writes dates before there were any fixes
_LULL = np.timedelta64(180, "D")  # a record that follows half a year of silence is more likely a clock than a joint


def as_of(stated: datetime | date | None, fused_at: pd.Series, zone: ZoneInfo) -> datetime:
    """Return the moment all outputs speak of, in the zone of the route. `fused_at` is UTC without a zone.

    A stated date means the end of that day. Else it is the latest time that is not parted from the middle of the
    records by a lull of 180 days, those before GPS began left out. Raises InputError where no record has a time.
    """
    if isinstance(stated, datetime):
        return stated.astimezone(zone) if stated.tzinfo else stated.replace(tzinfo=zone)
    if isinstance(stated, date):
        return datetime.combine(stated, time(23, 59, 59), zone)
    told = np.sort(fused_at.dropna().to_numpy("datetime64[us]"))
    times = told[told >= _GPS_BEGAN]
    if not len(times):
        what = f"no record has a time{' later than 1980' if len(told) else ''}, so there is no as-of"
        raise InputError(Problem("records", what, "state as_of in [route]"))
    later = times[len(times) // 2 :]
    lulls = np.flatnonzero(np.diff(later) > _LULL)
    latest = later[lulls[0]] if len(lulls) else later[-1]
    return pd.Timestamp(latest).tz_localize("UTC").tz_convert(zone).to_pydatetime()


def beyond(moment: datetime, fused_at: pd.Series) -> np.ndarray:
    """Return which times are later than the moment, shape (rows,)."""
    limit = pd.Timestamp(moment).tz_convert("UTC").tz_localize(None)
    return (fused_at > limit).to_numpy()
