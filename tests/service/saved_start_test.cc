// Studies that start from the final state of another run.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <mutex>

#include "error_details.h"
#include "example_studies.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::BareStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Pair;

/// A server with helpers for calls and expectations.
class Asked {
 public:
  explicit Asked(const std::string& address)
      : channel_(grpc::CreateChannel(address, grpc::InsecureChannelCredentials())) {}

  grpc::Status Create(const v1::StudySpec& spec, v1::Study* study) {
    grpc::ClientContext context;
    v1::CreateStudyRequest request;
    *request.mutable_spec() = spec;
    return v1::StudyService::NewStub(channel_)->CreateStudy(&context, request, study);
  }

  v1::CheckStudyResponse Check(const v1::StudySpec& spec) {
    grpc::ClientContext context;
    v1::CheckStudyRequest request;
    *request.mutable_spec() = spec;
    v1::CheckStudyResponse response;
    EXPECT_TRUE(v1::StudyService::NewStub(channel_)->CheckStudy(&context, request, &response).ok());
    return response;
  }

  /// Faults of CheckStudy by field; expects CreateStudy to refuse the same.
  std::vector<std::pair<std::string, std::string>> Faults(const v1::StudySpec& spec) {
    std::vector<std::pair<std::string, std::string>> faults;
    const auto checked = Check(spec);
    for (const auto& fault : checked.field_violations()) faults.emplace_back(fault.field(), fault.description());
    v1::Study study;
    const grpc::Status status = Create(spec, &study);
    EXPECT_EQ(status.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
    const google::rpc::BadRequest detail = test::DetailsOf(status).request;
    EXPECT_EQ(detail.field_violations_size(), static_cast<int>(faults.size()));
    for (int i = 0; i < detail.field_violations_size(); ++i) {
      EXPECT_EQ(detail.field_violations(i).field(), faults[static_cast<size_t>(i)].first);
    }
    return faults;
  }

  v1::Run WaitForEnd(const std::string& run) {
    v1::Run found;
    EXPECT_TRUE(test::WaitFor([&] {
      grpc::ClientContext context;
      v1::GetRunRequest request;
      request.set_name(run);
      return v1::RunService::NewStub(channel_)->GetRun(&context, request, &found).ok() && found.has_end_time();
    })) << run;
    return found;
  }

  v1::ListSamplesResponse Samples(const std::string& run) {
    v1::ListSamplesResponse series;
    grpc::ClientContext context;
    v1::ListSamplesRequest request;
    request.set_parent(run);
    request.set_page_size(1000);
    EXPECT_TRUE(v1::RunService::NewStub(channel_)->ListSamples(&context, request, &series).ok());
    return series;
  }

  /// Runs BareStudy() to its end: studies/1/runs/1.
  void RunFirst() {
    v1::Study study;
    ASSERT_TRUE(Create(BareStudy(), &study).ok());
    ASSERT_EQ(WaitForEnd("studies/1/runs/1").state(), v1::Run::STATE_FINISHED);
  }

 private:
  std::shared_ptr<grpc::Channel> channel_;
};

/// A study whose bed is given only by a source run.
v1::StudySpec From(const std::string& run) {
  v1::StudySpec spec = BareStudy();
  spec.clear_bed();
  spec.mutable_start()->mutable_saved()->set_run(run);
  return spec;
}

TEST(SavedStart, TakesTheBedTheBeadsAndTheSidesOfTheRun) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  v1::Study study;
  const grpc::Status status = asked.Create(From("studies/1/runs/1"), &study);
  ASSERT_TRUE(status.ok()) << status.error_message() << asked.Check(From("studies/1/runs/1")).ShortDebugString();
  EXPECT_EQ(study.spec().bed().bead_count(), 100);
  EXPECT_EQ(study.spec().bed().packing_fraction(), 0.7);
  EXPECT_EQ(study.spec().bed().spinner_fraction(), 0.3);
  EXPECT_TRUE(study.spec().start().has_kept());
  EXPECT_EQ(asked.WaitForEnd("studies/2/runs/1").state(), v1::Run::STATE_FINISHED);
  std::lock_guard lock(server.plan().mutex);
  ASSERT_EQ(server.plan().initialized.size(), 2u);
  const auto &first = server.plan().initialized[0], &second = server.plan().initialized[1];
  const auto left = test::FakeEnsemble(std::vector{first}, nullptr).Save(0);
  EXPECT_EQ(study.spec().start().saved().run(), "studies/1/runs/1/states/4000");
  ASSERT_NE(second.start.saved, nullptr);
  EXPECT_EQ(second.start.saved->x, left.x);
  EXPECT_EQ(second.start.saved->y, left.y);
  EXPECT_EQ(second.start.saved->angle, left.angle);
  EXPECT_EQ(second.start.saved->spinner, left.kind);
  EXPECT_EQ(second.side_x, first.side_x);
  EXPECT_EQ(second.side_y, first.side_y);
}

