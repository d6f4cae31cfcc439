/// Owning wrappers of device memory.
#pragma once

#include <algorithm>
#include <span>
#include <vector>

#include "cuda/driver.h"

namespace gyrebox::kernels::cuda {

/// A block of device memory, released on destruction.
class DeviceBlock {
 public:
  DeviceBlock(Driver& driver, std::size_t bytes) : driver_(driver), at_(driver.Allocate(bytes)) {}
  ~DeviceBlock() { driver_.Release(at_); }
  DeviceBlock(const DeviceBlock&) = delete;
  DeviceBlock& operator=(const DeviceBlock&) = delete;
  void* at() const { return at_; }

 private:
  Driver& driver_;
  void* at_;
};

/// Copies of n elements of an array in device memory, complete after Wait().
template <class T>
std::vector<T> FetchArray(Driver& driver, const T* from, std::size_t n) {
  std::vector<T> out(n);
  driver.CopyOut(out.data(), from, n * sizeof(T));
  return out;
}
/// The other way. `from` must live until Wait().
template <class T>
void SendArray(Driver& driver, const std::vector<T>& from, T* to) {
  driver.CopyIn(to, from.data(), from.size() * sizeof(T));
}

/// A table that the host fills and the device reads, or vice versa: pinned host memory and a device copy. Growing
/// discards the contents.
template <class T>
class SharedTable {
 public:
  explicit SharedTable(Driver& driver) : driver_(driver) {}
  ~SharedTable() { Free(); }
  SharedTable(const SharedTable&) = delete;
  SharedTable& operator=(const SharedTable&) = delete;

  void Resize(std::size_t n) {
    if (n > room_) {
      driver_.Wait();
      Free();
      room_ = std::max<std::size_t>(n, 64) * 3 / 2;
      here_ = static_cast<T*>(driver_.AllocatePinned(room_ * sizeof(T)));
      there_ = static_cast<T*>(driver_.Allocate(room_ * sizeof(T)));
    }
    size_ = n;
  }
  std::span<T> here() { return {here_, size_}; }
  T& operator[](std::size_t i) { return here_[i]; }
  T* there() const { return there_; }
  std::size_t size() const { return size_; }
  void Send() {
    if (size_ > 0) driver_.CopyIn(there_, here_, size_ * sizeof(T));
  }
  void Fetch() {
    if (size_ > 0) driver_.CopyOut(here_, there_, size_ * sizeof(T));
  }
  void Set(const std::vector<T>& values) {
    Resize(values.size());
    std::copy(values.begin(), values.end(), here_);
    Send();
  }

 private:
  void Free() {
    driver_.ReleasePinned(here_);
    driver_.Release(there_);
    here_ = there_ = nullptr;
    room_ = 0;
  }
  Driver& driver_;
  T* here_ = nullptr;
  T* there_ = nullptr;
  std::size_t size_ = 0, room_ = 0;
};

}  // namespace gyrebox::kernels::cuda
