/// The answers of a study, one function a question, each in a file of its own.
#pragma once

#include "analysis/answer_writer.h"
#include "analysis/plan.h"
#include "analysis/study_data.h"
#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::analysis {

// Each adds quantities, plots, cautions and a summary to an answer; it leaves it empty, or says why_not, where the runs
// that have ended do not suffice.

void AnswerPlateaus(const StudyData& data, v1::Answer* answer);
void AnswerMap(const StudyData& data, const Plan& plan, v1::Answer* answer);
/// @param fresh another study whose beds are compared with, or null.
void AnswerSwitching(const StudyData& data, const StudyData* fresh, v1::Answer* answer);
void AnswerMemory(const StudyData& data, const Plan& plan, v1::Answer* answer);
void AnswerLoop(const StudyData& data, v1::Answer* answer);
void AnswerRobustness(const StudyData& data, const Plan& plan, v1::Answer* answer);
void AnswerShape(const StudyData& data, v1::Answer* answer);
void AnswerUniformity(const StudyData& data, v1::Answer* answer);
void AnswerAudit(const StudyData& data, const Plan& plan, v1::Answer* answer);

/// Columns of the axes of a study: the axis x is the horizontal place, the others tell curves apart.
void AxisColumns(const StudyData& data, int x_axis, PlotWriter* plot);

/// "at amplitude 20, frequency 1: " for a sentence; empty where nothing is held.
std::string AtText(const std::vector<v1::AxisSetting>& at);

/// A sentence about what is at these settings, begun with them and with a capital letter.
std::string Sentence(const std::vector<v1::AxisSetting>& at, const std::string& text);

/// The axes of a point as settings.
std::vector<v1::AxisSetting> SettingsOf(const StudyData& data, const Point& point);

/// The last part of a path of a field in words: "amplitude spread", "stage 2 amplitude".
std::string ShortName(const std::string& field);

/// Spread of sizes over the clusters of a run.
double UniformityOf(const RunDigest& run);
inline constexpr char kUniformityDefinition[] =
    "Uniformity of a run: mean over its last plateau of the standard deviation over mean of the sizes of its clusters "
    "of 5 or more beads; smaller is more uniform.";

}  // namespace gyrebox::analysis
