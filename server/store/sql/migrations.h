/// Migrations from one layout of the database to the next. A released migration never changes. PRAGMA user_version is
/// the number of migrations applied.
#pragma once

namespace gyrebox::store::sql {

/// Recounts the disk usage of studies and owners, by the same rules as the triggers of layout 10.
#define GYREBOX_RECOUNT_BYTES                                                                                  \
  "UPDATE study SET stored_bytes = CASE WHEN deleted THEN 0 ELSE LENGTH(spec) + LENGTH(CAST(note AS BLOB)) + " \
  "(SELECT 256 * COUNT(*) FROM run WHERE run.study = study.id) + "                                             \
  "(SELECT COALESCE(SUM(LENGTH(samples) + COALESCE(LENGTH(wide), 0)), 0) FROM segment WHERE segment.study = "  \
  "study.id) + "                                                                                               \
  "(SELECT COALESCE(SUM(LENGTH(beads)), 0) FROM frame WHERE frame.study = study.id) + "                        \
  "(SELECT COALESCE(SUM(LENGTH(kinds)), 0) FROM frame_bed WHERE frame_bed.study = study.id) + "                \
  "(SELECT COALESCE(SUM(length), 0) FROM (SELECT DISTINCT run, file, length FROM state WHERE state.study = "   \
  "study.id)) + "                                                                                              \
  "(SELECT COALESCE(SUM(length), 0) FROM start_state WHERE start_state.study = study.id) + "                   \
  "(SELECT COALESCE(SUM(LENGTH(entry)), 0) FROM journal WHERE journal.study = study.id) + "                    \
  "(SELECT COALESCE(SUM(LENGTH(CAST(what AS BLOB))), 0) FROM edit WHERE edit.study = study.id) END; "          \
  "DELETE FROM owner_bytes; "                                                                                  \
  "INSERT INTO owner_bytes (owner, bytes) SELECT owner, SUM(stored_bytes) FROM study GROUP BY owner; "
/// Triggers that count the bytes of the rows of a table. @param OF_NEW, OF_OLD bytes of an inserted and of a deleted
/// row.
#define GYREBOX_COUNT_BYTES(TABLE, OF_NEW, OF_OLD)                \
  "CREATE TRIGGER bytes_of_new_" TABLE " AFTER INSERT ON " TABLE  \
  " BEGIN UPDATE study SET stored_bytes = stored_bytes + " OF_NEW \
  " WHERE id = NEW.study AND deleted = 0; END; "                  \
  "CREATE TRIGGER bytes_of_old_" TABLE " AFTER DELETE ON " TABLE  \
  " BEGIN UPDATE study SET stored_bytes = stored_bytes - (" OF_OLD ") WHERE id = OLD.study AND deleted = 0; END; "

inline constexpr const char* kMigrations[] = {
    // 1: studies, their runs and the runs' series. Times are milliseconds since 1970. States are v1::Run::State.
    // `change` counts the changes of a study; for a run it is the study's count at its last change.
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

    // 2: recovered faults of a run, as a v1::Run that holds nothing else, and its warning.
    R"sql(
ALTER TABLE run ADD COLUMN faults_passed BLOB;
ALTER TABLE run ADD COLUMN alarm TEXT;
)sql",

    // 3: end state of a run: length and CRC-32 of its file, and the sides of its bed.
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

    // 4: owner of a study, and the tokens that authenticate users: for each the SHA-256 of its secret and its role, a
    // v1::Token::Role. Older studies were submitted on this machine.
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

    // 5: the queue, journals, and all states of runs: 1 checkpoint, 2 end state, 3 kept for studies to start from. A
    // checkpoint also holds the progress of its run. Several states may share a file. `run_count` holds the number and
    // bead-steps of runs by study and state, so that no list has to scan all runs.
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

