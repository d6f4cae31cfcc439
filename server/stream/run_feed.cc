#include "stream/run_feed.h"

#include <algorithm>

#include "store/sample_messages.h"

namespace gyrebox::stream {

constexpr int kRunsAtATime = 64;
constexpr int kSamplesPerMessage = 500;
/// Numbers read at a time, over all messages: half a megabyte.
constexpr int64_t kNumbersAtATime = 64 * 1024;

RunFeed::RunFeed(int64_t study, const v1::WatchRunsRequest& request)
    : study_(study),
      with_samples_(request.with_samples()),
      followed_(request.runs().begin(), request.runs().end()),
      open_(followed_) {
  for (const auto& [number, sequence] : request.start_sequences()) told_[number].next_sequence = sequence;
}

static bool IsAtItsEnd(const v1::Run& run) {
  return run.state() == v1::Run::STATE_FINISHED || run.state() == v1::Run::STATE_UNSTABLE ||
         run.state() == v1::Run::STATE_FAILED || run.state() == v1::Run::STATE_CANCELLED;
}

absl::StatusOr<std::vector<v1::WatchRunsResponse>> RunFeed::Next(store::Store& store, const StudyReader& read_study) {
  Messages messages;
  auto study = read_study(study_);
  if (!study.ok()) return study.status();
  const v1::RunCounts& counts = study->run_counts();
  if (!followed_.empty() && (*followed_.begin() < 1 || *followed_.rbegin() > counts.total_count())) {
    const int64_t wrong = *followed_.begin() < 1 ? *followed_.begin() : *followed_.rbegin();
    return absl::InvalidArgumentError("runs: " + std::to_string(wrong) + " is no run of " + study->name() +
                                      "; its runs are 1 to " + std::to_string(counts.total_count()));
  }
  const bool all_ended = counts.queued_count() + counts.running_count() + counts.paused_count() == 0;
  if (study->etag() != etag_) {
    etag_ = study->etag();
    *messages.emplace_back().mutable_study() = *std::move(study);
  }
  const auto changed = store.ListChangedRuns(study_, cursor_, kRunsAtATime);
  if (!changed.ok()) return changed.status();
  more_ = changed->runs.size() == kRunsAtATime;
  int64_t budget = kNumbersAtATime;
  for (size_t i = 0; i < changed->runs.size(); ++i) {
    const v1::Run& run = changed->runs[i];
    const int64_t number = changed->cursors[i].number;
    if (Follows(number)) {
      const auto complete = with_samples_ ? AddSamples(store, run, number, &budget, &messages) : true;
      if (!complete.ok()) return complete.status();
      if (!*complete) {
        more_ = true;
        return messages;
      }
      *messages.emplace_back().mutable_run() = run;
      if (IsAtItsEnd(run)) open_.erase(number);
    }
    cursor_ = changed->cursors[i];
  }
  ended_ = !more_ && (followed_.empty() ? all_ended : open_.empty());
  return messages;
}

absl::StatusOr<int64_t> RunFeed::CountWaiting(store::Store& store) const {
  int64_t samples = 0;
  for (store::ChangeCursor after = cursor_; with_samples_;) {
    const auto changed = store.ListChangedRuns(study_, after, kRunsAtATime);
    if (!changed.ok()) return changed.status();
    if (changed->runs.empty()) break;
    for (size_t i = 0; i < changed->runs.size(); ++i) {
      const int64_t number = changed->cursors[i].number;
      const auto told = told_.find(number);
      if (Follows(number))
        samples += std::max<int64_t>(
            0, changed->runs[i].sample_count() - (told == told_.end() ? 0 : told->second.next_sequence));
    }
    after = changed->cursors.back();
  }
  return samples;
}

absl::StatusOr<bool> RunFeed::AddSamples(store::Store& store, const v1::Run& run, int64_t number, int64_t* budget,
                                         Messages* messages) {
  Told& told = told_[number];
  while (told.next_sequence < run.sample_count()) {
    if (*budget <= 0) return false;
    const auto rows = store.ReadSamples(study_, number, told.next_sequence, kSamplesPerMessage);
    if (!rows.ok()) return rows.status();
    if (rows->size() == 0) return true;
    v1::RunSamples& samples = *messages->emplace_back().mutable_samples();
    samples.set_run(run.name());
    if (!told.observables) {
      const auto observables = store.GetObservables(study_, number);
      if (!observables.ok()) return observables.status();
      samples.mutable_observables()->Assign(observables->begin(), observables->end());
      told.observables = true;
    }
    store::AddSampleMessages(*rows, samples.mutable_samples());
    told.next_sequence = rows->first + static_cast<int64_t>(rows->size());
    *budget -= static_cast<int64_t>(rows->numbers.size());
  }
  return true;
}

}  // namespace gyrebox::stream
