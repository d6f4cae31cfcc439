#include <algorithm>
#include <iostream>
#include <sstream>
#include <vector>

#include "commands/registry.h"
#include "gyrebox/v1/rule.pb.h"
#include "output/cautions.h"
#include "output/run_notes.h"
#include "output/stages.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/field_path.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Which studies to list.
struct ListInput {
  std::string owner, label;  ///< empty for any
  bool all = false;          ///< include archived studies
};

/// Max values of an axis that are all listed.
constexpr int kMaxValuesTold = 12;

static std::string PercentText(double fraction) { return std::to_string(static_cast<int>(100 * fraction)) + " %"; }

static std::string TitleOf(const v1::Study& study) { return study.spec().title(); }

/// Remark on a study in the list.
static std::string RemarkOf(const v1::Study& study) {
  if (study.archived()) return "archived";
  return study.has_delete_time() ? "to be deleted " + TimeText(study.delete_time()) : "";
}

static void PrintList(const v1::ListStudiesResponse& all) {
  std::vector<Row> rows = {{"study", "owner", "state", "done", "runs", "created", "labels", "title", ""}};
  for (const v1::Study& study : all.studies()) {
    rows.push_back({study.name(), study.owner(), StateText(study.state()), PercentText(study.progress()),
                    CountsText(study.run_counts()), TimeText(study.create_time()), LabelsText(study), TitleOf(study),
                    RemarkOf(study)});
  }
  std::vector<Align> align(rows[0].size(), Align::kLeft);
  align[3] = Align::kRight;
  WriteAligned(std::cout, rows, align);
}

static ExitCode List(const Session& session, const ListInput& input) {
  v1::ListStudiesRequest request;
  request.set_owner(input.owner);
  request.set_label(input.label);
  request.set_with_archived(input.all);
  if (session.json) request.set_view(v1::STUDY_VIEW_FULL);
  const auto all = Client(session.server).ListStudies(request);
  if (!all.ok()) return Report(session, all.status());
  const bool any = input.owner.empty() && input.label.empty();
  if (session.json) {
    PrintJson(*all);
  } else if (!all->studies().empty()) {
    PrintList(*all);
  } else {
    std::cout << (any ? "There are no studies yet; gyrebox submit FILE creates one.\n"
                      : "There are no such studies.\n");
  }
  return kDone;
}

static std::string ValuesText(const v1::Axis& axis) {
  const auto number = [](double value) { return schema::NumberText(value); };
  if (axis.spacing_case() != v1::Axis::SPACING_NOT_SET) {
    const auto& range = axis.has_linear() ? axis.linear() : axis.logarithmic();
    return std::to_string(range.count()) + " values from " + number(range.first()) + " to " + number(range.last()) +
           (axis.has_linear() ? ", equal differences" : ", equal ratios");
  }
  const int count = axis.values_size(), told = count > kMaxValuesTold ? kMaxValuesTold - 1 : count;
  std::string text;
  for (int i = 0; i < told; ++i) text += (i > 0 ? ", " : "") + number(axis.values(i));
  if (told == count) return text;
  return text + ", ... " + number(axis.values(count - 1)) + " (" + std::to_string(count) + " values)";
}

static std::string StateLine(const v1::Study& study) {
  std::string text = StateText(study.state()) + ", " + PercentText(study.progress()) + " done";
  if (study.has_remaining_seconds()) text += ", " + AboutText(study.remaining_seconds()) + " left";
  return text;
}

/// Labels and note of a study, and its deletion time.
static void AddWords(const v1::Study& study, std::vector<Row>* rows) {
  if (!study.labels().empty()) rows->push_back({"  labels", LabelsText(study)});
  std::istringstream lines(study.note());
  const char* head = "  note";
  for (std::string line; std::getline(lines, line); head = "") {
    std::replace(line.begin(), line.end(), '\t', ' ');
    rows->push_back({head, line});
  }
  if (study.archived()) rows->push_back({"  archived", "not in lists, and never deleted by age or for space"});
  if (!study.has_delete_time()) return;
  rows->push_back({"  DELETED", "from " + TimeText(study.delete_time()) + " on: " + study.delete_reason()});
  rows->push_back({"", "gyrebox archive " + LastPart(study.name()) + " keeps it"});
}

