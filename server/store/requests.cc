// Calls that execute only once, even if they are repeated.
#include "store/requests.h"

#include <algorithm>
#include <cstring>
#include <span>

#include "store/rows.h"
#include "store/sql/requests.h"

namespace gyrebox::store {

static std::string ToBytes(std::span<const Made::OfRun> of_runs) {
  static_assert(sizeof(Made::OfRun) == 2 * sizeof(int64_t));
  return {reinterpret_cast<const char*>(of_runs.data()), of_runs.size_bytes()};
}

static std::vector<Made::OfRun> ToOfRuns(const std::string& bytes) {
  std::vector<Made::OfRun> of_runs(bytes.size() / sizeof(Made::OfRun));
  if (!of_runs.empty()) std::memcpy(of_runs.data(), bytes.data(), of_runs.size() * sizeof(Made::OfRun));
  return of_runs;
}

absl::StatusOr<std::optional<Made>> SelectRequest(Connection& connection, const Request& request) {
  if (request.id.empty()) return std::nullopt;
  Statement row = connection.Prepare(sql::kFindRequest);
  if (!row.Bind(request.user, request.method, request.id).Next()) {
    return row.status().ok() ? absl::StatusOr<std::optional<Made>>(std::nullopt) : row.status();
  }
  if (const std::string hash = row.Text(0); !hash.empty() && hash != request.hash) {
    return absl::AlreadyExistsError("request_id " + request.id + " was that of a call of " + request.user +
                                    " that asked for something else; give a new one");
  }
  return Made{row.Int(1), row.Int(2), ToOfRuns(row.Text(3))};
}

absl::Status WriteRequest(Connection& connection, const Request& request, const Made& made) {
  if (request.id.empty()) return absl::OkStatus();
  const auto earlier = SelectRequest(connection, request);
  if (!earlier.ok()) return earlier.status();
  const size_t shown = earlier->has_value() ? (*earlier)->of_runs.size() : 0;
  const size_t more = std::min(made.of_runs.size(), kMadeShown - std::min(shown, kMadeShown));
  const std::string bytes = ToBytes(std::span(made.of_runs).first(more));
  return connection.Prepare(sql::kWriteRequest)
      .Bind(request.user, request.method, request.id, Statement::AsBlob(request.hash), NowMilliseconds(), made.study,
            made.count, Statement::AsBlob(bytes))
      .Run();
}

absl::StatusOr<std::optional<Made>> Requests::Find(const Request& request) {
  if (request.id.empty()) return std::nullopt;
  absl::StatusOr<std::optional<Made>> found = std::nullopt;
  const auto status = connections_.Read([&](Connection& connection) {
    found = SelectRequest(connection, request);
    return found.status();
  });
  if (!status.ok()) return status;
  return found;
}

absl::Status Requests::Note(const Request& request, int64_t study, const Made::OfRun& made) {
  if (request.id.empty()) return absl::OkStatus();
  return connections_.Write([&](Connection& connection) {
    return WriteRequest(connection, request, {study, 1, {made}});
  });
}

}  // namespace gyrebox::store
