// The services as seen by a client.
#include <gmock/gmock.h>
#include <google/protobuf/descriptor.h>
#include <google/protobuf/descriptor.pb.h>
#include <google/protobuf/message.h>
#include <grpcpp/generic/generic_stub.h>
#include <gtest/gtest.h>

#include <future>

#include "error_details.h"
#include "example_studies.h"
#include "grpc/health/v1/health.grpc.pb.h"
#include "gyrebox/v1/analysis_service.grpc.pb.h"
#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::BareStudy;
using test::TestServer;
using test::WaitFor;
using testing::ElementsAre;
using testing::HasSubstr;

class ApiTest : public testing::Test {
 protected:
  template <class Stub, class Request, class Response>
  grpc::Status Call(Stub& stub, grpc::Status (Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                    const Request& request, Response* response) {
    grpc::ClientContext context;
    context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(60));
    return (stub.*method)(&context, request, response);
  }

  grpc::Status Create(const v1::StudySpec& spec, v1::Study* study, const std::string& request_id = "") {
    v1::CreateStudyRequest request;
    *request.mutable_spec() = spec;
    request.set_request_id(request_id);
    return Call(*studies_, &v1::StudyService::Stub::CreateStudy, request, study);
  }

  grpc::Status Get(const std::string& name, v1::Study* study) {
    v1::GetStudyRequest request;
    request.set_name(name);
    return Call(*studies_, &v1::StudyService::Stub::GetStudy, request, study);
  }

  grpc::Status Cancel(const std::string& name, v1::Study* study) {
    v1::CancelStudyRequest request;
    request.set_name(name);
    return Call(*studies_, &v1::StudyService::Stub::CancelStudy, request, study);
  }

  grpc::Status Tabulate(const std::string& name, const std::string& observable, v1::StudyTable* table) {
    v1::TabulateStudyRequest request;
    request.set_name(name);
    request.set_observable(observable);
    return Call(*studies_, &v1::StudyService::Stub::TabulateStudy, request, table);
  }

  bool WaitForEnd(const std::string& name) {
    return WaitFor([&] {
      v1::Study study;
      return Get(name, &study).ok() && study.has_end_time();
    });
  }

  TestServer server_;
  std::unique_ptr<v1::StudyService::Stub> studies_ = v1::StudyService::NewStub(server_.Connect());
  std::unique_ptr<v1::RunService::Stub> runs_ = v1::RunService::NewStub(server_.Connect());
};

TEST_F(ApiTest, AcceptsAStudyAndFillsInDefaults) {
  v1::Study study;
  ASSERT_TRUE(Create(BareStudy(), &study).ok());
  EXPECT_EQ(study.name(), "studies/1");
  EXPECT_EQ(study.spec().bed().packing_fraction(), 0.7);
  EXPECT_EQ(study.run_counts().total_count(), 1);
  EXPECT_FALSE(study.etag().empty());
  EXPECT_TRUE(WaitForEnd("studies/1"));
}

TEST_F(ApiTest, RefusesAStudyWithAllItsFaults) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_bed()->set_packing_fraction(1);
  spec.mutable_drive()->mutable_sine()->set_frequency(0);
  v1::Study study;
  const grpc::Status status = Create(spec, &study);
  EXPECT_EQ(status.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  EXPECT_EQ(status.error_message(), "the study has 2 faults");
  const auto details = test::DetailsOf(status);
  EXPECT_EQ(details.info.reason(), "INVALID_STUDY");
  ASSERT_EQ(details.request.field_violations_size(), 2);
  EXPECT_EQ(details.request.field_violations(0).field(), "bed.packing_fraction");
}

TEST_F(ApiTest, KeepsTheDetailsOfManyFaultsShort) {
  v1::StudySpec spec = BareStudy();
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("thermal.temperature");
  for (int i = 0; i < 1000; ++i) axis.add_values(-1 - i);
  v1::Study study;
  const grpc::Status status = Create(spec, &study);
  EXPECT_EQ(status.error_message(), "the study has 1000 faults");
  EXPECT_LT(status.error_details().size(), 8000u);
  const google::rpc::BadRequest told = test::DetailsOf(status).request;
  EXPECT_THAT(told.field_violations(told.field_violations_size() - 1).description(), HasSubstr("more faults"));
}

