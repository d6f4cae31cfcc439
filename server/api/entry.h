/// Where calls enter: who makes a call, and whether that person may make it. Every handler of every service asks here
/// before anything else, health and reflection too; a method that is not in the table of needs is closed to all.
///
/// gRPC's own hook for this, AuthMetadataProcessor, is not used: it turns all metadata received into C strings, and the
/// gRPC of Debian 12 (1.51.1) aborts the process where a key is among them that gRPC keeps for itself.
#pragma once

#include <google/protobuf/descriptor.h>
#include <grpcpp/generic/async_generic_service.h>
#include <grpcpp/grpcpp.h>
#include <grpcpp/support/server_interceptor.h>

#include <string>

#include "absl/status/statusor.h"
#include "api/rooms.h"
#include "api/unknown_fields.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// Path on the wire, /package.Service/Method, of the method that takes such a request; empty where the table of needs
/// has none. Each request belongs to one method.
const std::string& MethodOf(const google::protobuf::Descriptor* request);

/// Who makes a call of the method on a path. UNAUTHENTICATED; PERMISSION_DENIED where the role does not do;
/// UNIMPLEMENTED for a method that is not in the table; RESOURCE_EXHAUSTED, with the time to wait, where the person
/// calls too often.
/// @param bytes of its request.
absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                     const std::string& method, int64_t bytes);

/// The same for a stream, which holds one of the person's stream slots until the pass is destroyed. The pass tells
/// whether the stream may go on: not once the token is revoked or expired.
absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                         const std::string& method, int64_t bytes);

/// Requests that say what is to be run or changed: one with a field that the schema does not have is refused.
template <class Request>
concept Instructs = requires(Request request) {
  request.spec();
}
|| requires(Request request) { request.axes(); }
|| requires(Request request) { request.changes(); };

/// The same, for the method that takes this request. Unknown fields are refused where the request Instructs, with
/// INVALID_ARGUMENT, and else discarded.
template <class Request>
absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                     const Request* request) {
  auto person = Enter(rooms, context, MethodOf(Request::descriptor()), static_cast<int64_t>(request->ByteSizeLong()));
  if (!person.ok()) return person;
  if constexpr (Instructs<Request>) {
    if (auto status = CheckAllKnown(*request); !status.ok()) return status;
  } else {
    // The request is this call's own; gRPC only lends it as const.
    const_cast<Request*>(request)->DiscardUnknownFields();
  }
  return person;
}
template <class Request>
absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                         const Request* request) {
  const size_t bytes = request == nullptr ? 0 : request->ByteSizeLong();
  if (request != nullptr) const_cast<Request*>(request)->DiscardUnknownFields();  // it lives as long as the stream
  return EnterStream(rooms, context, MethodOf(Request::descriptor()), static_cast<int64_t>(bytes));
}

/// Counts every call that begins, for its connection: those too that are given up before they are whole, which no
/// handler ever sees.
class CallCounter : public grpc::experimental::ServerInterceptorFactoryInterface {
 public:
  explicit CallCounter(access::Connections& connections) : connections_(connections) {}
  /// Null: the call itself goes on as it is.
  grpc::experimental::Interceptor* CreateServerInterceptor(grpc::experimental::ServerRpcInfo* info) override {
    connections_.NoteBegun(info->server_context()->peer());
    return nullptr;
  }

 private:
  access::Connections& connections_;
};

/// Refuses every method that no service has.
class NoSuchMethod : public grpc::CallbackGenericService {
 public:
  explicit NoSuchMethod(const Rooms& rooms) : rooms_(rooms) {}
  grpc::ServerGenericBidiReactor* CreateReactor(grpc::GenericCallbackServerContext* context) override;

 private:
  Rooms rooms_;
};

}  // namespace gyrebox::api
