#include "api/machine_service.h"

#include <google/protobuf/util/time_util.h>

#include <algorithm>
#include <map>

#include "api/answer.h"
#include "queue/choose.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

/// Max entries of the queue, and of the shares; one message holds them all.
constexpr int kMaxEntries = 1000;

/// The queue in order, and the fair shares of users.
class Lists {
 public:
  explicit Lists(const executor::View& view) {
    for (const auto& on : view.on_device) {
      work_.push_back({on.study, on.user, on.priority, true, 0, 0});
      v1::QueueEntry& entry = entries_.emplace_back();
      entry.set_device_count(on.count);
      entry.set_has_slice(on.has_slice);
      ShareOf(on.user).set_device_bead_count(ShareOf(on.user).device_bead_count() + on.beads);
    }
    for (const auto& [user, seconds] : view.used) ShareOf(user).set_used_seconds(seconds);
  }

  void Add(const store::WaitingStudy& study) {
    work_.push_back({study.study, study.owner, study.priority, false, 0, 0});
    entries_.emplace_back().set_queued_count(study.count);
    ShareOf(study.owner).set_queued_count(ShareOf(study.owner).queued_count() + study.count);
  }

  v1::UserShare& ShareOf(const std::string& user) {
    v1::UserShare& share = shares_[user];
    share.set_user(user);
    return share;
  }

  void Write(v1::Machine* machine) {
    const auto used = [this](const std::string& user) { return shares_[user].used_seconds(); };
    for (const size_t i : queue::InOrder(work_, used)) {
      if (machine->queue_size() == kMaxEntries) break;
      v1::QueueEntry& entry = *machine->add_queue();
      entry = entries_[i];
      entry.set_study("studies/" + std::to_string(work_[i].study));
      entry.set_owner(work_[i].user);
      entry.set_priority(work_[i].priority);
    }
    double all = 0;
    for (const auto& [user, share] : shares_) all += share.used_seconds();
    for (auto& [user, share] : shares_) {
      share.set_share(all > 0 ? share.used_seconds() / all : 0);
      *machine->add_shares() = share;
    }
    auto& shares = *machine->mutable_shares();
    std::stable_sort(shares.begin(), shares.end(),
                     [](const auto& a, const auto& b) { return a.used_seconds() < b.used_seconds(); });
    if (shares.size() > kMaxEntries) shares.DeleteSubrange(kMaxEntries, shares.size() - kMaxEntries);
  }

 private:
  std::vector<queue::Work> work_;
  std::vector<v1::QueueEntry> entries_;  ///< one for each work
  std::map<std::string, v1::UserShare> shares_;
};

absl::StatusOr<v1::Machine> MachineService::Get() {
  v1::Machine machine;
  machine.set_name("machine");
  machine.set_version(GYREBOX_VERSION);
  v1::Device& device = *machine.add_devices();
  device.set_name(server_.device.name());
  device.set_description(server_.device.description());
  device.set_reason(server_.device_reason);
  device.set_thread_count(server_.device.thread_count());
  device.set_memory_bytes(server_.device.memory_bytes());
  *machine.mutable_start_time() =
      google::protobuf::util::TimeUtil::TimeTToTimestamp(std::chrono::system_clock::to_time_t(server_.start_time));
  const auto starting = server_.store.runs().Count(v1::Run::STATE_STARTING);
  if (!starting.ok()) return starting.status();
  const auto running = server_.store.runs().Count(v1::Run::STATE_RUNNING);
  if (!running.ok()) return running.status();
  const auto queued = server_.store.runs().Count(v1::Run::STATE_QUEUED);
  if (!queued.ok()) return queued.status();
  machine.set_running_count(static_cast<int32_t>(*starting + *running));
  machine.set_queued_count(static_cast<int32_t>(*queued));
  const auto now = executor::RateMeter::Clock::now();
  device.set_bead_steps_per_second(server_.executor.rate().Recent(now));
  device.set_load(server_.executor.rate().Load(now));
  GYREBOX_RETURN_IF_ERROR(AddQueue(&machine));
  return machine;
}

absl::Status MachineService::AddQueue(v1::Machine* machine) {
  const executor::View view = server_.executor.view();
  machine->mutable_devices(0)->set_used_memory_bytes(view.bytes);
  machine->set_draining(view.draining);
  machine->set_trouble(view.trouble);
  const auto waiting = server_.store.queue().ListWaiting();
  if (!waiting.ok()) return waiting.status();
  const auto stored = server_.store.space().StoredBytes();
  if (!stored.ok()) return stored.status();
  Lists lists(view);
  for (const store::WaitingStudy& study : *waiting) lists.Add(study);
  for (const auto& [user, bytes] : *stored) lists.ShareOf(user).set_stored_byte_count(bytes);
  lists.Write(machine);
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* MachineService::GetMachine(grpc::CallbackServerContext* context,
                                                     const v1::GetMachineRequest* request, v1::Machine* response) {
  return Answer(server_, context, request, response, [this] { return Get(); });
}

grpc::ServerWriteReactor<v1::WatchMachineResponse>* MachineService::WatchMachine(
    grpc::CallbackServerContext* context, const v1::WatchMachineRequest* request) {
  return board_.Watch(EnterStream(server_, *context, request));
}

grpc::ServerUnaryReactor* MachineService::DrainMachine(grpc::CallbackServerContext* context,
                                                       const v1::DrainMachineRequest* request, v1::Machine* response) {
  using Done = std::function<void(absl::StatusOr<v1::Machine>)>;
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User&, const Done& done) {
                         server_.executor.Drain(request->drain(), [=, this](const absl::Status& status) {
                           const auto answer = [=, this] { done(status.ok() ? Get() : status); };
                           if (!server_.pool.Post(answer)) done(absl::UnavailableError("the server is stopping"));
                         });
                       });
}

}  // namespace gyrebox::api
