"""Series of samples for tests."""

import numpy as np

from calibrate.samples import Samples

T0_MS = 1_718_000_000_000  # 2024-06-10T06:13:20Z


def samples_of(utc_ms, uvi, u_uvi=0.0, flags=0) -> Samples:
    """Samples from anything array-like; scalars stand for a whole column."""
    utc_ms = np.asarray(utc_ms, np.int64)
    shape = utc_ms.shape
    return Samples(
        utc_ms,
        np.array(np.broadcast_to(np.asarray(uvi, np.float64), shape)),
        np.array(np.broadcast_to(np.asarray(u_uvi, np.float64), shape)),
        np.array(np.broadcast_to(np.asarray(flags, np.uint32), shape)),
    )


def every(cadence_s: float, uvi, u_uvi=0.0, flags=0, start_ms: int = T0_MS) -> Samples:
    """Samples at a steady cadence from `start_ms`."""
    n = len(np.atleast_1d(uvi))
    return samples_of(start_ms + np.arange(n) * round(cadence_s * 1000), uvi, u_uvi, flags)
