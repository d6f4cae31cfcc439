/// What one reader of a study's runs is told next.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "gyrebox/v1/run_service.pb.h"
#include "store/store.h"

namespace gyrebox::stream {

using StudyReader = std::function<absl::StatusOr<v1::Study>(int64_t study)>;

/// Reads what is new from the store, a little at a time, so that what it holds is bounded whatever the reader does.
/// Samples of a run come before the state that they lead to, without hole or repeat.
class RunFeed {
 public:
  RunFeed(int64_t study, const v1::WatchRunsRequest& request);

  /// The next messages; empty where nothing is new. Their sequence is not set.
  absl::StatusOr<std::vector<v1::WatchRunsResponse>> Next(store::Store& store, const StudyReader& read_study);

  /// Samples in the store that Next() has not told yet.
  absl::StatusOr<int64_t> CountWaiting(store::Store& store) const;

  /// Whether the last Next() stopped short of all there is.
  bool more() const { return more_; }
  /// Whether every run is at its end and told.
  bool ended() const { return ended_; }

 private:
  struct Told {
    int64_t next_sequence = 0;
    bool observables = false;
  };
  using Messages = std::vector<v1::WatchRunsResponse>;

  bool Follows(int64_t number) const { return followed_.empty() || followed_.contains(number); }
  /// Adds a run's new samples. False where the budget ends before the samples do.
  absl::StatusOr<bool> AddSamples(store::Store& store, const v1::Run& run, int64_t number, int64_t* budget,
                                  Messages* messages);

  const int64_t study_;
  const bool with_samples_;
  const std::set<int64_t> followed_;  ///< empty: all
  std::set<int64_t> open_;            ///< of followed_, those not at their end
  std::map<int64_t, Told> told_;
  std::string etag_;
  store::ChangeCursor cursor_;
  bool more_ = false;
  bool ended_ = false;
};

}  // namespace gyrebox::stream
