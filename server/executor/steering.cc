#include <google/protobuf/util/time_util.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <cmath>

#include "executor/steer_rules.h"
#include "executor/steering.h"
#include "schema/adjustment_text.h"
#include "schema/number_text.h"
#include "store/names.h"
#include "study/schedule.h"
#include "study/steering.h"

namespace gyrebox::executor {

constexpr double kMaxTime = 1e9;
constexpr int64_t kMaxSteps = 1'000'000'000'000;

constexpr size_t kMaxCourses = 1000;
constexpr int kRunsRead = 1000;
constexpr int64_t kMaxRunsOfASlice = 2000;

std::optional<study::SteeredCourse> CourseBook::Find(int64_t study, int64_t run) const {
  std::lock_guard lock(mutex_);
  const auto found = courses_.find({study, run});
  return found == courses_.end() ? std::nullopt : std::optional(found->second);
}

void CourseBook::Keep(int64_t study, int64_t run, const study::SteeredCourse& course) {
  std::lock_guard lock(mutex_);
  if (courses_.size() >= kMaxCourses) courses_.clear();
  courses_.insert_or_assign({study, run}, course);
}

static bool IsFull(v1::Adjustment::Kind kind, int64_t entries) {
  const bool ends = kind == v1::Adjustment::KIND_RESUME || kind == v1::Adjustment::KIND_FINISH;
  return entries >= (ends ? 2 : 1) * kMaxEntries;
}

/// One run and its adjustment.
class OneRun {
 public:
  OneRun(SteerJob& job, store::Store& store, const BatchManager& batches, v1::Run run, study::SteeredCourse course)
      : job_(job),
        store_(store),
        request_(job.request_),
        run_(std::move(run)),
        number_(NumberOf(run_)),
        course_(std::move(course)) {
    std::tie(on_, index_) = batches.Find(request_.study, number_);
  }

  const v1::Run& run() const { return run_; }
  int64_t number() const { return number_; }

