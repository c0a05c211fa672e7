-- Who may sign in, and what was answered to whom. Moments are microseconds since 1970-01-01 UTC.

CREATE TABLE account (
    handle TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    pin_hash TEXT,
    administrator BOOLEAN NOT NULL,
    created_at BIGINT NOT NULL,
    disabled_at BIGINT,
    -- Access tokens issued before are no longer good.
    tokens_valid_from BIGINT NOT NULL
);

-- One sign-in, with all the refresh tokens that follow from it: a family.
CREATE TABLE session (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    handle TEXT COLLATE "C" NOT NULL REFERENCES account (handle),
    began_at BIGINT NOT NULL,
    expires_at BIGINT NOT NULL,
    revoked_at BIGINT
);

CREATE INDEX session_by_handle ON session (handle);

-- Never the token itself, so that nobody can sign in with a copy of this table.
CREATE TABLE refresh_token (
    hash BYTEA NOT NULL PRIMARY KEY CHECK (length(hash) = 32),
    session TEXT COLLATE "C" NOT NULL REFERENCES session (id) ON DELETE CASCADE,
    issued_at BIGINT NOT NULL,
    expires_at BIGINT NOT NULL,
    used_at BIGINT
);

CREATE INDEX refresh_token_by_session ON refresh_token (session);

-- Replies already given, so that asking again does nothing twice, at whichever server.
CREATE TABLE idempotency (
    person TEXT COLLATE "C" NOT NULL,
    key TEXT COLLATE "C" NOT NULL,
    digest BYTEA NOT NULL CHECK (length(digest) = 32),
    status BIGINT NOT NULL,
    headers TEXT NOT NULL,
    body BYTEA NOT NULL,
    created_at BIGINT NOT NULL,
    PRIMARY KEY (person, key)
);

CREATE INDEX idempotency_by_age ON idempotency (created_at);

-- Random bytes that the servers sign with, in the order in which they were made.
CREATE TABLE secret (
    name TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    bytes BYTEA NOT NULL,
    created_at BIGINT NOT NULL,
    place BIGINT NOT NULL GENERATED ALWAYS AS IDENTITY
);

-- The private link by which a person's calendar reads the dates of a programme: one for each person and programme. Never the
-- link itself, so that nobody can read with a copy of this table.
CREATE TABLE calendar_link (
    person TEXT COLLATE "C" NOT NULL REFERENCES account (handle),
    programme TEXT COLLATE "C" NOT NULL REFERENCES programme (id),
    hash BYTEA NOT NULL UNIQUE CHECK (length(hash) = 32),
    made_at BIGINT NOT NULL,
    PRIMARY KEY (person, programme)
);
