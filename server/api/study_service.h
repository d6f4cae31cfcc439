/// StudyService of the schema.
#pragma once

#include <memory>
#include <vector>

#include "api/rooms.h"
#include "gyrebox/v1/study_service.grpc.pb.h"

namespace gyrebox::api {

class StudyService : public v1::StudyService::CallbackService {
 public:
  explicit StudyService(const Rooms& rooms) : rooms_(rooms) {}

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
  grpc::ServerUnaryReactor* CheckStudy(grpc::CallbackServerContext* context, const v1::CheckStudyRequest* request,
                                       v1::CheckStudyResponse* response) override;
  grpc::ServerUnaryReactor* TabulateStudy(grpc::CallbackServerContext* context, const v1::TabulateStudyRequest* request,
                                          v1::StudyTable* response) override;

  // In study_intake.cc:
  grpc::ServerUnaryReactor* CreateStudy(grpc::CallbackServerContext* context, const v1::CreateStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* GrowStudy(grpc::CallbackServerContext* context, const v1::GrowStudyRequest* request,
                                      v1::Study* response) override;

  // In study_edits.cc:
  grpc::ServerUnaryReactor* UpdateStudy(grpc::CallbackServerContext* context, const v1::UpdateStudyRequest* request,
                                        v1::Study* response) override;
  grpc::ServerUnaryReactor* ArchiveStudy(grpc::CallbackServerContext* context, const v1::ArchiveStudyRequest* request,
                                         v1::Study* response) override;
  grpc::ServerUnaryReactor* DeleteStudy(grpc::CallbackServerContext* context, const v1::DeleteStudyRequest* request,
                                        google::protobuf::Empty* response) override;

 private:
  /// A study with its defaults filled in, its faults, and the beads that it starts from where it names a run.
  struct Prepared {
    v1::StudySpec spec;
    std::vector<v1::FieldViolation> violations;
    std::shared_ptr<const kernels::SavedBed> saved;
  };
  /// @param of study that the spec is of, whose own start it takes; 0 for one that is new.
  absl::StatusOr<Prepared> Prepare(const v1::StudySpec& asked, int64_t of = 0);

  using StudyDone = std::function<void(absl::StatusOr<v1::Study>)>;
  /// Does something to all runs of a study, and answers with the study.
  void SteerAll(const access::Person& person, const std::string& name, v1::Adjustment::Kind kind, StudyDone done);

  /// The study as it is to be, sound. INVALID_ARGUMENT with every field of the request at fault.
  absl::StatusOr<v1::StudySpec> CheckGrowth(int64_t id, const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

  absl::StatusOr<v1::Study> Grow(const v1::GrowStudyRequest& request, const access::Person& person);
  absl::StatusOr<v1::Study> Update(const v1::UpdateStudyRequest& request, const access::Person& person);
  absl::StatusOr<v1::Study> Archive(const v1::ArchiveStudyRequest& request, const access::Person& person);
  absl::StatusOr<google::protobuf::Empty> Delete(const v1::DeleteStudyRequest& request, const access::Person& person);
  absl::StatusOr<v1::Study> Create(const v1::CreateStudyRequest& request, const access::Person& person);
  absl::StatusOr<v1::Study> Get(const std::string& name);
  absl::StatusOr<v1::ListStudiesResponse> List(const v1::ListStudiesRequest& request);
  absl::StatusOr<v1::Study> Cancel(const std::string& name, const access::Person& person);
  absl::StatusOr<v1::CheckStudyResponse> Check(const v1::CheckStudyRequest& request);
  absl::StatusOr<v1::StudyTable> Tabulate(const v1::TabulateStudyRequest& request);

  Rooms rooms_;
};

}  // namespace gyrebox::api
