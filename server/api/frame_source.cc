#include "api/frame_source.h"

#include <limits>

#include "status/status.h"

namespace gyrebox::api {

static absl::StatusOr<stream::Look> LookAtStore(store::Store& store, const store::RunName& name, int64_t known) {
  const auto run = store.runs().Get(name.study, name.run);
  if (!run.ok()) return run.status();
  stream::Look look;
  look.ended = run->state() >= v1::Run::STATE_FINISHED;
  constexpr int64_t kNewest = std::numeric_limits<int64_t>::max();
  const auto step = store.frames().Find(name.study, name.run, kNewest);
  if (!step.ok()) return step.status();
  if (!step->has_value() || **step == known) return look;
  auto frame = store.frames().Read(name.study, name.run, kNewest);
  if (!frame.ok()) return frame.status();
  if (frame->has_value()) look.frame = std::make_shared<const store::Frame>(**std::move(frame));
  return look;
}

stream::FrameSource MakeFrameSource(store::Store& store, executor::Executor& executor, WorkerPool& pool) {
  return [&](const store::RunName& run, int64_t known, std::function<void(absl::StatusOr<stream::Look>)> done) {
    executor.Look(run.study, run.run,
                  [&store, &pool, run, known, done](const absl::StatusOr<std::shared_ptr<const store::Frame>>& live) {
                    if (!live.ok()) return done(live.status());
                    if (*live != nullptr) return done(stream::Look{*live, /*on_device=*/true, /*ended=*/false});
                    const bool posted = pool.Post([&store, run, known, done] { done(LookAtStore(store, run, known)); });
                    if (!posted) done(TooManyCalls());
                  });
  };
}

}  // namespace gyrebox::api
