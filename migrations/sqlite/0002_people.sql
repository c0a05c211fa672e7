-- Who may sign in, and what was answered to whom. Moments are microseconds since 1970-01-01 UTC.

CREATE TABLE account (
    handle TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    pin_hash TEXT,
    administrator INTEGER NOT NULL CHECK (administrator IN (0, 1)),
    created_at INTEGER NOT NULL,
    disabled_at INTEGER,
    -- Access tokens issued before are no longer good.
    tokens_valid_from INTEGER NOT NULL
) STRICT;

-- One sign-in, with all the refresh tokens that follow from it: a family.
CREATE TABLE session (
    id TEXT NOT NULL PRIMARY KEY,
    handle TEXT NOT NULL REFERENCES account (handle),
    began_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    revoked_at INTEGER
) STRICT;

CREATE INDEX session_by_handle ON session (handle);

-- Never the token itself, so that nobody can sign in with a copy of this table.
CREATE TABLE refresh_token (
    hash BLOB NOT NULL PRIMARY KEY CHECK (length(hash) = 32),
    session TEXT NOT NULL REFERENCES session (id) ON DELETE CASCADE,
    issued_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at INTEGER
) STRICT;

CREATE INDEX refresh_token_by_session ON refresh_token (session);

-- Replies already given, so that asking again does nothing twice.
CREATE TABLE idempotency (
    person TEXT NOT NULL,
    key TEXT NOT NULL,
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    status INTEGER NOT NULL,
    headers TEXT NOT NULL,
    body BLOB NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (person, key)
) STRICT;

CREATE INDEX idempotency_by_age ON idempotency (created_at);

-- Random bytes that the server signs with.
CREATE TABLE secret (
    name TEXT NOT NULL PRIMARY KEY,
    bytes BLOB NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
