// Cost and error of a step: beds over drive amplitudes and realizations, at several steps, orders and solvers. Prints
// one row of CSV for each amplitude at each of these: mean cluster sizes and energy over the last half of the runs,
// their standard errors over realizations, the cost, and the step by the rule. Builds without the server.
//
//   gyrebox_step_size_bench --packing 0.5 --frequency 2 --amplitudes 135,200,300 --steps 2e-4,1e-4,5e-5,2.5e-5
//       --orders 1,2 --starts 8 --duration 120 --device cuda > sizes.csv
//
// A step of 0 is the rule's, for each amplitude; -K is the rule's divided by K. An order of 0 is the default one.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>

#include "gyrebox/device.h"
#include "gyrebox/step_choice.h"

namespace {

using gyrebox::kernels::Column;
using gyrebox::kernels::DynamicsSpec;
using gyrebox::kernels::RunChunk;
using gyrebox::kernels::RunSpec;
using gyrebox::kernels::StartSpec;
using gyrebox::kernels::WaveSpec;

struct Options {
  double packing = 0.5, frequency = 2, temperature = 0.002, duration = 60, fraction = 0.30, strength = 20,
         tolerance = 1e-3;
  std::vector<double> amplitudes = {135}, steps = {1e-4};
  std::vector<int> orders = {2};
  std::vector<std::string> solvers = {"lagged"};
  std::int64_t beads = 1536;
  int starts = 4, threads = 0;
  std::string start = "random", device = "cpu";
};

/// The point of one row.
struct Point {
  double step = 0;
  int order = 2;
  std::string solver;
};

gyrebox::kernels::StepChoice RuleOf(const RunSpec& spec, double packing) {
  return gyrebox::kernels::ChooseStep(spec, gyrebox::kernels::PeaksOf(spec), packing);
}

RunSpec RunOf(const Options& options, const Point& point, double amplitude, int start) {
  using Equation = DynamicsSpec::Equation;
  RunSpec spec;
  spec.n_beads = options.beads;
  spec.n_spinners = std::llround(static_cast<double>(options.beads) * options.fraction);
  spec.start.arrangement =
      options.start == "lattice" ? StartSpec::Arrangement::kTriangular : StartSpec::Arrangement::kRandom;
  const auto sides = gyrebox::kernels::FitSides(spec.start.arrangement, options.beads, options.packing, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.force.strength = options.strength;
  spec.temperature = options.temperature;
  spec.dynamics.equation = point.solver == "converged"  ? Equation::kConverged
                           : point.solver == "brownian" ? Equation::kBrownian
                                                        : Equation::kLagged;
  spec.dynamics.step = point.order == 1 ? DynamicsSpec::Step::kFirstOrder : DynamicsSpec::Step::kSecondOrder;
  spec.dynamics.tolerance = options.tolerance;
  spec.drive.wave.shape = options.frequency > 0 ? WaveSpec::Shape::kSine : WaveSpec::Shape::kSteady;
  spec.drive.wave.amplitude = amplitude;
  spec.drive.wave.frequency = options.frequency;
  if (point.order == 0) {
    spec.dynamics.step = gyrebox::kernels::ChooseOrder(spec, gyrebox::kernels::PeaksOf(spec), options.packing);
  }
  spec.time_step = point.step;
  if (point.step <= 0) spec.time_step = RuleOf(spec, options.packing).step / (point.step < 0 ? -point.step : 1);
  spec.n_steps = std::llround(options.duration / spec.time_step);
  // Samples eight phases of a period in turn, four samples per period; every sample has what this bench reads.
  const double apart = options.frequency > 0 ? 1.125 / options.frequency : 0.25;
  spec.measure.interval_steps = std::max<std::int64_t>(1, std::llround(apart / spec.time_step));
  spec.measure.structure_every = 1 << 20 | 1;
  spec.seeds = {static_cast<std::uint64_t>(start) + 1, static_cast<std::uint64_t>(start) + 1, 1};
  return spec;
}

std::size_t ValueAt(const std::vector<Column>& columns, const std::string& name) {
  std::size_t at = 0;
  for (const Column& column : columns) {
    if (column.name == name) return at;
    at += static_cast<std::size_t>(column.width);
  }
  throw std::runtime_error("no column " + name);
}

/// Mean and standard error over realizations; NaN if there are too few.
struct Estimate {
  double sum = 0, squares = 0;
  int count = 0;
  void Add(double value) {
    sum += value;
    squares += value * value;
    ++count;
  }
  double mean() const { return sum / count; }
  double error() const { return std::sqrt(std::max(0.0, squares / count - mean() * mean()) / (count - 1)); }
};

double MeanOfLastHalf(const RunChunk& run, std::int64_t n_steps, std::size_t at) {
  double sum = 0;
  int count = 0;
  for (const auto& sample : run.samples) {
    if (2 * sample.step < n_steps) continue;
    sum += sample.values[at];
    ++count;
  }
  return sum / count;
}

void Measure(gyrebox::kernels::Device& device, const Options& options, const Point& point) {
  std::vector<RunSpec> specs;
  for (const double amplitude : options.amplitudes) {
    for (int start = 0; start < options.starts; ++start) specs.push_back(RunOf(options, point, amplitude, start));
  }
  const auto ensemble = device.NewEnsemble(specs);
  std::int64_t max_steps = 0;
  for (const RunSpec& spec : specs) max_steps = std::max(max_steps, spec.n_steps);
  const auto begin = std::chrono::steady_clock::now();
  const std::vector<RunChunk> runs = ensemble->Advance(max_steps);
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  double bead_steps = 0;
  for (const RunChunk& run : runs) bead_steps += static_cast<double>(run.step) * static_cast<double>(options.beads);
  const char* const columns[] = {"spinner_number_average_size", "spinner_weight_average_size", "potential_energy",
                                 "friction_residual"};
  for (std::size_t a = 0; a < options.amplitudes.size(); ++a) {
    const RunSpec& spec = specs[a * static_cast<std::size_t>(options.starts)];
    const auto rule = RuleOf(spec, options.packing);
    Estimate estimates[4];
    int unstable = 0;
    for (int start = 0; start < options.starts; ++start) {
      const RunChunk& run = runs[a * static_cast<std::size_t>(options.starts) + static_cast<std::size_t>(start)];
      if (run.fault) {
        ++unstable;
        std::fprintf(stderr, "A = %g, step %g: %s\n", options.amplitudes[a], spec.time_step,
                     run.fault->message.c_str());
        continue;
      }
      for (int k = 0; k < 4; ++k) {
        estimates[k].Add(MeanOfLastHalf(run, spec.n_steps, ValueAt(ensemble->columns(0), columns[k])));
      }
    }
    std::printf("%g,%g,%g,%g,%g,%d,%s,%d,%d", options.packing, options.frequency, options.amplitudes[a],
                options.temperature, spec.time_step, spec.dynamics.step == DynamicsSpec::Step::kFirstOrder ? 1 : 2,
                point.solver.c_str(), options.starts, unstable);
    for (const Estimate& estimate : estimates) std::printf(",%.5g,%.2g", estimate.mean(), estimate.error());
    std::printf(",%.4g,%.4g,%.4g,%.4g,%s\n", 1 / spec.time_step, bead_steps / seconds, seconds, rule.step,
                gyrebox::kernels::InWords(rule.limit).c_str());
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Sizes against the step: mean over the last half of runs, standard error over starts, as CSV.");
  app.add_option("--packing", options.packing, "packing fraction");
  app.add_option("--frequency", options.frequency, "of the sine drive of the rate, cycles/tau; 0: steady");
  app.add_option("--amplitudes", options.amplitudes, "peaks of the drive, rad/tau")->delimiter(',');
  app.add_option("--steps", options.steps, "time steps, tau; 0: by the rule, -K: a Kth of that")->delimiter(',');
  app.add_option("--orders", options.orders, "of the step: 1, 2; 0 for the one by default")
      ->delimiter(',')
      ->check(CLI::Range(0, 2));
  app.add_option("--solvers", options.solvers, "lagged, converged, brownian")
      ->delimiter(',')
      ->check(CLI::IsMember({"lagged", "converged", "brownian"}));
  app.add_option("--tolerance", options.tolerance, "of the converged solver");
  app.add_option("--temperature", options.temperature, "k_B T, epsilon");
  app.add_option("--duration", options.duration, "of a run, tau");
  app.add_option("--spinners", options.fraction, "fraction of beads that are driven; 0 for a bed at rest");
  app.add_option("--strength", options.strength, "of the exponential force, epsilon/sigma");
  app.add_option("--beads", options.beads, "beads a bed");
  app.add_option("--starts", options.starts, "starts of each amplitude");
  app.add_option("--start", options.start, "random, lattice")->check(CLI::IsMember({"random", "lattice"}));
  app.add_option("--device", options.device, "cpu, cuda, cuda:N");
  app.add_option("--threads", options.threads, "CPU threads, 0 for all");
  CLI11_PARSE(app, argc, argv);
  auto opened = gyrebox::kernels::OpenDevice(options.device, options.threads);
  if (!opened.device) {
    std::fprintf(stderr, "gyrebox_step_size_bench: %s\n", opened.reason.c_str());
    return 3;
  }
  std::printf(
      "packing,frequency,amplitude,temperature,step,order,solver,starts,unstable,number_average,number_error,"
      "weight_average,weight_error,energy,energy_error,residual,residual_error,steps_per_tau,bead_steps_per_second,"
      "seconds,rule_step,rule_limit\n");
  for (const std::string& solver : options.solvers) {
    for (const int order : options.orders) {
      for (const double step : options.steps) Measure(*opened.device, options, {step, order, solver});
    }
  }
  return 0;
}
