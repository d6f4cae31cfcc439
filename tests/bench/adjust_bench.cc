// Latency of an adjustment, from the call to the response with its exact step, while the device is busy, and the speed
// of the runs meanwhile. The server must be running and otherwise idle.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "lib/client.h"

namespace {

using namespace gyrebox;
using Clock = std::chrono::steady_clock;

struct Options {
  std::string server;
  int beads = 1536;
  int trials = 128;
  double interval = 0.125;  ///< tau between samples
  int count = 200;          ///< adjustments
  double pause = 0.05;      ///< seconds between adjustments
  double warm_up = 3;       ///< seconds before the first adjustment
};

template <class T>
T Check(absl::StatusOr<T> result) {
  if (!result.ok()) throw std::runtime_error(std::string(result.status().message()));
  return *std::move(result);
}

double SecondsSince(Clock::time_point moment) { return std::chrono::duration<double>(Clock::now() - moment).count(); }

void Sleep(double seconds) { std::this_thread::sleep_for(std::chrono::duration<double>(seconds)); }

std::string Create(client::Client& client, const Options& options) {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(options.beads);
  spec.mutable_drive()->mutable_sine()->set_amplitude(20);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_schedule()->set_duration(1e6);
  spec.mutable_measure()->set_interval(options.interval);
  spec.mutable_trials()->set_count(options.trials);
  return Check(client.CreateStudy(spec)).name();
}

/// Total steps of all runs so far.
double Steps(client::Client& client, const std::string& study) {
  double steps = 0;
  if (!client.ForRuns(study, [&](const v1::Run& run) { steps += static_cast<double>(run.step()); }).ok()) {
    throw std::runtime_error("the runs cannot be listed");
  }
  return steps;
}

int Run(const Options& options) {
  client::Client client(options.server);
  const std::string study = Create(client, options);
  const std::string run = study + "/runs/1";
  while (Check(client.GetRun(run)).step() == 0) Sleep(0.05);
  Sleep(options.warm_up);
  const auto begin = Clock::now();
  const double steps = Steps(client, study);
  std::vector<double> milliseconds;
  v1::AdjustRunsRequest request;
  request.set_name(run);
  request.add_changes()->set_field("drive.sine.amplitude");
  for (int i = 0; i < options.count; ++i) {
    request.mutable_changes(0)->set_value(20 + i % 2);
    const auto asked = Clock::now();
    Check(client.AdjustRuns(request));
    milliseconds.push_back(1e3 * SecondsSince(asked));
    Sleep(options.pause);
  }
  const double rate = (Steps(client, study) - steps) * options.beads / SecondsSince(begin);
  Check(client.CancelStudy(study));
  std::sort(milliseconds.begin(), milliseconds.end());
  const auto at = [&](double share) { return milliseconds[static_cast<size_t>(share * (options.count - 1))]; };
  std::printf(
      "%d x %d beads: %d changes answered after p50 %.0f ms, p90 %.0f ms, p99 %.0f ms, at most %.0f ms; "
      "%.4g bead-steps/s meanwhile\n",
      options.trials, options.beads, options.count, at(0.5), at(0.9), at(0.99), at(1), rate);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("How long a change of a run takes from the call to its answer.");
  app.add_option("--server", options.server, "unix:PATH of its socket")->required();
  app.add_option("--beads", options.beads, "beads of a run");
  app.add_option("--trials", options.trials, "runs");
  app.add_option("--interval", options.interval, "between samples, tau");
  app.add_option("--count", options.count, "changes to ask for")->check(CLI::Range(1, 1'000'000));
  app.add_option("--pause", options.pause, "seconds between two changes");
  app.add_option("--warm-up", options.warm_up, "seconds before the first");
  CLI11_PARSE(app, argc, argv);
  try {
    return Run(options);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
  }
}
