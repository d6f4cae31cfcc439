#include "store/sample_messages.h"

namespace gyrebox::store {

void AddSampleMessages(const SampleRows& rows, google::protobuf::RepeatedPtrField<v1::Sample>* samples) {
  for (size_t i = 0; i < rows.size(); ++i) {
    const auto row = rows.row(i);
    v1::Sample& sample = *samples->Add();
    sample.set_sequence(rows.first + static_cast<int64_t>(i));
    sample.set_step(static_cast<int64_t>(row[0]));
    sample.set_time(row[1]);
    sample.mutable_values()->Assign(row.begin() + 2, row.end());
  }
}

}  // namespace gyrebox::store
