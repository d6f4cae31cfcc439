// Writes samples and the statistics derived from them as CSV for statistics_against_scipy.py: one number per line, with
// the groups that it belongs to.
#include <cmath>
#include <cstdio>
#include <random>
#include <string>
#include <vector>

#include "estimators/effect.h"
#include "estimators/log_means.h"
#include "estimators/slope.h"
#include "estimators/statistics.h"
#include "synthetic.h"

namespace gyrebox::analysis {
namespace {

using Values = std::vector<double>;

std::string Text(const Values& values) {
  std::string text;
  for (const double value : values) {
    char number[32];
    std::snprintf(number, sizeof(number), "%s%.17g", text.empty() ? "" : " ", value);
    text += number;
  }
  return text;
}

void Write(const char* what, const Values& a, const Values& b, double result) {
  std::printf("%s,%s,%s,%.17g\n", what, Text(a).c_str(), Text(b).c_str(), result);
}

void WriteOne(const Values& a) {
  const Summary summary = Summarise(a);
  Write("mean", a, {}, summary.mean);
  Write("standard_deviation", a, {}, summary.standard_deviation);
  Write("interval_half_width", a, {}, summary.confidence_half_width);
  const LogMean logs = MeanOf(Logs({{}, a}), {});
  Write("geometric_mean", a, {}, std::exp(logs.mean));
  Write("log_half_width", a, {}, logs.HalfWidth(0.95));
  const auto spread = RelativeSpread(a);
  Write("spread_low", a, {}, spread->low);
  Write("spread_high", a, {}, spread->high);
}

/// A sample whose starts begin at this number.
Sample SampleOf(const Values& values, int first) {
  Sample sample{{}, values};
  for (size_t i = 0; i < values.size(); ++i) sample.starts.push_back(first + static_cast<int>(i));
  return sample;
}

void WriteTwo(const Values& a, const Values& b) {
  const LogMean welch = DifferenceOf(SampleOf(a, 0), SampleOf(b, 1000), {}, {});
  Write("welch_t", a, b, welch.mean / welch.standard_error);
  Write("welch_degrees", a, b, welch.degrees_of_freedom);
  Write("welch_p_value", a, b, welch.PValue());
  Write("welch_half_width_90", a, b, welch.HalfWidth(0.90));
}

void WritePairs(const Values& a, const Values& b) {
  const LogMean paired = DifferenceOf(SampleOf(a, 0), SampleOf(b, 0), {}, {});
  Write("paired_t", a, b, paired.mean / paired.standard_error);
  Write("paired_half_width_95", a, b, paired.HalfWidth(0.95));
  const Slope slope = FitLine(a, b);
  Write("slope", a, b, slope.value);
  Write("slope_error", a, b, slope.standard_error);
  Write("slope_p_value", a, b, slope.PValue());
}

}  // namespace
}  // namespace gyrebox::analysis

int main() {
  using namespace gyrebox;
  std::mt19937_64 random(21);
  std::printf("what,a,b,result\n");
  for (const size_t n : {2, 3, 5, 12, 40}) {
    const auto a = test::Normal(50, 5, n, random), b = test::Normal(55, 12, n + 1, random);
    analysis::WriteOne(a);
    analysis::WriteTwo(a, b);
    if (n > 2) analysis::WritePairs(a, test::Normal(50, 5, n, random));
  }
  return 0;
}
