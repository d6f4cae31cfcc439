/// The services of a server.
#pragma once

#include <grpcpp/grpcpp.h>

#include "api/analysis_service.h"
#include "api/entry.h"
#include "api/health_service.h"
#include "api/machine_service.h"
#include "api/reflection_service.h"
#include "api/run_service.h"
#include "api/server_context.h"
#include "api/study_service.h"
#include "api/user_service.h"

namespace gyrebox::api {

/// All services, and the answer to methods that none of them has.
class Services {
 public:
  explicit Services(const ServerContext& context);

  /// Call before the server is built.
  void AddTo(grpc::ServerBuilder& builder);

  /// Reports whether this server does its work.
  void UpdateHealth(bool serving) { health_.Update(serving); }

  /// Ends all streams of the machine and of its health, present and future.
  void GoAway();

 private:
  StudyService studies_;
  RunService runs_;
  AnalysisService analysis_;
  MachineService machine_;
  UserService users_;
  HealthService health_;
  ReflectionService reflection_;
  NoSuchMethod no_such_method_;
};

}  // namespace gyrebox::api
