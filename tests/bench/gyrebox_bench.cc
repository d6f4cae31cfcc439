// Speed of the engine as a run sees it: rebuilds, noise, health checks and observables at their default interval
// included. Prints N, dimension, dynamics, solver, temperature and device with every figure.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdio>
#include <fstream>

#include "gyrebox/device.h"
#include "gyrebox/step_choice.h"

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
  std::string solver = "lagged";
  double tolerance = 1e-3;
  int order = 0;
  std::string start = "random";
  std::int64_t warm_up = 200;
  std::int64_t chunk = 200;
  bool measured = true;
  bool cost_of_measuring = false;
  double seconds = 5;
  int threads = 0;
  std::string device = "cpu";
  std::string json;
};

// A dense driven bed as users run it: packing 0.70, 30 % spinners, sine drive of the rate.
RunSpec BenchRun(const Options& options, std::uint64_t seed) {
  RunSpec spec;
  spec.n_beads = options.beads;
  spec.n_spinners = options.beads * 3 / 10;
  using Equation = gyrebox::kernels::DynamicsSpec::Equation;
  spec.dynamics.equation = options.solver == "converged"  ? Equation::kConverged
                           : options.solver == "brownian" ? Equation::kBrownian
                                                          : Equation::kLagged;
  spec.dynamics.tolerance = options.tolerance;
  spec.start.arrangement =
      options.start == "lattice" ? StartSpec::Arrangement::kTriangular : StartSpec::Arrangement::kRandom;
  if (!options.measured) spec.measure.interval_steps = std::int64_t{1} << 40;
  const auto sides = gyrebox::kernels::FitSides(spec.start.arrangement, options.beads, 0.70, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = options.temperature;
  spec.n_steps = std::int64_t{1} << 40;
  spec.drive.wave.shape = WaveSpec::Shape::kSine;
  spec.drive.wave.amplitude = options.amplitude;
  spec.drive.wave.frequency = 1;
  spec.seeds.positions = seed;
  using Step = gyrebox::kernels::DynamicsSpec::Step;
  spec.dynamics.step = options.order == 1   ? Step::kFirstOrder
                       : options.order == 2 ? Step::kSecondOrder
                                            : ChooseOrder(spec, gyrebox::kernels::PeaksOf(spec), 0.70);
  return spec;
}

struct Figure {
  double bead_steps_per_second = 0;
  double rebuild_fraction = 0;  // of the time of all threads
  double steps_per_rebuild = 0;
};

Figure Measure(gyrebox::kernels::Device& device, const Options& options) {
  std::vector<RunSpec> specs;
  for (int i = 0; i < options.beds; ++i) specs.push_back(BenchRun(options, static_cast<std::uint64_t>(i) + 1));
  auto ensemble = device.NewEnsemble(specs);
  const std::int64_t chunk = options.chunk;
  const auto advance = [&](std::int64_t steps) {
    const auto begin = std::chrono::steady_clock::now();
    for (const auto& run : ensemble->Advance(steps)) {
      if (run.fault) throw std::runtime_error(run.fault->message);
    }
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  };
  // Warms up past the start, where lists change faster.
  advance(options.warm_up);
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
  figure.rebuild_fraction = (after.seconds - before.seconds) / (seconds * threads);
  figure.steps_per_rebuild = static_cast<double>(steps) * options.beds /
                             static_cast<double>(std::max<std::int64_t>(1, after.count - before.count));
  return figure;
}

// Fraction of a run's time spent on its observables: the same beds with and without them, from one complete sample to
// the next. The two alternate, so that other load on the machine affects both; the fastest of each counts.
double CostOfMeasuring(gyrebox::kernels::Device& device, Options options) {
  std::unique_ptr<gyrebox::kernels::Ensemble> ensembles[2];
  for (const bool measured : {false, true}) {
    options.measured = measured;
    std::vector<RunSpec> specs;
    for (int i = 0; i < options.beds; ++i) specs.push_back(BenchRun(options, static_cast<std::uint64_t>(i) + 1));
    ensembles[measured] = device.NewEnsemble(specs);
    ensembles[measured]->Advance(options.warm_up);
  }
  const gyrebox::kernels::MeasureSpec usual;
  const std::int64_t steps = usual.interval_steps * usual.structure_every;
  double quickest[2] = {1e30, 1e30};
  for (double seconds = 0; seconds < options.seconds;) {
    for (const bool measured : {false, true}) {
      const auto begin = std::chrono::steady_clock::now();
      ensembles[measured]->Advance(steps);
      const double took = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
      quickest[measured] = std::min(quickest[measured], took);
      seconds += took;
    }
  }
  return 1 - quickest[false] / quickest[true];
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
  app.add_option("--solver", options.solver, "lagged, converged, brownian")
      ->check(CLI::IsMember({"lagged", "converged", "brownian"}));
  app.add_option("--tolerance", options.tolerance, "of the converged solver");
  app.add_option("--order", options.order, "of the step: 1, 2; 0 for the one by default")->check(CLI::Range(0, 2));
  app.add_option("--start", options.start, "random, lattice")->check(CLI::IsMember({"random", "lattice"}));
  app.add_option("--warm-up", options.warm_up, "steps before those that are timed");
  app.add_option("--chunk", options.chunk, "steps asked for at a time");
  app.add_flag("--measured,!--unmeasured", options.measured, "observables at their default interval, or none");
  app.add_flag("--cost-of-measuring", options.cost_of_measuring, "the share of the time that the observables take");
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
  if (options.cost_of_measuring) {
    std::printf("%s: %d x %lld beads, %s, kT = %g, %s: observables take %.1f %% of the time\n", options.name.c_str(),
                options.beds, static_cast<long long>(options.beads), options.solver.c_str(), options.temperature,
                opened.device->description().c_str(), 100 * CostOfMeasuring(*opened.device, options));
    return 0;
  }
  const Figure figure = Measure(*opened.device, options);
  std::printf("%s: %d x %lld beads, 2D, %s, kT = %g, A = %g, %s, %s\n", options.name.c_str(), options.beds,
              static_cast<long long>(options.beads), options.solver.c_str(), options.temperature, options.amplitude,
              options.measured ? "observables at their default interval" : "no observables",
              opened.device->description().c_str());
  std::printf("  %.4g bead-steps/s; a list rebuild every %.1f steps, %.1f %% of the time\n",
              figure.bead_steps_per_second, figure.steps_per_rebuild, 100 * figure.rebuild_fraction);
  std::printf("  %.0f bytes a bead\n",
              static_cast<double>(opened.device->BytesOf(BenchRun(options, 1))) / static_cast<double>(options.beads));
  if (!options.json.empty()) {
    std::ofstream(options.json) << "{\"case\": \"" << options.name << "\", \"beads\": " << options.beads
                                << ", \"beds\": " << options.beds << ", \"solver\": \"" << options.solver
                                << "\", \"temperature\": " << options.temperature << ", \"device\": \""
                                << opened.device->description()
                                << "\", \"bead_steps_per_second\": " << figure.bead_steps_per_second
                                << ", \"rebuild_fraction\": " << figure.rebuild_fraction << "}\n";
  }
  return 0;
}
