// Servers that are killed at random times, compared with an undisturbed server.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <map>
#include <random>
#include <thread>

#include "gyreboxd.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;

/// Number of kills; GYREBOX_CRASHES overrides it.
int CrashCount() {
  const char* given = std::getenv("GYREBOX_CRASHES");
  return given == nullptr ? 10 : std::atoi(given);
}

/// Realizations at each of two points; with GoingBack(), 24 runs in all where there are many crashes.
int NoisyTrials(int crashes) { return crashes < 100 ? 2 : 11; }

/// Runs with noise and spinner disorder, long enough to outlast the crashes.
v1::StudySpec Noisy(int crashes) {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_drive()->mutable_disorder()->set_jitter(0.1);
  spec.mutable_drive()->mutable_disorder()->set_frequency_spread(0.05);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_schedule()->set_duration(28.0 * crashes / NoisyTrials(crashes));
  spec.mutable_measure()->set_frame_interval(2);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.add_values(4);
  axis.add_values(20);
  spec.mutable_trials()->set_count(NoisyTrials(crashes));
  return spec;
}

/// Two runs whose step is too long: they roll back and halve it.
v1::StudySpec GoingBack(int crashes) {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(200);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_drive()->mutable_sine()->set_amplitude(40);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_dynamics()->set_time_step(4e-3);
  spec.mutable_retry()->set_max_halvings(4);
  spec.mutable_retry()->set_keep_interval(1);
  spec.mutable_schedule()->set_duration(6.0 * crashes);
  spec.mutable_measure()->set_frame_interval(0.5);
  spec.mutable_trials()->set_count(2);
  return spec;
}

/// All results of studies.
struct Results {
  std::map<std::string, std::string> samples, frames, states, tables;
  std::map<std::string, v1::Run> runs;
  int recovered_faults = 0;
};

/// All stored frames of a run, in sequence.
std::string Frames(client::Client& client, const std::string& run) {
  std::string all;
  const auto stamps = client.ListFrames(run);
  EXPECT_TRUE(stamps.ok()) << stamps.status();
  for (const v1::FrameStamp& stamp : stamps->frames()) {
    const auto frame = client.GetFrame(run, stamp.step());
    EXPECT_TRUE(frame.ok()) << frame.status();
    all += frame->SerializeAsString();
  }
  return all;
}

Results Read(const Gyreboxd& server, const std::vector<std::string>& studies) {
  Results results;
  client::Client client(server.address());
  for (const std::string& study : studies) {
    results.tables[study] = client.TabulateStudy(study, "")->SerializeAsString();
    EXPECT_TRUE(client
                    .ForRuns(study,
                             [&](const v1::Run& run) {
                               results.runs[run.name()] = run;
                               results.recovered_faults += run.recovered_faults_size();
                               results.samples[run.name()] = client.ListSamples(run.name())->SerializeAsString();
                               results.frames[run.name()] = Frames(client, run.name());
                             })
                    .ok());
  }
  for (const auto& entry : std::filesystem::directory_iterator(server.Data() + "/states")) {
    results.states[entry.path().filename()] = test::ReadAll(entry.path());
  }
  return results;
}

