/// Rows of states, inside transactions.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "store/bed_bytes.h"
#include "store/database.h"
#include "store/runs.h"
#include "store/state_file.h"

namespace gyrebox::store {

/// Purpose of a state; see layout 5.
enum class StateKind { kCheckpoint = 1, kEnd = 2, kKept = 3 };

/// A state as recorded in the database.
struct StateRow {
  BedBytes bed;  ///< without its bytes
  std::string file;
  int64_t length = 0;
  uint32_t checksum = 0;
  int64_t sample_count = 0;
  std::string recovered_faults;  ///< see FaultBytes()
  std::string warning;
};

/// State from a row with the common columns of the statements on states.
StateRow ToStateRow(const Statement& row);

/// The state of this kind with the highest step; none if there is none.
absl::StatusOr<std::optional<StateRow>> SelectLastState(Connection& connection, int64_t study, int64_t number,
                                                        StateKind kind);

/// The state of any kind with the highest step up to `at_most`; none if there is none.
absl::StatusOr<std::optional<StateRow>> SelectStateBefore(Connection& connection, int64_t study, int64_t number,
                                                          int64_t at_most);

/// Name of the file of a state.
std::string StateFileOf(int64_t study, int64_t number, StateKind kind, int64_t step);

absl::Status InsertState(Connection& connection, int64_t study, int64_t number, StateKind kind, const BedBytes& bed);

/// Runs a deleting statement and adds the files that no state uses any more to `unused`.
absl::Status DropStates(Connection& connection, int64_t study, int64_t number, Statement& dropping,
                        std::vector<std::string>* unused);

/// Faults as stored; empty if there are none.
std::string FaultBytes(const std::vector<v1::Fault>& faults);

/// Records the states of an update; their files must exist. Adds files that no state uses any more to `unused`.
absl::Status NoteStates(Connection& connection, int64_t study, const RunUpdate& update,
                        std::vector<std::string>* unused);

/// Files of the states of an update, to be written before NoteStates(). Their bytes belong to the update.
std::vector<WholeFile> FilesOf(int64_t study, const RunUpdate& update);

/// Rolls a run back to its newest checkpoint, or to its start if it has none, and queues it. Deletes later samples and
/// frames.
absl::Status RollBack(Connection& connection, int64_t study, int64_t number);

// ---- start states (start_state.cc)

/// Gives a study its own copy of the state that it starts from, if any. NOT_FOUND if that state is missing.
/// @param states directory of states. @param like see Studies::Create().
absl::Status TakeStart(Connection& connection, const std::string& states, int64_t study, const v1::StudySpec& spec,
                       int64_t like);

/// File of the state that a study starts from.
std::string StartFileOf(int64_t study);

/// Does the same for all studies of an older layout; skips studies whose start state is gone.
absl::Status TakeOldStarts(Connection& connection, const std::string& states);

}  // namespace gyrebox::store
