#include "api/answer.h"

namespace gyrebox::api {

absl::Status CheckMayChange(const Rooms& rooms, const access::Person& person, int64_t study) {
  const auto owner = rooms.store.GetOwner(study);
  if (!owner.ok()) return owner.status();
  if (access::MayChange(person, *owner)) return absl::OkStatus();
  return absl::PermissionDeniedError("studies/" + std::to_string(study) + " is " + *owner +
                                     "'s; only its owner or an admin may change it");
}

}  // namespace gyrebox::api
