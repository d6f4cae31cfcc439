/// Entry point of all calls: who makes a call, and whether that user may make it. Every handler of every service,
/// including health and reflection, checks this before anything else. A method that is not in the table of required
/// roles is closed to everyone.
///
/// gRPC's own hook for this, AuthMetadataProcessor, is not used: it turns all received metadata into C strings, and
/// gRPC 1.51.1 of Debian 12 aborts the process if they include a key that gRPC reserves for itself.
#pragma once

#include <google/protobuf/descriptor.h>
#include <grpcpp/generic/async_generic_service.h>
#include <grpcpp/grpcpp.h>
#include <grpcpp/support/server_interceptor.h>

#include <string>

#include "absl/status/statusor.h"
#include "api/server_context.h"
#include "api/unknown_fields.h"
#include "stream/watch_hub.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

/// Path on the wire, /package.Service/Method, of the method that takes such a request; empty if it is not in the table
/// of required roles. Each request type belongs to one method.
const std::string& MethodOf(const google::protobuf::Descriptor* request);

/// Identifies who calls the method at a path. UNAUTHENTICATED; PERMISSION_DENIED if the role is insufficient;
/// UNIMPLEMENTED for a method that is not in the table; RESOURCE_EXHAUSTED, with the time to wait, if the user calls
/// too often.
/// @param bytes of its request.
absl::StatusOr<access::User> Enter(const ServerContext& server, const grpc::CallbackServerContext& context,
                                   const std::string& method, int64_t bytes);

/// The same for a stream, which holds one of the user's stream slots until the authorization is destroyed. The
/// authorization tells whether the stream may continue; it fails once the token is revoked or expired.
absl::StatusOr<stream::StreamAuthorization> EnterStream(const ServerContext& server,
                                                        const grpc::CallbackServerContext& context,
                                                        const std::string& method, int64_t bytes);

/// Requests that say what to run or change. They are rejected if they have a field that the schema does not know.
template <class Request>
concept Instructs = requires(Request request) {
  request.spec();
}
|| requires(Request request) { request.axes(); }
|| requires(Request request) { request.changes(); }
|| requires(Request request) { request.growth(); };

/// The same for the method that takes this request. Rejects unknown fields with INVALID_ARGUMENT if the request
/// Instructs, else discards them.
template <class Request>
absl::StatusOr<access::User> Enter(const ServerContext& server, const grpc::CallbackServerContext& context,
                                   const Request* request) {
  auto user = Enter(server, context, MethodOf(Request::descriptor()), static_cast<int64_t>(request->ByteSizeLong()));
  if (!user.ok()) return user;
  if constexpr (Instructs<Request>) {
    GYREBOX_RETURN_IF_ERROR(CheckAllKnown(*request));
  } else {
    // This call owns the request; gRPC only passes it as const.
    const_cast<Request*>(request)->DiscardUnknownFields();
  }
  return user;
}
template <class Request>
absl::StatusOr<stream::StreamAuthorization> EnterStream(const ServerContext& server,
                                                        const grpc::CallbackServerContext& context,
                                                        const Request* request) {
  const size_t bytes = request == nullptr ? 0 : request->ByteSizeLong();
  if (request != nullptr) const_cast<Request*>(request)->DiscardUnknownFields();  // it lives as long as the stream
  return EnterStream(server, context, MethodOf(Request::descriptor()), static_cast<int64_t>(bytes));
}

/// Counts every call that begins, per connection, including calls abandoned before they are complete, which no handler
/// ever sees.
class CallCounter : public grpc::experimental::ServerInterceptorFactoryInterface {
 public:
  explicit CallCounter(access::Connections& connections) : connections_(connections) {}
  /// Returns null: the call itself proceeds unchanged.
  grpc::experimental::Interceptor* CreateServerInterceptor(grpc::experimental::ServerRpcInfo* info) override {
    connections_.NoteBegun(info->server_context()->peer());
    return nullptr;
  }

 private:
  access::Connections& connections_;
};

/// Rejects every method that no service has.
class NoSuchMethod : public grpc::CallbackGenericService {
 public:
  explicit NoSuchMethod(const ServerContext& server) : server_(server) {}
  grpc::ServerGenericBidiReactor* CreateReactor(grpc::GenericCallbackServerContext* context) override;

 private:
  ServerContext server_;
};

}  // namespace gyrebox::api
