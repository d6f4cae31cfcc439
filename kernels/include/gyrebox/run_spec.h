/// What one run computes, as plain numbers. Everything is in reduced units: length in bead diameters sigma, energy in
/// epsilon, drag in zeta_0, time in tau = zeta_0 sigma^2 / epsilon. The kernels trust these numbers to be finite and in
/// range up to what Validate() says; defaults and ranges for people live in the schema.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace gyrebox::kernels {

/// Conservative pair force f(r), pushing apart, shifted to be continuous at its cut-off.
struct ForceSpec {
  enum class Law { kExponential };
  Law law = Law::kExponential;
  double strength = 20;        ///< epsilon/sigma
  double decay_length = 0.05;  ///< sigma
  double cutoff = 1.3;         ///< sigma
};

/// Pair friction, weighted by (1 - r/cutoff)^exponent.
struct FrictionSpec {
  double tangential = 5;  ///< across the line of centres, zeta_0
  double normal = 5;      ///< along the line of centres, zeta_0
  double cutoff = 1.3;    ///< sigma
  int exponent = 1;       ///< 1 or 2
};

/// Background drag on every bead.
struct DragSpec {
  double translational = 1;  ///< zeta_0
  double rotational = 1;     ///< zeta_0 sigma^2
};

/// Drive of the spinners about the normal of the bed.
struct DriveSpec {
  enum class Quantity { kRate, kTorque };
  enum class Waveform { kSteady, kSine };
  Quantity quantity = Quantity::kRate;
  Waveform waveform = Waveform::kSteady;
  double amplitude = 0;  ///< peak, rad/tau or epsilon
  double frequency = 0;  ///< cycles/tau; not used by kSteady
};

/// How the bed starts.
struct StartSpec {
  enum class Places { kRandom, kTriangular };
  Places places = Places::kRandom;
  double closest_pair = 0.9;  ///< sigma; kRandom: no pair may be closer at time 0
};

/// How the linear system of the pair friction is solved at every step.
struct SolverSpec {
  enum class Method { kLagged };
  Method method = Method::kLagged;
};

/// The three independent sources of chance.
struct SeedSpec {
  std::uint64_t places = 1;
  std::uint64_t noise = 1;
  std::uint64_t disorder = 1;
};

/// What is measured.
struct MeasureSpec {
  std::int64_t interval_steps = 250;  ///< steps between samples; a sample is also taken at step 0 and at the end
  double bond_length = 1.25;          ///< sigma; spinners this close belong to one cluster
};

/// Limits past which a run means nothing any more.
struct HealthSpec {
  double closest_pair = 0.6;  ///< sigma
  double largest_move = 0.1;  ///< sigma, in one step; at most 0.15
};

/// One run: one bed from its start to its end.
struct RunSpec {
  std::int64_t n_beads = 0;
  std::int64_t n_spinners = 0;
  double side_x = 0;  ///< sigma; see FitSides()
  double side_y = 0;  ///< sigma
  StartSpec start;
  ForceSpec force;
  FrictionSpec friction;
  DragSpec drag;
  double temperature = 0;    ///< k_B T, epsilon
  double time_step = 5e-4;   ///< tau
  std::int64_t n_steps = 0;  ///< steps to the end of the run
  SolverSpec solver;
  DriveSpec drive;
  MeasureSpec measure;
  HealthSpec health;
  SeedSpec seeds;
};

/// Sides that hold n_beads at this packing fraction (sum of pi d^2 / 4 over the area) with side_y / side_x as close to
/// aspect_ratio as the start allows; a triangular start needs whole rows and columns, and takes the number of columns
/// whose lattice cell is least strained.
struct Sides {
  double x = 0;
  double y = 0;
};
Sides FitSides(StartSpec::Places places, std::int64_t n_beads, double packing_fraction, double aspect_ratio);

/// One fault of a spec that no backend can run.
struct SpecFault {
  std::string field;   ///< member path in RunSpec, such as "side_x"
  std::string reason;  ///< what is wrong and what would be right
};

/// All faults of a spec; empty where it can run. Covers what only the kernels know: shortest sides, resolution of
/// fixed-point places, rows of a lattice.
std::vector<SpecFault> Validate(const RunSpec& spec);

/// Bytes of device memory that this run needs while it runs.
std::int64_t MemoryBytes(const RunSpec& spec);

}  // namespace gyrebox::kernels
