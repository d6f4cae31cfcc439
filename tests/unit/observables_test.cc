#include "measure/observables.h"

#include <gtest/gtest.h>
#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <set>
#include <thread>

#include "beds.h"
#include "measure/blocks.h"
#include "measure/clusters/morphology.h"
#include "runs.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

std::size_t ValueCount(const std::vector<Column>& columns) {
  std::size_t count = 0;
  for (const Column& column : columns) count += static_cast<std::size_t>(column.width);
  return count;
}

void ExpectSameBits(const std::vector<double>& a, const std::vector<double>& b) {
  ASSERT_EQ(a.size(), b.size());
  EXPECT_EQ(std::memcmp(a.data(), b.data(), a.size() * sizeof(double)), 0);
}

Snapshot StartOf(const RunSpec& spec) {
  const StartState start = GenerateInitialState(spec);
  Snapshot bed = EmptySnapshot(spec.side_x, spec.side_y);
  for (std::size_t i = 0; i < start.x.size(); ++i) AddBeadAt(bed, start.x[i], start.y[i], start.spinner[i] != 0);
  return bed;
}

TEST(Columns, HaveNamesOfTheirOwnAndDefinitions) {
  std::set<std::string> names;
  const Observables observables{RunSpec()};
  for (const Column& column : observables.columns()) {
    EXPECT_TRUE(names.insert(column.name).second) << column.name;
    EXPECT_TRUE(column.definition.ends_with(".")) << column.name;
    EXPECT_GE(column.width, 1) << column.name;
  }
}

TEST(Columns, HaveTheirValuesInEverySample) {
  const RunSpec spec = DenseSpec(100);
  const Observables observables(spec);
  const Snapshot bed = StartOf(spec);
  EXPECT_EQ(observables.Measure(bed, true).size(), ValueCount(observables.columns()));
  EXPECT_EQ(observables.Measure(bed, false).size(), ValueCount(observables.columns()));
}

// A bed without spinners, one without passive beads, and a single bead.
TEST(Observables, OfBedsOfOneKindAreMeasured) {
  for (const auto& [beads, spinners] : {std::pair{60, 0}, std::pair{60, 60}, std::pair{1, 1}}) {
    RunSpec spec = DenseSpec(60);
    spec.n_beads = beads;
    spec.n_spinners = spinners;
    const Observables observables(spec);
    const auto values = observables.Measure(StartOf(spec), true);
    EXPECT_EQ(values[ValueAt(observables.columns(), "spinner_largest_size")] > 0, spinners > 0);
    EXPECT_EQ(std::isnan(values[ValueAt(observables.columns(), "msd_spinner")]), spinners == 0);
    EXPECT_EQ(values[ValueAt(observables.columns(), "morphology_class")], 0);
  }
}

TEST(Samples, HoldTheColumnsOfStructureEveryFewSamplesAndAtTheEnds) {
  RunSpec spec = DenseSpec(100);
  spec.n_steps = 75;
  spec.measure.interval_steps = 10;
  spec.measure.structure_every = 3;
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector<RunSpec>{spec});
  const auto samples = ensemble->Advance(76)[0].samples;
  const auto& columns = ensemble->columns(0);
  std::vector<std::int64_t> whole;
  for (const Sample& sample : samples) {
    const bool has = !std::isnan(sample.values[ValueAt(columns, "covered_area_share")]);
    for (const char* name : {"spinner_structure_factor", "domain_spacing", "passive_passive_correlation",
                             "bond_order_local", "euler_per_area", "morphology_class"}) {
      EXPECT_EQ(std::isnan(sample.values[ValueAt(columns, name)]), !has) << name << ", step " << sample.step;
    }
    for (const char* name : {"spinner_weight_average_size", "msd_spinner", "passive_spin", "pressure", "drive_power",
                             "lost_beads", "closest_pair"}) {
      EXPECT_FALSE(std::isnan(sample.values[ValueAt(columns, name)])) << name << ", step " << sample.step;
    }
    EXPECT_EQ(sample.values[ValueAt(columns, "lost_beads")], 0);
    if (has) whole.push_back(sample.step);
  }
  EXPECT_EQ(samples.size(), 9u);
  EXPECT_EQ(whole, (std::vector<std::int64_t>{0, 30, 60, 75}));
}

