#include <cmath>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <sstream>

#include "commands/measure_options.h"
#include "commands/registry.h"
#include "lib/study_writer.h"
#include "output/text.h"
#include "output/text_table.h"
#include "report/report_frames.h"
#include "report/report_page.h"
#include "report/report_runs.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

using schema::Visible;

/// Writes files to a folder; records the first failure.
class Folder {
 public:
  explicit Folder(const std::string& path) : path_(path) {
    std::error_code error;
    std::filesystem::create_directories(path_, error);
    if (error) fault_ = "cannot create the folder " + path + ": " + error.message();
  }

  void Write(const std::string& name, const std::string& text) {
    if (!fault_.empty()) return;
    const std::filesystem::path path = path_ / name;
    std::ofstream out(path, std::ios::binary);
    out << text;
    out.close();
    if (!out) fault_ = "cannot write " + path.string();
  }

  const std::string& fault() const { return fault_; }

 private:
  const std::filesystem::path path_;
  std::string fault_;
};

static std::string CellText(double value) { return std::isnan(value) ? "" : schema::NumberText(value); }

/// A definition on a line of its own.
static void WriteDefinition(std::ostream& out, const std::string& name, const std::vector<std::string>& sentences) {
  std::string text = name + ":";
  for (const std::string& sentence : sentences) {
    if (!sentence.empty()) text += " " + sentence + (sentence.back() == '.' ? "" : ".");
  }
  WriteCsvComment(out, text);
}

static std::string PlotText(const v1::Plot& plot) {
  std::ostringstream out;
  WriteCsvComment(out, plot.title());
  Row head;
  for (const v1::PlotColumn& column : plot.columns()) {
    head.push_back(WithUnit(column.name(), column.unit()));
    WriteDefinition(out, head.back(), {column.definition(), column.method(), column.reference()});
  }
  head.insert(head.end(), {"label", "mark"});
  WriteCsv(out, head);
  for (const v1::PlotRow& row : plot.rows()) {
    Row cells;
    for (const double value : row.values()) cells.push_back(CellText(value));
    cells.insert(cells.end(), {row.label(), row.mark()});
    WriteCsv(out, cells);
  }
  return out.str();
}

static std::string SettingsText(const v1::Quantity& quantity) {
  std::string text;
  for (const auto& setting : quantity.at()) {
    text += (text.empty() ? "" : "; ") + setting.field() + " = " + schema::NumberText(setting.value());
  }
  return text;
}

static std::string QuantitiesText(const v1::Answers& answers) {
  std::ostringstream out;
  WriteCsv(out, {"question", "name", "at", "label", "value", "low", "high", "unit", "confidence", "trials", "note",
                 "definition", "method", "reference"});
  for (const v1::Answer& answer : answers.answers()) {
    for (const v1::Quantity& q : answer.quantities()) {
      const auto cell = [](bool given, double value) { return given ? schema::NumberText(value) : std::string(); };
      WriteCsv(out,
               {answer.title(), q.name(), SettingsText(q), q.label(), cell(q.has_value(), q.value()),
                cell(q.has_low(), q.low()), cell(q.has_high(), q.high()), q.unit(), schema::NumberText(q.confidence()),
                std::to_string(q.trial_count()), q.note(), q.definition(), q.method(), q.reference()});
    }
  }
  return out.str();
}

/// CSV of the runs with everything needed to repeat each.
static absl::StatusOr<std::string> RunsText(Client& client, const v1::Answers& answers, std::vector<v1::Run>* first) {
  std::ostringstream out;
  Row head = {"run"};
  for (const auto& axis : answers.axes()) head.push_back(WithUnit(axis.field(), axis.unit()));
  head.insert(head.end(), {"trial", "seed_positions", "seed_noise", "seed_disorder", "state", "time [tau]", "samples",
                           "device", "fault", "warning", "left_out", "audit"});
  WriteCsv(out, head);
  const auto status = client.ForRuns(answers.study(), [&](const v1::Run& run) {
    if (first->size() < kMaxRunsShown) first->push_back(run);
    Row cells = {run.name()};
    for (const double value : run.axis_values()) cells.push_back(schema::NumberText(value));
    const v1::Seeds& seeds = run.seeds();
    cells.insert(cells.end(),
                 {std::to_string(run.trial()), std::to_string(seeds.positions()), std::to_string(seeds.noise()),
                  std::to_string(seeds.disorder()), StateText(run.state()), schema::NumberText(run.time()),
                  std::to_string(run.sample_count()), run.device(), run.fault().message(), run.warning(),
                  run.has_exclusion() ? run.exclusion().user() + ": " + run.exclusion().reason() : "",
                  run.audit() ? "half step" : ""});
    WriteCsv(out, cells);
  });
  if (!status.ok()) return status;
  return out.str();
}

