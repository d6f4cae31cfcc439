/// Safety cautions for coils and magnetic fields.
#pragma once

#include <optional>
#include <ostream>

#include "gyrebox/v1/laboratory.pb.h"

namespace gyrebox::client {

/// Writes the cautions if a field or a frequency is given; else nothing.
/// @param field_mt peak of the field in mT. @param frequency_hz its frequency in Hz, 0 for a constant one.
void WriteCautions(std::ostream& out, std::optional<double> field_mt, std::optional<double> frequency_hz);

/// The same for the laboratory of a study.
void WriteCautions(std::ostream& out, const v1::Laboratory& laboratory);

}  // namespace gyrebox::client
