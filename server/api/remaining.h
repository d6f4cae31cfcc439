/// How long unfinished studies still take.
#pragma once

#include <cstdint>
#include <map>

#include "executor/rate_meter.h"
#include "gyrebox/v1/study.pb.h"
#include "store/store.h"

namespace gyrebox::api {

/// Work that remains at this moment.
class Remaining {
 public:
  Remaining(store::Store& store, const executor::RateMeter& rate);

  /// Sets the remaining seconds of an unfinished study, if the present speed is known.
  void AddTo(v1::Study* study) const;

 private:
  const double speed_;              ///< bead-steps per second; 0 if unknown
  std::map<int64_t, double> work_;  ///< bead-steps, by study
};

}  // namespace gyrebox::api
