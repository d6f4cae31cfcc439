/// The page of a report: one HTML file that needs nothing else.
#pragma once

#include <absl/status/statusor.h>

#include <string>

#include "lib/client.h"

namespace gyrebox::client {

/// The page without its data, from client/web; empty where the client was built without npm.
extern const char kReportPage[];

/// JSON that may stand inside a script element of HTML: nothing in it ends the element or opens a comment there.
std::string ScriptSafe(const std::string& json);

/// The page with the data of a study in it.
/// @param frames JSON list of the pictures of its snapshots, see FramesJson().
/// @return FAILED_PRECONDITION where the client was built without the page.
absl::StatusOr<std::string> ReportPageText(const v1::Answers& answers, const v1::Study& study,
                                           const std::string& study_file, const std::string& frames);

}  // namespace gyrebox::client
