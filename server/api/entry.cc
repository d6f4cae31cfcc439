#include "api/entry.h"

#include <map>

#include "access/required_roles.h"
#include "schema/number_text.h"
#include "status/status.h"

namespace gyrebox::api {

constexpr double kSecondsToCloseOne = 1;

static std::string AuthorizationOf(const grpc::CallbackServerContext& context) {
  const auto& metadata = context.client_metadata();
  const auto found = metadata.find("authorization");
  return found == metadata.end() ? "" : std::string(found->second.data(), found->second.size());
}

/// Name of a method in a descriptor pool: package.Service.Method.
static std::string DescriptorName(std::string path) {
  path.erase(0, 1);
  path[path.find('/')] = '.';
  return path;
}

const std::string& MethodOf(const google::protobuf::Descriptor* request) {
  static const auto& paths = *[] {
    auto* made = new std::map<const google::protobuf::Descriptor*, std::string>;
    for (const auto& [path, need] : access::AllRequiredRoles()) {
      const auto* pool = google::protobuf::DescriptorPool::generated_pool();
      if (const auto* method = pool->FindMethodByName(DescriptorName(path))) made->emplace(method->input_type(), path);
    }
    return made;
  }();
  static const std::string none;
  const auto found = paths.find(request);
  return found == paths.end() ? none : found->second;
}

absl::StatusOr<access::User> Enter(const ServerContext& server, const grpc::CallbackServerContext& context,
                                   const std::string& method, int64_t bytes) {
  const std::string peer = context.peer();
  auto user = server.authenticator.Admit(method, AuthorizationOf(context), peer);
  if (!user.ok()) return user.status();
  if (!context.IsCancelled()) server.connections.NoteCall(peer, /*known=*/!user->name.empty(), bytes);
  const double wait = server.limits.Request(user->name);
  if (wait == 0) return user;
  const double most = server.limits.options().requests_per_second;
  return TooMany("more than " + schema::NumberText(most) + " requests a second from " + user->name, wait);
}

absl::StatusOr<stream::StreamAuthorization> EnterStream(const ServerContext& server,
                                                        const grpc::CallbackServerContext& context,
                                                        const std::string& method, int64_t bytes) {
  const auto user = Enter(server, context, method, bytes);
  if (!user.ok()) return user.status();
  auto place = server.limits.Stream(user->name);
  if (place == nullptr) {
    return TooMany(user->name + " has " + std::to_string(server.limits.options().streams) +
                       " streams open, which is the most; close one first",
                   kSecondsToCloseOne);
  }
  return [&authenticator = server.authenticator, method, authorization = AuthorizationOf(context),
          peer = context.peer(), place] { return authenticator.Admit(method, authorization, peer).status(); };
}

namespace {

/// Ends a call at once with an error.
class Refusal : public grpc::ServerGenericBidiReactor {
 public:
  explicit Refusal(const absl::Status& why) { Finish(ToGrpcStatus(why)); }
  void OnDone() override { delete this; }
};

}  // namespace

grpc::ServerGenericBidiReactor* NoSuchMethod::CreateReactor(grpc::GenericCallbackServerContext* context) {
  const auto user = Enter(server_, *context, context->method(), 0);
  return new Refusal(user.ok() ? absl::UnimplementedError("this server has no such method") : user.status());
}

}  // namespace gyrebox::api
