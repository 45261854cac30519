-- +goose Up
-- What happened to an athlete besides screens. Rows are never changed but for withdrawn.
CREATE TABLE events (
    id         TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    athlete_id TEXT    NOT NULL REFERENCES athletes (id),
    on_day     TEXT    NOT NULL,
    kind       TEXT    NOT NULL,
    link       TEXT    NOT NULL,
    side       TEXT    NOT NULL,
    note       TEXT    NOT NULL,
    entered    INTEGER NOT NULL,
    entered_by TEXT    NOT NULL,
    withdrawn  TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX events_by_athlete ON events (athlete_id, on_day, id);

-- What was usual in a team's athletes on a day, as it was worked out when the day was closed. The
-- newest of a team and day counts. Bodies are large, so they lie apart from the keys: this table and
-- the next have a rowid.
CREATE TABLE squad_priors (
    id       TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id  TEXT    NOT NULL REFERENCES teams (id),
    on_day   TEXT    NOT NULL,
    protocol TEXT    NOT NULL,
    hash     TEXT    NOT NULL,
    made     INTEGER NOT NULL,
    by_id    TEXT    NOT NULL,
    body     BLOB    NOT NULL
) STRICT;
CREATE INDEX squad_priors_by_team ON squad_priors (team_id, on_day, made, id);

-- Retest studies whose errors may be used in scoring.
CREATE TABLE studies (
    id       TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id  TEXT    NOT NULL REFERENCES teams (id),
    name     TEXT    NOT NULL,
    from_day TEXT    NOT NULL,
    to_day   TEXT    NOT NULL,
    protocol TEXT    NOT NULL,
    hash     TEXT    NOT NULL,
    made     INTEGER NOT NULL,
    by_id    TEXT    NOT NULL,
    body     BLOB    NOT NULL,
    data     BLOB    NOT NULL
) STRICT;
CREATE INDEX studies_by_team ON studies (team_id, made, id);

-- Which errors a team is scored with: the last row of a team counts. No study: the published ones.
CREATE TABLE error_switches (
    id       TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id  TEXT    NOT NULL REFERENCES teams (id),
    study_id TEXT REFERENCES studies (id),
    at       INTEGER NOT NULL,
    by_name  TEXT    NOT NULL,
    why      TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX error_switches_by_team ON error_switches (team_id, at, id);

-- +goose Down
DROP TABLE error_switches;
DROP TABLE studies;
DROP TABLE squad_priors;
DROP TABLE events;
