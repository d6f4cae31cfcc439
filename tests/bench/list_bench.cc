// Time to list a page of runs and to submit a large study, by calls to a running server whose store holds finished
// studies (see full_store).
#include <grpcpp/grpcpp.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <stdexcept>
#include <string>
#include <vector>

#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"

namespace {

using namespace gyrebox;
using Clock = std::chrono::steady_clock;

struct Options {
  std::string server;
  int page = 1000;  ///< runs
  int runs = 10'000;
};

constexpr int kPoints = 100;

double MillisecondsSince(Clock::time_point moment) {
  return std::chrono::duration<double, std::milli>(Clock::now() - moment).count();
}

void Check(const grpc::Status& status) {
  if (!status.ok()) throw std::runtime_error(status.error_message());
}

/// Milliseconds for each page of the runs of all studies; counts the runs.
std::vector<double> Pages(v1::RunService::Stub& runs, const v1::ListStudiesResponse& studies, const Options& options,
                          int64_t* count) {
  std::vector<double> milliseconds;
  for (const v1::Study& study : studies.studies()) {
    v1::ListRunsRequest request;
    request.set_parent(study.name());
    request.set_page_size(options.page);
    do {
      grpc::ClientContext context;
      v1::ListRunsResponse page;
      const auto asked = Clock::now();
      Check(runs.ListRuns(&context, request, &page));
      milliseconds.push_back(MillisecondsSince(asked));
      *count += page.runs_size();
      request.set_page_token(page.next_page_token());
    } while (!request.page_token().empty());
  }
  return milliseconds;
}

/// Milliseconds until a study is accepted. The study is cancelled at once.
double Submit(v1::StudyService::Stub& studies, const Options& options) {
  v1::CreateStudyRequest request;
  v1::StudySpec& spec = *request.mutable_spec();
  spec.mutable_bed()->set_bead_count(1536);
  spec.mutable_drive()->mutable_sine()->set_amplitude(20);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_schedule()->set_duration(100);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("thermal.temperature");
  axis.mutable_linear()->set_first(0);
  axis.mutable_linear()->set_last(0.01);
  axis.mutable_linear()->set_count(kPoints);
  spec.mutable_trials()->set_count(options.runs / kPoints);
  grpc::ClientContext context;
  v1::Study study;
  const auto asked = Clock::now();
  Check(studies.CreateStudy(&context, request, &study));
  const double milliseconds = MillisecondsSince(asked);
  grpc::ClientContext cancelling;
  v1::CancelStudyRequest cancel;
  cancel.set_name(study.name());
  Check(studies.CancelStudy(&cancelling, cancel, &study));
  return milliseconds;
}

int Run(const Options& options) {
  const auto channel = grpc::CreateChannel(options.server, grpc::InsecureChannelCredentials());
  const auto runs = v1::RunService::NewStub(channel);
  const auto studies = v1::StudyService::NewStub(channel);
  grpc::ClientContext context;
  context.set_wait_for_ready(true);
  v1::ListStudiesResponse all;
  const auto asked = Clock::now();
  Check(studies->ListStudies(&context, {}, &all));
  const double list = MillisecondsSince(asked);
  int64_t count = 0;
  std::vector<double> pages = Pages(*runs, all, options, &count);
  if (pages.empty()) throw std::runtime_error("the store holds no studies");
  std::sort(pages.begin(), pages.end());
  std::printf("%lld runs: list of studies %.1f ms; page of %d runs p50 %.1f ms, most %.1f ms\n",
              static_cast<long long>(count), list, options.page, pages[pages.size() / 2], pages.back());
  const double submitted = Submit(*studies, options);
  std::printf("a study of %d runs accepted after %.0f ms\n", options.runs, submitted);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("How long lists and large submissions take on a server with many runs.");
  app.add_option("--server", options.server, "unix:PATH of its socket")->required();
  app.add_option("--page", options.page, "Runs of a page")->capture_default_str();
  app.add_option("--runs", options.runs, "Runs of the study to submit")->capture_default_str();
  CLI11_PARSE(app, argc, argv);
  try {
    return Run(options);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "gyrebox_list_bench: %s\n", error.what());
    return 1;
  }
}
