#include "report/report_page.h"

#include <absl/strings/str_replace.h>
#include <google/protobuf/struct.pb.h>
#include <google/protobuf/util/time_util.h>

#include "output/output.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

/// Placeholder of the data in the page.
constexpr char kPlaceholder[] = "%GYREBOX_REPORT_DATA%";

/// Escapes every text of a message for display; a note keeps its lines.
static void MakeVisible(Message* message) {
  const auto& reflection = *message->GetReflection();
  std::vector<const FieldDescriptor*> given;
  reflection.ListFields(*message, &given);
  for (const FieldDescriptor* field : given) {
    const int count = field->is_repeated() ? reflection.FieldSize(*message, field) : 1;
    for (int i = 0; i < count; ++i) {
      if (field->cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE) {
        MakeVisible(field->is_repeated() ? reflection.MutableRepeatedMessage(message, field, i)
                                         : reflection.MutableMessage(message, field));
      } else if (field->cpp_type() == FieldDescriptor::CPPTYPE_STRING && field->is_repeated()) {
        reflection.SetRepeatedString(message, field, i,
                                     schema::Visible(reflection.GetRepeatedString(*message, field, i)));
      } else if (field->cpp_type() == FieldDescriptor::CPPTYPE_STRING) {
        const std::string text = reflection.GetString(*message, field);
        reflection.SetString(message, field,
                             field->name() == "note" ? schema::VisibleLines(text) : schema::Visible(text));
      }
    }
  }
}

static std::string JsonString(const std::string& text) {
  google::protobuf::Value value;
  value.set_string_value(text);
  return JsonText(value, /*one_line=*/false);
}

static std::string PlotsJson(const std::vector<v1::Plot>& plots) {
  std::string list;
  for (v1::Plot plot : plots) {
    MakeVisible(&plot);
    list += (list.empty() ? "" : ",") + JsonText(plot, /*one_line=*/true);
  }
  return "[" + list + "]";
}

std::string ScriptSafe(const std::string& json) {
  // These occur only inside strings, where JSON allows escapes by number.
  return absl::StrReplaceAll(json, {{"<", "\\u003c"}, {">", "\\u003e"}, {"&", "\\u0026"}});
}

absl::StatusOr<std::string> ReportPageText(const v1::Answers& answers, const v1::Study& study,
                                           const std::string& study_file, const PageData& data) {
  std::string page = kReportPage;
  const size_t at = page.find(kPlaceholder);
  if (at == std::string::npos) {
    return absl::FailedPreconditionError(
        "this client was built without npm and has no report page; install nodejs and npm and rebuild it to get a "
        "report.html");
  }
  v1::Study brief = study;
  brief.clear_spec();  // the page holds it as the study file
  MakeVisible(&brief);
  v1::Answers shown = answers;
  MakeVisible(&shown);
  const std::string written = TimeText(google::protobuf::util::TimeUtil::GetCurrentTime());
  const std::string json = "{\"answers\":" + JsonText(shown, /*one_line=*/true) +
                           ",\"study\":" + JsonText(brief, /*one_line=*/true) + ",\"frames\":" + data.frames +
                           ",\"runs\":" + data.runs + ",\"film\":" + data.film + ",\"plots\":" + PlotsJson(data.plots) +
                           ",\"study_file\":" + JsonString(study_file) + ",\"written\":" + JsonString(written) + "}";
  return page.replace(at, sizeof(kPlaceholder) - 1, ScriptSafe(json));
}

}  // namespace gyrebox::client
