-- Schema version 2. Never edited once released: a change is a new numbered file.
-- One part per room that keeps something here; instants as in version 1.

-- == People: accounts, tokens, sessions, what they changed ==

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

-- == Registers: merged assets, training parts, ranges of testers ==
