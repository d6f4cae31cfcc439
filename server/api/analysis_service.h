/// AnalysisService of the schema.
#pragma once

#include "api/kept_pages.h"
#include "api/server_context.h"
#include "gyrebox/v1/analysis_service.grpc.pb.h"

namespace gyrebox::api {

class AnalysisService : public v1::AnalysisService::CallbackService {
 public:
  explicit AnalysisService(const ServerContext& server) : server_(server) {}

  grpc::ServerUnaryReactor* AnalyseStudy(grpc::CallbackServerContext* context, const v1::AnalyseStudyRequest* request,
                                         v1::Answers* response) override;

 private:
  absl::StatusOr<v1::Answers> Analyse(const v1::AnalyseStudyRequest& request, const study::Stop& stop);

  ServerContext server_;
  KeptPages kept_;
};

}  // namespace gyrebox::api
