-- Every original once, by what is in it.
CREATE TABLE original (
    hash TEXT PRIMARY KEY CHECK (length(hash) = 64),
    content BLOB NOT NULL
) STRICT;

-- What happened to each case, in order; ``body`` is canonical JSON, ``hash`` the SHA-256 of it.
CREATE TABLE entry (
    case_id TEXT NOT NULL REFERENCES head (case_id) DEFERRABLE INITIALLY DEFERRED,
    number INTEGER NOT NULL CHECK (number > 0),
    body TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
    PRIMARY KEY (case_id, number)
) STRICT, WITHOUT ROWID;

-- Where each case stands: a missing last entry shows here.
CREATE TABLE head (
    case_id TEXT PRIMARY KEY,
    number INTEGER NOT NULL,
    hash TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE used (
    case_id TEXT NOT NULL,
    number INTEGER NOT NULL,
    hash TEXT NOT NULL REFERENCES original (hash),
    PRIMARY KEY (case_id, number, hash),
    FOREIGN KEY (case_id, number) REFERENCES entry (case_id, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are only added'); END;
CREATE TRIGGER entry_remains BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are only added'); END;
CREATE TRIGGER original_stays BEFORE UPDATE ON original
BEGIN SELECT RAISE(ABORT, 'originals are only added'); END;
CREATE TRIGGER original_remains BEFORE DELETE ON original
BEGIN SELECT RAISE(ABORT, 'originals are only added'); END;
CREATE TRIGGER head_remains BEFORE DELETE ON head
BEGIN SELECT RAISE(ABORT, 'a case is never removed'); END;
