#include "store/spec_hash.h"

#include <openssl/sha.h>

#include "study/expand.h"

namespace gyrebox::store {

std::string HashOf(v1::StudySpec spec) {
  spec.clear_title();
  for (v1::Axis& axis : *spec.mutable_axes()) {
    const auto values = study::AxisValues(axis);
    axis.clear_spacing();
    axis.mutable_values()->Assign(values.begin(), values.end());
  }
  const std::string bytes = spec.SerializeAsString();  // no part of a spec is a map, so the order is fixed
  std::string hash(SHA256_DIGEST_LENGTH, '\0');
  SHA256(reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(),
         reinterpret_cast<unsigned char*>(hash.data()));
  return hash;
}

}  // namespace gyrebox::store
