/// Layout of consecutive arrays in a block of memory.
#pragma once

#include <cstddef>

#include "model/real.h"

namespace gyrebox::kernels::cuda {

/// Assigns consecutive parts of a block. With a null base, on the host, it only counts bytes, so that one text defines
/// both the size of a block and the addresses in it. @tparam alignment bytes to which each part is rounded up.
template <std::size_t alignment = 1>
class BlockLayout {
 public:
  GYREBOX_HD constexpr explicit BlockLayout(unsigned char* base) : base_(base) {}
  template <class T>
  GYREBOX_HD constexpr void Take(T*& part, std::size_t n) {
#if defined(__CUDA_ARCH__)
    part = reinterpret_cast<T*>(base_ + used_);  // a test for null would double the loops that use a part
#else
    part = base_ == nullptr ? nullptr : reinterpret_cast<T*>(base_ + used_);
#endif
    used_ += (n * sizeof(T) + alignment - 1) / alignment * alignment;
  }
  GYREBOX_HD constexpr std::size_t used() const { return used_; }

 private:
  unsigned char* base_;
  std::size_t used_ = 0;
};

}  // namespace gyrebox::kernels::cuda
