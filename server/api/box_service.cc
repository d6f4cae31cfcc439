#include "api/box_service.h"

#include <google/protobuf/util/time_util.h>

#include <algorithm>
#include <map>

#include "api/answer.h"
#include "queue/choose.h"

namespace gyrebox::api {

/// Of the queue, and of the shares: one message holds them all.
constexpr int kMostEntries = 1000;

/// The queue in its order, and the shares of people.
class Lists {
 public:
  explicit Lists(const executor::View& view) {
    for (const auto& on : view.on_device) {
      work_.push_back({on.study, on.person, on.priority, true, 0, 0});
      v1::QueueEntry& entry = entries_.emplace_back();
      entry.set_device_count(on.count);
      entry.set_has_slice(on.has_slice);
      ShareOf(on.person).set_device_bead_count(ShareOf(on.person).device_bead_count() + on.beads);
    }
    for (const auto& [person, seconds] : view.used) ShareOf(person).set_used_seconds(seconds);
  }

  void Add(const store::WaitingStudy& study) {
    work_.push_back({study.study, study.owner, study.priority, false, 0, 0});
    entries_.emplace_back().set_queued_count(study.count);
    ShareOf(study.owner).set_queued_count(ShareOf(study.owner).queued_count() + study.count);
  }

  v1::PersonShare& ShareOf(const std::string& person) {
    v1::PersonShare& share = shares_[person];
    share.set_person(person);
    return share;
  }

  void Write(v1::Box* box) {
    const auto used = [this](const std::string& person) { return shares_[person].used_seconds(); };
    for (const size_t i : queue::InOrder(work_, used)) {
      if (box->queue_size() == kMostEntries) break;
      v1::QueueEntry& entry = *box->add_queue();
      entry = entries_[i];
      entry.set_study("studies/" + std::to_string(work_[i].study));
      entry.set_owner(work_[i].person);
      entry.set_priority(work_[i].priority);
    }
    double all = 0;
    for (const auto& [person, share] : shares_) all += share.used_seconds();
    for (auto& [person, share] : shares_) {
      share.set_share(all > 0 ? share.used_seconds() / all : 0);
      *box->add_shares() = share;
    }
    auto& shares = *box->mutable_shares();
    std::stable_sort(shares.begin(), shares.end(),
                     [](const auto& a, const auto& b) { return a.used_seconds() < b.used_seconds(); });
    if (shares.size() > kMostEntries) shares.DeleteSubrange(kMostEntries, shares.size() - kMostEntries);
  }

 private:
  std::vector<queue::Work> work_;
  std::vector<v1::QueueEntry> entries_;  ///< of each work
  std::map<std::string, v1::PersonShare> shares_;
};

absl::StatusOr<v1::Box> BoxService::Get() {
  v1::Box box;
  box.set_name("box");
  box.set_version(GYREBOX_VERSION);
  box.set_device(rooms_.device.name());
  box.set_device_description(rooms_.device.description());
  box.set_device_reason(rooms_.device_reason);
  box.set_thread_count(rooms_.device.thread_count());
  box.set_memory_bytes(rooms_.device.memory_bytes());
  *box.mutable_start_time() =
      google::protobuf::util::TimeUtil::TimeTToTimestamp(std::chrono::system_clock::to_time_t(rooms_.start_time));
  const auto starting = rooms_.store.CountRuns(v1::Run::STATE_STARTING);
  if (!starting.ok()) return starting.status();
  const auto running = rooms_.store.CountRuns(v1::Run::STATE_RUNNING);
  if (!running.ok()) return running.status();
  const auto queued = rooms_.store.CountRuns(v1::Run::STATE_QUEUED);
  if (!queued.ok()) return queued.status();
  box.set_running_count(static_cast<int32_t>(*starting + *running));
  box.set_queued_count(static_cast<int32_t>(*queued));
  const auto now = executor::RateMeter::Clock::now();
  box.set_bead_steps_per_second(rooms_.executor.rate().Recent(now));
  box.set_load(rooms_.executor.rate().Load(now));
  if (auto status = AddQueue(&box); !status.ok()) return status;
  return box;
}

absl::Status BoxService::AddQueue(v1::Box* box) {
  const executor::View view = rooms_.executor.view();
  box->set_used_memory_bytes(view.bytes);
  box->set_draining(view.draining);
  box->set_trouble(view.trouble);
  const auto waiting = rooms_.store.ListWaiting();
  if (!waiting.ok()) return waiting.status();
  const auto stored = rooms_.store.StoredBytes();
  if (!stored.ok()) return stored.status();
  Lists lists(view);
  for (const store::WaitingStudy& study : *waiting) lists.Add(study);
  for (const auto& [person, bytes] : *stored) lists.ShareOf(person).set_stored_byte_count(bytes);
  lists.Write(box);
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* BoxService::GetBox(grpc::CallbackServerContext* context, const v1::GetBoxRequest* request,
                                             v1::Box* response) {
  return Answer(rooms_, context, request, response, [this] { return Get(); });
}

grpc::ServerWriteReactor<v1::WatchBoxResponse>* BoxService::WatchBox(grpc::CallbackServerContext* context,
                                                                     const v1::WatchBoxRequest* request) {
  return board_.Watch(EnterStream(rooms_, *context, request));
}

grpc::ServerUnaryReactor* BoxService::DrainBox(grpc::CallbackServerContext* context, const v1::DrainBoxRequest* request,
                                               v1::Box* response) {
  using Done = std::function<void(absl::StatusOr<v1::Box>)>;
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person&, const Done& done) {
                         rooms_.executor.Drain(request->drain(), [=, this](const absl::Status& status) {
                           const auto answer = [=, this] { done(status.ok() ? Get() : status); };
                           if (!rooms_.pool.Post(answer)) done(absl::UnavailableError("the server is stopping"));
                         });
                       });
}

}  // namespace gyrebox::api
