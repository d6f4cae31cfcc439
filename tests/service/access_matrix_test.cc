// Access matrix: every method of every service, called over the wire by every kind of caller.
#include <gmock/gmock.h>
#include <google/protobuf/descriptor.h>
#include <google/protobuf/message.h>
#include <grpcpp/generic/generic_stub.h>
#include <gtest/gtest.h>

#include <set>

#include "access/required_roles.h"
#include "example_studies.h"
#include "group_server.h"
#include "grpc/health/v1/health.pb.h"
#include "gyrebox/v1/machine_service.pb.h"
#include "gyrebox/v1/run_service.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using grpc::StatusCode;
using Message = google::protobuf::Message;

constexpr char kReflection[] = "grpc.reflection.v1alpha.ServerReflection";

grpc::ByteBuffer Bytes(const std::string& text) {
  const grpc::Slice slice(text);
  return grpc::ByteBuffer(&slice, 1);
}

/// Calls any method until its first response, then ends the call.
grpc::Status CallOnce(const std::shared_ptr<grpc::Channel>& channel, const std::string& path,
                      const std::string& request, const std::string& authorization, std::string* answer = nullptr) {
  grpc::ClientContext context;
  context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(60));
  if (!authorization.empty()) context.AddMetadata("authorization", authorization);
  grpc::CompletionQueue queue;
  const auto call = grpc::GenericStub(channel).PrepareCall(&context, path, &queue);
  const auto wait = [&] {
    void* tag = nullptr;
    bool done = false;
    return queue.Next(&tag, &done) && done;
  };
  grpc::ByteBuffer got;
  bool answered = false;
  call->StartCall(nullptr);
  if (wait()) {
    call->WriteLast(Bytes(request), {}, nullptr);
    wait();
    call->Read(&got, nullptr);
    answered = wait();
  }
  if (answered) context.TryCancel();
  grpc::Status status;
  call->Finish(&status, nullptr);
  wait();
  grpc::Slice whole;
  if (answered && answer != nullptr && got.DumpToSingleSlice(&whole).ok()) {
    answer->assign(reinterpret_cast<const char*>(whole.begin()), whole.size());
  }
  return answered ? grpc::Status::OK : status;
}

class AccessMatrixTest : public testing::Test {
 protected:
  AccessMatrixTest() {
    auto olga = group_.ClientFor("olga");
    v1::StudySpec framed = test::BareStudy();
    framed.mutable_measure()->set_frame_interval(1);
    EXPECT_TRUE(olga.CreateStudy(framed).ok());
    EXPECT_TRUE(test::WaitFor([&] { return olga.GetStudy("studies/1")->has_end_time(); }));
    EXPECT_TRUE(group_.ClientFor("anna").DrainMachine(true).ok());  // studies submitted from now on wait
  }

  grpc::Status Call(const std::string& method, const std::string& request, const std::string& authorization,
                    std::string* answer = nullptr) {
    return CallOnce(channel_, "/" + method, request, authorization, answer);
  }

  /// A valid request to this method about olga's objects; each can be made once.
  std::string RequestFor(const std::string& method) {
    const std::string name = method.substr(method.rfind('/') + 1);
    if (name == "CancelStudy") return Filled<v1::CancelStudyRequest>("name", NewStudy());
    if (name == "DeleteStudy") return Filled<v1::DeleteStudyRequest>("name", CancelledStudy());
    if (name == "ArchiveStudy") return Filled<v1::ArchiveStudyRequest>("name", "studies/1");
    if (name == "UpdateStudy") return Note();
    if (name == "GrowStudy") return Growth();
    if (name == "CheckGrowth") return CheckedGrowth();
    if (name == "UndoGrowth") return Filled<v1::UndoGrowthRequest>("name", NewStudy());
    if (name == "GiveStudy") return Gift();
    if (name == "ExtendStudy") return Extension(NewStudy());
    if (name == "RestartRuns") return Filled<v1::RestartRunsRequest>("name", NewStudy());
    if (name == "WithdrawAdjustment") return Filled<v1::WithdrawAdjustmentRequest>("name", PlannedChange());
    if (name == "TabulateRuns") return Filled<v1::TabulateRunsRequest>("parent", "studies/1");
    if (name == "ExcludeRun") return Exclusion();
    if (name == "RevokeTokens") return Filled<v1::RevokeTokensRequest>("name", NewToken());
    if (name == "CreateToken") return Filled<v1::CreateTokenRequest>("user", "new");
    if (name == "GetStudy" || name == "TabulateStudy" || name == "AnalyseStudy")
      return Filled<v1::GetStudyRequest>("name", "studies/1");
    if (name == "GetFrame" || name == "WatchFrames") return Filled<v1::GetFrameRequest>("name", "studies/1/runs/1");
    if (name == "ListFrames") return Filled<v1::ListFramesRequest>("parent", "studies/1/runs/1");
    if (name == "MeasureRun") return Filled<v1::MeasureRunRequest>("name", "studies/1/runs/1");
    if (name == "GetRun") return Filled<v1::GetRunRequest>("name", "studies/1/runs/1");
    if (name == "ListRuns" || name == "WatchRuns") return Filled<v1::ListRunsRequest>("parent", "studies/1");
    if (name == "ListSamples") return Filled<v1::ListSamplesRequest>("parent", "studies/1/runs/1");
    if (name == "PauseStudy" || name == "ResumeStudy") return Filled<v1::PauseStudyRequest>("name", NewStudy());
    if (name == "PauseRun" || name == "ResumeRun" || name == "FinishRun" || name == "PrioritizeRuns") {
      return Filled<v1::PauseRunRequest>("name", NewStudy() + "/runs/1");
    }
    if (name == "SaveRun" || name == "ReplayRun") return Filled<v1::SaveRunRequest>("name", "studies/1/runs/1");
    if (name == "ListAdjustments" || name == "ListSavedStates") {
      return Filled<v1::ListAdjustmentsRequest>("parent", "studies/1/runs/1");
    }
    if (name == "ExtendRun") return Extension(NewStudy() + "/runs/1");
    if (name == "AdjustRuns") return Adjustment();
    if (name == "DrainMachine") return std::string("\x08\x01", 2);  // drain = 1: true
    if (name == "ServerReflectionInfo") return ListServices();
    if (method.starts_with("grpc.health")) return grpc::health::v1::HealthCheckRequest().SerializeAsString();
    if (name != "CreateStudy" && name != "CheckStudy") return "";
    v1::CreateStudyRequest request;
    *request.mutable_spec() = test::BareStudy();
    return request.SerializeAsString();
  }

