// Cost of watchers for a run: one study alone and the same study watched by many, alternating; some watchers read
// nothing until it is over. The server must be running, be otherwise idle, and let one user open that many streams.
#include <grpcpp/grpcpp.h>

#include <CLI/CLI.hpp>
#include <algorithm>
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
  std::string server;
  int pid = 0;  ///< of the server, to read its memory
  int beads = 1536;
  int trials = 128;
  double duration = 200;  ///< tau
  double interval = 1;    ///< tau between samples
  int readers = 180, idle = 20;
  int turns = 5;
};

/// A separate connection for each watcher, as from different machines.
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

/// Seconds until a study ends.
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

/// What one watcher received.
struct Got {
  int64_t samples = 0;  ///< without gap or repeat; -1 if there was one
  int gaps = 0;         ///< notices of having fallen behind
};

/// Watches the first run of a study to its end.
Got Watch(const Options& options, const std::string& study, const std::atomic<bool>& may_read) {
  const auto stub = v1::RunService::NewStub(Connect(options));
  grpc::ClientContext context;
  v1::WatchRunsRequest request;
  request.set_parent(study);
  request.add_runs(1);
  request.set_with_samples(true);
  const auto reader = stub->WatchRuns(&context, request);
  while (!may_read) std::this_thread::sleep_for(std::chrono::milliseconds(50));
  Got got;
  for (v1::WatchRunsResponse message; reader->Read(&message);) {
    if (message.has_gap()) ++got.gaps;
    for (const v1::Sample& sample : message.samples().samples()) {
      if (sample.sequence() != got.samples++) return {-1, got.gaps};
    }
  }
  const grpc::Status status = reader->Finish();
  if (status.ok()) return got;
  std::fprintf(stderr, "a watcher was turned away: %s\n", status.error_message().c_str());
  return {-1, got.gaps};
}

struct Watched {
  double seconds = 0;
  double megabytes = 0;  ///< of the server, at the end of the study
  std::vector<Got> got;  ///< of the readers, then of the idle ones
};

Watched RunWatched(const Options& options) {
  Watched watched;
  const std::string study = Create(options).name();
  const std::atomic<bool> at_once = true;
  std::atomic<bool> over = false;
  watched.got.resize(static_cast<size_t>(options.readers + options.idle));
  std::vector<std::thread> threads;
  for (size_t i = 0; i < watched.got.size(); ++i) {
    const bool reads = i < static_cast<size_t>(options.readers);
    threads.emplace_back([&, i, reads] { watched.got[i] = Watch(options, study, reads ? at_once : over); });
  }
  watched.seconds = WaitForEnd(options, study);
  watched.megabytes = ServerMegabytes(options.pid);
  over = true;
  for (std::thread& thread : threads) thread.join();
  return watched;
}

/// Prints the results. Whether all watchers got the complete series.
bool Tell(const Options& options, double alone, double before, const Watched& watched) {
  int whole = 0, told = 0, readers_told = 0;
  const int64_t samples = watched.got[0].samples;
  for (size_t i = 0; i < watched.got.size(); ++i) {
    const Got& got = watched.got[i];
    whole += got.samples == samples && samples > 0 ? 1 : 0;
    if (got.gaps > 0) ++(i < static_cast<size_t>(options.readers) ? readers_told : told);
  }
  std::printf(
      "%.2f s alone, %.2f s watched: %+.1f %%; %.1f samples a second; %d of %zu got all %lld; told of a gap: %d of "
      "the %d who read nothing, %d others",
      alone, watched.seconds, 100 * (watched.seconds / alone - 1), static_cast<double>(samples) / watched.seconds,
      whole, watched.got.size(), static_cast<long long>(samples), told, options.idle, readers_told);
  if (options.pid > 0) std::printf("; server memory %.0f MB before, %.0f MB while watched", before, watched.megabytes);
  std::printf("\n");
  return whole == static_cast<int>(watched.got.size());
}

double Median(std::vector<double> numbers) {
  std::sort(numbers.begin(), numbers.end());
  return numbers[numbers.size() / 2];
}

int Run(const Options& options) {
  WaitForEnd(options, Create(options).name());  // warms up the device and makes its rate known
  std::vector<double> alone, watched;
  bool all = true;
  for (int turn = 0; turn < options.turns; ++turn) {
    alone.push_back(WaitForEnd(options, Create(options).name()));
    const double before = ServerMegabytes(options.pid);
    const Watched with = RunWatched(options);
    watched.push_back(with.seconds);
    all = Tell(options, alone.back(), before, with) && all;
  }
  std::printf("%d runs of %d beads, %d watchers, medians of %d turns: %.2f s alone, %.2f s watched: %+.1f %%\n",
              options.trials, options.beads, options.readers + options.idle, options.turns, Median(alone),
              Median(watched), 100 * (Median(watched) / Median(alone) - 1));
  return all ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("What watchers cost a run.");
  app.add_option("--server", options.server, "unix:PATH of its socket")->required();
  app.add_option("--pid", options.pid, "process of the server, to look at its memory");
  app.add_option("--beads", options.beads, "beads of a run");
  app.add_option("--trials", options.trials, "runs");
  app.add_option("--duration", options.duration, "of a run, tau");
  app.add_option("--interval", options.interval, "between samples, tau");
  app.add_option("--readers", options.readers, "watchers who read");
  app.add_option("--idle", options.idle, "watchers who read nothing until the study is over");
  app.add_option("--turns", options.turns, "times alone and watched");
  CLI11_PARSE(app, argc, argv);
  try {
    return Run(options);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
  }
}
