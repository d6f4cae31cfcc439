/// Answers that came in several pages.
#pragma once

#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::client {

/// Adds a page to those before it: an answer that goes on is one answer again, and so is each of its plots.
void JoinPage(v1::Answers page, v1::Answers* all);

}  // namespace gyrebox::client