  static std::string ListServices() { return std::string("\x3a\x01*", 3); }  // list_services = 7: "*"

  /// Every method of every service listed by server reflection, as package.Service/Method.
  std::set<std::string> Methods() {
    std::string answer;
    EXPECT_TRUE(Call(std::string(kReflection) + "/ServerReflectionInfo", ListServices(),
                     "Bearer " + group_.secret("anna"), &answer)
                    .ok());
    const auto* pool = google::protobuf::DescriptorPool::generated_pool();
    const auto* type = pool->FindMessageTypeByName("grpc.reflection.v1alpha.ServerReflectionResponse");
    const std::unique_ptr<Message> response(
        google::protobuf::MessageFactory::generated_factory()->GetPrototype(type)->New());
    EXPECT_TRUE(response->ParseFromString(answer));
    const std::string text = response->DebugString();
    std::set<std::string> methods;
    for (size_t at = text.find("name: \""); at != std::string::npos; at = text.find("name: \"", at + 1)) {
      const std::string name = text.substr(at + 7, text.find('"', at + 7) - at - 7);
      const auto* service = pool->FindServiceByName(name);
      EXPECT_NE(service, nullptr) << name;
      for (int i = 0; service != nullptr && i < service->method_count(); ++i) {
        methods.insert(name + "/" + service->method(i)->name());
      }
    }
    return methods;
  }

  test::GroupServer group_;
  std::shared_ptr<grpc::Channel> channel_ = group_.Connect();

 private:
  template <class Request>
  static std::string Filled(const std::string& field, const std::string& value) {
    Request request;
    request.GetReflection()->SetString(&request, request.GetDescriptor()->FindFieldByName(field), value);
    return request.SerializeAsString();
  }

  std::string NewStudy() { return group_.ClientFor("olga").CreateStudy(test::BareStudy())->name(); }

  std::string CancelledStudy() {
    const std::string name = NewStudy();
    EXPECT_TRUE(group_.ClientFor("olga").CancelStudy(name).ok());
    return name;
  }

  static std::string Note() {
    v1::UpdateStudyRequest request;
    request.mutable_study()->set_name("studies/1");
    request.mutable_update_mask()->add_paths("note");
    return request.SerializeAsString();
  }

  std::string Growth() {
    v1::GrowStudyRequest request;
    request.set_name(NewStudy());
    request.set_add_trials(1);
    return request.SerializeAsString();
  }

  std::string CheckedGrowth() {
    v1::CheckGrowthRequest request;
    request.mutable_growth()->ParseFromString(Growth());
    return request.SerializeAsString();
  }

  std::string Exclusion() {
    v1::ExcludeRunRequest request;
    request.set_name(NewStudy() + "/runs/1");
    request.set_reason("dust");
    return request.SerializeAsString();
  }

  /// Of a run, or of a study, whose request has the same fields.
  static std::string Extension(const std::string& name) {
    v1::ExtendRunRequest request;
    request.set_name(name);
    request.set_time(1);
    return request.SerializeAsString();
  }

