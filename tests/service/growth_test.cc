// Growth of studies, as seen by a client.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <map>

#include "example_studies.h"
#include "lib/client.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::WaitFor;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr char kName[] = "studies/1";

v1::GrowStudyRequest Growth(int trials, const std::vector<double>& amplitudes = {}) {
  v1::GrowStudyRequest request;
  request.set_name(kName);
  request.set_add_trials(trials);
  if (amplitudes.empty()) return request;
  v1::Axis& axis = *request.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_values()->Assign(amplitudes.begin(), amplitudes.end());
  return request;
}

void AddFrequencies(const std::vector<double>& values, v1::GrowStudyRequest* request) {
  v1::Axis& axis = *request->add_axes();
  axis.set_field("drive.sine.frequency");
  axis.mutable_values()->Assign(values.begin(), values.end());
}

std::vector<v1::Run> RunsOf(client::Client& client, const std::string& study = kName) {
  std::vector<v1::Run> runs;
  EXPECT_TRUE(client.ForRuns(study, [&](const v1::Run& run) { runs.push_back(run); }).ok());
  return runs;
}

class GrowthTest : public testing::Test {
 protected:
  void Create(const v1::StudySpec& spec) { ASSERT_EQ(client_.CreateStudy(spec)->name(), kName); }

  void WaitForEnd() {
    ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(kName)->has_end_time(); }));
  }

  test::TestServer server_;
  client::Client client_{server_.address()};
};

TEST_F(GrowthTest, AFinishedStudyRunsItsNewRunsAndKeepsTheOldOnes) {
  Create(AmplitudeStudy({4, 8}, 2));
  WaitForEnd();
  const auto before = RunsOf(client_);
  server_.plan().held = true;
  const auto grown = client_.GrowStudy(Growth(1, {6}));
  ASSERT_TRUE(grown.ok()) << grown.status();
  EXPECT_EQ(grown->state(), v1::Study::STATE_RUNNING);
  EXPECT_FALSE(grown->has_end_time());
  EXPECT_EQ(grown->run_counts().total_count(), 9);
  EXPECT_EQ(grown->run_counts().finished_count(), 4);
  EXPECT_EQ(grown->spec().trials().count(), 3);
  EXPECT_THAT(grown->spec().axes(0).values(), ElementsAre(4, 6, 8));
  server_.plan().held = false;
  WaitForEnd();
  const auto after = RunsOf(client_);
  ASSERT_EQ(after.size(), 9u);
  for (size_t i = 0; i < before.size(); ++i) EXPECT_EQ(after[i].DebugString(), before[i].DebugString());
  for (const v1::Run& run : after) EXPECT_EQ(run.state(), v1::Run::STATE_FINISHED) << run.name();
  EXPECT_EQ(client_.GetStudy(kName)->state(), v1::Study::STATE_FINISHED);
  std::lock_guard lock(server_.plan().mutex);
  EXPECT_EQ(server_.plan().initialized.size(), 9u);  // no run ran twice
}

TEST_F(GrowthTest, TablesAndAnswersAreInTheOrderOfTheAxes) {
  Create(AmplitudeStudy({4, 8}, 1));
  WaitForEnd();
  v1::GrowStudyRequest request = Growth(1, {6});
  AddFrequencies({2}, &request);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  WaitForEnd();
  const auto table = client_.TabulateStudy(kName, "");
  ASSERT_TRUE(table.ok()) << table.status();
  ASSERT_EQ(table->rows_size(), 6);
  int row = 0;
  for (const double amplitude : {4, 6, 8}) {
    for (const double frequency : {1, 2}) {
      EXPECT_THAT(table->rows(row).axis_values(), ElementsAre(amplitude, frequency));
      EXPECT_EQ(table->rows(row).trial_count(), 2);
      // A fake run measures its amplitude, plus 100 times its position seed, plus the completed fraction of the run,
      // which is below 1.
      EXPECT_NEAR(table->rows(row).mean(), amplitude + 150.5, 0.5) << row;
      ++row;
    }
  }
  const auto answers = client_.AnalyseStudy(kName, {});
  ASSERT_TRUE(answers.ok()) << answers.status();
  EXPECT_EQ(answers->axes_size(), 2);
  EXPECT_EQ(answers->answers(0).plots(0).rows_size(), 6);
}

TEST_F(GrowthTest, AQueuedOrRunningStudyGrows) {
  server_.plan().held = true;
  Create(AmplitudeStudy({4}, 2));
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(kName)->run_counts().running_count() == 2; }));
  v1::GrowStudyRequest request = Growth(0);
  AddFrequencies({2}, &request);  // the current runs now have a value on a new axis
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().queued_count(), 2);
  server_.plan().held = false;
  WaitForEnd();
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().finished_count(), 4);
  EXPECT_THAT(client_.GetRun("studies/1/runs/2")->axis_values(), ElementsAre(4, 1));
  EXPECT_THAT(client_.GetRun("studies/1/runs/4")->axis_values(), ElementsAre(4, 2));
  std::lock_guard lock(server_.plan().mutex);
  EXPECT_EQ(server_.plan().initialized[3].drive.wave.frequency, 2);
}

