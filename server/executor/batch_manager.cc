#include "executor/batch_manager.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <iterator>
#include <set>

#include "executor/steer_rules.h"
#include "store/saved_run.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::executor {

/// Runs per transaction: a few milliseconds, for which a command may have to wait.
constexpr size_t kRunsOfAWrite = 16;
/// Multiples of record_seconds by which a record may be delayed while the recorder is behind.
constexpr double kMaxPatience = 10;

std::pair<ActiveBatch*, size_t> BatchManager::Find(int64_t study, int64_t number) const {
  for (const auto& on : active_) {
    if (on->batch.study() != study) continue;
    if (const auto index = on->batch.Find(number)) return {on.get(), *index};
  }
  return {nullptr, 0};
}

int64_t BatchManager::bytes() const {
  int64_t bytes = 0;
  for (const auto& on : active_) bytes += on->bytes;
  return bytes;
}

/// Beads of the saved start of a study; null if it generates its own.
static absl::StatusOr<std::shared_ptr<const kernels::SavedBed>> SavedFor(store::Store& store, int64_t study,
                                                                         const v1::StudySpec& spec) {
  if (!spec.start().has_saved()) return nullptr;
  const study::FoundRun run = store::FindOwnStart(store, study, spec);
  if (!run.ok()) return run.status();
  return run->beads;
}

absl::StatusOr<std::pair<int64_t, int64_t>> BatchManager::DemandOf(int64_t study) {
  const auto queued = store_.queue().ListQueued(study, 1);
  if (!queued.ok()) return queued.status();
  if (queued->runs.empty()) return std::pair<int64_t, int64_t>();
  const auto saved = SavedFor(store_, study, queued->spec);
  if (!saved.ok()) {
    if (store::IsAboutTheRun(saved.status())) return std::pair<int64_t, int64_t>();  // it will fail, and needs nothing
    return saved.status();
  }
  const v1::Run& run = queued->runs.front();
  const kernels::RunSpec spec = study::ToRunSpec(study::SpecOf(queued->spec, run, {}), run.seeds(), *saved);
  return std::pair(device_.BytesOf(spec), spec.n_beads);
}

bool BatchManager::NeedsAll(int64_t study) const {
  const auto fit = fits_.find(study);
  return fit != fits_.end() && fit->second.alone;
}

int64_t BatchManager::BytesOf(const ActiveBatch& on) const {
  return on.alone ? device_.memory_bytes() : on.batch.BytesOn(device_);
}

bool BatchManager::Take(int64_t study, std::vector<PackedRun>* runs) {
  std::vector<int64_t> numbers;
  for (const PackedRun& run : *runs) numbers.push_back(run.number);
  std::set<int64_t> taken;
  const bool written = Write([&] {
    auto mine = store_.queue().Start(study, numbers, device_.name());
    if (mine.ok()) taken.insert(mine->begin(), mine->end());
    return mine.status();
  });
  std::erase_if(*runs, [&](const PackedRun& run) { return !taken.contains(run.number); });
  return written;
}

void BatchManager::Start(const store::WaitingStudy& waiting, int max_runs, const Room& room) {
  if (const auto fit = fits_.find(waiting.study); fit != fits_.end()) {
    max_runs = std::min(max_runs, fit->second.max_runs);
  }
  const auto queued = store_.queue().ListQueued(waiting.study, max_runs);
  if (!queued.ok()) throw std::runtime_error(queued.status().ToString());
  if (queued->runs.empty()) return;
  if (const std::string why = WhyHeld(waiting.owner); !why.empty()) return Hold(*queued, why);
  const auto saved = SavedFor(store_, waiting.study, queued->spec);
  const bool fails = !saved.ok() && store::IsAboutTheRun(saved.status());
  if (!saved.ok() && !fails) throw std::runtime_error(saved.status().ToString());
  auto packed = Pack(store_, *queued, device_, room, fails ? nullptr : *saved);
  if (!packed.ok()) throw std::runtime_error(packed.status().ToString());
  if (!Take(waiting.study, &*packed) || packed->empty()) return;
  spdlog::info("studies/{}: runs {} to {} start", waiting.study, packed->front().number, packed->back().number);
  on_change_(waiting.study);
  auto on = std::make_unique<ActiveBatch>(waiting, Batch(waiting.study, *std::move(packed)), times_.chunk_seconds);
  if (!fails) on->initialization = std::make_unique<AsyncInitialization>(on->batch.specs(), wake_);
  if (fails) {
    on->batch.FailToStart(std::string(saved.status().message()));
    return Record(*on, /*checkpoint=*/false);
  }
  on->alone = NeedsAll(waiting.study);
  on->bytes = BytesOf(*on);
  active_.push_back(std::move(on));
}