TEST_F(ApiTest, AnswersARepeatedRequestWithTheFirstStudy) {
  v1::Study first, second;
  ASSERT_TRUE(Create(BareStudy(), &first, "a-1_B").ok());
  ASSERT_TRUE(Create(BareStudy(), &second, "a-1_B").ok());
  EXPECT_EQ(first.name(), second.name());
  EXPECT_EQ(Create(BareStudy(), &second, "no spaces").error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  EXPECT_EQ(Create(BareStudy(), &second, std::string(65, 'a')).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(ApiTest, ChecksWithoutStoring) {
  v1::CheckStudyRequest request;
  *request.mutable_spec() = BareStudy();
  v1::CheckStudyResponse response;
  ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::CheckStudy, request, &response).ok());
  EXPECT_EQ(response.field_violations_size(), 0);
  EXPECT_EQ(response.estimate().bead_steps(), 4000 * 100);
  EXPECT_GT(response.estimate().duration_seconds(), 0);
  EXPECT_THAT(response.estimate().duration_basis(), HasSubstr("first guess"));
  EXPECT_EQ(response.spec().friction().normal(), 5);
  request.mutable_spec()->clear_bed();
  ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::CheckStudy, request, &response).ok());
  ASSERT_EQ(response.field_violations_size(), 1);
  EXPECT_FALSE(response.has_estimate());
  v1::Study study;
  EXPECT_EQ(Get("studies/1", &study).error_code(), grpc::StatusCode::NOT_FOUND);
}

TEST_F(ApiTest, EstimatesFromTheMeasuredRateIfAvailable) {
  v1::Study study;
  ASSERT_TRUE(Create(BareStudy(), &study).ok());
  ASSERT_TRUE(WaitForEnd(study.name()));
  v1::CheckStudyRequest request;
  *request.mutable_spec() = BareStudy();
  v1::CheckStudyResponse response;
  ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::CheckStudy, request, &response).ok());
  EXPECT_THAT(response.estimate().duration_basis(), HasSubstr("measured on this machine"));
}

TEST_F(ApiTest, ReportsMissingObjects) {
  v1::Study study;
  EXPECT_EQ(Get("studies/9", &study).error_code(), grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(test::DetailsOf(Get("studies/9", &study)).info.reason(), "NOT_FOUND");
  EXPECT_EQ(Get("studies/01", &study).error_code(), grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(Get("studies/-1", &study).error_code(), grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(Get("", &study).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  v1::GetRunRequest request;
  request.set_name("studies/9/runs/1");
  v1::Run run;
  EXPECT_EQ(Call(*runs_, &v1::RunService::Stub::GetRun, request, &run).error_code(), grpc::StatusCode::NOT_FOUND);
}

TEST_F(ApiTest, CancelsOnce) {
  server_.plan().step_nanoseconds = 1'000'000;
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4}, 20), &study).ok());
  ASSERT_TRUE(Cancel(study.name(), &study).ok());
  EXPECT_EQ(study.state(), v1::Study::STATE_CANCELLED);
  ASSERT_TRUE(WaitForEnd(study.name()));
  ASSERT_TRUE(Get(study.name(), &study).ok());
  EXPECT_EQ(study.run_counts().cancelled_count(), 20);
  const grpc::Status again = Cancel(study.name(), &study);
  EXPECT_EQ(again.error_code(), grpc::StatusCode::FAILED_PRECONDITION);
  EXPECT_EQ(test::DetailsOf(again).info.reason(), "WRONG_STATE");
}

TEST_F(ApiTest, ListsStudiesInPages) {
  v1::Study study;
  for (int i = 0; i < 5; ++i) ASSERT_TRUE(Create(BareStudy(), &study).ok());
  v1::ListStudiesRequest request;
  request.set_page_size(2);
  std::vector<std::string> names;
  do {
    v1::ListStudiesResponse page;
    ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::ListStudies, request, &page).ok());
    for (const auto& listed : page.studies()) names.push_back(listed.name());
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  EXPECT_THAT(names, ElementsAre("studies/5", "studies/4", "studies/3", "studies/2", "studies/1"));
}

