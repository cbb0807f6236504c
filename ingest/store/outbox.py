"""Messages on their way to the broker, kept until it has them."""

from collections.abc import Iterable
from dataclasses import dataclass

from ingest.store.database import Database

# A broker away for a year at fifty event messages a day; some 10 MB.
MOST_UNRETAINED = 20_000


@dataclass(frozen=True, slots=True)
class OutgoingMessage:
    """What to publish, and where."""

    topic: str
    payload: bytes
    qos: int
    retain: bool


@dataclass(frozen=True, slots=True)
class StoredMessage:
    """A message that waits; `id` grows in the order in which messages were put."""

    id: int
    created_ms: int
    message: OutgoingMessage


class Outbox:
    """The queue of messages, oldest first.

    It cannot grow without end.  Of retained messages only the newest of each topic waits, as the broker would
    keep no other.  Of the rest, events among them, `MOST_UNRETAINED` wait; beyond that the oldest goes, and
    `dropped` counts it.  The events themselves stay in the store whatever becomes of their messages.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._unretained: int | None = None
        database.when_undone.append(self._forget)
        database.when_changed_elsewhere.append(self._forget)

    def put(self, message: OutgoingMessage, created_ms: int) -> int:
        """Queue a message; return how many older ones had to go for it (0, or see `dropped`)."""
        with self._database.transaction():
            if message.retain:
                self._database.execute("DELETE FROM outbox WHERE retain AND topic = ?", (message.topic,))
            self._database.execute(
                "INSERT INTO outbox (created_ms, topic, payload, qos, retain) VALUES (?, ?, ?, ?, ?)",
                (created_ms, message.topic, message.payload, message.qos, int(message.retain)),
            )
            if message.retain:  # state: after a power cut it is made anew
                return 0
            self._database.want_sync()
            return self._keep_to_limit()

    def pending(self, limit: int, after_id: int = 0) -> list[StoredMessage]:
        """Return the oldest `limit` messages among those with an id above `after_id`."""
        rows = self._database.rows(
            "SELECT message_id, created_ms, topic, payload, qos, retain FROM outbox"
            " WHERE message_id > ? ORDER BY message_id LIMIT ?",
            (after_id, limit),
        )
        return [
            StoredMessage(number, created_ms, OutgoingMessage(topic, payload, qos, bool(retain)))
            for number, created_ms, topic, payload, qos, retain in rows
        ]

    def delivered(self, ids: Iterable[int]) -> None:
        """Forget messages that the broker has."""
        with self._database.transaction():
            self._database.execute_many(
                "DELETE FROM outbox WHERE message_id = ?", [(number,) for number in ids]
            )
            self._forget()

    def size(self) -> int:
        """Return how many messages wait."""
        (size,) = self._database.row("SELECT count(*) FROM outbox") or (0,)
        return int(size)

    def dropped(self) -> int:
        """Return how many messages ever went undelivered because too many waited."""
        row = self._database.row("SELECT count FROM tally WHERE name = 'outbox_dropped'")
        return row[0] if row else 0

    def _keep_to_limit(self) -> int:
        if self._unretained is None:
            (self._unretained,) = self._database.row("SELECT count(*) FROM outbox WHERE NOT retain") or (0,)
        else:
            self._unretained += 1
        excess = self._unretained - MOST_UNRETAINED
        if excess <= 0:
            return 0
        self._database.execute(
            "DELETE FROM outbox WHERE message_id IN"
            " (SELECT message_id FROM outbox WHERE NOT retain ORDER BY message_id LIMIT ?)",
            (excess,),
        )
        self._database.execute(
            "INSERT INTO tally VALUES ('outbox_dropped', ?1)"
            " ON CONFLICT (name) DO UPDATE SET count = count + ?1",
            (excess,),
        )
        self._unretained = MOST_UNRETAINED
        return excess

    def _forget(self) -> None:
        self._unretained = None
