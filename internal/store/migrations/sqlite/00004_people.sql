-- +goose Up
-- Who works with this file. Secrets are stored as hashes, but for the second factor's, which has to be
-- computed with. password is a PHC string, '' if none was set yet; disabled is 0 while it works.
CREATE TABLE accounts (
    id        TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    login     TEXT    NOT NULL UNIQUE,
    name      TEXT    NOT NULL,
    password  TEXT    NOT NULL,
    totp      TEXT    NOT NULL,
    totp_used INTEGER NOT NULL,
    created   INTEGER NOT NULL,
    disabled  INTEGER NOT NULL,
    revision  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A role in a team; '' as the team means every team.
CREATE TABLE grants (
    account_id TEXT    NOT NULL REFERENCES accounts (id),
    team_id    TEXT    NOT NULL,
    role       TEXT    NOT NULL,
    made       INTEGER NOT NULL,
    by_id      TEXT    NOT NULL,
    PRIMARY KEY (account_id, team_id, role)
) STRICT, WITHOUT ROWID;
CREATE INDEX grants_by_team ON grants (team_id, account_id);

CREATE TABLE recovery_codes (
    account_id TEXT    NOT NULL REFERENCES accounts (id),
    hash       TEXT    NOT NULL,
    used       INTEGER NOT NULL,
    PRIMARY KEY (account_id, hash)
) STRICT, WITHOUT ROWID;

-- credential is what the library of the open standard WebAuthn keeps, as JSON.
CREATE TABLE passkeys (
    id         TEXT    NOT NULL PRIMARY KEY,
    account_id TEXT    NOT NULL REFERENCES accounts (id),
    name       TEXT    NOT NULL,
    credential BLOB    NOT NULL,
    created    INTEGER NOT NULL,
    used       INTEGER NOT NULL
) STRICT;
CREATE INDEX passkeys_by_account ON passkeys (account_id, created, id);

-- hash is of the cookie's value. id names the session to its owner.
CREATE TABLE sessions (
    hash       TEXT    NOT NULL PRIMARY KEY,
    id         TEXT    NOT NULL UNIQUE,
    account_id TEXT    NOT NULL REFERENCES accounts (id),
    device     TEXT    NOT NULL,
    created    INTEGER NOT NULL,
    used       INTEGER NOT NULL,
    expires    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sessions_by_account ON sessions (account_id, created, id);
CREATE INDEX sessions_by_expiry ON sessions (expires);

-- One-time links (setup, invitation, reset) and links of a family (one athlete, until it expires).
-- grants is JSON; used and revoked are 0 until then.
CREATE TABLE links (
    hash       TEXT    NOT NULL PRIMARY KEY,
    id         TEXT    NOT NULL UNIQUE,
    kind       TEXT    NOT NULL,
    account_id TEXT    NOT NULL,
    athlete_id TEXT    NOT NULL,
    name       TEXT    NOT NULL,
    grants     TEXT    NOT NULL,
    made       INTEGER NOT NULL,
    by_id      TEXT    NOT NULL,
    expires    INTEGER NOT NULL,
    used       INTEGER NOT NULL,
    revoked    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX links_by_kind ON links (kind, made, id);
CREATE INDEX links_by_athlete ON links (athlete_id, made, id);
CREATE INDEX links_by_account ON links (account_id, made, id);

-- Tokens of the API. scopes is JSON; team is '' for all that the account has.
CREATE TABLE tokens (
    hash       TEXT    NOT NULL PRIMARY KEY,
    id         TEXT    NOT NULL UNIQUE,
    account_id TEXT    NOT NULL REFERENCES accounts (id),
    name       TEXT    NOT NULL,
    scopes     TEXT    NOT NULL,
    team_id    TEXT    NOT NULL,
    created    INTEGER NOT NULL,
    expires    INTEGER NOT NULL,
    used       INTEGER NOT NULL,
    revoked    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX tokens_by_account ON tokens (account_id, created, id);

CREATE TABLE consent_texts (
    id      TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    purpose TEXT    NOT NULL,
    version TEXT    NOT NULL,
    body    TEXT    NOT NULL,
    made    INTEGER NOT NULL,
    by_id   TEXT    NOT NULL,
    UNIQUE (purpose, version)
) STRICT;

-- Rows are never changed but for the withdrawal, which is set once. version repeats that of the text.
CREATE TABLE consents (
    id           TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    athlete_id   TEXT    NOT NULL REFERENCES athletes (id),
    purpose      TEXT    NOT NULL,
    on_day       TEXT    NOT NULL,
    version      TEXT    NOT NULL,
    given_by     TEXT    NOT NULL,
    giver        TEXT    NOT NULL,
    recorded     INTEGER NOT NULL,
    by_id        TEXT    NOT NULL,
    by_name      TEXT    NOT NULL,
    withdrawn_on TEXT    NOT NULL,
    withdrawn    INTEGER NOT NULL,
    withdrawn_by TEXT    NOT NULL,
    why          TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX consents_by_athlete ON consents (athlete_id, purpose, on_day, id);

-- Whose place on which list: what is asked before an athlete is erased.
CREATE INDEX participants_by_athlete ON participants (athlete_id, day_id);
-- A reading is erased only after a look for those that name it.
CREATE INDEX readings_by_superseded_by ON readings (superseded_by) WHERE superseded_by IS NOT NULL;

-- What the programme chose: retention and the like, as JSON by name.
CREATE TABLE settings (
    name    TEXT    NOT NULL PRIMARY KEY,
    value   TEXT    NOT NULL,
    changed INTEGER NOT NULL,
    by_id   TEXT    NOT NULL
) STRICT, WITHOUT ROWID;

-- Athletes whose records are kept although they fall due.
CREATE TABLE retention_holds (
    athlete_id TEXT    NOT NULL PRIMARY KEY REFERENCES athletes (id),
    why        TEXT    NOT NULL,
    made       INTEGER NOT NULL,
    by_id      TEXT    NOT NULL
) STRICT, WITHOUT ROWID;

-- What was erased: how much of what kind, of nobody in particular. counts is JSON.
CREATE TABLE erasures (
    id      TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    at      INTEGER NOT NULL,
    by_id   TEXT    NOT NULL,
    by_name TEXT    NOT NULL,
    why     TEXT    NOT NULL,
    counts  TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX erasures_by_time ON erasures (at, id);

CREATE TABLE backups (
    id         TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    at         INTEGER NOT NULL,
    name       TEXT    NOT NULL,
    bytes      INTEGER NOT NULL,
    encrypted  INTEGER NOT NULL,
    audit_seq  INTEGER NOT NULL,
    audit_hash TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX backups_by_time ON backups (at, id);

-- Who saw or changed what. hash is of all columns and of the hash of the row before: a row that is
-- changed, left out or put in breaks the chain.
CREATE TABLE audit (
    seq     INTEGER NOT NULL PRIMARY KEY,
    at      INTEGER NOT NULL,
    who     TEXT    NOT NULL,
    name    TEXT    NOT NULL,
    action  TEXT    NOT NULL,
    outcome TEXT    NOT NULL,
    kind    TEXT    NOT NULL,
    subject TEXT    NOT NULL,
    team    TEXT    NOT NULL,
    via     TEXT    NOT NULL,
    request TEXT    NOT NULL,
    prev    TEXT    NOT NULL,
    hash    TEXT    NOT NULL
) STRICT;
CREATE INDEX audit_by_who ON audit (who, seq);
CREATE INDEX audit_by_subject ON audit (subject, seq);
CREATE INDEX audit_by_team ON audit (team, seq);

-- +goose StatementBegin
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'the audit is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER audit_is_kept BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT, 'the audit is only added to'); END;
-- +goose StatementEnd

-- What the coach may read of a clearance; the note is never for the coach.
-- Limits of clearances entered so far stand in their notes.
ALTER TABLE events ADD COLUMN limits TEXT NOT NULL DEFAULT '';
UPDATE events SET limits = 'Ask the trainer what the clinician allows.' WHERE kind = 'clearance';

-- The newest handout of an athlete, of whichever day.
CREATE INDEX handouts_of_athlete ON handouts (athlete_id, made, id);

-- +goose Down
DROP INDEX handouts_of_athlete;
ALTER TABLE events DROP COLUMN limits;
DROP TABLE audit;
DROP TABLE backups;
DROP TABLE erasures;
DROP TABLE retention_holds;
DROP TABLE settings;
DROP INDEX readings_by_superseded_by;
DROP INDEX participants_by_athlete;
DROP TABLE consents;
DROP TABLE consent_texts;
DROP TABLE tokens;
DROP TABLE links;
DROP TABLE sessions;
DROP TABLE passkeys;
DROP TABLE recovery_codes;
DROP TABLE grants;
DROP TABLE accounts;
