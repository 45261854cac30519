-- +goose Up
-- Ids are made by whoever creates the record. Days are text (2026-02-10, '' if not given), times are
-- whole microseconds since 1970 in UTC (0 if not given). Every table is clustered by the key it is
-- read by.

CREATE TABLE teams (
    id       TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    name     TEXT    NOT NULL,
    sport    TEXT    NOT NULL,
    revision INTEGER NOT NULL,
    changed  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX teams_by_name ON teams (name, id);

CREATE TABLE seasons (
    id       TEXT NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id  TEXT NOT NULL REFERENCES teams (id),
    name     TEXT NOT NULL,
    from_day TEXT NOT NULL,
    to_day   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX seasons_by_team ON seasons (team_id, from_day, id);

-- name_key is the name in lower case with single spaces: it finds the same person entered twice.
CREATE TABLE athletes (
    id          TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    name        TEXT    NOT NULL,
    name_key    TEXT    NOT NULL,
    born        TEXT    NOT NULL,
    sex         TEXT    NOT NULL,
    sport       TEXT    NOT NULL,
    positions   TEXT    NOT NULL,
    level       TEXT    NOT NULL,
    height_cm   REAL    NOT NULL,
    mass_kg     REAL    NOT NULL,
    external_id TEXT    NOT NULL,
    revision    INTEGER NOT NULL,
    changed     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX athletes_by_name ON athletes (name, id);
CREATE INDEX athletes_by_person ON athletes (name_key, born, id);
CREATE INDEX athletes_by_external ON athletes (external_id, id);

CREATE TABLE hands (
    athlete_id TEXT NOT NULL REFERENCES athletes (id),
    from_day   TEXT NOT NULL,
    hand       TEXT NOT NULL,
    PRIMARY KEY (athlete_id, from_day)
) STRICT, WITHOUT ROWID;

-- athlete_name repeats athletes.name, so that a team's list is read in the order of an index.
CREATE TABLE memberships (
    id           TEXT NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id      TEXT NOT NULL REFERENCES teams (id),
    season_id    TEXT REFERENCES seasons (id),
    athlete_id   TEXT NOT NULL REFERENCES athletes (id),
    athlete_name TEXT NOT NULL,
    from_day     TEXT NOT NULL,
    to_day       TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX memberships_by_team ON memberships (team_id, athlete_name, athlete_id, from_day, id);
CREATE INDEX memberships_by_athlete ON memberships (athlete_id, team_id);

CREATE TABLE screens (
    id         TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    athlete_id TEXT    NOT NULL REFERENCES athletes (id),
    team_id    TEXT    NOT NULL REFERENCES teams (id),
    on_day     TEXT    NOT NULL,
    kind       TEXT    NOT NULL,
    examiner   TEXT    NOT NULL,
    protocol   TEXT    NOT NULL,
    threw      INTEGER,
    note       TEXT    NOT NULL,
    revision   INTEGER NOT NULL,
    changed    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX screens_by_team ON screens (team_id, on_day, id);
CREATE INDEX screens_by_athlete ON screens (athlete_id, on_day, id);
CREATE INDEX screens_by_kind ON screens (athlete_id, kind, on_day, id);

-- A reading is never changed but for superseded_by, which is set once.
CREATE TABLE readings (
    screen_id     TEXT    NOT NULL REFERENCES screens (id),
    seq           INTEGER NOT NULL,
    id            TEXT    NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64),
    measure       TEXT    NOT NULL,
    side          TEXT    NOT NULL,
    trials        TEXT    NOT NULL,
    examiner      TEXT    NOT NULL,
    instrument    TEXT    NOT NULL,
    position      TEXT    NOT NULL,
    device        TEXT    NOT NULL,
    taken         INTEGER NOT NULL,
    step          REAL    NOT NULL,
    entered       INTEGER NOT NULL,
    entered_by    TEXT    NOT NULL,
    supersedes    TEXT REFERENCES readings (id),
    superseded_by TEXT REFERENCES readings (id),
    why           TEXT    NOT NULL,
    PRIMARY KEY (screen_id, seq)
) STRICT, WITHOUT ROWID;
-- One correction per reading: a second one corrects the first correction.
CREATE UNIQUE INDEX readings_by_supersedes ON readings (supersedes) WHERE supersedes IS NOT NULL;

CREATE TABLE not_done (
    screen_id TEXT    NOT NULL REFERENCES screens (id),
    seq       INTEGER NOT NULL,
    id        TEXT    NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64),
    measure   TEXT    NOT NULL,
    side      TEXT    NOT NULL,
    reason    TEXT    NOT NULL,
    entered   INTEGER NOT NULL,
    PRIMARY KEY (screen_id, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE checklist_answers (
    screen_id TEXT    NOT NULL REFERENCES screens (id),
    seq       INTEGER NOT NULL,
    id        TEXT    NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64),
    item      TEXT    NOT NULL,
    answer    TEXT    NOT NULL,
    examiner  TEXT    NOT NULL,
    entered   INTEGER NOT NULL,
    PRIMARY KEY (screen_id, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE symptoms (
    screen_id TEXT    NOT NULL REFERENCES screens (id),
    seq       INTEGER NOT NULL,
    id        TEXT    NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64),
    symptom   TEXT    NOT NULL,
    side      TEXT    NOT NULL,
    note      TEXT    NOT NULL,
    entered   INTEGER NOT NULL,
    withdrawn TEXT    NOT NULL,
    PRIMARY KEY (screen_id, seq)
) STRICT, WITHOUT ROWID;

-- How many of a team's readings end in 0 or 5, kept as they come in: counting them would read all.
CREATE TABLE reading_digits (
    team_id TEXT    NOT NULL PRIMARY KEY REFERENCES teams (id),
    on_five INTEGER NOT NULL,
    total   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- +goose Down
DROP TABLE reading_digits;
DROP TABLE symptoms;
DROP TABLE checklist_answers;
DROP TABLE not_done;
DROP TABLE readings;
DROP TABLE screens;
DROP TABLE memberships;
DROP TABLE hands;
DROP TABLE athletes;
DROP TABLE seasons;
DROP TABLE teams;
