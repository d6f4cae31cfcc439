#include "api/token_check.h"

#include "api/status.h"

namespace gyrebox::api {

using Metadata = std::multimap<grpc::string_ref, grpc::string_ref>;

static std::string ValueOf(const Metadata& metadata, const char* key) {
  const auto found = metadata.find(key);
  return found == metadata.end() ? "" : std::string(found->second.data(), found->second.size());
}

// Nothing is written into the AuthContext: it belongs to the connection, which several people may share.
grpc::Status TokenCheck::Process(const InputMetadata& metadata, grpc::AuthContext*, OutputMetadata*, OutputMetadata*) {
  return ToGrpcStatus(gate_.Admit(ValueOf(metadata, ":path"), ValueOf(metadata, "authorization")));
}

std::string AuthorizationOf(const grpc::CallbackServerContext& context) {
  return ValueOf(context.client_metadata(), "authorization");
}

}  // namespace gyrebox::api
