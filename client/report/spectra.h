/// Wide observables over an axis of their own: S(k) over k, g(r) over r, the distribution of cluster sizes over size.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/observable.pb.h"
#include "gyrebox/v1/run_service.pb.h"

namespace gyrebox::client {

/// A group of wide observables in one file.
struct Spectrum {
  const char* file;
  const char* title;
  const char* x;
  const char* x_unit;
  const char* x_definition;
  std::vector<const char*> observables;
  bool steps = false;  ///< x doubles from class to class
};

const std::vector<Spectrum>& Spectra();

/// Position of a value of a spectrum. @param longer_side of the bed, sigma.
double PositionOf(const Spectrum& spectrum, int index, double longer_side);

/// Mean of each value of a wide observable over the samples from a time on that hold it; NaN if none does.
std::vector<double> MeanFrom(const v1::ListSamplesResponse& series, const std::string& observable, double from);

/// Means over the realizations of each point.
class SpectrumMeans {
 public:
  /// Adds the values of one realization of a point.
  void Add(const std::string& plot, const std::vector<double>& axis_values, const std::vector<double>& x,
           const std::vector<std::vector<double>>& columns);
  /// The plot of these means with the standard error over realizations; empty if nothing was added.
  v1::Plot PlotOf(const v1::Answers& answers, const std::string& name, const std::string& title,
                  const v1::PlotColumn& x, const std::vector<v1::PlotColumn>& columns) const;

 private:
  struct Sums {
    std::vector<double> count, sum, squares;
  };
  struct PointSums {
    std::vector<double> x;
    std::vector<Sums> columns;
  };
  std::map<std::string, std::vector<std::pair<std::vector<double>, PointSums>>> plots_;
};

}  // namespace gyrebox::client
