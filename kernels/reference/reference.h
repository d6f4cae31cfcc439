/// Independent reference implementation of the same physics: all pairs, dense matrices, double precision, written from
/// the equations and not from the laws in model/. Slow and simple; tests compare the engine with it. It shares only the
/// spec and the random numbers (model/noise.h) with the engine, so that both can take the same noisy step.
///
/// Motions V are vectors of 3 N numbers: vx, vy (sigma/tau) and spin (rad/tau) of bead 0, of bead 1, and so on. A
/// bead's id is its index in the vector of beads. A side of 0 in the spec means that the bed is open along that axis.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::reference {

struct Bead {
  double x = 0, y = 0;  ///< sigma
  bool spinner = false;
  double angle = 0;  ///< turned so far, rad
};

/// Drive imposed on every spinner in one step.
struct Imposed {
  kernels::DriveSpec::Quantity quantity = kernels::DriveSpec::Quantity::kRate;
  double value = 0;  ///< rad/tau or epsilon
};

/// Value of the waveform at a time in tau, with std::sin.
double DriveAt(const kernels::DriveSpec& drive, double time);

/// Conservative force (epsilon/sigma, repulsive) and energy (epsilon) of a pair at distance r (sigma).
double PairForce(const kernels::ForceSpec& force, double r);
double PairEnergy(const kernels::ForceSpec& force, double r);

/// Weight of the pair friction at distance r (sigma).
double FrictionWeight(const kernels::FrictionSpec& friction, double r);

/// Force balance of a bed at one instant. All vectors and matrices have 3 N rows.
class Balance {
 public:
  /// Includes every pair within the longest cut-off. @param step selects the random numbers if the temperature is over
  /// 0.
  Balance(const kernels::RunSpec& spec, const std::vector<Bead>& beads, const Imposed& imposed, std::int64_t step = 0);

  const Eigen::MatrixXd& matrix() const { return matrix_; }              ///< Z + Gamma
  const Eigen::VectorXd& conservative() const { return conservative_; }  ///< minus the gradient of the energy
  const Eigen::VectorXd& thermal() const { return thermal_; }            ///< the random force R
  const Eigen::VectorXd& torques() const { return torques_; }            ///< imposed torques; 0 where rates are imposed
  double energy() const { return energy_; }                              ///< epsilon

  /// The motion that balances all free rows at once; imposed spins keep their imposed value.
  Eigen::VectorXd Solve() const;

  /// One sweep from `before`: each bead's motion changes by its inverse block times its residual force. Imposed spins
  /// take their imposed value whatever `before` holds. @param more_own relative increase of the friction in the block.
  Eigen::VectorXd Sweep(const Eigen::VectorXd& before, double more_own = 0) const;
  /// The same without the random force; and under the random force alone, with imposed spins of 0.
  Eigen::VectorXd SweepWithoutNoise(const Eigen::VectorXd& before, double more_own) const;
  Eigen::VectorXd SweepOfNoise(const Eigen::VectorXd& before) const;

  /// Power of each term, epsilon/tau.
  struct Power {
    double drive = 0;         ///< torques on spinners times their spins; at imposed rates, the torques they need
    double thermal = 0;       ///< random forces times motion
    double drag = 0;          ///< dissipated in the background
    double friction = 0;      ///< dissipated between beads
    double conservative = 0;  ///< growth of the potential energy
  };
  /// For a motion that balances the free rows, drive + thermal = drag + friction + conservative.
  Power PowerOf(const Eigen::VectorXd& motion) const;

 private:
  // Two beads within reach. `along` and `across` are vectors of 6 numbers that project the motions of both beads on the
  // relative velocity along the line of centres and on the slip across it.
  struct Pair {
    Eigen::Index i, j;
    double r, weight;
    Eigen::Matrix<double, 6, 1> along, across;

    Pair(Eigen::Index i, Eigen::Index j, double dx, double dy, double weight);
    // Rows of the pair in a vector of all beads.
    std::array<Eigen::Index, 6> rows() const { return {3 * i, 3 * i + 1, 3 * i + 2, 3 * j, 3 * j + 1, 3 * j + 2}; }
  };
  void AddPair(const Pair& pair);
  void AddBeads();
  bool IsImposed(Eigen::Index row) const;
  Eigen::VectorXd SweepUnder(const Eigen::VectorXd& forces, const Eigen::VectorXd& before, double imposed_spin,
                             double more_own) const;

  kernels::RunSpec spec_;
  std::vector<Bead> beads_;
  Imposed imposed_;
  std::int64_t step_;
  std::vector<Pair> pairs_;
  Eigen::MatrixXd matrix_;
  Eigen::VectorXd conservative_, thermal_, torques_;
  double energy_ = 0;
};

/// Moves and turns beads along a motion for one time step of the spec, and wraps them into the periodic domain.
void Move(const kernels::RunSpec& spec, const Eigen::VectorXd& motion, std::vector<Bead>& beads);

/// The last two motions (3 N) of a run, zero before step 0.
struct Motions {
  Eigen::VectorXd last, earlier;  ///< second-order sweeps: without the thermal part
  Eigen::VectorXd thermal;        ///< second-order sweeps: thermal part of the last motion
  explicit Motions(std::int64_t n_beads)
      : last(Eigen::VectorXd::Zero(3 * n_beads)),
        earlier(Eigen::VectorXd::Zero(3 * n_beads)),
        thermal(Eigen::VectorXd::Zero(3 * n_beads)) {}
};

/// Takes step `step` of a run: one sweep or a direct solution, then a move.
/// First order: under the drive of mid-step, a full sweep from the last motion, and a move along the result.
/// Second order: under the drive at the start of the step, a sweep without noise from twice the last motion minus the
/// one before it, with blocks that hold half as much friction again. The move is along 3/2 of the result minus 1/2 of
/// the last motion, plus a plain sweep of the noise. Step 0 has no previous motion, and step 1 sweeps from that of step
/// 0.
enum class Method { kLagged, kDirect };
void TakeStep(const kernels::RunSpec& spec, Method method, std::int64_t step, std::vector<Bead>& beads,
              Motions& motions);

}  // namespace gyrebox::reference
