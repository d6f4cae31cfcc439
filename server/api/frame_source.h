/// Source of frames for streams.
#pragma once

#include "api/worker_pool.h"
#include "executor/executor.h"
#include "store/store.h"
#include "stream/frame_hub.h"

namespace gyrebox::api {

/// Reads frames from the device, or from the store if the run is not on the device.
stream::FrameSource MakeFrameSource(store::Store& store, executor::Executor& executor, WorkerPool& pool);

}  // namespace gyrebox::api
