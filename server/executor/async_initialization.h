/// Generates initial states while the device works.
#pragma once

#include <atomic>
#include <chrono>
#include <exception>
#include <functional>
#include <future>
#include <memory>
#include <thread>
#include <utility>
#include <vector>

#include "gyrebox/device.h"

namespace gyrebox::executor {

using Starts = std::vector<std::shared_ptr<const kernels::StartState>>;

/// Runs kernels::GenerateInitialStates() on its own thread. The destructor aborts the work if it is unfinished.
class AsyncInitialization {
 public:
  /// @param on_ready called on that thread once ready() is true.
  AsyncInitialization(std::vector<kernels::RunSpec> specs, std::function<void()> on_ready)
      : starts_(promise_.get_future()),
        thread_([this, specs = std::move(specs), on_ready = std::move(on_ready)] { Work(specs, on_ready); }) {}
  ~AsyncInitialization() {
    give_up_ = true;
    thread_.join();
  }

  bool ready() const { return starts_.wait_for(std::chrono::seconds(0)) == std::future_status::ready; }
  /// Returns the initial states; call it once. Throws what GenerateInitialStates() throws.
  Starts Take() { return starts_.get(); }

 private:
  void Work(const std::vector<kernels::RunSpec>& specs, const std::function<void()>& on_ready) {
    try {
      promise_.set_value(kernels::GenerateInitialStates(specs, give_up_));
    } catch (const std::exception&) {
      promise_.set_exception(std::current_exception());
    }
    on_ready();
  }

  std::atomic<bool> give_up_ = false;
  std::promise<Starts> promise_;
  std::future<Starts> starts_;
  std::thread thread_;
};

}  // namespace gyrebox::executor
