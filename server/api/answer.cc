#include "api/answer.h"

#include "api/token_check.h"
#include "schema/number_text.h"

namespace gyrebox::api {

constexpr double kSecondsToCloseOne = 1;

absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context) {
  auto person = rooms.gate.WhoSends(AuthorizationOf(context));
  if (!person.ok()) return person.status();
  const double wait = rooms.limits.Request(person->name);
  if (wait == 0) return person;
  const double most = rooms.limits.options().requests_per_second;
  return TooMany("more than " + schema::NumberText(most) + " requests a second from " + person->name, wait);
}

absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context) {
  const auto person = Enter(rooms, context);
  if (!person.ok()) return person.status();
  auto place = rooms.limits.Stream(person->name);
  if (place == nullptr) {
    return TooMany(person->name + " has " + std::to_string(rooms.limits.options().streams) +
                       " streams open, which is the most; close one first",
                   kSecondsToCloseOne);
  }
  return [&gate = rooms.gate, authorization = AuthorizationOf(context), place] {
    return gate.WhoSends(authorization).status();
  };
}

absl::Status CheckMayChange(const Rooms& rooms, const access::Person& person, int64_t study) {
  const auto owner = rooms.store.GetOwner(study);
  if (!owner.ok()) return owner.status();
  if (access::MayChange(person, *owner)) return absl::OkStatus();
  return absl::PermissionDeniedError("studies/" + std::to_string(study) + " is " + *owner +
                                     "'s; only its owner or an admin may change it");
}

}  // namespace gyrebox::api
