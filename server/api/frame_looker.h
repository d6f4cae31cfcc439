/// How streams of pictures look at runs.
#pragma once

#include "api/worker_pool.h"
#include "executor/executor.h"
#include "store/store.h"
#include "stream/frame_hub.h"

namespace gyrebox::api {

/// Looks at the device first, and at what is on disk where a run is not there.
stream::Looker MakeLooker(store::Store& store, executor::Executor& executor, WorkerPool& pool);

}  // namespace gyrebox::api
