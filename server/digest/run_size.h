/// Size of one run, finished or not.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/v1/run_service.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"

namespace gyrebox::analysis {

/// Sets size, basis and size_time of a row: the mean over the last plateau if a table counts the run, else the last
/// sample that holds the observable; nothing if there is none. INVALID_ARGUMENT if the run measures no such number.
/// @param at study at the point of the run. @param journal of the run. @param row holds the run.
/// @param observable its name; receives the rest if the run has started.
absl::Status AddSize(store::Store& store, int64_t study, int64_t number, const v1::StudySpec& at,
                     const std::vector<v1::Adjustment>& journal, v1::RunRow* row, v1::Observable* observable);

}  // namespace gyrebox::analysis