  /// Checks the request against the run and fills the journal entry.
  void Prepare(Steered* result) {
    if (!request_.etag.empty() && request_.etag != run_.etag()) {
      const auto journal = store_.GetJournal(request_.study, number_);
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
    const auto furthest = store_.ReachedStep(request_.study, number_);
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
    entry_.set_time(static_cast<double>(entry_.step()) * course_.time_step());
    entry_.set_name(run_.name() + "/adjustments/" + std::to_string(course_.length() + 1));
  }

  /// Whether the batch records the entry, together with the checkpoint at which the run leaves the device.
  bool LeavesDevice() const { return on_ != nullptr && request_.kind == v1::Adjustment::KIND_PAUSE; }

  store::JournalWrite ToWrite() const { return {number_, entry_, run_.state()}; }
  const v1::Adjustment& entry() const { return entry_; }
  ActiveBatch* on() const { return on_; }

  /// Applies the entry to the batch.
  void Follow() {
    if (on_ == nullptr) return;
    if (request_.kind == v1::Adjustment::KIND_PAUSE) on_->batch.Evict(index_, v1::Run::STATE_PAUSED, entry_);
    if (request_.kind == v1::Adjustment::KIND_CHANGE) {
      v1::ReplayedAdjustment change;
      change.set_step(entry_.step());
      change.set_ramp_steps(entry_.ramp_steps());
      *change.mutable_change() = entry_.change();
      on_->batch.Adjust(index_, study::ToAdjustment(change));
    }
    if (entry_.total_steps() > 0) on_->batch.EndAt(index_, entry_.total_steps());
  }

  /// Adds the entry to the course and returns it.
  const study::SteeredCourse& Followed() {
    course_.Add(entry_);
    return course_;
  }

 private:
  int64_t StepsIn(double time) const { return std::llround(time / course_.time_step()); }

  static void Fault(const char* field, const std::string& what, Steered* result) {
    v1::FieldViolation& fault = result->faults.emplace_back();
    fault.set_field(field);
    fault.set_description(what);
  }

  void PrepareChange(Steered* result) {
    const double end = static_cast<double>(run_.total_steps()) * course_.time_step();
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
    const study::RequestedAdjustment asked = job_.Ask(course_, entry_.step(), entry_.ramp_steps());
    for (const auto& fault : asked.faults) result->faults.push_back(fault);
    *entry_.mutable_change() = asked.change.change();
    entry_.set_warning(asked.warning);
  }

  void PrepareExtend(Steered* result) {
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

  SteerJob& job_;
  store::Store& store_;
  const SteerRequest& request_;
  v1::Run run_;
  int64_t number_;
  study::SteeredCourse course_;
  ActiveBatch* on_ = nullptr;
  size_t index_ = 0;
  v1::Adjustment entry_;
};

static void CheckTimes(const SteerRequest& request, std::vector<v1::FieldViolation>* faults) {
  const auto fault = [&](const char* field, const std::string& what) {
    faults->emplace_back().set_field(field);
    faults->back().set_description(what);
  };
  if (request.kind == v1::Adjustment::KIND_CHANGE && request.changes.empty()) {
    fault("changes", "is missing; give at least one field and its new value");
  }
  if (!(request.ramp_time >= 0 && request.ramp_time <= kMaxTime)) {
    fault("ramp_time",
          schema::NumberText(request.ramp_time) + " is no time for a ramp; at least 0 and at most 1e9 tau");
  }
  if (request.kind == v1::Adjustment::KIND_EXTEND && !(request.more_time > 0 && request.more_time <= kMaxTime)) {
    fault("time", schema::NumberText(request.more_time) + " is no time to add; over 0 and at most 1e9 tau");
  }
}

static void Tell(BatchManager& batches, RateMeter& rate, const SteerRequest& request, std::vector<OneRun>& runs) {
  std::vector<ActiveBatch*> touched;
  for (OneRun& run : runs) {
    run.Follow();
    if (run.on() != nullptr && (touched.empty() || touched.back() != run.on())) touched.push_back(run.on());
  }
  for (ActiveBatch* on : touched) {
    if (request.kind == v1::Adjustment::KIND_FINISH && on->batch.initialized()) on->batch.Advance(0, rate);
    if (request.kind == v1::Adjustment::KIND_FINISH || request.kind == v1::Adjustment::KIND_PAUSE) {
      batches.Record(*on, /*checkpoint=*/false);
    }
  }
}

study::RequestedAdjustment SteerJob::Ask(const Course& course, int64_t step, int64_t ramp_steps) {
  if (!course.HasKey()) return course.Ask(step, ramp_steps, request_.changes);
  const auto [answer, is_new] = answers_.try_emplace({course.KeyAt(step), ramp_steps});
  if (is_new) answer->second = course.Ask(step, ramp_steps, request_.changes);
  return answer->second;
}

absl::StatusOr<study::SteeredCourse> SteerJob::CourseOf(store::Store& store, const v1::Run& run) {
  const int64_t number = NumberOf(run), length = std::stoll(run.etag());
  const auto known = courses_.find(number);
  Course course = known != courses_.end() ? known->second : Course(points_->At(run));
  if (course.length() == length) return course;
  const auto journal = store.GetJournal(request_.study, number, course.length());
  if (!journal.ok()) return journal.status();
  for (const v1::Adjustment& entry : *journal) course.Add(entry);
  return course;
}

bool SteerJob::WasDone(store::Store& store) {
  const auto earlier = store.FindRequest(request_.once);
  result_.status = earlier.status();
  if (!earlier.ok() || !earlier->has_value()) return !earlier.ok();
  auto entries = store.GetEntries(**earlier);
  result_.status = entries.status();
  if (entries.ok()) result_.entries = *std::move(entries);
  result_.count = (*earlier)->count;
  return answered_ = true;
}

void SteerJob::Prepare(store::Store& store, CourseBook& book) {
  CheckTimes(request_, &result_.faults);
  if (!fine() || WasDone(store)) return;
  const auto study = store.GetStudy(request_.study);
  result_.status = study.status();
  if (!fine()) return;
  if (request_.kind == v1::Adjustment::KIND_EXTEND && study->state() == v1::Study::STATE_CANCELLED) {
    result_.status = absl::FailedPreconditionError(study->name() + " is CANCELLED; none of its runs can go on, but a " +
                                                   "study can start from one that ran to its end");
    return;
  }
  points_.emplace(study->spec());
  if (request_.run == 0) return PrepareStudy(store);
  const auto run = store.GetRun(request_.study, request_.run);
  result_.status = run.status();
  if (!fine()) return;
  if (auto kept = book.Find(request_.study, request_.run)) courses_.emplace(request_.run, *kept);
  auto course = CourseOf(store, *run);
  result_.status = course.status();
  if (fine()) courses_.insert_or_assign(request_.run, *std::move(course));
}

void SteerJob::PrepareStudy(store::Store& store) {
  int64_t count = 0, above = 0;
  for (bool more = true; more;) {
    const auto runs = store.ListRuns(request_.study, above, kRunsRead);
    result_.status = runs.status();
    if (!fine()) return;
    more = runs->size() == kRunsRead;
    if (runs->empty()) break;
    for (const v1::Run& run : *runs) {
      if (run.etag() != "0" && Fits(request_.kind, run)) courses_.emplace(NumberOf(run), Course(points_->At(run)));
    }
    const int64_t last = NumberOf(runs->back());
    result_.status = store.ReadJournals(request_.study, above + 1, last, [&](int64_t number, const auto& entry) {
      if (const auto course = courses_.find(number); course != courses_.end()) course->second.Add(entry);
    });
    above = last;
    for (const v1::Run& run : *runs) {
      if (!fine()) return;
      if (!Fits(request_.kind, run)) continue;
      ++count;
      if (request_.kind != v1::Adjustment::KIND_CHANGE) continue;
      auto course = CourseOf(store, run);
      result_.status = course.status();
      if (!fine()) return;
      course->Reach(run.step());
      const auto steps_in = [&](double time) { return std::llround(time / course->time_step()); };
      const int64_t step = request_.time ? std::max<int64_t>(course->reached(), steps_in(*request_.time)) : run.step();
      const int64_t ramp = request_.ramp_time > 0 ? std::max<int64_t>(1, steps_in(request_.ramp_time)) : 0;
      result_.faults = Ask(*course, step, ramp).faults;
    }
  }
  if (!fine() || count > 0) return;
  result_.status =
      absl::FailedPreconditionError("no run of studies/" + std::to_string(request_.study) + " can be " +
                                    schema::Participle(request_.kind) + " now; gyrebox show tells how they stand");
}

/// The runs of the next slice, in their current state.
std::vector<v1::Run> SteerJob::NextRuns(store::Store& store, BatchManager& batches) {
  const auto read = [&](int64_t number) {
    auto run = store.GetRun(request_.study, number);
    result_.status.Update(run.status());
    return run.value_or(v1::Run());
  };
  if (request_.run > 0) {
    batches.WaitForEnd(request_.study, request_.run);
    return {read(request_.run)};
  }
  auto runs = store.ListRuns(request_.study, last_, static_cast<int>(std::min(pacer_.steps(), kMaxRunsOfASlice)));
  result_.status.Update(runs.status());
  if (!runs.ok()) return {};
  for (v1::Run& run : *runs) {
    const bool under_way = run.state() == v1::Run::STATE_STARTING || run.state() == v1::Run::STATE_RUNNING;
    if (!under_way || batches.Find(request_.study, NumberOf(run)).first != nullptr) continue;
    // The run has left the device, but that is not stored yet.
    batches.WaitForEnd(request_.study, NumberOf(run));
    run = read(NumberOf(run));
  }
  return *std::move(runs);
}

bool SteerJob::GoOn(store::Store& store, BatchManager& batches, RateMeter& rate, CourseBook& book) {
  // The same call may have arrived twice before the first one was executed.
  if (last_ == 0 && WasDone(store)) return false;
  const auto begin = RateMeter::Clock::now();
  const auto found = NextRuns(store, batches);
  std::vector<OneRun> runs;
  for (const v1::Run& run : found) {
    if (!fine()) break;
    if (request_.run == 0 && !Fits(request_.kind, run)) continue;
    auto course = CourseOf(store, run);
    result_.status.Update(course.status());
    if (fine()) runs.emplace_back(*this, store, batches, run, *std::move(course)).Prepare(&result_);
  }
  std::vector<store::JournalWrite> writes;
  for (const OneRun& run : runs) {
    if (!run.LeavesDevice()) writes.push_back(run.ToWrite());
  }
  if (fine() && !writes.empty()) result_.status = store.WriteJournal(request_.study, writes, request_.once);
  if (!fine()) {
    BreakOff(result_.status);
    return false;
  }
  Tell(batches, rate, request_, runs);
  for (OneRun& run : runs) {
    if (result_.entries.size() < kMaxEntriesTold) result_.entries.push_back(run.entry());
    if (request_.run > 0 && !run.LeavesDevice()) book.Keep(request_.study, run.number(), run.Followed());
    courses_.erase(run.number());
  }
  result_.count += static_cast<int64_t>(runs.size());
  if (!found.empty()) last_ = NumberOf(found.back());
  pacer_.Took(static_cast<int64_t>(found.size()),
              std::chrono::duration<double>(RateMeter::Clock::now() - begin).count());
  if (request_.run == 0 && !found.empty()) return true;
  spdlog::info("studies/{}{}: {} {} {} runs", request_.study,
               request_.run > 0 ? "/runs/" + std::to_string(request_.run) : "", request_.user,
               schema::Participle(request_.kind), result_.count);
  return false;
}

void SteerJob::BreakOff(const absl::Status& why) {
  result_.status = why;
  if (result_.count == 0) return;
  std::string text(why.message());
  if (!result_.faults.empty()) text = result_.faults[0].field() + ": " + result_.faults[0].description();
  const auto code = why.ok() ? absl::StatusCode::kFailedPrecondition : why.code();
  result_.status = absl::Status(code, std::to_string(result_.count) + " runs were " +
                                          schema::Participle(request_.kind) + ", the others not: " + text);
  result_.faults.clear();
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
  v1::SavedState state;  // the end state is already kept
  state.set_name(run->name() + "/states/" + std::to_string(end->step));
  state.set_step(end->step);
  state.set_time(end->time);
  state.set_byte_count(static_cast<int64_t>(end->bytes.size()));
  return state;
}

}  // namespace gyrebox::executor
