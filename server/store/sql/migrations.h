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

    // 5: the queue, journals, and all states of runs: 1 checkpoints, 2 what a run left, 3 kept for studies
    // to start from. A checkpoint also holds how far its run was. Several states may share a file. Runs are counted by
    // study and state, with their bead-steps, so that no list has to look at all of them.
    R"sql(
ALTER TABLE study ADD COLUMN stored_bytes INTEGER NOT NULL DEFAULT 0;
UPDATE study SET stored_bytes =
  COALESCE((SELECT SUM(LENGTH(samples)) FROM segment WHERE segment.study = study.id), 0) +
  COALESCE((SELECT SUM(length) FROM end_state WHERE end_state.study = study.id), 0);
CREATE INDEX study_by_owner ON study (owner);

ALTER TABLE run ADD COLUMN priority INTEGER NOT NULL DEFAULT 0;
ALTER TABLE run ADD COLUMN ended_early INTEGER NOT NULL DEFAULT 0;
ALTER TABLE run ADD COLUMN journal_length INTEGER NOT NULL DEFAULT 0;
DROP INDEX run_queued;
DROP INDEX run_open;
CREATE INDEX run_queued ON run (study, priority DESC, number) WHERE state = 1;

CREATE TABLE run_count (
  study INTEGER NOT NULL,
  state INTEGER NOT NULL,
  count INTEGER NOT NULL,
  done REAL NOT NULL,
  total REAL NOT NULL,
  PRIMARY KEY (study, state)
) STRICT, WITHOUT ROWID;
INSERT INTO run_count (study, state, count, done, total)
SELECT study, state, COUNT(*), SUM(CAST(step AS REAL) * bead_count), SUM(CAST(total_steps AS REAL) * bead_count)
FROM run GROUP BY study, state;
CREATE TRIGGER count_new_run AFTER INSERT ON run BEGIN
  INSERT INTO run_count (study, state, count, done, total)
  VALUES (NEW.study, NEW.state, 1, CAST(NEW.step AS REAL) * NEW.bead_count,
    CAST(NEW.total_steps AS REAL) * NEW.bead_count)
  ON CONFLICT DO UPDATE SET count = count + 1, done = done + excluded.done, total = total + excluded.total;
END;
CREATE TRIGGER count_changed_run AFTER UPDATE OF state, step, total_steps ON run BEGIN
  UPDATE run_count SET count = count - 1, done = done - CAST(OLD.step AS REAL) * OLD.bead_count,
    total = total - CAST(OLD.total_steps AS REAL) * OLD.bead_count
  WHERE study = OLD.study AND state = OLD.state;
  INSERT INTO run_count (study, state, count, done, total)
  VALUES (NEW.study, NEW.state, 1, CAST(NEW.step AS REAL) * NEW.bead_count,
    CAST(NEW.total_steps AS REAL) * NEW.bead_count)
  ON CONFLICT DO UPDATE SET count = count + 1, done = done + excluded.done, total = total + excluded.total;
END;

