// Commands from other threads to the executor, and its replies.
#include <spdlog/spdlog.h>

#include "executor/executor.h"
#include "executor/steer_rules.h"

namespace gyrebox::executor {

View Executor::view() const {
  std::string trouble = recorder_.trouble();
  std::lock_guard lock(mutex_);
  View view = view_;
  view.trouble = std::move(trouble);
  return view;
}

void Executor::Publish(const ActiveBatch* has_slice) {
  View view;
  for (const auto& on : batches_.active()) {
    view.on_device.push_back({on->waiting.study, on->waiting.owner, on->waiting.priority,
                              static_cast<int>(on->batch.open_count()), on->batch.open_beads(), on.get() == has_slice});
  }
  view.bytes = batches_.bytes();
  view.used = queue_.Used();
  view.draining = draining_;
  std::lock_guard lock(mutex_);
  view_ = std::move(view);
}

// ---- commands

void Executor::Post(std::function<void()> open, std::function<void(const absl::Status&)> refuse) {
  commands_.Post({std::move(open), std::move(refuse)});
  Wake();
}

void Executor::ReadCommands() {
  commands_.OpenAll();
  if (steering_.empty()) return;
  const Steering next = std::move(steering_.front());
  steering_.pop_front();
  try {
    GoOn(next);
  } catch (const std::bad_alloc&) {
    next.job->BreakOff(absl::ResourceExhaustedError("the memory of this machine ran out; try again later"));
    next.done(std::move(next.job->result()));
  }
}

void Executor::Steer(SteerRequest request, std::function<void(Steered)> done) {
  const auto job = std::make_shared<SteerJob>(std::move(request));
  job->Prepare(store_, courses_);
  if (!job->fine() || job->answered()) return done(std::move(job->result()));
  Post([this, job, done] { GoOn({job, done}); }, [done](const absl::Status& why) { done({why}); });
}

void Executor::GoOn(const Steering& steering) {
  const auto& [job, done] = steering;
  const SteerRequest& request = job->request();
  const bool more = job->GoOn(store_, batches_, rate_, courses_);
  demands_.erase(request.study);
  Wake();
  if (job->result().count > 0) batches_.Changed(request.study);
  if (more) return steering_.push_back(steering);
  // If runs end or leave the device, reply only once that is stored.
  const bool ends = MakesLeave(request.kind) || request.kind == v1::Adjustment::KIND_FINISH;
  if (!ends || !job->fine()) return done(std::move(job->result()));
  recorder_.Post({}, [done = done, steered = std::move(job->result())](const absl::Status& status) {
    done(status.ok() ? steered : Steered{status});
  });
}

void Executor::Save(int64_t study, int64_t number, std::function<void(absl::StatusOr<v1::SavedState>)> done,
                    const store::Request& once) {
  Post(
      [this, study, number, once, done] {
        const auto earlier = store_.requests().Find(once);
        if (!earlier.ok()) return done(earlier.status());
        if (earlier->has_value()) return done(store_.states().GetSaved(study, (*earlier)->of_runs.front()));
        batches_.WaitForEnd(study, number);
        const auto [on, index] = batches_.Find(study, number);
        if (on == nullptr || !on->batch.initialized()) return done(SaveRun(store_, study, number, once));
        const auto keep = [this, study, number, once, done, bed = std::make_shared<BedNow>(on->batch.StateNow(index))] {
          done(store_.states().Keep(study, number, ToBytes(*bed), once));
          return absl::OkStatus();
        };
        recorder_.Post({keep}, [done](const absl::Status& status) {
          if (!status.ok()) done(status);
        });
      },
      done);
}

void Executor::Look(int64_t study, int64_t number,
                    std::function<void(absl::StatusOr<std::shared_ptr<const store::Frame>>)> done) {
  Post([this, study, number, done] { done(live_frames_.Look(batches_, study, number)); }, done);
}

void Executor::Prioritize(int64_t study, int64_t number, int priority, std::function<void(absl::StatusOr<int>)> done) {
  const auto count = store_.queue().SetPriority(study, number, priority);
  if (!count.ok()) return done(count);
  Post(
      [this, study, number, priority, count, done] {
        for (const auto& on : batches_.active()) {
          const bool is_meant = on->waiting.study == study && (number == 0 || on->batch.Find(number));
          if (is_meant) on->waiting.priority = priority;
        }
        Wake();
        batches_.Changed(study);
        done(count);
      },
      done);
}

void Executor::Give(int64_t study, const std::string& owner) {
  Post(
      [this, study, owner] {
        for (const auto& on : batches_.active()) {
          if (on->waiting.study == study) on->waiting.owner = owner;
        }
      },
      [](const absl::Status&) {});
}

void Executor::Drain(bool drain, std::function<void(absl::Status)> done) {
  Post(
      [this, drain, done] {
        if (drain != draining_) spdlog::info(drain ? "the operator empties the device" : "the device works again");
        draining_ = drain;
        Publish(nullptr);
        Wake();
        done(absl::OkStatus());
      },
      done);
}

}  // namespace gyrebox::executor
