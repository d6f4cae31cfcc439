/// Supplies the next messages for one reader of a study's runs.
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

/// Reads what is new from the store in small portions, so that its memory is bounded whatever the reader does. Samples
/// of a run come before the state that they lead to, without gaps or repeats.
class RunFeed {
 public:
  RunFeed(int64_t study, const v1::WatchRunsRequest& request);

  /// The next messages; empty if nothing is new. Their sequence is not set.
  absl::StatusOr<std::vector<v1::WatchRunsResponse>> Next(store::Store& store, const StudyReader& read_study);

  /// Samples in the store that Next() has not returned yet.
  absl::StatusOr<int64_t> CountWaiting(store::Store& store) const;

  /// Whether the last Next() left something out.
  bool more() const { return more_; }
  /// Whether every run has ended and has been reported.
  bool ended() const { return ended_; }

 private:
  using Messages = std::vector<v1::WatchRunsResponse>;

  bool Follows(int64_t number) const;
  /// INVALID_ARGUMENT if the request names a run that the study does not have.
  absl::Status CheckNumbers(const v1::Study& study) const;
  /// Sequence of the next sample of a run: those before it were sent or skipped.
  int64_t NextOf(int64_t number) const;
  void SetNext(int64_t number, int64_t sequence);
  /// Adds a run's new samples. False if the budget runs out before the samples do.
  absl::StatusOr<bool> AddSamples(store::Store& store, const v1::Run& run, int64_t number, int64_t* budget,
                                  Messages* messages);

  const int64_t study_;
  const bool with_samples_;
  // Only a few bytes per run: there may be many streams, of studies with many runs.
  std::vector<int32_t> followed_;     ///< sorted; empty: all
  std::vector<bool> at_end_;          ///< for each of followed_: it has ended and has been reported
  int32_t lowest_ = 1, highest_ = 0;  ///< range of the numbers in the request
  std::vector<int64_t> next_;         ///< sequence of the next sample, by number of the run; shorter if none was sent
  std::vector<bool> named_;           ///< by number of the run: its observables were sent
  std::string etag_;
  store::ChangeCursor cursor_;
  bool more_ = false;
  bool ended_ = false;
};

}  // namespace gyrebox::stream
