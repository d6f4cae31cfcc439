/// View of a bed for the passes of a step.
#pragma once

#include <type_traits>

#include "cuda/bed_data.h"
#include "cuda/health.h"
#include "cuda/pass.h"

namespace gyrebox::kernels::cuda {

/// Whether a bead is a spinner, and its id.
GYREBOX_HD bool IsSpinner(std::uint32_t tag) { return (tag & kSpinnerBit) != 0; }
GYREBOX_HD std::uint32_t IdOf(std::uint32_t tag) { return tag & ~kSpinnerBit; }

/// Entry of a partner list. Resident beds: the partner's slot.
using ResidentIndex = std::uint16_t;
/// Streamed beds: offset in memory from a bead to its partner, which is small if rows of cells are short.
using StreamedIndex = std::int16_t;
/// Streamed beds whose rows are too long for that: the partner's slot.
using WideIndex = std::uint32_t;

/// Memory of a bed, with access to the two halves of the doubled arrays. Index: one of the above.
template <class Index>
struct BedView {
  const BedPlan& plan;
  PositionVelocity* beads;
  float* spin;
  std::uint32_t* angle;
  Remainder* remainder;
  std::uint32_t* tag;
  std::uint32_t *cell_start, *cell_fill;
  Index* list;
  std::uint32_t half;

  GYREBOX_HD explicit BedView(const BedPlan& p)
      : plan(p),
        beads(p.memory.beads),
        spin(p.memory.spin),
        angle(p.memory.angle),
        remainder(p.memory.remainder),
        tag(p.memory.tag),
        cell_start(p.memory.cell_start),
        cell_fill(p.memory.cell_fill),
        list(static_cast<Index*>(p.memory.list)),
        half(0) {}

  // Halves of a doubled array: the current one, and the one being written.
  template <class T>
  GYREBOX_HD T* Now(T* array) const {
    return array + half * plan.stride;
  }
  template <class T>
  GYREBOX_HD T* Next(T* array) const {
    return array + (half ^ 1) * plan.stride;
  }
};

/// Three numbers per bead, in three rows of `stride`.
class Rows3 {
 public:
  GYREBOX_HD Rows3(float* at, std::size_t stride) : at_(at), stride_(stride) {}
  GYREBOX_HD Motion<float> Load(std::uint32_t i) const { return {at_[i], at_[stride_ + i], at_[2 * stride_ + i]}; }
  GYREBOX_HD void Store(std::uint32_t i, const Motion<float>& m) const {
    at_[i] = m.vx;
    at_[stride_ + i] = m.vy;
    at_[2 * stride_ + i] = m.spin;
  }

 private:
  float* at_;
  std::size_t stride_;
};

/// The laws with the settings of one substep.
GYREBOX_HD StepLaws<float> LawsOf(const BedPlan& plan, const StepNumbers& numbers) {
  StepLaws<float> laws = plan.laws;
  laws.friction.tangential = numbers.tangential;
  laws.friction.normal = numbers.normal;
  laws.noise.along = numbers.along;
  laws.noise.across = numbers.across;
  laws.noise.velocity = numbers.velocity;
  laws.noise.spin = numbers.turning;
  return laws;
}

/// Slot of the partner that a list entry of bead i stands for, among n beads. Offsets wrap from the last bead to the
/// first.
GYREBOX_HD std::uint32_t PartnerFrom(ResidentIndex held, std::uint32_t, std::uint32_t) { return held; }
GYREBOX_HD std::uint32_t PartnerFrom(WideIndex held, std::uint32_t, std::uint32_t) { return held; }
GYREBOX_HD std::uint32_t PartnerFrom(StreamedIndex way, std::uint32_t i, std::uint32_t n) {
  const std::uint32_t j = i + static_cast<std::uint32_t>(std::int32_t{way});
  return j < n ? j : (way < 0 ? j + n : j - n);
}

/// Lists in device memory hold partners in groups of four, so that one read fetches four: group f of bead i is element
/// f * stride + i. Lists of resident beds, which fit in the first-level cache, are rows of single partners.
template <class Index>
inline constexpr bool kListIsFar = !std::is_same_v<Index, ResidentIndex>;
inline constexpr std::uint32_t kFour = 4;
template <class Index>
struct IndexQuad;
template <>
struct IndexQuad<StreamedIndex> {
  std::uint64_t held = 0;
  GYREBOX_HD StreamedIndex First() const { return static_cast<StreamedIndex>(held); }
  GYREBOX_HD void DropFirst() { held >>= 16; }
};
template <>
struct alignas(16) IndexQuad<WideIndex> {
  WideIndex a = 0, b = 0, c = 0, d = 0;
  GYREBOX_HD WideIndex First() const { return a; }
  GYREBOX_HD void DropFirst() { a = b, b = c, c = d; }
};
/// Element of the list that holds partner k of bead i.
template <class Index>
GYREBOX_HD std::size_t OffsetInList(std::uint32_t k, std::uint32_t i, std::uint32_t stride) {
  return kListIsFar<Index> ? (std::size_t{k / kFour} * stride + i) * kFour + k % kFour : std::size_t{k} * stride + i;
}
/// Partner k of bead i.
template <class Index>
GYREBOX_HD std::uint32_t PartnerOf(const BedView<Index>& bed, std::uint32_t k, std::uint32_t i) {
  return PartnerFrom(bed.list[OffsetInList<Index>(k, i, bed.plan.stride)], i, bed.plan.n);
}

/// Encodes partner j of bead i as a list entry. @return whether the entry can represent it.
template <class Index>
GYREBOX_HD bool Hold(std::uint32_t, std::uint32_t j, std::uint32_t, Index& held) {
  held = static_cast<Index>(j);
  return true;
}
GYREBOX_HD bool Hold(std::uint32_t i, std::uint32_t j, std::uint32_t n, StreamedIndex& held) {
  auto way = static_cast<std::int32_t>(j - i);
  const auto half = static_cast<std::int32_t>(n / 2);
  if (way > half) way -= static_cast<std::int32_t>(n);
  if (way < -half) way += static_cast<std::int32_t>(n);
  held = static_cast<StreamedIndex>(way);
  return way == held;
}

/// Iterates over the partners of a bead.
template <class Index>
class PartnerList {
 public:
  GYREBOX_PASS PartnerList(const BedView<Index>& bed, std::uint32_t i)
      : at_(bed.list + i), i_(i), n_(bed.plan.n), stride_(bed.plan.stride), count_(bed.plan.memory.counts[i]) {}
  GYREBOX_PASS std::uint32_t count() const { return count_; }
  GYREBOX_PASS std::uint32_t First() { return PartnerFrom(*at_, i_, n_); }
  /// Partner k, k = 1, 2, ... in turn.
  GYREBOX_PASS std::uint32_t Next(std::uint32_t) { return PartnerFrom(*(at_ += stride_), i_, n_); }

