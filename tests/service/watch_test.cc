// Streams: complete, resumable, independent of slow readers, ended in order.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <thread>

#include "example_studies.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "lib/client.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::TestServer;
using test::WaitFor;

/// What a reader has received of a study.
struct Seen {
  std::map<std::string, std::vector<v1::Sample>> samples;  ///< by run
  std::map<std::string, v1::Run::State> states;            ///< by run
  std::map<std::string, int> observable_lists;             ///< how often they were sent, by run
  std::vector<int64_t> sequences;
  v1::Study study;
  int heartbeats = 0;
  std::vector<v1::Gap> gaps;
  bool going_away = false;

  void Add(const v1::WatchRunsResponse& message) {
    sequences.push_back(message.sequence());
    if (message.has_study()) study = message.study();
    if (message.has_run()) states[message.run().name()] = message.run().state();
    if (message.has_heartbeat()) ++heartbeats;
    if (message.has_gap()) gaps.push_back(message.gap());
    if (message.has_going_away()) going_away = true;
    if (!message.has_samples()) return;
    auto& of_run = samples[message.samples().run()];
    of_run.insert(of_run.end(), message.samples().samples().begin(), message.samples().samples().end());
    observable_lists[message.samples().run()] += message.samples().observables_size() > 0 ? 1 : 0;
  }
};

/// Expects samples to be numbered from `first` without gap or repeat.
void ExpectComplete(const std::vector<v1::Sample>& samples, int64_t first, size_t count) {
  ASSERT_EQ(samples.size(), count);
  for (size_t i = 0; i < samples.size(); ++i) {
    ASSERT_EQ(samples[i].sequence(), first + static_cast<int64_t>(i));
    ASSERT_EQ(samples[i].values_size(), 5);
  }
}

class WatchTest : public testing::Test {
 protected:
  std::string Create(const v1::StudySpec& spec) {
    const auto study = client::Client(server_.address()).CreateStudy(spec);
    EXPECT_TRUE(study.ok()) << study.status();
    return study->name();
  }

  grpc::Status Watch(const v1::WatchRunsRequest& request, Seen* seen) {
    grpc::ClientContext context;
    const auto stub = v1::RunService::NewStub(server_.Connect());
    const auto reader = stub->WatchRuns(&context, request);
    for (v1::WatchRunsResponse message; reader->Read(&message);) seen->Add(message);
    return reader->Finish();
  }

  v1::WatchRunsRequest Request(const std::string& study, bool with_samples = true) {
    v1::WatchRunsRequest request;
    request.set_parent(study);
    request.set_with_samples(with_samples);
    return request;
  }

  TestServer server_;
};

TEST_F(WatchTest, SendsEverySampleOnceAndEndsWithTheStudy) {
  server_.plan().step_nanoseconds = 20'000;
  server_.plan().unstable_above = 50;
  const std::string study = Create(AmplitudeStudy({4, 100}, 2));
  Seen seen;
  const grpc::Status status = Watch(Request(study), &seen);
  EXPECT_TRUE(status.ok()) << status.error_message();
  ExpectComplete(seen.samples[study + "/runs/1"], 0, 17);
  ExpectComplete(seen.samples[study + "/runs/2"], 0, 17);
  ExpectComplete(seen.samples[study + "/runs/3"], 0, 2);
  EXPECT_EQ(seen.samples[study + "/runs/2"][0].values(0), 4 + 200);
  EXPECT_EQ(seen.observable_lists[study + "/runs/1"], 1);
  EXPECT_EQ(seen.states[study + "/runs/1"], v1::Run::STATE_FINISHED);
  EXPECT_EQ(seen.states[study + "/runs/4"], v1::Run::STATE_UNSTABLE);
  EXPECT_EQ(seen.study.state(), v1::Study::STATE_FINISHED);
  EXPECT_EQ(seen.study.run_counts().unstable_count(), 2);
  for (size_t i = 0; i < seen.sequences.size(); ++i) EXPECT_EQ(seen.sequences[i], static_cast<int64_t>(i));
}

TEST_F(WatchTest, ReplaysAStudyThatHasEnded) {
  const std::string study = Create(AmplitudeStudy({4}, 100));
  Seen first, second;
  EXPECT_TRUE(Watch(Request(study), &first).ok());
  EXPECT_TRUE(Watch(Request(study), &second).ok());
  ASSERT_EQ(second.samples.size(), 100u);
  for (const auto& [run, samples] : second.samples) ExpectComplete(samples, 0, 17);
  EXPECT_EQ(second.states.size(), 100u);
}

TEST_F(WatchTest, SendsNoSamplesUnlessAsked) {
  const std::string study = Create(AmplitudeStudy({4}, 1));
  Seen seen;
  EXPECT_TRUE(Watch(Request(study, /*with_samples=*/false), &seen).ok());
  EXPECT_TRUE(seen.samples.empty());
  EXPECT_EQ(seen.states[study + "/runs/1"], v1::Run::STATE_FINISHED);
}

