"""An axis of calendar moments that also counts the days since capture."""

from __future__ import annotations

from datetime import datetime, timedelta

from brinemark.outputs.charts.frame import Spec

DAY_MS = 86_400_000.0
EPOCH = datetime(1970, 1, 1)
HOURS = (1, 2, 3, 6, 12)
DAYS = (1, 2, 4, 7, 14, 28, 56, 112, 224, 448)
LABEL = 70.0
"""Width of a label [pixels]."""


def clock_ms(start: datetime, day: float) -> int:
    """The moment `day` days after start as milliseconds of the clock that start is told by."""
    return round((start.replace(tzinfo=None) - EPOCH) / timedelta(milliseconds=1) + day * DAY_MS)


def moment_axis(start: datetime, ends: tuple[float, float], width: float, capture_d: float | None) -> Spec:
    """Encoding of calendar moments. ends [d] : first and last day after start; capture_d : None = not known."""
    label = "utcFormat(datum.value, '%Y-%m-%d')"
    ticks, by_hour = _ticks(start, ends, max(int(width / LABEL), 2))
    parts = [label, "utcFormat(datum.value, '%H:%M')"] if by_hour else [label]
    if capture_d is not None:
        since = f"(datum.value - {clock_ms(start, capture_d)}) / {DAY_MS:.0f}"
        parts.append(f"'day ' + format({since}, '.1~f')")
    return {
        "field": "at",
        "type": "temporal",
        "title": None,
        "scale": {"type": "utc", "domain": [clock_ms(start, end) for end in ends], "nice": False},
        "axis": {
            "values": ticks,
            "labelExpr": f"[{', '.join(parts)}]",
            "labelFlush": False,
            "labelOverlap": False,
            "grid": True,
        },
    }


def zone_words(start: datetime) -> str:
    """The zone that moments are told in, or that none is known."""
    offset = start.utcoffset()
    if offset is None:
        return "local time"
    minutes = round(offset.total_seconds() / 60.0)
    sign = "-" if minutes < 0 else "+"
    return "UTC" if minutes == 0 else f"UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def axis_title(start: datetime, capture_d: float | None, capture_u_d: float | None) -> str:
    """What the axis counts."""
    zone = zone_words(start)
    if capture_d is None:
        return f"date ({zone}); moment of capture not known"
    captured = start.replace(tzinfo=None) + timedelta(days=capture_d)
    spread = f" ± {capture_u_d:.2g} d" if capture_u_d else ""
    return f"date ({zone}) and days since capture on {captured:%Y-%m-%d}{spread}"


def _ticks(start: datetime, ends: tuple[float, float], most: int) -> tuple[list[int], bool]:
    """Moments of the ticks, at midnights or full hours, and whether by the hour."""
    midnight = clock_ms(start.replace(hour=0, minute=0, second=0, microsecond=0), 0.0)
    low, high = clock_ms(start, ends[0]), clock_ms(start, ends[1])
    for step in (*(hours / 24.0 for hours in HOURS), *map(float, DAYS)):
        first = -int((midnight - low) // (step * DAY_MS))
        last = int((high - midnight) // (step * DAY_MS))
        if last - first + 1 <= most:
            break
    return [midnight + round(place * step * DAY_MS) for place in range(first, last + 1)], step < 1.0