void ExpectSame(const Results& alone, const Results& killed) {
  ASSERT_EQ(alone.runs.size(), killed.runs.size());
  for (const auto& [name, run] : alone.runs) {
    const v1::Run& other = killed.runs.at(name);
    EXPECT_EQ(run.state(), v1::Run::STATE_FINISHED) << name;
    EXPECT_EQ(other.state(), run.state()) << name;
    EXPECT_EQ(other.step(), run.step()) << name;
    EXPECT_EQ(other.warning(), run.warning()) << name;
    ASSERT_EQ(other.recovered_faults_size(), run.recovered_faults_size()) << name;
    for (int i = 0; i < run.recovered_faults_size(); ++i) {
      EXPECT_EQ(other.recovered_faults(i).SerializeAsString(), run.recovered_faults(i).SerializeAsString()) << name;
    }
    EXPECT_EQ(other.sample_count(), run.sample_count()) << name;
    EXPECT_TRUE(killed.samples.at(name) == alone.samples.at(name)) << name;
    EXPECT_GT(alone.frames.at(name).size(), 10'000u) << name;
    EXPECT_TRUE(killed.frames.at(name) == alone.frames.at(name)) << name;
  }
  EXPECT_TRUE(alone.tables == killed.tables);
  EXPECT_EQ(alone.states.size(), killed.states.size());
  EXPECT_TRUE(alone.states == killed.states);
}

/// Records the runs that have ended; none may end a second time.
void NoteEnds(const Gyreboxd& server, const std::vector<std::string>& studies, std::map<std::string, int64_t>* ends) {
  client::Client client(server.address());
  for (const std::string& study : studies) {
    ASSERT_TRUE(client
                    .ForRuns(study,
                             [&](const v1::Run& run) {
                               const int64_t end = run.end_time().seconds() * 1'000'000'000 + run.end_time().nanos();
                               const auto known = ends->find(run.name());
                               if (known != ends->end()) {
                                 EXPECT_EQ(known->second, end) << run.name();
                               }
                               if (run.has_end_time()) (*ends)[run.name()] = end;
                             })
                    .ok());
  }
}

TEST(CrashTest, AtAnyTimeNothingIsLostAndNothingRunsTwice) {
  const int crashes = CrashCount();
  const std::vector<std::string> studies = {"studies/1", "studies/2"}, often = {"--checkpoint-seconds", "0.2"};
  const auto submit = [&](const Gyreboxd& server) {
    client::Client client(server.address());
    ASSERT_TRUE(client.CreateStudy(Noisy(crashes)).ok());
    ASSERT_TRUE(client.CreateStudy(GoingBack(crashes)).ok());
  };
  Gyreboxd alone, killed;
  alone.Start(often);
  ASSERT_NO_FATAL_FAILURE(alone.WaitUntilUp());
  ASSERT_NO_FATAL_FAILURE(submit(alone));
  for (const std::string& study : studies) alone.WaitForEnd(study);

  killed.Start(often);
  ASSERT_NO_FATAL_FAILURE(killed.WaitUntilUp());
  ASSERT_NO_FATAL_FAILURE(submit(killed));
  std::mt19937_64 random(7);
  const size_t n_runs = 2 * static_cast<size_t>(NoisyTrials(crashes)) + 2;
  std::map<std::string, int64_t> ends;
  for (int crash = 0; crash < crashes; ++crash) {
    const double seconds = std::uniform_real_distribution(0.0, 1.0)(random);
    std::this_thread::sleep_for(std::chrono::duration<double>(seconds));  // any time, including the start of the server
    killed.Kill();
    killed.Start(often);
    if (crash % 5 != 4) continue;
    ASSERT_NO_FATAL_FAILURE(killed.WaitUntilUp());
    ASSERT_NO_FATAL_FAILURE(NoteEnds(killed, studies, &ends));
  }
  ASSERT_NO_FATAL_FAILURE(killed.WaitUntilUp());
  NoteEnds(killed, studies, &ends);
  EXPECT_LT(ends.size(), n_runs) << "the work was over before the crashes were";
  for (const std::string& study : studies) killed.WaitForEnd(study);
  NoteEnds(killed, studies, &ends);
  EXPECT_EQ(ends.size(), n_runs);
  const Results expected = Read(alone, studies);
  EXPECT_GT(expected.recovered_faults, 0);  // some runs rolled back
  ExpectSame(expected, Read(killed, studies));
}

TEST(CrashTest, AStoppedServerSavesEveryRun) {
  Gyreboxd server;
  server.Start({"--checkpoint-seconds", "3600"});
  ASSERT_NO_FATAL_FAILURE(server.WaitUntilUp());
  ASSERT_TRUE(client::Client(server.address()).CreateStudy(Noisy(10)).ok());
  ASSERT_TRUE(
      test::WaitFor([&] { return client::Client(server.address()).GetRun("studies/1/runs/4")->step() > 5000; }));
  server.Signal(SIGTERM);
  ASSERT_EQ(server.Wait(), 0) << server.Log();
  server.Start();
  ASSERT_NO_FATAL_FAILURE(server.WaitUntilUp());
  for (int run = 1; run <= 4; ++run) {
    const auto found = client::Client(server.address()).GetRun("studies/1/runs/" + std::to_string(run));
    EXPECT_GT(found->step(), 5000) << run;
    EXPECT_GT(found->sample_count(), 5000 / 250) << run;
  }
}

TEST(CopyTest, AServerOnABackupReachesTheSameResults) {
  const std::vector<std::string> studies = {"studies/1"}, often = {"--checkpoint-seconds", "0.1"};
  Gyreboxd original, copy;
  ASSERT_NO_FATAL_FAILURE(original.StartAndWait(often));
  client::Client client(original.address());
  ASSERT_TRUE(client.CreateStudy(Noisy(10)).ok());
  ASSERT_TRUE(test::WaitFor([&] { return client.GetRun("studies/1/runs/1")->step() > 5000; }));
  const auto made = test::Run({GYREBOXD, "--data", original.Data(), "--backup", copy.Data()});
  ASSERT_EQ(made.code, 0) << made.error;
  EXPECT_FALSE(client.GetStudy("studies/1")->has_end_time()) << "the copy is of a run under way";
  original.WaitForEnd("studies/1");
  const Results expected = Read(original, studies);
  ASSERT_NO_FATAL_FAILURE(copy.StartAndWait(often));
  copy.WaitForEnd("studies/1");
  ExpectSame(expected, Read(copy, studies));
}

}  // namespace
}  // namespace gyrebox