TEST_F(ApiTest, RefusesUnknownPageTokens) {
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4}, 3), &study).ok());
  v1::ListRunsRequest runs;
  runs.set_parent(study.name());
  runs.set_page_size(2);
  v1::ListRunsResponse page;
  ASSERT_TRUE(Call(*runs_, &v1::RunService::Stub::ListRuns, runs, &page).ok());
  EXPECT_EQ(page.runs_size(), 2);
  v1::ListStudiesRequest studies;
  studies.set_page_token(page.next_page_token());
  v1::ListStudiesResponse listed;
  EXPECT_EQ(Call(*studies_, &v1::StudyService::Stub::ListStudies, studies, &listed).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
  studies.set_page_token("%%%");
  EXPECT_EQ(Call(*studies_, &v1::StudyService::Stub::ListStudies, studies, &listed).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
  studies.clear_page_token();
  studies.set_page_size(-1);
  EXPECT_EQ(Call(*studies_, &v1::StudyService::Stub::ListStudies, studies, &listed).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(ApiTest, ListsSamplesInPagesWithoutGaps) {
  v1::Study study;
  ASSERT_TRUE(Create(BareStudy(), &study).ok());
  ASSERT_TRUE(WaitForEnd(study.name()));
  v1::ListSamplesRequest request;
  request.set_parent(study.name() + "/runs/1");
  request.set_page_size(5);
  std::vector<int64_t> sequences;
  do {
    v1::ListSamplesResponse page;
    ASSERT_TRUE(Call(*runs_, &v1::RunService::Stub::ListSamples, request, &page).ok());
    EXPECT_EQ(page.observables_size(), 3);
    for (const auto& sample : page.samples()) sequences.push_back(sample.sequence());
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  ASSERT_EQ(sequences.size(), 17u);
  for (int64_t i = 0; i < 17; ++i) EXPECT_EQ(sequences[i], i);
}

TEST_F(ApiTest, TabulatesPlateausWithoutUnstableRuns) {
  server_.plan().unstable_above = 50;
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4, 100}, 3), &study).ok());
  ASSERT_TRUE(WaitForEnd(study.name()));
  v1::StudyTable table;
  ASSERT_TRUE(Tabulate(study.name(), "", &table).ok());
  EXPECT_EQ(table.observable().name(), "spinner_weight_average_size");
  EXPECT_THAT(table.axis_fields(), ElementsAre("drive.sine.amplitude"));
  EXPECT_THAT(table.axis_units(), ElementsAre("rad/tau"));
  ASSERT_EQ(table.rows_size(), 2);
  const v1::TableRow& stable = table.rows(0);
  EXPECT_THAT(stable.axis_values(), ElementsAre(4));
  EXPECT_EQ(stable.trial_count(), 3);
  // Samples 8 to 16 of 16 lie on the plateau; a fake run measures amplitude + 100 x realization index + completed
  // fraction of the run.
  EXPECT_DOUBLE_EQ(stable.mean(), 4 + 200 + 0.75);
  EXPECT_DOUBLE_EQ(stable.standard_deviation(), 100);
  // Of the logarithms of 104.75, 204.75 and 304.75: mean 5.230953, standard deviation 0.539721; t(0.975, 2) = 4.3027.
  EXPECT_NEAR(std::log(stable.geometric_mean()), 5.230953, 1e-4);
  EXPECT_NEAR(std::log(stable.low()), 5.230953 - 4.3027 * 0.539721 / std::sqrt(3.0), 1e-3);
  EXPECT_NEAR(std::log(stable.high()), 5.230953 + 4.3027 * 0.539721 / std::sqrt(3.0), 1e-3);
  EXPECT_DOUBLE_EQ(stable.smallest(), 104.75);
  EXPECT_DOUBLE_EQ(stable.largest(), 304.75);
  const v1::TableRow& unstable = table.rows(1);
  EXPECT_FALSE(unstable.has_mean());
  EXPECT_EQ(unstable.unstable_count(), 3);
  EXPECT_EQ(unstable.trial_count(), 0);
}