  std::string Adjustment() {
    v1::AdjustRunsRequest request;
    request.set_name(NewStudy());
    request.add_changes()->set_field("drive.sine.amplitude");
    return request.SerializeAsString();
  }

  std::string Gift() {
    v1::GiveStudyRequest request;
    request.set_name(NewStudy());
    request.set_owner("max");
    return request.SerializeAsString();
  }

  /// Name of a change that has not taken effect.
  std::string PlannedChange() {
    v1::AdjustRunsRequest request;
    request.set_name(NewStudy() + "/runs/1");
    request.set_time(1);
    request.add_changes()->set_field("drive.sine.amplitude");
    return group_.ClientFor("olga").AdjustRuns(request)->adjustments(0).name();
  }

  std::string NewToken() {
    v1::CreateTokenRequest request;
    request.set_user("gone");
    return group_.ClientFor("anna").CreateToken(request)->token().name();
  }
};

/// Status for: a caller without a valid token; a member; the member who owns the study; an admin.
struct Row {
  StatusCode stranger, member, owner, admin;
};
constexpr Row kOpen = {StatusCode::OK, StatusCode::OK, StatusCode::OK, StatusCode::OK};
constexpr Row kMembers = {StatusCode::UNAUTHENTICATED, StatusCode::OK, StatusCode::OK, StatusCode::OK};
constexpr Row kOwners = {StatusCode::UNAUTHENTICATED, StatusCode::PERMISSION_DENIED, StatusCode::OK, StatusCode::OK};
/// For the owner only, and not valid in the initial state of a study.
constexpr Row kOwnersLater = {StatusCode::UNAUTHENTICATED, StatusCode::PERMISSION_DENIED,
                              StatusCode::FAILED_PRECONDITION, StatusCode::FAILED_PRECONDITION};
constexpr Row kAdmins = {StatusCode::UNAUTHENTICATED, StatusCode::PERMISSION_DENIED, StatusCode::PERMISSION_DENIED,
                         StatusCode::OK};

const std::map<std::string, Row>& Matrix() {
  static const auto& matrix = *new std::map<std::string, Row>{
      {"grpc.health.v1.Health/Check", kOpen},
      {"grpc.health.v1.Health/Watch", kMembers},
      {"grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", kMembers},
      {"gyrebox.v1.MachineService/GetMachine", kMembers},
      {"gyrebox.v1.MachineService/WatchMachine", kMembers},
      {"gyrebox.v1.MachineService/DrainMachine", kAdmins},
      {"gyrebox.v1.UserService/CreateToken", kAdmins},
      {"gyrebox.v1.UserService/ListTokens", kAdmins},
      {"gyrebox.v1.UserService/RevokeTokens", kAdmins},
      {"gyrebox.v1.RunService/AdjustRuns", kOwners},
      {"gyrebox.v1.RunService/ListAdjustments", kMembers},
      {"gyrebox.v1.RunService/PauseRun", kOwners},
      {"gyrebox.v1.RunService/ResumeRun", kOwnersLater},
      {"gyrebox.v1.RunService/FinishRun", kOwnersLater},
      {"gyrebox.v1.RunService/ExcludeRun", kOwners},
      {"gyrebox.v1.RunService/ExtendRun", kOwners},
      {"gyrebox.v1.RunService/SaveRun", kOwners},
      {"gyrebox.v1.RunService/ListSavedStates", kMembers},
      {"gyrebox.v1.RunService/ReplayRun", kMembers},
      {"gyrebox.v1.RunService/PrioritizeRuns", kOwners},
      {"gyrebox.v1.RunService/RestartRuns", kOwnersLater},
      {"gyrebox.v1.RunService/TabulateRuns", kMembers},
      {"gyrebox.v1.RunService/WithdrawAdjustment", kOwners},
      {"gyrebox.v1.StudyService/PauseStudy", kOwners},
      {"gyrebox.v1.StudyService/ResumeStudy", kOwnersLater},
      {"gyrebox.v1.RunService/GetFrame", kMembers},
      {"gyrebox.v1.RunService/GetRun", kMembers},
      {"gyrebox.v1.RunService/ListFrames", kMembers},
      {"gyrebox.v1.RunService/MeasureRun", kMembers},
      {"gyrebox.v1.RunService/WatchFrames", kMembers},
      {"gyrebox.v1.RunService/ListRuns", kMembers},
      {"gyrebox.v1.RunService/ListSamples", kMembers},
      {"gyrebox.v1.RunService/WatchRuns", kMembers},
      {"gyrebox.v1.StudyService/ArchiveStudy", kOwners},
      {"gyrebox.v1.StudyService/CancelStudy", kOwners},
      {"gyrebox.v1.StudyService/CheckGrowth", kOwners},
      {"gyrebox.v1.StudyService/CheckStudy", kMembers},
      {"gyrebox.v1.StudyService/ExtendStudy", kOwners},
      {"gyrebox.v1.StudyService/GiveStudy", kOwners},
      {"gyrebox.v1.StudyService/UndoGrowth", kOwnersLater},
      {"gyrebox.v1.StudyService/CreateStudy", kMembers},
      {"gyrebox.v1.StudyService/DeleteStudy", kOwners},
      {"gyrebox.v1.StudyService/GetStudy", kMembers},
      {"gyrebox.v1.StudyService/GrowStudy", kOwners},
      {"gyrebox.v1.StudyService/ListStudies", kMembers},
      {"gyrebox.v1.StudyService/TabulateStudy", kMembers},
      {"gyrebox.v1.StudyService/UpdateStudy", kOwners},
      {"gyrebox.v1.AnalysisService/AnalyseStudy", kMembers},
  };
  return matrix;
}

