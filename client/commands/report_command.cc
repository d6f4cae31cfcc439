#include <iostream>
#include <vector>

#include "commands/measure_options.h"
#include "commands/registry.h"
#include "lib/study_writer.h"
#include "output/text.h"
#include "report/answer_files.h"
#include "report/csv_folder.h"
#include "report/report_frames.h"
#include "report/report_page.h"
#include "report/report_runs.h"
#include "report/series_files.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

using schema::Visible;

static void PrintSummary(const v1::Answers& answers) {
  for (const v1::Answer& answer : answers.answers()) {
    if (!answer.why_not().empty()) continue;
    std::cout << Visible(answer.title()) << "\n  " << Visible(answer.summary()) << "\n";
    for (const std::string& caution : answer.cautions()) std::cout << "  note: " << Visible(caution) << "\n";
  }
}

/// The run whose film a report shows: the first of its selected frames.
static std::string RunOfFilm(const v1::Answers& answers) {
  if (!answers.snapshots().empty()) return answers.snapshots(0).run();
  return answers.beds().empty() ? "" : answers.beds(0).run();
}

/// Writes runs.csv and the series of all runs. Collects the runs that the page lists.
static absl::StatusOr<std::vector<v1::Plot>> WriteRuns(Client& client, const v1::Answers& answers,
                                                       const v1::StudySpec& spec, CsvFolder* folder,
                                                       std::vector<v1::Run>* listed) {
  SeriesFiles series(client, answers, spec, folder);
  auto table = folder->Begin("runs", RunCsvColumns(answers));
  absl::Status read;
  const auto status = client.ForRuns(answers.study(), [&](const v1::Run& run) {
    if (listed->size() < kMaxRunsShown) listed->push_back(run);
    table->Add(RunCells(run));
    if (read.ok() && run.sample_count() > 0) read = series.Add(run);
  });
  folder->End(std::move(table));
  if (!status.ok()) return status;
  if (!read.ok()) return read;
  return series.Finish();
}

static absl::Status WriteAll(Client& client, const v1::Answers& answers, bool data_only, CsvFolder* folder) {
  const auto study = client.GetStudy(answers.study());
  if (!study.ok()) return study.status();
  std::vector<v1::Run> runs;
  const auto series = WriteRuns(client, answers, study->spec(), folder, &runs);
  if (!series.ok()) return series.status();
  folder->Write("answers.json", JsonText(answers, /*one_line=*/false));
  const std::string study_file = StudyFileText(study->spec());
  folder->Write("study.toml", study_file);
  WriteQuantities(answers, folder);
  std::vector<v1::Plot> plots = *series;
  for (const v1::Answer& answer : answers.answers()) {
    plots.insert(plots.end(), answer.plots().begin(), answer.plots().end());
  }
  for (const v1::Plot& plot : plots) {
    if (const auto status = WritePlot(plot, folder); !status.ok()) return status;
  }
  folder->WriteCodebook();
  if (!folder->fault().empty()) return absl::FailedPreconditionError(folder->fault());
  if (data_only) return absl::OkStatus();
  const PageData data{.frames = FramesJson(client, answers),
                      .runs = RunsJson(runs),
                      .film = FilmJson(client, RunOfFilm(answers)),
                      .plots = *series};
  // Without the page the data are still written.
  if (const auto page = ReportPageText(answers, *study, study_file, data); page.ok()) {
    folder->Write("report.html", *page);
  } else {
    std::cerr << "gyrebox: no report.html: " << Visible(std::string(page.status().message())) << "\n";
  }
  return folder->fault().empty() ? absl::OkStatus() : absl::FailedPreconditionError(folder->fault());
}

/// Writes the answers of a study to a folder: report.html, answers.json, quantities.csv, a CSV file for each plot,
/// runs.csv with all seeds, the series, codebook.csv and the study file. Prints the summaries.
static ExitCode WriteReport(const Session& session, const std::string& study, const std::string& directory,
                            bool data_only, const v1::AnalysisOptions& options) {
  Client client(session.server);
  const auto answers = client.AnalyseStudy(StudyName(study), options);
  if (!answers.ok()) return Report(session, answers.status());
  CsvFolder folder(directory);
  if (const auto status = WriteAll(client, *answers, data_only, &folder); !status.ok()) return Report(session, status);
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
    bool data_only = false;
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
                                         return WriteReport(session, o->name, o->directory, o->data_only, asked);
                                       });
                                     }),
                &o->name);
  report->add_option("DIR", o->directory, "Folder; created if it does not exist")->required();
  report->add_flag("--data-only", o->data_only, "Write everything except report.html");
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
