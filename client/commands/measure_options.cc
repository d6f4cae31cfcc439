#include "commands/measure_options.h"

#include <absl/strings/numbers.h>

#include <iostream>

namespace gyrebox::client {

std::optional<v1::MeasureAgain> ToMeasureAgain(const MeasureInput& input, std::string* fault) {
  if (!input.bond_length && input.wave_shells.empty()) return std::nullopt;
  v1::MeasureAgain again;
  if (input.bond_length) again.set_bond_length(*input.bond_length);
  if (input.wave_shells.empty()) return again;
  const size_t colon = input.wave_shells.find(':');
  int32_t first = 0, last = 0;
  if (colon == std::string::npos || !absl::SimpleAtoi(input.wave_shells.substr(0, colon), &first) ||
      !absl::SimpleAtoi(input.wave_shells.substr(colon + 1), &last)) {
    *fault = "--wave-shells " + input.wave_shells + " is no range; give FIRST:LAST, such as 2:12";
  }
  again.set_first_wave_shell(first);
  again.set_last_wave_shell(last);
  return again;
}

void AddMeasureOptions(CLI::App* command, MeasureInput* input) {
  command->add_option("--bond-length", input->bond_length,
                      "Measure the kept frames again with this cluster cutoff in sigma");
  command->add_option("--wave-shells", input->wave_shells,
                      "Measure the kept frames again: FIRST:LAST, shells searched for the peak of S(k)");
}

ExitCode Measured(const MeasureInput& input,
                  const std::function<ExitCode(const std::optional<v1::MeasureAgain>&)>& run) {
  std::string fault;
  const auto again = ToMeasureAgain(input, &fault);
  if (fault.empty()) return run(again);
  std::cerr << "gyrebox: " << fault << "\n";
  return kBadInput;
}

}  // namespace gyrebox::client
