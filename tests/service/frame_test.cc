// Frames of beds: stored, retrieved and streamed.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <thread>

#include "example_studies.h"
#include "group_server.h"
#include "lib/client.h"
#include "stream/frame_message.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::TestServer;
using test::WaitFor;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr char kRun[] = "studies/1/runs/1";

/// 4000 steps, a sample every 250, a frame every 1000.
v1::StudySpec FramedStudy(double frame_interval = 0.5) {
  v1::StudySpec spec = test::AmplitudeStudy({4}, 1);
  spec.mutable_measure()->set_frame_interval(frame_interval);
  return spec;
}

std::vector<float> Floats(const std::string& bytes) {
  std::vector<float> numbers(bytes.size() / sizeof(float));
  std::memcpy(numbers.data(), bytes.data(), numbers.size() * sizeof(float));
  return numbers;
}

/// Decodes the step from the angles of a `turning` fake bed.
int64_t StepTold(const v1::Frame& frame) {
  return std::llround(static_cast<double>(Floats(frame.angles())[0]) / (2 * M_PI) * 0x1p32);
}

class FrameTest : public testing::Test {
 protected:
  void SetUp() override { server_.plan().turning = true; }

  void Create(const v1::StudySpec& spec) { ASSERT_TRUE(client_.CreateStudy(spec).ok()); }
  void RunToEnd(const v1::StudySpec& spec) {
    ASSERT_NO_FATAL_FAILURE(Create(spec));
    ASSERT_TRUE(WaitFor([&] { return client_.GetStudy("studies/1")->has_end_time(); }));
  }

  std::vector<int64_t> Steps() {
    std::vector<int64_t> steps;
    const auto frames = client_.ListFrames(kRun);
    EXPECT_TRUE(frames.ok()) << frames.status();
    for (const v1::FrameStamp& frame : frames->frames()) steps.push_back(frame.step());
    return steps;
  }

  TestServer server_;
  client::Client client_{server_.address()};
};

TEST_F(FrameTest, AreStoredAtTheRequestedTimesAndReturned) {
  RunToEnd(FramedStudy());
  EXPECT_THAT(Steps(), ElementsAre(0, 1000, 2000, 3000, 4000));
  const auto frame = client_.GetFrame(kRun, 2000);
  ASSERT_TRUE(frame.ok()) << frame.status();
  EXPECT_EQ(frame->run(), kRun);
  EXPECT_EQ(frame->step(), 2000);
  EXPECT_EQ(frame->time(), 1);
  EXPECT_EQ(frame->bead_count(), 100);
  EXPECT_EQ(frame->window().width(), frame->side_x());
  EXPECT_EQ(frame->window().height(), frame->side_y());
  const auto positions = Floats(frame->positions()), angles = Floats(frame->angles());
  ASSERT_EQ(positions.size(), 200u);
  ASSERT_EQ(angles.size(), 100u);
  ASSERT_EQ(frame->kinds().size(), 100u);
  for (uint32_t id = 0; id < 100; ++id) {
    EXPECT_FLOAT_EQ(positions[2 * id], static_cast<float>(40'000'001 * id * 0x1p-32 * frame->side_x()));
    EXPECT_EQ(frame->kinds()[id], id < 30 ? 1 : 0);
  }
  EXPECT_NEAR(static_cast<double>(angles[9]), (7 * 9 + 2000) * 0x1p-32 * 2 * M_PI, 1e-12);
}

TEST_F(FrameTest, AStepBetweenTwoFramesGivesTheEarlierOne) {
  RunToEnd(FramedStudy());
  EXPECT_EQ(client_.GetFrame(kRun, 2999)->step(), 2000);
  EXPECT_EQ(client_.GetFrame(kRun, 1'000'000)->step(), 4000);
  EXPECT_EQ(client_.GetFrame(kRun)->step(), 4000);
}

TEST_F(FrameTest, IntervalsAreRoundedToWholeSamples) {
  RunToEnd(FramedStudy(0.7));  // 5.6 samples
  EXPECT_THAT(Steps(), ElementsAre(0, 1500, 3000));
}

TEST_F(FrameTest, AnIntervalBelowASampleKeepsEveryOne) {
  RunToEnd(FramedStudy(1e-5));
  EXPECT_EQ(Steps().size(), 17u);
}

