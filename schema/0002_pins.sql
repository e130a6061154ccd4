-- PINs of people who sign. Not a record kind: it is never exported, and the journal says that a PIN
-- was set, never its hash. "hash" is an Argon2id string with its own salt and parameters.
-- "failures" counts wrong PINs since the last right one: each makes the next try slower.
CREATE TABLE pins (
    person INTEGER PRIMARY KEY REFERENCES people (id),
    hash TEXT NOT NULL,
    failures INTEGER NOT NULL,
    entry INTEGER NOT NULL
) STRICT;
