/// A bed as the passes of a step see it.
#pragma once

#include "cuda/bed_data.h"
#include "cuda/health.h"

namespace gyrebox::kernels::cuda {

/// Whether a bead is a spinner, and its number.
GYREBOX_HD bool IsSpinner(std::uint32_t tag) { return (tag & kSpinnerBit) != 0; }
GYREBOX_HD std::uint32_t IdOf(std::uint32_t tag) { return tag & ~kSpinnerBit; }

/// What lists hold. Of resident beds: partners.
using ResidentIndex = std::uint16_t;
/// Of streamed ones: the way in memory from a bead to its partner, which is short where rows of cells are; or, where
/// the plan says `wide`, partners of 32 bits.
using StreamedIndex = std::int16_t;

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

/// Bead that lies a way from bead i in memory, where the last bead is followed by the first.
GYREBOX_HD std::uint32_t AfterWay(std::uint32_t i, std::int32_t way, std::uint32_t n) {
  const std::uint32_t j = i + static_cast<std::uint32_t>(way);
  return j < n ? j : (way < 0 ? j + n : j - n);
}

/// Goes along the list of a bead.
class ListWalk {
 public:
  GYREBOX_HD ListWalk(const BedView<ResidentIndex>& bed, std::uint32_t i, std::uint32_t from = 0)
      : at_(reinterpret_cast<const char*>(bed.list + i) + std::size_t{from} * bed.plan.stride * sizeof(ResidentIndex)) {
  }
  GYREBOX_HD ListWalk(const BedView<StreamedIndex>& bed, std::uint32_t i, std::uint32_t from = 0)
      : at_(reinterpret_cast<const char*>(bed.list) +
            ((std::size_t{from} * bed.plan.stride + i) << (bed.plan.wide ? 2 : 1))) {}

  /// The partner that it stands at, of bead i.
  GYREBOX_HD std::uint32_t Partner(const BedView<ResidentIndex>&, std::uint32_t) const {
    return *reinterpret_cast<const ResidentIndex*>(at_);
  }
  GYREBOX_HD std::uint32_t Partner(const BedView<StreamedIndex>& bed, std::uint32_t i) const {
    if (bed.plan.wide) return *reinterpret_cast<const std::uint32_t*>(at_);
    return AfterWay(i, *reinterpret_cast<const StreamedIndex*>(at_), bed.plan.n);
  }
  GYREBOX_HD void Next(const BedView<ResidentIndex>& bed) { at_ += bed.plan.stride * sizeof(ResidentIndex); }
  GYREBOX_HD void Next(const BedView<StreamedIndex>& bed) {
    at_ += std::size_t{bed.plan.stride} << (bed.plan.wide ? 2 : 1);
  }

 private:
  const char* at_;
};

/// Partner k of bead i.
template <class Index>
GYREBOX_HD std::uint32_t PartnerOf(const BedView<Index>& bed, std::uint32_t k, std::uint32_t i) {
  return ListWalk(bed, i, k).Partner(bed, i);
}

/// Writes partner k of bead i. @return whether the list can hold it.
GYREBOX_HD bool PutPartner(const BedView<ResidentIndex>& bed, std::uint32_t k, std::uint32_t i, std::uint32_t j) {
  bed.list[std::size_t{k} * bed.plan.stride + i] = static_cast<ResidentIndex>(j);
  return true;
}
GYREBOX_HD bool PutPartner(const BedView<StreamedIndex>& bed, std::uint32_t k, std::uint32_t i, std::uint32_t j) {
  const std::size_t at = std::size_t{k} * bed.plan.stride + i;
  if (bed.plan.wide) {
    reinterpret_cast<std::uint32_t*>(bed.list)[at] = j;
    return true;
  }
  auto way = static_cast<std::int32_t>(j - i);
  const auto n = static_cast<std::int32_t>(bed.plan.n);
  if (way > n / 2) way -= n;
  if (way < -(n / 2)) way += n;
  bed.list[at] = static_cast<StreamedIndex>(way);
  return way == bed.list[at];
}

/// Calls visit(partner, place, pair, fetched) for each partner of bead i, in the order of its list; what `fetch` gives
/// of a partner is on its way while the one before is dealt with.
template <class Index, class Fetch, class Visit>
GYREBOX_PASS void ForPartners(const BedView<Index>& bed, const StepLaws<float>& laws, const PlaceMotion* beads,
                              std::uint32_t i, const PlaceMotion& own, const Fetch& fetch, const Visit& visit) {
  std::uint32_t left = bed.plan.memory.counts[i];
  if (left == 0) return;
  ListWalk walk(bed, i);
  std::uint32_t j = walk.Partner(bed, i);
  PlaceMotion other = beads[j];
  auto fetched = fetch(j);
  for (;;) {
    const std::uint32_t this_j = j;
    const PlaceMotion this_other = other;
    const auto this_fetched = fetched;
    if (--left > 0) {
      walk.Next(bed);
      j = walk.Partner(bed, i);
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
