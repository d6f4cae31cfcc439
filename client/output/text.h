/// Text for users.
#pragma once

#include <string>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// studies/7 from 7 or studies/7.
std::string StudyName(const std::string& given);

/// studies/7/runs/3 from 7/3, 7/runs/3 or studies/7/runs/3.
std::string RunName(const std::string& given);

/// The last part of a name or of a dotted path.
std::string LastPart(const std::string& name);

/// "12"; "12 (audit)" for a run with half the time step.
std::string RunLabel(const v1::Run& run);

/// "amplitude [rad/tau]"; only the name if there is no unit.
std::string WithUnit(const std::string& name, const std::string& unit);

/// "about 3 min 20 s", to two digits; "under a second".
std::string AboutText(double seconds);

/// "3.4 MiB".
std::string BytesText(double bytes);

/// "2026-03-01 14:05:59 UTC".
std::string TimeText(const google::protobuf::Timestamp& time);

/// "running", "unstable".
std::string StateText(v1::Run::State state);
std::string StateText(v1::Study::State state);

/// "16 running, 10 queued, 3 finished, 1 unstable"; omits states without runs. Ends with "; 2 left out by hand" if
/// users excluded runs, whatever their states.
std::string CountsText(const v1::RunCounts& counts);

/// "film, winter"; empty if a study has no labels.
std::string LabelsText(const v1::Study& study);

/// "1 run", "3 runs".
std::string Plural(int64_t count, const std::string& noun);

}  // namespace gyrebox::client