TEST_F(FrameTest, WithoutStoredFramesTheFinalStateIsShown) {
  RunToEnd(test::AmplitudeStudy({4}, 1));
  EXPECT_THAT(Steps(), ElementsAre());
  const auto frame = client_.GetFrame(kRun);
  ASSERT_TRUE(frame.ok()) << frame.status();
  EXPECT_EQ(frame->step(), 4000);
  EXPECT_EQ(StepTold(*frame), 4000);
  const auto before = client_.GetFrame(kRun, 10);
  EXPECT_EQ(before.status().code(), absl::StatusCode::kFailedPrecondition);
}

TEST_F(FrameTest, OfARunningRunIsTheCurrentStateOfTheDevice) {
  server_.plan().step_nanoseconds = 500'000;
  Create(test::AmplitudeStudy({4}, 1));
  ASSERT_TRUE(WaitFor([&] {
    const auto frame = client_.GetFrame(kRun);
    return frame.ok() && frame->step() > 100 && StepTold(*frame) == frame->step();
  }));
  ASSERT_LT(client_.GetFrame(kRun)->step(), 4000);
  server_.plan().step_nanoseconds = 0;
}

TEST_F(FrameTest, OfAPausedRunIsItsCheckpoint) {
  server_.plan().step_nanoseconds = 500'000;
  Create(test::AmplitudeStudy({4}, 1));
  ASSERT_TRUE(WaitFor([&] { return client_.GetRun(kRun)->step() > 100; }));
  ASSERT_TRUE(client_.PauseRun(kRun).ok());
  EXPECT_EQ(client_.GetFrame(kRun)->step(), client_.GetRun(kRun)->step());
}

TEST_F(FrameTest, OfAnUnstableRunShowsWhereItStopped) {
  server_.plan().unstable_above = 50;
  RunToEnd(test::AmplitudeStudy({100}, 1));
  const auto frame = client_.GetFrame(kRun);
  ASSERT_TRUE(frame.ok()) << frame.status();
  EXPECT_EQ(frame->step(), client_.GetRun(kRun)->step());
  EXPECT_THAT(Steps(), ElementsAre(frame->step()));
}

