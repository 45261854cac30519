-- +goose Up
-- Why an entry was taken back; '' if it holds.
ALTER TABLE readings ADD COLUMN withdrawn TEXT NOT NULL DEFAULT '';
ALTER TABLE not_done ADD COLUMN withdrawn TEXT NOT NULL DEFAULT '';
ALTER TABLE checklist_answers ADD COLUMN withdrawn TEXT NOT NULL DEFAULT '';

-- Screening days. The plan is JSON: side_order, every, stations. closed is 0 while the day is open.
CREATE TABLE days (
    id       TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    team_id  TEXT    NOT NULL REFERENCES teams (id),
    on_day   TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    plan     TEXT    NOT NULL,
    closed   INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    changed  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX days_by_team ON days (team_id, on_day, id);
CREATE INDEX days_by_date ON days (on_day, id);

-- The codes of the stations in the plans: no two days share one.
CREATE TABLE stations (
    code   TEXT NOT NULL PRIMARY KEY CHECK (length(code) BETWEEN 1 AND 64),
    day_id TEXT NOT NULL REFERENCES days (id)
) STRICT, WITHOUT ROWID;
CREATE INDEX stations_by_day ON stations (day_id, code);

-- screen_id names a screen that is made with the athlete's first entry.
CREATE TABLE participants (
    day_id     TEXT    NOT NULL REFERENCES days (id),
    athlete_id TEXT    NOT NULL REFERENCES athletes (id),
    number     INTEGER NOT NULL,
    code       TEXT    NOT NULL,
    screen_id  TEXT    NOT NULL UNIQUE CHECK (length(screen_id) BETWEEN 1 AND 64),
    twice      INTEGER NOT NULL,
    added      INTEGER NOT NULL,
    PRIMARY KEY (day_id, athlete_id),
    UNIQUE (day_id, number),
    UNIQUE (day_id, code)
) STRICT, WITHOUT ROWID;

-- What stations sent, in the order in which it came in. Rows are never changed.
CREATE TABLE day_entries (
    day_id     TEXT    NOT NULL REFERENCES days (id),
    seq        INTEGER NOT NULL,
    id         TEXT    NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64),
    kind       TEXT    NOT NULL,
    athlete_id TEXT    NOT NULL,
    screen_id  TEXT    NOT NULL,
    station    TEXT    NOT NULL,
    about      TEXT    NOT NULL,
    side       TEXT    NOT NULL,
    round      INTEGER NOT NULL,
    again      INTEGER NOT NULL,
    examiner   TEXT    NOT NULL,
    device     TEXT    NOT NULL,
    taken      INTEGER NOT NULL,
    at         INTEGER NOT NULL,
    received   INTEGER NOT NULL,
    late       INTEGER NOT NULL,
    reason     TEXT    NOT NULL,
    undoes     TEXT    NOT NULL,
    digest     TEXT    NOT NULL,
    PRIMARY KEY (day_id, seq)
) STRICT, WITHOUT ROWID;

-- Copies of what was printed. Bodies are large, so they lie apart from the keys: this table has a rowid.
CREATE TABLE handouts (
    id         TEXT    NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64),
    day_id     TEXT    NOT NULL,
    athlete_id TEXT    NOT NULL,
    screen_id  TEXT    NOT NULL,
    revision   INTEGER NOT NULL,
    protocol   TEXT    NOT NULL,
    hash       TEXT    NOT NULL,
    made       INTEGER NOT NULL,
    by_id      TEXT    NOT NULL,
    body       BLOB    NOT NULL,
    FOREIGN KEY (day_id, athlete_id) REFERENCES participants (day_id, athlete_id)
) STRICT;
CREATE INDEX handouts_by_athlete ON handouts (day_id, athlete_id, made, id);

-- +goose Down
DROP TABLE handouts;
DROP TABLE day_entries;
DROP TABLE participants;
DROP TABLE stations;
DROP TABLE days;
ALTER TABLE checklist_answers DROP COLUMN withdrawn;
ALTER TABLE not_done DROP COLUMN withdrawn;
ALTER TABLE readings DROP COLUMN withdrawn;