TEST_F(WatchTest, FollowsOnlyTheRequestedRunsAndEndsWithThem) {
  server_.plan().held = true;
  const std::string study = Create(AmplitudeStudy({4}, 20));  // 8 at a time
  v1::WatchRunsRequest request = Request(study);
  request.add_runs(2);
  Seen seen;
  std::thread reader([&] { EXPECT_TRUE(Watch(request, &seen).ok()); });
  server_.plan().held = false;
  reader.join();
  EXPECT_EQ(seen.states.size(), 1u);
  EXPECT_EQ(seen.samples.size(), 1u);
  ExpectComplete(seen.samples[study + "/runs/2"], 0, 17);
}

TEST_F(WatchTest, ResumesWhereAnEarlierStreamBrokeOff) {
  const std::string study = Create(AmplitudeStudy({4}, 2));
  Seen seen;
  EXPECT_TRUE(Watch(Request(study), &seen).ok());
  v1::WatchRunsRequest request = Request(study);
  (*request.mutable_start_sequences())[1] = 10;
  (*request.mutable_start_sequences())[2] = 17;
  Seen resumed;
  EXPECT_TRUE(Watch(request, &resumed).ok());
  ExpectComplete(resumed.samples[study + "/runs/1"], 10, 7);
  EXPECT_TRUE(resumed.samples[study + "/runs/2"].empty());
}