TEST(SavedStart, WithTheSameBedGivenIsTaken) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  v1::StudySpec spec = From("studies/1/runs/1");
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_bed()->set_packing_fraction(0.7);
  spec.mutable_start()->mutable_kept();
  v1::Study study;
  EXPECT_TRUE(asked.Create(spec, &study).ok());
}

TEST(SavedStart, NamesEachMismatchedFieldAndTheRightValue) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  v1::StudySpec spec = From("studies/1/runs/1");
  spec.mutable_bed()->set_bead_count(200);
  spec.mutable_bed()->set_spinner_fraction(0.5);
  spec.mutable_bed()->set_packing_fraction(0.6);
  spec.mutable_start()->mutable_drop();
  EXPECT_THAT(
      asked.Faults(spec),
      ElementsAre(Pair("start.drop", HasSubstr("leave it out")),
                  Pair("bed.bead_count", "200, but the bed of studies/1/runs/1 has 100; give that, or leave it out"),
                  Pair("bed.packing_fraction", HasSubstr("has 0.7;")),
                  Pair("bed.spinner_fraction", HasSubstr("has 0.3;"))));
  spec = From("studies/1/runs/1");
  spec.mutable_forces()->mutable_soft();
  spec.mutable_bed()->set_number_density(0.9);
  EXPECT_THAT(asked.Faults(spec), ElementsAre(Pair("bed.number_density", HasSubstr("has a packing_fraction of 0.7;"))));
  spec = From("studies/1/runs/1");
  spec.add_axes()->set_field("bed.spinner_fraction");
  spec.mutable_axes(0)->add_values(0.3);
  EXPECT_THAT(asked.Faults(spec), ElementsAre(Pair("axes[0].field", HasSubstr("no axis may vary it"))));
}

TEST(SavedStart, FromAMissingRunIsRefused) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  EXPECT_THAT(asked.Faults(From("studies/1/runs/2")),
              ElementsAre(Pair("start.saved.run", "there is no run studies/1/runs/2")));
  for (const char* name : {"studies/1", "3", "studies/1/runs/x", "studies/9/runs/1"}) {
    EXPECT_THAT(asked.Faults(From(name)), ElementsAre(Pair("start.saved.run", HasSubstr(name)))) << name;
  }
  EXPECT_THAT(asked.Faults(From("")), ElementsAre(Pair("start.saved.run", HasSubstr("is missing"))));
}

TEST(SavedStart, FromARunThatDidNotRunToItsEndIsRefused) {
  test::TestServer server;
  server.plan().unstable_above = 5;
  Asked asked(server.address());
  v1::Study study;
  ASSERT_TRUE(asked.Create(BareStudy(), &study).ok());
  ASSERT_EQ(asked.WaitForEnd("studies/1/runs/1").state(), v1::Run::STATE_UNSTABLE);
  EXPECT_THAT(asked.Faults(From("studies/1/runs/1")),
              ElementsAre(Pair("start.saved.run", HasSubstr("is UNSTABLE; only a run that ran to its end"))));
}

TEST(SavedStart, KeptSpinnersNeedASavedStart) {
  test::TestServer server;
  Asked asked(server.address());
  v1::StudySpec spec = BareStudy();
  spec.mutable_start()->mutable_kept();
  EXPECT_THAT(asked.Faults(spec), ElementsAre(Pair("start.kept", HasSubstr("[start.saved]"))));
}

TEST(SavedStart, SurvivesARestart) {
  test::TestServer server;
  Asked(server.address()).RunFirst();
  server.Stop();
  server.Start();
  v1::Study study;
  EXPECT_TRUE(Asked(server.address()).Create(From("studies/1/runs/1"), &study).ok());
}

