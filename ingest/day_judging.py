"""What a spot's day, once it is over, is worth telling."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta

from calibrate.calibration import Calibration
from exposure.day_end import DayEnd, day_end
from exposure.events import Event, EventKind, Severity
from exposure.findings import Standing
from exposure.usual import USUAL_DAYS
from ingest.config import Config
from ingest.day_records import DayRecord, DayRecords
from ingest.lamp_views import lamp_view
from ingest.store.judged import StandingRow
from ingest.store.store import Store


class DayJudging:
    """Judges days by what is on record of the ones before."""

    def __init__(
        self,
        store: Store,
        config: Config,
        calibrations: Mapping[str, Calibration],
        records: DayRecords,
        opened: Callable[[int], Sequence[Event]],
    ) -> None:
        """`opened` gives the events that are open at a time."""
        self._store = store
        self._config = config
        self._calibrations = calibrations
        self._records = records
        self._opened = opened

    def judge(self, record: DayRecord, anew_ms: int | None) -> Sequence[Event]:
        """Put a day on record and return the events that change; in the transaction that stores them.

        `anew_ms`: since when it is due to be judged anew, if it has been judged before.
        """
        self._records.keep(record)
        end = self._end_of(record, anew_ms)
        for event in end.corrected:  # nobody is told again
            self._store.events.correct(event)
        self._store.judged.set_standing(
            record.spot,
            [StandingRow(kind, each.about, each.severity) for kind, each in sorted(end.standing.items())],
        )
        return end.events

    def _end_of(self, record: DayRecord, anew_ms: int | None) -> DayEnd:
        spot, day = record.spot, record.date
        before = self._records.of(spot, day - timedelta(days=USUAL_DAYS), day - timedelta(days=1))
        view = lamp_view(self._store, self._config, self._records, self._config.spots[spot].lamp, spot, day)
        seen_today = bool(view.days) and view.days[-1].date == day
        return day_end(
            spot,
            record.profile,
            [each.profile for each in before],
            self._config.rule_settings(spot),
            self._opened(record.profile.bounds.end_ms if anew_ms is None else anew_ms),
            lamp_days=view.days,
            report=view.report if seen_today else None,
            calibration_ends=self._calibration_ends(spot),
            stood={
                EventKind(row.kind): Standing(row.about, Severity(row.severity))
                for row in self._store.judged.standing(spot)
            },
            anew_ms=anew_ms,
        )

    def _calibration_ends(self, spot: str) -> date | None:
        calibration = self._calibrations.get(spot)
        if calibration is None:
            return None
        return calibration.made_on + timedelta(days=calibration.valid_for_days)