static void PrintHead(const v1::Study& study, int audit_count) {
  std::cout << schema::Visible(study.name() + (TitleOf(study).empty() ? "" : "  " + TitleOf(study))) << "\n";
  std::vector<Row> rows = {
      {"  owner", study.owner()}, {"  state", StateLine(study)}, {"  created", TimeText(study.create_time())}};
  if (study.has_start_time()) rows.push_back({"  started", TimeText(study.start_time())});
  if (study.has_end_time()) rows.push_back({"  ended", TimeText(study.end_time())});
  rows.push_back({"  runs", std::to_string(study.run_counts().total_count()) + ": " + CountsText(study.run_counts())});
  if (audit_count > 0) rows.push_back({"  audit", std::to_string(audit_count) + " of them, with half the time step"});
  for (const v1::Axis& axis : study.spec().axes()) {
    rows.push_back(
        {rows.back()[0] == "  axes" || rows.back()[0].empty() ? "" : "  axes", axis.field() + ": " + ValuesText(axis)});
  }
  rows.push_back({"  realizations", std::to_string(study.spec().trials().count())});
  rows.push_back({"  disk", BytesText(static_cast<double>(study.stored_byte_count()))});
  AddWords(study, &rows);
  WriteAligned(std::cout, rows, {Align::kLeft, Align::kLeft});
  WriteStages(std::cout, study.spec());
}

static bool StoppedEarly(const v1::Run& run) {
  return run.state() == v1::Run::STATE_UNSTABLE || run.state() == v1::Run::STATE_FAILED;
}

/// Prints the runs that stopped early, and why.
static void PrintFaults(const v1::Study& study, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run"}};
  std::vector<Align> align = {Align::kRight};
  for (const v1::Axis& axis : study.spec().axes()) {
    rows[0].push_back(LastPart(axis.field()));
    align.push_back(Align::kRight);
  }
  for (const char* head : {"realization", "state", "why"}) rows[0].push_back(head);
  align.insert(align.end(), {Align::kRight, Align::kLeft, Align::kLeft});
  for (const v1::Run& run : runs) {
    if (!StoppedEarly(run)) continue;
    Row& row = rows.emplace_back();
    row.push_back(RunLabel(run));
    for (const double value : run.axis_values()) row.push_back(schema::NumberText(value, 6));
    row.insert(row.end(), {std::to_string(run.trial()), StateText(run.state()),
                           run.fault().message() + CauseText(run.fault().cause())});
  }
  if (rows.size() == 1) return;
  std::cout << "\nRuns that stopped early:\n";
  WriteAligned(std::cout, rows, align);
}

static ExitCode Show(const Session& session, const std::string& name) {
  Client client(session.server);
  const auto study = client.GetStudy(StudyName(name));
  if (!study.ok()) return Report(session, study.status());
  if (session.json) {
    PrintJson(*study);
    return kDone;
  }
  std::vector<v1::Run> runs;  // only those with something to report
  int audit_count = 0;
  const auto status = client.ForRuns(study->name(), [&](const v1::Run& run) {
    audit_count += run.audit() ? 1 : 0;
    const bool noted = !run.warning().empty() || run.recovered_faults_size() > 0 || run.etag() != "0";
    if (StoppedEarly(run) || noted || run.has_exclusion()) runs.push_back(run);
  });
  if (!status.ok()) return Report(session, status);
  PrintHead(*study, audit_count);
  PrintFaults(*study, runs);
  WriteRunNotes(std::cout, runs);
  WriteSteered(std::cout, runs);
  WriteExcluded(std::cout, runs);
  WriteCautions(std::cout, study->spec().laboratory());
  return kDone;
}

void RegisterShowCommands(Registry& registry) {
  const auto input = std::make_shared<ListInput>();
  CLI::App* list = registry.AddWithJson("list", "List studies, newest first",
                                        [input](const Session& session) { return List(session, *input); });
  list->add_option("--owner", input->owner, "Only studies of this user");
  list->add_option("--label", input->label, "Only studies with this label");
  list->add_flag("--all", input->all, "Include archived studies");
  const auto name = std::make_shared<std::string>();
  TakeStudy(registry.AddWithJson("show", "Show a study and why runs stopped early",
                                 [name](const Session& session) { return Show(session, *name); }),
            name.get());
}

}  // namespace gyrebox::client
