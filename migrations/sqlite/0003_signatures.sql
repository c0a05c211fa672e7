-- Who signed a checkpoint, and how. A checkpoint from before there were keys has none, unless it was the last one then.
CREATE TABLE checkpoint_signature (
    programme TEXT NOT NULL,
    size INTEGER NOT NULL,
    public_key BLOB NOT NULL CHECK (length(public_key) = 32),
    signature BLOB NOT NULL CHECK (length(signature) = 64),
    PRIMARY KEY (programme, size, public_key),
    FOREIGN KEY (programme, size) REFERENCES checkpoint (programme, size)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER checkpoint_signature_is_made_once BEFORE INSERT ON checkpoint_signature
WHEN EXISTS (SELECT 1 FROM checkpoint_signature
    WHERE programme = new.programme AND size = new.size AND public_key = new.public_key)
BEGIN
    SELECT raise(ABORT, 'a signature is made once');
END;

CREATE TRIGGER checkpoint_signature_is_never_updated BEFORE UPDATE ON checkpoint_signature
BEGIN
    SELECT raise(ABORT, 'a signature is never changed');
END;

CREATE TRIGGER checkpoint_signature_is_never_deleted BEFORE DELETE ON checkpoint_signature
BEGIN
    SELECT raise(ABORT, 'a signature is never deleted');
END;