TEST(Observables, HaveTheSameBitsOnEveryThread) {
  RunSpec spec = DenseSpec(1000);
  spec.n_spinners = 600;  // too many for direct summation
  const Observables observables(spec);
  const Snapshot bed = StartOf(spec);
  const auto truth = observables.Measure(bed, true);
  std::vector<std::vector<double>> found(8);
  {
    std::vector<std::jthread> threads;
    for (auto& values : found) {
      threads.emplace_back([&] {
        for (int k = 0; k < 5; ++k) values = observables.Measure(bed, true);
      });
    }
  }
  for (const auto& values : found) ExpectSameBits(values, truth);
}

// A bed large enough that all threads measure it together; also many such beds at once on the same threads.
TEST(Observables, HaveTheSameBitsForEveryNumberOfThreads) {
  RunSpec spec = DenseSpec(3 * kBlockBeads + kSharedBeads + 77);
  spec.start.closest_pair = 0;  // initialises without relaxation
  const Observables observables(spec);
  const Snapshot bed = StartOf(spec);
  std::vector<double> truth;
  tbb::task_arena(1).execute([&] { truth = observables.Measure(bed, true); });
  for (const int threads : {2, 3, 8}) {
    std::vector<std::vector<double>> found(6);
    tbb::task_arena arena(threads);
    arena.execute([&] {
      tbb::parallel_for(std::size_t{0}, found.size(),
                        [&](std::size_t i) { found[i] = observables.Measure(bed, true); });
    });
    for (const auto& values : found) ExpectSameBits(values, truth);
  }
}

double WordOf(StartSpec::Labels labels, double fraction, bool swapped) {
  RunSpec spec = DenseSpec(1024);
  spec.start.arrangement = StartSpec::Arrangement::kTriangular;
  const Sides sides = FitSides(spec.start.arrangement, 1024, 0.75, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.start.labels = labels;
  spec.n_spinners = std::llround(1024 * fraction);
  Snapshot bed = StartOf(spec);
  if (swapped) {
    for (auto& spinner : bed.spinner) spinner = spinner == 0;
  }
  const Observables observables(spec);
  return observables.Measure(bed, true)[ValueAt(observables.columns(), "morphology_class")];
}

TEST(Morphology, HasTheClassOfTheBed) {
  using Labels = StartSpec::Labels;
  EXPECT_EQ(WordOf(Labels::kDrop, 0.3, false), 1);
  EXPECT_EQ(WordOf(Labels::kStripe, 0.5, false), 2);
  EXPECT_EQ(WordOf(Labels::kStripe, 0.3, false), 2);
  EXPECT_EQ(WordOf(Labels::kDrop, 0.3, true), 3);
  for (const double fraction : {0.1, 0.3, 0.5, 0.7, 0.9})
    EXPECT_EQ(WordOf(Labels::kScattered, fraction, false), 0) << fraction;
}

// Domains of 4 by 4 sigma, 10 x 10 of which fill the bed: 16 beads each, half of them spinners.
Domains EvenDomains() {
  Domains domains;
  domains.spinner_count = domains.passive_count = 800;
  domains.area = 1600;
  domains.spacing = 4;
  domains.same_kind_fraction = 0.8;
  domains.spinners.weight_average_size = domains.passive.weight_average_size = 8;
  return domains;
}

TEST(Morphology, WindingStripesNeedNotWrapTheBed) {
  Domains domains = EvenDomains();
  EXPECT_EQ(Classify(domains), MorphologyClass::kNone);
  domains.passive.wrapping_count = 1;
  EXPECT_EQ(Classify(domains), MorphologyClass::kDroplets);
  domains.spinners.weight_average_size = 23;
  EXPECT_EQ(Classify(domains), MorphologyClass::kDroplets);
  domains.spinners.weight_average_size = 25;
  EXPECT_EQ(Classify(domains), MorphologyClass::kStripes);
  domains.passive.wrapping_count = 0;
  EXPECT_EQ(Classify(domains), MorphologyClass::kInverseDroplets);
}

TEST(Morphology, OfMixedBedsIsNone) {
  Domains domains = EvenDomains();
  domains.passive.wrapping_count = 1;
  domains.same_kind_fraction = 0.76;
  EXPECT_EQ(Classify(domains), MorphologyClass::kDroplets);
  domains.same_kind_fraction = 0.74;
  EXPECT_EQ(Classify(domains), MorphologyClass::kNone);
}

}  // namespace
}  // namespace gyrebox::kernels
