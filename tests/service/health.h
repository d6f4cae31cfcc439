/// Health status of a server (gRPC health checking protocol).
#pragma once

#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <memory>

#include "grpc/health/v1/health.grpc.pb.h"

namespace gyrebox::test {

using Serving = grpc::health::v1::HealthCheckResponse;

inline Serving::ServingStatus HealthOf(const std::shared_ptr<grpc::Channel>& channel) {
  grpc::ClientContext context;
  Serving response;
  const auto status = grpc::health::v1::Health::NewStub(channel)->Check(&context, {}, &response);
  EXPECT_TRUE(status.ok()) << status.error_message();
  return response.status();
}

}  // namespace gyrebox::test
