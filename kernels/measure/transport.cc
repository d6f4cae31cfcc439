#include "measure/transport.h"

#include <limits>
#include <numeric>

namespace gyrebox::kernels {
namespace {

// Mean path along an axis, quanta; the sum is exact.
double Mean(const std::vector<std::int64_t>& paths) {
  return static_cast<double>(std::accumulate(paths.begin(), paths.end(), std::int64_t{0})) /
         static_cast<double>(paths.size());
}

double Ratio(double sum, std::int64_t count) {
  return count == 0 ? std::numeric_limits<double>::quiet_NaN() : sum / static_cast<double>(count);
}

}  // namespace

Transport MeasureTransport(const Snapshot& snapshot) {
  const double quantum_x = snapshot.side_x * 0x1p-32, quantum_y = snapshot.side_y * 0x1p-32;
  const double centre_x = Mean(snapshot.path_x), centre_y = Mean(snapshot.path_y);
  double squares[2] = {}, turning = 0;  // squares by kind
  std::int64_t count[2] = {};
  for (std::size_t i = 0; i < snapshot.path_x.size(); ++i) {
    squares[snapshot.spinner[i]] +=
        SquareOfPath(snapshot.path_x[i], snapshot.path_y[i], centre_x, centre_y, quantum_x, quantum_y);
    ++count[snapshot.spinner[i]];
    if (snapshot.spinner[i] == 0) turning += static_cast<double>(snapshot.spin[i]);
  }
  return TransportOf(squares, turning, count);
}

Transport TransportOf(const double (&squares)[2], double passive_spin, const std::int64_t (&count)[2]) {
  return {Ratio(squares[1], count[1]), Ratio(squares[0], count[0]), Ratio(passive_spin, count[0])};
}

std::vector<Column> TransportColumns() {
  const auto column = [](const char* name, const char* kind) {
    return Column{name, "sigma^2",
                  std::string("Mean square displacement of ") + kind +
                      " since step 0 along their paths without the periodic wrap, relative to the centre of all beads.",
                  1};
  };
  return {column("msd_spinner", "spinners"),
          column("msd_passive", "passive beads"),
          {"passive_spin", "rad/tau",
           "Mean rate of turning of passive beads in the step from this moment on; as for drive_power.", 1}};
}

void AppendTo(const Transport& transport, std::vector<double>& values) {
  values.insert(values.end(), {transport.msd_spinner, transport.msd_passive, transport.passive_spin});
}

}  // namespace gyrebox::kernels
