#include "api/services.h"

#include <iterator>

namespace gyrebox::api {

constexpr const char* kServices[] = {"gyrebox.v1.StudyService",
                                     "gyrebox.v1.RunService",
                                     "gyrebox.v1.AnalysisService",
                                     "gyrebox.v1.MachineService",
                                     "gyrebox.v1.UserService",
                                     "grpc.health.v1.Health",
                                     "grpc.reflection.v1alpha.ServerReflection"};

Services::Services(const ServerContext& context)
    : studies_(context),
      runs_(context),
      analysis_(context),
      machine_(context),
      users_(context),
      health_(context, {std::begin(kServices), std::end(kServices)}),
      reflection_(context, {std::begin(kServices), std::end(kServices)}),
      no_such_method_(context) {}

void Services::AddTo(grpc::ServerBuilder& builder) {
  for (grpc::Service* service : {static_cast<grpc::Service*>(&studies_), static_cast<grpc::Service*>(&runs_),
                                 static_cast<grpc::Service*>(&analysis_), static_cast<grpc::Service*>(&machine_),
                                 static_cast<grpc::Service*>(&users_), static_cast<grpc::Service*>(&health_),
                                 static_cast<grpc::Service*>(&reflection_)}) {
    builder.RegisterService(service);
  }
  builder.RegisterCallbackGenericService(&no_such_method_);
}

void Services::GoAway() {
  health_.GoAway();
  machine_.GoAway();
}

}  // namespace gyrebox::api
