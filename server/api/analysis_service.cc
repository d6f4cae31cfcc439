#include "api/analysis_service.h"

#include "answers/answer_pages.h"
#include "answers/answers.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

absl::StatusOr<v1::Answers> AnalysisService::Analyse(const v1::AnalyseStudyRequest& request, const study::Stop& stop) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  v1::AnalysisOptions options = request.options();
  GYREBOX_RETURN_IF_ERROR(analysis::FillOptions(&options));
  const std::string list = request.name() + "/answers " + options.SerializeAsString();
  if (!request.page_token().empty()) return kept_.GoOn<v1::Answers>(list, request.page_token());
  auto answers = analysis::Analyse(server_.store, *id, options, &server_.digests, stop);
  if (!answers.ok()) return answers.status();
  answers->set_software_version(GYREBOX_VERSION);
  return kept_.Start(list, analysis::CutIntoPages(*std::move(answers), kMaxPageBytes));
}

grpc::ServerUnaryReactor* AnalysisService::AnalyseStudy(grpc::CallbackServerContext* context,
                                                        const v1::AnalyseStudyRequest* request, v1::Answers* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const study::Stop& stop) { return Analyse(*request, stop); });
}

}  // namespace gyrebox::api
