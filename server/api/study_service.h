/// StudyService of the schema.
#pragma once

#include <memory>
#include <vector>

#include "api/kept_pages.h"
#include "api/server_context.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "study/stop.h"

namespace gyrebox::api {

class StudyService : public v1::StudyService::CallbackService {
 public:
  explicit StudyService(const ServerContext& server) : server_(server) {}

  grpc::ServerUnaryReactor* GetStudy(grpc::CallbackServerContext* context, const v1::GetStudyRequest* request,
                                     v1::Study* response) override;
  grpc::ServerUnaryReactor* ListStudies(grpc::CallbackServerContext* context, const v1::ListStudiesRequest* request,
                                        v1::ListStudiesResponse* response) override;
  grpc::ServerUnaryReactor* CancelStudy(grpc::CallbackServerContext* context, const v1::CancelStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* PauseStudy(grpc::CallbackServerContext* context, const v1::PauseStudyRequest* request,
                                       v1::Study* response) override;
  grpc::ServerUnaryReactor* ResumeStudy(grpc::CallbackServerContext* context, const v1::ResumeStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* ExtendStudy(grpc::CallbackServerContext* context, const v1::ExtendStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* CheckStudy(grpc::CallbackServerContext* context, const v1::CheckStudyRequest* request,
                                       v1::CheckStudyResponse* response) override;
  grpc::ServerUnaryReactor* TabulateStudy(grpc::CallbackServerContext* context, const v1::TabulateStudyRequest* request,
                                          v1::StudyTable* response) override;

  // In study_intake.cc:
  grpc::ServerUnaryReactor* CreateStudy(grpc::CallbackServerContext* context, const v1::CreateStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* GrowStudy(grpc::CallbackServerContext* context, const v1::GrowStudyRequest* request,
                                      v1::Study* response) override;
  grpc::ServerUnaryReactor* CheckGrowth(grpc::CallbackServerContext* context, const v1::CheckGrowthRequest* request,
                                        v1::CheckGrowthResponse* response) override;

  // In study_edits.cc:
  grpc::ServerUnaryReactor* UpdateStudy(grpc::CallbackServerContext* context, const v1::UpdateStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* UndoGrowth(grpc::CallbackServerContext* context, const v1::UndoGrowthRequest* request,
                                       v1::Study* response) override;
  grpc::ServerUnaryReactor* GiveStudy(grpc::CallbackServerContext* context, const v1::GiveStudyRequest* request,
                                      v1::Study* response) override;
  grpc::ServerUnaryReactor* ArchiveStudy(grpc::CallbackServerContext* context, const v1::ArchiveStudyRequest* request,
                                         v1::Study* response) override;
  grpc::ServerUnaryReactor* DeleteStudy(grpc::CallbackServerContext* context, const v1::DeleteStudyRequest* request,
                                        google::protobuf::Empty* response) override;

 private:
  /// A study with its defaults filled in, its faults, and the beads of its saved start, if any.
  struct Prepared {
    v1::StudySpec spec;
    std::vector<v1::FieldViolation> violations;
    std::shared_ptr<const kernels::SavedBed> saved;
  };
  /// @param of study to which the spec belongs, whose own start it uses; 0 for a new study.
  absl::StatusOr<Prepared> Prepare(const v1::StudySpec& asked, const study::Stop& stop, int64_t of = 0);
  /// The same for a study as a client sent it.
  absl::StatusOr<Prepared> PrepareSent(const v1::StudySpec& sent, const study::Stop& stop);

  using StudyDone = std::function<void(absl::StatusOr<v1::Study>)>;
  /// Steers all runs of a study, and answers with the study. @param asked without study and user.
  void SteerAll(const access::User& user, const std::string& name, executor::SteerRequest asked, StudyDone done);

  /// The grown study, which is valid. INVALID_ARGUMENT with every invalid field of the request.
  absl::StatusOr<v1::StudySpec> GrownSpec(int64_t id, const v1::StudySpec& spec, const v1::GrowStudyRequest& request,
                                          const study::Stop& stop);
  /// What a request adds to a study. FAILED_PRECONDITION if the study is cancelled; RESOURCE_EXHAUSTED if its beds are
  /// over the quota.
  absl::StatusOr<store::Growth> PlanGrowth(int64_t id, const v1::Study& study, const v1::GrowStudyRequest& request,
                                           const study::Stop& stop);
  /// Sets the basis of the duration of an estimate. @return the bead-steps per second to expect.
  double SetRate(v1::Estimate* estimate) const;

  absl::StatusOr<v1::CheckGrowthResponse> EstimateGrowth(const v1::GrowStudyRequest& request, const access::User& user,
                                                         const study::Stop& stop);
  absl::StatusOr<v1::Study> Grow(const v1::GrowStudyRequest& request, const access::User& user,
                                 const study::Stop& stop);
  absl::StatusOr<v1::Study> Update(const v1::UpdateStudyRequest& request, const access::User& user);
  absl::StatusOr<v1::Study> Undo(const v1::UndoGrowthRequest& request, const access::User& user);
  absl::StatusOr<v1::Study> Give(const v1::GiveStudyRequest& request, const access::User& user);
  absl::StatusOr<v1::Study> Archive(const v1::ArchiveStudyRequest& request, const access::User& user);
  absl::StatusOr<google::protobuf::Empty> Delete(const v1::DeleteStudyRequest& request, const access::User& user);
  absl::StatusOr<v1::Study> Create(const v1::CreateStudyRequest& request, const access::User& user,
                                   const study::Stop& stop);
  absl::StatusOr<v1::Study> Get(const std::string& name);
  absl::StatusOr<v1::ListStudiesResponse> List(const v1::ListStudiesRequest& request);
  absl::StatusOr<v1::Study> Cancel(const std::string& name, const access::User& user);
  absl::StatusOr<v1::CheckStudyResponse> Check(const v1::CheckStudyRequest& request, const study::Stop& stop);
  absl::StatusOr<v1::StudyTable> Tabulate(const v1::TabulateStudyRequest& request, const study::Stop& stop);

  ServerContext server_;
  KeptPages tables_;
};

}  // namespace gyrebox::api
