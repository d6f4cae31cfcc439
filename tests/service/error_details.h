/// Details of refusals, decoded as any client of the open error model does.
#pragma once

#include <grpcpp/support/status.h>
#include <gtest/gtest.h>

#include "google/rpc/error_details.pb.h"
#include "google/rpc/status.pb.h"

namespace gyrebox::test {

/// Details of a refusal; a message type that it does not carry is empty.
struct ErrorDetails {
  google::rpc::ErrorInfo info;
  google::rpc::BadRequest request;
  google::rpc::RetryInfo retry;
  google::rpc::PreconditionFailure precondition;

  double retry_seconds() const {
    return static_cast<double>(retry.retry_delay().seconds()) + 1e-9 * retry.retry_delay().nanos();
  }
};

inline ErrorDetails DetailsOf(const grpc::Status& status) {
  ErrorDetails details;
  google::rpc::Status sent;
  EXPECT_TRUE(sent.ParseFromString(status.error_details()));
  EXPECT_EQ(sent.code(), status.error_code());
  EXPECT_EQ(sent.message(), status.error_message());
  for (const auto& any : sent.details()) {
    EXPECT_TRUE(any.UnpackTo(&details.info) || any.UnpackTo(&details.request) || any.UnpackTo(&details.retry) ||
                any.UnpackTo(&details.precondition))
        << any.type_url();
  }
  EXPECT_EQ(details.info.domain(), "gyrebox");
  return details;
}

}  // namespace gyrebox::test
