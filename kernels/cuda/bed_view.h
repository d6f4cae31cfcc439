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

/// A bead with a partner: calls visit(partner, pair) for each partner of bead i, in the order of its list.
template <class Index, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PlaceMotion* beads,
                              std::uint32_t i, const PlaceMotion& own, const Visit& visit) {
  const std::uint32_t count = bed.plan.memory.counts[i];
  const Index* partner = bed.list + i;
  for (std::uint32_t k = 0; k < count; ++k, partner += bed.plan.stride) {
    const std::uint32_t j = *partner;
    const PlaceMotion other = beads[j];
    const float dx = Difference(own.x, other.x, laws.axis_x.length_of_quantum);
    const float dy = Difference(own.y, other.y, laws.axis_y.length_of_quantum);
    visit(j, other, laws.Place(dx, dy, laws.Squared(dx, dy)));
  }
}

}  // namespace gyrebox::kernels::cuda
