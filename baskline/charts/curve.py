"""A trace as pieces of line: the good ones and the doubtful ones."""

from exposure.days import HOUR_MS
from exposure.trace import Trace

Point = dict[str, float]


def curve_pieces(trace: Trace, starts_ms: int) -> tuple[list[Point], list[Point]]:
    """Return the points of the good pieces, and those of the doubtful ones, `part` counting the pieces.

    Where one kind follows the other without a gap, they share a point, so that the line does not break.
    """
    pieces: tuple[list[Point], list[Point]] = ([], [])
    part = 0
    previous: Point = {}
    for i in range(len(trace)):
        point = {
            "hour": round((int(trace.utc_ms[i]) - starts_ms) / HOUR_MS, 4),
            "uvi": round(float(trace.uvi[i]), 4),
            "lower": round(float(trace.lower_uvi[i]), 4),
            "upper": round(float(trace.upper_uvi[i]), 4),
        }
        points = pieces[int(trace.doubtful[i])]
        connected = i > 0 and trace.segment[i] == trace.segment[i - 1]
        if not connected or trace.doubtful[i] != trace.doubtful[i - 1]:
            part += 1
            if connected:
                points.append({**previous, "part": part})
        points.append({**point, "part": part})
        previous = point
    return pieces
