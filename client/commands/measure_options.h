/// Command-line options to measure kept frames again.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <optional>
#include <string>

#include "gyrebox/v1/observable.pb.h"
#include "output/output.h"

namespace gyrebox::client {

struct MeasureInput {
  std::optional<double> bond_length;  ///< sigma
  std::string wave_shells;            ///< FIRST:LAST; empty if not given
};

/// The options as a message; none if none is given. @param fault receives their fault, if any.
std::optional<v1::MeasureAgain> ToMeasureAgain(const MeasureInput& input, std::string* fault);

/// Adds the options to a command. @param input outlives the command line.
void AddMeasureOptions(CLI::App* command, MeasureInput* input);

/// Runs a command with the options as a message, or reports their fault.
ExitCode Measured(const MeasureInput& input,
                  const std::function<ExitCode(const std::optional<v1::MeasureAgain>&)>& run);

}  // namespace gyrebox::client
