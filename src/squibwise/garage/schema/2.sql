-- What was worked out from entries and would take long to work out again; it may be emptied.
CREATE TABLE remembered (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
