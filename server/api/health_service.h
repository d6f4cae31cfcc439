/// Health of the open standard grpc.health.v1: whether this server does its work.
#pragma once

#include <map>
#include <mutex>
#include <set>
#include <string>

#include "api/rooms.h"
#include "grpc/health/v1/health.grpc.pb.h"

namespace gyrebox::api {

class HealthService : public grpc::health::v1::Health::CallbackService {
 public:
  using Request = grpc::health::v1::HealthCheckRequest;
  using Response = grpc::health::v1::HealthCheckResponse;

  /// NOT_SERVING until Update() says otherwise.
  HealthService(const Rooms& rooms, std::set<std::string> services) : rooms_(rooms), services_(std::move(services)) {}

  grpc::ServerUnaryReactor* Check(grpc::CallbackServerContext* context, const Request* request,
                                  Response* response) override;
  grpc::ServerWriteReactor<Response>* Watch(grpc::CallbackServerContext* context, const Request* request) override;

  /// Tells all who watch where it has changed, and ends the streams of those who may not watch any more. Called every
  /// second or so. Does not block.
  void Update(bool serving);
  /// Tells that nothing is served any more, and ends all streams, those to come too.
  void GoAway();

 private:
  class Watcher;

  Response::ServingStatus StatusOfLocked(const std::string& service) const;
  void Remove(Watcher* watcher);

  Rooms rooms_;
  const std::set<std::string> services_;
  std::mutex mutex_;
  bool serving_ = false;         ///< guarded by mutex_
  bool going_away_ = false;      ///< guarded by mutex_
  std::set<Watcher*> watchers_;  ///< guarded by mutex_
};

}  // namespace gyrebox::api
