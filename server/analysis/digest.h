/// What is kept of one run: its series boiled down to what the answers need.
#pragma once

#include <absl/status/statusor.h>

#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "analysis/plateau.h"
#include "analysis/series.h"
#include "analysis/stages.h"
#include "gyrebox/v1/run.pb.h"
#include "store/store.h"

namespace gyrebox::analysis {

/// Words of the column morphology_class, by its values.
inline constexpr const char* kMorphologyWords[] = {"mixed", "droplets", "stripes", "inverse droplets"};
constexpr size_t kWords = std::size(kMorphologyWords);
/// Observables of mean sizes of clusters.
inline constexpr char kNumberAverage[] = "spinner_number_average_size";
inline constexpr char kWeightAverage[] = "spinner_weight_average_size";
constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

/// A change of the drive from one stage that holds to the next one that does.
struct Switch {
  size_t from = 0, to = 0;  ///< stages
  double begin = 0;         ///< end of the first, tau; a ramp between the two begins there
};

/// The switches of a course.
std::vector<Switch> SwitchesOf(const std::vector<Stage>& stages);

/// One run, boiled down. What was not measured is NaN.
struct RunDigest {
  v1::Observable observable;  ///< that the size is
  int64_t number = 0;
  int trial = 0;
  v1::Run::State state = v1::Run::STATE_UNSPECIFIED;
  bool changed = false;                   ///< by a person while it ran: it is of another point, and does not count
  bool no_frames = false;                 ///< it was to be measured again, and keeps no frames
  std::string left_out;                   ///< who left it out and why; empty where nobody did
  std::vector<Plateau> stages;            ///< plateau of each stage; empty where the run does not count
  PlateauWindow last;                     ///< window of the last of them
  std::vector<double> responses;          ///< of each switch, tau
  double number_average = kNone;          ///< size of clusters, on the last plateau
  double weight_average = kNone;          ///< the same
  double uniformity = kNone;              ///< spread of sizes over clusters, on the last plateau
  double spacing = kNone;                 ///< of domains, on the last plateau, sigma
  std::array<double, kWords> words = {};  ///< share of the samples of the last plateau with each word; all 0 where none
  PhaseProfile phase;                     ///< of the last plateau; empty under a drive without one frequency
  std::vector<double> course;             ///< means of the size in kCourseBins equal bins of time; for runs with stages

  bool counts() const { return !stages.empty() && stages.back().count > 0; }
  double size() const { return stages.back().mean; }
};

/// Bins of time of the course of a run.
constexpr size_t kCourseBins = 200;

/// How much of a run is asked for.
enum class Depth {
  kMean,      ///< the mean of the last plateau alone: `stages` holds that one, with nothing else in it
  kAverages,  ///< that, and both averages of the size of clusters
  kWhole,     ///< all of it
};

/// The columns that a digest is made of, by their places in a row of samples, which begins with step and time.
struct Columns {
  static constexpr size_t kAbsent = 0;  ///< no column: places begin with step and time
  v1::Observable observable;
  size_t size = kAbsent, number_average = kAbsent, weight_average = kAbsent, uniformity = kAbsent, spacing = kAbsent,
         word = kAbsent;
};

/// INVALID_ARGUMENT where no such single number is measured.
absl::StatusOr<Columns> FindColumns(const std::vector<v1::Observable>& observables, const std::string& name);

/// The same columns in rows that hold no others.
/// @param places where those are in a whole row, for Store::ReadColumns().
Columns Narrow(const Columns& columns, Depth depth, std::vector<size_t>* places);

/// Boils down a run that ran to its end.
/// @param frequency of the drive where no stage changes it, in cycles/tau; else 0.
RunDigest Boil(const store::SampleRows& rows, const Columns& columns, const std::vector<Stage>& stages, double share,
               double frequency, Depth depth);

/// Earliest time of the samples that a digest of this depth is made of, in tau.
double FirstTimeNeeded(const std::vector<Stage>& stages, double share, Depth depth);

}  // namespace gyrebox::analysis
