// What watchers cost a run: one study alone, then the same one watched by many, some of whom read nothing until it is
// over. The server must be running, have nothing else to do, and let one person open that many streams.
#include <grpcpp/grpcpp.h>

#include <CLI/CLI.hpp>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <memory>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"

namespace {

using namespace gyrebox;
using Clock = std::chrono::steady_clock;

struct Options {
  std::string server = "127.0.0.1:7421";
  int pid = 0;  ///< of the server, to look at its memory
  int beads = 1536;
  int trials = 128;
  double duration = 200;  ///< tau
  double interval = 1;    ///< tau between samples
  int readers = 180, idle = 20;
};

/// A connection of its own for each watcher, as from different machines.
std::shared_ptr<grpc::Channel> Connect(const Options& options) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_USE_LOCAL_SUBCHANNEL_POOL, 1);
  return grpc::CreateCustomChannel(options.server, grpc::InsecureChannelCredentials(), arguments);
}

void Check(const grpc::Status& status) {
  if (!status.ok()) throw std::runtime_error(status.error_message());
}

v1::Study Create(const Options& options) {
  v1::CreateStudyRequest request;
  v1::StudySpec& spec = *request.mutable_spec();
  spec.mutable_bed()->set_bead_count(options.beads);
  spec.mutable_drive()->mutable_steady()->set_amplitude(20);
  spec.mutable_schedule()->set_duration(options.duration);
  spec.mutable_measure()->set_interval(options.interval);
  spec.mutable_trials()->set_count(options.trials);
  grpc::ClientContext context;
  v1::Study study;
  Check(v1::StudyService::NewStub(Connect(options))->CreateStudy(&context, request, &study));
  return study;
}

/// Seconds until a study is over.
double WaitForEnd(const Options& options, const std::string& name) {
  const auto stub = v1::StudyService::NewStub(Connect(options));
  const auto start = Clock::now();
  v1::GetStudyRequest request;
  request.set_name(name);
  for (;; std::this_thread::sleep_for(std::chrono::milliseconds(20))) {
    grpc::ClientContext context;
    v1::Study study;
    Check(stub->GetStudy(&context, request, &study));
    if (study.has_end_time()) return std::chrono::duration<double>(Clock::now() - start).count();
  }
}

double ServerMegabytes(int pid) {
  std::ifstream status("/proc/" + std::to_string(pid) + "/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with("VmRSS:")) return std::stod(line.substr(6)) / 1024;
  }
  return 0;
}

/// Watches the first run of a study to its end. @return samples that came without a hole or a repeat; -1 where there
/// was one.
int64_t Watch(const Options& options, const std::string& study, const std::atomic<bool>& may_read) {
  const auto stub = v1::RunService::NewStub(Connect(options));
  grpc::ClientContext context;
  v1::WatchRunsRequest request;
  request.set_parent(study);
  request.add_runs(1);
  request.set_with_samples(true);
  const auto reader = stub->WatchRuns(&context, request);
  while (!may_read) std::this_thread::sleep_for(std::chrono::milliseconds(50));
  int64_t samples = 0;
  for (v1::WatchRunsResponse message; reader->Read(&message);) {
    for (const v1::Sample& sample : message.samples().samples()) {
      if (sample.sequence() != samples++) return -1;
    }
  }
  const grpc::Status status = reader->Finish();
  if (status.ok()) return samples;
  std::fprintf(stderr, "a watcher was turned away: %s\n", status.error_message().c_str());
  return -1;
}

int Run(const Options& options) {
  WaitForEnd(options, Create(options).name());  // the device is warm, and its rate known
  const double alone = WaitForEnd(options, Create(options).name());
  const double before = ServerMegabytes(options.pid);

  const std::string study = Create(options).name();
  const std::atomic<bool> at_once = true;
  std::atomic<bool> over = false;
  std::vector<int64_t> samples(static_cast<size_t>(options.readers + options.idle));
  std::vector<std::thread> threads;
  for (size_t i = 0; i < samples.size(); ++i) {
    const bool reads = i < static_cast<size_t>(options.readers);
    threads.emplace_back([&, i, reads] { samples[i] = Watch(options, study, reads ? at_once : over); });
  }
  const double watched = WaitForEnd(options, study);
  const double after = ServerMegabytes(options.pid);
  over = true;
  for (std::thread& thread : threads) thread.join();

  int64_t whole = 0;
  for (const int64_t n : samples) whole += n == samples[0] && n > 0 ? 1 : 0;
  std::printf("%d runs of %d beads: %.2f s alone, %.2f s with %d watchers, %d of whom read nothing: %+.1f %%\n",
              options.trials, options.beads, alone, watched, options.readers + options.idle, options.idle,
              100 * (watched / alone - 1));
  std::printf("%.1f samples a second; %lld of %zu watchers got all %lld, without hole or repeat\n",
              static_cast<double>(samples[0]) / watched, static_cast<long long>(whole), samples.size(),
              static_cast<long long>(samples[0]));
  if (options.pid > 0) std::printf("server memory %.0f MB before, %.0f MB while watched\n", before, after);
  return whole == static_cast<int64_t>(samples.size()) ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("What watchers cost a run.");
  app.add_option("--server", options.server, "HOST:PORT");
  app.add_option("--pid", options.pid, "process of the server, to look at its memory");
  app.add_option("--beads", options.beads, "beads of a run");
  app.add_option("--trials", options.trials, "runs");
  app.add_option("--duration", options.duration, "of a run, tau");
  app.add_option("--interval", options.interval, "between samples, tau");
  app.add_option("--readers", options.readers, "watchers who read");
  app.add_option("--idle", options.idle, "watchers who read nothing until the study is over");
  CLI11_PARSE(app, argc, argv);
  try {
    return Run(options);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
  }
}
