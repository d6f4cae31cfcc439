/// Where gRPC asks whether a call may come in: before any handler, for every method of every service there is.
#pragma once

#include <grpcpp/security/auth_metadata_processor.h>
#include <grpcpp/server_context.h>

#include <string>

#include "access/gate.h"

namespace gyrebox::api {

class TokenCheck : public grpc::AuthMetadataProcessor {
 public:
  explicit TokenCheck(access::Gate& gate) : gate_(gate) {}

  bool IsBlocking() const override { return false; }
  grpc::Status Process(const InputMetadata& metadata, grpc::AuthContext* context, OutputMetadata* consumed,
                       OutputMetadata* response) override;

 private:
  access::Gate& gate_;
};

/// What a call sends as its authorization; empty where it sends none.
std::string AuthorizationOf(const grpc::CallbackServerContext& context);

}  // namespace gyrebox::api
