/// The runs of a study for its report.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"

namespace gyrebox::client {

/// Max runs in the table of the page; runs.csv has all.
constexpr size_t kMaxRunsShown = 2000;

/// Runs as a JSON list for the page.
std::string RunsJson(const std::vector<v1::Run>& runs);

/// What a reader must know about a run: its fault, its warning, who left it out and why; empty if nothing.
std::string NoteOf(const v1::Run& run);

}  // namespace gyrebox::client