TEST_F(GrowthTest, WatchersAreToldOfTheNewRuns) {
  server_.plan().held = true;
  Create(AmplitudeStudy({4}, 1));
  std::map<std::string, v1::Run::State> seen;
  bool grown = false;
  v1::WatchRunsRequest request;
  request.set_parent(kName);
  const auto status = client_.WatchRuns(request, std::chrono::seconds(10), [&](const v1::WatchRunsResponse& message) {
    if (!grown) {
      grown = true;
      EXPECT_TRUE(client_.GrowStudy(Growth(2)).ok());
      server_.plan().held = false;
    }
    if (message.has_run()) seen[message.run().name()] = message.run().state();
  });
  EXPECT_TRUE(status.ok()) << status;
  EXPECT_EQ(seen.size(), 3u);
  for (const auto& [name, state] : seen) EXPECT_EQ(state, v1::Run::STATE_FINISHED) << name;
}

TEST_F(GrowthTest, ARequestIsDoneOnce) {
  Create(AmplitudeStudy({4}, 1));
  v1::GrowStudyRequest request = Growth(2);
  request.set_request_id("once");
  EXPECT_EQ(client_.GrowStudy(request)->run_counts().total_count(), 3);
  EXPECT_EQ(client_.GrowStudy(request)->run_counts().total_count(), 3);
  EXPECT_EQ(client_.GrowStudy(Growth(1))->run_counts().total_count(), 4);
  ASSERT_TRUE(client_.CreateStudy(AmplitudeStudy({4}, 1)).ok());
  request.set_name("studies/2");
  EXPECT_TRUE(absl::IsAlreadyExists(client_.GrowStudy(request).status()));
  request.set_request_id("not an id");
  EXPECT_TRUE(absl::IsInvalidArgument(client_.GrowStudy(request).status()));
}

TEST_F(GrowthTest, ExistingValuesChangeNothing) {
  Create(AmplitudeStudy({4}, 1));
  WaitForEnd();
  const auto before = client_.GetStudy(kName);
  EXPECT_EQ(client_.GrowStudy(Growth(0, {4}))->etag(), before->etag());
}

TEST_F(GrowthTest, WithAnOldEtagIsRefusedWithTheLaterEdits) {
  Create(AmplitudeStudy({4}, 1));
  const std::string first = client_.GetStudy(kName)->etag();
  WaitForEnd();  // progress of runs does not change the etag
  v1::GrowStudyRequest request = Growth(1);
  request.set_etag(first);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  request.clear_request_id();
  const auto refused = client_.GrowStudy(request).status();
  EXPECT_TRUE(absl::IsAborted(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()), HasSubstr("local added 1 trial"));
}

TEST_F(GrowthTest, AllFaultsAreReportedAtOnceAndNothingIsAdded) {
  Create(AmplitudeStudy({4}, 1));
  v1::GrowStudyRequest request = Growth(-3, {8, 8});
  AddFrequencies({-1}, &request);
  const auto refused = client_.GrowStudy(request).status();
  EXPECT_TRUE(absl::IsInvalidArgument(refused));
  std::vector<std::string> fields;
  for (const auto& fault : client::ViolationsOf(refused)) fields.push_back(fault.field());
  EXPECT_THAT(fields, ElementsAre("add_trials", "axes[0].values[1]", "axes[1].values[0]"));
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().total_count(), 1);
  request.set_name("studies/9");
  EXPECT_TRUE(absl::IsNotFound(client_.GrowStudy(request).status()));
}

TEST_F(GrowthTest, ACancelledStudyDoesNotGrow) {
  server_.plan().held = true;
  Create(AmplitudeStudy({4}, 1));
  ASSERT_TRUE(client_.CancelStudy(kName).ok());
  const auto refused = client_.GrowStudy(Growth(1)).status();
  EXPECT_TRUE(absl::IsFailedPrecondition(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()),
              HasSubstr("is CANCELLED and cannot grow; start its cancelled runs again first: gyrebox restart"));
  server_.plan().held = false;
}

TEST_F(GrowthTest, AddedRunsAreReplayedAndBranchedFromAtTheirPoint) {
  Create(AmplitudeStudy({4}, 1));
  WaitForEnd();
  v1::GrowStudyRequest request = Growth(0, {8});
  AddFrequencies({2}, &request);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  WaitForEnd();
  for (const v1::Run& run : RunsOf(client_)) {
    const auto replay = client_.ReplayRun(run.name());
    ASSERT_TRUE(replay.ok()) << replay.status();
    EXPECT_EQ(replay->spec().drive().sine().amplitude(), run.axis_values(0)) << run.name();
    EXPECT_EQ(replay->spec().drive().sine().frequency(), run.axis_values(1)) << run.name();
  }
}

