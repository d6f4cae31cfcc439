#include "executor/deck.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <iterator>

#include "executor/steer_rules.h"
#include "store/saved_run.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::executor {

/// Runs that are written in one transaction: a few milliseconds, for which a
/// letter may have to wait.
constexpr size_t kRunsOfAWrite = 16;
/// Times that a record may be put off while the recorder is behind.
constexpr double kMostPatience = 10;

std::pair<Boarded*, size_t> Deck::Find(int64_t study, int64_t number) const {
  for (const auto& on : boarded_) {
    if (on->batch.study() != study) continue;
    if (const auto place = on->batch.Find(number)) return {on.get(), *place};
  }
  return {nullptr, 0};
}

int64_t Deck::bytes() const {
  int64_t bytes = 0;
  for (const auto& on : boarded_) bytes += on->bytes;
  return bytes;
}

/// The beads that a study starts from; null where it makes its own.
static absl::StatusOr<std::shared_ptr<const kernels::SavedBed>> SavedFor(store::Store& store, int64_t study,
                                                                         const v1::StudySpec& spec) {
  if (!spec.start().has_saved()) return nullptr;
  const study::FoundRun run = store::FindOwnStart(store, study, spec);
  if (!run.ok()) return run.status();
  return run->beads;
}

absl::StatusOr<std::pair<int64_t, int64_t>> Deck::NeedOf(int64_t study) {
  const auto queued = store_.ListQueued(study, 1);
  if (!queued.ok()) return queued.status();
  if (queued->runs.empty()) return std::pair<int64_t, int64_t>();
  const auto saved = SavedFor(store_, study, queued->spec);
  if (!saved.ok()) {
    if (store::IsAboutTheRun(saved.status())) return std::pair<int64_t, int64_t>();  // it is to fail, and needs nothing
    return saved.status();
  }
  const v1::Run& run = queued->runs.front();
  const kernels::RunSpec spec = study::ToRunSpec(study::SpecOf(queued->spec, run, {}), run.seeds(), *saved);
  return std::pair(device_.BytesOf(spec), spec.n_beads);
}

bool Deck::NeedsAll(int64_t study) const {
  const auto fit = fits_.find(study);
  return fit != fits_.end() && fit->second.alone;
}

int64_t Deck::BytesOf(const Boarded& on) const { return on.alone ? device_.memory_bytes() : on.batch.BytesOn(device_); }

void Deck::Start(const store::WaitingStudy& waiting, int most_runs, const Room& room) {
  if (const auto fit = fits_.find(waiting.study); fit != fits_.end()) {
    most_runs = std::min(most_runs, fit->second.most_runs);
  }
  const auto queued = store_.ListQueued(waiting.study, most_runs);
  if (!queued.ok()) throw std::runtime_error(queued.status().ToString());
  if (queued->runs.empty()) return;
  if (const std::string why = WhyHeld(waiting.owner); !why.empty()) return Hold(*queued, why);
  const auto saved = SavedFor(store_, waiting.study, queued->spec);
  const bool fails = !saved.ok() && store::IsAboutTheRun(saved.status());
  if (!saved.ok() && !fails) throw std::runtime_error(saved.status().ToString());
  auto packed = Pack(store_, *queued, device_, room, fails ? nullptr : *saved);
  if (!packed.ok()) throw std::runtime_error(packed.status().ToString());
  auto on = std::make_unique<Boarded>(waiting, Batch(waiting.study, *std::move(packed)), times_.chunk_seconds);
  if (!fails) on->laying_out = std::make_unique<LayingOut>(on->batch.specs(), wake_);
  const auto numbers = on->batch.numbers();
  spdlog::info("studies/{}: runs {} to {} start", waiting.study, numbers.front(), numbers.back());
  if (!Write([&] { return store_.StartRuns(waiting.study, numbers, device_.name()); })) return;
  on_change_(waiting.study);
  if (fails) {
    on->batch.FailToStart(std::string(saved.status().message()));
    return Record(*on, /*checkpoint=*/false);
  }
  on->alone = NeedsAll(waiting.study);
  on->bytes = BytesOf(*on);
  boarded_.push_back(std::move(on));
}

