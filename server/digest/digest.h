/// Digest of one run: its series reduced to what the answers need.
#pragma once

#include <absl/status/statusor.h>

#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "digest/stages.h"
#include "estimators/plateau.h"
#include "estimators/series.h"
#include "gyrebox/v1/run.pb.h"
#include "store/store.h"
#include "study/observables.h"

namespace gyrebox::analysis {

/// Class names of the column morphology_class, indexed by its values.
inline constexpr const char* kMorphologyWords[] = {"mixed", "droplets", "stripes", "inverse droplets"};
constexpr size_t kWords = std::size(kMorphologyWords);
using study::kNumberAverage;
using study::kWeightAverage;
constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

/// A change of the drive from one hold stage to the next.
struct Switch {
  size_t from = 0, to = 0;  ///< indices of the stages
  double begin = 0;         ///< end of the first stage, tau; a ramp between the two begins there
};

/// The switches of a schedule.
std::vector<Switch> SwitchesOf(const std::vector<Stage>& stages);

/// Digest of one run. Values that were not measured are NaN.
struct RunDigest {
  v1::Observable observable;  ///< used as the size
  int64_t number = 0;
  int trial = 0;
  v1::Run::State state = v1::Run::STATE_UNSPECIFIED;
  bool changed = false;              ///< adjusted while it ran: it left its point and does not count
  bool no_frames = false;            ///< asked to be measured again, but keeps no frames
  bool identical = false;            ///< to the first realization of its point, by its spec: counts once
  std::string left_out;              ///< who excluded it and why; empty if nobody did
  std::vector<Plateau> stages;       ///< plateau of each stage; empty if the run does not count
  PlateauWindow last;                ///< window of the last plateau
  std::vector<double> responses;     ///< response time of each switch, tau
  double number_average = kNone;     ///< number-average cluster size on the last plateau
  double weight_average = kNone;     ///< weight-average cluster size on the last plateau
  std::vector<double> other_stages;  ///< on the plateau of each stage: the average over clusters that is not the size
  double largest = kNone;            ///< spinners in the largest cluster on the last plateau
  double wrapping = kNone;           ///< mean number of clusters that wrap round the bed on the last plateau
  double polydispersity = kNone;     ///< CV of cluster size on the last plateau
  double spacing = kNone;            ///< of domains on the last plateau, sigma
  std::array<double, kWords> words = {};  ///< fraction of the samples of the last plateau in each class; all 0 for none
  PhaseProfile phase;                     ///< on the last plateau; empty without a single drive frequency
  std::vector<double> course;             ///< mean size in kCourseBins equal time bins

  bool counts() const { return !stages.empty() && stages.back().count > 0; }
  double size() const { return stages.back().mean; }
  double other() const { return other_stages.empty() ? kNone : other_stages.back(); }
};

/// Time bins of the course of a run.
constexpr size_t kCourseBins = 200;

/// How much of a run to summarize.
enum class Depth {
  kMean,      ///< only the mean of the last plateau, in the single entry of `stages`
  kAverages,  ///< also both averages of cluster size
  kWhole,     ///< everything
};

/// Columns that a digest needs, as indices into a sample row, which begins with step and time.
struct Columns {
  static constexpr size_t kAbsent = 0;  ///< no column: indices begin with step and time
  v1::Observable observable;
  size_t size = kAbsent, number_average = kAbsent, weight_average = kAbsent, largest = kAbsent, wrapping = kAbsent,
         polydispersity = kAbsent, spacing = kAbsent, word = kAbsent;

  /// The average over clusters to show beside the size: number-average, or weight-average where that is the size.
  size_t other() const { return size == number_average ? weight_average : number_average; }
};

/// INVALID_ARGUMENT if no such single number is measured.
absl::StatusOr<Columns> FindColumns(const std::vector<v1::Observable>& observables, const std::string& name);

/// The same columns, indexed in rows that hold only these.
/// @param indices of the columns in a full row, for store::Series::ReadColumns().
Columns SelectColumns(const Columns& columns, Depth depth, std::vector<size_t>* indices);

/// Summarizes a finished run.
/// @param stages of the run; the last ends where the run does.
/// @param frequency of the drive in cycles/tau if no stage changes it; else 0.
/// @param planned_end end of the course, tau.
RunDigest SummarizeRun(const store::SampleRows& rows, const Columns& columns, const std::vector<Stage>& stages,
                       double fraction, double frequency, double planned_end, Depth depth);

/// Earliest sample time that a digest of this depth needs, in tau.
double FirstTimeNeeded(const std::vector<Stage>& stages, double fraction, Depth depth);

}  // namespace gyrebox::analysis
