/// The answers of a study: one function per question, each in its own file.
#pragma once

#include "answers/answer_writer.h"
#include "answers/plan.h"
#include "digest/study_data.h"
#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::analysis {

// Each function adds quantities, plots, cautions and a summary to an answer. It leaves the answer empty, or sets
// why_not, if the ended runs do not suffice.

void AnswerPlateaus(const StudyData& data, v1::Answer* answer);
void AnswerMap(const StudyData& data, const Plan& plan, v1::Answer* answer);
/// @param fresh control study with as-prepared samples, or null.
void AnswerSwitching(const StudyData& data, const StudyData* fresh, v1::Answer* answer);
void AnswerMemory(const StudyData& data, const Plan& plan, v1::Answer* answer);
void AnswerLoop(const StudyData& data, v1::Answer* answer);
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

/// CV of cluster size of a run.
double PolydispersityOf(const RunDigest& run);
inline constexpr char kPolydispersityDefinition[] =
    "Polydispersity of a run: CV of cluster size, standard deviation over mean, over clusters of 5 or more beads, "
    "averaged over the last plateau; smaller is more uniform.";

}  // namespace gyrebox::analysis
