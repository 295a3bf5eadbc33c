-- A garage as schema 3 left it.
PRAGMA application_id = 1397839682;
PRAGMA user_version = 3;
PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
CREATE TABLE entry (
    case_id TEXT NOT NULL REFERENCES head (case_id) DEFERRABLE INITIALLY DEFERRED,
    number INTEGER NOT NULL CHECK (number > 0),
    body TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
    PRIMARY KEY (case_id, number)
) STRICT, WITHOUT ROWID;
INSERT INTO "entry" VALUES('car',1,'{"after":"0000000000000000000000000000000000000000000000000000000000000000","at":"2026-03-02T12:00:00","by":"","case":"car","files":{"case.toml":"7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed"},"kind":"changed","number":1,"previous":"0000000000000000000000000000000000000000000000000000000000000000","undoes":0,"what":"wrote one"}','4289c267d0a440e70ab4e6a3764479de770fd84eb8d2a4447944acc8fca6dbe8');
INSERT INTO "entry" VALUES('car',2,'{"after":"4289c267d0a440e70ab4e6a3764479de770fd84eb8d2a4447944acc8fca6dbe8","at":"2026-03-02T12:00:00","by":"","case":"car","files":{"case.toml":"3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3"},"kind":"changed","number":2,"previous":"4289c267d0a440e70ab4e6a3764479de770fd84eb8d2a4447944acc8fca6dbe8","undoes":0,"what":"wrote two"}','5a2ebebce328cdc93f8c673e1a7a5944b24c5daa8c5e5095ae6651d544149497');
CREATE TABLE head (
    case_id TEXT PRIMARY KEY,
    number INTEGER NOT NULL,
    hash TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO "head" VALUES('car',2,'5a2ebebce328cdc93f8c673e1a7a5944b24c5daa8c5e5095ae6651d544149497');
CREATE TABLE newest (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    hash TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO "newest" VALUES(1,'5a2ebebce328cdc93f8c673e1a7a5944b24c5daa8c5e5095ae6651d544149497');
CREATE TABLE original (
    hash TEXT PRIMARY KEY CHECK (length(hash) = 64),
    content BLOB NOT NULL
) STRICT;
INSERT INTO "original" VALUES('7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed',X'6F6E65');
INSERT INTO "original" VALUES('3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3',X'74776F');
CREATE TABLE remembered (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO "remembered" VALUES('key','value');
CREATE TABLE used (
    case_id TEXT NOT NULL,
    number INTEGER NOT NULL,
    hash TEXT NOT NULL REFERENCES original (hash),
    PRIMARY KEY (case_id, number, hash),
    FOREIGN KEY (case_id, number) REFERENCES entry (case_id, number)
) STRICT, WITHOUT ROWID;
INSERT INTO "used" VALUES('car',1,'7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed');
INSERT INTO "used" VALUES('car',2,'3fc4ccfe745870e2c0d99f71f30ff0656c8dedd41cc1d7d3d376b0dbe685e2f3');
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
CREATE TRIGGER newest_remains BEFORE DELETE ON newest
BEGIN SELECT RAISE(ABORT, 'the last entry is never forgotten'); END;
COMMIT;
