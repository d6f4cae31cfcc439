#include "executor/deck.h"

#include <spdlog/spdlog.h>

#include "store/saved_run.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::executor {

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
static absl::StatusOr<std::shared_ptr<const kernels::SavedBed>> SavedFor(store::Store& store,
                                                                         const v1::StudySpec& spec) {
  if (!spec.start().has_saved()) return nullptr;
  const study::FoundRun run = store::FindSavedRun(store, spec.start().saved().run());
  if (!run.ok()) return run.status();
  return run->beads;
}

absl::StatusOr<std::pair<int64_t, int64_t>> Deck::NeedOf(int64_t study) {
  const auto queued = store_.ListQueued(study, 1);
  if (!queued.ok()) return queued.status();
  if (queued->runs.empty()) return std::pair<int64_t, int64_t>();
  const auto saved = SavedFor(store_, queued->spec);
  if (!saved.ok()) {
    if (store::IsAboutTheRun(saved.status())) return std::pair<int64_t, int64_t>();  // it is to fail, and needs nothing
    return saved.status();
  }
  const v1::Run& run = queued->runs.front();
  const kernels::RunSpec spec = study::ToRunSpec(study::SpecOf(queued->spec, run, {}), run.seeds(), *saved);
  return std::pair(device_.BytesOf(spec), spec.n_beads);
}

Boarded* Deck::Start(const store::WaitingStudy& waiting, int most_runs, const Room& room) {
  const auto queued = store_.ListQueued(waiting.study, most_runs);
  if (!queued.ok()) throw std::runtime_error(queued.status().ToString());
  if (queued->runs.empty()) return nullptr;
  const auto saved = SavedFor(store_, queued->spec);
  const bool fails = !saved.ok() && store::IsAboutTheRun(saved.status());
  if (!saved.ok() && !fails) throw std::runtime_error(saved.status().ToString());
  auto packed = Pack(store_, *queued, device_, room, fails ? nullptr : *saved);
  if (!packed.ok()) throw std::runtime_error(packed.status().ToString());
  auto on = std::make_unique<Boarded>(waiting, Batch(waiting.study, *std::move(packed)), times_.chunk_seconds);
  if (fails) on->batch.FailToStart(std::string(saved.status().message()));
  spdlog::info("studies/{}: runs {} to {} start", waiting.study, on->batch.numbers().front(),
               on->batch.numbers().back());
  if (!Begin(*on)) return nullptr;
  on->bytes = on->batch.BytesOn(device_);
  boarded_.push_back(std::move(on));
  return boarded_.back().get();
}

bool Deck::Begin(Boarded& on) {
  Batch& batch = on.batch;
  const auto all = batch.numbers();
  if (!persist_([&] { return store_.StartRuns(batch.study(), all, device_.name()); })) return false;
  on_change_(batch.study());
  batch.LayOut(device_);
  const auto& left_out = batch.left_out();
  if (!left_out.empty()) {
    spdlog::warn("studies/{}: {} runs wait for memory", batch.study(), left_out.size());
    if (!persist_([&] { return store_.RequeueRuns(batch.study(), left_out); })) return false;
  }
  const auto numbers = batch.numbers();
  const auto observables = batch.observables();
  if (!observables.empty() && !persist_([&] { return store_.SetObservables(batch.study(), numbers, observables); })) {
    return false;
  }
  Record(on, /*checkpoint=*/false);
  return true;
}

void Deck::CancelWhatIsCancelled() {
  for (const auto& on : boarded_) {
    if (on->batch.done() || !store_.IsCancelled(on->batch.study()).value_or(false)) continue;
    on->batch.Cancel();
    Record(*on, /*checkpoint=*/false);
  }
}

static double SecondsSince(RateMeter::Clock::time_point moment) {
  return std::chrono::duration<double>(RateMeter::Clock::now() - moment).count();
}

void Deck::RecordWhatIsDue(Boarded& on) {
  const bool checkpoint = SecondsSince(on.checkpointed) >= times_.checkpoint_seconds;
  if (checkpoint || on.batch.has_news() || SecondsSince(on.recorded) >= times_.record_seconds) Record(on, checkpoint);
}

void Deck::Record(Boarded& on, bool checkpoint) {
  Batch& batch = on.batch;
  const auto updates = batch.TakeUpdates(checkpoint);
  if (!persist_([&] { return store_.RecordProgress(batch.study(), updates); })) return;
  for (const store::RunUpdate& update : updates) {
    if (update.fault) {
      spdlog::warn("studies/{}/runs/{} {}: {}", batch.study(), update.number,
                   update.state == v1::Run::STATE_UNSTABLE ? "unstable" : "failed", update.fault->message());
    }
  }
  on.recorded = RateMeter::Clock::now();
  if (checkpoint) on.checkpointed = on.recorded;
  on_change_(batch.study());
}

void Deck::Leave(Boarded& on) {
  spdlog::info("studies/{}: {} runs leave the device and wait", on.batch.study(), on.batch.open_count());
  on.batch.LeaveAll();
  Record(on, /*checkpoint=*/false);
}

void Deck::DropDone() {
  std::erase_if(boarded_, [](const auto& on) { return on->batch.done(); });
}

}  // namespace gyrebox::executor
