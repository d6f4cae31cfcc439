/// Specification of one run, in plain numbers. Everything is in reduced units: length in bead diameters sigma, energy
/// in epsilon, drag in zeta_0, time in tau = zeta_0 sigma^2 / epsilon. The kernels assume that these numbers are finite
/// and in range, except for what Validate() checks; the schema holds the defaults and ranges for users.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace gyrebox::kernels {

/// Repulsive conservative pair force f(r), shifted to be continuous at its own cut-off.
struct ForceSpec {
  enum class Law {
    kExponential,  ///< strength exp(-(r - 1)/decay_length)
    kSoft,         ///< strength (1 - r/cutoff), the force of standard dissipative particle dynamics
    kWca,          ///< -d/dr of 4 strength (r^-12 - r^-6), cut at its minimum 2^(1/6): set the cutoff to that
    kHarmonic,     ///< strength (cutoff - r)
    kYukawa,       ///< -d/dr of strength exp(-(r - 1)/decay_length) / r
  };
  Law law = Law::kExponential;
  double strength = 20;        ///< epsilon/sigma; epsilon for kWca and kYukawa; epsilon/sigma^2 for kHarmonic
  double decay_length = 0.05;  ///< sigma; kExponential and kYukawa
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

/// Waveform of a drive. Phases start at 0 and are integrated, so they stay continuous when a frequency changes.
struct WaveSpec {
  enum class Shape {
    kSteady,    ///< amplitude
    kSine,      ///< amplitude sin(2 pi phase)
    kSquare,    ///< +amplitude in the first half of a period, -amplitude in the second
    kTriangle,  ///< from 0 up to +amplitude, down to -amplitude, back to 0
    kChirp,     ///< a sine whose frequency sweeps from frequency to last_frequency in sweep_time, repeatedly
    kAm,        ///< amplitude (1 + depth cos(2 pi modulation phase)) sin(2 pi phase)
    kFm,        ///< amplitude sin(2 pi phase + index sin(2 pi modulation phase))
    kSum,       ///< amplitude times the sum of weight_k sin(2 pi phase_k)
  };
  static constexpr int kMaxTerms = 4;
  Shape shape = Shape::kSteady;
  double amplitude = 0;                     ///< peak, rad/tau or epsilon
  double frequency = 0;                     ///< cycles/tau
  double last_frequency = 0;                ///< cycles/tau; kChirp
  double sweep_time = 0;                    ///< tau; kChirp
  double depth = 0;                         ///< kAm, 0 to 1
  double index = 0;                         ///< kFm, rad
  double modulation_frequency = 0;          ///< cycles/tau; kAm, kFm
  int n_terms = 0;                          ///< kSum
  double term_weights[kMaxTerms] = {};      ///< kSum
  double term_frequencies[kMaxTerms] = {};  ///< cycles/tau; kSum
};

/// Differences between spinners: each has its own factor (1 + spread g), g normal and truncated at +-3.
struct DisorderSpec {
  double amplitude_spread = 0;   ///< of the amplitude
  double frequency_spread = 0;   ///< of every frequency of the wave
  double phase_spread = 0;       ///< of the phase: a fixed shift of spread u turns, u uniform on [0, 1)
  double jitter = 0;             ///< of the amplitude, redrawn in every period of the spinner
  double opposite_fraction = 0;  ///< fraction of the spinners that turn the other way, 0 to 1
};

/// Drive of the spinners about the normal of the bed.
struct DriveSpec {
  enum class Quantity { kRate, kTorque };
  Quantity quantity = Quantity::kRate;
  WaveSpec wave;
  DisorderSpec disorder;
};

/// An adjustable number of a run.
enum class Parameter {
  kAmplitude,
  kFrequency,
  kLastFrequency,
  kSweepTime,
  kDepth,
  kIndex,
  kModulationFrequency,
  kTemperature,
  kFrictionTangential,
  kFrictionNormal,
  kAmplitudeSpread,
  kFrequencySpread,
  kPhaseSpread,
  kJitter,
  kOppositeFraction,
};

/// Change of one field: immediate, or a linear ramp that ends exactly at the value.
struct Change {
  Parameter parameter = Parameter::kAmplitude;
  double value = 0;
  bool ramp = false;
};

/// Changes that take effect at a step. In a schedule the ramps last the whole stage.
struct Adjustment {
  std::int64_t step = 0;        ///< step at which it takes effect; ramps start there from the old value
  std::int64_t ramp_steps = 0;  ///< length of its ramps
  std::vector<WaveSpec> wave;   ///< none or one: a new wave, which continues from the old phases
  std::vector<Change> changes;
};

/// Beads of another bed. Arrays are indexed by bead id.
struct SavedBed {
  double side_x = 0, side_y = 0;      ///< sigma
  std::vector<std::uint32_t> x, y;    ///< (beads) fixed-point positions
  std::vector<std::uint32_t> angle;   ///< (beads) turned so far, fraction of a turn
  std::vector<std::uint8_t> spinner;  ///< (beads) 1 for a spinner
};

/// Beads before the first step; see GenerateInitialStates().
struct StartState;

/// How the bed starts.
struct StartSpec {
  enum class Arrangement { kRandom, kTriangular, kSquare, kGiven, kSaved };
  enum class Labels { kScattered, kDrop, kStripe };
  Arrangement arrangement = Arrangement::kRandom;
  Labels labels = Labels::kScattered;  ///< which beads are spinners; not used by kGiven and kSaved
  double closest_pair = 0.9;           ///< sigma; kRandom: no pair may be closer at time 0
  std::vector<double> given_x;         ///< kGiven: (beads) positions in sigma, any image
  std::vector<double> given_y;
  std::vector<std::uint8_t> given_spinner;    ///< kGiven: (beads) 1 for a spinner
  std::shared_ptr<const SavedBed> saved;      ///< kSaved: beads, used bit for bit; the sides must match
  std::shared_ptr<const StartState> initial;  ///< the resulting state; null if NewEnsemble() is to generate it
};

/// Equation of motion.
struct DynamicsSpec {
  enum class Equation {
    kLagged,     ///< force balance with pair friction, one block-Jacobi sweep per step
    kConverged,  ///< the same, solved to a tolerance; midpoint steps if there is noise
    kBrownian,   ///< background drag only; spinners push their neighbours sideways
  };
  /// Integration of the motion over a step.
  enum class Step {
    kFirstOrder,   ///< along the motion at its start, under the drive of mid-step (Euler)
    kSecondOrder,  ///< along 3/2 of the motion at its start minus 1/2 of the previous one (Adams-Bashforth)
  };
  Equation equation = Equation::kLagged;
  Step step = Step::kSecondOrder;
  double tolerance = 1e-3;         ///< kConverged: relative residual
  int max_iterations = 500;        ///< kConverged: a solve that needs more ends the run
  bool midpoint = true;            ///< kConverged; off only in the test that shows it is needed
  double transverse_coupling = 5;  ///< kBrownian: strength of the sideways push, zeta_0
};

/// Three independent random seeds.
struct SeedSpec {
  std::uint64_t positions = 1;
  std::uint64_t noise = 1;
  std::uint64_t disorder = 1;
};

/// What is measured.
struct MeasureSpec {
  std::int64_t interval_steps = 250;  ///< steps between samples; a sample is also taken at step 0 and at the end
  double bond_length = 1.25;          ///< sigma; spinners this close belong to one cluster
  /// Interval, in samples, at which samples include the structure columns, which are costly. The first and the last
  /// sample include them too; the others hold NaN. Odd, so that a drive sampled 8 times a period is seen at every phase
  /// in turn.
  int structure_every = 9;
  /// Wave-number shells, counted from 1, that are searched for the peak of the structure factor. 0 selects the first
  /// shell, and the last one at spacings of two beads and more.
  int first_wave_shell = 0;
  int last_wave_shell = 0;
};

/// Limits beyond which a run is invalid.
struct HealthSpec {
  double closest_pair = 0.6;  ///< sigma
  double largest_move = 0.1;  ///< sigma, in one step; at most 0.15
};

/// Recovery of a run that becomes unstable.
struct RetrySpec {
  int max_halvings = 0;            ///< max rollbacks to the kept state, each of which halves the step; 0 to 6
  std::int64_t keep_steps = 4000;  ///< steps between kept states
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
  DynamicsSpec dynamics;
  DriveSpec drive;
  std::vector<Adjustment> adjustments;  ///< in order of step: scheduled and live
  MeasureSpec measure;
  HealthSpec health;
  RetrySpec retry;
  SeedSpec seeds;
};

/// Sides that hold n_beads at this packing fraction (sum of pi d^2 / 4 over the area) with side_y / side_x as close to
/// aspect_ratio as the start allows. A lattice start needs whole rows and columns, and takes the number of columns that
/// strains the lattice cell least.
struct Sides {
  double x = 0;
  double y = 0;
};
Sides FitSides(StartSpec::Arrangement arrangement, std::int64_t n_beads, double packing_fraction, double aspect_ratio);

/// One fault of a spec that no backend can run.
struct SpecFault {
  std::string field;   ///< member path in RunSpec, such as "side_x"
  std::string reason;  ///< what is wrong and what would be right
};

/// All faults of a spec; empty if it can run. Covers what only the kernels know: shortest sides, resolution of
/// fixed-point positions, rows of a lattice.
std::vector<SpecFault> Validate(const RunSpec& spec);

}  // namespace gyrebox::kernels
