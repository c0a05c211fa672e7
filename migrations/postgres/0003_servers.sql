-- What several servers on one database tell one another.

-- Goes up with each change outside the ledgers, in the transaction of that change. Whoever changes something holds this row
-- until then, so that such changes come one after the other; whoever finds a number that they have not seen reads anew.
CREATE TABLE change (
    one BOOLEAN NOT NULL PRIMARY KEY DEFAULT true CHECK (one),
    number BIGINT NOT NULL
);

INSERT INTO change (number) VALUES (0);

-- Ledgers that go on from copies that test lead and safety officer have not both acknowledged, which every server has to know.
CREATE TABLE copy_found (
    programme TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    size BIGINT NOT NULL,
    root BYTEA NOT NULL CHECK (length(root) = 32),
    known BIGINT
);
