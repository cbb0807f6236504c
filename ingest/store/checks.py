"""Spot checks: each comparison of a spot with a reference meter, as it was made."""

from dataclasses import dataclass

from ingest.store.database import Database, Row
from ingest.store.errors import StoreError
from ingest.store.identities import Identities


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """A reading of the meter beside a spot, and the spot's mean over [from_ms, at_ms].

    All `u_…` are standard uncertainties (k = 1).  `u_reading_uvi` is what the reading has by itself,
    `u_meter_uvi` what all readings of the meter have in common; `u_random_uvi` what of `u_uvi` is by chance.
    `same_meter`: the calibration was made with it.  `ratio` is reference over `uvi`.  `check_id` 0 is not
    stored yet.
    """

    spot: str
    from_ms: int
    at_ms: int
    reference_uvi: float
    u_reading_uvi: float
    u_meter_uvi: float
    same_meter: bool
    uvi: float
    u_uvi: float
    u_random_uvi: float
    n: int
    flags: int
    calibration: str
    ratio: float
    u_ratio: float
    e_n: float
    withdrawn: bool = False
    check_id: int = 0


class Checks:
    """The checks of all spots.  None is ever deleted; one that was a mistake is withdrawn."""

    def __init__(self, database: Database, identities: Identities) -> None:
        self._database = database
        self._identities = identities

    def add(self, check: CheckRecord) -> int:
        """Store a check; return its number."""
        with self._database.transaction():
            self._database.want_sync()  # a person stood there with a meter: it cannot be had again
            cursor = self._database.execute(
                f"INSERT INTO spot_check (spot_id, {_COLUMNS}) VALUES ({', '.join('?' * 16)})",  # noqa: S608
                (self._identities.spot(check.spot), *(getattr(check, name) for name in _NAMES)),
            )
        return int(cursor.lastrowid or 0)

    def withdraw(self, spot: str, check_id: int) -> None:
        """Let a check count no longer."""
        with self._database.transaction():
            self._database.want_sync()
            if not any(check.check_id == check_id and not check.withdrawn for check in self.of(spot)):
                raise StoreError(
                    f"there is no check {check_id} of {spot} that could be withdrawn",
                    where=str(self._database.path),
                    remedy=f"See its checks with `baskline calibrate verify {spot}`",
                )
            self._database.execute("UPDATE spot_check SET withdrawn = 1 WHERE check_id = ?", (check_id,))

    def state(self) -> tuple[int, int]:
        """Return two numbers that change when a check is made or withdrawn."""
        newest, withdrawn = self._database.row(
            "SELECT ifnull(max(check_id), 0), ifnull(sum(withdrawn), 0) FROM spot_check"
        ) or (0, 0)
        return int(newest), int(withdrawn)

    def of(self, spot: str) -> list[CheckRecord]:
        """Return all checks of a spot, also withdrawn ones, in order of time."""
        rows = self._database.rows(
            f"SELECT spot, {_COLUMNS}, withdrawn, check_id FROM spot_check JOIN spot USING (spot_id)"  # noqa: S608
            " WHERE spot = ? ORDER BY at_ms, check_id",
            (spot,),
        )
        return [_check(row) for row in rows]


_NAMES = (
    "from_ms",
    "at_ms",
    "reference_uvi",
    "u_reading_uvi",
    "u_meter_uvi",
    "same_meter",
    "uvi",
    "u_uvi",
    "u_random_uvi",
    "n",
    "flags",
    "calibration",
    "ratio",
    "u_ratio",
    "e_n",
)
_COLUMNS = ", ".join(_NAMES)


def _check(row: Row) -> CheckRecord:
    spot, *what, withdrawn, check_id = row
    values = dict(zip(_NAMES, what, strict=True))
    values["same_meter"] = bool(values["same_meter"])
    return CheckRecord(spot, **values, withdrawn=bool(withdrawn), check_id=check_id)
