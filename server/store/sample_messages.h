/// Converts stored samples to schema messages.
#pragma once

#include <google/protobuf/repeated_ptr_field.h>

#include "gyrebox/v1/observable.pb.h"
#include "store/store.h"

namespace gyrebox::store {

/// Appends one message per row.
void AddSampleMessages(const SampleRows& rows, google::protobuf::RepeatedPtrField<v1::Sample>* samples);

}  // namespace gyrebox::store
