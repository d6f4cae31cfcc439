#include "api/health_service.h"

#include <optional>

#include "api/entry.h"
#include "status/status.h"
#include "stream/writer.h"

namespace gyrebox::api {

static const std::string kCheck = "/grpc.health.v1.Health/Check";
static const std::string kWatch = "/grpc.health.v1.Health/Watch";

/// One reader. Call everything except the gRPC reactions with the service's mutex held.
class HealthService::Watcher : public grpc::ServerWriteReactor<Response> {
 public:
  Watcher(HealthService& service, std::string name, stream::StreamAuthorization authorization)
      : service_(service), name_(std::move(name)), authorization_(std::move(authorization)) {}

  /// Writes the status if it has changed.
  void TellLocked() {
    if (finished_ || writing_) return;
    if (const auto status = authorization_(); !status.ok()) return EndLocked(ToGrpcStatus(status));
    const auto now = service_.StatusOfLocked(name_);
    if (now == told_) return service_.going_away_ ? EndLocked(stream::ServerIsStopping()) : void();
    told_ = now;
    message_.set_status(now);
    writing_ = true;
    StartWrite(&message_);
  }
  void EndLocked(const grpc::Status& status) {
    if (!std::exchange(finished_, true)) Finish(status);
  }

  void OnWriteDone(bool ok) override {
    std::lock_guard lock(service_.mutex_);
    writing_ = false;
    if (!ok) return EndLocked(grpc::Status::CANCELLED);
    TellLocked();
  }
  void OnCancel() override {
    std::lock_guard lock(service_.mutex_);
    EndLocked(grpc::Status::CANCELLED);
  }
  void OnDone() override {
    service_.Remove(this);
    delete this;
  }

 private:
  HealthService& service_;
  const std::string name_;
  const stream::StreamAuthorization authorization_;
  Response message_;
  std::optional<Response::ServingStatus> told_;
  bool writing_ = false;
  bool finished_ = false;
};

grpc::health::v1::HealthCheckResponse::ServingStatus HealthService::StatusOfLocked(const std::string& service) const {
  if (!service.empty() && !services_.contains(service)) return Response::SERVICE_UNKNOWN;
  return serving_ ? Response::SERVING : Response::NOT_SERVING;
}

grpc::ServerUnaryReactor* HealthService::Check(grpc::CallbackServerContext* context, const Request* request,
                                               Response* response) {
  auto* reactor = context->DefaultReactor();
  if (const auto user = Enter(server_, *context, kCheck, 0); !user.ok()) {
    reactor->Finish(ToGrpcStatus(user.status()));
    return reactor;
  }
  std::unique_lock lock(mutex_);
  const auto status = StatusOfLocked(request->service());
  lock.unlock();
  response->set_status(status);
  // By the standard, Check answers an unknown service with an error, Watch with a status.
  const bool known = status != Response::SERVICE_UNKNOWN;
  reactor->Finish(known ? grpc::Status::OK : ToGrpcStatus(absl::NotFoundError("this server has no such service")));
  return reactor;
}

grpc::ServerWriteReactor<grpc::health::v1::HealthCheckResponse>* HealthService::Watch(
    grpc::CallbackServerContext* context, const Request* request) {
  auto authorization = EnterStream(server_, *context, kWatch, 0);
  const absl::Status refused = authorization.status();
  auto* watcher = new Watcher(*this, request->service(), refused.ok() ? *std::move(authorization) : nullptr);
  std::lock_guard lock(mutex_);
  if (!refused.ok()) {
    watcher->EndLocked(ToGrpcStatus(refused));
  } else if (auto why = stream::WhyNoReader(going_away_, watchers_.size())) {
    watcher->EndLocked(*why);
  } else {
    watchers_.insert(watcher);
    watcher->TellLocked();
  }
  return watcher;
}

void HealthService::Update(bool serving) {
  std::lock_guard lock(mutex_);
  serving_ = serving && !going_away_;
  for (Watcher* watcher : watchers_) watcher->TellLocked();
}

void HealthService::GoAway() {
  std::lock_guard lock(mutex_);
  going_away_ = true;
  serving_ = false;
  for (Watcher* watcher : watchers_) watcher->TellLocked();
}

void HealthService::Remove(Watcher* watcher) {
  std::lock_guard lock(mutex_);
  watchers_.erase(watcher);
}

}  // namespace gyrebox::api
