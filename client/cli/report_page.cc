#include "cli/report_page.h"

#include <absl/strings/str_replace.h>
#include <google/protobuf/struct.pb.h>
#include <google/protobuf/util/time_util.h>

#include "cli/output.h"
#include "cli/text.h"

namespace gyrebox::client {

/// Where the data goes.
constexpr char kPlaceholder[] = "%GYREBOX_REPORT_DATA%";

static std::string JsonString(const std::string& text) {
  google::protobuf::Value value;
  value.set_string_value(text);
  return JsonText(value, /*one_line=*/false);
}

std::string ScriptSafe(const std::string& json) {
  // These occur inside strings only, where JSON lets them be written by their number.
  return absl::StrReplaceAll(json, {{"<", "\\u003c"}, {">", "\\u003e"}, {"&", "\\u0026"}});
}

absl::StatusOr<std::string> ReportPageText(const v1::Answers& answers, const v1::Study& study,
                                           const std::string& study_file, const std::string& frames) {
  std::string page = kReportPage;
  const size_t at = page.find(kPlaceholder);
  if (at == std::string::npos) {
    return absl::FailedPreconditionError(
        "this client was built without npm and so without the page of the report; install nodejs and npm and build it "
        "again for a report.html");
  }
  v1::Study brief = study;
  brief.clear_spec();  // stands in the page as the study file
  const std::string written = TimeText(google::protobuf::util::TimeUtil::GetCurrentTime());
  const std::string data = "{\"answers\":" + JsonText(answers, /*one_line=*/true) +
                           ",\"study\":" + JsonText(brief, /*one_line=*/true) + ",\"frames\":" + frames +
                           ",\"study_file\":" + JsonString(study_file) + ",\"written\":" + JsonString(written) + "}";
  return page.replace(at, sizeof(kPlaceholder) - 1, ScriptSafe(data));
}

}  // namespace gyrebox::client
