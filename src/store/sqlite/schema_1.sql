-- Schema version 1. Never edited once released: a change is a new numbered file.
-- Instants are microseconds since 1970-01-01T00:00:00Z. Numbers (`no`) never leave the store.

CREATE TABLE installation (
    one    INTEGER PRIMARY KEY CHECK (one = 1),
    origin TEXT NOT NULL
) STRICT;

-- Where deliveries and changes come from.
CREATE TABLE source (
    no      INTEGER PRIMARY KEY,
    kind    TEXT NOT NULL,
    name    TEXT NOT NULL,
    profile TEXT NOT NULL,
    UNIQUE (kind, name, profile)
) STRICT;

-- Files whose bytes are kept beside the database.
CREATE TABLE kept (
    no     INTEGER PRIMARY KEY,
    digest TEXT NOT NULL UNIQUE,
    bytes  INTEGER NOT NULL
) STRICT;

-- One delivery or one change, gap-free from 1. The spans narrow the search for one of its readings.
CREATE TABLE batch (
    no          INTEGER PRIMARY KEY,
    received_at INTEGER NOT NULL,
    source      INTEGER NOT NULL REFERENCES source,
    kept        INTEGER REFERENCES kept,
    series_low  INTEGER, series_high INTEGER,
    taken_low   INTEGER, taken_high  INTEGER
) STRICT;
CREATE INDEX batch_of_kept ON batch (kept) WHERE kept IS NOT NULL;

