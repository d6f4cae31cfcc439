/// What one reader of a study's runs is told next.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
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
  using Messages = std::vector<v1::WatchRunsResponse>;

  bool Follows(int64_t number) const;
  /// INVALID_ARGUMENT where the request names a run that the study has not.
  absl::Status CheckNumbers(const v1::Study& study) const;
  /// Samples of a run up to here are told, or were skipped.
  int64_t NextOf(int64_t number) const;
  void SetNext(int64_t number, int64_t sequence);
  /// Adds a run's new samples. False where the budget ends before the samples do.
  absl::StatusOr<bool> AddSamples(store::Store& store, const v1::Run& run, int64_t number, int64_t* budget,
                                  Messages* messages);

  const int64_t study_;
  const bool with_samples_;
  // There may be many streams of studies of many runs: a few bytes a run.
  std::vector<int32_t> followed_;     ///< sorted; empty: all
  std::vector<bool> at_end_;          ///< of each of followed_, whether it is at its end and told
  int32_t lowest_ = 1, highest_ = 0;  ///< numbers that the request names
  std::vector<int64_t> next_;  ///< sequence of the next sample, by number of the run; shorter where none was told
  std::vector<bool> named_;    ///< by number of the run: its observables were told
  std::string etag_;
  store::ChangeCursor cursor_;
  bool more_ = false;
  bool ended_ = false;
};

}  // namespace gyrebox::stream
