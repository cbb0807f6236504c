"""The store's tables, as named and ordered migrations."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Migration:
    """One step; its number is its place in `MIGRATIONS`, counted from 1."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        "readings",
        (
            # One daemon process.  Readings carry UTC as it was first stamped; `shift_ms` is added on
            # reading, so that setting the clock right moves a run of any length by changing one row.
            # Rows of readings up to batch `sure_through` no longer count as stamped by an unset clock.
            # All rows of the run are numbered from `first_batch` on.
            """CREATE TABLE run (
                run_id INTEGER PRIMARY KEY,
                mono_ms INTEGER NOT NULL,
                wall_ms INTEGER NOT NULL,
                synchronised INTEGER NOT NULL,
                shift_ms INTEGER NOT NULL DEFAULT 0,
                sure_through INTEGER NOT NULL DEFAULT 0,
                first_batch INTEGER NOT NULL
            ) STRICT""",
            """CREATE TABLE board (
                board_id INTEGER PRIMARY KEY,
                board TEXT NOT NULL UNIQUE,
                first_seen_ms INTEGER,
                last_seen_ms INTEGER,
                port TEXT,
                hello TEXT
            ) STRICT""",
            """CREATE TABLE boot (
                boot_id INTEGER PRIMARY KEY,
                board_id INTEGER NOT NULL,
                boot TEXT NOT NULL,
                UNIQUE (board_id, boot)
            ) STRICT""",
            # Readings of one boot with the same channels.  Rows of `tail` up to batch `chunked_through`
            # are in a chunk by now and only wait to be deleted.
            """CREATE TABLE stream (
                stream_id INTEGER PRIMARY KEY,
                boot_id INTEGER NOT NULL,
                board_id INTEGER NOT NULL,
                channels TEXT NOT NULL,
                chunked_through INTEGER NOT NULL DEFAULT 0,
                UNIQUE (boot_id, channels)
            ) STRICT""",
            # Sequence numbers known, first to last inclusive.  What stands only in `tail` is not listed
            # here yet: the tail is part of the same answer.
            """CREATE TABLE seen (
                owner INTEGER NOT NULL,
                first INTEGER NOT NULL,
                last INTEGER NOT NULL,
                PRIMARY KEY (owner, first)
            ) STRICT, WITHOUT ROWID""",
            # What was appended lately, one row a batch, in order and with no second index: each index
            # would dirty one more page for each board in each commit, and a card wears by the page.
            """CREATE TABLE tail (
                batch_id INTEGER PRIMARY KEY,
                stream_id INTEGER NOT NULL,
                run_id INTEGER NOT NULL,
                start_ms INTEGER NOT NULL,
                end_ms INTEGER NOT NULL,
                first_seq INTEGER NOT NULL,
                last_seq INTEGER NOT NULL,
                n INTEGER NOT NULL,
                data BLOB NOT NULL
            ) STRICT""",
            """CREATE TABLE chunk (
                chunk_id INTEGER PRIMARY KEY,
                board_id INTEGER NOT NULL,
                run_id INTEGER NOT NULL,
                start_ms INTEGER NOT NULL,
                end_ms INTEGER NOT NULL,
                stream_id INTEGER NOT NULL,
                last_batch INTEGER NOT NULL,
                n INTEGER NOT NULL,
                data BLOB NOT NULL
            ) STRICT""",
            "CREATE INDEX chunk_by_time ON chunk (board_id, run_id, start_ms, end_ms)",
            "CREATE UNIQUE INDEX chunk_by_batch ON chunk (last_batch)",
            "CREATE TABLE cursor (name TEXT PRIMARY KEY, position INTEGER NOT NULL) STRICT, WITHOUT ROWID",
        ),
    ),
    Migration(
        "spots and their minutes",
        (
            "CREATE TABLE spot (spot_id INTEGER PRIMARY KEY, spot TEXT NOT NULL UNIQUE) STRICT",
            "CREATE TABLE calibration (identity TEXT PRIMARY KEY, toml TEXT NOT NULL) STRICT",
            """CREATE TABLE assignment (
                assignment_id INTEGER PRIMARY KEY,
                generation INTEGER NOT NULL,
                spot_id INTEGER NOT NULL,
                from_ms INTEGER NOT NULL,
                to_ms INTEGER,
                board TEXT NOT NULL,
                sensor TEXT NOT NULL,
                calibration TEXT NOT NULL,
                lamp_kind TEXT NOT NULL,
                band TEXT NOT NULL,
                reason TEXT NOT NULL,
                withdrawn INTEGER NOT NULL DEFAULT 0
            ) STRICT""",
            "CREATE INDEX assignment_by_spot ON assignment (spot_id)",
            # Minutes of a board whose summaries are out of date, first to last inclusive.
            """CREATE TABLE dirty (
                owner INTEGER NOT NULL,
                first INTEGER NOT NULL,
                last INTEGER NOT NULL,
                PRIMARY KEY (owner, first)
            ) STRICT, WITHOUT ROWID""",
            # An hour of minutes of one spot.  `place` is spot_id * 2^32 + hours since the epoch: one
            # integer key needs no second index.
            "CREATE TABLE minute_block (place INTEGER PRIMARY KEY, data BLOB NOT NULL) STRICT",
        ),
    ),
    Migration(
        "events and outbox",
        (
            """CREATE TABLE event (
                identity TEXT PRIMARY KEY,
                kind TEXT NOT NULL,
                subject_kind TEXT NOT NULL,
                subject TEXT NOT NULL,
                severity TEXT NOT NULL,
                opened_ms INTEGER NOT NULL,
                sentence TEXT NOT NULL,
                advice TEXT NOT NULL,
                evidence TEXT NOT NULL,
                acknowledged_ms INTEGER,
                closed_ms INTEGER,
                closing TEXT
            ) STRICT""",
            "CREATE INDEX event_by_time ON event (opened_ms)",
            "CREATE INDEX event_open ON event (opened_ms) WHERE closed_ms IS NULL",
            # Each state that an event ever had, in full and in order.
            """CREATE TABLE event_change (
                change_id INTEGER PRIMARY KEY,
                identity TEXT NOT NULL,
                severity TEXT NOT NULL,
                sentence TEXT NOT NULL,
                advice TEXT NOT NULL,
                evidence TEXT NOT NULL,
                acknowledged_ms INTEGER,
                closed_ms INTEGER,
                closing TEXT
            ) STRICT""",
            "CREATE INDEX event_change_by_event ON event_change (identity)",
            # AUTOINCREMENT: a number must not come again after its message was delivered and deleted.
            """CREATE TABLE outbox (
                message_id INTEGER PRIMARY KEY AUTOINCREMENT,
                created_ms INTEGER NOT NULL,
                topic TEXT NOT NULL,
                payload BLOB NOT NULL,
                qos INTEGER NOT NULL,
                retain INTEGER NOT NULL
            ) STRICT""",
            "CREATE INDEX outbox_retained ON outbox (topic) WHERE retain",
            "CREATE TABLE tally (name TEXT PRIMARY KEY, count INTEGER NOT NULL) STRICT, WITHOUT ROWID",
        ),
    ),
    Migration(
        "spot checks",
        (
            # What a meter and a spot said of the same light.  `same_meter`: the calibration was made with it.
            """CREATE TABLE spot_check (
                check_id INTEGER PRIMARY KEY,
                spot_id INTEGER NOT NULL,
                from_ms INTEGER NOT NULL,
                at_ms INTEGER NOT NULL,
                reference_uvi REAL NOT NULL,
                u_reading_uvi REAL NOT NULL,
                u_meter_uvi REAL NOT NULL,
                same_meter INTEGER NOT NULL,
                uvi REAL NOT NULL,
                u_uvi REAL NOT NULL,
                u_random_uvi REAL NOT NULL,
                n INTEGER NOT NULL,
                flags INTEGER NOT NULL,
                calibration TEXT NOT NULL,
                ratio REAL NOT NULL,
                u_ratio REAL NOT NULL,
                e_n REAL NOT NULL,
                withdrawn INTEGER NOT NULL DEFAULT 0
            ) STRICT""",
            "CREATE INDEX spot_check_by_spot ON spot_check (spot_id, at_ms)",
        ),
    ),
    Migration(
        "days, changes of lamps, what was told",
        (
            # What a spot gave on a day that is over, kept for ever: raw readings may be forgotten.
            """CREATE TABLE day_record (
                spot_id INTEGER NOT NULL,
                day TEXT NOT NULL,
                start_ms INTEGER NOT NULL,
                end_ms INTEGER NOT NULL,
                calibration TEXT NOT NULL,
                profile TEXT NOT NULL,
                lamp TEXT NOT NULL,
                PRIMARY KEY (spot_id, day)
            ) STRICT, WITHOUT ROWID""",
            # Lamps are known by their key in the configuration.
            """CREATE TABLE lamp_change (
                change_id INTEGER PRIMARY KEY,
                lamp TEXT NOT NULL,
                day TEXT NOT NULL,
                what TEXT NOT NULL,
                note TEXT NOT NULL,
                recorded_ms INTEGER NOT NULL,
                withdrawn INTEGER NOT NULL DEFAULT 0
            ) STRICT""",
            "CREATE INDEX lamp_change_by_lamp ON lamp_change (lamp, day)",
            # Of which events the keeper was told, how grave each was then, how often, and when last.
            """CREATE TABLE told (
                identity TEXT PRIMARY KEY,
                severity TEXT NOT NULL,
                times INTEGER NOT NULL,
                at_ms INTEGER NOT NULL
            ) STRICT, WITHOUT ROWID""",
        ),
    ),
    Migration(
        "what days were judged, and by what",
        (
            # `assigned` is what applied to the spot in that day when it was put on record.  A stale one is
            # wrong by now, and is made anew when there is time.
            "ALTER TABLE day_record ADD COLUMN assigned TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE day_record ADD COLUMN stale INTEGER NOT NULL DEFAULT 0",
            "CREATE INDEX day_record_stale ON day_record (day) WHERE stale",
            # A lamp's day by a later calibration than the one that applied then: a trend needs one for all.
            """CREATE TABLE lamp_day (
                spot_id INTEGER NOT NULL,
                day TEXT NOT NULL,
                start_ms INTEGER NOT NULL,
                end_ms INTEGER NOT NULL,
                calibration TEXT NOT NULL,
                assigned TEXT NOT NULL,
                lamp TEXT NOT NULL,
                stale INTEGER NOT NULL DEFAULT 0,
                PRIMARY KEY (spot_id, day)
            ) STRICT, WITHOUT ROWID""",
            # Up to when a spot's days have been judged, and what was found true at the end of the last one.
            "CREATE TABLE judged (spot_id INTEGER PRIMARY KEY, through_ms INTEGER NOT NULL) STRICT",
            """CREATE TABLE standing (
                spot_id INTEGER NOT NULL,
                kind TEXT NOT NULL,
                about TEXT NOT NULL,
                severity TEXT NOT NULL,
                PRIMARY KEY (spot_id, kind)
            ) STRICT, WITHOUT ROWID""",
            # Before when readings of a board have been forgotten: what was made of them is all there is.
            "CREATE TABLE forgotten (board_id INTEGER PRIMARY KEY, before_ms INTEGER NOT NULL) STRICT",
        ),
    ),
    Migration(
        "events closed by hand, and found in pages",
        (
            # Each begins with what is asked for and goes on as a page is ordered.
            "DROP INDEX event_by_time",
            "DROP INDEX event_open",
            "CREATE INDEX event_by_time ON event (opened_ms, identity)",
            "CREATE INDEX event_open ON event (opened_ms, identity) WHERE closed_ms IS NULL",
            "CREATE INDEX event_by_subject ON event (subject_kind, subject, opened_ms, identity)",
            "CREATE INDEX event_by_kind ON event (kind, opened_ms, identity)",
            "CREATE INDEX event_by_severity ON event (severity, opened_ms, identity)",
            "CREATE INDEX event_by_closing ON event (closed_ms, opened_ms)",
            # Those whose cause lasts, as far as is known: it is not told again until it has gone.
            "CREATE TABLE closed_by_hand (identity TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
        ),
    ),
    Migration(
        "moments of changes of lamps",
        (
            # Null where only the day is known.  `clock` is what the keeper's clock showed then; `before` is
            # what each spot had seen of the lamp on that day by then, as JSON.
            "ALTER TABLE lamp_change ADD COLUMN at_ms INTEGER",
            "ALTER TABLE lamp_change ADD COLUMN clock TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE lamp_change ADD COLUMN before TEXT NOT NULL DEFAULT '{}'",
        ),
    ),
)