void Deck::BoardWhatIsReady() {
  for (const auto& on : boarded_) {
    if (on->laying_out != nullptr && !on->batch.done() && on->laying_out->ready() && !Board(*on)) return;
  }
}

bool Deck::Board(Boarded& on) {
  Batch& batch = on.batch;
  batch.LayOut(device_, *on.laying_out);
  on.laying_out.reset();
  if (batch.short_of_memory()) {
    RunShort(on);
    return true;
  }
  const auto numbers = batch.numbers();
  const auto observables = batch.observables();
  if (!observables.empty() && !Write([&] { return store_.SetObservables(batch.study(), numbers, observables); })) {
    return false;
  }
  on.bytes = BytesOf(on);
  on.recorded = on.checkpointed = RateMeter::Clock::now();
  Record(on, /*checkpoint=*/false);
  return true;
}

void Deck::Step(Boarded& on, RateMeter& rate) {
  on.batch.Advance(on.pacer, rate);
  if (on.batch.short_of_memory()) RunShort(on);
}

void Deck::RunShort(Boarded& on) {
  const int64_t study = on.batch.study();
  const auto open = on.batch.open_numbers();
  const size_t together = on.batch.numbers().size();  // beds hold their memory until the last of them has ended
  if (together == 1 && boarded_.size() == 1) {
    on.batch.FailForMemory(device_);
    return Record(on, /*checkpoint=*/false);
  }
  const Fit fit{std::max(static_cast<int>(together) / 2, 1), together == 1};
  spdlog::warn(
      "studies/{}: memory ran short with {} runs on the device; they go back to their last checkpoints, to start "
      "again {}",
      study, together, fit.alone ? "with nothing beside them" : std::to_string(fit.most_runs) + " at a time");
  fits_[study] = fit;
  on.batch.GoBack();
  if (on.batch.has_news()) Record(on, /*checkpoint=*/false);
  Hand(study, {[this, study, open] { return store_.RequeueRuns(study, open); }}, open);
}

void Deck::CancelWhatIsCancelled() {
  for (const auto& on : boarded_) {
    if (on->batch.done() || !store_.IsCancelled(on->batch.study()).value_or(false)) continue;
    on->batch.Cancel();
    Record(*on, /*checkpoint=*/false);
  }
}

bool Deck::Write(Recorder::Write write) {
  absl::Status written;
  recorder_.WaitFor(recorder_.Post({std::move(write)}, [&](const absl::Status& status) { written = status; }));
  return written.ok();
}

static double SecondsSince(RateMeter::Clock::time_point moment) {
  return std::chrono::duration<double>(RateMeter::Clock::now() - moment).count();
}

bool Deck::CheckpointIsDue(const Boarded& on) const {
  return SecondsSince(on.checkpointed) >= times_.checkpoint_seconds;
}

void Deck::RecordWhatIsDue(Boarded& on) {
  const bool checkpoint = CheckpointIsDue(on);
  const bool due = checkpoint || on.batch.has_news() || SecondsSince(on.recorded) >= times_.record_seconds;
  if (!due || recorder_.behind()) return;
  Record(on, checkpoint);
  HoldWhatIsOverQuota(on);
}

std::string Deck::WhyHeld(const std::string& person) {
  if (times_.most_bytes_of_person <= 0) return "";
  const auto bytes = store_.BytesOf(person);
  if (!bytes.ok() || *bytes < times_.most_bytes_of_person) return "";
  return person + " has " + std::to_string(*bytes) + " bytes on the disk; the quota is " +
         std::to_string(times_.most_bytes_of_person) +
         "; delete studies that are not needed any more, then resume the run";
}

