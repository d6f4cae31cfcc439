// Startup time of a server with many runs on disk, and the time to list a page of them.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "store/store.h"
#include "study/defaults.h"

namespace {

using namespace gyrebox;
using Clock = std::chrono::steady_clock;

struct Options {
  int runs = 100'000;
  int samples = 100;
  int width = 4;
  int state_bytes = 4096;
  std::string keep;  ///< folder for the store; empty for a temporary one
};

constexpr int kAtATime = 1000;
constexpr int kPage = 1000;  // the client's page size

double MillisecondsSince(Clock::time_point moment) {
  return std::chrono::duration<double, std::milli>(Clock::now() - moment).count();
}

template <class T>
T Check(absl::StatusOr<T> result) {
  if (!result.ok()) {
    std::fprintf(stderr, "%s\n", result.status().ToString().c_str());
    std::exit(3);
  }
  return *std::move(result);
}

store::RunUpdate Finished(int64_t number, const Options& options) {
  store::RunUpdate update;
  update.number = number;
  update.state = v1::Run::STATE_FINISHED;
  update.step = 250 * options.samples;
  update.samples.width = static_cast<size_t>(2 + options.width);
  for (int i = 0; i < options.samples * (2 + options.width); ++i)
    update.samples.numbers.push_back(number + 0.37 * i * i);
  if (options.state_bytes > 0) {
    update.end_state.emplace().bytes.assign(static_cast<size_t>(options.state_bytes), 'x');
  }
  return update;
}

/// Ten studies of ended runs.
void Fill(store::Store& store, const Options& options) {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_drive()->mutable_sine()->set_amplitude(10);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_schedule()->set_duration(2);
  spec.mutable_trials()->set_count(options.runs / 10);
  study::FillDefaults(&spec);
  std::vector<store::NewRun> runs;
  for (auto& plan : study::Expand(spec)) runs.push_back({std::move(plan), 100, 4000});
  for (int64_t id = 1; id <= 10; ++id) {
    Check(store.studies().Create(spec, runs, ""));
    for (int64_t first = 1; first <= static_cast<int64_t>(runs.size()); first += kAtATime) {
      std::vector<int64_t> numbers;
      std::vector<store::RunUpdate> updates;
      for (int64_t i = first; i < first + kAtATime && i <= static_cast<int64_t>(runs.size()); ++i) {
        numbers.push_back(i);
        updates.push_back(Finished(i, options));
      }
      absl::Status status = store.queue().Start(id, numbers, "cpu").status();
      status.Update(store.runs().RecordProgress(id, std::move(updates)));
      if (!status.ok()) std::exit(3);
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("How soon a server with many runs on disk is ready.");
  app.add_option("--runs", options.runs, "Runs, in ten studies")->capture_default_str();
  app.add_option("--samples", options.samples, "Samples of a run")->capture_default_str();
  app.add_option("--width", options.width, "Values of a sample")->capture_default_str();
  app.add_option("--state-bytes", options.state_bytes, "Bytes of the state that a run left; 0 for none")
      ->capture_default_str();
  app.add_option("--keep", options.keep, "Folder to leave the store in");
  CLI11_PARSE(app, argc, argv);
  std::string folder = (std::filesystem::temp_directory_path() / "gyrebox-bench-XXXXXX").string();
  if (!options.keep.empty()) {
    folder = options.keep;
  } else if (mkdtemp(folder.data()) == nullptr) {
    return 1;
  }
  Fill(*Check(store::Store::Open(folder)), options);
  const auto opening = Clock::now();
  const auto store = Check(store::Store::Open(folder));
  const double opened = MillisecondsSince(opening);
  double slowest = 0;
  for (int64_t above = 0; above < options.runs / 10; above += kPage) {
    const auto asked = Clock::now();
    Check(store->runs().List(5, above, kPage));
    slowest = std::max(slowest, MillisecondsSince(asked));
  }
  const auto asked = Clock::now();
  Check(store->studies().List(1'000'000, 100));
  const double studies = MillisecondsSince(asked);
  std::printf(
      "%d runs of %d samples of %d values, %.0f MB: open after %.0f ms, at most %.1f ms a page of %d runs, %.1f ms "
      "the list of studies\n",
      options.runs, options.samples, options.width,
      static_cast<double>(std::filesystem::file_size(folder + "/gyrebox.db")) / 1e6, opened, slowest, kPage, studies);
  if (options.keep.empty()) std::filesystem::remove_all(folder);
  return 0;
}
