"""The ledger's tables as ordered, named migrations; each runs once, in a transaction of its own."""

MIGRATIONS: tuple[tuple[str, str], ...] = (
    (
        "001 first ledger",
        """
        CREATE TABLE scans (
            id INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL,
            bytes INTEGER NOT NULL,
            raw_name BLOB NOT NULL,          -- the name as the file system gave it
            file TEXT NOT NULL,              -- the same, safe to show
            part_name TEXT,                  -- PartName as JSON, NULL where no rule understood it
            job TEXT,
            bed TEXT NOT NULL,
            place TEXT NOT NULL,
            home BLOB NOT NULL,              -- absolute path of the one home
            reason TEXT NOT NULL DEFAULT '',
            admitted_utc TEXT NOT NULL,
            measured TEXT,                   -- Measured as JSON without the thumb
            thumb BLOB,
            findings TEXT NOT NULL DEFAULT '[]'
        );
        CREATE INDEX scans_job ON scans (job);
        CREATE INDEX scans_sha256 ON scans (sha256);
        CREATE INDEX scans_place ON scans (place);
        CREATE TABLE jobs (
            job TEXT PRIMARY KEY,
            state TEXT NOT NULL,
            row TEXT NOT NULL,               -- JobRow as JSON
            changed_utc TEXT NOT NULL
        );
        CREATE TABLE filings (
            id INTEGER PRIMARY KEY,
            job TEXT NOT NULL,
            plan TEXT NOT NULL,              -- Filing as JSON: every step, decided before the first is taken
            done INTEGER NOT NULL DEFAULT 0,
            begun_utc TEXT NOT NULL,
            done_utc TEXT
        );
        CREATE INDEX filings_open ON filings (done) WHERE done = 0;
        CREATE TABLE moves (
            id INTEGER PRIMARY KEY,
            scan INTEGER NOT NULL REFERENCES scans (id),
            sha256 TEXT NOT NULL,
            source BLOB NOT NULL,
            target BLOB NOT NULL,
            when_utc TEXT NOT NULL
        );
        CREATE INDEX moves_scan ON moves (scan);
        CREATE TABLE copies (
            sha256 TEXT NOT NULL,
            path BLOB NOT NULL PRIMARY KEY,
            when_utc TEXT NOT NULL
        );
        CREATE TABLE decisions (
            id INTEGER PRIMARY KEY,
            job TEXT NOT NULL,
            who TEXT NOT NULL,
            what TEXT NOT NULL,
            because TEXT NOT NULL,
            when_utc TEXT NOT NULL
        );
        CREATE TABLE events (
            id INTEGER PRIMARY KEY,
            when_utc TEXT NOT NULL,
            kind TEXT NOT NULL,
            job TEXT NOT NULL DEFAULT '',
            text TEXT NOT NULL
        );
        CREATE INDEX events_when ON events (when_utc);
        CREATE TABLE arriving (
            path BLOB PRIMARY KEY,
            file TEXT NOT NULL,
            bed TEXT NOT NULL,
            bytes INTEGER NOT NULL,
            since_utc TEXT NOT NULL,
            state TEXT NOT NULL,             -- settling, measuring, waiting
            reason TEXT NOT NULL DEFAULT ''
        );
        CREATE TABLE staying (
            path BLOB PRIMARY KEY,
            file TEXT NOT NULL,
            reason TEXT NOT NULL,            -- links, pipes, files left alone by rule
            kind TEXT NOT NULL,
            when_utc TEXT NOT NULL
        );
        CREATE TABLE runs (
            id INTEGER PRIMARY KEY,
            begun_utc TEXT NOT NULL,
            beat_utc TEXT NOT NULL,
            ended_utc TEXT
        );
        CREATE TABLE fixity (
            id INTEGER PRIMARY KEY,
            when_utc TEXT NOT NULL,
            bag TEXT NOT NULL,
            ok INTEGER NOT NULL,
            text TEXT NOT NULL
        );
        """,
    ),
    (
        "002 quick answers, folders as they were",
        """
        CREATE INDEX scans_home ON scans (home);
        CREATE INDEX scans_admitted ON scans (admitted_utc);
        CREATE INDEX jobs_state ON jobs (state);
        CREATE INDEX jobs_changed ON jobs (changed_utc);
        CREATE TABLE roots (
            path BLOB PRIMARY KEY,
            dev TEXT NOT NULL,               -- numbers of the file system's own, wider than SQLite's
            ino TEXT NOT NULL,
            own_disk INTEGER NOT NULL        -- whether it lay on another file system than the ledger
        );
        """,
    ),
    (
        "003 letters",
        """
        CREATE TABLE mails (
            id INTEGER PRIMARY KEY,
            file TEXT NOT NULL,              -- its name in the outbox
            subject TEXT NOT NULL,
            made_utc TEXT NOT NULL,
            state TEXT NOT NULL,
            tries INTEGER NOT NULL DEFAULT 0,
            next_utc TEXT NOT NULL,
            words TEXT NOT NULL DEFAULT ''
        );
        CREATE INDEX mails_state ON mails (state);
        CREATE TABLE mail_matters (
            matter TEXT PRIMARY KEY,         -- a matter is written about once
            mail INTEGER NOT NULL REFERENCES mails (id)
        );
        """,
    ),
)
