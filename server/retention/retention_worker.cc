#include "retention/retention_worker.h"

#include <google/protobuf/util/time_util.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>

#include "store/rows.h"
#include "study/return_if_error.h"

namespace gyrebox::retention {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::minutes kBetweenLooks{10};
/// Pause between two erasing transactions, so that waiting writers come first.
constexpr std::chrono::milliseconds kRest{5};
constexpr double kSecondsPerDay = 86'400;
/// An announced deletion time changes only if it is off by more than this.
constexpr int64_t kOffBy = 60'000;  // milliseconds

static bool IsWarned(const store::Deletable& study) { return study.delete_time != 0; }

RetentionWorker::RetentionWorker(store::Store& store, const Rules& rules, std::function<void(int64_t)> on_change)
    : store_(store), rules_(rules), on_change_(std::move(on_change)) {}

void RetentionWorker::Start() {
  thread_ = std::thread([this] { Loop(); });
}

void RetentionWorker::Wake() {
  std::lock_guard lock(mutex_);
  awake_ = true;
  changed_.notify_all();
}

void RetentionWorker::Stop() {
  {
    std::lock_guard lock(mutex_);
    stop_ = true;
    changed_.notify_all();
  }
  if (thread_.joinable()) thread_.join();
}

bool RetentionWorker::stopping() {
  std::lock_guard lock(mutex_);
  return stop_;
}

void RetentionWorker::Loop() {
  auto looked = Clock::now();
  auto next_look = looked;
  while (!stopping()) {
    if (const auto now = Clock::now(); now >= next_look) {
      const auto status = Look(store::NowMilliseconds(), std::chrono::duration<double>(now - looked).count());
      if (status.ok()) looked = now;
      if (!status.ok()) spdlog::warn("which studies are to go cannot be told now: {}", status.ToString());
      next_look = now + kBetweenLooks;
    }
    EraseAll();
    std::unique_lock lock(mutex_);
    changed_.wait_until(lock, next_look, [this] { return stop_ || awake_; });
    awake_ = false;
  }
}

void RetentionWorker::EraseAll() {
  while (!stopping()) {
    const auto more = store_.deletion().EraseSome();
    if (!more.ok()) spdlog::warn("what was deleted cannot be erased now: {}", more.status().ToString());
    if (!more.ok() || !*more) return;
    std::this_thread::sleep_for(kRest);
  }
}

int64_t RetentionWorker::DeleteTime(const store::Deletable& study, int64_t now, double seconds_run) const {
  const bool warned = IsWarned(study);
  const double stood = warned ? study.warned_seconds + seconds_run : 0;
  const auto time = now + static_cast<int64_t>(1000 * std::max(0.0, rules_.warn_days * kSecondsPerDay - stood));
  return warned && std::abs(time - study.delete_time) <= kOffBy ? study.delete_time : time;
}

absl::Status RetentionWorker::Look(int64_t now, double seconds_run) {
  const auto there = store_.deletion().ListDeletable();
  if (!there.ok()) return there.status();
  const auto due = WhatIsDue(*there, rules_, now);
  if (due.empty() && there->warned_count == 0) return absl::OkStatus();
  std::vector<store::Warning> warnings;
  for (const auto& [study, reason] : due) {
    warnings.push_back({study.study, DeleteTime(study, now, seconds_run), reason});
  }
  GYREBOX_RETURN_IF_ERROR(store_.deletion().SetWarnings(warnings, seconds_run));
  Tell(*there, warnings);
  DeleteWhatIsDue(due, seconds_run);
  return absl::OkStatus();
}

void RetentionWorker::Tell(const store::DeletableStudies& there, const std::vector<store::Warning>& warnings) {
  for (const store::Deletable& study : there.studies) {
    const auto warning = std::find_if(warnings.begin(), warnings.end(),
                                      [&](const store::Warning& one) { return one.study == study.study; });
    if (IsWarned(study) == (warning != warnings.end())) continue;
    if (IsWarned(study)) {
      spdlog::info("studies/{} of {} is to be kept after all", study.study, study.owner);
    } else {
      const auto time = google::protobuf::util::TimeUtil::MillisecondsToTimestamp(warning->delete_time);
      spdlog::warn("studies/{} of {} is to be deleted from {} on: {}; archive it to keep it", study.study, study.owner,
                   google::protobuf::util::TimeUtil::ToString(time), warning->reason);
    }
    on_change_(study.study);
  }
}

void RetentionWorker::DeleteWhatIsDue(const std::vector<Due>& due, double seconds_run) {
  for (const auto& [study, reason] : due) {
    if (!IsWarned(study) || study.warned_seconds + seconds_run < rules_.warn_days * kSecondsPerDay) continue;
    const auto status = store_.deletion().DeleteDue(study.study, rules_.warn_days * kSecondsPerDay);
    if (!status.ok()) {
      spdlog::info("studies/{} stays: {}", study.study, std::string(status.message()));
      continue;
    }
    spdlog::warn("studies/{} of {} was deleted: {}", study.study, study.owner, reason);
    on_change_(study.study);
  }
}

}  // namespace gyrebox::retention