void Deck::HoldWhatIsOverQuota(Boarded& on) {
  if (on.batch.done()) return;
  const std::string why = WhyHeld(on.waiting.owner);
  if (why.empty()) return;
  spdlog::warn("studies/{}: {} runs are held: {}", on.batch.study(), on.batch.open_count(), why);
  on.batch.HoldAll(why);
  Record(on, /*checkpoint=*/false);
}

void Deck::Hold(const store::QueuedRuns& queued, const std::string& why) {
  spdlog::warn("studies/{}: {} runs that wait are held: {}", queued.study, queued.runs.size(), why);
  std::vector<store::JournalWrite> writes;
  for (const v1::Run& run : queued.runs) {
    const auto reached = store_.ReachedStep(queued.study, NumberOf(run));
    if (!reached.ok()) throw std::runtime_error(reached.status().ToString());
    const double time_step = study::SpecOf(queued.spec, run, {}).dynamics().time_step();
    writes.push_back({NumberOf(run), ServerPause(*reached, time_step, why), run.state()});
  }
  if (Write([&] { return store_.WriteJournal(queued.study, writes); })) on_change_(queued.study);
}

bool Deck::IsOverdue(const Boarded& on) const {
  const bool is_last = on.batch.done() && on.batch.has_news();
  const bool is_late = SecondsSince(on.recorded) >= kMostPatience * times_.record_seconds;
  return recorder_.behind() && (CheckpointIsDue(on) || is_last || is_late);
}

static void WarnOfFaults(int64_t study, const std::vector<RunRecord>& records) {
  for (const auto& [update, checkpoint, end_state] : records) {
    if (!update.fault) continue;
    spdlog::warn("studies/{}/runs/{} {}: {}", study, update.number,
                 update.state == v1::Run::STATE_UNSTABLE ? "unstable" : "failed", update.fault->message());
  }
}

/// A write of these records alone, so that what others write need not wait for all of them.
static Recorder::Write WriteOf(store::Store& store, int64_t study, std::vector<RunRecord> records) {
  return [&store, study, records = std::make_shared<const std::vector<RunRecord>>(std::move(records))] {
    std::vector<store::RunUpdate> updates;
    for (const RunRecord& record : *records) updates.push_back(ToUpdate(record));
    return store.RecordProgress(study, std::move(updates));
  };
}

void Deck::Record(Boarded& on, bool checkpoint) {
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

void Deck::Hand(int64_t study, std::vector<Recorder::Write> writes, const std::vector<int64_t>& ended) {
  const auto ticket = recorder_.Post(std::move(writes), [this, study, news = !ended.empty()](const absl::Status&) {
    on_change_(study);
    if (news) wake_();
  });
  std::erase_if(ends_, [this](const End& end) { return recorder_.IsDone(end.ticket); });
  for (const int64_t number : ended) ends_.push_back({study, number, ticket});
}

void Deck::WaitForEnd(int64_t study, int64_t number) {
  for (const auto& on : boarded_) {
    if (on->batch.study() == study && on->batch.has_news()) Record(*on, /*checkpoint=*/false);
  }
  for (const End& end : ends_) {
    if (end.study == study && (number == 0 || end.number == number)) recorder_.WaitFor(end.ticket);
  }
}

void Deck::Leave(Boarded& on) {
  spdlog::info("studies/{}: {} runs leave the device and wait", on.batch.study(), on.batch.open_count());
  if (on.laying_out == nullptr) {
    on.batch.LeaveAll();
    return Record(on, /*checkpoint=*/false);
  }
  // They have not begun.
  const int64_t study = on.batch.study();
  const auto open = on.batch.open_numbers();
  on.batch.LeaveAll();
  Hand(study, {[this, study, open] { return store_.RequeueRuns(study, open); }}, open);
}

void Deck::DropDone() {
  for (const auto& on : boarded_) {
    if (on->batch.done() && on->batch.has_news()) Record(*on, /*checkpoint=*/false);
  }
  std::erase_if(boarded_, [](const auto& on) { return on->batch.done(); });
}

}  // namespace gyrebox::executor