TEST_F(FrameTest, ErrorsGiveTheReasonAndNameTheField) {
  ASSERT_TRUE(client_.DrainMachine(true).ok());
  Create(test::AmplitudeStudy({4}, 1));
  const auto none = client_.GetFrame(kRun);
  EXPECT_EQ(none.status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_THAT(std::string(none.status().message()), HasSubstr("is QUEUED and has no frame yet"));
  EXPECT_EQ(client_.GetFrame("studies/1/runs/99").status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(client_.ListFrames("studies/1/runs/99").status().code(), absl::StatusCode::kNotFound);
  const auto negative = client_.GetFrame(kRun, -1);
  EXPECT_EQ(negative.status().code(), absl::StatusCode::kInvalidArgument);
  ASSERT_EQ(client::ViolationsOf(negative.status()).size(), 1u);
  EXPECT_EQ(client::ViolationsOf(negative.status())[0].field(), "step");
}

TEST_F(FrameTest, ListsComeInPages) {
  RunToEnd(FramedStudy(0.125));
  const auto stub = v1::RunService::NewStub(server_.Connect());
  v1::ListFramesRequest request;
  request.set_parent(kRun);
  request.set_page_size(7);
  std::vector<int64_t> steps;
  do {
    grpc::ClientContext context;
    v1::ListFramesResponse page;
    ASSERT_TRUE(stub->ListFrames(&context, request, &page).ok());
    EXPECT_LE(page.frames_size(), 7);
    for (const auto& frame : page.frames()) steps.push_back(frame.step());
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  ASSERT_EQ(steps.size(), 17u);
  for (size_t i = 0; i < steps.size(); ++i) EXPECT_EQ(steps[i], 250 * static_cast<int64_t>(i));
}

TEST_F(FrameTest, CountAsBytesOnDisk) {
  RunToEnd(FramedStudy());
  const auto check = client_.CheckStudy(FramedStudy());
  const auto without = client_.CheckStudy(test::AmplitudeStudy({4}, 1));
  ASSERT_TRUE(check.ok() && without.ok());
  EXPECT_EQ(check->estimate().disk_bytes() - without->estimate().disk_bytes(), 100 * (1 + 12 * 5));
}

TEST_F(FrameTest, TooManyFramesAreRefusedWithAValidAlternative) {
  v1::StudySpec spec = FramedStudy(1e-5);
  spec.mutable_schedule()->set_duration(1e6);
  const auto check = client_.CheckStudy(spec);
  ASSERT_TRUE(check.ok());
  ASSERT_EQ(check->field_violations_size(), 1);
  EXPECT_EQ(check->field_violations(0).field(), "measure.frame_interval");
  EXPECT_THAT(check->field_violations(0).description(), HasSubstr("at most 100000, from 10 tau on"));
}

// ---- windows

/// A bed with this many rows and columns of beads on a square lattice of spacing 1 sigma.
store::Frame Lattice(int rows) {
  store::Frame frame;
  frame.beads.side_x = frame.beads.side_y = rows;
  const double quantum = 0x1p32 / rows;
  for (int i = 0; i < rows * rows; ++i) {
    frame.beads.x.push_back(static_cast<uint32_t>((i % rows + 0.5) * quantum));
    frame.beads.y.push_back(static_cast<uint32_t>((i / rows + 0.5) * quantum));
    frame.beads.angle.push_back(static_cast<uint32_t>(i));
    frame.beads.spinner.push_back(static_cast<uint8_t>(i % 2));
  }
  return frame;
}

v1::FrameWindow Window(double x, double y, double width, double height) {
  v1::FrameWindow window;
  window.set_x(x);
  window.set_y(y);
  window.set_width(width);
  window.set_height(height);
  return window;
}

TEST(FrameMessageTest, AWindowHoldsItsBeadsAcrossTheBoundaryToo) {
  const store::Frame bed = Lattice(10);
  const auto inner = stream::ToMessage("r", bed, Window(2, 3, 2, 1));
  ASSERT_TRUE(inner.faults.empty());
  EXPECT_THAT(Floats(inner.frame.positions()), ElementsAre(2.5, 3.5, 3.5, 3.5));
  for (const double x : {9.0, -1.0, 19.0}) {
    const auto over = stream::ToMessage("r", bed, Window(x, 3, 2, 1));
    EXPECT_THAT(Floats(over.frame.positions()), ElementsAre(0.5, 3.5, 9.5, 3.5)) << x;
  }
  EXPECT_EQ(stream::ToMessage("r", bed, Window(3, 4, 10, 10)).frame.kinds().size(), 100u);
}

TEST(FrameMessageTest, ABedThatIsTooLargeIsShownAboutItsCentre) {
  const store::Frame bed = Lattice(300);
  const auto message = stream::ToMessage("r", bed, {});
  ASSERT_TRUE(message.faults.empty());
  const v1::Frame& frame = message.frame;
  EXPECT_EQ(frame.bead_count(), 90'000);
  EXPECT_LE(frame.kinds().size(), 50'000u);
  EXPECT_GE(frame.kinds().size(), 222u * 222);  // the largest square of whole rows about the centre
  EXPECT_NEAR(frame.window().x() + frame.window().width() / 2, 150, 1e-6);
  EXPECT_EQ(frame.window().width(), frame.window().height());
}

TEST(FrameMessageTest, FaultsNameTheFieldOfTheWindow) {
  const store::Frame bed = Lattice(300);
  const auto fields = [&](const v1::FrameWindow& window) {
    std::vector<std::string> names;
    for (const auto& fault : stream::ToMessage("r", bed, window).faults) names.push_back(fault.field());
    return names;
  };
  EXPECT_THAT(fields(Window(0, 0, 301, -1)), ElementsAre("window.width", "window.height"));
  EXPECT_THAT(fields(Window(NAN, 0, 1, 1)), ElementsAre("window.x"));
  EXPECT_THAT(fields(Window(0, 0, 5, 0)), ElementsAre("window.height"));
  EXPECT_THAT(fields(Window(0, 0, 300, 300)), ElementsAre("window.width"));
  EXPECT_THAT(stream::ToMessage("r", bed, Window(0, 0, 300, 300)).faults[0].description(),
              HasSubstr("hold 90000 beads; at most 50000"));
}

// ---- streams

class WatchFramesTest : public FrameTest {
 protected:
  v1::WatchFramesRequest Request(double interval = 0.05) {
    v1::WatchFramesRequest request;
    request.set_name(kRun);
    request.set_interval_seconds(interval);
    return request;
  }

  /// Follows a run to the end of the stream.
  absl::Status Follow(const v1::WatchFramesRequest& request, std::vector<v1::WatchFramesResponse>* seen) {
    return client::Client(server_.address()).WatchFrames(request, [&](const v1::WatchFramesResponse& message) {
      seen->push_back(message);
      return true;
    });
  }
};

TEST_F(WatchFramesTest, ShowTheRunFromNowToItsEndInOrder) {
  server_.plan().step_nanoseconds = 200'000;
  Create(test::AmplitudeStudy({4}, 1));
  std::vector<v1::WatchFramesResponse> seen;
  const auto status = Follow(Request(), &seen);
  EXPECT_TRUE(status.ok()) << status;
  ASSERT_GE(seen.size(), 2u);
  int64_t before = -1;
  for (size_t i = 0; i < seen.size(); ++i) {
    EXPECT_EQ(seen[i].sequence(), static_cast<int64_t>(i));
    if (!seen[i].has_frame()) continue;
    EXPECT_GT(seen[i].frame().step(), before);
    EXPECT_EQ(StepTold(seen[i].frame()), seen[i].frame().step());
    before = seen[i].frame().step();
  }
  EXPECT_EQ(before, 4000);  // the last one is the end
}

TEST_F(WatchFramesTest, OfARunAtItsEndIsOneFrame) {
  RunToEnd(test::AmplitudeStudy({4}, 1));
  std::vector<v1::WatchFramesResponse> seen;
  EXPECT_TRUE(Follow(Request(), &seen).ok());
  ASSERT_EQ(seen.size(), 1u);
  EXPECT_EQ(seen[0].frame().step(), 4000);
}

TEST_F(WatchFramesTest, ManyReadersShareTheSameFrames) {
  server_.plan().step_nanoseconds = 100'000;
  Create(test::AmplitudeStudy({4}, 1));
  std::vector<std::vector<v1::WatchFramesResponse>> seen(20);
  std::vector<std::thread> readers;
  for (auto& one : seen) readers.emplace_back([&] { EXPECT_TRUE(Follow(Request(), &one).ok()); });
  for (auto& reader : readers) reader.join();
  for (const auto& one : seen) EXPECT_EQ(one.back().frame().step(), 4000);
}

TEST_F(WatchFramesTest, ASlowReaderIsToldWhatItMissedAndDelaysNobody) {
  v1::StudySpec spec = test::AmplitudeStudy({4}, 1);
  spec.mutable_bed()->set_bead_count(50'000);  // a frame far exceeds the buffers of a connection
  spec.mutable_schedule()->set_duration(5);
  server_.plan().step_nanoseconds = 2'000'000;  // long enough for the other reader to get many frames
  Create(spec);
  grpc::ChannelArguments narrow;
  narrow.SetInt(GRPC_ARG_HTTP2_BDP_PROBE, 0);
  narrow.SetInt(GRPC_ARG_HTTP2_STREAM_LOOKAHEAD_BYTES, 16 * 1024);
  const auto stub =
      v1::RunService::NewStub(grpc::CreateCustomChannel(server_.address(), grpc::InsecureChannelCredentials(), narrow));
  grpc::ClientContext context;
  const auto slow = stub->WatchFrames(&context, Request());
  v1::WatchFramesResponse message;
  ASSERT_TRUE(slow->Read(&message));  // and reads no more until the run has ended
  int64_t others = 0, last_of_other = 0;
  const auto other = client::Client(server_.address()).WatchFrames(Request(), [&](const v1::WatchFramesResponse& seen) {
    if (++others == 10) server_.plan().step_nanoseconds = 0;
    last_of_other = seen.frame().step();
    return true;
  });
  EXPECT_TRUE(other.ok()) << other;
  EXPECT_EQ(last_of_other, 10'000);
  int64_t skipped = 0, frames = 1, last = 0;
  while (slow->Read(&message)) {
    skipped += message.skipped_count();
    frames += message.has_frame() ? 1 : 0;
    last = message.frame().step();
  }
  EXPECT_TRUE(slow->Finish().ok());
  EXPECT_GT(skipped, 0);
  EXPECT_LT(frames, others);
  EXPECT_EQ(last, 10'000);
}

TEST_F(WatchFramesTest, SendsHeartbeatsWhileNothingMoves) {
  server_.plan().step_nanoseconds = 500'000;
  Create(test::AmplitudeStudy({4}, 1));
  ASSERT_TRUE(WaitFor([&] { return client_.GetRun(kRun)->step() > 100; }));
  ASSERT_TRUE(client_.PauseRun(kRun).ok());
  int frames = 0;
  const auto status = client_.WatchFrames(Request(), [&](const v1::WatchFramesResponse& message) {
    frames += message.has_frame() ? 1 : 0;
    return !message.has_heartbeat();
  });
  EXPECT_TRUE(status.ok()) << status;
  EXPECT_EQ(frames, 1);
}

TEST_F(WatchFramesTest, ReadersAreToldThatTheServerStops) {
  server_.plan().step_nanoseconds = 1'000'000;
  Create(test::AmplitudeStudy({4}, 1));
  std::atomic<int> frames = 0;
  bool going_away = false;
  absl::Status status;
  std::thread reader([&] {
    status = client_.WatchFrames(Request(), [&](const v1::WatchFramesResponse& message) {
      frames += message.has_frame() ? 1 : 0;
      going_away = going_away || message.has_going_away();
      return true;
    });
  });
  ASSERT_TRUE(WaitFor([&] { return frames > 0; }));
  server_.server().Stop();
  reader.join();
  EXPECT_TRUE(going_away);
  EXPECT_EQ(status.code(), absl::StatusCode::kUnavailable);
}

TEST_F(WatchFramesTest, ErrorsEndTheStreamAndNameTheField) {
  RunToEnd(test::AmplitudeStudy({4}, 1));
  std::vector<v1::WatchFramesResponse> seen;
  const auto often = Follow(Request(0.01), &seen);
  EXPECT_EQ(often.code(), absl::StatusCode::kInvalidArgument);
  EXPECT_THAT(std::string(often.message()), HasSubstr("interval_seconds: 0.01"));
  v1::WatchFramesRequest large = Request();
  large.mutable_window()->set_width(1e6);
  large.mutable_window()->set_height(1);
  const auto window = Follow(large, &seen);
  EXPECT_EQ(window.code(), absl::StatusCode::kInvalidArgument);
  EXPECT_THAT(std::string(window.message()), HasSubstr("window.width"));
  v1::WatchFramesRequest nothing = Request();
  nothing.set_name("studies/1/runs/77");
  EXPECT_EQ(Follow(nothing, &seen).code(), absl::StatusCode::kNotFound);
  EXPECT_TRUE(seen.empty());
}

TEST(WatchFramesOfAGroupTest, EndWithTheTokenAndCountAsStreams) {
  api::ServerOptions options = test::Unhindered();
  options.limits.streams = 1;
  test::GroupServer group(options);
  group.server().plan().step_nanoseconds = 1'000'000;
  auto olga = group.ClientFor("olga");
  ASSERT_TRUE(olga.CreateStudy(test::BareStudy()).ok());
  v1::WatchFramesRequest request;
  request.set_name(kRun);
  std::atomic<int> frames = 0;
  absl::Status status;
  std::thread reader([&] {
    auto watcher = group.ClientFor("olga");
    status = watcher.WatchFrames(request, [&](const v1::WatchFramesResponse& message) {
      frames += message.has_frame() ? 1 : 0;
      return true;
    });
  });
  ASSERT_TRUE(WaitFor([&] { return frames > 0; }));
  const auto second = olga.WatchFrames(request, [](const auto&) { return true; });
  EXPECT_EQ(second.code(), absl::StatusCode::kResourceExhausted);
  EXPECT_THAT(std::string(second.message()), HasSubstr("1 streams open"));
  v1::RevokeTokensRequest revoke;
  revoke.set_user("olga");
  ASSERT_TRUE(group.ClientFor("anna").RevokeTokens(revoke).ok());
  reader.join();
  EXPECT_EQ(status.code(), absl::StatusCode::kUnauthenticated);
  group.server().plan().step_nanoseconds = 0;
}

}  // namespace
}  // namespace gyrebox
