// Speed and memory of the answers of a study: a store is filled with synthetic runs, then queried.
#include <sys/resource.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <limits>
#include <random>

#include "answers/answers.h"
#include "answers/table.h"
#include "estimators/plateau.h"
#include "store/store.h"
#include "study/defaults.h"
#include "study/expand.h"

namespace {

using namespace gyrebox;
using Clock = std::chrono::steady_clock;

struct Options {
  int points = 1000;
  int trials = 10;
  int samples = 1000;
  int width = 4;    ///< values per sample; every ninth sample holds those past the first kInEverySample
  int segment = 0;  ///< samples per segment; 0 for all of a run
};

constexpr int kInEverySample = 54;

/// Wall-clock time, and CPU time of this process, which does not depend on the load of the machine.
struct Time {
  double seconds = 0, cpu_seconds = 0;
};

class Stopwatch {
 public:
  Time Read() const {
    return {std::chrono::duration<double>(Clock::now() - start_).count(),
            static_cast<double>(std::clock() - cpu_start_) / CLOCKS_PER_SEC};
  }

 private:
  const Clock::time_point start_ = Clock::now();
  const std::clock_t cpu_start_ = std::clock();
};

void Print(const char* what, Time time, const std::string& more = "") {
  std::printf("%-11s %7.3f s, %7.3f s of a core%s\n", what, time.seconds, time.cpu_seconds, more.c_str());
}

std::string Megabytes(double bytes) {
  char text[32];
  std::snprintf(text, sizeof(text), "%.1f MB", bytes / 1e6);
  return text;
}

double PeakMegabytes() {
  rusage usage;
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_maxrss) / 1024;
}

v1::StudySpec SpecOf(const Options& options) {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_schedule()->set_duration(options.samples / 8.0);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_linear()->set_first(0);
  axis.mutable_linear()->set_last(64);
  axis.mutable_linear()->set_count(options.points);
  spec.mutable_trials()->set_count(options.trials);
  study::FillDefaults(&spec);
  return spec;
}

std::vector<v1::Observable> ObservablesOf(int width) {
  std::vector<v1::Observable> all;
  for (const char* name : {"spinner_weight_average_size", "polydispersity", "domain_spacing", "morphology_class"}) {
    v1::Observable& observable = all.emplace_back();
    observable.set_name(name);
    observable.set_width(1);
  }
  // As in real samples: single numbers, a histogram, a structure factor, correlations.
  for (int column = 4; column < width; column += all.back().width()) {
    const int usual = column < 30 ? 1 : column < 54 ? 24 : column < 118 ? 64 : 200;
    all.emplace_back().set_name("other_" + std::to_string(column));
    all.back().set_width(std::min(usual, width - column));
  }
  return all;
}

/// A correlated series about a mean that rises with the amplitude, with an oscillation in each period.
store::RunUpdate RunOf(int64_t number, double amplitude, const Options& options, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  store::RunUpdate update;
  update.number = number;
  update.state = v1::Run::STATE_FINISHED;
  update.time = options.samples / 8.0;
  update.samples.width = store::kRowHead + options.width;
  size_t column = store::kRowHead;
  for (const v1::Observable& observable : ObservablesOf(options.width)) {
    const auto width = static_cast<size_t>(observable.width());
    if (width > 1) update.samples.wide.push_back({column, width});
    column += width;
  }
  double x = normal(random);
  for (int i = 0; i < options.samples; ++i) {
    x = 0.9 * x + 0.4 * normal(random);
    const double time = (i + 1) / 8.0;
    update.samples.numbers.insert(update.samples.numbers.end(),
                                  {i * 250.0, time, 10 + amplitude + 3 * x + std::sin(2 * M_PI * time), 0.5, 5, 1});
    for (int k = 4; k < options.width; ++k) {
      const bool held = k < kInEverySample || i % 9 == 0;
      update.samples.numbers.push_back(held ? std::floor(100 * normal(random)) / 64
                                            : std::numeric_limits<double>::quiet_NaN());
    }
  }
  return update;
}

/// Records runs, one segment of each at a time.
bool Record(store::Store& store, const std::vector<store::RunUpdate>& whole, const Options& options) {
  const int at_a_time = options.segment > 0 ? options.segment : options.samples;
  for (int first = 0; first < options.samples; first += at_a_time) {
    const int end = std::min(options.samples, first + at_a_time);
    std::vector<store::RunUpdate> updates;
    for (const store::RunUpdate& run : whole) {
      store::RunUpdate& part = updates.emplace_back();
      part.number = run.number;
      part.time = run.time;
      if (end == options.samples) part.state = run.state;
      part.samples.width = run.samples.width;
      part.samples.wide = run.samples.wide;
      const auto begin = run.samples.numbers.begin();
      const auto width = static_cast<std::ptrdiff_t>(run.samples.width);
      part.samples.numbers.assign(begin + first * width, begin + end * width);
    }
    if (!store.runs().RecordProgress(1, updates).ok()) return false;
  }
  return true;
}