-- Names of assets. Number 0 is nobody: the asset of what waits in the tray.
CREATE TABLE asset (
    no INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO asset VALUES (0, '');

-- In the tray (asset 0) `written` and `phase` are as written, else `written` is empty.
-- A voltage that was not stated is -1.
CREATE TABLE series (
    no      INTEGER PRIMARY KEY,
    asset   INTEGER NOT NULL REFERENCES asset,
    written TEXT NOT NULL,
    phase   TEXT NOT NULL,
    against TEXT NOT NULL,
    setup   TEXT NOT NULL,
    volts   REAL NOT NULL,
    UNIQUE (asset, written, phase, against, setup, volts)
) STRICT;

CREATE TABLE tester (
    no INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO tester VALUES (0, '');

-- What readings seldom say one by one; `reason` is why a reading is in the tray.
CREATE TABLE note (
    no       INTEGER PRIMARY KEY,
    operator TEXT NOT NULL,
    station  TEXT NOT NULL,
    remark   TEXT NOT NULL,
    reason   TEXT NOT NULL,
    UNIQUE (operator, station, remark, reason)
) STRICT;
INSERT INTO note VALUES (0, '', '', '', '');

-- The readings, clustered by their natural key: the rule of duplicates is the key itself.
-- bound 0 `=`, 1 `>`, 2 `<`; a duration that was not stated is -1; nth tells equal readings of one
-- delivery with coarse times apart. flags: bits 0-1 precision, 2-3 doubt about the time, 4-5 what
-- the temperature was of, 6-21 the part of the record. temperature, delivered and humidity are
-- whole thousandths (INTEGER) where that is exact, else the number itself (REAL).
-- No REFERENCES: a look-up in four tables per row would halve the speed; `check` looks instead.
CREATE TABLE reading (
    series      INTEGER NOT NULL,
    taken_at    INTEGER NOT NULL,
    tester      INTEGER NOT NULL,
    bound       INTEGER NOT NULL,
    ohms        REAL NOT NULL,
    duration    REAL NOT NULL,
    nth         INTEGER NOT NULL,
    batch       INTEGER NOT NULL,
    record      INTEGER NOT NULL,
    flags       INTEGER NOT NULL,
    note        INTEGER NOT NULL,
    temperature ANY,
    delivered   ANY,
    humidity    ANY,
    PRIMARY KEY (series, taken_at, tester, bound, ohms, duration, nth)
) STRICT, WITHOUT ROWID;

-- Known temperatures summed by station and UTC day, so that a reading without one can be given
-- that of its neighbours without looking at all of them.
CREATE TABLE day_temperature (
    station TEXT NOT NULL,
    day     INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    sum     REAL NOT NULL,
    squares REAL NOT NULL,
    PRIMARY KEY (station, day)
) STRICT, WITHOUT ROWID;

-- The original lines of streams.
CREATE TABLE line (
    batch  INTEGER NOT NULL,
    record INTEGER NOT NULL,
    bytes  BLOB NOT NULL,
    PRIMARY KEY (batch, record)
) STRICT, WITHOUT ROWID;

-- Which assets a tester was used on, and between which instants (the last one coarse).
CREATE TABLE tester_use (
    tester    INTEGER NOT NULL,
    asset     INTEGER NOT NULL,
    first_at  INTEGER NOT NULL,
    until_at  INTEGER NOT NULL,
    PRIMARY KEY (tester, asset)
) STRICT, WITHOUT ROWID;

-- place = record * 65536 + part, here and in correction.
CREATE TABLE reject (
    no      INTEGER PRIMARY KEY,
    batch   INTEGER NOT NULL REFERENCES batch,
    place   INTEGER NOT NULL,
    at_byte INTEGER NOT NULL,
    len     INTEGER NOT NULL,
    bytes   BLOB NOT NULL,
    kind    TEXT NOT NULL,
    reason  TEXT NOT NULL
) STRICT;
CREATE INDEX reject_at ON reject (place, batch);

CREATE TABLE reject_settled (
    reject INTEGER PRIMARY KEY REFERENCES reject,
    batch  INTEGER NOT NULL REFERENCES batch
) STRICT;

-- Registers: the row with the highest number among equal keys stands, unless it is void.
CREATE TABLE asset_version (
    no            INTEGER PRIMARY KEY,
    batch         INTEGER NOT NULL REFERENCES batch,
    asset         INTEGER NOT NULL REFERENCES asset,
    kind          TEXT NOT NULL,
    rated_voltage REAL,
    limit_ohm     REAL,
    insulation    TEXT NOT NULL,
    joining       TEXT NOT NULL,
    site          TEXT NOT NULL,
    remark        TEXT NOT NULL
) STRICT;
CREATE INDEX asset_version_of ON asset_version (asset);

CREATE TABLE asset_limit (
    version         INTEGER NOT NULL REFERENCES asset_version,
    nth             INTEGER NOT NULL,
    ohms            REAL NOT NULL,
    meaning         TEXT NOT NULL,
    ohm_per_volt    REAL,
    working_voltage REAL,
    PRIMARY KEY (version, nth)
) STRICT, WITHOUT ROWID;

CREATE TABLE event (
    no     INTEGER PRIMARY KEY,
    batch  INTEGER NOT NULL REFERENCES batch,
    asset  INTEGER NOT NULL REFERENCES asset,
    at     INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    remark TEXT NOT NULL,
    void   INTEGER NOT NULL CHECK (void IN (0, 1))
) STRICT;
CREATE INDEX event_of ON event (asset, at, kind);

CREATE TABLE gear (
    no            INTEGER PRIMARY KEY,
    batch         INTEGER NOT NULL REFERENCES batch,
    id            TEXT NOT NULL,
    kind          TEXT NOT NULL,
    category      TEXT NOT NULL,
    rated_voltage REAL,
    full_scale    REAL,
    lowest        REAL,
    due           INTEGER,
    remark        TEXT NOT NULL
) STRICT;
CREATE INDEX gear_of ON gear (id);

CREATE TABLE proof (
    no     INTEGER PRIMARY KEY,
    batch  INTEGER NOT NULL REFERENCES batch,
    tester TEXT NOT NULL,
    at     INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    value  REAL,
    unit   TEXT NOT NULL,
    passed INTEGER NOT NULL CHECK (passed IN (0, 1)),
    moment TEXT NOT NULL,
    remark TEXT NOT NULL,
    void   INTEGER NOT NULL CHECK (void IN (0, 1))
) STRICT;
CREATE INDEX proof_of ON proof (tester, at);

CREATE TABLE alias (
    no            INTEGER PRIMARY KEY,
    batch         INTEGER NOT NULL REFERENCES batch,
    written       TEXT NOT NULL,
    asset         INTEGER NOT NULL REFERENCES asset,
    phase_written TEXT NOT NULL,
    phase         TEXT,
    from_at       INTEGER,
    until_at      INTEGER,
    remark        TEXT NOT NULL,
    void          INTEGER NOT NULL CHECK (void IN (0, 1))
) STRICT;
CREATE INDEX alias_of ON alias (written, phase_written);

-- A correction names its reading by id and by natural key. home is the asset it was taken in
-- under (0: the tray).
CREATE TABLE correction (
    no       INTEGER PRIMARY KEY,
    batch    INTEGER NOT NULL REFERENCES batch,
    of_batch INTEGER NOT NULL REFERENCES batch,
    of_place INTEGER NOT NULL,
    home     INTEGER NOT NULL REFERENCES asset,
    kind     TEXT NOT NULL,
    target   INTEGER REFERENCES asset,
    phase    TEXT,
    reason   TEXT NOT NULL,
    series   INTEGER NOT NULL REFERENCES series,
    taken_at INTEGER NOT NULL,
    tester   INTEGER NOT NULL REFERENCES tester,
    bound    INTEGER NOT NULL,
    ohms     REAL NOT NULL,
    duration REAL NOT NULL,
    nth      INTEGER NOT NULL
) STRICT;
CREATE INDEX correction_of ON correction (of_batch, of_place);
CREATE INDEX correction_home ON correction (home);
CREATE INDEX correction_target ON correction (target) WHERE target IS NOT NULL;

-- A finding keeps its number while its episode is assessed again and again.
CREATE TABLE finding (
    no    INTEGER PRIMARY KEY,
    asset INTEGER NOT NULL REFERENCES asset,
    kind  TEXT NOT NULL
) STRICT;
CREATE INDEX finding_of ON finding (asset);

CREATE TABLE finding_version (
    no          INTEGER PRIMARY KEY,
    finding     INTEGER NOT NULL REFERENCES finding,
    recorded_at INTEGER NOT NULL,
    stands      INTEGER NOT NULL CHECK (stands IN (0, 1)),
    phase       TEXT,
    since_at    INTEGER NOT NULL,
    until_at    INTEGER,
    reason      TEXT NOT NULL,
    evidence    TEXT NOT NULL
) STRICT;
CREATE INDEX finding_version_of ON finding_version (finding);

CREATE TABLE finding_act (
    no      INTEGER PRIMARY KEY,
    batch   INTEGER NOT NULL REFERENCES batch,
    finding INTEGER NOT NULL REFERENCES finding,
    act     TEXT NOT NULL,
    remark  TEXT NOT NULL
) STRICT;
CREATE INDEX finding_act_of ON finding_act (finding);

-- Assets to be assessed again. The row of asset 0 counts the marks given so far: here, because a
-- commit writes this page anyway.
CREATE TABLE pending (
    asset   INTEGER PRIMARY KEY,
    from_at INTEGER NOT NULL,
    mark    INTEGER NOT NULL
) STRICT;
INSERT INTO pending VALUES (0, 0, 0);
