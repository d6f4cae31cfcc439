/// Server reflection of the open standard grpc.reflection.v1alpha: which services there are, and their schema.
#pragma once

#include <string>
#include <vector>

#include "api/rooms.h"
#include "grpc/reflection/v1alpha/reflection.grpc.pb.h"

namespace gyrebox::api {

class ReflectionService : public grpc::reflection::v1alpha::ServerReflection::CallbackService {
 public:
  using Request = grpc::reflection::v1alpha::ServerReflectionRequest;
  using Response = grpc::reflection::v1alpha::ServerReflectionResponse;

  /// @param services full names of all that the server has.
  ReflectionService(const Rooms& rooms, std::vector<std::string> services)
      : rooms_(rooms), services_(std::move(services)) {}

  grpc::ServerBidiReactor<Request, Response>* ServerReflectionInfo(grpc::CallbackServerContext* context) override;

 private:
  class Conversation;
  Response Answer(const Request& request) const;

  Rooms rooms_;
  const std::vector<std::string> services_;
};

}  // namespace gyrebox::api
