#include "executor/steered_run.h"

#include <google/protobuf/util/time_util.h>

#include <algorithm>
#include <cmath>
#include <tuple>
#include <utility>

#include "executor/steer_rules.h"
#include "schema/number_text.h"
#include "store/names.h"
#include "study/schedule.h"
#include "study/steering.h"

namespace gyrebox::executor {

constexpr int64_t kMaxSteps = 1'000'000'000'000;

SteeredRun::SteeredRun(SteerJob& job, store::Store& store, const BatchManager& batches, v1::Run run,
                       study::SteeredCourse course)
    : job_(job),
      store_(store),
      request_(job.request()),
      run_(std::move(run)),
      number_(NumberOf(run_)),
      course_(std::move(course)) {
  std::tie(on_, index_) = batches.Find(request_.study, number_);
}

static bool IsFull(v1::Adjustment::Kind kind, int64_t entries) {
  const bool ends = kind == v1::Adjustment::KIND_RESUME || kind == v1::Adjustment::KIND_FINISH;
  return entries >= (ends ? 2 : 1) * kMaxEntries;
}

void SteeredRun::Prepare(Steered* result) {
  if (!request_.etag.empty() && request_.etag != run_.etag()) {
    const auto journal = store_.journals().Get(request_.study, number_);
    return result->status.Update(journal.ok() ? ChangedSince(run_, request_.etag, *journal) : journal.status());
  }
  if (!Fits(request_.kind, run_)) return result->status.Update(WrongState(request_.kind, run_));
  if (const int64_t entries = std::stoll(run_.etag()); IsFull(request_.kind, entries)) {
    return result->status.Update(absl::FailedPreconditionError(
        "the journal of " + run_.name() + " has " + std::to_string(entries) +
        " entries, and takes no more of this kind; a study that starts from a saved state of the run has a new one"));
  }
  // After an interruption a run may be behind its furthest step, or behind the step of an entry. Readers have seen
  // its data up to there, so the replay must reproduce it; a later entry must not take effect earlier.
  const auto furthest = store_.runs().ReachedStep(request_.study, number_);
  if (!furthest.ok()) return result->status.Update(furthest.status());
  course_.Reach(on_ != nullptr ? std::max(*furthest, on_->batch.step(index_)) : *furthest);
  const int64_t reached = course_.reached();
  entry_.set_user(request_.user);
  *entry_.mutable_create_time() = google::protobuf::util::TimeUtil::GetCurrentTime();
  entry_.set_kind(request_.kind);
  entry_.set_reached_step(reached);
  entry_.set_step(reached);
  if (request_.kind == v1::Adjustment::KIND_CHANGE) PrepareChange(result);
  if (request_.kind == v1::Adjustment::KIND_FINISH) entry_.set_total_steps(std::max<int64_t>(1, reached));
  if (request_.kind == v1::Adjustment::KIND_EXTEND) PrepareExtend(result);
  if (request_.kind == v1::Adjustment::KIND_WITHDRAW) PrepareWithdrawal(result);
  entry_.set_time(static_cast<double>(entry_.step()) * course_.time_step());
  entry_.set_name(run_.name() + "/adjustments/" + std::to_string(course_.length() + 1));
}

void SteeredRun::Follow() {
  if (on_ == nullptr) return;
  if (request_.kind == v1::Adjustment::KIND_PAUSE) on_->batch.Evict(index_, v1::Run::STATE_PAUSED, entry_);
  if (request_.kind == v1::Adjustment::KIND_WITHDRAW) on_->batch.Evict(index_, v1::Run::STATE_QUEUED, entry_);
  if (request_.kind == v1::Adjustment::KIND_CHANGE) {
    on_->batch.Adjust(index_, study::ToAdjustment(study::ToReplayed(entry_)));
  }
  if (entry_.total_steps() > 0) on_->batch.EndAt(index_, entry_.total_steps());
}

const study::SteeredCourse& SteeredRun::Followed() {
  course_.Add(entry_);
  return course_;
}

int64_t SteeredRun::StepsIn(double time) const { return std::llround(time / course_.time_step()); }

static void Fault(const char* field, const std::string& what, Steered* result) {
  v1::FieldViolation& fault = result->faults.emplace_back();
  fault.set_field(field);
  fault.set_description(what);
}

std::string PastText(const std::string& run, double time, int64_t step, double time_step) {
  return schema::NumberText(time) + " tau has passed: " + run + " is at step " + std::to_string(step) + ", " +
         schema::NumberText(static_cast<double>(step) * time_step, 6) + " tau; give a later time, or none for now";
}

void SteeredRun::PrepareChange(Steered* result) {
  const double end = static_cast<double>(run_.total_steps()) * course_.time_step();
  if (request_.time) {
    if (!(*request_.time >= 0 && *request_.time < end)) {
      return Fault("time",
                   schema::NumberText(*request_.time) + " tau is not within the run; at least 0 and below " +
                       schema::NumberText(end) + " tau",
                   result);
    }
    if (StepsIn(*request_.time) < entry_.step()) {
      return Fault("time", PastText(run_.name(), *request_.time, entry_.step(), course_.time_step()), result);
    }
    entry_.set_step(StepsIn(*request_.time));
  }
  if (request_.ramp_time > 0) entry_.set_ramp_steps(std::max<int64_t>(1, StepsIn(request_.ramp_time)));
  const study::RequestedAdjustment asked = job_.Ask(course_, entry_.step(), entry_.ramp_steps());
  for (const auto& fault : asked.faults) result->faults.push_back(fault);
  *entry_.mutable_change() = asked.change.change();
  *entry_.mutable_before() = asked.before;
  entry_.set_warning(asked.warning);
}

void SteeredRun::PrepareWithdrawal(Steered* result) {
  const int64_t entry = request_.withdrawn_entry;
  const std::string name = run_.name() + "/adjustments/" + std::to_string(entry);
  if (entry < 1 || entry > course_.length()) {
    return result->status.Update(
        absl::NotFoundError("there is no entry " + name + "; gyrebox journal lists those of the run"));
  }
  if (!course_.IsPlanned(entry)) {
    return result->status.Update(absl::FailedPreconditionError(
        name + " cannot be withdrawn: only a change that has not taken effect can, once; the run is at step " +
        std::to_string(course_.reached()) + ". To undo a change that took effect, adjust the run again"));
  }
  entry_.set_withdrawn_entry(entry);
}

void SteeredRun::PrepareExtend(Steered* result) {
  const int64_t more = StepsIn(request_.more_time);
  if (more < 1 || run_.total_steps() + more > kMaxSteps) {
    return Fault("time",
                 schema::NumberText(request_.more_time) + " tau is no length to add; at least the time step of " +
                     schema::NumberText(course_.time_step()) + " tau, and at most " +
                     schema::NumberText(static_cast<double>(kMaxSteps)) + " steps in all",
                 result);
  }
  entry_.set_total_steps(run_.total_steps() + more);
}

}  // namespace gyrebox::executor
