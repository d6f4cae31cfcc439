/// Lays beds out beside the device's work.
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

/// kernels::LayOutAhead() on a thread of its own; given up where it is destroyed before its end.
class LayingOut {
 public:
  /// @param on_ready called on that thread, once ready() is true.
  LayingOut(std::vector<kernels::RunSpec> specs, std::function<void()> on_ready)
      : starts_(promise_.get_future()),
        thread_([this, specs = std::move(specs), on_ready = std::move(on_ready)] { Work(specs, on_ready); }) {}
  ~LayingOut() {
    give_up_ = true;
    thread_.join();
  }

  bool ready() const { return starts_.wait_for(std::chrono::seconds(0)) == std::future_status::ready; }
  /// Where the beds are; once. Throws what LayOutAhead() does.
  Starts Take() { return starts_.get(); }

 private:
  void Work(const std::vector<kernels::RunSpec>& specs, const std::function<void()>& on_ready) {
    try {
      promise_.set_value(kernels::LayOutAhead(specs, give_up_));
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