TEST_F(ApiTest, TabulatesOnlySingleNumbersThatWereMeasured) {
  v1::Study study;
  ASSERT_TRUE(Create(BareStudy(), &study).ok());
  ASSERT_TRUE(WaitForEnd(study.name()));
  v1::StudyTable table;
  EXPECT_TRUE(Tabulate(study.name(), "closest_pair", &table).ok());
  EXPECT_DOUBLE_EQ(table.rows(0).mean(), 0.875);
  EXPECT_FALSE(table.rows(0).has_standard_deviation());
  const grpc::Status unknown = Tabulate(study.name(), "closest_pear", &table);
  EXPECT_EQ(unknown.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  EXPECT_THAT(unknown.error_message(), HasSubstr("did you mean closest_pair?"));
  EXPECT_EQ(Tabulate(study.name(), "histogram", &table).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(ApiTest, TabulatesARunningStudy) {
  server_.plan().held = true;
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4, 8}, 2), &study).ok());
  v1::StudyTable table;
  ASSERT_TRUE(Tabulate(study.name(), "", &table).ok());
  ASSERT_EQ(table.rows_size(), 2);
  EXPECT_EQ(table.rows(1).pending_count(), 2);
  EXPECT_FALSE(table.rows(1).has_mean());
  server_.plan().held = false;
}

TEST_F(ApiTest, AnalysesAStudy) {
  server_.plan().unstable_above = 50;
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4, 100}, 3), &study).ok());
  ASSERT_TRUE(WaitForEnd(study.name()));
  const auto stub = v1::AnalysisService::NewStub(server_.Connect());
  v1::AnalyseStudyRequest request;
  request.set_name(study.name());
  v1::Answers answers;
  ASSERT_TRUE(Call(*stub, &v1::AnalysisService::Stub::AnalyseStudy, request, &answers).ok());
  EXPECT_EQ(answers.study(), study.name());
  EXPECT_EQ(answers.options().observable(), "spinner_weight_average_size");
  ASSERT_GT(answers.answers_size(), 0);
  EXPECT_EQ(answers.answers(0).topic(), v1::Answer::TOPIC_MAP);
  EXPECT_EQ(answers.answers(0).left_out(0).count(), 3);
  request.set_name("studies/99");
  EXPECT_EQ(Call(*stub, &v1::AnalysisService::Stub::AnalyseStudy, request, &answers).error_code(),
            grpc::StatusCode::NOT_FOUND);
  request.set_name(study.name());
  request.mutable_options()->set_change_factor(0.5);
  const grpc::Status refused = Call(*stub, &v1::AnalysisService::Stub::AnalyseStudy, request, &answers);
  EXPECT_EQ(refused.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  EXPECT_THAT(refused.error_message(), HasSubstr("options.change_factor"));
}

TEST_F(ApiTest, DescribesTheMachine) {
  server_.plan().held = true;
  v1::Study study;
  ASSERT_TRUE(Create(AmplitudeStudy({4}, 10), &study).ok());
  const auto stub = v1::MachineService::NewStub(server_.Connect());
  v1::Machine machine;
  ASSERT_TRUE(WaitFor([&] {
    return Call(*stub, &v1::MachineService::Stub::GetMachine, v1::GetMachineRequest(), &machine).ok() &&
           machine.running_count() > 0;
  }));
  EXPECT_EQ(machine.name(), "machine");
  EXPECT_EQ(machine.devices(0).name(), "cpu");
  EXPECT_EQ(machine.devices(0).reason(), "a test asks");
  EXPECT_EQ(machine.running_count() + machine.queued_count(), 10);
  server_.plan().held = false;
}

TEST_F(ApiTest, ReportsHealthAndNamesItsServices) {
  const auto stub = grpc::health::v1::Health::NewStub(server_.Connect());
  for (const char* service : {"", "gyrebox.v1.StudyService", "gyrebox.v1.RunService", "gyrebox.v1.AnalysisService",
                              "gyrebox.v1.MachineService"}) {
    grpc::health::v1::HealthCheckRequest request;
    request.set_service(service);
    grpc::health::v1::HealthCheckResponse response;
    EXPECT_TRUE(Call(*stub, &grpc::health::v1::Health::Stub::Check, request, &response).ok()) << service;
    EXPECT_EQ(response.status(), grpc::health::v1::HealthCheckResponse::SERVING) << service;
  }
}

