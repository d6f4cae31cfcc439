/// Early return of an error.
#pragma once

#include <absl/status/status.h>

/// Returns the absl::Status that `expression` gives from the enclosing function, unless it is OK. For functions that
/// return absl::Status or absl::StatusOr.
#define GYREBOX_RETURN_IF_ERROR(expression)                              \
  do {                                                                   \
    if (absl::Status error_ = (expression); !error_.ok()) return error_; \
  } while (false)
