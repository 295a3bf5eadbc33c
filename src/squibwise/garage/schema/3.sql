-- The last entry of all cases: each entry names the one that was written before it in any case.
CREATE TABLE newest (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    hash TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TRIGGER newest_remains BEFORE DELETE ON newest
BEGIN SELECT RAISE(ABORT, 'the last entry is never forgotten'); END;
