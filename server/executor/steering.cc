#include "executor/steering.h"

#include <google/protobuf/util/time_util.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <cmath>

#include "executor/steer_rules.h"
#include "schema/number_text.h"
#include "store/names.h"
#include "study/schedule.h"
#include "study/steering.h"

namespace gyrebox::executor {
namespace {

constexpr double kMostTime = 1e9;
constexpr int64_t kMostSteps = 1'000'000'000'000;

/// One run, and what is to be done to it.
class OneRun {
 public:
  OneRun(store::Store& store, const Deck& deck, const SteerRequest& request, v1::Run run)
      : store_(store), request_(request), run_(std::move(run)), number_(NumberOf(run_)) {
    std::tie(on_, place_) = deck.Find(request.study, number_);
  }

  const v1::Run& run() const { return run_; }

  /// Looks at everything that may be wrong, and works the entry out.
  void Prepare(const v1::StudySpec& spec, Steered* result) {
    const auto journal =
        run_.etag() == "0" ? std::vector<v1::Adjustment>() : store_.GetJournal(request_.study, number_);
    if (!journal.ok()) return result->status.Update(journal.status());
    if (!request_.etag.empty() && request_.etag != run_.etag()) {
      return result->status.Update(ChangedSince(run_, request_.etag, *journal));
    }
    if (!Fits(request_.kind, run_)) return result->status.Update(WrongState(request_.kind, run_));
    const v1::StudySpec at = study::SpecOf(spec, run_, *journal);
    time_step_ = at.dynamics().time_step();
    // After a break a run may be behind where it was, or an entry found it: what readers saw of it comes again, and
    // what comes later in the journal holds later.
    const auto furthest = store_.ReachedStep(request_.study, number_);
    if (!furthest.ok()) return result->status.Update(furthest.status());
    int64_t reached = on_ != nullptr ? std::max(*furthest, on_->batch.step(place_)) : *furthest;
    for (const v1::Adjustment& entry : *journal) reached = std::max<int64_t>(reached, entry.reached_step());
    entry_.set_person(request_.person);
    *entry_.mutable_create_time() = google::protobuf::util::TimeUtil::GetCurrentTime();
    entry_.set_kind(request_.kind);
    entry_.set_reached_step(reached);
    entry_.set_step(reached);
    if (request_.kind == v1::Adjustment::KIND_CHANGE) PrepareChange(at, result);
    if (request_.kind == v1::Adjustment::KIND_FINISH) entry_.set_total_steps(std::max<int64_t>(1, reached));
    if (request_.kind == v1::Adjustment::KIND_EXTEND) PrepareExtend(result);
    entry_.set_time(static_cast<double>(entry_.step()) * time_step_);
    const int64_t index = static_cast<int64_t>(journal->size()) + 1;
    entry_.set_name(run_.name() + "/adjustments/" + std::to_string(index));
  }

  /// Whether the device writes the entry down with the state that the run leaves.
  bool LeavesDevice() const { return on_ != nullptr && request_.kind == v1::Adjustment::KIND_PAUSE; }

  store::JournalWrite ToWrite() const { return {number_, entry_, run_.state()}; }
  const v1::Adjustment& entry() const { return entry_; }
  Boarded* on() const { return on_; }

  /// Tells the device.
  void Follow() {
    if (on_ == nullptr) return;
    if (request_.kind == v1::Adjustment::KIND_PAUSE) on_->batch.Leave(place_, v1::Run::STATE_PAUSED, entry_);
    if (request_.kind == v1::Adjustment::KIND_CHANGE) {
      v1::SteeredChange change;
      change.set_step(entry_.step());
      change.set_ramp_steps(entry_.ramp_steps());
      *change.mutable_change() = entry_.change();
      on_->batch.Adjust(place_, study::ToAdjustment(change));
    }
    if (entry_.total_steps() > 0) on_->batch.EndAt(place_, entry_.total_steps());
  }

 private:
  int64_t StepsIn(double time) const { return std::llround(time / time_step_); }

  static void Fault(const char* field, const std::string& what, Steered* result) {
    v1::FieldViolation& fault = result->faults.emplace_back();
    fault.set_field(field);
    fault.set_description(what);
  }

  void PrepareChange(const v1::StudySpec& at, Steered* result) {
    const double end = static_cast<double>(run_.total_steps()) * time_step_;
    if (request_.time) {
      if (!(*request_.time >= 0 && *request_.time < end)) {
        return Fault("time",
                     schema::NumberText(*request_.time) + " tau is not within the run; at least 0 and below " +
                         schema::NumberText(end) + " tau",
                     result);
      }
      entry_.set_step(std::max(entry_.step(), StepsIn(*request_.time)));
    }
    if (request_.ramp_time > 0) entry_.set_ramp_steps(std::max<int64_t>(1, StepsIn(request_.ramp_time)));
    study::AskedChange asked = study::ToSteeredChange(at, entry_.step(), entry_.ramp_steps(), request_.changes);
    for (auto& fault : asked.faults) result->faults.push_back(std::move(fault));
    *entry_.mutable_change() = std::move(*asked.change.mutable_change());
  }

  void PrepareExtend(Steered* result) {
    const int64_t more = StepsIn(request_.more_time);
    if (more < 1 || run_.total_steps() + more > kMostSteps) {
      return Fault("time",
                   schema::NumberText(request_.more_time) + " tau is no length to add; at least the time step of " +
                       schema::NumberText(time_step_) + " tau, and at most " +
                       schema::NumberText(static_cast<double>(kMostSteps)) + " steps in all",
                   result);
    }
    entry_.set_total_steps(run_.total_steps() + more);
  }

