#include "executor/steer_job.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "executor/steer_rules.h"
#include "executor/steered_run.h"
#include "schema/adjustment_text.h"
#include "store/names.h"

namespace gyrebox::executor {

constexpr int kRunsRead = 1000;
constexpr int64_t kMaxRunsOfASlice = 2000;

static void Tell(BatchManager& batches, RateMeter& rate, const SteerRequest& request, std::vector<SteeredRun>& runs) {
  std::vector<ActiveBatch*> touched;
  for (SteeredRun& run : runs) {
    run.Follow();
    if (run.on() != nullptr && (touched.empty() || touched.back() != run.on())) touched.push_back(run.on());
  }
  for (ActiveBatch* on : touched) {
    if (request.kind == v1::Adjustment::KIND_FINISH && on->batch.initialized()) on->batch.Advance(0, rate);
    if (request.kind == v1::Adjustment::KIND_FINISH || MakesLeave(request.kind)) {
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
  const auto journal = store.journals().Get(request_.study, number, course.length());
  if (!journal.ok()) return journal.status();
  for (const v1::Adjustment& entry : *journal) course.Add(entry);
  return course;
}

bool SteerJob::WasDone(store::Store& store) {
  const auto earlier = store.requests().Find(request_.once);
  result_.status = earlier.status();
  if (!earlier.ok() || !earlier->has_value()) return !earlier.ok();
  auto entries = store.journals().GetEntries(**earlier);
  result_.status = entries.status();
  if (entries.ok()) result_.entries = *std::move(entries);
  result_.count = (*earlier)->count;
  return answered_ = true;
}

void SteerJob::Prepare(store::Store& store, CourseBook& book) {
  CheckRequest(request_, &result_.faults);
  if (!fine() || WasDone(store)) return;
  const auto study = store.studies().Get(request_.study);
  result_.status = study.status();
  if (!fine()) return;
  if (request_.kind == v1::Adjustment::KIND_EXTEND && study->state() == v1::Study::STATE_CANCELLED) {
    result_.status = absl::FailedPreconditionError(study->name() + " is CANCELLED; start its cancelled runs again " +
                                                   "first: gyrebox restart");
    return;
  }
  points_.emplace(study->spec());
  if (request_.run == 0) return PrepareStudy(store);
  const auto run = store.runs().Get(request_.study, request_.run);
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
    const auto runs = store.runs().List(request_.study, above, kRunsRead);
    result_.status = runs.status();
    if (!fine()) return;
    more = runs->size() == kRunsRead;
    if (runs->empty()) break;
    for (const v1::Run& run : *runs) {
      if (run.etag() != "0" && Fits(request_.kind, run)) courses_.emplace(NumberOf(run), Course(points_->At(run)));
    }
    const int64_t last = NumberOf(runs->back());
    result_.status = store.journals().Visit(request_.study, above + 1, last, [&](int64_t number, const auto& entry) {
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
      const int64_t step = request_.time ? steps_in(*request_.time) : run.step();
      if (request_.time && step < course->reached()) {
        v1::FieldViolation& fault = result_.faults.emplace_back();
        fault.set_field("time");
        fault.set_description(PastText(run.name(), *request_.time, course->reached(), course->time_step()));
        return;
      }
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
    auto run = store.runs().Get(request_.study, number);
    result_.status.Update(run.status());
    return run.value_or(v1::Run());
  };
  if (request_.run > 0) {
    batches.WaitForEnd(request_.study, request_.run);
    return {read(request_.run)};
  }
  auto runs = store.runs().List(request_.study, last_, static_cast<int>(std::min(pacer_.steps(), kMaxRunsOfASlice)));
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
  std::vector<SteeredRun> runs;
  for (const v1::Run& run : found) {
    if (!fine()) break;
    if (request_.run == 0 && !Fits(request_.kind, run)) continue;
    auto course = CourseOf(store, run);
    result_.status.Update(course.status());
    if (fine()) runs.emplace_back(*this, store, batches, run, *std::move(course)).Prepare(&result_);
  }
  std::vector<store::JournalWrite> writes;
  for (const SteeredRun& run : runs) {
    if (!run.LeavesDevice()) writes.push_back(run.ToWrite());
  }
  if (fine() && !writes.empty()) result_.status = store.journals().Write(request_.study, writes, request_.once);
  if (!fine()) {
    BreakOff(result_.status);
    return false;
  }
  Tell(batches, rate, request_, runs);
  for (SteeredRun& run : runs) {
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

}  // namespace gyrebox::executor
