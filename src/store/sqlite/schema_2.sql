-- Schema version 2. Never edited once released: a change is a new numbered file.
-- One part per room that keeps something here; instants as in version 1.

-- == People: accounts, tokens, who came ==
-- The row with the highest number among equal names stands. Sessions are not kept: they live as
-- long as the daemon.

CREATE TABLE account (
    no       INTEGER PRIMARY KEY,
    batch    INTEGER NOT NULL REFERENCES batch,
    name     TEXT NOT NULL,
    role     TEXT NOT NULL,
    password TEXT NOT NULL,
    revoked  INTEGER NOT NULL CHECK (revoked IN (0, 1))
) STRICT;
CREATE INDEX account_of ON account (name);

CREATE TABLE token (
    no         INTEGER PRIMARY KEY,
    batch      INTEGER NOT NULL REFERENCES batch,
    name       TEXT NOT NULL,
    role       TEXT NOT NULL,
    key        TEXT NOT NULL,
    digest     TEXT NOT NULL,
    expires_at INTEGER,
    revoked    INTEGER NOT NULL CHECK (revoked IN (0, 1))
) STRICT;
CREATE INDEX token_of ON token (name);

CREATE TABLE access (
    no     INTEGER PRIMARY KEY,
    batch  INTEGER NOT NULL REFERENCES batch,
    kind   TEXT NOT NULL,
    name   TEXT NOT NULL,
    client TEXT NOT NULL,
    times  INTEGER NOT NULL
) STRICT;

-- == Messages: the outbox of what is to reach people ==

-- A message is written once, only how it fares changes. It never leaves this installation, and so
-- belongs to no batch.
CREATE TABLE message (
    no        INTEGER PRIMARY KEY,
    channel   TEXT NOT NULL,
    key       TEXT NOT NULL,
    posted_at INTEGER NOT NULL,
    urgent    INTEGER NOT NULL CHECK (urgent IN (0, 1)),
    subject   TEXT NOT NULL,
    content   TEXT NOT NULL,
    fate      TEXT NOT NULL,
    tries     INTEGER NOT NULL,
    due_at    INTEGER NOT NULL,
    ended_at  INTEGER,
    error     TEXT NOT NULL,
    UNIQUE (channel, key)
) STRICT;
CREATE INDEX message_waiting ON message (no) WHERE fate = 'waiting';

-- The findings that a message tells of.
CREATE TABLE told (
    message INTEGER NOT NULL REFERENCES message,
    finding INTEGER NOT NULL REFERENCES finding,
    what    TEXT NOT NULL,
    PRIMARY KEY (message, finding, what)
) STRICT, WITHOUT ROWID;

-- == Bench: run sheets in progress and finished ==

-- Every step of every sheet; `number` counts within the sheet. By whom: the batch.
CREATE TABLE sheet_step (
    no      INTEGER PRIMARY KEY,
    batch   INTEGER NOT NULL REFERENCES batch,
    station TEXT NOT NULL,
    opened  INTEGER NOT NULL,
    number  INTEGER NOT NULL,
    at      INTEGER NOT NULL,
    act     TEXT NOT NULL,
    details TEXT NOT NULL,
    UNIQUE (station, opened, number)
) STRICT;
CREATE INDEX sheet_opened ON sheet_step (opened) WHERE number = 1;

-- == Registers: classes, merged assets, training parts, ranges of testers ==
-- What rows of version 1 say more stands beside them: those tables are not touched.

-- The row with the highest number among equal names stands.
CREATE TABLE class (
    no              INTEGER PRIMARY KEY,
    batch           INTEGER NOT NULL REFERENCES batch,
    name            TEXT NOT NULL,
    kind            TEXT NOT NULL,
    limit_ohm       REAL,
    as_read_ohm     REAL,
    ohm_per_volt    REAL,
    working_voltage REAL,
    insulation      TEXT NOT NULL,
    joining         TEXT NOT NULL,
    interval_days   INTEGER,
    discharge_s     INTEGER,
    remark          TEXT NOT NULL
) STRICT;
CREATE INDEX class_of ON class (name);

-- Of an asset's row: its class (empty: none), and what it says beside its columns of version 1.
CREATE TABLE asset_more (
    version       INTEGER PRIMARY KEY REFERENCES asset_version,
    class         TEXT NOT NULL,
    interval_days INTEGER,
    discharge_s   INTEGER,
    training      TEXT
) STRICT;

-- Of a tester's row: days after which a proof is to be repeated, and the highest reading of each
-- range by test voltage.
CREATE TABLE gear_more (
    gear       INTEGER PRIMARY KEY REFERENCES gear,
    proof_days INTEGER
) STRICT;
CREATE TABLE gear_range (
    gear INTEGER NOT NULL REFERENCES gear,
    nth  INTEGER NOT NULL,
    volts REAL NOT NULL,
    ohms  REAL NOT NULL,
    PRIMARY KEY (gear, nth)
) STRICT, WITHOUT ROWID;

-- Aliases that merge one asset into another.
CREATE TABLE merger (
    alias INTEGER PRIMARY KEY REFERENCES alias
) STRICT;
