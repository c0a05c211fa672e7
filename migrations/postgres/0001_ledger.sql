-- The ledger: what people did, for ever. Moments are microseconds since 1970-01-01 UTC. Several servers may write here.
-- Names are compared byte by byte, whatever language the database is set to.

CREATE TABLE programme (
    id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    founded_at BIGINT NOT NULL
);

CREATE TABLE ledger (
    programme TEXT COLLATE "C" NOT NULL REFERENCES programme (id),
    seq BIGINT NOT NULL,
    recorded_at BIGINT NOT NULL,
    -- RFC 8785 text, whose bytes are the leaf of the tree; kept as text so that not one of them changes.
    entry TEXT NOT NULL,
    leaf BYTEA NOT NULL CHECK (length(leaf) = 32),
    -- Also what keeps two servers from writing the same record.
    PRIMARY KEY (programme, seq)
);

-- Size and root of the tree after each transaction that added to it.
CREATE TABLE checkpoint (
    programme TEXT COLLATE "C" NOT NULL REFERENCES programme (id),
    size BIGINT NOT NULL CHECK (size >= 1),
    root BYTEA NOT NULL CHECK (length(root) = 32),
    PRIMARY KEY (programme, size)
);

-- Who signed a checkpoint, and how.
CREATE TABLE checkpoint_signature (
    programme TEXT COLLATE "C" NOT NULL,
    size BIGINT NOT NULL,
    public_key BYTEA NOT NULL CHECK (length(public_key) = 32),
    signature BYTEA NOT NULL CHECK (length(signature) = 64),
    PRIMARY KEY (programme, size, public_key),
    FOREIGN KEY (programme, size) REFERENCES checkpoint (programme, size)
);

-- Records follow one another without gaps. Rows of the same statement that were put in before are seen here.
CREATE FUNCTION ledger_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF new.seq IS DISTINCT FROM
        (SELECT coalesce(max(seq), 0) + 1 FROM ledger WHERE programme = new.programme)
    THEN
        RAISE EXCEPTION 'the ledger only grows, by the next record';
    END IF;
    RETURN new;
END
$$;

CREATE FUNCTION checkpoint_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF new.size <= (SELECT coalesce(max(size), 0) FROM checkpoint WHERE programme = new.programme)
        OR new.size IS DISTINCT FROM (SELECT max(seq) FROM ledger WHERE programme = new.programme)
    THEN
        RAISE EXCEPTION 'a checkpoint is of the whole ledger, and later than all before it';
    END IF;
    RETURN new;
END
$$;

-- Refuses a statement, with what it is told to say.
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', tg_argv[0];
END
$$;

CREATE TRIGGER ledger_only_grows BEFORE INSERT ON ledger
    FOR EACH ROW EXECUTE FUNCTION ledger_only_grows();
CREATE TRIGGER ledger_is_never_updated BEFORE UPDATE ON ledger
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a record is never changed; write another that corrects it');
CREATE TRIGGER ledger_is_never_deleted BEFORE DELETE OR TRUNCATE ON ledger
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a record is never deleted');

CREATE TRIGGER checkpoint_only_grows BEFORE INSERT ON checkpoint
    FOR EACH ROW EXECUTE FUNCTION checkpoint_only_grows();
CREATE TRIGGER checkpoint_is_never_updated BEFORE UPDATE ON checkpoint
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a checkpoint is never changed');
CREATE TRIGGER checkpoint_is_never_deleted BEFORE DELETE OR TRUNCATE ON checkpoint
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a checkpoint is never deleted');

CREATE TRIGGER checkpoint_signature_is_never_updated BEFORE UPDATE ON checkpoint_signature
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a signature is never changed');
CREATE TRIGGER checkpoint_signature_is_never_deleted BEFORE DELETE OR TRUNCATE ON checkpoint_signature
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a signature is never deleted');

CREATE TRIGGER programme_is_never_updated BEFORE UPDATE ON programme
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a programme is never changed');
CREATE TRIGGER programme_is_never_deleted BEFORE DELETE OR TRUNCATE ON programme
    FOR EACH STATEMENT EXECUTE FUNCTION refuse('a programme is never deleted');

-- They hold also where a session sets itself up as a replica, which passes by others.
ALTER TABLE ledger ENABLE ALWAYS TRIGGER ledger_only_grows;
ALTER TABLE ledger ENABLE ALWAYS TRIGGER ledger_is_never_updated;
ALTER TABLE ledger ENABLE ALWAYS TRIGGER ledger_is_never_deleted;
ALTER TABLE checkpoint ENABLE ALWAYS TRIGGER checkpoint_only_grows;
ALTER TABLE checkpoint ENABLE ALWAYS TRIGGER checkpoint_is_never_updated;
ALTER TABLE checkpoint ENABLE ALWAYS TRIGGER checkpoint_is_never_deleted;
ALTER TABLE checkpoint_signature ENABLE ALWAYS TRIGGER checkpoint_signature_is_never_updated;
ALTER TABLE checkpoint_signature ENABLE ALWAYS TRIGGER checkpoint_signature_is_never_deleted;
ALTER TABLE programme ENABLE ALWAYS TRIGGER programme_is_never_updated;
ALTER TABLE programme ENABLE ALWAYS TRIGGER programme_is_never_deleted;
