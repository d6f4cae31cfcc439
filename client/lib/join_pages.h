/// Joins answers that were split into pages.
#pragma once

#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::client {

/// Appends a page to those before it and rejoins continued answers and plots.
void JoinPage(v1::Answers page, v1::Answers* all);

}  // namespace gyrebox::client