void BatchManager::StartReadyBatches() {
  for (const auto& on : active_) {
    if (on->initialization != nullptr && !on->batch.done() && on->initialization->ready() && !Activate(*on)) return;
  }
}

bool BatchManager::Activate(ActiveBatch& on) {
  Batch& batch = on.batch;
  batch.Initialize(device_, *on.initialization);
  on.initialization.reset();
  if (batch.short_of_memory()) {
    RunShort(on);
    return true;
  }
  const auto numbers = batch.numbers();
  const auto observables = batch.observables();
  if (!observables.empty() &&
      !Write([&] { return store_.series().SetObservables(batch.study(), numbers, observables); })) {
    return false;
  }
  on.bytes = BytesOf(on);
  on.recorded = on.checkpointed = RateMeter::Clock::now();
  Record(on, /*checkpoint=*/false);
  return true;
}

void BatchManager::Step(ActiveBatch& on, RateMeter& rate) {
  on.batch.Advance(on.pacer, rate);
  if (on.batch.short_of_memory()) RunShort(on);
}

void BatchManager::RunShort(ActiveBatch& on) {
  const int64_t study = on.batch.study();
  const auto open = on.batch.open_numbers();
  const size_t together = on.batch.numbers().size();  // beds keep their memory until the last one has ended
  if (together == 1 && active_.size() == 1) {
    on.batch.FailForMemory(device_);
    return Record(on, /*checkpoint=*/false);
  }
  const Fit fit{std::max(static_cast<int>(together) / 2, 1), together == 1};
  spdlog::warn(
      "studies/{}: memory ran short with {} runs on the device; they go back to their last checkpoints, to start "
      "again {}",
      study, together, fit.alone ? "with nothing beside them" : std::to_string(fit.max_runs) + " at a time");
  fits_[study] = fit;
  on.batch.Rollback();
  if (on.batch.has_news()) Record(on, /*checkpoint=*/false);
  Hand(study, {[this, study, open] { return store_.queue().Requeue(study, open); }}, open);
}

void BatchManager::CancelWhatIsCancelled() {
  for (const auto& on : active_) {
    if (on->batch.done() || !store_.studies().IsCancelled(on->batch.study()).value_or(false)) continue;
    on->batch.Cancel();
    Record(*on, /*checkpoint=*/false);
  }
}

bool BatchManager::Write(Recorder::Write write) {
  absl::Status written;
  recorder_.WaitFor(recorder_.Post({std::move(write)}, [&](const absl::Status& status) { written = status; }));
  return written.ok();
}

static double SecondsSince(RateMeter::Clock::time_point moment) {
  return std::chrono::duration<double>(RateMeter::Clock::now() - moment).count();
}

bool BatchManager::CheckpointIsDue(const ActiveBatch& on) const {
  return SecondsSince(on.checkpointed) >= times_.checkpoint_seconds;
}

void BatchManager::RecordWhatIsDue(ActiveBatch& on) {
  const bool checkpoint = CheckpointIsDue(on);
  const bool due = checkpoint || on.batch.has_news() || SecondsSince(on.recorded) >= times_.record_seconds;
  if (!due || recorder_.behind()) return;
  Record(on, checkpoint);
  HoldWhatIsOverQuota(on);
}

std::string BatchManager::WhyHeld(const std::string& user) {
  if (times_.max_bytes_per_user <= 0) return "";
  const auto bytes = store_.space().BytesOf(user);
  if (!bytes.ok() || *bytes < times_.max_bytes_per_user) return "";
  return user + " has " + std::to_string(*bytes) + " bytes on the disk; the quota is " +
         std::to_string(times_.max_bytes_per_user) +
         "; delete studies that are not needed any more, then resume the run";
}

void BatchManager::HoldWhatIsOverQuota(ActiveBatch& on) {
  if (on.batch.done()) return;
  const std::string why = WhyHeld(on.waiting.owner);
  if (why.empty()) return;
  spdlog::warn("studies/{}: {} runs are held: {}", on.batch.study(), on.batch.open_count(), why);
  on.batch.HoldAll(why);
  Record(on, /*checkpoint=*/false);
}