TEST_F(AccessMatrixTest, EveryMethodHasItsRowAndItsRequiredRole) {
  std::set<std::string> rows;
  for (const auto& [method, row] : Matrix()) rows.insert(method);
  EXPECT_EQ(Methods(), rows);
  for (const std::string& method : Methods()) {
    EXPECT_NE(access::RequiredRoleOf("/" + method), access::RequiredRole::kRefused)
        << method << " is missing in access/required_roles.cc";
  }
}

TEST_F(AccessMatrixTest, EveryCallerGetsTheStatusOfTheRow) {
  const auto bearer = [&](const std::string& user) { return "Bearer " + group_.secret(user); };
  std::set<std::string> told_strangers;
  for (const auto& [method, row] : Matrix()) {
    const std::vector<std::pair<std::string, StatusCode>> cells = {
        {"", row.stranger},           {"Bearer " + access::NewSecret(), row.stranger},
        {bearer("ed"), row.stranger}, {bearer("rita"), row.stranger},
        {bearer("max"), row.member},  {bearer("olga"), row.owner},
        {bearer("anna"), row.admin},
    };
    for (size_t i = 0; i < cells.size(); ++i) {
      const grpc::Status status = Call(method, RequestFor(method), cells[i].first);
      EXPECT_EQ(status.error_code(), cells[i].second) << method << ", caller " << i << ": " << status.error_message();
      if (status.error_code() == StatusCode::UNAUTHENTICATED) told_strangers.insert(status.error_message());
    }
  }
  EXPECT_EQ(told_strangers.size(), 1u) << "a stranger can tell tokens apart: " << *told_strangers.begin();
}

TEST(LocalAccessTest, WithoutTlsEveryMethodNeedsTheTokenOfThisStart) {
  test::TestServer server;
  const auto channel = grpc::CreateChannel(server.tcp_address(), grpc::InsecureChannelCredentials());
  for (const auto& [method, row] : Matrix()) {
    for (const std::string& authorization : {std::string(), "Bearer " + access::NewSecret()}) {
      EXPECT_EQ(CallOnce(channel, "/" + method, "", authorization).error_code(), row.stranger) << method;
    }
  }
  const std::string bearer = "Bearer " + server.server().local_secret();
  EXPECT_TRUE(CallOnce(channel, "/gyrebox.v1.UserService/ListTokens", "", bearer).ok());
  EXPECT_TRUE(CallOnce(server.Connect(), "/gyrebox.v1.UserService/ListTokens", "", "").ok());
}

TEST_F(AccessMatrixTest, MalformedAuthorizationGrantsNothing) {
  const std::string secret = group_.secret("olga");
  const std::string machine = "gyrebox.v1.MachineService/GetMachine";
  const std::vector<std::string> odd = {secret,
                                        "Basic " + secret,
                                        "Bearer",
                                        "Bearer ",
                                        "Bearer " + secret + "x",
                                        "Bearer x" + secret,
                                        "Bearer " + secret + " " + secret,
                                        "Bearer local"};
  for (const std::string& authorization : odd) {
    EXPECT_EQ(Call(machine, "", authorization).error_code(), StatusCode::UNAUTHENTICATED) << authorization;
  }
  // RFC 7235, section 2.1: the name of the scheme is case-insensitive.
  EXPECT_TRUE(Call(machine, "", "bearer " + secret).ok());
}

TEST_F(AccessMatrixTest, AnUnknownMethodGrantsNothing) {
  EXPECT_EQ(Call("gyrebox.v1.MachineService/OpenMachine", "", "").error_code(), StatusCode::UNAUTHENTICATED);
  const std::string bearer = "Bearer " + group_.secret("anna");
  EXPECT_EQ(Call("gyrebox.v1.MachineService/OpenMachine", "", bearer).error_code(), StatusCode::UNIMPLEMENTED);
}

}  // namespace
}  // namespace gyrebox