    // 6: notes and labels, edits by users, excluded runs (a v1::Exclusion), and studies archived, deleted or due for
    // deletion. `ended` numbers studies in the order in which they ended. `source` is the study that a study starts
    // from, 0 for none, NULL if not determined yet. A deleted study is invisible until it is erased. warned_seconds is
    // the server uptime since the deletion warning.
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

    // 7: kept frames of runs: for each run the sides of its bed and the kinds of its beads, one byte each; for each
    // frame the positions and angles of the beads, with their CRC-32 (store/frame.h).
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

    // 8: samples packed by quantity (store/packed.cc), those with several numbers in a separate column.
    // Older segments keep whole rows in `samples`.
    R"sql(
ALTER TABLE segment ADD COLUMN wide BLOB;
)sql",

    // 9: the furthest step that a run reached before a rollback. Data up to there was published, so a rerun must
    // reproduce it.
    R"sql(
ALTER TABLE run ADD COLUMN reached_step INTEGER NOT NULL DEFAULT 0;
)sql",

    // 10: identity of the store; results of calls that execute only once, by user, method and id, with the SHA-256 of
    // the request (empty in rows from older layouts: matches any) and 16 bytes for each of the first changed runs; each
    // study's own copy of its start state; disk usage by study and owner: a run counts as 256 bytes, and a file counts
    // once. study.request_id and study.source are no longer used.
    R"sql(
CREATE TABLE identity (
  id TEXT NOT NULL,
  copy_time INTEGER
) STRICT;
INSERT INTO identity (id) VALUES (LOWER(HEX(RANDOMBLOB(16))));
PRAGMA application_id = 1197036098;

CREATE TABLE request (
  person TEXT NOT NULL,
  method TEXT NOT NULL,
  id TEXT NOT NULL,
  hash BLOB NOT NULL,
  create_time INTEGER NOT NULL,
  study INTEGER NOT NULL REFERENCES study (id),
  count INTEGER NOT NULL DEFAULT 0,
  of_runs BLOB NOT NULL DEFAULT x'',
  PRIMARY KEY (person, method, id)
) STRICT, WITHOUT ROWID;
CREATE INDEX request_by_study ON request (study);
INSERT INTO request (person, method, id, hash, create_time, study)
SELECT owner, 'CreateStudyRequest', request_id, x'', create_time, id FROM study WHERE request_id IS NOT NULL;
INSERT INTO request (person, method, id, hash, create_time, study)
SELECT owner, 'GrowStudyRequest', growth.request_id, x'', create_time, study.id FROM growth
JOIN study ON study.id = growth.study;
DROP TABLE growth;
UPDATE study SET request_id = NULL;
DROP INDEX study_by_source;

CREATE TABLE start_state (
  study INTEGER PRIMARY KEY REFERENCES study (id),
  step INTEGER NOT NULL,
  time REAL NOT NULL,
  file TEXT NOT NULL,
  length INTEGER NOT NULL,
  checksum INTEGER NOT NULL,
  side_x REAL NOT NULL,
  side_y REAL NOT NULL
) STRICT;

