/// Health service of the open standard grpc.health.v1: whether this server does its work.
#pragma once

#include <map>
#include <mutex>
#include <set>
#include <string>

#include "api/server_context.h"
#include "grpc/health/v1/health.grpc.pb.h"

namespace gyrebox::api {

class HealthService : public grpc::health::v1::Health::CallbackService {
 public:
  using Request = grpc::health::v1::HealthCheckRequest;
  using Response = grpc::health::v1::HealthCheckResponse;

  /// NOT_SERVING until Update() says otherwise.
  HealthService(const ServerContext& server, std::set<std::string> services)
      : server_(server), services_(std::move(services)) {}

  grpc::ServerUnaryReactor* Check(grpc::CallbackServerContext* context, const Request* request,
                                  Response* response) override;
  grpc::ServerWriteReactor<Response>* Watch(grpc::CallbackServerContext* context, const Request* request) override;

  /// Sends the status to every watcher for which it has changed, and ends streams whose authorization no longer holds.
  /// Called about once a second. Does not block.
  void Update(bool serving);
  /// Reports that nothing is served any more, and ends all streams, present and future.
  void GoAway();

 private:
  class Watcher;

  Response::ServingStatus StatusOfLocked(const std::string& service) const;
  void Remove(Watcher* watcher);

  ServerContext server_;
  const std::set<std::string> services_;
  std::mutex mutex_;
  bool serving_ = false;         ///< guarded by mutex_
  bool going_away_ = false;      ///< guarded by mutex_
  std::set<Watcher*> watchers_;  ///< guarded by mutex_
};

}  // namespace gyrebox::api