TEST(SavedStart, FromADamagedStateIsRefused) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  const std::string path = server.data() + "/states/1-1-4000.end";
  {
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    file.seekp(300);
    file.put('!');
  }
  EXPECT_THAT(asked.Faults(From("studies/1/runs/1")), ElementsAre(Pair("start.saved.run", HasSubstr("damaged"))));
  std::filesystem::resize_file(path, 10);
  EXPECT_THAT(asked.Faults(From("studies/1/runs/1")), ElementsAre(Pair("start.saved.run", HasSubstr("damaged"))));
}

// A state lost between check and start fails the run and nothing else.
TEST(SavedStart, LostBeforeTheRunStartsFailsTheRun) {
  test::TestServer server;
  Asked asked(server.address());
  asked.RunFirst();
  server.plan().held = true;
  v1::Study study;
  ASSERT_TRUE(asked.Create(BareStudy(), &study).ok());
  ASSERT_TRUE(asked.Create(From("studies/1/runs/1"), &study).ok());
  std::filesystem::remove(server.data() + "/states/3-start");
  server.plan().held = false;
  const v1::Run run = asked.WaitForEnd("studies/3/runs/1");
  EXPECT_EQ(run.state(), v1::Run::STATE_FAILED);
  EXPECT_EQ(run.fault().reason(), "START_NOT_REACHED");
  EXPECT_THAT(run.fault().message(), HasSubstr("damaged, or not there"));
  EXPECT_EQ(asked.WaitForEnd("studies/2/runs/1").state(), v1::Run::STATE_FINISHED);
}

// With the real engine: every quantity of positions alone has, at the start of the second run, the value of the end of
// the first, to the last bit; the run itself is new.
TEST(SavedStart, OfTheEngineContinuesWhereTheOtherEnded) {
  const test::TemporaryDirectory directory;
  auto store = store::Store::Open(directory.path());
  ASSERT_TRUE(store.ok());
  api::ServerOptions options;
  options.socket = directory.path() + "/socket";
  options.executor.record_seconds = 0.01;
  auto opened = kernels::OpenDevice("cpu", 1);
  ASSERT_NE(opened.device, nullptr) << opened.reason;
  auto server = api::Server::Start(options, *std::move(store), std::move(opened.device), "a test asks");
  ASSERT_TRUE(server.ok()) << server.status();
  Asked asked("unix:" + options.socket);
  v1::Study study;
  v1::StudySpec first = BareStudy();
  first.mutable_thermal()->set_temperature(0.002);
  ASSERT_TRUE(asked.Create(first, &study).ok());
  ASSERT_EQ(asked.WaitForEnd("studies/1/runs/1").state(), v1::Run::STATE_FINISHED);
  v1::StudySpec second = From("studies/1/runs/1");
  second.mutable_drive()->mutable_sine()->set_amplitude(3);
  second.mutable_seeds()->set_positions(99);
  ASSERT_TRUE(asked.Create(second, &study).ok());
  ASSERT_EQ(asked.WaitForEnd("studies/2/runs/1").state(), v1::Run::STATE_FINISHED);
  const v1::ListSamplesResponse before = asked.Samples("studies/1/runs/1"), after = asked.Samples("studies/2/runs/1");
  const auto &last = before.samples(before.samples_size() - 1), &start = after.samples(0);
  EXPECT_EQ(start.step(), 0);
  ASSERT_EQ(last.values_size(), start.values_size());
  int at = 0, same = 0;
  for (const v1::Observable& observable : after.observables()) {
    const std::string& name = observable.name();
    const bool of_places = name.starts_with("spinner_") || name.starts_with("bond_order") || name == "closest_pair" ||
                           name == "potential_energy" || name.starts_with("stress") || name.ends_with("correlation");
    for (int i = 0; i < observable.width(); ++i, ++at) {
      if (!of_places || std::isnan(start.values(at))) continue;
      EXPECT_EQ(start.values(at), last.values(at)) << name << " " << i;
      ++same;
    }
    if (name == "msd_spinner") {
      EXPECT_EQ(start.values(at - 1), 0);
      EXPECT_GT(last.values(at - 1), 0);
    }
  }
  EXPECT_GT(same, 100);
}

}  // namespace
}  // namespace gyrebox
