/// Steps from one layout of the database to the next. A step that was released is never changed; PRAGMA user_version
/// counts those done.
#pragma once

namespace gyrebox::store::sql {

inline constexpr const char* kMigrations[] = {
    // 1: studies, their runs and the runs' series. Times are milliseconds since 1970. States are v1::Run::State.
    // `change` counts the changes of a study; a run holds the count at which it changed last.
    R"sql(
CREATE TABLE study (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  spec BLOB NOT NULL,
  request_id TEXT UNIQUE,
  create_time INTEGER NOT NULL,
  start_time INTEGER,
  end_time INTEGER,
  cancelled INTEGER NOT NULL DEFAULT 0,
  change INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE TABLE observable_list (
  id INTEGER PRIMARY KEY,
  list BLOB NOT NULL
) STRICT;

CREATE TABLE run (
  study INTEGER NOT NULL REFERENCES study (id),
  number INTEGER NOT NULL,
  axis_values BLOB NOT NULL,
  trial INTEGER NOT NULL,
  seed_places INTEGER NOT NULL,
  seed_noise INTEGER NOT NULL,
  seed_disorder INTEGER NOT NULL,
  bead_count INTEGER NOT NULL,
  total_steps INTEGER NOT NULL,
  state INTEGER NOT NULL,
  step INTEGER NOT NULL DEFAULT 0,
  time REAL NOT NULL DEFAULT 0,
  sample_count INTEGER NOT NULL DEFAULT 0,
  observables INTEGER REFERENCES observable_list (id),
  fault BLOB,
  device TEXT,
  start_time INTEGER,
  end_time INTEGER,
  change INTEGER NOT NULL DEFAULT 1,
  PRIMARY KEY (study, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX run_by_change ON run (study, change, number);
CREATE INDEX run_queued ON run (study, number) WHERE state = 1;
CREATE INDEX run_open ON run (study, number) WHERE state IN (1, 2, 3);

CREATE TABLE segment (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  first INTEGER NOT NULL,
  count INTEGER NOT NULL,
  last_time REAL NOT NULL,
  samples BLOB NOT NULL,
  PRIMARY KEY (study, run, first),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT;
)sql",

    // 2: what a run got past: faults as a v1::Run that holds nothing else, and the alarm that it raised.
    R"sql(
ALTER TABLE run ADD COLUMN faults_passed BLOB;
ALTER TABLE run ADD COLUMN alarm TEXT;
)sql",

    // 3: the state that a run left: length and CRC-32 of its file, and the sides of its bed.
    R"sql(
CREATE TABLE end_state (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  length INTEGER NOT NULL,
  checksum INTEGER NOT NULL,
  side_x REAL NOT NULL,
  side_y REAL NOT NULL,
  PRIMARY KEY (study, run),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT, WITHOUT ROWID;
)sql",

    // 4: who submitted a study, and the tokens by which the server knows people: of each the SHA-256 of its secret, and
    // its role, a v1::Token::Role. What is older was submitted on this machine.
    R"sql(
ALTER TABLE study ADD COLUMN owner TEXT NOT NULL DEFAULT 'local';
CREATE TABLE token (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  person TEXT NOT NULL,
  role INTEGER NOT NULL,
  hash BLOB NOT NULL UNIQUE,
  create_time INTEGER NOT NULL,
  expire_time INTEGER,
  revoke_time INTEGER
) STRICT;
)sql",
};

}  // namespace gyrebox::store::sql
