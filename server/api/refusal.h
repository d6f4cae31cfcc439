/// A stream that only returns an error.
#pragma once

#include <grpcpp/grpcpp.h>

#include "status/status.h"

namespace gyrebox::api {

template <class Message>
class Refusal : public grpc::ServerWriteReactor<Message> {
 public:
  explicit Refusal(const absl::Status& status) { this->Finish(ToGrpcStatus(status)); }
  void OnDone() override { delete this; }
};

}  // namespace gyrebox::api
