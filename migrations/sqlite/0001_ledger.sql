-- The ledger: what people did, for ever. Moments are microseconds since 1970-01-01 UTC.

CREATE TABLE programme (
    id TEXT NOT NULL PRIMARY KEY,
    founded_at INTEGER NOT NULL
) STRICT;

CREATE TABLE ledger (
    programme TEXT NOT NULL REFERENCES programme (id),
    seq INTEGER NOT NULL,
    recorded_at INTEGER NOT NULL,
    -- RFC 8785 text, whose bytes are the leaf of the tree; kept as text so that not one of them changes.
    entry TEXT NOT NULL,
    leaf BLOB NOT NULL CHECK (length(leaf) = 32),
    PRIMARY KEY (programme, seq)
) STRICT;

-- Size and root of the tree after each transaction that added to it.
CREATE TABLE checkpoint (
    programme TEXT NOT NULL REFERENCES programme (id),
    size INTEGER NOT NULL CHECK (size >= 1),
    root BLOB NOT NULL CHECK (length(root) = 32),
    PRIMARY KEY (programme, size)
) STRICT, WITHOUT ROWID;

-- Records follow one another without gaps. A record that exists can't be put in again, so this also stops
-- INSERT OR REPLACE, which would pass by the triggers on deletion.
CREATE TRIGGER ledger_only_grows BEFORE INSERT ON ledger
WHEN new.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM ledger WHERE programme = new.programme)
BEGIN
    SELECT raise(ABORT, 'the ledger only grows, by the next record');
END;

CREATE TRIGGER ledger_is_never_updated BEFORE UPDATE ON ledger
BEGIN
    SELECT raise(ABORT, 'a record is never changed; write another that corrects it');
END;

CREATE TRIGGER ledger_is_never_deleted BEFORE DELETE ON ledger
BEGIN
    SELECT raise(ABORT, 'a record is never deleted');
END;

CREATE TRIGGER checkpoint_only_grows BEFORE INSERT ON checkpoint
WHEN new.size <= (SELECT coalesce(max(size), 0) FROM checkpoint WHERE programme = new.programme)
    OR new.size IS NOT (SELECT max(seq) FROM ledger WHERE programme = new.programme)
BEGIN
    SELECT raise(ABORT, 'a checkpoint is of the whole ledger, and later than all before it');
END;

CREATE TRIGGER checkpoint_is_never_updated BEFORE UPDATE ON checkpoint
BEGIN
    SELECT raise(ABORT, 'a checkpoint is never changed');
END;

CREATE TRIGGER checkpoint_is_never_deleted BEFORE DELETE ON checkpoint
BEGIN
    SELECT raise(ABORT, 'a checkpoint is never deleted');
END;

CREATE TRIGGER programme_is_founded_once BEFORE INSERT ON programme
WHEN EXISTS (SELECT 1 FROM programme WHERE id = new.id)
BEGIN
    SELECT raise(ABORT, 'the programme exists');
END;

CREATE TRIGGER programme_is_never_updated BEFORE UPDATE ON programme
BEGIN
    SELECT raise(ABORT, 'a programme is never changed');
END;

CREATE TRIGGER programme_is_never_deleted BEFORE DELETE ON programme
BEGIN
    SELECT raise(ABORT, 'a programme is never deleted');
END;