CREATE TABLE owner_bytes (
  owner TEXT PRIMARY KEY,
  bytes INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
)sql" GYREBOX_RECOUNT_BYTES R"sql(
CREATE TRIGGER bytes_of_owner AFTER UPDATE OF stored_bytes ON study WHEN NEW.stored_bytes != OLD.stored_bytes BEGIN
  INSERT INTO owner_bytes (owner, bytes) VALUES (NEW.owner, NEW.stored_bytes - OLD.stored_bytes)
  ON CONFLICT DO UPDATE SET bytes = bytes + excluded.bytes;
END;
CREATE TRIGGER bytes_of_new_study AFTER INSERT ON study BEGIN
  UPDATE study SET stored_bytes = LENGTH(spec) + LENGTH(CAST(note AS BLOB)) WHERE id = NEW.id;
END;
CREATE TRIGGER bytes_of_changed_study AFTER UPDATE OF spec, note ON study WHEN NEW.deleted = 0 BEGIN
  UPDATE study SET stored_bytes = stored_bytes + LENGTH(NEW.spec) - LENGTH(OLD.spec) +
    LENGTH(CAST(NEW.note AS BLOB)) - LENGTH(CAST(OLD.note AS BLOB)) WHERE id = NEW.id;
END;
CREATE TRIGGER bytes_of_new_state AFTER INSERT ON state WHEN NOT EXISTS (
  SELECT 1 FROM state WHERE study = NEW.study AND run = NEW.run AND file = NEW.file
    AND NOT (kind = NEW.kind AND step = NEW.step)) BEGIN
  UPDATE study SET stored_bytes = stored_bytes + NEW.length WHERE id = NEW.study AND deleted = 0;
END;
CREATE TRIGGER bytes_of_old_state AFTER DELETE ON state WHEN NOT EXISTS (
  SELECT 1 FROM state WHERE study = OLD.study AND run = OLD.run AND file = OLD.file) BEGIN
  UPDATE study SET stored_bytes = stored_bytes - OLD.length WHERE id = OLD.study AND deleted = 0;
END;
)sql" GYREBOX_COUNT_BYTES("segment", "LENGTH(NEW.samples) + COALESCE(LENGTH(NEW.wide), 0)",
                          "LENGTH(OLD.samples) + COALESCE(LENGTH(OLD.wide), 0)")
        GYREBOX_COUNT_BYTES("frame", "LENGTH(NEW.beads)", "LENGTH(OLD.beads)")
            GYREBOX_COUNT_BYTES("frame_bed", "LENGTH(NEW.kinds)", "LENGTH(OLD.kinds)")
                GYREBOX_COUNT_BYTES("start_state", "NEW.length", "OLD.length")
                    GYREBOX_COUNT_BYTES("journal", "LENGTH(NEW.entry)", "LENGTH(OLD.entry)")
                        GYREBOX_COUNT_BYTES("edit", "LENGTH(CAST(NEW.what AS BLOB))", "LENGTH(CAST(OLD.what AS BLOB))"),

    // 11: why the server holds a run; writes in slices. A study with deleted = 2 is being created. A run in state 0 is
    // being added to a study; the growth was accepted if `joining` is set.
    R"sql(
ALTER TABLE run ADD COLUMN pause_reason TEXT;
ALTER TABLE study ADD COLUMN joining INTEGER NOT NULL DEFAULT 0;
CREATE INDEX run_joining ON run (study, number) WHERE state = 0;
)sql",

    // 12: whether a run audits the time step.
    R"sql(
ALTER TABLE run ADD COLUMN audit INTEGER NOT NULL DEFAULT 0;
)sql",

    // 13: renames to the terms of the schema.
    R"sql(
ALTER TABLE run RENAME COLUMN seed_places TO seed_positions;
ALTER TABLE run RENAME COLUMN faults_passed TO recovered_faults;
ALTER TABLE run RENAME COLUMN alarm TO warning;
ALTER TABLE state RENAME COLUMN faults_passed TO recovered_faults;
ALTER TABLE state RENAME COLUMN alarm TO warning;
ALTER TABLE person RENAME TO user;
ALTER TABLE edit RENAME COLUMN person TO user;
ALTER TABLE request RENAME COLUMN person TO user;
ALTER TABLE token RENAME COLUMN person TO user;
)sql",

    // 14: what the last growth of a study added; the SHA-256 of a spec without its title, to find equal studies.
    R"sql(
ALTER TABLE study ADD COLUMN grown_from BLOB;
ALTER TABLE study ADD COLUMN first_grown INTEGER;
ALTER TABLE study ADD COLUMN grown_bytes INTEGER;
ALTER TABLE study ADD COLUMN spec_hash BLOB;
CREATE INDEX study_by_spec ON study (spec_hash) WHERE spec_hash IS NOT NULL;
)sql",
};

}  // namespace gyrebox::store::sql
