/// The real command line against a server with a fake device.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "lib/client.h"
#include "process.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox::test {

/// Two points with three realizations each, of 4000 steps and a sample every 250.
inline constexpr char kMapStudy[] = R"(title = "A map"
[bed]
bead_count = 100
[drive.sine]
frequency = 1
[schedule]
duration = 2
[[axes]]
field = "drive.sine.amplitude"
values = [4, 100]
[trials]
count = 3
)";

/// One run of 4000 steps at amplitude 4.
inline constexpr char kOneRun[] = R"([bed]
bead_count = 100
[drive.sine]
frequency = 1
amplitude = 4
[schedule]
duration = 2
)";

class DailyCommandTest : public testing::Test {
 protected:
  Outcome Gyrebox(const std::vector<std::string>& arguments) {
    std::vector<std::string> command = {GYREBOX, "--server", server_.address()};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }

  std::string File(const char* text) { return directory_.Write("study.toml", text); }

  void Submit(const char* text) { ASSERT_EQ(Gyrebox({"submit", File(text)}).out, "studies/1\n"); }
  void SubmitAndWatch(const char* text) {
    const Outcome outcome = Gyrebox({"submit", File(text), "--watch"});
    ASSERT_EQ(outcome.out, "studies/1\n") << outcome.error;
  }

  /// Whether runs may start.
  void Drain(bool drain) { ASSERT_TRUE(client_.DrainMachine(drain).ok()); }

  void WaitForStep(int64_t step) {
    ASSERT_TRUE(WaitFor([&] { return client_.GetRun("studies/1/runs/1")->step() >= step; }));
  }
  void WaitForEnd() {
    ASSERT_TRUE(WaitFor([&] { return client_.GetStudy("studies/1")->has_end_time(); }));
  }

  TestServer server_;
  TemporaryDirectory directory_;
  client::Client client_{server_.address()};
};

}  // namespace gyrebox::test
