/// The report page: one self-contained HTML file.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <vector>

#include "lib/client.h"

namespace gyrebox::client {

/// The page without its data, from client/web; empty if the client was built without npm.
extern const char kReportPage[];

/// JSON that is safe inside an HTML script element: nothing in it ends the element or opens a comment.
std::string ScriptSafe(const std::string& json);

/// Data of a report beside the answers, as JSON.
struct PageData {
  std::string frames;  ///< see FramesJson()
  std::string runs;    ///< see RunsJson()
  std::string film;    ///< see FilmJson()
  std::vector<v1::Plot> plots;
};

/// The page with the data of a study.
/// @return FAILED_PRECONDITION if the client was built without the page.
absl::StatusOr<std::string> ReportPageText(const v1::Answers& answers, const v1::Study& study,
                                           const std::string& study_file, const PageData& data);

}  // namespace gyrebox::client