TEST_F(WatchTest, LongSeriesComeInPiecesWithoutGaps) {
  v1::StudySpec spec = AmplitudeStudy({4}, 3);
  spec.mutable_schedule()->set_duration(20);
  spec.mutable_measure()->set_interval(5e-4);  // 40 001 samples a run
  const std::string study = Create(spec);
  Seen seen;
  EXPECT_TRUE(Watch(Request(study), &seen).ok());
  for (const auto& [run, samples] : seen.samples) ExpectComplete(samples, 0, 40'001);
  EXPECT_EQ(seen.samples.size(), 3u);
}

TEST_F(WatchTest, ASlowReaderDelaysNobodyAndMissesNothing) {
  v1::StudySpec spec = AmplitudeStudy({4}, 8);
  spec.mutable_schedule()->set_duration(50);
  spec.mutable_measure()->set_interval(5e-4);  // 100 001 samples a run: far more than a connection buffers
  server_.plan().held = true;
  const std::string study = Create(spec);

  grpc::ClientContext context;
  grpc::ChannelArguments narrow;
  narrow.SetInt(GRPC_ARG_HTTP2_BDP_PROBE, 0);
  narrow.SetInt(GRPC_ARG_HTTP2_STREAM_LOOKAHEAD_BYTES, 16 * 1024);
  const auto stub =
      v1::RunService::NewStub(grpc::CreateCustomChannel(server_.address(), grpc::InsecureChannelCredentials(), narrow));
  const auto slow = stub->WatchRuns(&context, Request(study));
  v1::WatchRunsResponse message;
  ASSERT_TRUE(slow->Read(&message));  // and reads no more until the study has ended
  Seen seen;
  seen.Add(message);

  server_.plan().held = false;
  Seen other;
  EXPECT_TRUE(Watch(Request(study, /*with_samples=*/false), &other).ok());
  EXPECT_EQ(other.study.state(), v1::Study::STATE_FINISHED);

  while (slow->Read(&message)) seen.Add(message);
  EXPECT_TRUE(slow->Finish().ok());
  ASSERT_EQ(seen.samples.size(), 8u);
  for (const auto& [run, samples] : seen.samples) ExpectComplete(samples, 0, 100'001);
  for (size_t i = 0; i < seen.sequences.size(); ++i) ASSERT_EQ(seen.sequences[i], static_cast<int64_t>(i));
}

TEST_F(WatchTest, AReaderThatFellBehindIsToldBeforeFurtherSamples) {
  v1::StudySpec spec = AmplitudeStudy({4}, 2);
  spec.mutable_schedule()->set_duration(25);
  spec.mutable_measure()->set_interval(5e-4);  // 50 001 samples a run: far more than a connection buffers
  const std::string study = Create(spec);
  ASSERT_TRUE(WaitFor([&] { return client::Client(server_.address()).GetStudy(study)->has_end_time(); }));
  grpc::ClientContext context;
  grpc::ChannelArguments narrow;
  narrow.SetInt(GRPC_ARG_HTTP2_BDP_PROBE, 0);
  narrow.SetInt(GRPC_ARG_HTTP2_STREAM_LOOKAHEAD_BYTES, 16 * 1024);
  const auto stub =
      v1::RunService::NewStub(grpc::CreateCustomChannel(server_.address(), grpc::InsecureChannelCredentials(), narrow));
  const auto slow = stub->WatchRuns(&context, Request(study));
  Seen seen;
  v1::WatchRunsResponse message;
  ASSERT_TRUE(slow->Read(&message));
  seen.Add(message);
  std::this_thread::sleep_for(std::chrono::milliseconds(5500));  // reads nothing meanwhile
  int64_t after = 0;                                             // samples received after the notice
  while (slow->Read(&message)) {
    seen.Add(message);
    if (!seen.gaps.empty()) after += message.samples().samples_size();
  }
  EXPECT_TRUE(slow->Finish().ok());
  ASSERT_GE(seen.gaps.size(), 1u);
  EXPECT_GT(seen.gaps[0].seconds(), 5);
  EXPECT_EQ(seen.gaps[0].sample_count(), after);
  ASSERT_EQ(seen.samples.size(), 2u);
  for (const auto& [run, samples] : seen.samples) ExpectComplete(samples, 0, 50'001);
}

TEST_F(WatchTest, SurvivesReadersThatVanish) {
  server_.plan().held = true;
  const std::string study = Create(AmplitudeStudy({4}, 1));
  const auto stub = v1::RunService::NewStub(server_.Connect());
  for (int i = 0; i < 20; ++i) {
    grpc::ClientContext context;
    const auto reader = stub->WatchRuns(&context, Request(study));
    v1::WatchRunsResponse message;
    if (i % 2 == 0) {
      EXPECT_TRUE(reader->Read(&message));
    }
    context.TryCancel();
    while (reader->Read(&message)) {
    }
    EXPECT_EQ(reader->Finish().error_code(), grpc::StatusCode::CANCELLED);
  }
  server_.plan().held = false;
  Seen seen;
  EXPECT_TRUE(Watch(Request(study), &seen).ok());
  ExpectComplete(seen.samples[study + "/runs/1"], 0, 17);
}

TEST_F(WatchTest, ReportsAnUnknownStudy) {
  Seen seen;
  EXPECT_EQ(Watch(Request("studies/99"), &seen).error_code(), grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(Watch(Request("studies/x"), &seen).error_code(), grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(Watch(Request(""), &seen).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(WatchTest, ReportsAnUnknownRun) {
  const std::string study = Create(AmplitudeStudy({4, 5}, 1));
  for (const int64_t number : {0, 3}) {
    v1::WatchRunsRequest request = Request(study);
    request.add_runs(1);
    request.add_runs(number);
    Seen seen;
    const grpc::Status status = Watch(request, &seen);
    EXPECT_EQ(status.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
    EXPECT_THAT(status.error_message(),
                testing::HasSubstr(std::to_string(number) + " is no run of studies/1; its runs are 1 to 2"));
  }
}

TEST_F(WatchTest, SendsHeartbeatsWhileNothingHappens) {
  server_.plan().held = true;
  const std::string study = Create(AmplitudeStudy({4}, 1));
  grpc::ClientContext context;
  const auto stub = v1::RunService::NewStub(server_.Connect());
  const auto reader = stub->WatchRuns(&context, Request(study));
  Seen seen;
  for (v1::WatchRunsResponse message; seen.heartbeats == 0 && reader->Read(&message);) seen.Add(message);
  EXPECT_EQ(seen.heartbeats, 1);
  context.TryCancel();
  server_.plan().held = false;
}

TEST_F(WatchTest, TellsReadersThatTheServerStops) {
  server_.plan().step_nanoseconds = 1'000'000;
  const std::string study = Create(AmplitudeStudy({4}, 1));
  Seen seen;
  grpc::Status status;
  std::atomic<bool> started = false;
  std::thread reader([&] {
    grpc::ClientContext context;
    const auto stub = v1::RunService::NewStub(server_.Connect());
    const auto stream = stub->WatchRuns(&context, Request(study));
    for (v1::WatchRunsResponse message; stream->Read(&message);) {
      seen.Add(message);
      started = true;
    }
    status = stream->Finish();
  });
  ASSERT_TRUE(WaitFor([&] { return started.load(); }));
  server_.server().Stop();
  reader.join();
  EXPECT_TRUE(seen.going_away);
  EXPECT_EQ(status.error_code(), grpc::StatusCode::UNAVAILABLE);
}

TEST_F(WatchTest, TheClientResumesAStreamAfterARestart) {
  server_.plan().step_nanoseconds = 200'000;
  const std::string study = Create(AmplitudeStudy({4}, 2));
  // The new server must use the old address, so both addresses are fixed here.
  Seen seen;
  std::atomic<int> samples = 0;
  absl::Status status;
  const std::string address = server_.address(), listen = server_.tcp_address();
  std::thread reader([&] {
    client::Client client(address);
    status = client.WatchRuns(Request(study), std::chrono::seconds(60), [&](const v1::WatchRunsResponse& message) {
      seen.Add(message);
      if (message.has_samples()) ++samples;
    });
  });
  ASSERT_TRUE(WaitFor([&] { return samples > 0; }));
  server_.Stop();
  server_.plan().step_nanoseconds = 0;
  server_.Start(listen);
  reader.join();
  EXPECT_TRUE(status.ok()) << status;
  ExpectComplete(seen.samples[study + "/runs/1"], 0, 17);
  ExpectComplete(seen.samples[study + "/runs/2"], 0, 17);
  EXPECT_EQ(seen.study.state(), v1::Study::STATE_FINISHED);
}

}  // namespace
}  // namespace gyrebox