  store::Store& store_;
  const SteerRequest& request_;
  const v1::Run run_;
  const int64_t number_;
  Boarded* on_ = nullptr;
  size_t place_ = 0;
  double time_step_ = 1;
  v1::Adjustment entry_;
};

/// The runs that a request is for, those of a whole study that it fits only.
absl::StatusOr<std::vector<v1::Run>> RunsOf(store::Store& store, const SteerRequest& request) {
  if (request.run > 0) {
    auto run = store.GetRun(request.study, request.run);
    if (!run.ok()) return run.status();
    return std::vector{*std::move(run)};
  }
  auto runs = store.ListOpenRuns(request.study);
  if (!runs.ok()) return runs.status();
  std::erase_if(*runs, [&](const v1::Run& run) { return !Fits(request.kind, run); });
  if (!runs->empty()) return runs;
  return absl::FailedPreconditionError("no run of studies/" + std::to_string(request.study) + " can be " +
                                       Done(request.kind) + " now; gyrebox show tells how they stand");
}

void CheckTimes(const SteerRequest& request, std::vector<v1::FieldViolation>* faults) {
  const auto fault = [&](const char* field, const std::string& what) {
    faults->emplace_back().set_field(field);
    faults->back().set_description(what);
  };
  if (request.kind == v1::Adjustment::KIND_CHANGE && request.changes.empty()) {
    fault("changes", "is missing; give at least one field and its new value");
  }
  if (!(request.ramp_time >= 0 && request.ramp_time <= kMostTime)) {
    fault("ramp_time",
          schema::NumberText(request.ramp_time) + " is no time for a ramp; at least 0 and at most 1e9 tau");
  }
  if (request.kind == v1::Adjustment::KIND_EXTEND && !(request.more_time > 0 && request.more_time <= kMostTime)) {
    fault("time", schema::NumberText(request.more_time) + " is no time to add; over 0 and at most 1e9 tau");
  }
}

void Tell(Deck& deck, RateMeter& rate, const SteerRequest& request, std::vector<OneRun>& runs) {
  std::vector<Boarded*> touched;
  for (OneRun& run : runs) {
    run.Follow();
    if (run.on() != nullptr && (touched.empty() || touched.back() != run.on())) touched.push_back(run.on());
  }
  for (Boarded* on : touched) {
    if (request.kind == v1::Adjustment::KIND_FINISH && on->batch.laid_out()) on->batch.Advance(0, rate);
    if (request.kind == v1::Adjustment::KIND_FINISH || request.kind == v1::Adjustment::KIND_PAUSE) {
      deck.Record(*on, /*checkpoint=*/false);
    }
  }
}

}  // namespace

Steered Steer(store::Store& store, Deck& deck, RateMeter& rate, const SteerRequest& request) {
  Steered result;
  CheckTimes(request, &result.faults);
  if (!result.faults.empty()) return result;
  if (const auto earlier = store.FindRequest(request.once); !earlier.ok() || earlier->has_value()) {
    const auto entries = earlier.ok() ? store.GetEntries(**earlier) : earlier.status();
    result.status = entries.status();
    if (entries.ok()) result.entries = *entries;
    return result;
  }
  // The study last: where it has grown by an axis in between, it is a study of these runs all the same.
  const auto found = RunsOf(store, request);
  const auto study = store.GetStudy(request.study);
  result.status = study.status();
  result.status.Update(found.status());
  if (!result.status.ok()) return result;
  if (request.kind == v1::Adjustment::KIND_EXTEND && study->state() == v1::Study::STATE_CANCELLED) {
    result.status = absl::FailedPreconditionError(study->name() + " is CANCELLED; none of its runs can go on, but a " +
                                                  "study can start from one that ran to its end");
    return result;
  }
  std::vector<OneRun> runs;
  for (const v1::Run& run : *found) {
    runs.emplace_back(store, deck, request, run).Prepare(study->spec(), &result);
    if (!result.status.ok() || !result.faults.empty()) return result;
  }
  std::vector<store::JournalWrite> writes;
  for (const OneRun& run : runs) {
    if (!run.LeavesDevice()) writes.push_back(run.ToWrite());
  }
  if (!writes.empty()) result.status = store.WriteJournal(request.study, writes, request.once);
  if (!result.status.ok()) return result;
  Tell(deck, rate, request, runs);
  for (const OneRun& run : runs) result.entries.push_back(run.entry());
  spdlog::info("studies/{}{}: {} {} {} runs", request.study,
               request.run > 0 ? "/runs/" + std::to_string(request.run) : "", request.person, Done(request.kind),
               runs.size());
  return result;
}

absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once) {
  const auto run = store.GetRun(study, number);
  if (!run.ok()) return run.status();
  if (run->state() >= v1::Run::STATE_QUEUED && run->state() <= v1::Run::STATE_PAUSED) {
    return store.KeepCheckpoint(study, number, once);
  }
  if (run->state() != v1::Run::STATE_FINISHED) {
    return absl::FailedPreconditionError(run->name() + " is " + store::InWords(run->state()) +
                                         " and has no state to save; only a run under way has, or one that ran to its "
                                         "end");
  }
  const auto end = store.GetEndState(study, number);
  if (!end.ok()) return end.status();
  if (auto status = store.NoteRequest(once, study, {number, end->step}); !status.ok()) return status;
  v1::SavedState state;  // it is kept as it is
  state.set_name(run->name() + "/states/" + std::to_string(end->step));
  state.set_step(end->step);
  state.set_time(end->time);
  state.set_byte_count(static_cast<int64_t>(end->bytes.size()));
  return state;
}

}  // namespace gyrebox::executor
