#include "store/connections.h"

#include <algorithm>
#include <chrono>

#include "study/return_if_error.h"

namespace gyrebox::store {

constexpr int64_t kFirstSlice = 200;
constexpr int64_t kMaxRows = 5000;
/// Target duration of a slice; other writers should wait at most twice as long for one.
constexpr double kSliceSeconds = 0.01;

Connections::Connections(std::unique_ptr<Connection> writer, std::string path)
    : path_(std::move(path)), writer_(std::move(writer)) {}

absl::Status Connections::Write(const Work& work) {
  std::lock_guard lock(write_mutex_);
  Transaction transaction(*writer_, Transaction::Kind::kWrite);
  if (!transaction.status().ok()) return transaction.status();
  GYREBOX_RETURN_IF_ERROR(work(*writer_));
  return transaction.Commit();
}

absl::Status Connections::Read(const Work& work) {
  std::unique_ptr<Connection> reader;
  {
    std::lock_guard lock(readers_mutex_);
    if (!readers_.empty()) {
      reader = std::move(readers_.back());
      readers_.pop_back();
    }
  }
  if (reader == nullptr) {
    auto opened = Connection::Open(path_, Connection::Mode::kRead);
    if (!opened.ok()) return opened.status();
    reader = *std::move(opened);
  }
  absl::Status status;
  {
    Transaction snapshot(*reader, Transaction::Kind::kRead);
    status = snapshot.status().ok() ? work(*reader) : snapshot.status();
  }
  std::lock_guard lock(readers_mutex_);
  readers_.push_back(std::move(reader));
  return status;
}

bool Connections::TakesSlices(size_t rows) { return rows > static_cast<size_t>(kMaxRows); }

absl::Status Connections::WriteInSlices(const SlicedWork& work) {
  using Clock = std::chrono::steady_clock;
  for (int64_t rows = kFirstSlice;;) {
    Clock::time_point begin;
    int64_t done = 0;
    const auto status = Write([&](Connection& connection) {
      begin = Clock::now();
      const auto written = work(connection, rows);
      done = written.value_or(0);
      return written.status();
    });
    if (!status.ok()) return status;
    if (done < rows) return status;
    const double seconds = std::chrono::duration<double>(Clock::now() - begin).count();
    rows = static_cast<int64_t>(static_cast<double>(rows) * std::clamp(kSliceSeconds / seconds, 0.25, 4.0));
    rows = std::clamp<int64_t>(rows, 1, kMaxRows);
  }
}

absl::Status Connections::InsertInSlices(size_t count, const InsertOne& insert) {
  size_t next = 0;
  return WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    const size_t first = next;
    for (; next < std::min(count, first + static_cast<size_t>(most)); ++next) {
      GYREBOX_RETURN_IF_ERROR(insert(connection, next));
    }
    return static_cast<int64_t>(next - first);
  });
}

void Connections::Settle(int64_t bytes) {
  constexpr int64_t kMaxUnsettled = 4 << 20;
  std::lock_guard lock(settle_mutex_);
  unsettled_ += bytes;
  if (unsettled_ < kMaxUnsettled) return;
  unsettled_ = 0;
  if (settler_ == nullptr) {
    auto opened = Connection::Open(path_, Connection::Mode::kWrite);
    if (opened.ok()) settler_ = *std::move(opened);
  }
  // Pages that cannot be moved now stay in the log and are read from there.
  if (settler_ != nullptr) (void)settler_->Execute("PRAGMA wal_checkpoint(PASSIVE)");
}

}  // namespace gyrebox::store