CREATE TABLE journal (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  number INTEGER NOT NULL,
  entry BLOB NOT NULL,
  PRIMARY KEY (study, run, number),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE state (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  kind INTEGER NOT NULL,
  step INTEGER NOT NULL,
  time REAL NOT NULL,
  file TEXT NOT NULL,
  length INTEGER NOT NULL,
  checksum INTEGER NOT NULL,
  side_x REAL NOT NULL,
  side_y REAL NOT NULL,
  sample_count INTEGER NOT NULL DEFAULT 0,
  faults_passed BLOB,
  alarm TEXT,
  PRIMARY KEY (study, run, kind, step),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT, WITHOUT ROWID;
INSERT INTO state (study, run, kind, step, time, file, length, checksum, side_x, side_y)
SELECT e.study, e.run, 2, r.step, r.time, e.study || '-' || e.run || '.bed', e.length, e.checksum, e.side_x, e.side_y
FROM end_state e JOIN run r ON r.study = e.study AND r.number = e.run;
DROP TABLE end_state;

CREATE TABLE person (
  name TEXT PRIMARY KEY,
  used_seconds REAL NOT NULL,
  as_of INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
)sql",

    // 6: what lives on: notes and labels, what people did to a study, runs left out (a v1::Exclusion),
    // studies archived, deleted, or to be deleted. `ended` counts studies in the order in which they ended.
    // `source` is the study that one starts from, 0 for none, NULL where nobody has looked yet. A deleted
    // study is there for nobody until it is erased. warned_seconds is for how long the server has run since
    // it told that it will delete a study.
    R"sql(
ALTER TABLE study ADD COLUMN note TEXT NOT NULL DEFAULT '';
ALTER TABLE study ADD COLUMN archived INTEGER NOT NULL DEFAULT 0;
ALTER TABLE study ADD COLUMN deleted INTEGER NOT NULL DEFAULT 0;
ALTER TABLE study ADD COLUMN delete_time INTEGER;
ALTER TABLE study ADD COLUMN delete_reason TEXT;
ALTER TABLE study ADD COLUMN warned_seconds REAL NOT NULL DEFAULT 0;
ALTER TABLE study ADD COLUMN source INTEGER;
ALTER TABLE study ADD COLUMN ended INTEGER;
UPDATE study SET ended = place FROM
  (SELECT id, ROW_NUMBER() OVER (ORDER BY end_time, id) AS place FROM study WHERE end_time IS NOT NULL) AS past
WHERE study.id = past.id;
CREATE INDEX study_by_end ON study (ended);
CREATE INDEX study_by_source ON study (source);
CREATE INDEX study_deleted ON study (id) WHERE deleted = 1;

ALTER TABLE run ADD COLUMN exclusion BLOB;
CREATE INDEX run_excluded ON run (study) WHERE exclusion IS NOT NULL;
CREATE INDEX run_by_observables ON run (observables);

CREATE TABLE label (
  label TEXT NOT NULL,
  study INTEGER NOT NULL REFERENCES study (id),
  PRIMARY KEY (label, study)
) STRICT, WITHOUT ROWID;
CREATE INDEX label_by_study ON label (study, label);

CREATE TABLE edit (
  study INTEGER NOT NULL REFERENCES study (id),
  number INTEGER NOT NULL,
  person TEXT NOT NULL,
  create_time INTEGER NOT NULL,
  what TEXT NOT NULL,
  PRIMARY KEY (study, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE growth (
  request_id TEXT PRIMARY KEY,
  study INTEGER NOT NULL REFERENCES study (id)
) STRICT, WITHOUT ROWID;
CREATE INDEX growth_by_study ON growth (study);
)sql",

    // 7: frames that are kept of runs: of each run the sides of its bed and the kinds of its beads, a byte
    // each; of each frame the places and angles of the beads, with their CRC-32 (store/frame.h).
    R"sql(
CREATE TABLE frame_bed (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  side_x REAL NOT NULL,
  side_y REAL NOT NULL,
  kinds BLOB NOT NULL,
  PRIMARY KEY (study, run),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT;

CREATE TABLE frame (
  study INTEGER NOT NULL,
  run INTEGER NOT NULL,
  step INTEGER NOT NULL,
  time REAL NOT NULL,
  beads BLOB NOT NULL,
  checksum INTEGER NOT NULL,
  PRIMARY KEY (study, run, step),
  FOREIGN KEY (study, run) REFERENCES run (study, number)
) STRICT;
)sql",

    // 8: samples are packed quantity by quantity (store/packed.cc), those of several numbers in a column of their own.
    // Older segments stay as they are: whole rows in `samples`.
    R"sql(
ALTER TABLE segment ADD COLUMN wide BLOB;
)sql",

    // 9: the furthest step that a run had come to before it went back: what was told of it up to there must come again.
    R"sql(
ALTER TABLE run ADD COLUMN reached_step INTEGER NOT NULL DEFAULT 0;
)sql",

    // 10: whether a run audits the time step.
    R"sql(
ALTER TABLE run ADD COLUMN audit INTEGER NOT NULL DEFAULT 0;
)sql",
};

}  // namespace gyrebox::store::sql