int64_t Fill(store::Store& store, const Options& options) {
  const v1::StudySpec spec = SpecOf(options);
  std::vector<store::NewRun> runs;
  for (auto& plan : study::Expand(spec)) runs.push_back({std::move(plan), 100, options.samples * 250});
  if (!store.studies().Create(spec, runs, "").ok()) std::abort();
  std::mt19937_64 random(1);
  const size_t at_a_time = options.width > kInEverySample ? 20 : 100;
  for (size_t first = 0; first < runs.size(); first += at_a_time) {
    std::vector<int64_t> numbers;
    std::vector<store::RunUpdate> updates;
    for (size_t i = first; i < std::min(runs.size(), first + at_a_time); ++i) {
      numbers.push_back(static_cast<int64_t>(i) + 1);
      updates.push_back(RunOf(numbers.back(), runs[i].plan.axis_values[0], options, random));
    }
    const std::vector<std::vector<v1::Observable>> observables(numbers.size(), ObservablesOf(options.width));
    if (!store.queue().Start(1, numbers, "cpu").ok() || !store.series().SetObservables(1, numbers, observables).ok() ||
        !Record(store, updates, options)) {
      std::abort();
    }
  }
  return static_cast<int64_t>(runs.size());
}

/// The estimators alone, on series in memory.
Time EstimateTime(const Options& options) {
  std::mt19937_64 random(1);
  std::vector<analysis::Series> series;
  for (int i = 0; i < 100; ++i) {
    const auto update = RunOf(1, 20, options, random);
    analysis::Series& one = series.emplace_back();
    for (size_t k = 0; k < update.samples.size(); ++k) one.Add(update.samples.row(k)[1], update.samples.row(k)[2]);
  }
  const Stopwatch watch;
  double sum = 0;
  const int runs = options.points * options.trials;
  for (int i = 0; i < runs; ++i) {
    const double end = options.samples / 8.0;
    sum += analysis::MeasurePlateau(series[i % series.size()], {0, end / 2, end, 1}).mean;
  }
  const Time time = watch.Read();
  return sum > 0 ? time : Time();
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Speed and memory of the answers of a study.");
  app.add_option("--points", options.points, "Points of the study")->capture_default_str();
  app.add_option("--trials", options.trials, "Trials of a point")->capture_default_str();
  app.add_option("--samples", options.samples, "Samples of a run")->capture_default_str();
  app.add_option("--width", options.width, "Values of a sample; a real one has 718")->capture_default_str();
  app.add_option("--segment", options.segment, "Samples of a segment; 0 for all of a run")->capture_default_str();
  CLI11_PARSE(app, argc, argv);
  std::string folder = (std::filesystem::temp_directory_path() / "gyrebox-bench-XXXXXX").string();
  if (mkdtemp(folder.data()) == nullptr) return 1;
  {
    auto store = store::Store::Open(folder);
    if (!store.ok()) return 1;
    const Stopwatch fill_watch;
    const int64_t runs = Fill(**store, options);
    const Time fill = fill_watch.Read();
    const double filled = PeakMegabytes();
    const double disk = static_cast<double>(store->get()->space().StoredBytes()->at(store::kLocalUser));
    const Stopwatch table_watch;
    const bool tabulated = analysis::Tabulate(**store, 1, "").ok();
    const Time table = table_watch.Read();
    v1::AnalysisOptions asked;
    if (!analysis::FillOptions(&asked).ok() || !tabulated) return 1;
    analysis::DigestCache cache;
    const Stopwatch watch;
    const auto answers = analysis::Analyse(**store, 1, asked, &cache);
    const Time time = watch.Read();
    const Stopwatch again_watch;
    const bool again = analysis::Analyse(**store, 1, asked, &cache).ok();
    const Time again_time = again_watch.Read();
    if (!answers.ok() || !again) return 1;
    std::printf("%lld runs of %d samples of %d values\n", static_cast<long long>(runs), options.samples, options.width);
    Print("filling", fill, "; " + Megabytes(disk) + " of samples");
    Print("answers", time, "; " + Megabytes(static_cast<double>(answers->ByteSizeLong())) + " as a message");
    Print("asked again", again_time);
    Print("table", table);
    std::printf("peak memory %7.0f MiB, of which filling the store took %.0f\n", PeakMegabytes(), filled);
  }
  Print("plateaus", EstimateTime(options), ", of as many series in memory");
  std::filesystem::remove_all(folder);
  return 0;
}
