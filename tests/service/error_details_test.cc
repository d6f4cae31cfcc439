// Details of refusals, over the wire.
#include "error_details.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "example_studies.h"
#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "lib/client.h"
#include "process.h"
#include "status/status.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::DetailsOf;
using testing::HasSubstr;

TEST(StatusTest, EveryCodeHasItsReason) {
  const std::pair<absl::Status, const char*> kReasons[] = {{absl::InvalidArgumentError("x"), "INVALID_REQUEST"},
                                                           {absl::NotFoundError("x"), "NOT_FOUND"},
                                                           {absl::AlreadyExistsError("x"), "REQUEST_ID_TAKEN"},
                                                           {absl::FailedPreconditionError("x"), "WRONG_STATE"},
                                                           {absl::AbortedError("x"), "CHANGED_SINCE"},
                                                           {absl::UnauthenticatedError("x"), "NO_VALID_TOKEN"},
                                                           {absl::PermissionDeniedError("x"), "NOT_ALLOWED"},
                                                           {absl::UnavailableError("x"), "SHUTTING_DOWN"},
                                                           {absl::ResourceExhaustedError("x"), "TOO_MANY"},
                                                           {absl::UnimplementedError("x"), "NO_SUCH_METHOD"},
                                                           {absl::InternalError("x"), "INTERNAL"},
                                                           {absl::DataLossError("x"), "INTERNAL"}};
  for (const auto& [status, reason] : kReasons) {
    EXPECT_EQ(DetailsOf(api::ToGrpcStatus(status)).info.reason(), reason);
  }
}

TEST(StatusTest, SaysWhenToRetry) {
  EXPECT_EQ(DetailsOf(api::ToGrpcStatus(api::TooMany("x", 2.5))).retry_seconds(), 2.5);
  EXPECT_GT(DetailsOf(api::ToGrpcStatus(absl::UnavailableError("x"))).retry_seconds(), 0);
  EXPECT_EQ(DetailsOf(api::ToGrpcStatus(absl::NotFoundError("x"))).retry_seconds(), 0);
}

TEST(StatusTest, NamesTheObjectInTheWrongState) {
  const auto failure = DetailsOf(api::ToGrpcStatus(absl::FailedPreconditionError("studies/7 is over"))).precondition;
  ASSERT_EQ(failure.violations_size(), 1);
  EXPECT_EQ(failure.violations(0).subject(), "studies/7");
  EXPECT_EQ(failure.violations(0).description(), "studies/7 is over");
}

// Most peers refuse metadata of more than 8 KiB (GRPC_ARG_MAX_METADATA_SIZE of gRPC 1.51).
TEST(StatusTest, StaysShortForLongNames) {
  std::vector<v1::FieldViolation> violations(50);
  for (v1::FieldViolation& violation : violations) {
    violation.set_field(std::string(100'000, 'f'));
    violation.set_description(std::string(100'000, 'd'));
  }
  const absl::Status statuses[] = {api::InvalidRequest(violations), api::InvalidStudy(violations),
                                   absl::NotFoundError(std::string(100'000, 'x')),
                                   absl::FailedPreconditionError("studies/" + std::string(100'000, 'x'))};
  for (const absl::Status& status : statuses) {
    const grpc::Status sent = api::ToGrpcStatus(status);
    EXPECT_LT(sent.error_details().size() + sent.error_message().size(), 8000u);
    EXPECT_EQ(sent.error_code(), static_cast<grpc::StatusCode>(status.code()));
    EXPECT_FALSE(DetailsOf(sent).info.reason().empty());
  }
}

class ErrorDetailsTest : public testing::Test {
 protected:
  test::TestServer server_;
  client::Client client_{server_.address()};
};

TEST_F(ErrorDetailsTest, TheClientReadsThem) {
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_bed()->set_packing_fraction(7);
  const auto refused = client_.CreateStudy(spec);
  EXPECT_EQ(client::ReasonOf(refused.status()), "INVALID_STUDY");
  ASSERT_EQ(client::ViolationsOf(refused.status()).size(), 1u);
  EXPECT_EQ(client::ViolationsOf(refused.status())[0].field(), "bed.packing_fraction");
  EXPECT_EQ(client::ReasonOf(client_.GetRun("studies/1/runs/1").status()), "NOT_FOUND");
  v1::WatchFramesRequest request;
  request.set_name("studies/1/runs/1");
  EXPECT_EQ(client::ReasonOf(client_.WatchFrames(request, [](const auto&) { return true; })), "NOT_FOUND");
}

TEST_F(ErrorDetailsTest, StreamsThatEndCarryThemToo) {
  server_.plan().held = true;
  ASSERT_TRUE(client_.CreateStudy(test::BareStudy()).ok());
  const auto machine = v1::MachineService::NewStub(server_.Connect());
  const auto runs = v1::RunService::NewStub(server_.Connect());
  grpc::ClientContext machine_context, runs_context;
  const auto machine_reader = machine->WatchMachine(&machine_context, {});
  v1::WatchRunsRequest request;
  request.set_parent("studies/1");
  const auto runs_reader = runs->WatchRuns(&runs_context, request);
  v1::WatchMachineResponse machine_message;
  v1::WatchRunsResponse message;
  ASSERT_TRUE(machine_reader->Read(&machine_message));
  ASSERT_TRUE(runs_reader->Read(&message));
  server_.plan().held = false;
  server_.Stop();
  while (machine_reader->Read(&machine_message)) continue;
  while (runs_reader->Read(&message)) continue;
  for (const grpc::Status& status : {machine_reader->Finish(), runs_reader->Finish()}) {
    if (status.ok()) continue;  // its study had just ended
    EXPECT_EQ(status.error_code(), grpc::StatusCode::UNAVAILABLE);
    EXPECT_EQ(DetailsOf(status).info.reason(), "SHUTTING_DOWN");
    EXPECT_GT(DetailsOf(status).retry_seconds(), 0);
  }
}

TEST_F(ErrorDetailsTest, PythonReadsThem) {
  ASSERT_TRUE(client_.CreateStudy(test::BareStudy()).ok());
  ASSERT_TRUE(test::WaitFor([&] { return client_.GetStudy("studies/1")->has_end_time(); }));
  const auto read = test::Run({"/usr/bin/python3", READ_ERROR_DETAILS, server_.address(), PROTO_DIR, PROTOC});
  EXPECT_EQ(read.out,
            "unary NOT_FOUND NOT_FOUND gyrebox\n"
            "stream NOT_FOUND NOT_FOUND gyrebox\n"
            "study INVALID_ARGUMENT INVALID_STUDY gyrebox BadRequest\n"
            "bed.bead_count bed.packing_fraction schedule.duration\n"
            "state FAILED_PRECONDITION WRONG_STATE gyrebox PreconditionFailure\n"
            "WRONG_STATE studies/1 studies/1 is finished already\n"
            "method UNIMPLEMENTED NO_SUCH_METHOD gyrebox\n")
      << read.error;
}

}  // namespace
}  // namespace gyrebox
