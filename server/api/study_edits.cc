// Calls of StudyService that annotate, archive and delete studies.
#include <spdlog/spdlog.h>

#include "api/answer.h"
#include "api/names.h"
#include "api/study_service.h"
#include "schema/nearest_name.h"
#include "study/remarks.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

/// The note and labels that the mask of a request names, or every fault of the request.
static store::StudyWords WordsOf(const v1::UpdateStudyRequest& request, study::Violations* violations) {
  store::StudyWords words;
  const v1::Study& study = request.study();
  if (request.update_mask().paths().empty()) {
    violations->Add("update_mask", "is empty; give note, labels, or both");
  }
  for (int i = 0; i < request.update_mask().paths_size(); ++i) {
    const std::string& path = request.update_mask().paths(i);
    const bool all = path == "*";
    if (all || path == "note") words.note = study.note();
    if (all || path == "labels") words.labels.emplace(study.labels().begin(), study.labels().end());
    if (all || path == "note" || path == "labels") continue;
    violations->Add("update_mask.paths[" + std::to_string(i) + "]",
                    path + " cannot be changed; note and labels can" + schema::DidYouMean(path, {"note", "labels"}));
  }
  if (words.note) study::CheckNote(*words.note, "study.note", violations);
  if (words.labels) study::CheckLabels(study.labels(), "study.labels", violations);
  return words;
}

absl::StatusOr<v1::Study> StudyService::Update(const v1::UpdateStudyRequest& request, const access::User& user) {
  const auto id = ParseStudyName(request.study().name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  study::Violations violations;
  const store::StudyWords words = WordsOf(request, &violations);
  if (!violations.empty()) return InvalidRequest(std::move(violations).Take());
  auto study = server_.store.studies().Update(*id, words, request.study().etag(), user.name);
  if (study.ok()) server_.hub.Changed(*id);
  return study;
}

absl::StatusOr<v1::Study> StudyService::Undo(const v1::UndoGrowthRequest& request, const access::User& user) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  auto study = server_.store.studies().UndoGrowth(*id, request.etag(), user.name);
  if (!study.ok()) return study;
  spdlog::info("the last growth of {} taken back by {}", study->name(), user.name);
  server_.digests.Forget(*id);  // other runs may get the numbers
  server_.hub.Changed(*id);
  return study;
}

absl::StatusOr<v1::Study> StudyService::Give(const v1::GiveStudyRequest& request, const access::User& user) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  GYREBOX_RETURN_IF_ERROR(server_.authenticator.CheckIsUser(request.owner()));
  auto study = server_.store.studies().Give(*id, request.owner(), request.etag(), user.name);
  if (!study.ok()) return study;
  spdlog::info("{} given to {} by {}", study->name(), study->owner(), user.name);
  server_.executor.Give(*id, study->owner());
  server_.hub.Changed(*id);
  return study;
}

absl::StatusOr<v1::Study> StudyService::Archive(const v1::ArchiveStudyRequest& request, const access::User& user) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  auto study = server_.store.studies().Archive(*id, !request.undo(), user.name);
  if (study.ok()) server_.hub.Changed(*id);
  return study;
}

absl::StatusOr<google::protobuf::Empty> StudyService::Delete(const v1::DeleteStudyRequest& request,
                                                             const access::User& user) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  absl::Status status = CheckMayChange(server_, user, *id);
  if (status.ok()) status = server_.store.deletion().Delete(*id, request.etag());
  if (request.allow_missing() && absl::IsNotFound(status)) return google::protobuf::Empty();
  if (!status.ok()) return status;
  spdlog::info("{} deleted by {}", request.name(), user.name);
  server_.digests.Forget(*id);
  server_.hub.Changed(*id);
  server_.retention_worker.Wake();
  return google::protobuf::Empty();
}

grpc::ServerUnaryReactor* StudyService::UpdateStudy(grpc::CallbackServerContext* context,
                                                    const v1::UpdateStudyRequest* request, v1::Study* response) {
  return Answer(server_, context, request, response,
                [=, this](const access::User& user) { return Update(*request, user); });
}

grpc::ServerUnaryReactor* StudyService::UndoGrowth(grpc::CallbackServerContext* context,
                                                   const v1::UndoGrowthRequest* request, v1::Study* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response,
                  [=, this](const access::User& user) { return Undo(*request, user); });
}

grpc::ServerUnaryReactor* StudyService::GiveStudy(grpc::CallbackServerContext* context,
                                                  const v1::GiveStudyRequest* request, v1::Study* response) {
  return Answer(server_, context, request, response,
                [=, this](const access::User& user) { return Give(*request, user); });
}

grpc::ServerUnaryReactor* StudyService::ArchiveStudy(grpc::CallbackServerContext* context,
                                                     const v1::ArchiveStudyRequest* request, v1::Study* response) {
  return Answer(server_, context, request, response,
                [=, this](const access::User& user) { return Archive(*request, user); });
}

grpc::ServerUnaryReactor* StudyService::DeleteStudy(grpc::CallbackServerContext* context,
                                                    const v1::DeleteStudyRequest* request,
                                                    google::protobuf::Empty* response) {
  return Answer(server_, context, request, response,
                [=, this](const access::User& user) { return Delete(*request, user); });
}

}  // namespace gyrebox::api
