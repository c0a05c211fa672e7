-- The private link by which a person's calendar reads the dates of a programme: one for each person and programme. Never the
-- link itself, so that nobody can read with a copy of this table. Moments are microseconds since 1970-01-01 UTC.
CREATE TABLE calendar_link (
    person TEXT NOT NULL REFERENCES account (handle),
    programme TEXT NOT NULL REFERENCES programme (id),
    hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
    made_at INTEGER NOT NULL,
    PRIMARY KEY (person, programme)
) STRICT;
