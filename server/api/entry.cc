#include "api/entry.h"

#include <map>

#include "access/needs.h"
#include "api/status.h"
#include "schema/number_text.h"

namespace gyrebox::api {

constexpr double kSecondsToCloseOne = 1;

static std::string AuthorizationOf(const grpc::CallbackServerContext& context) {
  const auto& metadata = context.client_metadata();
  const auto found = metadata.find("authorization");
  return found == metadata.end() ? "" : std::string(found->second.data(), found->second.size());
}

/// The name that a descriptor pool knows a method by: package.Service.Method.
static std::string DescriptorName(std::string path) {
  path.erase(0, 1);
  path[path.find('/')] = '.';
  return path;
}

const std::string& MethodOf(const google::protobuf::Descriptor* request) {
  static const auto& paths = *[] {
    auto* made = new std::map<const google::protobuf::Descriptor*, std::string>;
    for (const auto& [path, need] : access::AllNeeds()) {
      const auto* pool = google::protobuf::DescriptorPool::generated_pool();
      if (const auto* method = pool->FindMethodByName(DescriptorName(path))) made->emplace(method->input_type(), path);
    }
    return made;
  }();
  static const std::string none;
  const auto found = paths.find(request);
  return found == paths.end() ? none : found->second;
}

absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                     const std::string& method, int64_t bytes) {
  const std::string peer = context.peer();
  auto person = rooms.gate.Admit(method, AuthorizationOf(context), peer);
  if (!person.ok()) return person.status();
  if (!context.IsCancelled()) rooms.connections.NoteCall(peer, /*known=*/!person->name.empty(), bytes);
  const double wait = rooms.limits.Request(person->name);
  if (wait == 0) return person;
  const double most = rooms.limits.options().requests_per_second;
  return TooMany("more than " + schema::NumberText(most) + " requests a second from " + person->name, wait);
}

absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                         const std::string& method, int64_t bytes) {
  const auto person = Enter(rooms, context, method, bytes);
  if (!person.ok()) return person.status();
  auto place = rooms.limits.Stream(person->name);
  if (place == nullptr) {
    return TooMany(person->name + " has " + std::to_string(rooms.limits.options().streams) +
                       " streams open, which is the most; close one first",
                   kSecondsToCloseOne);
  }
  return [&gate = rooms.gate, method, authorization = AuthorizationOf(context), peer = context.peer(), place] {
    return gate.Admit(method, authorization, peer).status();
  };
}

namespace {

/// Ends a call at once.
class Refusal : public grpc::ServerGenericBidiReactor {
 public:
  explicit Refusal(const absl::Status& why) { Finish(ToGrpcStatus(why)); }
  void OnDone() override { delete this; }
};

}  // namespace

grpc::ServerGenericBidiReactor* NoSuchMethod::CreateReactor(grpc::GenericCallbackServerContext* context) {
  const auto person = Enter(rooms_, *context, context->method(), 0);
  return new Refusal(person.ok() ? absl::UnimplementedError("this server has no such method") : person.status());
}

}  // namespace gyrebox::api
