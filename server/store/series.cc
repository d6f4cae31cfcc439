// Observables and samples of runs.
#include "store/series.h"

#include <algorithm>

#include "gyrebox/v1/run_service.pb.h"
#include "store/sql/series.h"

namespace gyrebox::store {

static std::string ObservableBytes(const std::vector<v1::Observable>& observables) {
  v1::RunSamples list;
  list.mutable_observables()->Assign(observables.begin(), observables.end());
  return list.SerializeAsString();
}

absl::Status Series::SetObservables(int64_t study, std::span<const int64_t> numbers,
                                    std::span<const std::vector<v1::Observable>> observables) {
  return connections_.Write([&](Connection& connection) {
    absl::Status status;
    std::string written;  // neighbouring runs mostly share one list
    int64_t id = 0;
    for (size_t i = 0; i < numbers.size(); ++i) {
      if (const std::string bytes = ObservableBytes(observables[i]); id == 0 || bytes != written) {
        Statement insert = connection.Prepare(sql::kInsertObservables);
        if (!insert.Bind(Statement::AsBlob(bytes)).Next()) return insert.status();
        id = insert.Int(0);
        written = bytes;
      }
      status.Update(connection.Prepare(sql::kSetObservables).Bind(study, numbers[i], id).Run());
    }
    return status;
  });
}

absl::Status AppendSamples(Connection& connection, int64_t study, int64_t number, const SampleRows& samples,
                           const PackedSamples& packed) {
  if (samples.size() == 0) return absl::OkStatus();
  const double last_time = samples.row(samples.size() - 1)[1];
  return connection.Prepare(sql::kInsertSegment)
      .Bind(study, number, static_cast<int64_t>(samples.size()), last_time, Statement::AsBlob(packed.singles),
            Statement::AsBlob(packed.wide))
      .Run();
}

absl::StatusOr<std::vector<v1::Observable>> Series::GetObservables(int64_t study, int64_t number) {
  v1::RunSamples list;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectObservables);
    if (row.Bind(study, number).Next()) list.ParseFromString(row.Text(0));
    return row.status();
  });
  if (!status.ok()) return status;
  return std::vector<v1::Observable>(list.observables().begin(), list.observables().end());
}

static absl::Status Damaged(int64_t study, int64_t number) {
  return absl::DataLossError("samples of studies/" + std::to_string(study) + "/runs/" + std::to_string(number) +
                             " are damaged in the database");
}

/// Appends the rows of a segment from sequence number `from` on, up to `limit` rows in all. False if it is damaged.
static bool AppendSegment(const Statement& segment, int64_t from, int limit, SampleRows* rows) {
  const int64_t first = segment.Int(0), count = segment.Int(1);
  const std::vector<double> numbers = Unpack({segment.Text(2), segment.Text(3)}, static_cast<size_t>(count));
  if (numbers.empty()) return false;
  rows->width = numbers.size() / static_cast<size_t>(count);
  const int64_t skipped = std::clamp<int64_t>(from - first, 0, count);
  const int64_t taken = std::min<int64_t>(count - skipped, limit - static_cast<int64_t>(rows->size()));
  if (taken <= 0) return true;
  if (rows->numbers.empty()) rows->first = first + skipped;
  const auto begin = numbers.begin() + skipped * static_cast<int64_t>(rows->width);
  rows->numbers.insert(rows->numbers.end(), begin, begin + taken * static_cast<int64_t>(rows->width));
  return true;
}

absl::StatusOr<SampleRows> Series::Read(int64_t study, int64_t number, int64_t from, int limit) {
  SampleRows rows;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement segments = connection.Prepare(sql::kSelectSegments);
    segments.Bind(study, number, from);
    while (static_cast<int>(rows.size()) < limit && segments.Next()) {
      if (!AppendSegment(segments, from, limit, &rows)) return Damaged(study, number);
    }
    return segments.status();
  });
  if (!status.ok()) return status;
  return rows;
}

absl::StatusOr<SampleRows> Series::ReadColumns(int64_t study, int64_t number, double time,
                                               std::span<const size_t> columns) {
  SampleRows rows;
  rows.width = columns.size();
  const auto status = connections_.Read([&](Connection& connection) {
    Statement segments = connection.Prepare(sql::kSelectLateSegments);
    segments.Bind(study, number, time);
    while (segments.Next()) {
      if (rows.numbers.empty()) rows.first = segments.Int(0);
      const auto numbers = UnpackColumns({segments.Text(2), ""}, static_cast<size_t>(segments.Int(1)), columns);
      if (numbers.empty()) return Damaged(study, number);
      rows.numbers.insert(rows.numbers.end(), numbers.begin(), numbers.end());
    }
    return segments.status();
  });
  if (!status.ok()) return status;
  return rows;
}

}  // namespace gyrebox::store
