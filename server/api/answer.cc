#include "api/answer.h"

namespace gyrebox::api {

absl::Status CheckMayChange(const ServerContext& server, const access::User& user, int64_t study) {
  const auto owner = server.store.studies().GetOwner(study);
  if (!owner.ok()) return owner.status();
  if (access::MayChange(user, *owner)) return absl::OkStatus();
  return absl::PermissionDeniedError("studies/" + std::to_string(study) + " is " + *owner +
                                     "'s; only its owner or an admin may change it");
}

}  // namespace gyrebox::api
