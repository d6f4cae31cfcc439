#include "stream/run_feed.h"

#include <algorithm>

#include "store/sample_messages.h"
#include "study/return_if_error.h"
#include "study/validation/check_size.h"

namespace gyrebox::stream {

constexpr int kRunsAtATime = 64;
constexpr size_t kSamplesPerMessage = 500;
/// Max numbers in the samples of one message.
constexpr size_t kNumbersPerMessage = 64 * 1024;
/// Numbers read at a time, over all messages: half a megabyte.
constexpr int64_t kNumbersAtATime = 64 * 1024;

RunFeed::RunFeed(int64_t study, const v1::WatchRunsRequest& request)
    : study_(study), with_samples_(request.with_samples()), followed_(request.runs().begin(), request.runs().end()) {
  std::sort(followed_.begin(), followed_.end());
  followed_.erase(std::unique(followed_.begin(), followed_.end()), followed_.end());
  followed_.shrink_to_fit();
  at_end_.resize(followed_.size());
  if (!followed_.empty()) {
    lowest_ = std::min(lowest_, followed_.front());
    highest_ = followed_.back();
  }
  for (const auto& [number, sequence] : request.start_sequences()) {
    lowest_ = std::min(lowest_, number);
    highest_ = std::max(highest_, number);
  }
  // Next() rejects numbers that no study can have; until then they take no memory.
  if (lowest_ < 1 || highest_ > study::kMaxRuns) return;
  for (const auto& [number, sequence] : request.start_sequences()) SetNext(number, sequence);
}

bool RunFeed::Follows(int64_t number) const {
  return followed_.empty() || std::binary_search(followed_.begin(), followed_.end(), number);
}

int64_t RunFeed::NextOf(int64_t number) const {
  const auto place = static_cast<size_t>(number);
  return place < next_.size() ? next_[place] : 0;
}

void RunFeed::SetNext(int64_t number, int64_t sequence) {
  const auto place = static_cast<size_t>(number);
  if (place >= next_.size()) next_.resize(place + 1);
  next_[place] = sequence;
}

absl::Status RunFeed::CheckNumbers(const v1::Study& study) const {
  const int32_t count = study.run_counts().total_count();
  if (lowest_ >= 1 && highest_ <= count) return absl::OkStatus();
  return absl::InvalidArgumentError("runs, start_sequences: " + std::to_string(lowest_ < 1 ? lowest_ : highest_) +
                                    " is no run of " + study.name() + "; its runs are 1 to " + std::to_string(count));
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
  GYREBOX_RETURN_IF_ERROR(CheckNumbers(*study));
  const bool all_ended = counts.queued_count() + counts.running_count() + counts.paused_count() == 0;
  if (study->etag() != etag_) {
    etag_ = study->etag();
    *messages.emplace_back().mutable_study() = *std::move(study);
  }
  const auto changed = store.runs().ListChanged(study_, cursor_, kRunsAtATime);
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
      if (IsAtItsEnd(run) && !followed_.empty()) {
        at_end_[std::lower_bound(followed_.begin(), followed_.end(), number) - followed_.begin()] = true;
      }
    }
    cursor_ = changed->cursors[i];
  }
  ended_ =
      !more_ && (followed_.empty() ? all_ended : std::find(at_end_.begin(), at_end_.end(), false) == at_end_.end());
  return messages;
}

absl::StatusOr<int64_t> RunFeed::CountWaiting(store::Store& store) const {
  int64_t samples = 0;
  for (store::ChangeCursor after = cursor_; with_samples_;) {
    const auto changed = store.runs().ListChanged(study_, after, kRunsAtATime);
    if (!changed.ok()) return changed.status();
    if (changed->runs.empty()) break;
    for (size_t i = 0; i < changed->runs.size(); ++i) {
      const int64_t number = changed->cursors[i].number;
      if (Follows(number)) samples += std::max<int64_t>(0, changed->runs[i].sample_count() - NextOf(number));
    }
    after = changed->cursors.back();
  }
  return samples;
}

/// Samples of these observables that fit in one message.
static int SamplesThatFit(const std::vector<v1::Observable>& observables) {
  size_t width = store::kRowHead;
  for (const auto& observable : observables) width += observable.width();
  return static_cast<int>(std::clamp<size_t>(kNumbersPerMessage / width, 1, kSamplesPerMessage));
}

absl::StatusOr<bool> RunFeed::AddSamples(store::Store& store, const v1::Run& run, int64_t number, int64_t* budget,
                                         Messages* messages) {
  while (NextOf(number) < run.sample_count()) {
    if (*budget <= 0) return false;
    const auto observables = store.series().GetObservables(study_, number);
    if (!observables.ok()) return observables.status();
    const auto rows = store.series().Read(study_, number, NextOf(number), SamplesThatFit(*observables));
    if (!rows.ok()) return rows.status();
    if (rows->size() == 0) return true;
    v1::RunSamples& samples = *messages->emplace_back().mutable_samples();
    samples.set_run(run.name());
    if (const auto place = static_cast<size_t>(number); place >= named_.size() || !named_[place]) {
      samples.mutable_observables()->Assign(observables->begin(), observables->end());
      named_.resize(std::max(named_.size(), place + 1));
      named_[place] = true;
    }
    store::AddSampleMessages(*rows, samples.mutable_samples());
    SetNext(number, rows->first + static_cast<int64_t>(rows->size()));
    *budget -= static_cast<int64_t>(rows->numbers.size());
  }
  return true;
}

}  // namespace gyrebox::stream
