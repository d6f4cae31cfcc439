/// Server reflection of the open standard grpc.reflection.v1alpha: the services and their schema.
#pragma once

#include <string>
#include <vector>

#include "api/server_context.h"
#include "grpc/reflection/v1alpha/reflection.grpc.pb.h"

namespace gyrebox::api {

class ReflectionService : public grpc::reflection::v1alpha::ServerReflection::CallbackService {
 public:
  using Request = grpc::reflection::v1alpha::ServerReflectionRequest;
  using Response = grpc::reflection::v1alpha::ServerReflectionResponse;

  /// @param services full names of all services of the server.
  ReflectionService(const ServerContext& server, std::vector<std::string> services)
      : server_(server), services_(std::move(services)) {}

  grpc::ServerBidiReactor<Request, Response>* ServerReflectionInfo(grpc::CallbackServerContext* context) override;

 private:
  class Conversation;
  Response Answer(const Request& request) const;

  ServerContext server_;
  const std::vector<std::string> services_;
};

}  // namespace gyrebox::api