void BatchManager::Hold(const store::QueuedRuns& queued, const std::string& why) {
  spdlog::warn("studies/{}: {} runs that wait are held: {}", queued.study, queued.runs.size(), why);
  std::vector<store::JournalWrite> writes;
  for (const v1::Run& run : queued.runs) {
    const auto reached = store_.runs().ReachedStep(queued.study, NumberOf(run));
    if (!reached.ok()) throw std::runtime_error(reached.status().ToString());
    const double time_step = study::SpecOf(queued.spec, run, {}).dynamics().time_step();
    writes.push_back({NumberOf(run), ServerPause(*reached, time_step, why), run.state()});
  }
  if (Write([&] { return store_.journals().Write(queued.study, writes); })) on_change_(queued.study);
}

bool BatchManager::IsOverdue(const ActiveBatch& on) const {
  const bool is_last = on.batch.done() && on.batch.has_news();
  const bool is_late = SecondsSince(on.recorded) >= kMaxPatience * times_.record_seconds;
  return recorder_.behind() && (CheckpointIsDue(on) || is_last || is_late);
}

static void WarnOfFaults(int64_t study, const std::vector<RunRecord>& records) {
  for (const auto& [update, checkpoint, end_state] : records) {
    if (!update.fault) continue;
    spdlog::warn("studies/{}/runs/{} {}: {}", study, update.number,
                 update.state == v1::Run::STATE_UNSTABLE ? "unstable" : "failed", update.fault->message());
  }
}

/// A write of these records only, so that other writers need not wait for all records.
static Recorder::Write WriteOf(store::Store& store, int64_t study, std::vector<RunRecord> records) {
  return [&store, study, records = std::make_shared<const std::vector<RunRecord>>(std::move(records))] {
    std::vector<store::RunUpdate> updates;
    for (const RunRecord& record : *records) updates.push_back(ToUpdate(record));
    return store.runs().RecordProgress(study, std::move(updates));
  };
}

void BatchManager::Record(ActiveBatch& on, bool checkpoint) {
  std::vector<RunRecord> records = on.batch.TakeRecords(checkpoint);
  WarnOfFaults(on.batch.study(), records);
  std::vector<int64_t> ended;
  for (const auto& [update, checkpoint, end_state] : records) {
    if (update.state != v1::Run::STATE_RUNNING) ended.push_back(update.number);
  }
  std::vector<Recorder::Write> writes;
  for (size_t first = 0; first < records.size(); first += kRunsOfAWrite) {
    const auto begin = records.begin() + static_cast<std::ptrdiff_t>(first);
    const auto end = records.begin() + static_cast<std::ptrdiff_t>(std::min(first + kRunsOfAWrite, records.size()));
    writes.push_back(WriteOf(store_, on.batch.study(), {std::make_move_iterator(begin), std::make_move_iterator(end)}));
  }
  Hand(on.batch.study(), std::move(writes), ended);
  on.recorded = RateMeter::Clock::now();
  if (checkpoint) on.checkpointed = on.recorded;
}

void BatchManager::Hand(int64_t study, std::vector<Recorder::Write> writes, const std::vector<int64_t>& ended) {
  const auto ticket = recorder_.Post(std::move(writes), [this, study, news = !ended.empty()](const absl::Status&) {
    on_change_(study);
    if (news) wake_();
  });
  std::erase_if(ends_, [this](const End& end) { return recorder_.IsDone(end.ticket); });
  for (const int64_t number : ended) ends_.push_back({study, number, ticket});
}

void BatchManager::WaitForEnd(int64_t study, int64_t number) {
  for (const auto& on : active_) {
    if (on->batch.study() == study && on->batch.has_news()) Record(*on, /*checkpoint=*/false);
  }
  for (const End& end : ends_) {
    if (end.study == study && (number == 0 || end.number == number)) recorder_.WaitFor(end.ticket);
  }
}

void BatchManager::Evict(ActiveBatch& on) {
  spdlog::info("studies/{}: {} runs leave the device and wait", on.batch.study(), on.batch.open_count());
  if (on.initialization == nullptr) {
    on.batch.LeaveAll();
    return Record(on, /*checkpoint=*/false);
  }
  // The runs have not started, so there is nothing to record.
  const int64_t study = on.batch.study();
  const auto open = on.batch.open_numbers();
  on.batch.LeaveAll();
  Hand(study, {[this, study, open] { return store_.queue().Requeue(study, open); }}, open);
}

void BatchManager::DropDone() {
  for (const auto& on : active_) {
    if (on->batch.done() && on->batch.has_news()) Record(*on, /*checkpoint=*/false);
  }
  std::erase_if(active_, [](const auto& on) { return on->batch.done(); });
}

}  // namespace gyrebox::executor
