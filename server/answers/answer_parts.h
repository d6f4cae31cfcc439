/// The answers of a study: one function per question, each in its own file.
#pragma once

#include "answers/answer_writer.h"
#include "answers/plan.h"
#include "digest/study_data.h"
#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::analysis {

class AsPrepared;

// Each function adds quantities, plots, cautions and a summary to an answer. It leaves the answer empty, or sets
// why_not, if the ended runs do not suffice.

void AnswerPlateaus(const StudyData& data, v1::Answer* answer);
void AnswerMap(const StudyData& data, const Plan& plan, v1::Answer* answer);
void AnswerSwitching(const StudyData& data, const AsPrepared& samples, v1::Answer* answer);
void AnswerMemory(const StudyData& data, const Plan& plan, const AsPrepared& samples, v1::Answer* answer);
void AnswerLoop(const StudyData& data, const AsPrepared& samples, v1::Answer* answer);
void AnswerRobustness(const StudyData& data, const Plan& plan, v1::Answer* answer);
void AnswerShape(const StudyData& data, v1::Answer* answer);
void AnswerPolydispersity(const StudyData& data, v1::Answer* answer);
void AnswerAudit(const StudyData& data, const Plan& plan, v1::Answer* answer);

/// Adds the stages of the schedule to every plot over the time of a run.
void AddStages(const StudyData& data, v1::Answers* answers);

/// Adds a column for each axis of a study: x_axis is the horizontal position, the others distinguish curves.
void AxisColumns(const StudyData& data, int x_axis, PlotWriter* plot);

/// "at amplitude 20, frequency 1: " to begin a sentence; empty without settings.
std::string AtText(const std::vector<v1::AxisSetting>& at);

/// A sentence that begins with these settings and a capital letter.
std::string Sentence(const std::vector<v1::AxisSetting>& at, const std::string& text);

/// Axis values of a point as settings.
std::vector<v1::AxisSetting> SettingsOf(const StudyData& data, const Point& point);

/// Last part of a field path in words: "amplitude spread", "stage 2 amplitude".
std::string ShortName(const std::string& field);

/// A size to answer for: that of the study, or the other average over clusters.
struct Average {
  v1::Observable observable;
  std::string label;   ///< of its quantities; empty for the size of the study
  std::string suffix;  ///< of the names of its plots; empty for the size of the study
  /// Of a run on the plateau of a stage.
  double At(const RunDigest& run, size_t stage) const {
    return label.empty() ? run.stages[stage].mean : stage < run.other_stages.size() ? run.other_stages[stage] : kNone;
  }
  /// On the last plateau.
  double Of(const RunDigest& run) const { return At(run, run.stages.size() - 1); }
  NumberOf number() const {
    return [this](const RunDigest& run) { return Of(run); };
  }
};

/// The size of a study, and the other average over clusters where it was measured.
std::vector<Average> AveragesOf(const StudyData& data);

/// Means of the logarithms of a number at all points, in their order; the variances are moderated over the points.
std::vector<LogMean> LogMeansOf(const StudyData& data, const NumberOf& number);

/// Fraction of the spinners above which the largest cluster is limited by the bed.
inline constexpr double kMaxFractionOfSpinners = 0.1;
/// Fraction of the spinners in the largest cluster, mean over realizations; NaN if unknown.
double FractionInLargest(const Point& point);

/// "still growing in 2/3, largest cluster 14 % of the spinners, clusters wrap round the bed": what a reader must know
/// about the size of a point; empty if nothing.
std::string SizeNotes(const Point& point);

/// Mark of a point with what became of its runs and the notes on its size.
RowMark SizeMarkOf(const Point& point);

/// " at 50 tau, still growing in 3 of 4 runs": age of the size of a point.
std::string AgeText(const Point& point);

/// CV of cluster size of a run.
double PolydispersityOf(const RunDigest& run);
inline constexpr char kPolydispersityDefinition[] =
    "Polydispersity of a run: CV of cluster size, standard deviation over mean, over clusters of 5 or more beads, "
    "averaged over the last plateau; smaller is more uniform.";

}  // namespace gyrebox::analysis
