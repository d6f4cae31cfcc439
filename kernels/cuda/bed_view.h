/// A bed as the passes of a step see it.
#pragma once

#include <type_traits>

#include "cuda/bed_data.h"
#include "cuda/health.h"

namespace gyrebox::kernels::cuda {

/// Whether a bead is a spinner, and its number.
GYREBOX_HD bool IsSpinner(std::uint32_t tag) { return (tag & kSpinnerBit) != 0; }
GYREBOX_HD std::uint32_t IdOf(std::uint32_t tag) { return tag & ~kSpinnerBit; }

/// What lists hold. Of resident beds: partners.
using ResidentIndex = std::uint16_t;
/// Of streamed ones: the way in memory from a bead to its partner, which is short where rows of cells are.
using StreamedIndex = std::int16_t;
/// Of streamed ones whose rows are too long for that: partners.
using WideIndex = std::uint32_t;

/// Memory of a bed with the halves of the doubled arrays told apart. Index: one of the above.
template <class Index>
struct BedView {
  const BedPlan& plan;
  PlaceMotion* beads;
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

  // Of a doubled array: the half that holds the present, and the one that is written.
  template <class T>
  GYREBOX_HD T* Now(T* array) const {
    return array + half * plan.stride;
  }
  template <class T>
  GYREBOX_HD T* Next(T* array) const {
    return array + (half ^ 1) * plan.stride;
  }
};

/// The laws as they are in one substep.
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

/// Partner of bead i that its list holds, of n beads. The last bead in memory is followed by the first.
GYREBOX_HD std::uint32_t PartnerFrom(ResidentIndex held, std::uint32_t, std::uint32_t) { return held; }
GYREBOX_HD std::uint32_t PartnerFrom(WideIndex held, std::uint32_t, std::uint32_t) { return held; }
GYREBOX_HD std::uint32_t PartnerFrom(StreamedIndex way, std::uint32_t i, std::uint32_t n) {
  const std::uint32_t j = i + static_cast<std::uint32_t>(std::int32_t{way});
  return j < n ? j : (way < 0 ? j + n : j - n);
}
/// Partner k of bead i.
template <class Index>
GYREBOX_HD std::uint32_t PartnerOf(const BedView<Index>& bed, std::uint32_t k, std::uint32_t i) {
  return PartnerFrom(bed.list[std::size_t{k} * bed.plan.stride + i], i, bed.plan.n);
}

/// What a list is to hold for partner j of bead i. @return whether it can.
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

/// Whether lists are so far away that it pays to ask for what they hold one partner earlier.
template <class Index>
inline constexpr bool kListIsFar = !std::is_same_v<Index, ResidentIndex>;

/// Calls visit(partner, place, pair, fetched) for each partner of bead i, in the order of its list. While one is dealt
/// with, the next one and what `fetch` gives of it are on their way.
template <class Index, class Fetch, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PlaceMotion* beads,
                              std::uint32_t i, const PlaceMotion& own, const Fetch& fetch, const Visit& visit) {
  std::uint32_t left = bed.plan.memory.counts[i];
  if (left == 0) return;
  const std::uint32_t n = bed.plan.n, stride = bed.plan.stride;
  const Index* held = bed.list + i;
  std::uint32_t j = PartnerFrom(*held, i, n);
  Index later{};
  if (kListIsFar<Index> && left > 1) later = *(held += stride);
  PlaceMotion other = beads[j];
  auto fetched = fetch(j);
  for (;;) {
    const std::uint32_t this_j = j;
    const PlaceMotion this_other = other;
    const auto this_fetched = fetched;
    if (--left > 0) {
      if (!kListIsFar<Index>) later = *(held += stride);
      j = PartnerFrom(later, i, n);
      if (kListIsFar<Index> && left > 1) later = *(held += stride);
      other = beads[j];
      fetched = fetch(j);
    }
    const float dx = Difference(own.x, this_other.x, laws.axis_x.length_of_quantum);
    const float dy = Difference(own.y, this_other.y, laws.axis_y.length_of_quantum);
    visit(this_j, this_other, laws.Place(dx, dy, laws.Squared(dx, dy)), this_fetched);
    if (left == 0) return;
  }
}

template <class Index, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PlaceMotion* beads,
                              std::uint32_t i, const PlaceMotion& own, const Visit& visit) {
  ForPartners(
      bed, laws, beads, i, own, [](std::uint32_t) { return 0; },
      [&](std::uint32_t j, const PlaceMotion& other, const PairPlace<float>& pair, int) { visit(j, other, pair); });
}

}  // namespace gyrebox::kernels::cuda
