-- Schema version 2. Never edited once released: a change is a new numbered file.
-- One part per room that keeps something here; instants as in version 1.

-- == People: accounts, tokens, sessions, what they changed ==

-- == Messages: the outbox of what is to reach people ==

-- == Bench: run sheets in progress and finished ==

-- Every step of every sheet; `number` counts within the sheet. Who and when: the batch.
CREATE TABLE sheet_step (
    no      INTEGER PRIMARY KEY,
    batch   INTEGER NOT NULL REFERENCES batch,
    station TEXT NOT NULL,
    opened  INTEGER NOT NULL,
    number  INTEGER NOT NULL,
    act     TEXT NOT NULL,
    details TEXT NOT NULL,
    UNIQUE (station, opened, number)
) STRICT;
CREATE INDEX sheet_opened ON sheet_step (opened) WHERE number = 1;

-- == Registers: merged assets, training parts, ranges of testers ==