TEST_F(GrowthTest, IsAtomic) {
  Create(AmplitudeStudy({4}, 2));
  WaitForEnd();
  server_.Stop();
  {
    auto connection = store::Connection::Open(server_.data() + "/gyrebox.db", store::Connection::Mode::kWrite);
    ASSERT_TRUE((*connection)
                    ->Execute("CREATE TRIGGER stop BEFORE INSERT ON run WHEN NEW.number = 6 BEGIN "
                              "SELECT RAISE(ABORT, 'the power goes'); END")
                    .ok());
    auto store = store::Store::Open(server_.data());
    ASSERT_TRUE(store.ok()) << store.status();
    auto spec = (*store)->studies().Get(1)->spec();
    spec.mutable_trials()->set_count(6);
    auto runs = test::NewRuns(spec);
    runs.erase(runs.begin(), runs.begin() + 2);
    const auto before = (*store)->studies().Get(1)->DebugString();
    EXPECT_FALSE((*store)->studies().Grow(1, {spec, runs, {3}, "4 trials"}, "id", "", "local").ok());
    EXPECT_EQ((*store)->studies().Get(1)->DebugString(), before);
    EXPECT_EQ((*store)->runs().List(1, 0, 100)->size(), 2u);
    EXPECT_EQ((*store)->runs().Get(1, 1)->axis_values_size(), 1);
    EXPECT_FALSE((*store)->requests().Find("id")->has_value());
    ASSERT_TRUE((*connection)->Execute("DROP TRIGGER stop").ok());
  }
  server_.Start();
  client::Client client(server_.address());
  EXPECT_EQ(client.GrowStudy(Growth(4))->run_counts().total_count(), 6);
  server_.Stop();
  server_.Start();  // the acknowledged growth is on disk
  EXPECT_EQ(client::Client(server_.address()).GetStudy(kName)->run_counts().total_count(), 6);
}

TEST(GrowthQuotaTest, CountsForTheOwner) {
  auto plan = std::make_shared<test::FakePlan>();
  plan->held = true;
  api::ServerOptions options = test::Unhindered();
  options.quotas.queued_runs = 5;
  test::TestServer server(plan, options);
  client::Client client(server.address());
  ASSERT_TRUE(client.CreateStudy(AmplitudeStudy({4}, 1)).ok());
  ASSERT_TRUE(WaitFor([&] { return client.GetStudy(kName)->run_counts().running_count() == 1; }));
  const auto refused = client.GrowStudy(Growth(6)).status();
  EXPECT_EQ(refused.code(), absl::StatusCode::kResourceExhausted) << refused;
  EXPECT_TRUE(client.GrowStudy(Growth(5)).ok());
  plan->held = false;
}

std::string FileText(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  EXPECT_TRUE(in.is_open()) << path;
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

// With the real engine: an added run equals, in every sample and in its final state, the run that the study would have
// had from the start.
TEST(GrowthOfTheEngineTest, HasTheSameBits) {
  const test::TemporaryDirectory directory;
  auto store = store::Store::Open(directory.path());
  ASSERT_TRUE(store.ok());
  auto opened = kernels::OpenDevice("cpu", 1);
  ASSERT_NE(opened.device, nullptr) << opened.reason;
  api::ServerOptions options = test::Unhindered();
  options.socket = directory.path() + "/socket";
  auto server = api::Server::Start(options, *std::move(store), std::move(opened.device), "a test asks");
  ASSERT_TRUE(server.ok()) << server.status();
  client::Client client("unix:" + options.socket);
  const auto wait = [&](const std::string& name) {
    return WaitFor([&] { return client.GetStudy(name)->has_end_time(); });
  };
  v1::StudySpec spec = AmplitudeStudy({4}, 1);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_trials()->set_vary_noise(true);
  ASSERT_EQ(client.CreateStudy(spec)->name(), kName);
  ASSERT_TRUE(wait(kName));
  v1::GrowStudyRequest request = Growth(1, {9});
  AddFrequencies({2}, &request);
  const auto grown = client.GrowStudy(request);
  ASSERT_TRUE(grown.ok()) << grown.status();
  ASSERT_EQ(client.CreateStudy(grown->spec())->name(), "studies/2");
  ASSERT_TRUE(wait(kName) && wait("studies/2"));
  std::map<std::pair<std::vector<double>, int>, std::string> numbers;
  for (const v1::Run& run : RunsOf(client, "studies/2")) {
    const std::vector<double> values(run.axis_values().begin(), run.axis_values().end());
    numbers[{values, run.trial()}] = run.name().substr(run.name().rfind('/') + 1);
  }
  const auto runs = RunsOf(client);
  ASSERT_EQ(runs.size(), 8u);
  ASSERT_EQ(numbers.size(), 8u);
  for (const v1::Run& run : runs) {
    const std::vector<double> values(run.axis_values().begin(), run.axis_values().end());
    const std::string twin = numbers[std::pair(values, run.trial())];
    const std::string number = run.name().substr(run.name().rfind('/') + 1);
    EXPECT_EQ(client.ListSamples(run.name())->SerializeAsString(),
              client.ListSamples("studies/2/runs/" + twin)->SerializeAsString())
        << run.name();
    const std::string states = directory.path() + "/states/";
    EXPECT_EQ(FileText(states + "1-" + number + "-4000.end"), FileText(states + "2-" + twin + "-4000.end"));
  }
}

}  // namespace
}  // namespace gyrebox