/// Whether a name from the server is safe as a file name: only letters, digits and _.
static bool IsPlain(const std::string& name) {
  return !name.empty() && name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_") == std::string::npos;
}

static void PrintSummary(const v1::Answers& answers) {
  for (const v1::Answer& answer : answers.answers()) {
    if (!answer.why_not().empty()) continue;
    std::cout << Visible(answer.title()) << "\n  " << Visible(answer.summary()) << "\n";
    for (const std::string& caution : answer.cautions()) std::cout << "  note: " << Visible(caution) << "\n";
  }
}

static absl::Status WriteAll(Client& client, const v1::Answers& answers, Folder* folder) {
  const auto study = client.GetStudy(answers.study());
  if (!study.ok()) return study.status();
  std::vector<v1::Run> first_runs;
  const auto runs = RunsText(client, answers, &first_runs);
  if (!runs.ok()) return runs.status();
  folder->Write("answers.json", JsonText(answers, /*one_line=*/false));
  const std::string study_file = StudyFileText(study->spec());
  folder->Write("study.toml", study_file);
  folder->Write("runs.csv", *runs);
  folder->Write("quantities.csv", QuantitiesText(answers));
  for (const v1::Answer& answer : answers.answers()) {
    for (const v1::Plot& plot : answer.plots()) {
      if (!IsPlain(plot.name())) return absl::InternalError("the server names a plot " + plot.name());
      folder->Write(plot.name() + ".csv", PlotText(plot));
    }
  }
  // Without the page the data are still written.
  const PageData data{.frames = FramesJson(client, answers), .runs = RunsJson(first_runs)};
  if (const auto page = ReportPageText(answers, *study, study_file, data); page.ok()) {
    folder->Write("report.html", *page);
  } else {
    std::cerr << "gyrebox: no report.html: " << Visible(std::string(page.status().message())) << "\n";
  }
  return folder->fault().empty() ? absl::OkStatus() : absl::FailedPreconditionError(folder->fault());
}

/// Writes the answers of a study to a folder: report.html, answers.json, quantities.csv, a CSV file for each plot,
/// runs.csv with all seeds, and the study file. Prints the summaries.
static ExitCode WriteReport(const Session& session, const std::string& study, const std::string& directory,
                            const v1::AnalysisOptions& options) {
  Client client(session.server);
  const auto answers = client.AnalyseStudy(StudyName(study), options);
  if (!answers.ok()) return Report(session, answers.status());
  Folder folder(directory);
  if (const auto status = WriteAll(client, *answers, &folder); !status.ok()) return Report(session, status);
  if (session.json) {
    PrintJson(*answers);
  } else {
    PrintSummary(*answers);
  }
  return kDone;
}

void RegisterReportCommand(Registry& registry) {
  struct Options {
    std::string name, directory;
    v1::AnalysisOptions analysis;
    MeasureInput measure;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* report =
      TakeStudy(registry.AddWithJson("report", "Write the answers of a study and the data of its plots to a folder",
                                     [o](const Session& session) {
                                       return Measured(o->measure, [&](const auto& again) {
                                         v1::AnalysisOptions asked = o->analysis;
                                         if (again) *asked.mutable_measure_again() = *again;
                                         return WriteReport(session, o->name, o->directory, asked);
                                       });
                                     }),
                &o->name);
  report->add_option("DIR", o->directory, "Folder; created if it does not exist")->required();
  const auto number = [&](const char* name, void (v1::AnalysisOptions::*set)(double), const char* help) {
    report->add_option_function<double>(
        name, [o, set](double value) { (o->analysis.*set)(value); }, help);
  };
  report->add_option_function<std::string>(
      "--observable", [o](const std::string& name) { o->analysis.set_observable(name); },
      "Observable used as the size; default spinner_weight_average_size");
  number("--equal-fraction", &v1::AnalysisOptions::set_equal_fraction,
         "Fraction by which equal sizes may differ; default 0.25");
  number("--onset-factor", &v1::AnalysisOptions::set_onset_factor,
         "Onset threshold over the size without drive; default 1.5");
  number("--change-factor", &v1::AnalysisOptions::set_change_factor,
         "Factor of growth and shrinkage to look for; default 2");
  report->add_option_function<std::string>(
      "--fresh", [o](const std::string& name) { o->analysis.set_fresh_study(StudyName(name)); },
      "Study with as-prepared samples to compare stages with");
  AddMeasureOptions(report, &o->measure);
}

}  // namespace gyrebox::client
