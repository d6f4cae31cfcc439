// Speed of the engine as a run sees it: rebuilds, noise, health and observables at their default interval included.
// Prints N, dimension, dynamics, solver, temperature, device with every figure.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdio>
#include <fstream>

#include "gyrebox/device.h"

namespace {

using gyrebox::kernels::RunSpec;
using gyrebox::kernels::StartSpec;
using gyrebox::kernels::WaveSpec;

struct Options {
  std::string name = "single";
  std::int64_t beads = 0;
  int beds = 0;
  double temperature = 0.002;
  double amplitude = 20;
  double seconds = 5;
  int threads = 0;
  std::string device = "cpu";
  std::string json;
};

// A dense driven bed as people run it: packing 0.70, 30 % spinners, sine drive of the rate.
RunSpec BenchRun(const Options& options, std::uint64_t seed) {
  RunSpec spec;
  spec.n_beads = options.beads;
  spec.n_spinners = options.beads * 3 / 10;
  const auto sides = gyrebox::kernels::FitSides(StartSpec::Places::kRandom, options.beads, 0.70, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = options.temperature;
  spec.n_steps = std::int64_t{1} << 40;
  spec.drive.wave.shape = WaveSpec::Shape::kSine;
  spec.drive.wave.amplitude = options.amplitude;
  spec.drive.wave.frequency = 1;
  spec.seeds.places = seed;
  return spec;
}

struct Figure {
  double bead_steps_per_second = 0;
  double rebuild_share = 0;  // of the time of all threads
  double steps_per_rebuild = 0;
};

Figure Measure(gyrebox::kernels::Device& device, const Options& options) {
  std::vector<RunSpec> specs;
  for (int i = 0; i < options.beds; ++i) specs.push_back(BenchRun(options, static_cast<std::uint64_t>(i) + 1));
  auto ensemble = device.NewEnsemble(specs);
  std::int64_t chunk = 200;
  const auto advance = [&](std::int64_t steps) {
    const auto begin = std::chrono::steady_clock::now();
    for (const auto& run : ensemble->Advance(steps)) {
      if (run.fault) throw std::runtime_error(run.fault->message);
    }
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  };
  // Warm up past the start, where lists change faster.
  advance(chunk);
  const auto before = ensemble->rebuilds();
  double seconds = 0;
  std::int64_t steps = 0;
  while (seconds < options.seconds) {
    seconds += advance(chunk);
    steps += chunk;
  }
  const auto after = ensemble->rebuilds();
  Figure figure;
  figure.bead_steps_per_second =
      static_cast<double>(options.beads) * options.beds * static_cast<double>(steps) / seconds;
  const double threads = std::min(device.thread_count(), options.beads >= 8192 ? 1 : options.beds);
  figure.rebuild_share = (after.seconds - before.seconds) / (seconds * threads);
  figure.steps_per_rebuild = static_cast<double>(steps) * options.beds /
                             static_cast<double>(std::max<std::int64_t>(1, after.count - before.count));
  return figure;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Speed of the engine, everything a run does included.");
  app.add_option("--case", options.name, "single: one bed; many: many small beds side by side")
      ->check(CLI::IsMember({"single", "many"}));
  app.add_option("--beads", options.beads, "beads a bed (single: 16384; many: 1536)");
  app.add_option("--beds", options.beds, "beds side by side (single: 1; many: 16)");
  app.add_option("--temperature", options.temperature, "k_B T in epsilon");
  app.add_option("--amplitude", options.amplitude, "peak of the drive in rad/tau");
  app.add_option("--seconds", options.seconds, "time to measure");
  app.add_option("--device", options.device, "cpu, cuda, cuda:N");
  app.add_option("--threads", options.threads, "CPU threads, 0 for all");
  app.add_option("--json", options.json, "also write the figure to this file");
  CLI11_PARSE(app, argc, argv);
  if (options.beads == 0) options.beads = options.name == "single" ? 16384 : 1536;
  if (options.beds == 0) options.beds = options.name == "single" ? 1 : 16;

  auto opened = gyrebox::kernels::OpenDevice(options.device, options.threads);
  if (!opened.device) {
    std::fprintf(stderr, "gyrebox_bench: %s\n", opened.reason.c_str());
    return 3;
  }
  const Figure figure = Measure(*opened.device, options);
  std::printf("%s: %d x %lld beads, 2D, overdamped, lagged, kT = %g, A = %g, %s\n", options.name.c_str(), options.beds,
              static_cast<long long>(options.beads), options.temperature, options.amplitude,
              opened.device->description().c_str());
  std::printf("  %.4g bead-steps/s; a list rebuild every %.1f steps, %.1f %% of the time\n",
              figure.bead_steps_per_second, figure.steps_per_rebuild, 100 * figure.rebuild_share);
  if (!options.json.empty()) {
    std::ofstream(options.json) << "{\"case\": \"" << options.name << "\", \"beads\": " << options.beads
                                << ", \"beds\": " << options.beds << ", \"temperature\": " << options.temperature
                                << ", \"device\": \"" << opened.device->description()
                                << "\", \"bead_steps_per_second\": " << figure.bead_steps_per_second
                                << ", \"rebuild_share\": " << figure.rebuild_share << "}\n";
  }
  return 0;
}
