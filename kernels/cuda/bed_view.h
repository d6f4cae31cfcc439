/// A bed as the passes of a step see it.
#pragma once

#include "cuda/bed_data.h"
#include "cuda/health.h"

namespace gyrebox::kernels::cuda {

/// Whether a bead is a spinner, and its number.
GYREBOX_HD bool IsSpinner(std::uint32_t tag) { return (tag & kSpinnerBit) != 0; }
GYREBOX_HD std::uint32_t IdOf(std::uint32_t tag) { return tag & ~kSpinnerBit; }

/// Memory of a bed with the halves of the doubled arrays told apart. Index: what lists hold.
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

/// Calls visit(partner, place, pair, fetched) for each partner of bead i, in the order of its list; what `fetch` gives
/// of a partner is on its way while the one before is dealt with.
template <class Index, class Fetch, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PlaceMotion* beads,
                              std::uint32_t i, const PlaceMotion& own, const Fetch& fetch, const Visit& visit) {
  std::uint32_t left = bed.plan.memory.counts[i];
  if (left == 0) return;
  const Index* partner = bed.list + i;
  std::uint32_t j = *partner;
  PlaceMotion other = beads[j];
  auto fetched = fetch(j);
  for (;;) {
    const std::uint32_t this_j = j;
    const PlaceMotion this_other = other;
    const auto this_fetched = fetched;
    if (--left > 0) {
      partner += bed.plan.stride;
      j = *partner;
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
