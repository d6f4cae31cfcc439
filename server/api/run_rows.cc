// Runs with their sizes, and the drive at their samples.
#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "api/run_service.h"
#include "digest/run_size.h"
#include "digest/study_data.h"
#include "study/applied_drive.h"
#include "study/return_if_error.h"
#include "study/rules.h"
#include "study/steering.h"

namespace gyrebox::api {

constexpr int kRunRowsPerPage = 100;
constexpr int kMaxRunRowsPerPage = 1000;

/// The journal of a run; read only if it has entries.
static absl::StatusOr<std::vector<v1::Adjustment>> JournalOf(store::Store& store, const RunName& id,
                                                             const v1::Run& run) {
  if (run.etag() == "0") return std::vector<v1::Adjustment>();
  return store.journals().Get(id.study, id.run);
}

static absl::Status FillRow(store::Store& store, const v1::StudySpec& spec, v1::Run run, v1::RunRow* row,
                            v1::Observable* observable) {
  const auto id = ParseRunName(run.name());
  if (!id.ok()) return id.status();
  const auto journal = JournalOf(store, *id, run);
  if (!journal.ok()) return journal.status();
  const v1::StudySpec at = study::SpecOf(spec, run, *journal);
  const int64_t step = run.step();
  *row->mutable_run() = std::move(run);
  *row->mutable_drive() = study::AppliedDrives(at, {&step, 1}).front();
  return analysis::AddSize(store, id->study, id->run, at, *journal, row, observable);
}

absl::StatusOr<v1::TabulateRunsResponse> RunService::Tabulate(const v1::TabulateRunsRequest& request,
                                                              const study::Stop& stop) {
  const auto id = ParseStudyName(request.parent());
  if (!id.ok()) return id.status();
  const auto study = server_.store.studies().Get(*id);
  if (!study.ok()) return study.status();
  const std::string list =
      request.parent() + "/rows of " + request.observable() + (request.only_running() ? " of running runs" : "");
  const auto page = PageOf(request, list, kRunRowsPerPage, kMaxRunRowsPerPage);
  if (!page.ok()) return page.status();
  auto runs = request.only_running() ? server_.store.runs().ListOnDevice(*id, page->from, page->size + 1)
                                     : server_.store.runs().List(*id, page->from, page->size + 1);
  if (!runs.ok()) return runs.status();
  const bool more = static_cast<int>(runs->size()) > page->size;
  if (more) runs->pop_back();
  v1::TabulateRunsResponse response;
  response.mutable_observable()->set_name(analysis::LeadingObservable(study->spec(), request.observable()));
  for (const v1::Axis& axis : study->spec().axes()) {
    response.add_axis_fields(axis.field());
    response.add_axis_units(study::UnitAt(study->spec(), axis.field()));
  }
  std::vector<v1::RunRow> rows;
  for (v1::Run& run : *runs) {
    if (stop.asked()) return study::Stopped();
    GYREBOX_RETURN_IF_ERROR(
        FillRow(server_.store, study->spec(), std::move(run), &rows.emplace_back(), response.mutable_observable()));
  }
  const auto taken = static_cast<size_t>(FillPage(&rows, page->size, response.mutable_rows()));
  if (taken < rows.size() || more) {
    const auto& last = response.rows(static_cast<int>(taken) - 1).run().name();
    response.set_next_page_token(page->TokenAt(ParseRunName(last)->run));
  }
  return response;
}

absl::Status RunService::AddDrives(const RunName& id, const v1::Run& run, v1::ListSamplesResponse* page) {
  const auto study = server_.store.studies().Get(id.study);
  if (!study.ok()) return study.status();
  const auto journal = JournalOf(server_.store, id, run);
  if (!journal.ok()) return journal.status();
  std::vector<int64_t> steps;
  for (const v1::Sample& sample : page->samples()) steps.push_back(sample.step());
  auto drives = study::AppliedDrives(study::SpecOf(study->spec(), run, *journal), steps);
  for (int i = 0; i < page->samples_size(); ++i) {
    *page->mutable_samples(i)->mutable_drive() = std::move(drives[static_cast<size_t>(i)]);
  }
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* RunService::TabulateRuns(grpc::CallbackServerContext* context,
                                                   const v1::TabulateRunsRequest* request,
                                                   v1::TabulateRunsResponse* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const study::Stop& stop) { return Tabulate(*request, stop); });
}

}  // namespace gyrebox::api
