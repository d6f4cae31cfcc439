#include "report/report_runs.h"

#include <google/protobuf/struct.pb.h>

#include "output/output.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

std::string NoteOf(const v1::Run& run) {
  std::string note;
  const auto add = [&](const std::string& text) {
    if (!text.empty()) note += (note.empty() ? "" : "; ") + text;
  };
  add(run.fault().message());
  add(run.warning());
  if (run.has_exclusion()) add("excluded by " + run.exclusion().user() + ": " + run.exclusion().reason());
  if (run.audit()) add("audit: half the time step");
  return note;
}

static google::protobuf::Struct StructOf(const v1::Run& run) {
  google::protobuf::Struct all;
  auto& fields = *all.mutable_fields();
  const std::string& name = run.name();
  fields["number"].set_number_value(std::stod(name.substr(name.rfind('/') + 1)));
  auto& at = *fields["at"].mutable_list_value();
  for (const double value : run.axis_values()) at.add_values()->set_number_value(value);
  fields["trial"].set_number_value(run.trial());
  fields["state"].set_string_value(StateText(run.state()));
  fields["time"].set_number_value(run.time());
  fields["samples"].set_number_value(static_cast<double>(run.sample_count()));
  fields["note"].set_string_value(schema::Visible(NoteOf(run)));
  return all;
}

std::string RunsJson(const std::vector<v1::Run>& runs) {
  std::string list;
  for (const v1::Run& run : runs) list += (list.empty() ? "" : ",") + JsonText(StructOf(run), /*one_line=*/true);
  return "[" + list + "]";
}

}  // namespace gyrebox::client
