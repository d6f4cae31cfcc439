/// Calls that execute only once, even if they are repeated.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "store/connections.h"

namespace gyrebox::store {

/// Identifies a call that executes only once, even if it is repeated.
struct Request {
  Request(std::string id = "", std::string user = "", std::string method = "", std::string hash = "")
      : id(std::move(id)), user(std::move(user)), method(std::move(method)), hash(std::move(hash)) {}
  Request(const char* id) : Request(std::string(id)) {}

  std::string id;    ///< chosen by the caller, per method; empty if the call may be repeated
  std::string user;  ///< the caller
  std::string method;
  std::string hash;  ///< of the request
};

/// Result of a call.
struct Made {
  /// A run, and what the call added to it.
  struct OfRun {
    int64_t run = 0;
    int64_t number = 0;  ///< number of its journal entry, or step of its state
  };
  int64_t study = 0;           ///< the study created or changed
  int64_t count = 0;           ///< number of changed runs
  std::vector<OfRun> of_runs;  ///< the first kMadeShown of these runs
};
constexpr size_t kMadeShown = 100;

class Requests {
 public:
  explicit Requests(Connections& connections) : connections_(connections) {}

  /// Result of an earlier call; none if there was no such call or the request has no id. ALREADY_EXISTS if the same
  /// user used this id for a different request.
  absl::StatusOr<std::optional<Made>> Find(const Request& request);
  /// Records a call whose result, the state of a run at a step, already existed.
  absl::Status Note(const Request& request, int64_t study, const Made::OfRun& made);

 private:
  Connections& connections_;
};

// ---- inside a transaction

/// See Requests::Find().
absl::StatusOr<std::optional<Made>> SelectRequest(Connection& connection, const Request& request);

/// Records the result of a request, if it has an id; adds to its earlier result. ALREADY_EXISTS if the id belongs to a
/// different request.
absl::Status WriteRequest(Connection& connection, const Request& request, const Made& made);

}  // namespace gyrebox::store