 private:
  const Index* at_;
  const std::uint32_t i_, n_, stride_, count_;
};
template <class Index>
requires kListIsFar<Index>
class PartnerList<Index> {
 public:
  // Loads the first eight before the count is known.
  GYREBOX_PASS PartnerList(const BedView<Index>& bed, std::uint32_t i)
      : quads_(reinterpret_cast<const IndexQuad<Index>*>(bed.list) + i),
        held_(quads_[0]),
        later_(quads_[bed.plan.stride]),
        i_(i),
        n_(bed.plan.n),
        stride_(bed.plan.stride),
        count_(bed.plan.memory.counts[i]) {}
  GYREBOX_PASS std::uint32_t count() const { return count_; }
  GYREBOX_PASS std::uint32_t First() { return PartnerFrom(held_.First(), i_, n_); }
  GYREBOX_PASS std::uint32_t Next(std::uint32_t k) {
    held_.DropFirst();
    if (k % kFour == 0) {
      held_ = later_;
      if (k + kFour < count_) later_ = quads_[std::size_t{k / kFour + 1} * stride_];
    }
    return PartnerFrom(held_.First(), i_, n_);
  }

 private:
  const IndexQuad<Index>* quads_;
  IndexQuad<Index> held_, later_;
  const std::uint32_t i_, n_, stride_, count_;
};

/// Calls visit(partner, position, pair, fetched) for each partner of bead i, in the order of its list. Prefetches the
/// next partner and its `fetch` result while processing the current one.
template <class Index, class Fetch, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PositionVelocity* beads,
                              std::uint32_t i, const PositionVelocity& own, const Fetch& fetch, const Visit& visit) {
  PartnerList<Index> partners(bed, i);
  if (partners.count() == 0) return;
  std::uint32_t j = partners.First();
  PositionVelocity other = beads[j];
  auto fetched = fetch(j);
  for (std::uint32_t k = 1;; ++k) {
    const std::uint32_t this_j = j;
    const PositionVelocity this_other = other;
    const auto this_fetched = fetched;
    const bool last = k >= partners.count();
    if (!last) {
      j = partners.Next(k);
      other = beads[j];
      fetched = fetch(j);
    }
    const float dx = Difference(own.x, this_other.x, laws.axis_x.length_of_quantum);
    const float dy = Difference(own.y, this_other.y, laws.axis_y.length_of_quantum);
    visit(this_j, this_other, laws.Geometry(dx, dy, laws.Squared(dx, dy)), this_fetched);
    if (last) return;
  }
}

template <class Index, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PositionVelocity* beads,
                              std::uint32_t i, const PositionVelocity& own, const Visit& visit) {
  ForPartners(
      bed, laws, beads, i, own, [](std::uint32_t) { return 0; },
      [&](std::uint32_t j, const PositionVelocity& other, const PairGeometry<float>& pair, int) {
        visit(j, other, pair);
      });
}

}  // namespace gyrebox::kernels::cuda