/// Sends one request to the server's reflection service over the wire, with messages built from the reflected schema.
std::unique_ptr<google::protobuf::Message> Reflect(const TestServer& server, const std::string& field,
                                                   const std::string& value) {
  const auto* pool = google::protobuf::DescriptorPool::generated_pool();
  const auto make = [&](const std::string& name) {
    const auto* type = pool->FindMessageTypeByName("grpc.reflection.v1alpha." + name);
    return std::unique_ptr<google::protobuf::Message>(
        google::protobuf::MessageFactory::generated_factory()->GetPrototype(type)->New());
  };
  const auto request = make("ServerReflectionRequest");
  request->GetReflection()->SetString(request.get(), request->GetDescriptor()->FindFieldByName(field), value);
  grpc::ByteBuffer sent, got;
  bool own = false;
  EXPECT_TRUE((grpc::GenericSerialize<grpc::ProtoBufferWriter, google::protobuf::Message>(*request, &sent, &own).ok()));
  grpc::ClientContext context;
  context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(60));
  std::promise<grpc::Status> status;
  // A stream with one message each way has the wire format of a unary call.
  grpc::GenericStub(server.Connect())
      .UnaryCall(&context, "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", {}, &sent, &got,
                 [&](grpc::Status given) { status.set_value(std::move(given)); });
  const grpc::Status given = status.get_future().get();
  EXPECT_TRUE(given.ok()) << given.error_message();
  auto response = make("ServerReflectionResponse");
  EXPECT_TRUE(
      (grpc::GenericDeserialize<grpc::ProtoBufferReader, google::protobuf::Message>(&got, response.get()).ok()));
  return response;
}

TEST_F(ApiTest, ListsItsServicesByReflection) {
  const std::string services = Reflect(server_, "list_services", "*")->DebugString();
  for (const char* name : {"StudyService", "RunService", "MachineService"}) {
    EXPECT_THAT(services, HasSubstr(std::string("name: \"gyrebox.v1.") + name + "\""));
  }
}

TEST_F(ApiTest, GivesTheFileOfASymbolByReflection) {
  const auto response = Reflect(server_, "file_containing_symbol", "gyrebox.v1.StudyService.CreateStudy");
  const auto* holder = response->GetDescriptor()->FindFieldByName("file_descriptor_response");
  ASSERT_TRUE(response->GetReflection()->HasField(*response, holder)) << response->DebugString();
  const auto& files = response->GetReflection()->GetMessage(*response, holder);
  const auto* bytes = files.GetDescriptor()->FindFieldByName("file_descriptor_proto");
  bool found = false;
  for (int i = 0; i < files.GetReflection()->FieldSize(files, bytes); ++i) {
    google::protobuf::FileDescriptorProto file;
    ASSERT_TRUE(file.ParseFromString(files.GetReflection()->GetRepeatedString(files, bytes, i)));
    if (file.name() != "gyrebox/v1/study_service.proto") continue;
    found = true;
    EXPECT_EQ(file.service(0).name(), "StudyService");
    EXPECT_EQ(file.service(0).method(0).name(), "CreateStudy");
  }
  EXPECT_TRUE(found);
  const auto unknown = Reflect(server_, "file_containing_symbol", "gyrebox.v1.NoSuchThing");
  EXPECT_TRUE(
      unknown->GetReflection()->HasField(*unknown, unknown->GetDescriptor()->FindFieldByName("error_response")));
}

std::unique_ptr<store::Store> NewStore(const test::TemporaryDirectory& directory) {
  return *store::Store::Open(directory.path());
}

absl::Status StartOn(const std::string& listen) {
  const test::TemporaryDirectory directory;
  auto device = std::make_unique<test::FakeDevice>(std::make_shared<test::FakePlan>());
  return api::Server::Start({listen, {}}, NewStore(directory), std::move(device), "").status();
}

TEST_F(ApiTest, RefusesAPortInUse) {
  EXPECT_EQ(StartOn(server_.tcp_address()).code(), absl::StatusCode::kFailedPrecondition);
}

TEST(ListenTest, RefusesAddressesThatOtherMachinesReach) {
  for (const char* listen : {"0.0.0.0:0", "[::]:0", "192.168.1.5:0", "example.org:0", "127.evil.org:0", "127.0.0.1"}) {
    EXPECT_EQ(StartOn(listen).code(), absl::StatusCode::kInvalidArgument) << listen;
  }
  EXPECT_TRUE(StartOn("127.0.0.1:0").ok());
  EXPECT_TRUE(StartOn("localhost:0").ok());
}

}  // namespace
}  // namespace gyrebox
