#include "executor/run_record.h"

namespace gyrebox::executor {

store::BedBytes ToBytes(const BedNow& bed) {
  const std::vector<std::byte> bytes = kernels::ToBytes(bed.state);
  return {.bytes = std::string(reinterpret_cast<const char*>(bytes.data()), bytes.size()),
          .side_x = bed.side_x,
          .side_y = bed.side_y,
          .step = bed.state.step,
          .time = static_cast<double>(bed.state.step) * bed.time_step};
}

store::RunUpdate ToUpdate(const RunRecord& record) {
  store::RunUpdate update = record.update;
  if (record.checkpoint) update.checkpoint = ToBytes(*record.checkpoint);
  if (record.end_state) update.end_state = ToBytes(*record.end_state);
  return update;
}

}  // namespace gyrebox::executor
