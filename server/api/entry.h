/// Where calls enter: who makes a call, and whether that person may make it. Every handler of every service asks here
/// before anything else, health and reflection too; a method that is not in the table of needs is closed to all.
///
/// gRPC's own hook for this, AuthMetadataProcessor, is not used: it turns all metadata received into C strings, and the
/// gRPC of Debian 12 (1.51.1) aborts the process where a key is among them that gRPC keeps for itself.
#pragma once

#include <google/protobuf/descriptor.h>
#include <grpcpp/generic/async_generic_service.h>
#include <grpcpp/grpcpp.h>

#include <string>

#include "absl/status/statusor.h"
#include "api/rooms.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// Path on the wire, /package.Service/Method, of the method that takes such a request; empty where the table of needs
/// has none. Each request belongs to one method.
const std::string& MethodOf(const google::protobuf::Descriptor* request);

/// Who makes a call of the method on a path. UNAUTHENTICATED; PERMISSION_DENIED where the role does not do;
/// UNIMPLEMENTED for a method that is not in the table; RESOURCE_EXHAUSTED, with the time to wait, where the person
/// calls too often.
absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                     const std::string& method);

/// The same for a stream, which holds one of the person's stream slots until the pass is destroyed. The pass tells
/// whether the stream may go on: not once the token is revoked or expired.
absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                         const std::string& method);

/// The same, for the method that takes this request.
template <class Request>
absl::StatusOr<access::Person> Enter(const Rooms& rooms, const grpc::CallbackServerContext& context, const Request*) {
  return Enter(rooms, context, MethodOf(Request::descriptor()));
}
template <class Request>
absl::StatusOr<stream::Pass> EnterStream(const Rooms& rooms, const grpc::CallbackServerContext& context,
                                         const Request*) {
  return EnterStream(rooms, context, MethodOf(Request::descriptor()));
}

/// Refuses every method that no service has.
class NoSuchMethod : public grpc::CallbackGenericService {
 public:
  explicit NoSuchMethod(const Rooms& rooms) : rooms_(rooms) {}
  grpc::ServerGenericBidiReactor* CreateReactor(grpc::GenericCallbackServerContext* context) override;

 private:
  Rooms rooms_;
};

}  // namespace gyrebox::api
