-- Schema version 2. Never edited once released: a change is a new numbered file.
-- One part per room that keeps something here; instants as in version 1.

-- == People: accounts, tokens, sessions, what they changed ==

-- == Messages: the outbox of what is to reach people ==

-- == Bench: run sheets in progress and finished ==

-- == Registers: merged assets, training parts, ranges of testers ==
